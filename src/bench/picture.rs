//! The state and the senses, as every screen shows them.

use super::batch::{Batch, Capture};
use super::law::Bench;
use super::progress::cooking;
use super::senses::Sense;
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::view::{
    AlarmView, BatchView, CaptureView, ChannelView, CookView, JournalView, PromptView, TracePoint,
    View, WeighingView,
};
use super::{
    answers, combine, cook_clock, cool, in_process, leases, lye, names, pan, room_left, spot,
    takeout, vessels, words,
};
use crate::plan::Weigh;
use crate::quantity::{Moment, Span};
use crate::reading::Reading;

pub fn view(bench: &Bench, now: Moment) -> View {
    if now == bench.now {
        return view_now(bench);
    }
    // a screen may look later than the last input: ages and values are those of its moment
    let mut looking = bench.clone();
    looking.now = now;
    view_now(&looking)
}

fn view_now(bench: &Bench) -> View {
    let setup = bench.state.setup_ref();
    let channels = setup.map(|s| s.channels.iter().map(|c| channel(bench, c)).collect());
    let mut alarms: Vec<AlarmView> = alarms(bench);
    alarms.sort_by(|a, b| (b.active, b.priority, a.age).cmp(&(a.active, a.priority, b.age)));
    View {
        channels: channels.unwrap_or_default(),
        batches: bench.state.batches.values().map(|batch| batch_view(bench, batch)).collect(),
        alarms,
        journal: JournalView {
            failed: bench.state.journal_lost.as_ref().map(|(_, why)| why.clone()),
            waiting: bench.state.last_number.saturating_sub(bench.senses.committed),
            committed: bench.senses.committed,
        },
        silenced: bench
            .state
            .silenced_until
            .filter(|&until| until > bench.now)
            .map(|until| until - bench.now),
        nobody_hears: bench.senses.audible == 0 && bench.state.batches.values().any(must_be_heard),
        instruments: Vec::new(),
    }
}

/// Caustic and the cook need somebody within earshot.
fn must_be_heard(batch: &Batch) -> bool {
    batch.weighs_caustic() || cooking(batch).is_some()
}

fn channel(bench: &Bench, setup: &ChannelSetup) -> ChannelView {
    let sense = bench.sense(setup);
    let allowed = bench.allowed_age(setup);
    let last = sense.and_then(|sense| sense.last.as_ref());
    let fresh = sense.is_some_and(|sense| sense.is_fresh(bench.now, allowed));
    let lost = bench.state.lost.get(&setup.instrument).cloned();
    ChannelView {
        channel: setup.channel.clone(),
        instrument: setup.instrument.clone(),
        role: setup.role,
        value: last.filter(|_| fresh && lost.is_none()).and_then(|last| last.value),
        status: last.map(|last| last.status),
        stable: fresh && is_stable(bench, setup, sense),
        age: last.map(|last: &Reading| bench.now.since(last.at)),
        lost,
        zeroes: setup.zeroes,
        zero: sense.and_then(|sense| sense.zeroing?.shown(bench.now)),
        trace: sense.map(|sense| trace(sense, bench.now)).unwrap_or_default(),
        held: spot::held_view(bench, &setup.channel),
        holder: bench.state.leases.get(&setup.channel).cloned(),
    }
}

fn trace(sense: &Sense, now: Moment) -> Vec<TracePoint> {
    let points = sense.trace.points(now);
    points.map(|(age, temperature)| TracePoint { age, temperature }).collect()
}

fn is_stable(bench: &Bench, setup: &ChannelSetup, sense: Option<&Sense>) -> bool {
    match setup.role {
        Role::Scale { facts, .. } => {
            let test = bench.settings().rest_test(facts.d, false);
            sense.is_some_and(|sense| sense.rest.at_rest(&test).is_some())
        }
        Role::Probe { .. } => true,
    }
}

fn alarms(bench: &Bench) -> Vec<AlarmView> {
    let view = |(id, alarm): (&super::alarm::AlarmId, &super::alarm::Alarm)| AlarmView {
        alarm: id.clone(),
        priority: id.priority(),
        active: alarm.active,
        acknowledged: alarm.acknowledged,
        latched: alarm.active && id.latches(),
        words: if alarm.active { words::alarm(bench, id) } else { alarm.detail.clone() },
        age: bench.now.since(alarm.since),
    };
    bench.state.alarms.iter().map(view).collect()
}

