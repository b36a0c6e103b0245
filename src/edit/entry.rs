use std::collections::BTreeMap;

use thiserror::Error;
use toml_edit::{DocumentMut, Item, TableLike, Value};

use super::{Kind, MASS, Part, SHARE};

/// What a form holds of one part: texts as typed, and the parts within it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entry {
    values: BTreeMap<&'static str, String>,
    parts: BTreeMap<&'static str, Vec<Entry>>,
    /// Which of the rows of the file this one was, from 0; `None` for a new one.
    pub was: Option<usize>,
}

#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum FormError {
    #[error("the form holds more rows of `{0}` than a file may have")]
    TooMany(String),
    #[error("the file is no TOML: {0}")]
    NoToml(String),
}

/// More rows than any file may have are not even looked at.
const ROWS_MAX: usize = 60;
const WAS: &str = "was";

impl Entry {
    pub fn get(&self, key: &str) -> &str {
        self.values.get(key).map_or("", String::as_str)
    }

    /// An empty text takes the key out of the file.
    pub fn set(&mut self, key: &'static str, text: impl Into<String>) {
        let text = text.into().trim().to_owned();
        if text.is_empty() {
            self.values.remove(key);
        } else {
            self.values.insert(key, text);
        }
    }

    /// The rows of a part; one at most where the file has a single `[key]`.
    pub fn rows(&self, part: &str) -> &[Entry] {
        self.parts.get(part).map_or(&[], Vec::as_slice)
    }

    pub fn rows_mut(&mut self, part: &'static str) -> &mut Vec<Entry> {
        self.parts.entry(part).or_default()
    }

    /// The single part of that name.
    pub fn part(&self, part: &str) -> Option<&Entry> {
        self.rows(part).first()
    }

    pub fn part_mut(&mut self, part: &'static str) -> &mut Entry {
        let rows = self.rows_mut(part);
        if rows.is_empty() {
            rows.push(Entry::default());
        }
        &mut rows[0]
    }

    /// Nothing is typed in it.
    pub fn is_blank(&self) -> bool {
        self.values.is_empty() && self.parts.values().flatten().all(Entry::is_blank)
    }

    /// The file it was made from is no longer there: every row is a new one.
    pub fn forget_rows(&mut self) {
        self.was = None;
        self.parts.values_mut().flatten().for_each(Entry::forget_rows);
    }

    /// Puts an empty row at the end of a part: `oil`, or `instrument[2].channel`. Gives the new
    /// row's name; `None` where `part` has no such rows.
    pub fn add(&mut self, part: &Part, path: &str) -> Option<String> {
        let (rows, _) = self.rows_at(part, path)?;
        if rows.len() >= ROWS_MAX {
            return None;
        }
        rows.push(Entry::default());
        Some(format!("{path}[{}]", rows.len()))
    }

    /// Takes out the row of that name, like `instrument[2].channel[1]`, if there is one.
    pub fn drop_row(&mut self, part: &Part, name: &str) {
        let number = name.strip_suffix(']').and_then(|name| name.rsplit_once('['));
        let Some((path, number)) = number else { return };
        let index = number.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        if let (Some((rows, _)), Some(index)) = (self.rows_at(part, path), index)
            && index < rows.len()
        {
            rows.remove(index);
        }
    }

    /// The row of that name, like `vessel[2]`.
    pub fn row_mut(&mut self, part: &Part, name: &str) -> Option<&mut Entry> {
        let (path, number) = name.strip_suffix(']')?.rsplit_once('[')?;
        let index = number.parse::<usize>().ok()?.checked_sub(1)?;
        self.rows_at(part, path)?.0.get_mut(index)
    }

    fn rows_at<'e, 'p>(
        &'e mut self,
        part: &'p Part,
        path: &str,
    ) -> Option<(&'e mut Vec<Entry>, &'p Part)> {
        let Some((row, path)) = path.split_once('.') else {
            let inner = part.part(path).filter(|inner| inner.many)?;
            return Some((self.rows_mut(inner.key), inner));
        };
        let Some((key, number)) = row.strip_suffix(']').and_then(|row| row.split_once('[')) else {
            let inner = part.part(row).filter(|inner| !inner.many)?;
            return self.part_mut(inner.key).rows_at(inner, path);
        };
        let inner = part.part(key)?;
        let index = number.parse::<usize>().ok()?.checked_sub(1)?;
        self.rows_mut(inner.key).get_mut(index)?.rows_at(inner, path)
    }

