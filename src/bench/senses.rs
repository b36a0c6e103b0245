//! What the bench remembers of its instruments. Volatile: empty after a restart, and empty is
//! never safe.

use std::collections::BTreeMap;

use super::alarm::{AlarmId, Watch};
use super::settings::Settings;
use super::setup::{ChannelSetup, Role};
use crate::quantity::{Mass, Moment, Span, Temperature};
use crate::reading::{Channel, Reading, Status};
use crate::signal::RestWindow;

#[derive(Clone, Debug, Default)]
pub struct Senses {
    pub channels: BTreeMap<Channel, Sense>,
    pub watches: BTreeMap<AlarmId, Watch>,
    /// When each alarm last sounded.
    pub sounded: BTreeMap<AlarmId, Moment>,
    /// Facts up to this number are on the disk.
    pub committed: u64,
}

#[derive(Clone, Debug, Default)]
pub struct Sense {
    pub last: Option<Reading>,
    /// When a value last came that can be used.
    pub value_at: Option<Moment>,
    /// When anything last came that tells about the load: a value, or "over the limit".
    pub load_at: Option<Moment>,
    /// Two windows: caustic asks for less spread than the rest.
    pub rest: RestWindow,
    /// The pan has been seen clear in this step.
    pub seen_clear: bool,
    /// Since when the pan reads below the tare.
    pub below_since: Option<Moment>,
    /// Since when the load rests short of its target.
    pub short_since: Option<Moment>,
}

impl Sense {
    pub fn take(&mut self, reading: &Reading, setup: &ChannelSetup, settings: &Settings) {
        let usable = reading.value.is_some() && reading.status.is_trusted();
        if usable {
            self.value_at = Some(reading.at);
        }
        if usable || reading.status == Status::OverLimit {
            self.load_at = Some(reading.at);
        }
        if let Role::Scale { facts, .. } = setup.role {
            self.rest.push(reading, &settings.rest_test(facts.d, false));
        }
        self.last = Some(reading.clone());
    }

    /// The value may still be shown and used.
    pub fn is_fresh(&self, now: Moment, allowed: Span) -> bool {
        self.value_at.is_some_and(|at| now.since(at) <= allowed)
            && self.last.as_ref().is_some_and(|last| last.status.is_trusted())
    }

    pub fn mass(&self, now: Moment, allowed: Span) -> Option<Mass> {
        self.last.as_ref().filter(|_| self.is_fresh(now, allowed)).and_then(Reading::mass)
    }

    pub fn temperature(&self, now: Moment, allowed: Span) -> Option<Temperature> {
        self.last.as_ref().filter(|_| self.is_fresh(now, allowed)).and_then(Reading::temperature)
    }

    pub fn overloaded(&self) -> bool {
        self.last.as_ref().is_some_and(|last| last.status == Status::OverLimit)
    }

    /// A new step: what was seen of the pan for the one before says nothing for this one.
    pub fn forget_step(&mut self) {
        self.seen_clear = false;
        self.below_since = None;
        self.short_since = None;
    }
}

/// How old a value of this channel may be.
pub fn allowed_age(setup: &ChannelSetup, settings: &Settings, caustic: bool) -> Span {
    match setup.role {
        Role::Scale { .. } if caustic => settings.scale_silence_caustic,
        Role::Scale { .. } => settings.scale_silence,
        Role::Probe { .. } => {
            let periods = i64::from(settings.probe_silence_periods);
            settings.probe_silence.max(Span::from_nanos(setup.period.nanos() * periods))
        }
    }
}
