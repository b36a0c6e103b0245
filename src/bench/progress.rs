//! From step to step: what begins, what is asked, what ends by the clock.

use super::batch::Batch;
use super::fact::{Ask, BatchId, Fact};
use super::law::Bench;
use super::work::{Cooking, Work};
use super::{combine, cook_clock, cook_end, cool, heat, leases, lye, takeout, target, vessel_back};
use crate::plan::{Cook, StepKind};
use crate::quantity::Moment;

pub fn run(bench: &mut Bench) {
    let open: Vec<BatchId> = bench.state.batches.keys().cloned().collect();
    for id in open {
        let Some(batch) = bench.batch(&id) else { continue };
        match &batch.work {
            Work::Between => begin(bench, &id),
            Work::Waiting => {
                ask_for_word(bench, &id);
                lye::run(bench, &id);
                vessel_back::run(bench, &id);
                finish_when_back(bench, &id);
            }
            Work::Cooking(_) => cook(bench, &id),
            Work::TakingOut(_) => takeout::run(bench, &id),
            Work::Weighing(_) => {}
        }
        look_beside(bench, &id);
        heat::run(bench, &id);
        cook_clock::run(bench, &id);
    }
}

/// When a capture has stood, a vessel has been gone, a look or the end of the cook falls due.
pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let settings = bench.settings();
    let mut due = Vec::new();
    for batch in bench.state.batches.values() {
        match (&batch.work, batch.step().map(|step| &step.kind)) {
            (Work::Weighing(weighing), _) => {
                due.extend(weighing.captured.map(|at| at + settings.dwell));
                let scale = bench.state.scale_of(&batch.id);
                let sense = scale.and_then(|(channel, _)| bench.sense(channel));
                let below = sense.and_then(|sense| sense.below_since);
                due.extend(below.map(|since| since + settings.lift_delay));
            }
            (Work::Cooking(cooking), Some(StepKind::Cook(cook))) => {
                due.extend(cooking.time.reaches(cook.duration));
                due.extend(cooking.since_look.reaches(cook.look_every));
                due.extend(cooking.look_due.map(|at| at + settings.look_grace));
                due.extend(batch.prompt.as_ref().map(|prompt| prompt.asked_at + cook_end::STANDS));
            }
            (Work::Waiting, Some(StepKind::WhenCool { .. } | StepKind::Combine { .. })) => {
                due.extend(batch.prompt.as_ref().map(|prompt| prompt.asked_at + cook_end::STANDS));
            }
            _ => {}
        }
    }
    due.extend(bench.state.silenced_until);
    due
}

fn begin(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id) else { return };
    let Some(step) = batch.step() else { return };
    let target = match &step.kind {
        StepKind::Weigh(weigh) => {
            if leases::caustic_elsewhere(bench, batch).is_some() {
                return;
            }
            let Some((_, scale)) = bench.state.scale_of(id) else { return };
            Some(target::target(batch, weigh, &scale))
        }
        _ => None,
    };
    let step = step.key.clone();
    bench.emit(Fact::StepBegun { batch: id.clone(), step, target, clocked: true });
}

fn ask_for_word(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id) else { return };
    if let Some(prompt) = batch.prompt.as_ref() {
        let now = match prompt.asks {
            Ask::CombineAnyway => combine::asks(bench, batch),
            Ask::AddAnyway => cool::asks(bench, batch),
            _ => return,
        };
        if prompt.asks != now {
            bench.withdraw_prompt(id);
            bench.ask(id, now);
        }
        return;
    }
    let asks = match batch.step().map(|step| &step.kind) {
        _ if let Some(ingredient) = vessel_back::wanted(batch) => Ask::VesselBack { ingredient },
        Some(StepKind::Dissolve) if !batch.said_dissolved => Ask::Dissolved,
        Some(StepKind::Combine { .. }) if !batch.said_combined => Ask::Combined,
        Some(StepKind::Do | StepKind::WhenCool { .. }) => Ask::Done,
        _ => return,
    };
    bench.ask(id, asks);
}

/// Dissolving and combining end when their vessels are back, or will not come.
fn finish_when_back(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id) else { return };
    let said = match batch.step().map(|step| &step.kind) {
        Some(StepKind::Dissolve) => batch.said_dissolved,
        Some(StepKind::Combine { .. }) => batch.said_combined,
        _ => false,
    };
    if said && batch.prompt.is_none() && vessel_back::wanted(batch).is_none() {
        let step = bench.step_key(id);
        bench.emit(Fact::StepDone { batch: id.clone(), step });
    }
}

/// While a remedy is worked the pot goes on cooking, and has to be looked at.
fn look_beside(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id).filter(|batch| batch.detour.is_some()) else { return };
    let Some((cook, cooking)) = cooking(batch) else { return };
    let due = cooking.look_now || cooking.since_look.elapsed(bench.now) >= cook.look_every;
    if due && cooking.look_due.is_none() {
        let step = batch.main_work().0.map(|step| step.key.clone()).unwrap_or_default();
        bench.emit(Fact::LookDue { batch: id.clone(), step });
    }
}

fn cook(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id) else { return };
    let Some((cook, cooking)) = cooking(batch) else { return };
    let now = bench.now;
    let done = cooking.time.elapsed(now) >= cook.duration;
    let was_due = cooking.look_due.is_some();
    let due = cooking.look_now || cooking.since_look.elapsed(now) >= cook.look_every;
    let asked = batch.prompt.as_ref().map(|prompt| prompt.asks.clone());
    let step = batch.step().map(|step| step.key.clone()).unwrap_or_default();
    let wanted = match (done, due || was_due) {
        (true, _) => Some(Ask::Cooked),
        (false, true) => Some(Ask::Look),
        (false, false) => None,
    };
    if wanted.is_some() && !was_due {
        // the end of the cook is a look too: it climbs when nobody comes
        bench.emit(Fact::LookDue { batch: id.clone(), step });
    } else if asked == Some(Ask::EndCookAnyway) && !cook_end::lapsed(bench, id) {
        return;
    }
    if matches!(asked, Some(Ask::Remedy { .. } | Ask::Under { .. })) {
        // what is wrong with the caustic goes before a look
        return;
    }
    if asked.is_some() && asked != wanted {
        bench.withdraw_prompt(id);
    }
    if let Some(wanted) = wanted.filter(|wanted| asked.as_ref() != Some(wanted)) {
        bench.ask(id, wanted);
    }
}

/// The cook, also while a remedy for it is weighed.
pub fn cooking(batch: &Batch) -> Option<(&Cook, &Cooking)> {
    let (step, work) = batch.main_work();
    match (&step?.kind, work) {
        (StepKind::Cook(cook), Work::Cooking(cooking)) => Some((cook, cooking)),
        _ => None,
    }
}
