//! What is watched, and the alarms that follow: mass, instrument, temperature, look and disk, all
//! through the one machine of [`alarm`](super::alarm).

use std::collections::BTreeMap;

use super::alarm::{AlarmChange, AlarmId, Finding, Priority, Verdict, Watch};
use super::batch::Batch;
use super::cue::Cue;
use super::fact::{BatchId, Fact};
use super::law::Bench;
use super::senses::{Sense, allowed_age};
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::{cook_clock, heat, names, remedies, same_cup, spot, words};
use crate::quantity::{Mass, Moment, Span, Temperature};
use crate::reading::Channel;

/// Judges every watch once and records what changes.
pub fn run(bench: &mut Bench) {
    let findings = findings(bench);
    for (id, finding) in &findings {
        let mut watch = bench.senses.watches.get(id).copied().unwrap_or_default();
        let change = watch.judge(bench.now, finding, bench.state.alarms.get(id), id.latches());
        bench.senses.watches.insert(id.clone(), watch);
        if let Some(change) = change {
            let detail = words::alarm(bench, id);
            record(bench, id, change, &detail);
        }
    }
    let unwatched: Vec<AlarmId> = bench
        .state
        .alarms
        .iter()
        .filter(|(id, alarm)| alarm.active && !findings.contains_key(id))
        // a latch is let go by its own reading or act, never because nobody looks
        .filter(|(id, _)| !id.latches())
        .map(|(id, _)| id.clone())
        .collect();
    for id in unwatched {
        record(bench, &id, AlarmChange::ReturnedToNormal, "no longer watched");
    }
    let now = bench.now;
    let apart = bench.settings().sound_apart_min;
    let (watches, sounded) = (&mut bench.senses.watches, &mut bench.senses.sounded);
    watches.retain(|id, _| findings.contains_key(id));
    sounded.retain(|id, at| bench.state.alarms.contains_key(id) || now.since(*at) < apart);
}

/// The temperature at one place of one batch, unless it is unknown or too old.
pub fn temperature_at(
    bench: &Bench,
    batch: &BatchId,
    at: ProbeAt,
) -> Option<(Channel, Temperature)> {
    let setup = bench.state.probe_of(batch, at)?;
    let value = bench.sense(setup)?.temperature(bench.now, bench.allowed_age(setup))?;
    Some((setup.channel.clone(), value))
}

/// Sounds again what nobody has acknowledged.
pub fn sound_again(bench: &mut Bench) {
    let due: Vec<(AlarmId, String)> = bench
        .state
        .alarms
        .iter()
        .filter(|(_, alarm)| alarm.active && !alarm.acknowledged)
        .filter(|(id, _)| sounds_next(bench, id).is_some_and(|at| at <= bench.now))
        .map(|(id, alarm)| (id.clone(), alarm.detail.clone()))
        .collect();
    for (id, words) in due {
        bench.sound(&id, id.priority(), words);
    }
}

/// When a watch or a repeated sound falls due.
pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let mut due = Vec::new();
    for (id, finding) in findings(bench) {
        let active = bench.state.alarms.get(&id).is_some_and(|alarm| alarm.active);
        let watch = bench.senses.watches.get(&id).copied().unwrap_or_default();
        due.extend(watch.deadline(&finding, active));
    }
    due.extend(staleness(bench));
    due.extend(heat::deadlines(bench));
    due.extend(cook_clock::deadlines(bench));
    due.extend(spot::deadlines(bench));
    let unacknowledged = bench.state.alarms.iter().filter(|(_, a)| a.active && !a.acknowledged);
    due.extend(unacknowledged.filter_map(|(id, _)| sounds_next(bench, id)));
    due
}

fn record(bench: &mut Bench, id: &AlarmId, change: AlarmChange, detail: &str) {
    bench.emit(Fact::AlarmChanged { alarm: id.clone(), change, detail: detail.to_owned() });
    // the delay starts anew from each change
    bench.senses.watches.insert(id.clone(), Watch::default());
    if let (AlarmId::CausticOver { batch, .. }, AlarmChange::Raised) = (id, change)
        && let Some(sense) = bench.scale_sense_mut(batch)
    {
        sense.stayed = true;
    }
    match change {
        AlarmChange::Raised => {
            let wandering = bench.senses.sounded.get(id).is_some_and(|&at| {
                id.may_wander() && bench.now.since(at) < bench.settings().sound_apart_min
            });
            if !wandering {
                bench.sound(id, id.priority(), detail.to_owned());
            }
        }
        AlarmChange::Reset | AlarmChange::ReturnedToNormal => {
            let words = words::alarm_over(id).to_owned();
            let words = match id.batch() {
                Some(batch) => names::addressed(&bench.state, batch, words),
                None => words,
            };
            bench.cue(Cue::Say { words });
        }
        AlarmChange::Acknowledged => {}
    }
}

