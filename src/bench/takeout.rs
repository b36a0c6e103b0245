//! Taking something out of a vessel on the pan until it holds no more than is to be used: dry
//! caustic by the spoon, lye by pouring off.

use super::batch::Batch;
use super::fact::{BatchId, Fact, Target};
use super::law::Bench;
use super::settings::MOISTURE_MOST;
use super::target::share_of;
use super::view::{Pace, Phase, WeighingView};
use super::work::{TakingOut, Work};
use super::{leases, remedies, zero};
use crate::plan::{Keep, StepKind, TakeOut, Vessel};
use crate::quantity::{Mass, Share};

/// Water leaves a hot lye; more than this part of it does not.
const EVAPORATED_MOST: (i64, i64) = (1, 5);

/// A hand that takes out more than this part too much is not believed at once. Ours.
const TAKEN_TOO_MUCH: Share = Share::from_percent(10);

pub fn run(bench: &mut Bench, id: &BatchId) {
    let settled = bench
        .batch(id)
        .is_some_and(|batch| at_it(batch).is_some() && remedies::excess(bench, batch).is_none());
    if settled {
        // a correction has made it needless
        let step = bench.step_key(id);
        bench.emit(Fact::StepDone { batch: id.clone(), step });
        remedies::retarget(bench, id);
        return;
    }
    if let Some((take_out, _)) = bench.batch(id).and_then(at_it) {
        let vessel = take_out.vessel_of.clone();
        zero::of_vessel(bench, id, &vessel);
    }
    let Some((take_out, taking)) = bench.batch(id).and_then(at_it) else { return };
    let (take_out, from) = (take_out.clone(), taking.from);
    let Some(content) = at_rest(bench, id, &take_out) else { return };
    let step = bench.step_key(id);
    let batch = id.clone();
    match from {
        None => {
            let Some(keep) = kept(bench, id, &take_out, content) else { return };
            bench.emit(Fact::ContentWeighed { batch, step, content, keep });
        }
        Some((from, keep)) if content <= keep && content >= least_kept(bench, id, keep) => {
            bench.emit(Fact::TakenOut { batch, step: step.clone(), from, to: content });
            bench.emit(Fact::StepDone { batch: id.clone(), step });
            remedies::retarget(bench, id);
        }
        Some(_) => {}
    }
}

/// Nobody watched, and the scale may have been switched off with the vessel on it. There is no
/// question that a yes could answer as well as a bare pan does.
pub fn doubt_the_zero(bench: &mut Bench) {
    let batches = bench.state.batches.values().filter(|batch| batch.takes_out());
    let scales = batches.filter_map(|batch| bench.state.scale_of(&batch.id));
    let channels: Vec<_> = scales.map(|(setup, _)| setup.channel.clone()).collect();
    for channel in channels {
        bench.senses.channels.entry(channel).or_default().doubted = true;
    }
}

pub fn at_it(batch: &Batch) -> Option<(&TakeOut, &TakingOut)> {
    match (&batch.step()?.kind, &batch.work) {
        (StepKind::TakeOut(take_out), Work::TakingOut(taking)) => Some((take_out, taking)),
        _ => None,
    }
}

/// What the vessel holds just now, if the pan tells: for the screens, at rest or not.
pub fn content(bench: &Bench, batch: &Batch) -> Option<Mass> {
    let (take_out, _) = at_it(batch)?;
    let (channel, _) = bench.state.scale_of(&batch.id)?;
    let gross = bench.sense(channel)?.mass(bench.now, bench.allowed_age(channel))?;
    let tare = batch.empty_vessel(&take_out.vessel_of)?;
    (!bench.scale_doubted(&batch.id)).then(|| gross - tare).filter(|net| !net.is_negative())
}

/// As a weighing turned round: what is left to do is below zero.
pub fn view(bench: &Bench, batch: &Batch) -> Option<WeighingView> {
    let (take_out, taking) = at_it(batch)?;
    let now = content(bench, batch);
    let (_, keep) = taking.from.unwrap_or_default();
    let net = now.filter(|_| taking.from.is_some());
    Some(WeighingView {
        ingredient: take_out.vessel_of.clone(),
        name: take_out.name.clone(),
        into: Vessel::Own,
        phase: Phase::TakingOut,
        target: Target { mass: keep, low: Mass::ZERO, high: keep, guard: None },
        net,
        left: net.map(|net| keep - net),
        pace: Pace::Free,
        vessel: None,
        room: None,
    })
}

fn at_rest(bench: &Bench, id: &BatchId, take_out: &TakeOut) -> Option<Mass> {
    let batch = bench.batch(id)?;
    content(bench, batch).filter(|_| leases::pan_is_ours(bench, id))?;
    let (channel, scale) = bench.state.scale_of(id)?;
    let rest = bench.sense(channel)?.rest.at_rest(&bench.settings().rest_test(scale.d, true))?;
    // an empty vessel is no vessel emptied to measure
    let content = rest - batch.empty_vessel(&take_out.vessel_of)?;
    (content > bench.settings().marks(scale.d).same).then_some(content)
}

/// Less than this in it is another vessel, or one that a hand holds up.
fn least_kept(bench: &Bench, id: &BatchId, keep: Mass) -> Mass {
    let d = bench.state.scale_of(id).map_or(Mass::ZERO, |(_, scale)| scale.d);
    let slack = bench.settings().marks(d).same;
    keep - share_of(keep, TAKEN_TOO_MUCH).max(slack)
}

/// What is to be kept of this content; `None` if it cannot be the vessel with what it should hold.
fn kept(bench: &Bench, id: &BatchId, take_out: &TakeOut, content: Mass) -> Option<Mass> {
    let batch = bench.batch(id)?;
    let (_, scale) = bench.state.scale_of(id)?;
    let slack = bench.settings().marks(scale.d).same;
    let masses = batch.masses();
    let should = match take_out.keep {
        Keep::Mass(_) => masses.get(&take_out.vessel_of).copied()?,
        Keep::PartOfLye => remedies::solution(&batch.control.formula, &masses),
    };
    let (part, whole) = EVAPORATED_MOST;
    let (least, most) = match take_out.keep {
        // somebody may have begun to spoon before the cup came to the pan, or have done it all there
        Keep::Mass(keep) => (
            least_kept(bench, id, keep.min(should)),
            should + share_of(should, MOISTURE_MOST).max(slack),
        ),
        Keep::PartOfLye => {
            (should - Mass::from_steps(should.steps() / whole * part) - slack, should + slack)
        }
    };
    if content < least || content > most {
        return None;
    }
    match take_out.keep {
        Keep::Mass(keep) => Some(keep),
        Keep::PartOfLye => Some(remedies::part_of_lye(batch, content)?.floor_to(scale.d)),
    }
}
