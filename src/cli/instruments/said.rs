//! What `listen` and `identify` say to programs: one JSON object a line, and `event` says which.

use std::io::Write;

use serde::Serialize;

use crate::port::Event;
use crate::reading::{Reading, Status, Value};
use crate::wire::{Fit, Item, Line, LineParity, reading_words};

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum Said {
    /// The port is open; without a line where it is a device of reports.
    Open {
        #[serde(flatten)]
        line: Option<LineSaid>,
    },
    /// It is gone, or cannot be opened; it is tried again.
    Lost {
        why: String,
    },
    /// Raw bytes as two hex digits each. `at_s`, here and below: seconds since the first that came.
    Bytes {
        at_s: f64,
        hex: String,
    },
    /// A byte came with a wrong parity or stop bit.
    Damaged {
        at_s: f64,
    },
    /// A question of the sheet was written.
    Asked {
        at_s: f64,
        hex: String,
    },
    /// A command was written: `zero`, `tare` or `keep_awake`.
    Told {
        at_s: f64,
        command: &'static str,
        hex: String,
    },
    /// A whole frame that can be read; its readings follow.
    Frame {
        at_s: f64,
        hex: String,
    },
    Reading(ReadingSaid),
    /// A frame that may not be read.
    Refused {
        hex: String,
        why: String,
    },
    /// What ails the open port; `null` when nothing does any more.
    Health {
        trouble: Option<String>,
    },
    /// At the end: how much came in all.
    Counted {
        bytes: u64,
        damaged: u64,
        readings: u64,
        frames_refused: u64,
    },
    /// What came at one setting of the line, asked as a sheet asks or not at all.
    Heard {
        asked_as: Option<String>,
        #[serde(flatten)]
        line: Option<LineSaid>,
        bytes: usize,
        damaged: usize,
    },
    /// A wire sheet that explains it; `place` 1 is the best.
    Fit(FitSaid),
    /// Lines for the bench file.
    Bench {
        toml: String,
    },
    /// The rule for this device.
    UdevRule {
        rule: String,
    },
    NoUdevRule {
        why: String,
    },
    NothingCame,
    /// No wire sheet fits. `ending`: the bytes that end its lines; `draft_toml`: a wire sheet to
    /// begin from, where it is text with a number.
    NothingFits {
        text_percent: usize,
        ending: String,
        samples: Vec<String>,
        draft_toml: Option<String>,
    },
}

#[derive(Serialize)]
pub struct LineSaid {
    /// Bits a second.
    baud: u32,
    data_bits: u8,
    parity: LineParity,
    stop_bits: u8,
}

#[derive(Serialize)]
pub struct ReadingSaid {
    at_s: f64,
    /// Which value of the sheet; empty for the only one.
    source: String,
    /// In grams whatever the instrument shows; absent where it says none.
    #[serde(skip_serializing_if = "Option::is_none")]
    mass_g: Option<f64>,
    /// In degrees Celsius whatever the instrument shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    temperature_c: Option<f64>,
    status: Status,
    /// As the instrument shows it, with its own unit.
    shown: String,
}

#[derive(Serialize)]
pub struct FitSaid {
    place: usize,
    sheet: String,
    about: String,
    frames_read: usize,
    frames_refused: usize,
    bytes_explained_percent: usize,
    /// Each frame has a check that agrees.
    checked: bool,
    readings: Vec<String>,
}

impl Said {
    /// What a port tells, `at_s` seconds after the first that came; frames and readings are of use
    /// only by a sheet.
    pub fn of(event: &Event, at_s: f64, by_sheet: bool, line: Option<Line>) -> Option<Said> {
        Some(match event {
            Event::Back => Said::Open { line: line.map(LineSaid::from) },
            Event::Lost { why } => Said::Lost { why: why.clone() },
            Event::Bytes { bytes, .. } => Said::Bytes { at_s, hex: hex(bytes) },
            Event::Damaged { .. } => Said::Damaged { at_s },
            Event::Asked { bytes, .. } => Said::Asked { at_s, hex: hex(bytes) },
            Event::Told { command, bytes, .. } => {
                Said::Told { at_s, command: command.key(), hex: hex(bytes) }
            }
            Event::Frame { bytes, .. } if by_sheet => Said::Frame { at_s, hex: hex(bytes) },
            Event::Item(Item::Reading(reading)) if by_sheet => {
                Said::Reading(ReadingSaid::of(reading, at_s))
            }
            Event::Item(Item::Refused { frame, why }) if by_sheet => {
                Said::Refused { hex: hex(frame), why: why.to_string() }
            }
            Event::Health(health) if by_sheet => Said::Health { trouble: health.words() },
            Event::Frame { .. } | Event::Item(_) | Event::Health(_) | Event::Quiet { .. } => {
                return None;
            }
        })
    }

    pub fn write(&self, out: &mut impl Write) -> std::io::Result<()> {
        serde_json::to_writer(&mut *out, self)?;
        writeln!(out)?;
        out.flush()
    }
}

impl From<Line> for LineSaid {
    fn from(line: Line) -> LineSaid {
        let Line { baud, data_bits, parity, stop_bits, .. } = line;
        LineSaid { baud, data_bits, parity, stop_bits }
    }
}

impl ReadingSaid {
    fn of(reading: &Reading, at_s: f64) -> ReadingSaid {
        let (mass_g, temperature_c) = match reading.value {
            Some(Value::Mass { mass, .. }) => (Some(mass.grams()), None),
            Some(Value::Temperature { temperature, .. }) => (None, Some(temperature.celsius())),
            None => (None, None),
        };
        ReadingSaid {
            at_s,
            source: reading.channel.as_str().to_owned(),
            mass_g,
            temperature_c,
            status: reading.status,
            shown: reading_words(reading),
        }
    }
}

impl FitSaid {
    pub fn of(place: usize, fit: &Fit) -> FitSaid {
        FitSaid {
            place,
            sheet: fit.sheet.name.clone(),
            about: fit.sheet.about.clone(),
            frames_read: fit.frames,
            frames_refused: fit.refused,
            bytes_explained_percent: fit.explained_percent,
            checked: fit.checked,
            readings: fit.readings.clone(),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}
