//! Temperature of the cook: limits, heating rate, the window and looks.

use std::collections::BTreeMap;

use super::alarm::{AlarmId, Finding, Verdict};
use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::{Bench, Reply};
use super::progress::cooking;
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::view::Source;
use super::watches::at_once;
use super::work::Cooking;
use super::{cook_clock, spot};
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
    let value = spot::known(bench, &batch.id, at).map(|known| known.temperature);
    // where a probe and a person disagree, the hotter of the two is watched
    let by_hand = spot::spot(bench, &batch.id, at).filter(|spot| spot.source == Source::ByHand);
    let hottest = value.max(by_hand.map(|spot| spot.temperature));
    let high = above(bench, hottest, cook.high);
    let high_high = above(bench, hottest, cook.high_high);
    let low = below(bench, value, cook, cooking);
    let heating = heating(bench, &batch.id, cook);
    let unknown = if value.is_none() && !bench.is_shelved(&batch.id, at) {
        Verdict::Beyond
    } else {
        Verdict::Within
    };
    let on_delay = settings.unknown_grace;
    let unknown = Finding { verdict: unknown, on_delay, off_delay: Span::ZERO };
    findings.insert(AlarmId::TemperatureUnknown { batch: id(), at }, unknown);
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
    let value = cook_clock::pot(bench, id);
    let inside = value.is_some_and(|value| (window.low..=window.high).contains(&value));
    let now = bench.now;
    let sense = bench.senses.cooks.entry(id.clone()).or_default();
    sense.inside_since = inside.then(|| sense.inside_since.unwrap_or(now));
    let reached = sense.inside_since.is_some_and(|since| now.since(since) >= armed_after);
    if reached {
        let step = bench.step_key(id);
        bench.emit(Fact::WindowReached { batch: id.clone(), step });
    }
}

/// When shelved probes come back, and when a window counts as reached.
pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let shelved = bench.state.shelved.values().copied();
    let armed_after = bench.settings().low_armed_after;
    let inside = bench.senses.cooks.values().filter_map(|sense| sense.inside_since);
    shelved.chain(inside.map(|since| since + armed_after)).collect()
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
fn heating(bench: &Bench, id: &BatchId, cook: &Cook) -> Verdict {
    let live = spot::live(bench, id, ProbeAt::Pot);
    let Some(value) = live.map(|live| live.temperature) else { return Verdict::Holds };
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
        if let Some(held) = self.state.held.get(&setup.channel) {
            return self.is_shelved(&held.batch, held.at);
        }
        self.state.leases.get(&setup.channel).is_some_and(|id| self.is_shelved(id, at))
    }

    /// Millikelvin a minute; `None` while too little has been heard to tell.
    pub(super) fn heating_mk_per_min(&self, id: &BatchId, at: ProbeAt) -> Option<f64> {
        let setup = spot::probe_at(self, id, at)?;
        let window = self.sense(setup)?.heating.as_ref()?;
        let rate = window.rate().filter(|_| window.covers() >= RATE_COVERS_MIN)?;
        Some(rate.per_second * 60.0 * 1000.0)
    }
}
