use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use super::{Fat, FatError};
use crate::problem::{self, Problems, Source};

/// The fats known to a bench: the built-in ones, and the maker's own over them.
#[derive(Clone, Debug, PartialEq)]
pub struct FatTable {
    fats: Vec<Fat>,
}

/// No fat goes by this name.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("no fat is called `{asked}`{}", suggestion(.nearest.as_deref()))]
pub struct UnknownFat {
    pub asked: String,
    /// The known name most like it, if any is near enough to be meant.
    pub nearest: Option<String>,
}

const BUILT_IN: &str = include_str!("fats.toml");

static TABLE: LazyLock<FatTable> = LazyLock::new(|| {
    let source = Source { file: "fats.toml", text: BUILT_IN };
    // compiled in and read by every test run, so it cannot fail on a maker's bench only
    FatTable::parse(source).unwrap_or_else(|problems| panic!("{problems}"))
});

impl FatTable {
    pub fn built_in() -> &'static FatTable {
        &TABLE
    }

    /// Reads a file of `[[fat]]` tables; its shape is that of `fats.toml`.
    pub fn parse(source: Source<'_>) -> Result<FatTable, Problems> {
        let file: File = problem::read_toml(source)?;
        let mut table = FatTable { fats: Vec::new() };
        for fat in file.fat {
            let field = format!("fat.{}", fat.key);
            let place = source.text.find(&format!("\"{}\"", fat.key)).map(|at| at..at);
            table.add(fat).map_err(|error| {
                source.problem(place, field, error.to_string(), "a fat beside the others", "")
            })?;
        }
        Ok(table)
    }

    pub fn iter(&self) -> impl Iterator<Item = &Fat> {
        self.fats.iter()
    }

    /// By key, common name or alias; letter case, spaces, hyphens and underscores do not matter.
    pub fn find(&self, name: &str) -> Result<&Fat, UnknownFat> {
        let asked = plain(name);
        let known = |fat: &&Fat| fat.names().any(|known| plain(known) == asked);
        self.fats.iter().find(known).ok_or_else(|| self.unknown(name))
    }

    /// Adds a fat whose names are all new.
    pub fn add(&mut self, fat: Fat) -> Result<(), FatError> {
        fat.check()?;
        for name in fat.names() {
            if let Ok(taken_by) = self.find(name) {
                let (name, taken_by) = (name.to_owned(), taken_by.key.clone());
                return Err(FatError::NameTaken { name, taken_by });
            }
        }
        self.fats.push(fat);
        Ok(())
    }

    /// Puts a fat in the place of the one with the same key, or adds it: the maker's own figure,
    /// or a lot's.
    pub fn put(&mut self, fat: Fat) -> Result<(), FatError> {
        fat.check()?;
        let Some(place) = self.fats.iter().position(|known| known.key == fat.key) else {
            return self.add(fat);
        };
        let replaced = self.fats.remove(place);
        let outcome = self.add(fat);
        if outcome.is_err() {
            self.fats.insert(place, replaced);
        }
        outcome
    }

    fn unknown(&self, asked: &str) -> UnknownFat {
        let names: Vec<(String, &Fat)> =
            self.fats.iter().flat_map(|fat| fat.names().map(move |n| (plain(n), fat))).collect();
        let nearest = problem::nearest(&plain(asked), names.iter().map(|(name, _)| name.as_str()))
            .and_then(|near| names.iter().find(|(name, _)| name == near))
            .map(|(_, fat)| fat.key.clone());
        UnknownFat { asked: asked.trim().to_owned(), nearest }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    fat: Vec<Fat>,
}

