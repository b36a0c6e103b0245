//! Which wire sheet speaks like what was heard, by evidence: how much of it the sheet explains,
//! whether checks agree, and how narrow its patterns are. A wide pattern fits much by chance.

use std::cmp::Reverse;
use std::sync::Arc;

use super::decode::{Decoder, FrameRead};
use super::examples;
use super::explain;
use super::heard::{Heard, Recording};
use super::library::SheetLibrary;
use super::sheet::{Quantity, Shape, Sheet, Talk};
use super::verify;
use crate::reading::{Reading, Value};

/// How well a sheet explains a recording.
#[derive(Clone, Debug)]
pub struct Fit {
    pub sheet: Arc<Sheet>,
    /// Frames that could be read, with those that are known and carry no reading.
    pub frames: usize,
    pub refused: usize,
    /// Of the bytes heard, those in frames that could be read; what was under way at the beginning
    /// and at the end does not count. Percent.
    pub explained_percent: usize,
    /// Every frame that was read carries a check that agreed.
    pub checked: bool,
    /// What the sheet foretold of an average frame, in bits.
    pub bits: u32,
    /// The last reading of each value, in words.
    pub readings: Vec<String>,
    pub values: Vec<ValueSeen>,
}

/// One value that frames carry.
#[derive(Clone, Debug, PartialEq)]
pub struct ValueSeen {
    /// As the sheet names it; empty for the only one.
    pub source: String,
    pub quantity: Quantity,
    /// The last value with a number.
    pub last: Option<Value>,
}

/// Explains less than this, and it does not fit. Percent; ours.
const FITS_FROM: usize = 90;
/// Frames without a check, before they are no chance any more. Ours.
const FRAMES_LEAST: usize = 3;
/// Frames whose narrowness is looked at.
const FRAMES_WEIGHED: usize = 16;
/// Shares nearer than this count as equal. Percent; ours.
const SHARE_STEP: usize = 5;

impl Fit {
    /// Good enough to be used. A key is pressed once or twice only, and a check is no chance.
    pub fn fits(&self) -> bool {
        let least = match self.sheet.talk {
            Talk::OnKey => 1,
            _ if self.checked => 2,
            _ => FRAMES_LEAST,
        };
        self.frames >= least && self.explained_percent >= FITS_FROM && !self.values.is_empty()
    }
}

/// The sheets that can read something of it, the best first.
pub fn rank(recording: &Recording, library: &SheetLibrary) -> Vec<Fit> {
    let asked = recording.asked_by.as_deref();
    let mut fits: Vec<Fit> = library
        .iter()
        // an answer is judged by who asked; the other questions were not put
        .filter(|(name, _, sheet)| {
            asked.is_none_or(|asked| asked == *name || !matches!(sheet.talk, Talk::Answers { .. }))
        })
        .filter_map(|(_, _, sheet)| fit(recording, sheet))
        .collect();
    fits.sort_by_key(|fit| {
        let share = fit.explained_percent / SHARE_STEP;
        // what spoke unasked is no answer
        let in_turn = matches!(fit.sheet.talk, Talk::Answers { .. }) == asked.is_some();
        Reverse((fit.fits(), share, in_turn, fit.checked, fit.bits, fit.frames))
    });
    fits
}

/// `None` when no frame could be read.
fn fit(recording: &Recording, sheet: &Arc<Sheet>) -> Option<Fit> {
    let mut account = Account::default();
    let mut decoder = Decoder::new(Arc::clone(sheet), examples::channels(sheet));
    let mine = recording.asked_by.as_deref().is_none_or(|name| name == sheet.name);
    for heard in &recording.heard {
        match heard {
            Heard::Bytes { at, bytes } if sheet.frame.is_report() => {
                account.heard += bytes.len();
                account.frames(decoder.push_frames(*at, bytes), sheet);
            }
            // byte by byte, to know where each frame ends
            Heard::Bytes { at, bytes } => {
                for byte in bytes {
                    // a pause ends a frame before the byte that follows it
                    account.frames(decoder.idle_frames(*at).unwrap_or_default(), sheet);
                    account.heard += 1;
                    account.frames(decoder.push_frames(*at, &[*byte]), sheet);
                }
            }
            Heard::Damaged { at } => {
                account.heard += 1;
                account.frames(decoder.damaged(*at), sheet);
            }
            Heard::Asked { question, .. } if mine => decoder.asked(*question),
            Heard::Asked { .. } => {}
            Heard::Quiet { at } => {
                account.frames(decoder.idle_frames(*at).unwrap_or_default(), sheet)
            }
        }
    }
    account.close(sheet)
}

