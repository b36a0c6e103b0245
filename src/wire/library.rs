use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::sync::Arc;

use thiserror::Error;

use super::sheet::{Flow, Line, Sheet};
use crate::problem::{Problems, Source, nearest};

/// All sheets known on this bench: those that come with panroom, and the maker's own.
#[derive(Clone, Debug, Default)]
pub struct SheetLibrary {
    sheets: BTreeMap<String, Entry>,
}

#[derive(Clone, Debug)]
struct Entry {
    sheet: Arc<Sheet>,
    /// The file it came from, for messages.
    origin: String,
    text: Arc<str>,
}

/// No sheet has this name.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("no wire sheet is called `{name}`; {}", hint(nearest.as_deref()))]
pub struct UnknownSheet {
    pub name: String,
    pub nearest: Option<String>,
}

macro_rules! shipped {
    ($($file:literal),* $(,)?) => {
        /// The sheets that come with panroom, as file name and text.
        pub(crate) const SHIPPED: &[(&str, &str)] =
            &[$(($file, include_str!(concat!("../../devices/", $file)))),*];
    };
}

shipped!(
    "bare-number-unit.toml",
    "binary-sum-frame.toml",
    "checked-line.toml",
    "comma-decimal-line.toml",
    "comma-probes.toml",
    "comma-status-line.toml",
    "equals-number.toml",
    "even-bits-line.toml",
    "letter-answer.toml",
    "marked-check-line.toml",
    "marked-check-probes.toml",
    "modbus-probes.toml",
    "modbus-scale.toml",
    "number-answer.toml",
    "number-answers.toml",
    "pause-number.toml",
    "pound-ounce-line.toml",
    "probe-answer.toml",
    "probe-stream.toml",
    "status-bytes-frame.toml",
    "stx-fixed-width.toml",
    "ticket-lines.toml",
    "usb-weighing-report.toml",
);

impl SheetLibrary {
    /// The sheets that come with panroom.
    ///
    /// # Errors
    /// Never for a build whose tests passed; the error is kept so that a broken sheet says where.
    pub fn built_in() -> Result<SheetLibrary, Problems> {
        let mut library = SheetLibrary::default();
        for (file, text) in SHIPPED {
            library.add(Source { file: &format!("devices/{file}"), text })?;
        }
        Ok(library)
    }

    /// Adds a sheet; one of the same name is replaced by it.
    pub fn add(&mut self, source: Source<'_>) -> Result<(), Problems> {
        let sheet = Arc::new(Sheet::read(source)?);
        let text = Arc::from(source.text);
        let entry = Entry { sheet: Arc::clone(&sheet), origin: source.file.to_owned(), text };
        self.sheets.insert(sheet.name.clone(), entry);
        Ok(())
    }

    pub fn find(&self, name: &str) -> Result<&Arc<Sheet>, UnknownSheet> {
        let unknown = || UnknownSheet {
            name: name.to_owned(),
            nearest: nearest(name, self.sheets.keys().map(String::as_str)).map(str::to_owned),
        };
        self.sheets.get(name).map(|entry| &entry.sheet).ok_or_else(unknown)
    }

    /// The different settings of lines that sheets use, without flow control: those of most sheets
    /// first.
    pub fn lines(&self) -> Vec<Line> {
        let mut lines: Vec<(usize, Line)> = Vec::new();
        for (_, _, sheet) in self.iter().filter(|(_, _, sheet)| !sheet.frame.is_report()) {
            let line = Line { flow: Flow::None, ..sheet.line };
            match lines.iter_mut().find(|(_, known)| *known == line) {
                Some((count, _)) => *count += 1,
                None => lines.push((1, line)),
            }
        }
        lines.sort_by_key(|(count, line)| (Reverse(*count), line.baud));
        lines.into_iter().map(|(_, line)| line).collect()
    }

    /// The sheet as it is written, to be kept with what was read by it.
    pub fn text(&self, name: &str) -> Option<Arc<str>> {
        self.sheets.get(name).map(|entry| Arc::clone(&entry.text))
    }

    /// Name, origin and sheet of each, by name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str, &Arc<Sheet>)> {
        self.sheets.iter().map(|(name, e)| (name.as_str(), e.origin.as_str(), &e.sheet))
    }
}

fn hint(nearest: Option<&str>) -> String {
    match nearest {
        Some(name) => format!("did you mean `{name}`?"),
        None => "`panroom sheet list` names those that come with it".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::{check, unproved};

    #[test]
    fn every_shipped_sheet_proves_itself() {
        let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
        assert_eq!(library.sheets.len(), SHIPPED.len(), "two sheets share a name");
        let mut faults: Vec<String> = Vec::new();
        for (name, origin, sheet) in library.iter() {
            assert!(origin.ends_with(&format!("{name}.toml")), "{origin} calls itself {name}");
            let outcomes = check(sheet);
            assert!(outcomes.len() >= 4, "{name} has few examples");
            assert_eq!(unproved(sheet), Vec::<&str>::new(), "{name}");
            faults.extend(outcomes.into_iter().filter_map(|outcome| {
                let (line, bytes) = (outcome.line, outcome.bytes);
                outcome.fault.map(|why| format!("{origin}, line {line}: {bytes}\n    {why}"))
            }));
        }
        assert!(faults.is_empty(), "{}", faults.join("\n"));
    }

    #[test]
    fn every_sheet_of_the_folder_is_shipped() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/devices");
        let mut files: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name.ends_with(".toml"))
            .collect();
        files.sort();
        let mut shipped: Vec<&str> = SHIPPED.iter().map(|(file, _)| *file).collect();
        shipped.sort();
        assert_eq!(shipped, files);
        assert!(shipped.len() >= 14);
    }
}
