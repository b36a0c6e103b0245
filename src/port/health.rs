use serde::{Deserialize, Serialize};

use crate::quantity::{Moment, Span};
use crate::reading::{Channel, Reading, Status, Value};
use crate::wire::{FrameRead, Sheet, Talk};

/// How an open port does. One that is open and says nothing of use is half dead, and no error of
/// the system tells of it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Health {
    #[default]
    Good,
    /// Nothing has come for so long.
    Silent { after: Span },
    /// Bytes come, and none of them can be read.
    Unreadable { why: String },
    /// Its number has stood still for so long.
    Frozen { after: Span, moving: bool },
}

/// A stream that is slower than this is no stream to weigh by. Ours.
const SILENT_AFTER: Span = Span::from_secs(5);
/// So many refused frames without one that is read, and the settings are in question. Ours.
const UNREADABLE_AFTER: u32 = 20;
/// So long bytes come without one frame. Ours.
const FRAMELESS_AFTER: Span = Span::from_secs(5);
/// A number that is said to move and stands still for so long does not move. Ours.
const STUCK_AFTER: Span = Span::from_secs(30);
/// A probe shows some change within this, be it of its last digit. Ours.
const CHANGELESS_AFTER: Span = Span::from_minutes(15);

/// Takes the pulse of one opening of a port. Pure: what comes and when is told to it.
#[derive(Clone, Debug)]
pub struct Pulse {
    /// `None` for an instrument that is silent until its key is pressed.
    silent_after: Option<Span>,
    heard: Moment,
    /// The first byte since a frame could be read.
    unread_since: Option<Moment>,
    refused: u32,
    why: String,
    still: Option<Still>,
}

/// A number, and since when it is the same.
#[derive(Clone, Debug)]
struct Still {
    channel: Channel,
    value: Value,
    moving: bool,
    since: Moment,
    last: Moment,
}

impl Pulse {
    pub fn new(sheet: &Sheet, opened: Moment) -> Pulse {
        let silent_after = match &sheet.talk {
            Talk::OnKey => None,
            Talk::Streams => Some(SILENT_AFTER),
            Talk::Answers { every, timeout, .. } => {
                Some(SILENT_AFTER.max(*every + *every + *every + *timeout))
            }
        };
        Pulse {
            silent_after,
            heard: opened,
            unread_since: None,
            refused: 0,
            why: String::new(),
            still: None,
        }
    }

    pub fn bytes(&mut self, at: Moment) {
        self.heard = at;
        self.unread_since.get_or_insert(at);
    }

    pub fn frame(&mut self, frame: &FrameRead) {
        match &frame.read {
            Ok(readings) => {
                self.unread_since = None;
                self.refused = 0;
                readings.iter().for_each(|reading| self.reading(reading));
            }
            // an answer to nobody is no sign of wrong settings
            Err(why) if why.is_beside_the_question() => {}
            Err(why) => {
                self.refused += 1;
                self.why = why.to_string();
            }
        }
    }

    fn reading(&mut self, reading: &Reading) {
        let Some(value) = reading.value else {
            self.still = None;
            return;
        };
        let moving = reading.status == Status::InMotion;
        match &mut self.still {
            Some(still) if still.channel != reading.channel => {}
            Some(still) if still.value == value && still.moving == moving => {
                still.last = reading.at
            }
            _ => {
                let (channel, at) = (reading.channel.clone(), reading.at);
                self.still = Some(Still { channel, value, moving, since: at, last: at });
            }
        }
    }

    pub fn health(&self, now: Moment) -> Health {
        if let Some(after) = self.silent_after
            && now.since(self.heard) >= after
        {
            return Health::Silent { after };
        }
        let frameless = self
            .unread_since
            .is_some_and(|since| self.heard.since(since) >= FRAMELESS_AFTER && self.refused == 0);
        if frameless {
            return Health::Unreadable { why: "no frame comes to its end".to_owned() };
        }
        if self.refused >= UNREADABLE_AFTER {
            return Health::Unreadable { why: self.why.clone() };
        }
        self.frozen().unwrap_or_default()
    }

    /// A load may rest for hours, and a scale that does not say that it moves may be right.
    fn frozen(&self) -> Option<Health> {
        let still = self.still.as_ref()?;
        let after = match (still.moving, &still.value) {
            (true, _) => STUCK_AFTER,
            (false, Value::Temperature { .. }) => CHANGELESS_AFTER,
            (false, Value::Mass { .. }) => return None,
        };
        let frozen = still.last.since(still.since) >= after;
        frozen.then_some(Health::Frozen { after, moving: still.moving })
    }
}

