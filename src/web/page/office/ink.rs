//! A form of the office: fields with what they hold and what is wrong beside them.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::edit::Entry;
use crate::web::page::form::{self, Field};

/// One part of a form.
#[derive(Clone)]
pub struct Ink<'a> {
    pub entry: &'a Entry,
    wrong: &'a BTreeMap<String, Vec<String>>,
    /// `oil[2]`, or empty for the file itself.
    name: String,
}

/// Row numbers and parts that a form does not have yet.
static EMPTY: std::sync::LazyLock<Entry> = std::sync::LazyLock::new(Entry::default);

impl<'a> Ink<'a> {
    pub fn new(entry: &'a Entry, wrong: &'a BTreeMap<String, Vec<String>>) -> Ink<'a> {
        Ink { entry, wrong, name: String::new() }
    }

    /// A single part, whether or not there is any yet.
    pub fn part(&self, key: &str) -> Ink<'a> {
        let entry = self.entry.part(key).unwrap_or(&EMPTY);
        Ink { entry, wrong: self.wrong, name: self.field(key) }
    }

    pub fn rows(&self, key: &str) -> Vec<Ink<'a>> {
        let rows = self.entry.rows(key).iter().enumerate();
        let ink = |(index, entry)| Ink {
            entry,
            wrong: self.wrong,
            name: format!("{}[{}]", self.field(key), index + 1),
        };
        rows.map(ink).collect()
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    pub fn field(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    /// What is wrong with a part as a whole.
    pub fn wrong_here(&self) -> Markup {
        wrong_with(self.wrong, &self.name)
    }

    pub fn wrong_with(&self, key: &str) -> Markup {
        wrong_with(self.wrong, &self.field(key))
    }

    /// Something in this part, or in a part of it, is wrong or filled in: it must be seen.
    pub fn is_used(&self, keys: &[&str]) -> bool {
        keys.iter().any(|key| {
            let field = self.field(key);
            let below = format!("{field}.");
            !self.entry.get(key).is_empty()
                || self.entry.part(key).is_some_and(|part| !part.is_blank())
                || self.wrong.keys().any(|name| *name == field || name.starts_with(&below))
        })
    }

    pub fn text(&self, key: &str, label: &str, hint: &str) -> Markup {
        self.with(key, |field| {
            form::field(&Field { label, hint: (!hint.is_empty()).then_some(hint), ..*field })
        })
    }

    pub fn listed(&self, key: &str, label: &str, hint: &str, list: &str) -> Markup {
        let hint = (!hint.is_empty()).then_some(hint);
        self.with(key, |field| form::field(&Field { label, hint, list: Some(list), ..*field }))
    }

    pub fn area(&self, key: &str, label: &str, hint: &str) -> Markup {
        self.with(key, |field| {
            let hint = (!hint.is_empty()).then_some(hint);
            form::text_area(&Field { label, hint, ..*field }, 2)
        })
    }

    /// A choice; what the file says and nobody offers is offered too, so that it is never lost.
    pub fn pick(&self, key: &str, label: &str, options: &[(&str, &str)]) -> Markup {
        self.with(key, |field| {
            let mut options = options.to_vec();
            let known = options.iter().any(|(value, _)| value.eq_ignore_ascii_case(field.value));
            if !known {
                let words = if field.value.is_empty() { "as usual" } else { field.value };
                options.push((field.value, words));
            }
            let value = options.iter().find(|(value, _)| value.eq_ignore_ascii_case(field.value));
            let value = value.map_or(field.value, |(value, _)| value);
            form::choice(&Field { label, value, ..*field }, &options)
        })
    }

    fn with(&self, key: &str, show: impl Fn(&Field<'_>) -> Markup) -> Markup {
        let name = self.field(key);
        let error = self.wrong.get(&name).map(|words| sentences(words));
        let field = Field {
            name: &name,
            value: self.entry.get(key),
            error: error.as_deref(),
            ..Field::default()
        };
        show(&field)
    }

    /// The row's place in the file, hidden.
    pub fn was(&self) -> Markup {
        html! {
            @if let Some(was) = self.entry.was {
                input type="hidden" name=(self.field("was")) value=(was);
            }
        }
    }
}

fn wrong_with(wrong: &BTreeMap<String, Vec<String>>, name: &str) -> Markup {
    html! {
        @for words in wrong.get(name).into_iter().flatten() {
            p class="error-line" { (super::super::layout::sentence(words)) }
        }
    }
}

fn sentences(words: &[String]) -> String {
    let words: Vec<String> =
        words.iter().map(|words| super::super::layout::sentence(words)).collect();
    words.join(" ")
}
