//! The bench file as a form.

use std::collections::BTreeMap;

use crate::edit::{self, EditError, Entry, Part, beside, list, number, words};
use crate::problem::{Problems, Source};
use crate::recipe::digest;

use super::BenchFile;

/// The keys of a bench file that the form knows; `[law]` is left to a hand.
pub const FORM: Part = Part {
    key: "",
    many: false,
    keys: &[words("name"), words("masses"), words("temperatures"), words("altitude")],
    parts: &[
        Part {
            key: "instrument",
            many: true,
            keys: &[
                words("name"),
                words("port"),
                words("sheet"),
                number("baud"),
                number("data_bits"),
                words("parity"),
                number("stop_bits"),
                words("keep_awake"),
            ],
            parts: &[Part {
                key: "channel",
                many: true,
                keys: &[
                    words("name"),
                    words("role"),
                    words("source"),
                    words("unit"),
                    words("d"),
                    words("capacity"),
                    words("class"),
                    words("e"),
                    words("minimum"),
                    words("last_checked"),
                    words("period"),
                ],
                parts: &[],
            }],
        },
        Part {
            key: "vessel",
            many: true,
            keys: &[words("name"), words("for"), words("tare"), words("volume"), words("material")],
            parts: &[],
        },
        Part { key: "alarm", many: false, keys: &[list("command")], parts: &[] },
    ],
};

/// A bench file as typed so far.
#[derive(Debug)]
pub struct Draft {
    pub text: String,
    pub bench: Result<Box<BenchFile>, Problems>,
    /// What is wrong, by the field it stands beside.
    pub wrong: BTreeMap<String, Vec<String>>,
}

/// Judges a form, over the text of the file it edits (empty for a new one).
///
/// # Errors
/// When the form does not fit that text.
pub fn draft(over: &str, entry: &Entry, file: &str) -> Result<Draft, EditError> {
    let text = edit::write(over, &FORM, entry)?;
    let bench = BenchFile::read(Source { file, text: &text }).map(Box::new);
    let wrong = match &bench {
        Ok(_) => BTreeMap::new(),
        Err(problems) => beside(&FORM, &text, problems),
    };
    Ok(Draft { text, bench, wrong })
}

impl BenchFile {
    /// A bench on which nothing stands yet: nothing can be weighed, and everything set up.
    pub fn empty(file: &str) -> BenchFile {
        BenchFile {
            file: file.to_owned(),
            digest: digest(""),
            name: None,
            units: crate::plan::Units::default(),
            altitude_m: 0,
            instruments: Vec::new(),
            vessels: Vec::new(),
            settings: crate::bench::Settings::default(),
            alarm_command: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests;
