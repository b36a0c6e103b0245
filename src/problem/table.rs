use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table of the file, with its name as a maker would write it: `oil[2]`.
pub struct Table<'a> {
    pub(super) path: String,
    place: Range<usize>,
    pub(super) entries: Vec<Entry<'a>>,
    present: Vec<String>,
    pub(super) asked: Vec<&'static str>,
}

pub(super) struct Entry<'a> {
    pub key: String,
    pub place: Range<usize>,
    value: Spanned<DeValue<'a>>,
}

/// A value with where it stands, so that a later check can still name the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed<T> {
    pub value: T,
    pub place: Range<usize>,
    pub field: String,
}

/// Likeness at which an unknown key surely stands for a missing one.
const SURELY_MEANT: f64 = 0.75;

impl<'a> Table<'a> {
    pub(super) fn new(path: String, place: Range<usize>, table: DeTable<'a>) -> Table<'a> {
        let entries: Vec<Entry<'a>> = table
            .into_iter()
            .map(|(key, value)| Entry { place: key.span(), key: key.into_inner().into(), value })
            .collect();
        let present = entries.iter().map(|entry| entry.key.clone()).collect();
        Table { path, place, entries, present, asked: Vec::new() }
    }

    /// The key stood in the file, whether or not it was taken or refused since.
    pub fn has(&self, key: &str) -> bool {
        self.present.iter().any(|present| present == key)
    }

    pub(super) fn has_misspelt(&self, key: &str) -> bool {
        let near = |entry: &Entry<'_>| {
            strsim::normalized_damerau_levenshtein(&entry.key, key) >= SURELY_MEANT
        };
        self.entries.iter().any(near)
    }

    /// The table itself, for what is wrong with it as a whole.
    pub fn placed(&self) -> Placed<()> {
        Placed { value: (), place: self.place.clone(), field: self.path.clone() }
    }

    pub(super) fn missing(&self, key: &str) -> Placed<()> {
        Placed { value: (), place: self.place.clone(), field: self.field(key) }
    }

    pub(super) fn field(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    pub(super) fn take(&mut self, key: &'static str) -> Option<Placed<DeValue<'a>>> {
        if !self.asked.contains(&key) {
            self.asked.push(key);
        }
        let index = self.entries.iter().position(|entry| entry.key == key)?;
        let value = self.entries.remove(index).value;
        let (place, field) = (value.span(), self.field(key));
        Some(Placed { value: value.into_inner(), place, field })
    }
}

impl<T> Placed<T> {
    /// Another value from the same place.
    pub fn with<U>(&self, value: U) -> Placed<U> {
        Placed { value, place: self.place.clone(), field: self.field.clone() }
    }
}

/// A number as its digits stand in the file.
pub(super) fn number_text(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::Integer(number) => Some(number.as_str().replace('_', "")),
        DeValue::Float(number) => Some(number.as_str().replace('_', "")),
        _ => None,
    }
}

pub(super) fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("`{text}`"),
        DeValue::Boolean(yes) => format!("`{yes}`"),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
        DeValue::Datetime(date) => format!("the date {date}"),
        number => format!("the bare number {}", number_text(number).unwrap_or_default()),
    }
}
