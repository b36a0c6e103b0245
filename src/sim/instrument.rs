//! One simulated instrument: what it says, when, and how it fails.

use std::collections::VecDeque;

use super::chance::Chance;
use super::encode;
use super::pan::Shown;
use super::scene::Scene;
use crate::bench::{ChannelSetup, ProbeAt, Role};
use crate::chemistry::ScaleFacts;
use crate::quantity::{Mass, MassUnit, Moment, Span, Temperature, TemperatureUnit};
use crate::reading::{Channel, Reading, Status, Value};

/// An instrument as a shell has to know it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instrument {
    pub name: String,
    /// The wire sheet that reads it.
    pub sheet: &'static str,
    pub channels: Vec<Channel>,
}

pub const SHEET_SCALE: &str = "comma-status-line";
pub const SHEET_STREAM: &str = "comma-probes";
pub const SHEET_ANSWER: &str = "probe-answer";

/// The question the answering thermometer knows.
const QUESTION: &[u8] = b"T1";
const UNKNOWN: &[u8] = b"E1\r\n";
const ANSWER_AFTER: Span = Span::from_millis(80);
/// More of a line than this is no question; more open questions than this are dropped.
const ASKED_MAX: usize = 32;
const ANSWERS_MAX: usize = 8;
const GARBAGE_BYTES: usize = 12;
/// Noise of a probe, in kelvin.
const PROBE_NOISE_K: f64 = 0.03;
/// Ounces are shown in steps of 0.005 oz, grams in steps of the scale's interval.
const OUNCE_DECIMALS: u8 = 3;
const OUNCE_STEP: i64 = 5;

/// How it speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Scale,
    Stream,
    /// Only when asked.
    Answers,
}

/// What is wrong with it just now.
#[derive(Clone, Debug, Default)]
pub struct Wrong {
    pub unplugged: bool,
    pub garbage: bool,
    pub frozen: bool,
    pub asleep: bool,
    /// Part of the frames that are lost.
    pub drop_outs: f64,
    pub unit: Option<MassUnit>,
    pub period: Option<Span>,
    pub dead: Option<Channel>,
}

#[derive(Clone, Debug)]
pub struct Device {
    pub face: Instrument,
    pub wrong: Wrong,
    kind: Kind,
    channels: Vec<ChannelSetup>,
    /// The pot in which each of them stands.
    pots: Vec<usize>,
    due: Span,
    last: Option<Frame>,
    question: Vec<u8>,
    answers: VecDeque<Span>,
    chance: Chance,
}

/// One line on the wire, and the readings in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    pub bytes: Vec<u8>,
    pub readings: Vec<Reading>,
    /// It may not be read.
    pub garbage: bool,
}

impl Device {
    /// `pots` has one entry for each channel.
    pub fn new(
        name: &str,
        channels: Vec<ChannelSetup>,
        pots: Vec<usize>,
        chance: Chance,
    ) -> Device {
        let scale = channels.iter().any(|channel| matches!(channel.role, Role::Scale { .. }));
        let (kind, sheet) = match (scale, channels.len()) {
            (true, _) => (Kind::Scale, SHEET_SCALE),
            (false, 1) => (Kind::Answers, SHEET_ANSWER),
            (false, _) => (Kind::Stream, SHEET_STREAM),
        };
        let names = channels.iter().map(|channel| channel.channel.clone()).collect();
        Device {
            face: Instrument { name: name.to_owned(), sheet, channels: names },
            wrong: Wrong::default(),
            kind,
            channels,
            pots,
            due: Span::from_millis(100),
            last: None,
            question: Vec::new(),
            answers: VecDeque::new(),
            chance,
        }
    }

    pub const fn answers_only(&self) -> bool {
        matches!(self.kind, Kind::Answers)
    }

    /// When it speaks next. An answering instrument that is to be heard as readings speaks as if
    /// it were asked at its own pace.
    pub fn next(&self, as_readings: bool) -> Option<Span> {
        if self.answers_only() && !as_readings {
            return self.answers.front().copied();
        }
        Some(self.due)
    }

    /// The frame due at `now`, unless none gets through.
    pub fn speak(&mut self, now: Span, scenes: &mut [Scene]) -> Option<Frame> {
        self.answers.pop_front();
        self.due = now + self.period();
        let frame = self.measure(now, scenes);
        let lost = self.wrong.drop_outs > 0.0 && self.chance.happens(self.wrong.drop_outs);
        if self.wrong.unplugged || self.wrong.asleep || lost {
            return None;
        }
        if self.wrong.garbage {
            return Some(self.garbage());
        }
        let said = match &self.last {
            Some(last) if self.wrong.frozen => last.clone(),
            _ => frame,
        };
        self.last = Some(said.clone());
        Some(said)
    }