    /// From the pairs a form sends: `oil[2].fat` is the fat of the second oil. Names that are no
    /// field of `part` are left out.
    ///
    /// # Errors
    /// When there are more rows than a file may have.
    pub fn of_form(part: &Part, pairs: &[(String, String)]) -> Result<Entry, FormError> {
        let mut rows = Rows::default();
        for (name, text) in pairs {
            rows.put(part, name, text)?;
        }
        Ok(rows.entry())
    }

    /// What a file holds now.
    ///
    /// # Errors
    /// When the text is no TOML at all.
    pub fn of_text(part: &Part, text: &str) -> Result<Entry, FormError> {
        let document: DocumentMut = text
            .parse()
            .map_err(|error: toml_edit::TomlError| FormError::NoToml(error.to_string()))?;
        Ok(of_table(part, document.as_table()))
    }
}

/// Rows by their number in the form, which may have holes.
#[derive(Default)]
struct Rows {
    entry: Entry,
    rows: BTreeMap<&'static str, BTreeMap<usize, Rows>>,
}

impl Rows {
    fn put(&mut self, part: &Part, name: &str, text: &str) -> Result<(), FormError> {
        let Some((head, rest)) = name.split_once('.') else {
            if name == WAS {
                self.entry.was = text.parse().ok().filter(|&was| was < ROWS_MAX);
            } else if let Some(key) = part.key(name) {
                self.entry.set(key.key, text);
            }
            return Ok(());
        };
        let (key, number) = match head.strip_suffix(']').and_then(|head| head.split_once('[')) {
            Some((key, number)) => (key, number.parse().ok()),
            None => (head, Some(1)),
        };
        let (Some(inner), Some(number)) = (part.part(key), number) else { return Ok(()) };
        let rows = self.rows.entry(inner.key).or_default();
        if !rows.contains_key(&number) && rows.len() >= ROWS_MAX {
            return Err(FormError::TooMany(key.to_owned()));
        }
        rows.entry(number).or_default().put(inner, rest, text)
    }

    fn entry(mut self) -> Entry {
        for (key, rows) in self.rows {
            self.entry.parts.insert(key, rows.into_values().map(Rows::entry).collect());
        }
        self.entry
    }
}

fn of_table(part: &Part, table: &dyn TableLike) -> Entry {
    let mut entry = Entry::default();
    let text = |key: &str| table.get(key).and_then(Item::as_value).map(text_of);
    for key in part.keys {
        let found = match key.kind {
            Kind::ShareOrMass => text(SHARE).or_else(|| text(MASS)),
            _ => text(key.key),
        };
        entry.set(key.key, found.unwrap_or_default());
    }
    for inner in part.parts {
        let rows: Vec<Entry> = match table.get(inner.key) {
            Some(Item::ArrayOfTables(rows)) => {
                rows.iter().map(|row| of_table(inner, row)).collect()
            }
            Some(item) => {
                item.as_table_like().map(|row| of_table(inner, row)).into_iter().collect()
            }
            None => Vec::new(),
        };
        if !rows.is_empty() {
            let numbered = rows.into_iter().enumerate();
            let rows = numbered.map(|(index, row)| Entry { was: Some(index), ..row }).collect();
            entry.parts.insert(inner.key, rows);
        }
    }
    entry
}

/// A value as a field shows it.
pub(super) fn text_of(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        Value::Array(items) => {
            let items: Vec<String> = items.iter().map(text_of).collect();
            items.join("; ")
        }
        // as written, without the remark behind it
        Value::Integer(number) => number.display_repr().into_owned(),
        Value::Float(number) => number.display_repr().into_owned(),
        other => other.to_string().trim().to_owned(),
    }
}
