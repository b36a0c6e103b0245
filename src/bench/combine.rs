//! The gate before lye and oils come together: both in their windows, and near enough to each other.

use super::batch::Batch;
use super::cook_end::STANDS;
use super::fact::{Ask, BatchId};
use super::law::Bench;
use super::setup::ProbeAt;
use super::spot;
use super::view::CombineView;
use super::words;
use crate::plan::{StepKind, Window};
use crate::quantity::Temperature;

/// Why they may not come together yet; empty when they may. What is not known is a reason too.
pub fn not_yet(bench: &Bench, id: &BatchId) -> Vec<String> {
    let Some(batch) = bench.batch(id) else { return Vec::new() };
    let Some(StepKind::Combine { oils, lye, difference_max }) = batch.step().map(|step| &step.kind)
    else {
        return Vec::new();
    };
    let units = &batch.control.units;
    let at = |place| spot::known(bench, id, place).map(|known| known.temperature);
    let (oils_now, lye_now) = (at(ProbeAt::Oils), at(ProbeAt::Lye));
    let mut reasons = Vec::new();
    reasons.extend(
        outside(*oils, oils_now).map(|()| words::outside(units, ProbeAt::Oils, oils_now, *oils)),
    );
    reasons.extend(
        outside(*lye, lye_now).map(|()| words::outside(units, ProbeAt::Lye, lye_now, *lye)),
    );
    if difference_max.is_some() && reasons.is_empty() && (oils_now.is_none() || lye_now.is_none()) {
        reasons.push(words::difference_unknown());
    }
    if let (Some(most), Some(oils), Some(lye)) = (difference_max, oils_now, lye_now)
        && (lye - oils).abs() > *most
    {
        reasons.push(words::too_far_apart(units, (lye - oils).abs(), *most));
    }
    reasons
}

/// What is asked in such a step now: the plain question, until somebody has insisted. A yes given
/// long ago, or for reasons that are gone, is none.
pub fn asks(bench: &Bench, batch: &Batch) -> Ask {
    let insisted = batch.prompt.as_ref().filter(|prompt| prompt.asks == Ask::CombineAnyway);
    let stands = insisted.is_some_and(|prompt| bench.now.since(prompt.asked_at) < STANDS);
    if stands && !not_yet(bench, &batch.id).is_empty() { Ask::CombineAnyway } else { Ask::Combined }
}

pub fn view(bench: &Bench, batch: &Batch) -> Option<CombineView> {
    let StepKind::Combine { oils, lye, difference_max } = batch.step()?.kind else { return None };
    if batch.said_combined {
        return None;
    }
    Some(CombineView { oils, lye, difference_max, not_yet: not_yet(bench, &batch.id) })
}

fn outside(window: Option<Window>, now: Option<Temperature>) -> Option<()> {
    let window = window?;
    let inside = now.is_some_and(|now| (window.low..=window.high).contains(&now));
    (!inside).then_some(())
}
