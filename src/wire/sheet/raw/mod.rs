//! A wire sheet as it stands in the file, and the checks that make a [`Sheet`] of it.

mod message;
mod value;

use regex::bytes::Regex;
use serde::Deserialize;

use super::super::bytes::unescape;
use super::{Check, Commands, Example, Expected, Line, Shape, Sheet};
use crate::problem::{Problem, Source};

use message::{RawCheck, RawFrame, RawTalk};
use value::{RawField, RawModbus};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSheet {
    name: toml::Spanned<String>,
    about: String,
    #[serde(default)]
    line: Line,
    #[serde(default)]
    talk: RawTalk,
    frame: toml::Spanned<RawFrame>,
    check: Option<RawCheck>,
    #[serde(default)]
    value: Vec<RawField>,
    #[serde(default)]
    modbus: Vec<RawModbus>,
    /// Patterns of frames that are known and carry no reading.
    #[serde(default)]
    ignore: Vec<toml::Spanned<String>>,
    #[serde(default)]
    commands: RawCommands,
    #[serde(default)]
    example: Vec<toml::Spanned<RawExample>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawCommands {
    tare: Option<toml::Spanned<String>>,
    zero: Option<toml::Spanned<String>>,
    keep_awake: Option<toml::Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawExample {
    bytes: toml::Spanned<String>,
    #[serde(default)]
    reads: Vec<String>,
    #[serde(default)]
    refused: bool,
    #[serde(default)]
    incomplete: bool,
    asked: Option<usize>,
    because: Option<String>,
}

impl RawSheet {
    pub(super) fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Sheet> {
        let place = self.frame.span();
        let frame = self.frame.get_ref().check(source, place.clone(), problems);
        let talk = self.talk.check(source, problems);
        let fields: Vec<_> =
            self.value.into_iter().filter_map(|field| field.check(source, problems)).collect();
        let modbus: Vec<_> =
            self.modbus.into_iter().filter_map(|value| value.check(source, problems)).collect();
        let ignore: Vec<_> = self
            .ignore
            .iter()
            .filter_map(|known| pattern(known, "ignore", source, problems))
            .collect();
        let examples: Vec<_> = self
            .example
            .into_iter()
            .filter_map(|one| check_example(one, source, problems))
            .collect();
        let commands = self.commands.check(source, problems);
        let check = self.check.map(RawCheck::checked);
        if fields.is_empty() && modbus.is_empty() && problems.is_empty() {
            problems.push(source.problem(
                None,
                "value",
                "nothing",
                "at least one [[value]] or [[modbus]]",
                "say where the number stands in the frame",
            ));
        }
        let name = self.name.into_inner();
        let (about, line) = (self.about, self.line);
        let (talk, frame) = (talk?, frame?);
        let check = if frame.shape == Shape::Modbus { Some(Check::MODBUS) } else { check };
        let sheet = Sheet {
            name,
            about,
            line,
            talk,
            frame,
            check,
            fields,
            modbus,
            ignore,
            commands,
            examples,
        };
        together(&sheet, place, source, problems);
        Some(sheet)
    }
}

/// What each part allows and both together do not.
fn together(
    sheet: &Sheet,
    frame: std::ops::Range<usize>,
    source: Source<'_>,
    problems: &mut Vec<Problem>,
) {
    let mut refuse = |field: &str, found: &str, expected: &str, advice: &str| {
        problems.push(source.problem(Some(frame.clone()), field, found, expected, advice));
    };
    if (sheet.frame.shape == Shape::Modbus) == sheet.modbus.is_empty() {
        let expected = "modbus = true and [[modbus]] values, or neither";
        refuse("frame.modbus", "one without the other", expected, "");
    }
    if let Shape::Fixed { start: None, pause: None, .. } = sheet.frame.shape
        && sheet.check.is_none()
    {
        let expected = "with length also starts_with, pause, or a [check]";
        let advice = "without one of them nobody knows where a frame begins";
        refuse("frame.length", "nothing that shows where a frame begins", expected, advice);
    }
    if sheet.frame.is_report() && sheet.commands != Commands::default() {
        let expected = "no [commands] beside report frames";
        refuse("commands", "commands for a device of reports", expected, "it is not written to");
    }
    let questions = sheet.talk.questions();
    let beyond = |at: Option<usize>| at.is_some_and(|at| at >= questions);
    if sheet.fields.iter().any(|field| beyond(field.answer_to)) {
        let expected = "the number of a query of [talk], counted from 1";
        refuse("value.answer_to", "a query that is not there", expected, "");
    }
    let questions = questions.max(sheet.modbus.len());
    if let Some(example) =
        sheet.examples.iter().find(|example| example.asked.is_some_and(|at| at >= questions))
    {
        let found = format!("line {} asks what no query asks", example.line);
        let expected = "the number of a query or of a [[modbus]] value, counted from 1";
        refuse("example.asked", &found, expected, "");
    }
}

impl RawCommands {
    fn check(&self, source: Source<'_>, problems: &mut Vec<Problem>) -> Commands {
        let mut bytes = |text: &Option<toml::Spanned<String>>, field: &str| {
            let text = text.as_ref()?;
            match unescape(text.get_ref()) {
                Ok(bytes) if !bytes.is_empty() => return Some(bytes),
                Ok(_) => problems.push(source.problem(
                    Some(text.span()),
                    field,
                    "nothing",
                    "bytes like `T\\r\\n`",
                    "leave the key out if the instrument has no such command",
                )),
                Err(why) => problems.push(source.problem(
                    Some(text.span()),
                    field,
                    why,
                    "bytes like `T\\r\\n`",
                    "",
                )),
            }
            None
        };
        Commands {
            tare: bytes(&self.tare, "commands.tare"),
            zero: bytes(&self.zero, "commands.zero"),
            keep_awake: bytes(&self.keep_awake, "commands.keep_awake"),
        }
    }
}

/// Bytes from a wire are no UTF-8, and a status byte may be a line feed.
fn pattern(
    text: &toml::Spanned<String>,
    field: &str,
    source: Source<'_>,
    problems: &mut Vec<Problem>,
) -> Option<Regex> {
    match Regex::new(&format!("(?s-u){}", text.get_ref())) {
        Ok(pattern) => Some(pattern),
        Err(error) => {
            let found = error.to_string().lines().last().unwrap_or("").trim().to_owned();
            let expected = "a regular expression";
            problems.push(source.problem(Some(text.span()), field, found, expected, ""));
            None
        }
    }
}

fn check_example(
    example: toml::Spanned<RawExample>,
    source: Source<'_>,
    problems: &mut Vec<Problem>,
) -> Option<Example> {
    let line = source.line_at(example.span().start);
    let example = example.into_inner();
    let place = Some(example.bytes.span());
    let bytes = match unescape(example.bytes.get_ref()) {
        Ok(bytes) => bytes,
        Err(why) => {
            problems.push(source.problem(place, "example.bytes", why, "bytes", ""));
            return None;
        }
    };
    let expected = match (example.reads.is_empty(), example.refused, example.incomplete) {
        (false, false, false) => Expected::Reads(example.reads),
        (true, true, false) => Expected::Refused,
        (true, false, true) => Expected::Incomplete,
        _ => {
            let expected = "one of reads, refused, incomplete";
            problems.push(source.problem(place, "example", "none or several", expected, ""));
            return None;
        }
    };
    let asked = example.asked.map(|question| question.saturating_sub(1));
    Some(Example { bytes, expected, asked, because: example.because, line })
}
