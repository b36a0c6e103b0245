//! The lye heats itself by an amount that can be foretold: what its peak says of the caustic.

use super::batch::Batch;
use super::fact::{Ask, BatchId, Fact};
use super::law::Bench;
use super::setup::ProbeAt;
use super::view::LyeView;
use crate::chemistry::{DissolveVerdict, ExpectedLye};
use crate::plan::StepKind;
use crate::quantity::Temperature;

/// Says at once when the lye is hotter than its caustic can make it.
pub fn run(bench: &mut Bench, id: &BatchId) {
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

/// Nothing is expected of a lye whose start was not declared.
fn expected(batch: &Batch) -> Option<ExpectedLye> {
    let asks_dissolved = batch.prompt.as_ref().is_some_and(|prompt| prompt.asks == Ask::Dissolved);
    if !matches!(batch.step()?.kind, StepKind::Dissolve) || !asks_dissolved {
        return None;
    }
    let start = batch.control.lye_start.as_ref();
    batch.control.formula.expected_lye(&batch.masses(), start).ok()
}

fn peak(bench: &Bench, id: &BatchId) -> Option<(Temperature, bool)> {
    let sense = bench.sense(bench.state.probe_of(id, ProbeAt::Lye)?)?;
    Some((sense.peak?, sense.peak_is_whole))
}
