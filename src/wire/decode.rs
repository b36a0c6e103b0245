use std::fmt;
use std::sync::Arc;

use super::bytes::escape;
use super::fields::{self, DefaultUnit};
use super::frame::{Cut, Framer};
use super::modbus;
use super::sheet::{Check, Shape, Sheet};
use crate::quantity::{MassUnit, Moment, TemperatureUnit};
use crate::reading::{Channel, Reading};

/// Makes readings of the bytes of one instrument.
#[derive(Clone, Debug)]
pub struct Decoder {
    sheet: Arc<Sheet>,
    channels: Vec<ChannelMap>,
    framer: Framer,
}

/// Which value of a frame goes to which channel of the bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelMap {
    /// As the sheet names it; empty for the only one.
    pub source: String,
    pub channel: Channel,
    /// The unit where the wire has none.
    pub mass_unit: Option<MassUnit>,
    pub temperature_unit: Option<TemperatureUnit>,
}

/// What a stream of bytes amounts to.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    Reading(Reading),
    /// A frame that may not be read.
    Refused {
        frame: Vec<u8>,
        why: Refusal,
    },
}

/// Why a frame may not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    TooLong,
    /// A byte came with a parity error.
    Damaged,
    TooShort,
    BadChecksum {
        expected: String,
        found: String,
    },
    NoPatternFits,
    NotANumber(String),
    UnknownUnit(String),
    UnknownStatus(String),
    /// Neither the wire nor the bench file says the unit.
    NoUnit,
    OutOfRange,
    /// Another unit of the line, or another question, is answered.
    NotAsked,
    /// The instrument answered that it cannot.
    Exception(u8),
}

impl Decoder {
    pub fn new(sheet: Arc<Sheet>, channels: Vec<ChannelMap>) -> Decoder {
        let framer = Framer::new(&sheet.frame);
        Decoder { sheet, channels, framer }
    }

    pub fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    /// After the port was opened: the first partial frame is dropped.
    pub fn reset(&mut self) {
        self.framer.reset();
    }

    /// Takes bytes that arrived at `at`; whole frames come out, the rest is kept.
    pub fn push(&mut self, at: Moment, bytes: &[u8], out: &mut Vec<Item>) {
        let mut cuts = Vec::new();
        self.framer.push(at, bytes, &mut cuts);
        self.read(at, cuts, out);
    }

    /// Time has passed without bytes; for instruments whose frames end by a pause.
    pub fn idle(&mut self, now: Moment, out: &mut Vec<Item>) {
        let mut cuts = Vec::new();
        self.framer.idle(now, &mut cuts);
        self.read(now, cuts, out);
    }

    /// A question was asked anew: an answer that is still open is not coming.
    pub fn asked(&mut self) {
        if self.sheet.frame.shape == Shape::Modbus {
            self.framer.discard();
        }
    }

    fn read(&self, at: Moment, cuts: Vec<Cut>, out: &mut Vec<Item>) {
        for cut in cuts {
            match cut {
                Cut::Damaged(frame) => out.push(Item::Refused { frame, why: Refusal::Damaged }),
                Cut::TooLong(frame) => out.push(Item::Refused { frame, why: Refusal::TooLong }),
                Cut::Frame(frame) => {
                    let before = out.len();
                    if let Err(why) = self.read_frame(at, &frame, out) {
                        out.truncate(before);
                        out.push(Item::Refused { frame, why });
                    }
                }
            }
        }
    }

    fn read_frame(&self, at: Moment, frame: &[u8], out: &mut Vec<Item>) -> Result<(), Refusal> {
        let body = match &self.sheet.check {
            Some(check) => verify(&self.sheet.frame.shape, check, frame)?,
            None => inner(&self.sheet.frame.shape, frame),
        };
        if !self.sheet.modbus.is_empty() {
            return modbus::read(&self.sheet.modbus, &self.channels, at, body, out);
        }
        let mut fitted: Vec<&str> = Vec::new();
        for field in &self.sheet.fields {
            // of several patterns for one value the first that fits reads it
            if fitted.contains(&field.source.as_str()) {
                continue;
            }
            let map = self.channels.iter().find(|map| map.source == field.source);
            let default = map.map_or(DefaultUnit::default(), |map| DefaultUnit {
                mass: map.mass_unit,
                temperature: map.temperature_unit,
            });
            let Some(read) = fields::read(field, body, default) else { continue };
            fitted.push(&field.source);
            // a probe nobody has named on this bench is not an error of the wire
            let Some(map) = map else { continue };
            let (value, status) = read?;
            out.push(Item::Reading(Reading { channel: map.channel.clone(), at, value, status }));
        }
        if fitted.is_empty() { Err(Refusal::NoPatternFits) } else { Ok(()) }
    }
}

/// The part of a frame between its marks.
fn inner<'a>(shape: &Shape, frame: &'a [u8]) -> &'a [u8] {
    match shape {
        Shape::Between { end, tail, .. } => {
            let without_tail = &frame[..frame.len().saturating_sub(*tail)];
            let without_end = without_tail.strip_suffix(&[*end]).unwrap_or(without_tail);
            without_end.get(1..).unwrap_or(&[])
        }
        _ => frame,
    }
}

/// The covered part of a frame whose check agrees.
fn verify<'a>(shape: &Shape, check: &Check, frame: &'a [u8]) -> Result<&'a [u8], Refusal> {
    let width = check.kind.width() * if check.hex { 2 } else { 1 };
    let (covered, written) = match shape {
        Shape::Between { tail, .. } => {
            let at = frame.len().checked_sub(*tail).ok_or(Refusal::TooShort)?;
            (inner(shape, frame), &frame[at..])
        }
        _ => {
            let at = frame.len().checked_sub(width).ok_or(Refusal::TooShort)?;
            let (body, written) = frame.split_at(at);
            let body = match check.mark {
                Some(mark) => body.strip_suffix(&[mark]).ok_or(Refusal::TooShort)?,
                None => body,
            };
            (body, written)
        }
    };
    let covered = covered.get(check.skip..).ok_or(Refusal::TooShort)?;
    let due = check.kind.of(covered);
    let due = if check.hex { hex(&due) } else { due };
    if !written.eq_ignore_ascii_case(&due) {
        return Err(Refusal::BadChecksum { expected: escape(&due), found: escape(written) });
    }
    Ok(covered)
}

fn hex(bytes: &[u8]) -> Vec<u8> {
    bytes.iter().flat_map(|byte| format!("{byte:02X}").into_bytes()).collect()
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::TooLong => f.write_str("more bytes came without an end than a frame has"),
            Refusal::Damaged => f.write_str("a byte of it came damaged"),
            Refusal::TooShort => f.write_str("the frame is too short to hold its check"),
            Refusal::BadChecksum { expected, found } => {
                write!(f, "the check is `{found}`, `{expected}` was due; the frame came damaged")
            }
            Refusal::NoPatternFits => f.write_str("no pattern of the sheet fits it"),
            Refusal::NotANumber(text) => write!(f, "`{text}` is not a number"),
            Refusal::UnknownUnit(unit) => write!(f, "`{unit}` is no unit the sheet knows"),
            Refusal::UnknownStatus(status) => write!(f, "`{status}` is no status the sheet knows"),
            Refusal::NoUnit => {
                f.write_str("the unit is neither on the wire nor in the bench file; add `unit`")
            }
            Refusal::OutOfRange => f.write_str("the number is out of any bench's range"),
            Refusal::NotAsked => f.write_str("it answers a question that was not asked"),
            Refusal::Exception(code) => {
                write!(f, "the instrument answers that it cannot (exception {code})")
            }
        }
    }
}