/// What became of the bytes heard.
#[derive(Default)]
struct Account {
    heard: usize,
    /// Bytes up to the end of the last frame, read or refused.
    settled: usize,
    explained: usize,
    /// Bytes before the first frame that was read.
    lead: Option<usize>,
    /// Bytes up to the end of the last frame that was read.
    read_until: usize,
    frames: usize,
    refused: usize,
    bits: f64,
    weighed: usize,
    last: Vec<Reading>,
}

impl Account {
    fn frames(&mut self, frames: Vec<FrameRead>, sheet: &Sheet) {
        for frame in frames {
            let span = self.heard - self.settled.min(self.heard);
            self.settled = self.heard;
            let Ok(readings) = &frame.read else {
                self.refused += 1;
                continue;
            };
            self.frames += 1;
            // line ends stand outside the frame, also behind an end byte
            const ENDS: usize = 2;
            let length = if span <= frame.bytes.len() + ENDS { span } else { frame.bytes.len() };
            self.explained += length;
            self.lead.get_or_insert(self.heard - length.min(self.heard));
            self.read_until = self.heard;
            if self.weighed < FRAMES_WEIGHED {
                self.weighed += 1;
                self.bits += bits(sheet, &frame.bytes);
            }
            for reading in readings {
                self.last.retain(|last| last.channel != reading.channel);
                self.last.push(reading.clone());
            }
        }
    }

    fn close(self, sheet: &Arc<Sheet>) -> Option<Fit> {
        let lead = self.lead?;
        let under_way = |bytes: usize| if bytes <= sheet.frame.longest { bytes } else { 0 };
        let excused = under_way(lead) + under_way(self.heard - self.read_until);
        let judged = self.heard - excused;
        let value = |source: &str, quantity: Quantity| ValueSeen {
            source: source.to_owned(),
            quantity,
            last: self
                .last
                .iter()
                .find(|last| last.channel.as_str() == source)
                .and_then(|last| last.value),
        };
        let seen = |source: &str| self.last.iter().any(|last| last.channel.as_str() == source);
        let fields = sheet.fields.iter().map(|field| (&field.source, field.quantity));
        let registers = sheet.modbus.iter().map(|value| (&value.source, value.quantity));
        let mut values: Vec<ValueSeen> = Vec::new();
        for (source, quantity) in fields.chain(registers).filter(|(source, _)| seen(source)) {
            if !values.iter().any(|value| value.source == *source) {
                values.push(value(source, quantity));
            }
        }
        Some(Fit {
            sheet: Arc::clone(sheet),
            frames: self.frames,
            refused: self.refused,
            explained_percent: (self.explained * 100).checked_div(judged).unwrap_or(0),
            checked: sheet.check.is_some(),
            bits: (self.bits / self.weighed.max(1) as f64).round() as u32,
            readings: self.last.iter().map(examples::reading_words).collect(),
            values,
        })
    }
}