fn plain(name: &str) -> String {
    let spaced = name.to_lowercase().replace(['_', '-', ','], " ");
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn suggestion(nearest: Option<&str>) -> String {
    match nearest {
        Some(name) => format!("; did you mean `{name}`?"),
        None => "; add it to your own table of fats, with its saponification value".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::{Basis, FatKind, Seen};

    #[test]
    fn every_name_leads_to_its_fat_and_to_no_other() {
        let table = FatTable::built_in();
        assert!(table.iter().count() >= 34);
        for fat in table.iter() {
            for name in fat.names() {
                assert_eq!(table.find(&name.to_uppercase()).unwrap().key, fat.key, "{name}");
            }
        }
        assert_eq!(table.find("Palm-Kernel_Oil").unwrap().key, "palm_kernel");
    }

    #[test]
    fn a_misspelt_name_gets_the_nearest() {
        let unknown = FatTable::built_in().find("cocnut oil").unwrap_err();
        assert_eq!(unknown.to_string(), "no fat is called `cocnut oil`; did you mean `coconut`?");
        let unknown = FatTable::built_in().find("zzzzzzzz").unwrap_err();
        assert_eq!(unknown.nearest, None);
    }

    #[test]
    fn working_values_follow_the_stated_rule() {
        for fat in FatTable::built_in().iter() {
            let (low, high) = (fat.range.low, fat.range.high);
            let middle = (low + high) / 2.0;
            let down = |value: f64| (value * 2.0).floor() / 2.0;
            let wide = (high - low) / middle > 0.10;
            assert!((low..=high).contains(&fat.sap), "{} outside its range", fat.key);
            match fat.basis {
                Basis::Middle => {
                    assert_eq!(fat.sap, down(middle), "{}", fat.key);
                    assert!(!wide || fat.kind == FatKind::WaxEster, "{} is wide", fat.key);
                }
                // theory.rs holds the value itself to its composition
                Basis::Theory => assert!(!fat.usual_acids.is_empty(), "{}", fat.key),
                Basis::Single => assert!((high - low) / middle >= 0.10, "{}", fat.key),
                Basis::Maker => panic!("{} is built in", fat.key),
            }
            assert_ne!(fat.range.seen, Seen::Certificate, "{}", fat.key);
            assert!(!fat.range.source.is_empty() && !fat.inci.is_empty(), "{}", fat.key);
            assert_eq!(fat.kind == FatKind::WaxEster, !fat.reacting.is_whole(), "{}", fat.key);
        }
    }

    #[test]
    fn the_makers_own_figure_replaces_or_adds_and_never_shadows() {
        let mut table = FatTable::built_in().clone();
        let mut own = table.find("olive").unwrap().clone();
        own.sap = 189.0;
        table.put(own.clone()).unwrap();
        assert_eq!(table.find("olive oil").unwrap().sap, 189.0);
        own.key = "my_olive".into();
        let refused = table.put(own).unwrap_err().to_string();
        assert!(refused.starts_with("`olive oil` is already the name of `olive`"), "{refused}");
        assert_eq!(table.find("olive oil").unwrap().key, "olive");
    }

    #[test]
    fn a_file_of_fats_refuses_what_it_does_not_know() {
        let text = "[[fat]]\nkey = \"emu\"\nname = \"emu oil\"\nkind = \"triglyceride\"\n\
                    sap = 0.135\n\
                    range = { low = 0.134, high = 0.136, source = \"supplier's sheet\" }\n";
        let refused = FatTable::parse(Source { file: "mine.toml", text }).unwrap_err();
        assert!(refused.to_string().contains("0.13 is grams of NaOH per gram"), "{refused}");
        let text = text.replace("0.13", "190.");
        let table = FatTable::parse(Source { file: "mine.toml", text: &text }).unwrap();
        let emu = table.find("emu oil").unwrap();
        assert_eq!((emu.sap, emu.basis, emu.range.seen), (190.5, Basis::Maker, Seen::Certificate));
        let twice = format!("{text}{}", text.replace("\"emu\"", "\"ratite\""));
        let refused = FatTable::parse(Source { file: "mine.toml", text: &twice }).unwrap_err();
        assert!(
            refused.to_string().starts_with("mine.toml, line 8, `fat.ratite`: found `emu oil`"),
            "{refused}"
        );
    }
}
