//! The manual of the wire sheet: each field says what it means and what it may be.

use std::collections::BTreeMap;

use regex::bytes::Regex;
use serde::{Deserialize, Serialize};

use super::bytes::unescape;
use super::checksum::Checksum;
use crate::problem::{Problem, Problems, Source, read_toml};
use crate::quantity::{MassUnit, Span, TemperatureUnit};
use crate::reading::Status;

/// How one kind of instrument speaks, checked and ready for use.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Named for the shape of what is on the wire.
    pub name: String,
    pub about: String,
    pub line: Line,
    pub talk: Talk,
    pub frame: Frame,
    pub check: Option<Check>,
    pub fields: Vec<Field>,
    pub modbus: Vec<ModbusValue>,
    pub examples: Vec<Example>,
}

/// Settings of the serial line; a bench file may differ from them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Line {
    /// Bits a second.
    pub baud: u32,
    /// 7 or 8.
    pub data_bits: u8,
    pub parity: LineParity,
    /// 1 or 2.
    pub stop_bits: u8,
    /// Raise DTR when the port opens; some adapters are powered by it.
    pub dtr: bool,
    /// Raise RTS when the port opens.
    pub rts: bool,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LineParity {
    #[default]
    None,
    Even,
    Odd,
}

impl Default for Line {
    fn default() -> Line {
        let parity = LineParity::None;
        Line { baud: 9600, data_bits: 8, parity, stop_bits: 1, dtr: true, rts: true }
    }
}

/// Who speaks first.
#[derive(Clone, Debug, PartialEq)]
pub enum Talk {
    /// It sends by itself.
    Streams,
    /// It answers these queries, one after the other, each this often.
    Answers { queries: Vec<Vec<u8>>, every: Span, timeout: Span },
    /// It sends when its key is pressed; silence is normal.
    OnKey,
}

/// Where a frame begins and ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    pub shape: Shape,
    /// Longer than this is no frame: memory is bounded by it.
    pub longest: usize,
    /// Clear the eighth bit, for a line of seven data bits read as eight.
    pub seven_bits: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Ends with any of these bytes; empty frames are skipped.
    Ended { by: Vec<u8> },
    /// From a start byte to an end byte, and `tail` bytes of check behind it.
    Between { start: u8, end: u8, tail: usize },
    /// Always so many bytes, beginning with `start` if one is given.
    Fixed { length: usize, start: Option<u8> },
    /// Whatever came without a pause longer than this.
    Idle { pause: Span },
    /// A Modbus RTU answer: its length follows from its function and byte count.
    Modbus,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Check {
    pub kind: Checksum,
    /// Written as hex digits, or as the bytes themselves.
    pub hex: bool,
    /// Bytes at the front of the frame that are not covered.
    pub skip: usize,
    /// A mark between the covered bytes and the check, like `*`.
    pub mark: Option<u8>,
}

/// One way to read a value out of a frame.
#[derive(Clone, Debug)]
pub struct Field {
    /// What the bench file calls `source`; a sheet with one value may leave it empty.
    pub source: String,
    pub quantity: Quantity,
    pub pattern: Regex,
    pub statuses: BTreeMap<String, Status>,
    pub bits: Vec<Bit>,
    pub instead: BTreeMap<String, Status>,
    pub mass_units: BTreeMap<String, MassUnit>,
    pub temperature_units: BTreeMap<String, TemperatureUnit>,
    pub decimal: u8,
    /// Digits behind a decimal point that is not on the wire.
    pub implied_decimals: Option<u8>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    Mass,
    Temperature,
}

/// One bit of a status byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bit {
    /// The bit or bits looked at.
    pub mask: u8,
    /// They mean it when they equal this; the mask itself if left out.
    #[serde(default)]
    pub is: Option<u8>,
    pub means: Meaning,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Meaning {
    Negative,
    StableAtZero,
    InMotion,
    Stable,
    UnderZero,
    OverLimit,
    NeedsCalibration,
    NeedsReZeroing,
    Fault,
}