fn sounds_next(bench: &Bench, id: &AlarmId) -> Option<Moment> {
    let settings = bench.settings();
    let apart = match id.priority() {
        Priority::High => settings.sound_again_high,
        Priority::Medium => settings.sound_again_medium,
        Priority::Low => settings.sound_again_low,
    };
    let next = match bench.senses.sounded.get(id) {
        Some(&last) => last + apart,
        // latched from before a restart: at once
        None => return Some(bench.now),
    };
    let raised = bench.state.alarms.get(id).map_or(next, |alarm| alarm.since + apart);
    let next = next.max(raised);
    Some(bench.state.silenced_until.map_or(next, |until| next.max(until)))
}

fn findings(bench: &Bench) -> BTreeMap<AlarmId, Finding> {
    let mut findings = BTreeMap::new();
    if let Some(setup) = bench.state.setup_ref() {
        for instrument in setup.instruments() {
            let id = AlarmId::InstrumentLost { instrument: instrument.to_owned() };
            findings.insert(id, instrument_lost(bench, instrument));
        }
    }
    findings.insert(AlarmId::NotRecording, at_once(bench.state.journal_lost.is_some()));
    for batch in bench.state.batches.values() {
        caustic(bench, batch, &mut findings);
        let heavy = remedies::excess(bench, batch).is_some();
        findings.insert(AlarmId::LyeHeavy { batch: batch.id.clone() }, at_once(heavy));
        heat::findings(bench, batch, &mut findings);
    }
    findings
}

pub fn at_once(beyond: bool) -> Finding {
    let verdict = if beyond { Verdict::Beyond } else { Verdict::Within };
    Finding { verdict, on_delay: Span::ZERO, off_delay: Span::ZERO }
}

/// An instrument is lost when its port is gone, or when any of its channels is silent too long.
fn instrument_lost(bench: &Bench, instrument: &str) -> Finding {
    let gone = bench.state.lost.contains_key(instrument);
    missing(bench, gone || silent_channel(bench, instrument).is_some())
}

/// Raised at once, over only after a while.
fn missing(bench: &Bench, beyond: bool) -> Finding {
    Finding { off_delay: bench.settings().instrument_off_delay, ..at_once(beyond) }
}

/// A channel of this instrument whose newest value is too old.
pub fn silent_channel<'a>(bench: &'a Bench, instrument: &'a str) -> Option<&'a ChannelSetup> {
    let mut channels = bench.state.setup_ref()?.fed_by(instrument);
    channels.find(|channel| {
        let loose = matches!(channel.role, Role::Probe { at: ProbeAt::Hand, .. })
            && !bench.state.held.contains_key(&channel.channel);
        // in somebody's hand it may be switched off
        let out = loose || bench.is_channel_shelved(channel);
        !out && bench.now > stale_at(bench, channel)
    })
}

/// The last moment at which the newest value may still be used.
fn stale_at(bench: &Bench, channel: &ChannelSetup) -> Moment {
    let heard = bench.sense(channel).and_then(|sense| sense.value_at);
    heard.unwrap_or(bench.state.session_at) + bench.allowed_age(channel)
}

/// One nanosecond past each "may still be used", so that the wake-up finds it too old.
fn staleness(bench: &Bench) -> Vec<Moment> {
    let tick = Span::from_nanos(1);
    let Some(setup) = bench.state.setup_ref() else { return Vec::new() };
    let values = setup.channels.iter().map(|channel| stale_at(bench, channel) + tick);
    let loads = setup.channels.iter().filter_map(|channel| {
        Some(bench.sense(channel)?.load_at? + bench.allowed_age(channel) + tick)
    });
    values.chain(loads).collect()
}

