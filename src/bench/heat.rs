//! Temperature of the cook: limits, heating rate, the window and looks.

use std::collections::BTreeMap;

use super::alarm::{AlarmId, Finding, Verdict};
use super::fact::{BatchId, Fact};
use super::law::{Bench, Reply};
use super::progress::cooking;
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::state::{Batch, Cooking};
use super::watches::{at_once, temperature_at};
use crate::plan::Cook;
use crate::quantity::{Moment, Span, Temperature};

/// A rate over less than this is mostly noise of the last digit.
const RATE_COVERS_MIN: Span = Span::from_secs(30);
/// Heating this much slower than its limit is no longer fast, in millikelvin a minute: ours.
const RATE_DEADBAND_MK: f64 = 500.0;

pub fn findings(bench: &Bench, batch: &Batch, findings: &mut BTreeMap<AlarmId, Finding>) {
    let Some((cook, cooking)) = cooking(batch) else { return };
    let id = || batch.id.clone();
    let grace = bench.settings().look_grace;
    let missed = cooking.look_due.is_some_and(|due| bench.now.since(due) >= grace);
    findings.insert(AlarmId::LookMissed { batch: id() }, at_once(missed));
    let at = ProbeAt::Pot;
    let settings = bench.settings();
    let (on, high_on) = (settings.temperature_on_delay, settings.high_high_on_delay);
    let value = temperature_at(bench, &batch.id, at).map(|(_, value)| value);
    let value = value.filter(|_| !bench.is_shelved(&batch.id, at));
    let high = above(bench, value, cook.high);
    let high_high = above(bench, value, cook.high_high);
    let low = below(bench, value, cook, cooking);
    let heating = heating(bench, &batch.id, value, cook);
    findings.insert(AlarmId::TemperatureHigh { batch: id(), at }, delayed(bench, high, on));
    findings.insert(
        AlarmId::TemperatureHighHigh { batch: id(), at },
        delayed(bench, high_high, high_on),
    );
    findings.insert(AlarmId::TemperatureLow { batch: id(), at }, delayed(bench, low, on));
    findings.insert(AlarmId::HeatingFast { batch: id(), at }, delayed(bench, heating, on));
}

/// Notices that the pot has been inside its window long enough to be watched for falling out.
pub fn run(bench: &mut Bench, id: &BatchId) {
    let Some((cook, cooking)) = bench.batch(id).and_then(cooking) else { return };
    if cooking.reached {
        return;
    }
    let window = cook.window;
    let armed_after = bench.settings().low_armed_after;
    let value = temperature_at(bench, id, ProbeAt::Pot).map(|(_, value)| value);
    let inside = value.is_some_and(|value| (window.low..=window.high).contains(&value));
    let now = bench.now;
    let Some(sense) = bench.probe_sense_mut(id, ProbeAt::Pot) else { return };
    sense.inside_since = inside.then(|| sense.inside_since.unwrap_or(now));
    let reached = sense.inside_since.is_some_and(|since| now.since(since) >= armed_after);
    if reached {
        let step = bench.step_key(id);
        bench.emit(Fact::WindowReached { batch: id.clone(), step });
    }
}

/// When shelved probes come back, and when a window counts as reached.
pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let mut due: Vec<Moment> = bench.state.shelved.values().copied().collect();
    let pots = bench.state.batches.keys().filter_map(|id| bench.state.probe_of(id, ProbeAt::Pot));
    let inside = pots.filter_map(|pot| bench.sense(pot)?.inside_since);
    due.extend(inside.map(|since| since + bench.settings().low_armed_after));
    due
}

/// The probe is taken out for stirring.
pub fn shelve(bench: &mut Bench, id: &BatchId, at: ProbeAt) -> Reply {
    if bench.is_shelved(id, at) {
        return Reply::AlreadyDone;
    }
    let until = bench.now + bench.settings().shelf_time;
    bench.emit(Fact::Shelved { batch: id.clone(), at, until });
    Reply::Done
}

fn above(bench: &Bench, value: Option<Temperature>, limit: Temperature) -> Verdict {
    match value {
        Some(value) if value > limit => Verdict::Beyond,
        Some(value) if value <= limit - bench.settings().temperature_deadband => Verdict::Within,
        _ => Verdict::Holds,
    }
}

fn below(bench: &Bench, value: Option<Temperature>, cook: &Cook, cooking: &Cooking) -> Verdict {
    let deadband = bench.settings().temperature_deadband;
    match value {
        _ if !cooking.reached => Verdict::Within,
        Some(value) if value < cook.window.low => Verdict::Beyond,
        Some(value) if value >= cook.window.low + deadband => Verdict::Within,
        _ => Verdict::Holds,
    }
}

/// Heat-up far below the window may be as fast as it likes.
fn heating(bench: &Bench, id: &BatchId, value: Option<Temperature>, cook: &Cook) -> Verdict {
    let Some(value) = value else { return Verdict::Holds };
    let settings = bench.settings();
    if value < cook.window.low - settings.heating_watch_below {
        return Verdict::Within;
    }
    let rate = bench.heating_mk_per_min(id, ProbeAt::Pot);
    let limit = f64::from(settings.heating_max_mk_per_min);
    match rate {
        Some(rate) if rate > limit => Verdict::Beyond,
        Some(rate) if rate <= limit - RATE_DEADBAND_MK => Verdict::Within,
        _ => Verdict::Holds,
    }
}

fn delayed(bench: &Bench, verdict: Verdict, on_delay: Span) -> Finding {
    Finding { verdict, on_delay, off_delay: bench.settings().temperature_off_delay }
}

impl Bench {
    pub(super) fn is_shelved(&self, id: &BatchId, at: ProbeAt) -> bool {
        let shelved = self.state.shelved.iter().find(|((batch, of), _)| batch == id && *of == at);
        shelved.is_some_and(|(_, &until)| self.now < until)
    }

    /// The probe is out of the pot of the batch that holds it.
    pub(super) fn is_channel_shelved(&self, setup: &ChannelSetup) -> bool {
        let Role::Probe { at, .. } = setup.role else { return false };
        self.state.leases.get(&setup.channel).is_some_and(|id| self.is_shelved(id, at))
    }

    /// Millikelvin a minute; `None` while too little has been heard to tell.
    pub(super) fn heating_mk_per_min(&self, id: &BatchId, at: ProbeAt) -> Option<f64> {
        let setup = self.state.probe_of(id, at)?;
        let window = self.sense(setup)?.heating.as_ref()?;
        let rate = window.rate().filter(|_| window.covers() >= RATE_COVERS_MIN)?;
        Some(rate.per_second * 60.0 * 1000.0)
    }
}