/// One value behind Modbus registers.
#[derive(Clone, Debug, PartialEq)]
pub struct ModbusValue {
    pub source: String,
    pub quantity: Quantity,
    /// Address of the instrument on the line, 1 to 247.
    pub unit_id: u8,
    /// 3 reads holding registers, 4 input registers.
    pub function: u8,
    pub register: u16,
    pub form: RegisterForm,
    /// The number is divided by ten to this power.
    pub decimals: u8,
    pub unit: String,
    /// Numbers that mean "no reading".
    pub instead: BTreeMap<String, Status>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RegisterForm {
    I16,
    U16,
    I32,
    U32,
    F32,
    /// As `i32`, the low word first.
    I32LowFirst,
    U32LowFirst,
    F32LowFirst,
}

impl RegisterForm {
    pub const fn registers(self) -> u16 {
        match self {
            RegisterForm::I16 | RegisterForm::U16 => 1,
            _ => 2,
        }
    }
}

/// Bytes, and what they must give.
#[derive(Clone, Debug, PartialEq)]
pub struct Example {
    pub bytes: Vec<u8>,
    pub expected: Expected,
    /// Line in the file.
    pub line: usize,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Expected {
    /// Each as `source value status`, like `weight 123.45 g stable`.
    Reads(Vec<String>),
    Refused,
    /// Nothing yet.
    Incomplete,
}

/// Longest frame any sheet may ask for: a Modbus frame is 256 bytes, lines are shorter.
pub(super) const LONGEST_MAX: usize = 1024;

impl Sheet {
    /// # Errors
    /// Everything wrong with the file, each with its line.
    pub fn read(source: Source<'_>) -> Result<Sheet, Problems> {
        let raw: RawSheet = read_toml(source)?;
        let mut problems = Vec::new();
        let sheet = raw.check(source, &mut problems);
        match sheet {
            Some(sheet) if problems.is_empty() => Ok(sheet),
            _ => Err(Problems(problems)),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSheet {
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
    #[serde(default)]
    example: Vec<toml::Spanned<RawExample>>,
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
}

impl RawSheet {
    fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Sheet> {
        let frame = self.frame.get_ref().check(source, self.frame.span(), problems);
        let talk = self.talk.check(source, problems);
        let fields: Vec<_> =
            self.value.into_iter().filter_map(|field| field.check(source, problems)).collect();
        let modbus: Vec<_> =
            self.modbus.into_iter().filter_map(|value| value.check(source, problems)).collect();
        let examples: Vec<_> = self
            .example
            .into_iter()
            .filter_map(|one| check_example(one, source, problems))
            .collect();
        let check = self.check.map(|check| Check {
            kind: check.kind,
            hex: check.hex,
            skip: check.skip,
            mark: check.mark.and_then(|mark| mark.bytes().next()),
        });
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
        Some(Sheet {
            name,
            about,
            line,
            talk: talk?,
            frame: frame?,
            check,
            fields,
            modbus,
            examples,
        })
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
            (false, None, start, Some(length), None) if (1..=LONGEST_MAX).contains(&length) => {
                Shape::Fixed { length, start }
            }
            (false, None, None, None, Some(pause)) => Shape::Idle { pause },
            _ => {
                let expected = "one of: ends_with; starts_with and a single byte ends_with; \
                                length (and starts_with); pause; modbus = true";
                refuse("frame", "another combination".to_owned(), expected);
                return None;
            }
        };
        let longest = self.longest.unwrap_or(96);
        if !(1..=LONGEST_MAX).contains(&longest) {
            refuse("frame.longest", longest.to_string(), "1 to 1024 bytes");
            return None;
        }
        let longest = match shape {
            Shape::Modbus => 256,
            Shape::Fixed { length, .. } => length,
            _ => longest,
        };
        Some(Frame { shape, longest, seven_bits: self.seven_bits })
    }
}

impl RawField {
    fn check(self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Field> {
        let place = Some(self.pattern.span());
        // bytes from a wire are no UTF-8
        let pattern = match Regex::new(&format!("(?-u){}", self.pattern.get_ref())) {
            Ok(pattern) => pattern,
            Err(error) => {
                let found = error.to_string().lines().last().unwrap_or("").trim().to_owned();
                let expected = "a regular expression with a part named `value`";
                problems.push(source.problem(place, "value.pattern", found, expected, ""));
                return None;
            }
        };
        let names: Vec<&str> = pattern.capture_names().flatten().collect();
        let has_value = names.contains(&"value") || names.contains(&"ounces");
        let known = ["value", "sign", "status", "unit", "pounds", "ounces"];
        if let Some(odd) = names.iter().find(|name| !known.contains(name)) {
            let found = format!("a part named `{odd}`");
            let expected = format!("parts named {}", known.join(", "));
            problems.push(source.problem(place, "value.pattern", found, expected, ""));
            return None;
        }
        if !has_value && self.status.is_empty() {
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
    Some(Example { bytes, expected, line })
}

pub(super) fn mass_unit(text: &str) -> Option<MassUnit> {
    Some(match text {
        "mg" => MassUnit::Milligram,
        "g" => MassUnit::Gram,
        "kg" => MassUnit::Kilogram,
        "oz" => MassUnit::Ounce,
        "lb" => MassUnit::Pound,
        _ => return None,
    })
}

pub(super) fn temperature_unit(text: &str) -> Option<TemperatureUnit> {
    Some(match text {
        "°C" | "C" => TemperatureUnit::Celsius,
        "°F" | "F" => TemperatureUnit::Fahrenheit,
        _ => return None,
    })
}
