//! What the bench remembers of its instruments. Volatile: empty after a restart, and empty is
//! never safe.

use std::collections::BTreeMap;

use super::alarm::{AlarmId, Watch};
use super::before_lift::BeforeLift;
use super::fact::BatchId;
use super::pace::Pourer;
use super::settings::{CAUSTIC_PERIOD_MAX, Settings};
use super::setup::{ChannelSetup, Role};
use super::unit_key::{UnitKey, Worth};
use super::zeroing::Zeroing;
use crate::quantity::{Mass, Moment, Span, Temperature};
use crate::reading::{Channel, Reading, Status};
use crate::signal::{
    JumpWindow, PressWindow, Pressed, RateWindow, RestWindow, RiseWindow, SettleWindow,
    TraceWindow, UnsteadyWindow,
};

#[derive(Clone, Debug, Default)]
pub struct Senses {
    pub channels: BTreeMap<Channel, Sense>,
    pub watches: BTreeMap<AlarmId, Watch>,
    /// When each alarm last sounded.
    pub sounded: BTreeMap<AlarmId, Moment>,
    /// Facts up to this number are on the disk.
    pub committed: u64,
    /// Screens that can be heard.
    pub audible: u32,
    /// What was lately seen of each pot that cooks.
    pub cooks: BTreeMap<BatchId, CookSense>,
    /// The lye of each batch, as far as no fixed probe tells of it.
    pub lyes: BTreeMap<BatchId, LyeSense>,
    /// How much more caustic each batch has than its fats take, worked out after each fact.
    pub heavy: BTreeMap<BatchId, Mass>,
}

/// Since when the pot is warm enough for its cook time to count, unknown, and inside its window.
#[derive(Clone, Copy, Debug, Default)]
pub struct CookSense {
    pub warm_since: Option<Moment>,
    pub unknown_since: Option<Moment>,
    pub inside_since: Option<Moment>,
}

/// Since when the present step goes on, and the hottest that was read in the lye since.
#[derive(Clone, Copy, Debug)]
pub struct LyeSense {
    pub since: Moment,
    pub peak: Option<Temperature>,
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
    pub pourer: Pourer,
    /// The pan has been seen clear in this step.
    pub seen_clear: bool,
    /// Since when the pan reads below the tare, or not any more.
    pub below_since: Option<Moment>,
    pub above_since: Option<Moment>,
    /// Since when the load rests short of its target.
    pub short_since: Option<Moment>,
    pub jump: JumpWindow,
    /// A load that came at once, not yet spoken of; and when the last one came.
    pub put_on: Option<Mass>,
    pub put_on_at: Option<Moment>,
    /// The largest load that came at once since the pan was last clear.
    pub put_on_mass: Option<Mass>,
    /// Where the pan stood when the last one had come, while that is still there.
    pub put_on_level: Option<Mass>,
    /// Whether something is poured onto the pan just now, and was since it was last clear.
    pub rise: RiseWindow,
    pub rose: bool,
    /// The pan pressed by hand, and twice just now.
    pub press: PressWindow,
    pub pressed: Option<Pressed>,
    /// The cup has not left the pan since its caustic went over the guard.
    pub stayed: bool,
    pub unsteady: UnsteadyWindow,
    pub unsteady_said: Option<Moment>,
    /// The last load before a silence, and whether the zero is in doubt since.
    pub load_before: Option<Mass>,
    pub doubted: bool,
    pub doubted_gross: Option<Mass>,
    /// The empty pan has read, in this session, what the books say of it.
    pub zero_seen: bool,
    /// The load at rest before the vessel was lifted.
    pub load_before_lift: Option<Mass>,
    pub before_lift: BeforeLift,
    /// What stood on the pan when the vessel was last lifted off it, without its zero: so much at
    /// the least, and at the most.
    pub load_at_lift: Option<(Mass, Mass)>,
    /// Since when, and at what load, the pan has been at rest.
    pub rest_from: Option<(Moment, Mass)>,
    pub moisture_said: bool,
    pub unit_key: UnitKey,
    /// The last command to take a zero.
    pub zeroing: Option<Zeroing>,
    /// For probes: when it was moved. What it said before, it said elsewhere.
    pub moved_at: Option<Moment>,
    pub heating: Option<RateWindow>,
    pub trace: TraceWindow,
    /// For a hand-held probe, since it was said where it is.
    pub settle: SettleWindow,
    /// The highest temperature since the step began, and whether all of the step was seen.
    pub peak: Option<Temperature>,
    pub peak_is_whole: bool,
}