    /// Bytes from the daemon; says what is answered at once.
    pub fn receive(&mut self, bytes: &[u8], now: Span) -> Option<Vec<u8>> {
        if !self.answers_only() || self.wrong.unplugged {
            return None;
        }
        let mut refused = None;
        for &byte in bytes {
            if byte != b'\r' && byte != b'\n' {
                if self.question.len() < ASKED_MAX {
                    self.question.push(byte);
                }
                continue;
            }
            if self.question == QUESTION && self.answers.len() < ANSWERS_MAX {
                self.answers.push_back(now + ANSWER_AFTER);
            } else if !self.question.is_empty() && self.question != QUESTION {
                refused = Some(UNKNOWN.to_vec());
            }
            self.question.clear();
        }
        refused
    }

    fn period(&self) -> Span {
        let own = self.channels.first().map_or(Span::from_secs(1), |channel| channel.period);
        self.wrong.period.unwrap_or(own).max(Span::from_millis(10))
    }

    fn garbage(&mut self) -> Frame {
        let mut bytes: Vec<u8> =
            (0..GARBAGE_BYTES).map(|_| self.chance.draw().to_le_bytes()[0]).collect();
        bytes.extend(b"\r\n");
        Frame { bytes, readings: Vec::new(), garbage: true }
    }

    fn measure(&mut self, now: Span, scenes: &mut [Scene]) -> Frame {
        let at = Moment::from_nanos(now.nanos());
        let mut frame = Frame { bytes: Vec::new(), readings: Vec::new(), garbage: false };
        let mut tenths = Vec::new();
        for (setup, &pot) in self.channels.iter().zip(&self.pots) {
            let Some(scene) = scenes.get_mut(pot) else { continue };
            let channel = setup.channel.clone();
            match setup.role {
                Role::Scale { facts, .. } => {
                    let unit = self.wrong.unit.unwrap_or(MassUnit::Gram);
                    let shown = scene.scale.read();
                    let (bytes, value, status) = on_display(shown, &facts, unit);
                    frame.bytes = bytes;
                    frame.readings.push(Reading { channel, at, value, status });
                }
                Role::Probe { at: place, .. } => {
                    let dead = self.wrong.dead.as_ref() == Some(&channel);
                    let shown = (!dead).then(|| probe_tenths(scene, place, &mut self.chance));
                    tenths.push(shown);
                    let value = shown.and_then(|tenths| {
                        let unit = TemperatureUnit::Celsius;
                        let temperature = Temperature::from_decimal(tenths, 1, unit)?;
                        Some(Value::Temperature { temperature, unit, decimals: 1 })
                    });
                    let status = if dead { Status::Fault } else { Status::Unstated };
                    frame.readings.push(Reading { channel, at, value, status });
                }
            }
        }
        match self.kind {
            Kind::Scale => {}
            Kind::Stream => frame.bytes = encode::probes_line(&tenths),
            Kind::Answers => {
                frame.bytes = encode::probe_answer(tenths.first().copied().flatten());
            }
        }
        frame
    }
}

fn probe_tenths(scene: &Scene, place: ProbeAt, chance: &mut Chance) -> i64 {
    let celsius = scene.probe_c(place) + chance.noise() * PROBE_NOISE_K;
    (celsius * 10.0).round() as i64
}

/// A count of intervals as the scale sends it in its present unit.
fn on_display(
    shown: Shown,
    facts: &ScaleFacts,
    unit: MassUnit,
) -> (Vec<u8>, Option<Value>, Status) {
    let decimals = if unit == MassUnit::Gram { decimals_of(facts.d) } else { OUNCE_DECIMALS };
    let digits = |count: i64| {
        let mass = facts.d * count;
        if unit == MassUnit::Gram {
            return count
                * (facts.d.in_unit(unit) * 10_f64.powi(i32::from(decimals))).round() as i64;
        }
        let steps = mass.in_unit(unit) * 1000.0 / OUNCE_STEP as f64;
        steps.round() as i64 * OUNCE_STEP
    };
    let (shown, digits, status) = match shown {
        Shown::Over => (Shown::Over, None, Status::OverLimit),
        Shown::Stable(count) => (Shown::Stable(digits(count)), Some(digits(count)), Status::Stable),
        Shown::Moving(count) => {
            (Shown::Moving(digits(count)), Some(digits(count)), Status::InMotion)
        }
    };
    let value = digits.and_then(|digits| {
        let mass = Mass::from_decimal(digits, decimals, unit)?;
        Some(Value::Mass { mass, unit, decimals, unit_on_wire: true })
    });
    (encode::scale_line(shown, unit, usize::from(decimals)), value, status)
}

/// Decimals of a gram that show one interval.
fn decimals_of(d: Mass) -> u8 {
    let grams = d.grams();
    (0..3).find(|&decimals| grams * 10_f64.powi(decimals) >= 0.999).map_or(3, |found| found as u8)
}