impl Health {
    /// What is wrong and what to look at; `None` when nothing is.
    pub fn words(&self) -> Option<String> {
        match self {
            Health::Good => None,
            Health::Silent { after } => Some(format!(
                "open, but nothing has come for {after}: is it switched on, and does it send?"
            )),
            Health::Unreadable { why } => Some(format!(
                "bytes come, but nothing in them can be read ({why}): is it the right wire sheet, \
                 and the right speed?"
            )),
            Health::Frozen { after, moving: true } => {
                Some(format!("it says that it moves, but its number has stood still for {after}"))
            }
            Health::Frozen { after, moving: false } => {
                Some(format!("its number has not changed at all for {after}: is the probe alive?"))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::quantity::{Mass, MassUnit, Temperature, TemperatureUnit};
    use crate::wire::{Refusal, SheetLibrary};

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    fn pulse(sheet: &str) -> Pulse {
        let library = SheetLibrary::built_in().unwrap();
        Pulse::new(&Arc::clone(library.find(sheet).unwrap()), at(0))
    }

    fn read(ms: i64, value: Value, status: Status) -> FrameRead {
        let channel = Channel::new("one");
        let reading = Reading { channel, at: at(ms), value: Some(value), status };
        FrameRead { bytes: b"1".to_vec(), read: Ok(vec![reading]) }
    }

    fn mass(text: &str) -> Value {
        let mass = Mass::parse(text).unwrap();
        Value::Mass { mass, unit: MassUnit::Gram, decimals: 1, unit_on_wire: true }
    }

    fn refused() -> FrameRead {
        FrameRead { bytes: b"?".to_vec(), read: Err(Refusal::NoPatternFits) }
    }

    #[test]
    fn silence_is_named_after_five_seconds_except_where_it_is_normal() {
        let mut stream = pulse("comma-status-line");
        stream.bytes(at(1000));
        stream.frame(&read(1000, mass("1 g"), Status::Stable));
        assert_eq!(stream.health(at(5999)), Health::Good);
        assert_eq!(stream.health(at(6000)), Health::Silent { after: SILENT_AFTER });
        assert_eq!(pulse("ticket-lines").health(at(3_600_000)), Health::Good);
    }

    #[test]
    fn bytes_without_frames_and_frames_without_sense_are_named() {
        let mut endless = pulse("comma-status-line");
        for ms in (0..5000).step_by(100) {
            endless.bytes(at(ms));
            assert_eq!(endless.health(at(ms)), Health::Good);
        }
        endless.bytes(at(5000));
        let why = "no frame comes to its end".to_owned();
        assert_eq!(endless.health(at(5000)), Health::Unreadable { why });
        let mut senseless = pulse("comma-status-line");
        senseless.bytes(at(0));
        (1..UNREADABLE_AFTER).for_each(|_| senseless.frame(&refused()));
        assert_eq!(senseless.health(at(100)), Health::Good);
        senseless.frame(&refused());
        let why = "no pattern of the sheet fits it".to_owned();
        assert_eq!(senseless.health(at(100)), Health::Unreadable { why });
        senseless.frame(&read(200, mass("1 g"), Status::Stable));
        assert_eq!(senseless.health(at(200)), Health::Good);
    }

    #[test]
    fn a_number_that_moves_and_stands_still_is_named_and_a_resting_load_is_not() {
        let frozen = |value: Value, status: Status, seconds: i64| {
            let mut pulse = pulse("comma-status-line");
            for second in 0..=seconds {
                pulse.bytes(at(second * 1000));
                pulse.frame(&read(second * 1000, value, status));
            }
            pulse.health(at(seconds * 1000))
        };
        let stuck = Health::Frozen { after: STUCK_AFTER, moving: true };
        assert_eq!(frozen(mass("5 g"), Status::InMotion, 29), Health::Good);
        assert_eq!(frozen(mass("5 g"), Status::InMotion, 30), stuck);
        assert_eq!(frozen(mass("5 g"), Status::Stable, 3600), Health::Good);
        let (temperature, unit) =
            (Temperature::parse("41.7 °C").unwrap(), TemperatureUnit::Celsius);
        let probe = Value::Temperature { temperature, unit, decimals: 1 };
        let changeless = Health::Frozen { after: CHANGELESS_AFTER, moving: false };
        assert_eq!(frozen(probe, Status::Unstated, 899), Health::Good);
        assert_eq!(frozen(probe, Status::Unstated, 900), changeless);
    }
}