/// A temperature is followed over this long to tell its rate.
const HEATING_WINDOW: Span = Span::from_secs(60);
impl Sense {
    /// `allowed`: how old a value of this channel may be just now.
    pub fn take(
        &mut self,
        reading: &Reading,
        setup: &ChannelSetup,
        settings: &Settings,
        allowed: Span,
    ) {
        let Role::Scale { facts, .. } = setup.role else {
            self.take_temperature(reading, settings, allowed);
            return;
        };
        let mut reading = reading.clone();
        let rested = self.rest.at_rest(&settings.rest_test(facts.d, false));
        match self.unit_key.take(&reading, rested, facts.d) {
            Worth::Trusted => {}
            Worth::Suspect => reading.status = Status::Fault,
            // what happened on the pan meanwhile was not seen
            Worth::TrustedAgain => self.doubted |= self.load_before.is_some(),
        }
        self.note_silence(reading.at, allowed);
        let usable = reading.value.is_some() && reading.status.is_trusted();
        if usable {
            self.value_at = Some(reading.at);
        }
        if usable || reading.status == Status::OverLimit {
            self.load_at = Some(reading.at);
        }
        self.rest.push(&reading, &settings.rest_test(facts.d, false));
        let load = reading.mass().filter(|_| usable);
        self.pourer.take(reading.at, load);
        match load {
            Some(load) => {
                let least = facts.d * i64::from(settings.put_on_min_d);
                if let Some(jump) = self.jump.push(reading.at, load, facts.d, least) {
                    self.put_on = Some(jump);
                    self.put_on_at = Some(reading.at);
                    self.put_on_level =
                        if jump.is_negative() { None } else { self.put_on_level.or(Some(load)) };
                    if !jump.is_negative() {
                        self.put_on_mass = self.put_on_mass.max(Some(jump));
                    }
                }
                self.rise.push(reading.at, load);
                self.rose |= self.rise.is_pour(facts.d);
                self.press(reading.at, load, facts.d, settings);
                self.before_lift.push(reading.at, load);
                self.unsteady.push(reading.at, load, settings.unsteady_after);
                if !self.doubted {
                    self.load_before = Some(load);
                }
            }
            None => {
                self.jump.clear();
                self.rise.clear();
                self.press.clear();
                self.unsteady.clear();
                self.before_lift.clear();
            }
        }
        self.last = Some(reading);
    }

    fn press(&mut self, at: Moment, load: Mass, d: Mass, settings: &Settings) {
        let rest = self.rest.at_rest(&settings.rest_test(d, false));
        let pressed = self.press.push(at, load, rest, &settings.press_test(d));
        if pressed.is_some() {
            // a hand is no pour, and no thing put on
            self.pourer.begin();
            self.pourer.take(at, None);
            self.put_on = None;
        }
        self.pressed = pressed.or(self.pressed);
    }

    /// The port is gone. What was said before says nothing about what comes after, but the last
    /// load is remembered, to be compared with what the pan carries then.
    pub fn lose(&mut self) {
        self.unit_key.lose();
        *self = Sense {
            load_before: self.load_before,
            load_at_lift: self.load_at_lift,
            doubted: self.doubted || self.load_before.is_some(),
            pourer: std::mem::take(&mut self.pourer),
            // what was seen was seen; the time without is drawn as a gap
            trace: std::mem::take(&mut self.trace),
            unit_key: std::mem::take(&mut self.unit_key),
            ..Sense::default()
        };
    }

    fn take_temperature(&mut self, reading: &Reading, settings: &Settings, gap_after: Span) {
        let usable = reading.value.is_some() && reading.status.is_trusted();
        self.trace.push(reading.at, reading.temperature().filter(|_| usable), gap_after);
        let heating = self.heating.get_or_insert_with(|| RateWindow::new(HEATING_WINDOW));
        match reading.temperature().filter(|_| usable) {
            Some(temperature) => {
                self.value_at = Some(reading.at);
                heating.push(reading.at, temperature.celsius());
                self.peak = self.peak.max(Some(temperature));
                let (window, spread) = (settings.spot_settle, settings.spot_spread);
                self.settle.push(reading.at, temperature, window, spread);
            }
            None => {
                heating.clear();
                self.settle.interrupt();
            }
        }
        self.last = Some(reading.clone());
    }

    /// A silence may hide that the scale slept and took another zero. One that says that it is
    /// overloaded is awake, and takes none.
    fn note_silence(&mut self, at: Moment, allowed: Span) {
        if self.load_at.is_some_and(|heard| at.since(heard) > allowed) {
            if !self.doubted {
                // what an earlier doubt was about is settled
                self.doubted_gross = None;
            }
            self.doubted |= self.load_before.is_some();
        }
    }

    /// What the pan carried before is not known: nothing agrees with it.
    pub fn doubt_unseen(&mut self) {
        self.doubted = true;
        self.load_before = None;
        self.doubted_gross = None;
    }

    /// The value may still be shown and used.
    pub fn is_fresh(&self, now: Moment, allowed: Span) -> bool {
        let here = |at: Moment| self.moved_at.is_none_or(|moved| at > moved);
        self.value_at.is_some_and(|at| now.since(at) <= allowed && here(at))
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
        self.put_on_mass = None;
        self.put_on_level = None;
        self.rose = false;
        self.below_since = None;
        self.above_since = None;
        self.short_since = None;
        self.rest_from = None;
        self.moisture_said = false;
        self.load_before_lift = None;
        self.load_at_lift = None;
        self.doubted_gross = None;
        self.before_lift.clear();
        self.pourer.begin();
    }
}

/// How old a value of this channel may be.
pub fn allowed_age(setup: &ChannelSetup, settings: &Settings, caustic: bool) -> Span {
    match setup.role {
        Role::Scale { .. } if caustic => {
            // one reading may be lost
            let periods = setup.period.min(CAUSTIC_PERIOD_MAX).nanos() * 5 / 2;
            settings.scale_silence_caustic.max(Span::from_nanos(periods))
        }
        Role::Scale { .. } => settings.scale_silence,
        Role::Probe { .. } => {
            let periods = i64::from(settings.probe_silence_periods);
            settings.probe_silence.max(Span::from_nanos(setup.period.nanos() * periods))
        }
    }
}
