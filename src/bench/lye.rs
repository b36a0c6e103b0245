//! The lye heats itself by an amount that can be foretold: what its peak says of the caustic.

use super::batch::Batch;
use super::fact::{Ask, BatchId, Fact};
use super::law::Bench;
use super::senses::LyeSense;
use super::setup::ProbeAt;
use super::spot;
use super::view::{LyeView, Source};
use crate::chemistry::{DissolveVerdict, ExpectedLye};
use crate::plan::StepKind;
use crate::quantity::Temperature;

/// Says at once when the lye is hotter than its caustic can make it.
pub fn run(bench: &mut Bench, id: &BatchId) {
    note_spot(bench, id);
    if let Some((peak, verdict @ DissolveVerdict::TooHot)) = judgement(bench, id) {
        record(bench, id, peak, verdict);
    }
}

/// The operator says that all is dissolved: the peak is behind, and may be judged.
pub fn dissolved(bench: &mut Bench, id: &BatchId) {
    if let Some((peak, verdict)) = judgement(bench, id) {
        record(bench, id, peak, verdict);
    }
}

/// What is expected and what has been seen, while the caustic dissolves.
pub fn view(bench: &Bench, batch: &Batch) -> Option<LyeView> {
    let expected = expected(batch)?;
    Some(LyeView {
        expected,
        peak: peak(bench, &batch.id).map(|(peak, _)| peak),
        verdict: batch.lye_judged,
    })
}

fn record(bench: &mut Bench, id: &BatchId, peak: Temperature, verdict: DissolveVerdict) {
    if bench.batch(id).is_some_and(|batch| batch.lye_judged == Some(verdict)) {
        return;
    }
    let step = bench.step_key(id);
    bench.emit(Fact::LyeJudged { batch: id.clone(), step, peak, verdict });
}

fn judgement(bench: &Bench, id: &BatchId) -> Option<(Temperature, DissolveVerdict)> {
    let batch = bench.batch(id)?;
    let (peak, whole) = peak(bench, id)?;
    let verdict = expected(batch)?.judge(peak, bench.settings().thermometer_limits)?;
    // a peak that may have passed unseen proves nothing by being low
    (whole || verdict == DissolveVerdict::TooHot).then_some((peak, verdict))
}

/// A hand-held probe that has settled in the lye, or a value by hand, may be the hottest yet.
fn note_spot(bench: &mut Bench, id: &BatchId) {
    let known = spot::known(bench, id, ProbeAt::Lye).filter(|known| known.source != Source::Probe);
    let Some(known) = known else { return };
    let unseen_before = LyeSense { since: bench.state.session_at, peak: None };
    let lye = bench.senses.lyes.entry(id.clone()).or_insert(unseen_before);
    if known.at >= lye.since {
        lye.peak = lye.peak.max(Some(known.temperature));
    }
}

/// Nothing is expected of a lye whose start was not declared.
fn expected(batch: &Batch) -> Option<ExpectedLye> {
    let asks_dissolved = batch.prompt.as_ref().is_some_and(|prompt| prompt.asks == Ask::Dissolved);
    if !matches!(batch.step()?.kind, StepKind::Dissolve) || !asks_dissolved {
        return None;
    }
    let start = batch.control.lye_start.as_ref();
    batch.control.formula.expected_lye(&batch.masses(), start).ok()
}

/// The highest that was seen, and whether nothing higher can have passed unseen: only a probe that
/// always stands there can say that.
fn peak(bench: &Bench, id: &BatchId) -> Option<(Temperature, bool)> {
    let fixed = bench.state.probe_of(id, ProbeAt::Lye).and_then(|setup| bench.sense(setup));
    let whole = fixed.is_some_and(|sense| sense.peak.is_some() && sense.peak_is_whole);
    let spot = bench.senses.lyes.get(id).and_then(|lye| lye.peak);
    Some((fixed.and_then(|sense| sense.peak).max(spot)?, whole))
}
