//! Weigh-back: an emptied cup or jug, back on the pan, tells how much of its content went where it
//! should.

use super::batch::Batch;
use super::fact::{Ask, BackVerdict, BatchId, Fact};
use super::law::Bench;
use super::target::share_of;
use super::{leases, words, zero, zeroing};
use crate::chemistry::IngredientId;
use crate::plan::StepKind;
use crate::quantity::Mass;

fn is_its_step(batch: &Batch) -> bool {
    let kind = batch.step().map(|step| &step.kind);
    matches!(kind, Some(StepKind::Dissolve | StepKind::Combine { .. }))
}

/// The vessel to be weighed back next in this step, if any: the caustic cups after dissolving, the
/// jug of the lye after combining.
pub fn wanted(batch: &Batch) -> Option<IngredientId> {
    let formula = &batch.control.formula;
    let candidates: Vec<&IngredientId> = match &batch.step()?.kind {
        StepKind::Dissolve if batch.said_dissolved => {
            formula.caustics.iter().map(|caustic| &caustic.id).collect()
        }
        StepKind::Combine { .. } if batch.said_combined => vec![&formula.liquid_id],
        _ => Vec::new(),
    };
    let open = candidates
        .into_iter()
        .find(|id| batch.empty_vessel(id).is_some() && !batch.vessels_back.contains_key(id));
    open.cloned()
}

/// Looks at the pan while a vessel is asked back, and before, for the zero it will be counted from.
pub fn run(bench: &mut Bench, id: &BatchId) {
    know_the_zero(bench, id);
    let Some(Ask::VesselBack { ingredient }) = asked(bench, id) else { return };
    let Some((residue, nothing)) = residue(bench, id, &ingredient) else { return };
    if residue <= nothing {
        bench.withdraw_prompt(id);
        close(bench, id, ingredient, Some(residue));
    }
}

/// What is to be done, when a vessel is asked back.
pub fn sentence(bench: &Bench, batch: &Batch, ingredient: &IngredientId) -> String {
    let name = words::ingredient_name(batch, ingredient);
    if bench.load_is_doubted(&batch.id) {
        return zeroing::IN_DOUBT.to_owned();
    }
    let (first, there) = match bench.state.scale_of(&batch.id) {
        Some((channel, _)) if !bench.sense(channel).is_some_and(|sense| sense.zero_seen) => {
            ("Take everything off the pan, then put", "back on it")
        }
        _ => ("Put", "back on the pan"),
    };
    format!("{first} the emptied vessel of {name} {there}.")
}

/// What the empty pan reads is known once a pan at rest has read what the books say of it. One that
/// reads less is bare on another zero, or carries something on one that lies lower still: that is
/// for a vessel put on and taken off again to tell.
fn know_the_zero(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id).filter(|batch| is_its_step(batch)) else { return };
    let Some((channel, scale)) =
        bench.state.scale_of(id).filter(|_| leases::pan_is_ours(bench, id))
    else {
        return;
    };
    let rest_test = bench.settings().rest_test(scale.d, true);
    let rest = bench.sense(channel).and_then(|sense| sense.rest.at_rest(&rest_test));
    let (clear, zero, wanted) = (bench.settings().marks(scale.d).clear, batch.zero, wanted(batch));
    if bench.scale_doubted(id) {
        if let Some(ingredient) = wanted {
            zero::of_vessel(bench, id, &ingredient);
        }
        return;
    }
    let Some((off, sense)) = rest.map(|rest| rest - zero).zip(bench.scale_sense_mut(id)) else {
        return;
    };
    if off.abs() <= clear {
        sense.zero_seen = true;
    } else if off < -clear {
        sense.doubt_unseen();
    }
}

/// The operator goes on: with what the pan shows, if it shows the vessel at all.
pub fn go_on(bench: &mut Bench, id: &BatchId, ingredient: IngredientId) {
    let residue = residue(bench, id, &ingredient).map(|(residue, _)| residue);
    close(bench, id, ingredient, residue);
}

/// What the pan shows to be left in the vessel, in words for the prompt.
pub fn shown(bench: &Bench, id: &BatchId, ingredient: &IngredientId) -> Option<Mass> {
    residue(bench, id, ingredient).map(|(residue, _)| residue)
}

fn close(bench: &mut Bench, id: &BatchId, ingredient: IngredientId, residue: Option<Mass>) {
    let nothing = bench.batch(id).map(|batch| negligible(bench, batch, &ingredient));
    let verdict = match (residue, nothing) {
        (Some(residue), Some(nothing)) if residue <= nothing => BackVerdict::Whole,
        (Some(_), _) => BackVerdict::Residue,
        (None, _) => BackVerdict::Unknown,
    };
    bench.emit(Fact::VesselBack { batch: id.clone(), ingredient, residue, verdict });
}

/// The load at rest less the vessel's remembered tare, if the load can be that vessel at all, and
/// the zero is known that it is counted from.
fn residue(bench: &Bench, id: &BatchId, ingredient: &IngredientId) -> Option<(Mass, Mass)> {
    let batch = bench.batch(id)?;
    let net = batch.first_capture(ingredient)?.net;
    let tare = batch.empty_vessel(ingredient)?;
    let (channel, scale) = bench
        .state
        .scale_of(id)
        .filter(|_| leases::pan_is_ours(bench, id) && !bench.load_is_doubted(id))?;
    let sense = bench.sense(channel).filter(|sense| sense.zero_seen)?;
    sense.mass(bench.now, bench.allowed_age(channel))?;
    let rest = sense.rest.at_rest(&bench.settings().rest_test(scale.d, true))?;
    let slack = bench.settings().marks(scale.d).same;
    let residue = rest - tare;
    let possible = -slack <= residue && residue <= net + slack;
    possible.then(|| (residue, negligible(bench, batch, ingredient)))
}

fn negligible(bench: &Bench, batch: &Batch, ingredient: &IngredientId) -> Mass {
    let net = batch.first_capture(ingredient).map_or(Mass::ZERO, |capture| capture.net);
    let d = bench.state.scale_of(&batch.id).map_or(Mass::ZERO, |(_, scale)| scale.d);
    share_of(net, bench.settings().residue_share).max(d)
}

fn asked(bench: &Bench, id: &BatchId) -> Option<Ask> {
    Some(bench.batch(id)?.prompt.as_ref()?.asks.clone())
}
