//! A wire sheet as it stands in the file, and the checks that make a [`Sheet`] of it.

use std::collections::BTreeMap;

use regex::bytes::Regex;
use serde::Deserialize;

use super::super::bytes::unescape;
use super::super::checksum::Checksum;
use super::{
    Bit, Check, Commands, Example, Expected, Field, Frame, LONGEST_MAX, Line, LineParity,
    ModbusValue, NumberForm, Point, Quantity, RegisterForm, Shape, Sheet, Talk, mass_unit,
    temperature_unit,
};
use crate::problem::{Problem, Source};
use crate::quantity::Span;
use crate::reading::Status;

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

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct RawTalk {
    style: RawStyle,
    query: Vec<String>,
    every: Option<toml::Spanned<String>>,
    timeout: Option<toml::Spanned<String>>,
}

#[derive(Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum RawStyle {
    #[default]
    Streams,
    Answers,
    OnKey,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFrame {
    ends_with: Option<String>,
    starts_with: Option<String>,
    length: Option<usize>,
    pause: Option<String>,
    #[serde(default)]
    modbus: bool,
    #[serde(default)]
    check_bytes: usize,
    longest: Option<usize>,
    #[serde(default)]
    seven_bits: bool,
    #[serde(default)]
    skip_nul: bool,
    #[serde(default)]
    bit_parity: LineParity,
    /// One read of the device is one frame, as with USB reports.
    #[serde(default)]
    report: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCheck {
    kind: Checksum,
    #[serde(default)]
    hex: bool,
    #[serde(default)]
    skip: usize,
    mark: Option<String>,
    #[serde(default)]
    marks: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawField {
    #[serde(default)]
    source: String,
    quantity: Quantity,
    pattern: toml::Spanned<String>,
    #[serde(default)]
    status: BTreeMap<String, Status>,
    #[serde(default)]
    bits: Vec<Bit>,
    #[serde(default)]
    instead: BTreeMap<String, Status>,
    #[serde(default)]
    units: BTreeMap<String, String>,
    #[serde(default)]
    decimal_comma: bool,
    implied_decimals: Option<u8>,
    point: Option<Point>,
    #[serde(default)]
    form: NumberForm,
    /// Which query it answers, counted from 1.
    answer_to: Option<usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawModbus {
    #[serde(default)]
    source: String,
    quantity: Quantity,
    unit_id: toml::Spanned<u8>,
    function: toml::Spanned<u8>,
    register: u16,
    form: RegisterForm,
    #[serde(default)]
    decimals: u8,
    unit: toml::Spanned<String>,
    #[serde(default)]
    instead: BTreeMap<String, Status>,
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

impl RawCheck {
    fn checked(self) -> Check {
        Check {
            kind: self.kind,
            hex: self.hex,
            skip: self.skip,
            mark: self.mark.and_then(|mark| mark.bytes().next()),
            marks: self.marks,
        }
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

impl RawTalk {
    fn check(&self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Talk> {
        let mut span = |value: &Option<toml::Spanned<String>>, field: &str, default: Span| {
            let Some(value) = value else { return Some(default) };
            match Span::parse(value.get_ref()) {
                Ok(span) if span >= Span::from_millis(20) && span <= Span::from_minutes(10) => {
                    Some(span)
                }
                Ok(_) => {
                    let found = format!("`{}`", value.get_ref());
                    let expected = "20 ms to 10 min";
                    problems.push(source.problem(Some(value.span()), field, found, expected, ""));
                    None
                }
                Err(error) => {
                    let found = error.to_string();
                    let expected = "a length of time, like `250 ms`";
                    problems.push(source.problem(Some(value.span()), field, found, expected, ""));
                    None
                }
            }
        };
        let every = span(&self.every, "talk.every", Span::from_millis(250));
        let timeout = span(&self.timeout, "talk.timeout", Span::from_secs(1));
        Some(match self.style {
            RawStyle::Streams => Talk::Streams,
            RawStyle::OnKey => Talk::OnKey,
            RawStyle::Answers => {
                let queries: Result<Vec<_>, _> = self.query.iter().map(|q| unescape(q)).collect();
                match queries {
                    Ok(queries) => Talk::Answers { queries, every: every?, timeout: timeout? },
                    Err(why) => {
                        let advice = "write bytes like `W\\r\\n` or `\\x05`";
                        problems.push(source.problem(None, "talk.query", why, "bytes", advice));
                        return None;
                    }
                }
            }
        })
    }
}

impl RawFrame {
    fn check(
        &self,
        source: Source<'_>,
        place: std::ops::Range<usize>,
        problems: &mut Vec<Problem>,
    ) -> Option<Frame> {
        let bytes = |text: &Option<String>| text.as_deref().map(unescape).transpose();
        let mut refuse = |field: &str, found: String, expected: &str| {
            problems.push(source.problem(Some(place.clone()), field, found, expected, ""));
        };
        let (ends, starts) = match (bytes(&self.ends_with), bytes(&self.starts_with)) {
            (Ok(ends), Ok(starts)) => (ends, starts),
            (Err(why), _) | (_, Err(why)) => {
                refuse("frame", why, "bytes like `\\r\\n` or `\\x02`");
                return None;
            }
        };
        let pause = match self.pause.as_deref().map(Span::parse).transpose() {
            Ok(pause) => pause,
            Err(error) => {
                refuse("frame.pause", error.to_string(), "a length of time, like `30 ms`");
                return None;
            }
        };
        let start = starts.as_deref().and_then(|bytes| bytes.first().copied());
        let shape = match (self.modbus, ends.as_deref(), start, self.length, pause) {
            (true, None, None, None, None) => Shape::Modbus,
            (false, Some([end]), Some(start), None, None) => {
                Shape::Between { start, end: *end, tail: self.check_bytes }
            }
            (false, Some(by), None, None, None) if !by.is_empty() => {
                Shape::Ended { by: by.to_vec() }
            }
            (false, None, Some(start), Some(length @ 1..=LONGEST_MAX), None) if self.report => {
                Shape::Report { length, start }
            }
            (false, None, start, Some(length), pause) if (1..=LONGEST_MAX).contains(&length) => {
                Shape::Fixed { length, start, pause }
            }
            (false, None, None, None, Some(pause)) => Shape::Idle { pause },
            _ => {
                let expected = "one of: ends_with; starts_with and a single byte ends_with; \
                                length (and starts_with, pause); pause; modbus = true";
                refuse("frame", "another combination".to_owned(), expected);
                return None;
            }
        };
        if self.bit_parity != LineParity::None && !self.seven_bits {
            refuse("frame.bit_parity", "eight bits".to_owned(), "seven_bits = true");
        }
        let longest = self.longest.unwrap_or(96);
        if !(1..=LONGEST_MAX).contains(&longest) {
            refuse("frame.longest", longest.to_string(), "1 to 1024 bytes");
            return None;
        }
        let longest = match shape {
            Shape::Modbus => 256,
            Shape::Fixed { length, .. } | Shape::Report { length, .. } => length,
            _ => longest,
        };
        Some(Frame {
            shape,
            longest,
            seven_bits: self.seven_bits,
            skip_nul: self.skip_nul,
            bit_parity: self.bit_parity,
        })
    }
}

impl RawField {
    fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Field> {
        let place = Some(self.pattern.span());
        let line = source.line_at(self.pattern.span().start);
        let pattern = pattern(&self.pattern, "value.pattern", source, problems)?;
        let names: Vec<&str> = pattern.capture_names().flatten().collect();
        let has_value = names.contains(&"value") || names.contains(&"ounces");
        let known = ["value", "sign", "status", "unit", "pounds", "ounces", "point", "exponent"];
        if let Some(odd) = names.iter().find(|name| !known.contains(name)) {
            let found = format!("a part named `{odd}`");
            let expected = format!("parts named {}", known.join(", "));
            problems.push(source.problem(place, "value.pattern", found, expected, ""));
            return None;
        }
        if !has_value && self.status.is_empty() && self.bits.is_empty() {
            let expected = "a part named `value`, like `(?<value>[0-9.]+)`";
            problems.push(source.problem(place, "value.pattern", "none", expected, ""));
            return None;
        }
        let mut mass_units = BTreeMap::new();
        let mut temperature_units = BTreeMap::new();
        for (wire, unit) in self.units {
            match (self.quantity, mass_unit(&unit), temperature_unit(&unit)) {
                (Quantity::Mass, Some(unit), _) => drop(mass_units.insert(wire, unit)),
                (Quantity::Temperature, _, Some(unit)) => {
                    temperature_units.insert(wire, unit);
                }
                _ => {
                    let found = format!("`{unit}`");
                    let expected = "g, kg, mg, oz, lb for masses; °C, °F for temperatures";
                    problems.push(source.problem(
                        place.clone(),
                        "value.units",
                        found,
                        expected,
                        "",
                    ));
                }
            }
        }
        Some(Field {
            source: self.source,
            quantity: self.quantity,
            pattern,
            statuses: self.status,
            bits: self.bits,
            instead: self.instead,
            mass_units,
            temperature_units,
            decimal: if self.decimal_comma { b',' } else { b'.' },
            implied_decimals: self.implied_decimals,
            point: self.point,
            form: self.form,
            // counted from 1 in the file
            answer_to: self.answer_to.map(|query| query.saturating_sub(1)),
            line,
        })
    }
}

impl RawModbus {
    fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<ModbusValue> {
        let before = problems.len();
        if !(1..=247).contains(self.unit_id.get_ref()) {
            let found = self.unit_id.get_ref().to_string();
            let place = Some(self.unit_id.span());
            problems.push(source.problem(place, "modbus.unit_id", found, "1 to 247", ""));
        }
        if !matches!(self.function.get_ref(), 3 | 4) {
            let found = self.function.get_ref().to_string();
            let expected = "3 (holding registers) or 4 (input registers)";
            let place = Some(self.function.span());
            problems.push(source.problem(place, "modbus.function", found, expected, ""));
        }
        let unit = self.unit.get_ref();
        let known = match self.quantity {
            Quantity::Mass => mass_unit(unit).is_some(),
            Quantity::Temperature => temperature_unit(unit).is_some(),
        };
        if !known {
            let expected = "g, kg, mg, oz, lb for masses; °C, °F for temperatures";
            let place = Some(self.unit.span());
            problems.push(source.problem(place, "modbus.unit", format!("`{unit}`"), expected, ""));
        }
        (problems.len() == before).then(|| ModbusValue {
            source: self.source,
            quantity: self.quantity,
            unit_id: self.unit_id.into_inner(),
            function: self.function.into_inner(),
            register: self.register,
            form: self.form,
            decimals: self.decimals,
            unit: self.unit.into_inner(),
            instead: self.instead,
        })
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
