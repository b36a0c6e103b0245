//! The manual of the wire sheet: each field says what it means and what it may be.

mod raw;

use std::collections::BTreeMap;

use regex::bytes::Regex;
use serde::{Deserialize, Serialize};

use super::checksum::Checksum;
use crate::problem::{Problems, Source, read_toml};
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
    /// Frames that are known and carry no reading: headings of a ticket, its date.
    pub ignore: Vec<Regex>,
    pub commands: Commands,
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
    pub flow: Flow,
}

/// Who may hold the other up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    #[default]
    None,
    RtsCts,
    XonXoff,
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
        let (parity, flow) = (LineParity::None, Flow::None);
        Line { baud: 9600, data_bits: 8, parity, stop_bits: 1, dtr: true, rts: true, flow }
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

/// Bytes that make the instrument do something. Only a sheet that knows them has them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Commands {
    pub tare: Option<Vec<u8>>,
    pub zero: Option<Vec<u8>>,
    /// Keeps it from falling asleep; harmless at any time.
    pub keep_awake: Option<Vec<u8>>,
}

/// What an instrument can be told to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// The empty pan is zero.
    Zero,
    /// What stands on the pan is zero. Never while a batch is weighed.
    Tare,
    KeepAwake,
}

impl Commands {
    /// The bytes of the command, where the instrument has it.
    pub fn of(&self, command: Command) -> Option<&[u8]> {
        match command {
            Command::Zero => self.zero.as_deref(),
            Command::Tare => self.tare.as_deref(),
            Command::KeepAwake => self.keep_awake.as_deref(),
        }
    }
}

impl Command {
    /// As a wire sheet names it.
    pub const fn key(self) -> &'static str {
        match self {
            Command::Zero => "zero",
            Command::Tare => "tare",
            Command::KeepAwake => "keep_awake",
        }
    }
}

/// Where a frame begins and ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    pub shape: Shape,
    /// Longer than this is no frame: memory is bounded by it.
    pub longest: usize,
    /// Clear the eighth bit, for a line of seven data bits read as eight.
    pub seven_bits: bool,
    /// The instrument pads with NUL. Otherwise a NUL is a byte that came damaged, and what holds
    /// it is refused: without its first digit 123.4 g would be 23.4 g.
    pub skip_nul: bool,
    /// Check this parity in the eighth bit, where the adapter does not; with `seven_bits`.
    pub bit_parity: LineParity,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Ends with any of these bytes; empty frames are skipped.
    Ended { by: Vec<u8> },
    /// From a start byte to an end byte, and `tail` bytes of check behind it.
    Between { start: u8, end: u8, tail: usize },
    /// Always so many bytes, without an end: found by a start byte, a pause, or its check.
    Fixed { length: usize, start: Option<u8>, pause: Option<Span> },
    /// One read of the device is one frame, as with USB reports; `start` is the report's id.
    Report { length: usize, start: u8 },
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
    /// The start and end bytes of the frame are covered too.
    pub marks: bool,
}

impl Frame {
    /// Frames are reports of a USB device, not parts of a stream.
    pub fn is_report(&self) -> bool {
        matches!(self.shape, Shape::Report { .. })
    }
}

impl Check {
    /// Of every Modbus RTU frame (Modbus over serial line V1.02, §2.5.1).
    pub(super) const MODBUS: Check =
        Check { kind: Checksum::Crc16Modbus, hex: false, skip: 0, mark: None, marks: false };
}

impl Talk {
    /// Queries written in the sheet.
    pub fn questions(&self) -> usize {
        match self {
            Talk::Answers { queries, .. } => queries.len(),
            Talk::Streams | Talk::OnKey => 0,
        }
    }
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
    /// A part of a status byte that says where the decimal point stands.
    pub point: Option<Point>,
    /// How the number is written.
    pub form: NumberForm,
    /// Which query it answers, counted from 0; `None` reads any answer.
    pub answer_to: Option<usize>,
    /// Line in the file.
    pub line: usize,
}

/// How a number stands in a frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NumberForm {
    /// As digits.
    #[default]
    Text,
    /// As one to four bytes, the high one first.
    Unsigned,
    UnsignedLowFirst,
    /// In two's complement.
    Signed,
    SignedLowFirst,
}

/// Where the decimal point stands, said by bits of the part `point` (or else `status`).
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Point {
    /// The bits looked at; their value, shifted down, counts into `decimals`.
    pub mask: u8,
    /// Which byte of the part, counted from 0.
    #[serde(default)]
    pub byte: usize,
    /// Decimals for each value; a negative one makes the number ten times as large.
    pub decimals: Vec<i8>,
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
    /// Which byte of the part `status`, counted from 0.
    #[serde(default)]
    pub byte: usize,
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
    /// The unit of the number.
    Grams,
    Kilograms,
    Ounces,
    Pounds,
}

impl Meaning {
    pub(super) const fn unit(self) -> Option<MassUnit> {
        match self {
            Meaning::Grams => Some(MassUnit::Gram),
            Meaning::Kilograms => Some(MassUnit::Kilogram),
            Meaning::Ounces => Some(MassUnit::Ounce),
            Meaning::Pounds => Some(MassUnit::Pound),
            _ => None,
        }
    }
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
    /// Which question was asked before, counted from 0; `None` if the sheet asks one or none.
    pub asked: Option<usize>,
    /// Words that must occur in the reason of a refusal.
    pub because: Option<String>,
    /// Line in the file.
    pub line: usize,
}

impl Example {
    /// It reads one frame and nothing beside.
    pub(super) fn expected_alone(&self) -> bool {
        matches!(&self.expected, Expected::Reads(reads) if reads.len() == 1)
    }
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
        let raw: raw::RawSheet = read_toml(source)?;
        let mut problems = Vec::new();
        let sheet = raw.check(source, &mut problems);
        match sheet {
            Some(sheet) if problems.is_empty() => Ok(sheet),
            _ => Err(Problems(problems)),
        }
    }
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
