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
        sense.load_at_lift = sense.load_before_lift.max(last);
    }
}

/// By how much the caustic's cup is lighter than when it left, if by more than a cup put down again
/// may be.
pub fn lighter_by(bench: &mut Bench, pan: &Pan, gross: Mass) -> Option<Mass> {
    pan.weighing.target.guard?;
    let slack = pan.scale.d * i64::from(bench.settings().vessel_match_d);
    let sense = bench.scale_sense_mut(&pan.id)?;
    // after a doubt about the zero only what was weighed since counts from the same zero
    let before = if pan.weighing.zero_known { sense.doubted_gross } else { sense.load_at_lift };
    let lighter = before? - gross;
    (lighter > slack).then_some(lighter)
}
