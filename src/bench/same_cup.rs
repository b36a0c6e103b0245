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
    let zero = bench.batch(&pan.id).map(|batch| batch.zero).unwrap_or_default();
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        let last = sense.before_lift.lowest_before_a_hand(left);
        let gross = sense.load_before_lift.max(last);
        // the zero may move while it is away
        sense.load_at_lift = gross.map(|gross| gross - zero);
    }
}

/// By how much the caustic's cup is lighter than when it left, if by more than a cup put down again
/// may be.
pub fn lighter_by(bench: &mut Bench, pan: &Pan, gross: Mass) -> Option<Mass> {
    pan.weighing.target.guard?;
    let zero = bench.batch(&pan.id).map(|batch| batch.zero).unwrap_or_default();
    let slack = pan.scale.d * i64::from(bench.settings().vessel_match_d);
    let sense = bench.scale_sense_mut(&pan.id)?;
    // after a silence what was weighed since tells more than what was weighed before
    let since = sense.doubted_gross.filter(|_| pan.weighing.zero_known).map(|gross| gross - zero);
    let lighter = since.or(sense.load_at_lift)? - (gross - zero);
    (lighter > slack).then_some(lighter)
}

/// It is back: a doubt about the zero that is settled says nothing of the next time it is lifted.
pub fn back(bench: &mut Bench, pan: &Pan) {
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        sense.doubted_gross = None;
    }
}