fn caustic(bench: &Bench, batch: &Batch, findings: &mut BTreeMap<AlarmId, Finding>) {
    let (Some(step), Some((_, weighing))) = (batch.step(), batch.weigh()) else { return };
    let Some(guard) = weighing.target.guard else { return };
    let over = AlarmId::CausticOver { batch: batch.id.clone(), step: step.key.clone() };
    let blind = AlarmId::PouringBlind { batch: batch.id.clone(), step: step.key.clone() };
    let Some((channel, scale)) = bench.state.scale_of(&batch.id) else {
        if weighing.tare.is_none() {
            // nothing is poured yet; it waits for the scale
            return;
        }
        // the bench file no longer names the scale that this batch is weighed on
        findings.insert(blind, at_once(true));
        return;
    };
    let sense = bench.sense(channel);
    let Some(tare) = weighing.tare else {
        findings.insert(over, at_once(false));
        return;
    };
    let settings = bench.settings();
    let heard = sense.and_then(|sense| sense.load_at);
    let deaf = bench.now.since(heard.unwrap_or(bench.state.session_at))
        > bench.allowed_age(channel)
        || bench.state.lost.contains_key(&channel.instrument);
    // a scale that was away may count from another zero: until that is settled it tells nothing
    let deaf = deaf || bench.load_is_doubted(&batch.id);
    findings.insert(blind, missing(bench, deaf));

    let active = bench.state.alarms.get(&over).is_some_and(|alarm| alarm.active);
    let rest_test = settings.rest_test(scale.d, true);
    let rest = sense.and_then(|sense| sense.rest.at_rest(&rest_test));
    let lowest = -settings.marks(scale.d).same;
    let net = sense.and_then(|sense| sense.mass(bench.now, bench.allowed_age(channel)));
    let known = !bench.load_is_doubted(&batch.id) && !weighing.displaced;
    let net = net.filter(|_| known).map(|gross| gross - tare);
    // one reading at the guard among many above it does not start the delay anew
    let mostly = sense.is_some_and(|sense| sense.jump.mostly_above(tare + guard.mass));
    let in_question = sense.is_some_and(|sense| {
        same_cup::is_in_question(sense, bench.now, batch, weighing, settings.marks(scale.d))
    });
    let beyond = net.is_some_and(|net| net > guard.mass || mostly) && !in_question;
    let beyond = beyond || overloaded(sense, deaf);
    let highest = sense.and_then(|sense| sense.rest.extent()).map(|(_, high)| high - tare);
    let rested_below = highest.is_some_and(|highest| highest <= guard.mass);
    let half = Mass::from_steps(weighing.target.mass.steps() / 2);
    let stayed = sense.is_some_and(|sense| sense.stayed);
    let is_the_cup = |net: Mass| stayed || net >= half || (lowest..=-lowest).contains(&net);
    let verdict = match net {
        _ if beyond => Verdict::Beyond,
        // the same cup is back, at rest, never above the guard while it rested: nothing else
        // clears the latch
        // (as good as empty, or with what a cup of this weighing may hold)
        Some(_) if active && (weighing.lifted || weighing.doubt().is_some()) => Verdict::Holds,
        Some(net) if rest.is_some() && rested_below && (!active || is_the_cup(net)) => {
            Verdict::Within
        }
        Some(_) if !active => Verdict::Within,
        _ => Verdict::Holds,
    };
    let on_delay = if rest.is_some() { Span::ZERO } else { settings.guard_delay };
    // a load put down at once rings; its first second is no pour
    let ringing = sense.and_then(|sense| sense.put_on_at).map(|at| bench.now.since(at));
    let on_delay = match ringing {
        Some(since) if since < settings.put_on_grace && rest.is_none() => {
            on_delay.max(settings.put_on_grace)
        }
        _ => on_delay,
    };
    findings.insert(over, Finding { verdict, on_delay, off_delay: Span::ZERO });
}

fn overloaded(sense: Option<&Sense>, deaf: bool) -> bool {
    !deaf && sense.is_some_and(Sense::overloaded)
}

impl Bench {
    /// How old a value of this channel may be just now.
    pub(super) fn allowed_age(&self, channel: &ChannelSetup) -> Span {
        let holder = self.state.leases.get(&channel.channel);
        let holder = holder.and_then(|id| self.batch(id));
        let caustic = holder.is_some_and(|batch| batch.weighs_caustic() || batch.takes_out());
        allowed_age(channel, self.settings(), caustic)
    }
}

impl AlarmId {
    /// A signal may wander about the limit of this alarm without anything being wrong.
    const fn may_wander(&self) -> bool {
        matches!(
            self,
            AlarmId::TemperatureHigh { .. }
                | AlarmId::TemperatureHighHigh { .. }
                | AlarmId::TemperatureLow { .. }
                | AlarmId::HeatingFast { .. }
        )
    }
}
