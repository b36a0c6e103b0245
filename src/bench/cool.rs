//! Late additions wait for the pot to cool: a window for each, with a yes to override.

use super::batch::Batch;
use super::cook_end::STANDS;
use super::fact::{Ask, BatchId};
use super::law::Bench;
use super::refusals;
use super::setup::ProbeAt;
use super::spot;
use super::view::CoolView;
use super::words;
use crate::plan::StepKind;
use crate::quantity::Temperature;

/// Why it may not go in yet; empty when it may. What is not known is a reason too.
pub fn not_yet(bench: &Bench, id: &BatchId) -> Vec<String> {
    let Some(batch) = bench.batch(id) else { return Vec::new() };
    let Some(below) = limit(batch) else { return Vec::new() };
    let units = &batch.control.units;
    match hottest(bench, id) {
        Some(now) if now <= below => Vec::new(),
        now => vec![words::too_hot_to_add(units, now, below)],
    }
}

pub fn view(bench: &Bench, batch: &Batch) -> Option<CoolView> {
    let below = limit(batch)?;
    Some(CoolView { below, now: hottest(bench, &batch.id), not_yet: not_yet(bench, &batch.id) })
}

/// What is asked in such a step now: the plain question, until somebody has insisted.
pub fn asks(bench: &Bench, batch: &Batch) -> Ask {
    let insisted = batch.prompt.as_ref().filter(|prompt| prompt.asks == Ask::AddAnyway);
    let stands = insisted.is_some_and(|prompt| bench.now.since(prompt.asked_at) < STANDS);
    if stands && !not_yet(bench, &batch.id).is_empty() { Ask::AddAnyway } else { Ask::Done }
}

/// Asks for a yes that names its reasons; says why.
pub fn ask_anyway(bench: &mut Bench, id: &BatchId) -> String {
    let asked = bench.batch(id).and_then(|batch| batch.prompt.as_ref());
    if asked.is_none_or(|prompt| prompt.asks != Ask::AddAnyway) {
        bench.withdraw_prompt(id);
        bench.ask(id, Ask::AddAnyway);
    }
    refusals::not_yet(&not_yet(bench, id))
}

/// Where a probe and a person disagree, the hotter of the two holds.
fn hottest(bench: &Bench, id: &BatchId) -> Option<Temperature> {
    let known = spot::known(bench, id, ProbeAt::Pot);
    let spot = spot::spot(bench, id, ProbeAt::Pot);
    let by_hand = spot.filter(|spot| spot.channel.is_none());
    known.map(|known| known.temperature).max(by_hand.map(|spot| spot.temperature))
}

fn limit(batch: &Batch) -> Option<Temperature> {
    match batch.step()?.kind {
        StepKind::WhenCool { below } => Some(below),
        _ => None,
    }
}
