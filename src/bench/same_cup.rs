//! The caustic's cup came back to the pan lighter than it left: some was taken out of it elsewhere,
//! or it is another cup, and what is in the first is forgotten. No weight tells which, so it is
//! asked; until then nothing is captured and no latch opens.

use super::law::Bench;
use super::weighing::Pan;
use crate::quantity::{Mass, Moment};

/// The vessel is leaving the pan: what stood there, as surely as can be told.
pub fn remember(bench: &mut Bench, pan: &Pan, left: Moment) {
    // a wrong cup that is taken away again is not what is waited for
    if pan.weighing.lighter_by.is_some() {
        return;
    }
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        let last = sense.before_lift.lowest_before_a_hand(left);
        let gross = sense.load_before_lift.max(last);
        // the zero may move while it is away
        sense.load_at_lift = gross.map(|gross| gross - pan.zero);
    }
}

/// By how much the caustic's cup is lighter than when it left, if by more than a cup put down again
/// may be.
pub fn lighter_by(bench: &mut Bench, pan: &Pan, gross: Mass) -> Option<Mass> {
    pan.weighing.target.guard?;
    let sense = bench.scale_sense_mut(&pan.id)?;
    // in a silence more may have been poured; what was doubted may itself be another cup
    let since =
        sense.doubted_gross.filter(|_| pan.weighing.zero_known).map(|gross| gross - pan.zero);
    let lighter = since.max(sense.load_at_lift)? - (gross - pan.zero);
    (lighter > pan.marks.same).then_some(lighter)
}

/// It is back: what is known of this time says nothing of the next.
pub fn back(bench: &mut Bench, pan: &Pan, lighter_by: Option<Mass>) {
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        sense.doubted_gross = None;
        if lighter_by.is_none() {
            sense.load_at_lift = None;
        }
    }
}