fn batch_view(bench: &Bench, batch: &Batch) -> BatchView {
    let phase = pan::phase(bench, batch);
    let step = batch.step();
    BatchView {
        batch: batch.id.clone(),
        pot: names::pot(&bench.state, &batch.id),
        has_scale: bench.state.scale_of(&batch.id).is_some(),
        waits: leases::waits(bench, batch).is_some(),
        recipe: batch.control.name.clone(),
        units: batch.control.units,
        step: step.map(|step| step.key.clone()).unwrap_or_default(),
        step_number: (batch.step + 1).min(batch.control.steps.len()),
        step_count: batch.control.steps.len(),
        title: step.map_or_else(|| "finished".to_owned(), |step| step.title.clone()),
        sentence: words::sentence(bench, batch, phase),
        hazards: step.map(|step| step.hazards.clone()).unwrap_or_default(),
        weighing: weighing_view(bench, batch).or_else(|| takeout::view(bench, batch)),
        temperatures: spot::known_views(bench, &batch.id),
        cook: cook_view(bench, batch),
        cool: cool::view(bench, batch),
        combine: combine::view(bench, batch),
        lye: lye::view(bench, batch),
        prompt: batch.prompt.as_ref().map(|prompt| PromptView {
            prompt: prompt.id,
            asks: prompt.asks.clone(),
            words: words::prompt(bench, batch, &prompt.asks),
            question: answers::question(bench, batch, &prompt.asks),
            answers: answers::of(bench, batch, prompt.id, &prompt.asks),
        }),
        captures: captures(bench, batch),
        next: batch.control.steps.get(batch.step + 1).map(|step| step.title.clone()),
        offers: answers::offers(bench, batch),
        probes: answers::probes(bench, batch),
        places: answers::places(batch),
    }
}

pub fn weighing_view(bench: &Bench, batch: &Batch) -> Option<WeighingView> {
    let (weigh, weighing) = batch.weigh()?;
    let phase = pan::phase(bench, batch)?;
    let (channel, _) = bench.state.scale_of(&batch.id)?;
    let sense = bench.sense(channel);
    let gross = sense.and_then(|s| s.mass(bench.now, bench.allowed_age(channel)));
    let there = !weighing.lifted
        && !bench.load_is_doubted(&batch.id)
        && !bench.state.lost.contains_key(&channel.instrument);
    let net = gross.filter(|_| there).zip(weighing.tare).map(|(gross, tare)| gross - tare);
    Some(WeighingView {
        ingredient: weigh.ingredient.clone(),
        name: weigh.name.clone(),
        into: weigh.into,
        phase,
        target: weighing.target,
        net,
        left: net.map(|net| weighing.target.mass - net),
        pace: sense.map(|sense| sense.pourer.pace).unwrap_or_default(),
        vessel: vessels::shown(bench, batch),
        room: room_left::view(bench, batch),
    })
}

fn cook_view(bench: &Bench, batch: &Batch) -> Option<CookView> {
    let (cook, cooking) = cooking(batch)?;
    let to_look = cook.look_every - cooking.since_look.elapsed(bench.now);
    Some(CookView {
        at: ProbeAt::Pot,
        window: cook.window,
        limits: Some((cook.high, cook.high_high)),
        watched: cooking.time.elapsed(bench.now),
        standing: cook_clock::standing(batch),
        duration: cook.duration,
        next_look: cooking.look_due.is_none().then(|| to_look.max(Span::ZERO)),
        shelved: bench
            .state
            .shelved
            .get(&(batch.id.clone(), ProbeAt::Pot))
            .filter(|&&until| until > bench.now)
            .map(|&until| until - bench.now),
        tests: in_process::views(batch),
    })
}

fn captures(bench: &Bench, batch: &Batch) -> Vec<CaptureView> {
    let view = |(weigh, capture): (&Weigh, &Capture)| CaptureView {
        ingredient: weigh.ingredient.clone(),
        name: weigh.name.clone(),
        target: capture.target.mass,
        net: capture.net,
        how: capture.how,
        recorded: bench.senses.committed >= capture.number,
    };
    batch.captured().map(view).collect()
}