/// How much of a frame the sheet foretells: eight bits for a byte that must be this one, none for
/// one that may be any.
fn bits(sheet: &Sheet, frame: &[u8]) -> f64 {
    const BYTE: f64 = 8.0;
    let check = sheet.check.map_or(0.0, |check| check.kind.width() as f64 * BYTE);
    let marks = match sheet.frame.shape {
        Shape::Between { .. } => 2.0 * BYTE,
        Shape::Ended { .. } => BYTE,
        Shape::Fixed { start, .. } => {
            if start.is_some() {
                BYTE
            } else {
                0.0
            }
        }
        // unit, function and byte count
        Shape::Modbus => 3.0 * BYTE,
        Shape::Report { .. } | Shape::Idle { .. } => 0.0,
    };
    let Ok(text) = verify::text(&sheet.frame.shape, sheet.check.as_ref(), frame) else {
        return 0.0;
    };
    let patterns = sheet.fields.iter().map(|field| &field.pattern).chain(&sheet.ignore);
    let narrowest = patterns
        .filter(|pattern| pattern.is_match(text))
        .map(|pattern| explain::foretold(pattern, text))
        .fold(0.0, f64::max);
    check + marks + narrowest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Moment, Span};
    use crate::wire::sheet::{Example, Expected};

    fn library() -> SheetLibrary {
        SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"))
    }

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    /// Frames a second apart, as the examples of the sheet have them.
    fn recording(sheet: &Sheet) -> Recording {
        let read = |example: &&Example| matches!(example.expected, Expected::Reads(_));
        let answers = matches!(sheet.talk, Talk::Answers { .. });
        let mut recording = Recording {
            heard: vec![Heard::Quiet { at: at(0) }, Heard::Quiet { at: at(900) }],
            asked_by: answers.then(|| sheet.name.clone()),
        };
        // some begin with the end of the frame before, which here would be noise between two
        let whole = |example: &&Example| match sheet.frame.shape {
            Shape::Fixed { start: Some(start), .. } | Shape::Between { start, .. } => {
                example.bytes[0] == start
            }
            _ => true,
        };
        let examples: Vec<&Example> = sheet.examples.iter().filter(read).filter(whole).collect();
        for round in 0..12 {
            let example = examples[round % examples.len()];
            let now = (1 + round as i64) * 1000;
            if answers {
                let question = example.asked.unwrap_or(0);
                recording.heard.push(Heard::Asked { at: at(now), question });
            }
            recording.heard.push(Heard::Bytes { at: at(now), bytes: example.bytes.clone() });
            recording.heard.push(Heard::Quiet { at: at(now + 900) });
        }
        recording
    }

    /// Each example stands for an instrument of that shape: its own sheet must come out first.
    #[test]
    fn every_shipped_sheet_is_known_by_its_own_frames() {
        let library = library();
        for (name, _, sheet) in library.iter() {
            let fits = rank(&recording(sheet), &library);
            let told: Vec<String> = fits
                .iter()
                .map(|fit| format!("{} {} {}", fit.sheet.name, fit.explained_percent, fit.bits))
                .collect();
            assert_eq!(fits.first().map(|fit| fit.sheet.name.as_str()), Some(name), "{told:#?}");
            assert!(fits[0].fits(), "{name} does not fit itself: {told:#?}");
        }
    }

    #[test]
    fn a_stream_joined_in_the_middle_is_explained_whole() {
        let bytes =
            b"00123.45  g\r\nST,+00123.45  g\r\nUS,+00124.1   g\r\nST,+00124.45  g\r\nST,+001";
        let heard = vec![Heard::Bytes { at: at(0), bytes: bytes.to_vec() }];
        let recording = Recording { heard, asked_by: None };
        let best = &rank(&recording, &library())[0];
        assert_eq!(best.sheet.name, "comma-status-line");
        assert_eq!((best.frames, best.refused, best.explained_percent), (3, 0, 100));
        assert_eq!(best.readings, ["124.45 g stable"]);
        assert!(best.fits());
    }

    /// A line whose check fails half the time is not its instrument's.
    #[test]
    fn what_is_half_refused_does_not_fit() {
        let mut bytes = b"\r\n".to_vec();
        for _ in 0..6 {
            bytes.extend_from_slice(b"ST,+00123.45  g\r\nST,+0x123.45  g\r\n");
        }
        let heard = vec![Heard::Bytes { at: at(0), bytes }];
        let recording = Recording { heard, asked_by: None };
        let best = &rank(&recording, &library())[0];
        assert_eq!((best.frames, best.refused), (6, 6));
        assert!((45..55).contains(&best.explained_percent), "{}", best.explained_percent);
        assert!(!best.fits());
    }

    #[test]
    fn rubbish_fits_nothing() {
        // a congruential generator (from memory: Numerical Recipes), for bytes without a pattern
        let mut state = 7_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        };
        let bytes = (0..4000).map(|_| next()).collect();
        let recording =
            Recording { heard: vec![Heard::Bytes { at: at(0), bytes }], asked_by: None };
        assert!(rank(&recording, &library()).iter().all(|fit| !fit.fits()));
    }

    #[test]
    fn a_frame_with_a_damaged_byte_counts_against_the_sheet() {
        let piece = |text: &[u8]| Heard::Bytes { at: at(0), bytes: text.to_vec() };
        let line = b"ST,+00123.45  g\r\n";
        let mut heard = vec![piece(b"\r\n")];
        for _ in 0..4 {
            heard.extend([piece(line), piece(b"ST,+00"), Heard::Damaged { at: at(0) }]);
            heard.push(piece(b"23.45  g\r\n"));
        }
        let fits = rank(&Recording { heard, asked_by: None }, &library());
        assert_eq!((fits[0].frames, fits[0].refused), (4, 4));
        assert!(!fits[0].fits());
    }
}
