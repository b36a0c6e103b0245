use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::fields::{self, DefaultUnit};
use super::frame::{Cut, CutKind, Framer};
use super::modbus::{self, Answer};
use super::sheet::{Shape, Sheet, Talk};
use super::verify;
use crate::quantity::{MassUnit, Moment, TemperatureUnit};
use crate::reading::{Channel, Reading};

/// Makes readings of the bytes of one instrument.
#[derive(Clone, Debug)]
pub struct Decoder {
    sheet: Arc<Sheet>,
    channels: Vec<ChannelMap>,
    framer: Framer,
    asked: Asked,
}

/// Which question an answer answers: an answer seldom says it itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    /// Nobody has said what is asked, as when a tape is replayed: only what can be told apart
    /// without it is read.
    Unknown,
    Nothing,
    This(usize),
}

/// Which value of a frame goes to which channel of the bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
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

/// A frame, and what it came to.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameRead {
    /// Without its end, where the frame ends with a byte.
    pub bytes: Vec<u8>,
    /// Empty for a frame that is known and carries no reading.
    pub read: Result<Vec<Reading>, Refusal>,
}

/// Why a frame may not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    TooLong,
    TooShort,
    /// Another frame began inside it, or it stopped before its end.
    Broken,
    /// A byte of it came with a wrong parity or stop bit.
    Damaged,
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
        let due = sheet.modbus.iter().map(Answer::of).collect();
        let framer = Framer::new(&sheet.frame, sheet.check, due);
        Decoder { sheet, channels, framer, asked: Asked::Unknown }
    }

    pub fn sheet(&self) -> &Sheet {
        &self.sheet
    }

    /// Bytes held back because their frame is not whole yet; never many more than the sheet's
    /// longest frame has.
    pub fn held(&self) -> usize {
        self.framer.held()
    }

    /// After the port was opened: the first partial frame is dropped, and no answer is awaited.
    pub fn reset(&mut self) {
        self.framer.reset();
        if matches!(self.sheet.talk, Talk::Answers { .. }) {
            self.await_nothing();
        }
    }

    /// Takes bytes that arrived at `at`; whole frames come out, the rest is kept.
    pub fn push(&mut self, at: Moment, bytes: &[u8], out: &mut Vec<Item>) {
        self.push_frames(at, bytes).into_iter().for_each(|frame| frame.into_items(out));
    }

    /// Time has passed without bytes; for instruments whose frames end by a pause. Whether the
    /// pause told anything: if not, a replay can do without it.
    pub fn idle(&mut self, now: Moment, out: &mut Vec<Item>) -> bool {
        let frames = self.idle_frames(now);
        let told = frames.is_some();
        frames.into_iter().flatten().for_each(|frame| frame.into_items(out));
        told
    }

    /// As [`Decoder::push`], frame by frame.
    pub fn push_frames(&mut self, at: Moment, bytes: &[u8]) -> Vec<FrameRead> {
        let mut cuts = Vec::new();
        self.framer.push(at, bytes, &mut cuts);
        self.read(cuts)
    }

    /// As [`Decoder::idle`], frame by frame; `None` when the pause told nothing.
    pub fn idle_frames(&mut self, now: Moment) -> Option<Vec<FrameRead>> {
        let mut cuts = Vec::new();
        let told = self.framer.idle(now, &mut cuts);
        told.then(|| self.read(cuts))
    }

    /// A byte came with a wrong parity or stop bit: no reading is made of what it stood in.
    pub fn damaged(&mut self, at: Moment) -> Vec<FrameRead> {
        let mut cuts = Vec::new();
        self.framer.damaged(at, &mut cuts);
        self.read(cuts)
    }

    /// A question was asked, counted as the sheet lists its queries or its Modbus values: an
    /// answer to the one before is not coming any more.
    pub fn asked(&mut self, question: usize) {
        self.asked = Asked::This(question);
        if let Some(value) = self.sheet.modbus.get(question) {
            self.framer.expect(vec![Answer::of(value)]);
        }
    }

    fn await_nothing(&mut self) {
        self.asked = Asked::Nothing;
        if self.sheet.frame.shape == Shape::Modbus {
            self.framer.expect(Vec::new());
        }
    }

    fn read(&mut self, cuts: Vec<Cut>) -> Vec<FrameRead> {
        let read = |cut: Cut| {
            let mut out = Vec::new();
            let read = match cut.kind {
                CutKind::TooLong => Err(Refusal::TooLong),
                CutKind::Broken => Err(Refusal::Broken),
                CutKind::Unasked => Err(Refusal::NotAsked),
                CutKind::Damaged => Err(Refusal::Damaged),
                CutKind::Frame => self.read_frame(cut.at, &cut.bytes, &mut out),
            };
            FrameRead { bytes: cut.bytes, read: read.map(|()| out) }
        };
        cuts.into_iter().map(read).collect()
    }

    fn read_frame(
        &mut self,
        at: Moment,
        frame: &[u8],
        out: &mut Vec<Reading>,
    ) -> Result<(), Refusal> {
        let sheet = Arc::clone(&self.sheet);
        let text = verify::text(&sheet.frame.shape, sheet.check.as_ref(), frame)?;
        if !sheet.modbus.is_empty() {
            let value = modbus::answered(&sheet.modbus, self.asked.question(), text);
            if self.asked != Asked::Unknown {
                // one question has one answer
                self.asked = Asked::Nothing;
            }
            return modbus::read(value?, &self.channels, at, text, out);
        }
        let mut fitted: Vec<&str> = Vec::new();
        for field in &sheet.fields {
            // of several patterns for one value the first that fits reads it
            if fitted.contains(&field.source.as_str()) || !self.awaits(field.answer_to) {
                continue;
            }
            let map = self.channels.iter().find(|map| map.source == field.source);
            let default = map.map_or(DefaultUnit::default(), |map| DefaultUnit {
                mass: map.mass_unit,
                temperature: map.temperature_unit,
            });
            let Some(read) = fields::read(field, text, default) else { continue };
            fitted.push(&field.source);
            // a probe nobody has named on this bench is not an error of the wire
            let Some(map) = map else { continue };
            let (value, status) = read?;
            out.push(Reading { channel: map.channel.clone(), at, value, status });
        }
        if !fitted.is_empty() {
            if sheet.fields.iter().any(|field| field.answer_to.is_some()) {
                self.asked = Asked::Nothing;
            }
            return Ok(());
        }
        if sheet.ignore.iter().any(|known| known.is_match(text)) {
            return Ok(());
        }
        let unasked = sheet
            .fields
            .iter()
            .any(|field| !self.awaits(field.answer_to) && field.pattern.is_match(text));
        Err(if unasked { Refusal::NotAsked } else { Refusal::NoPatternFits })
    }

    /// The answer to this query may come now.
    fn awaits(&self, query: Option<usize>) -> bool {
        query.is_none_or(|query| self.asked == Asked::This(query))
    }
}

impl FrameRead {
    /// Its readings, or its refusal.
    pub fn into_items(self, out: &mut Vec<Item>) {
        match self.read {
            Ok(readings) => out.extend(readings.into_iter().map(Item::Reading)),
            Err(why) => out.push(Item::Refused { frame: self.bytes, why }),
        }
    }
}

impl Asked {
    fn question(self) -> Option<Option<usize>> {
        match self {
            Asked::Unknown => Some(None),
            Asked::Nothing => None,
            Asked::This(question) => Some(Some(question)),
        }
    }
}

impl Refusal {
    /// What came is not the answer that is awaited; that may still come.
    pub fn is_beside_the_question(&self) -> bool {
        matches!(self, Refusal::NotAsked)
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::TooLong => f.write_str("more bytes came without an end than a frame has"),
            Refusal::TooShort => f.write_str("the frame is too short to hold its check"),
            Refusal::Broken => f.write_str("it broke off before its end"),
            Refusal::Damaged => {
                f.write_str("a byte of it came damaged: its parity or its stop bit is wrong")
            }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::SheetLibrary;

    /// A byte with a parity error arrives as NUL. Without the digit that was lost, 143.0 would read
    /// as 43.0: the line is refused, and the next is read.
    #[test]
    fn a_line_with_a_lost_byte_is_no_reading() {
        let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
        let sheet = library.find("comma-status-line").unwrap();
        let map = ChannelMap {
            source: String::new(),
            channel: Channel::new("scale"),
            mass_unit: Some(MassUnit::Gram),
            temperature_unit: None,
        };
        let mut decoder = Decoder::new(Arc::clone(sheet), vec![map]);
        let mut items = Vec::new();
        let bytes = b"\r\nST,+00\x0043.0  g\r\nST,+00143.0  g\r\n";
        decoder.push(Moment::from_nanos(0), bytes, &mut items);
        assert!(matches!(items[0], Item::Refused { .. }), "{items:?}");
        assert!(matches!(&items[1], Item::Reading(reading) if reading.mass().is_some()));
        assert_eq!(items.len(), 2);
    }
}
