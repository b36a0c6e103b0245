//! A scale that slept, or was unplugged, may come back with another zero. That is recognised from
//! the books and never silently trusted: everything comes off the pan, what the empty pan reads is
//! the new zero, and the vessel goes back.

use super::fact::{BatchId, Fact};
use super::law::Bench;
use super::pan::Pan;
use super::settings::Marks;
use super::{vessels, zeroing};
use crate::chemistry::IngredientId;
use crate::plan::Vessel;
use crate::quantity::Mass;

/// True while the zero is in doubt, so that nothing else may be decided from the load.
pub fn run(bench: &mut Bench, pan: &Pan) -> bool {
    let Some(rest) = pan.rest else {
        return pan.weighing.zero_doubted || bench.scale_doubted(&pan.id);
    };
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    let zero = pan.zero;
    if pan.weighing.zero_doubted {
        let highest = bench.scale_sense_mut(&pan.id).and_then(|sense| sense.doubted_gross);
        let vessel = pan.weighing.tare.map_or(Mass::ZERO, |tare| tare - zero);
        let doubt = Doubt { expected: pan.weighing.expected, highest, vessel, zero };
        match doubt.settled_by(rest, pan.marks) {
            Some(offset) => bench.emit(Fact::ZeroChecked { batch, step, offset }),
            None => remember(bench, &pan.id, rest),
        }
        return true;
    }
    if !bench.scale_doubted(&pan.id) {
        return false;
    }
    let expected = bench.scale_sense_mut(&pan.id).and_then(|sense| sense.load_before);
    let agrees = expected.is_some_and(|books| agrees(rest, books, zero, pan.marks));
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        sense.doubted = false;
        sense.doubted_gross = Some(rest);
    }
    // an empty reading is no comfort: the scale may call what is on it zero
    let (Some(expected), false) = (expected, agrees) else { return false };
    bench.emit(Fact::ZeroDoubted { batch, step, gross: rest, expected });
    true
}

/// The same while something is taken out of a vessel on the pan: there nothing is decided from the
/// load until the doubt is settled, so it needs no fact of its own.
pub fn of_vessel(bench: &mut Bench, id: &BatchId, of: &IngredientId) {
    let Some((channel, scale)) = bench
        .state
        .scale_of(id)
        .filter(|_| bench.scale_doubted(id) && !zeroing::is_open_for(bench, id))
    else {
        return;
    };
    let (Some(sense), Some(batch)) = (bench.sense(channel), bench.batch(id)) else { return };
    let Some(rest) = sense.rest.at_rest(&bench.settings().rest_test(scale.d, true)) else { return };
    let zero = batch.zero;
    let vessel = batch.empty_vessel(of).unwrap_or_default() - zero;
    let doubt = Doubt { expected: sense.load_before, highest: sense.doubted_gross, vessel, zero };
    let Some(offset) = doubt.settled_by(rest, bench.settings().marks(scale.d)) else {
        remember(bench, id, rest);
        return;
    };
    if let Some(sense) = bench.scale_sense_mut(id) {
        sense.doubted = false;
        sense.doubted_gross = None;
        sense.zero_seen = true;
    }
    if offset != zero {
        let step = bench.step_key(id);
        bench.emit(Fact::ZeroChecked { batch: id.clone(), step, offset });
    }
}

/// The pan rests at what the books say. Nought under a load is no such thing, whatever it showed
/// before: it is what a scale shows that has just called the load nought.
fn agrees(rest: Mass, books: Mass, zero: Mass, marks: Marks) -> bool {
    let called_nought = rest.abs() <= marks.clear && rest - zero > marks.same;
    !called_nought && (rest - books).abs() <= marks.same
}

/// A zero in doubt, and what is known of it.
struct Doubt {
    /// What the books say the pan carries.
    expected: Option<Mass>,
    /// The highest rest since the doubt began.
    highest: Option<Mass>,
    /// What the empty vessel weighs.
    vessel: Mass,
    /// What the empty pan read before.
    zero: Mass,
}

impl Doubt {
    /// What the empty pan reads, once this rest tells.
    fn settled_by(&self, rest: Mass, marks: Marks) -> Option<Mass> {
        if self.expected.is_some_and(|books| agrees(rest, books, self.zero, marks)) {
            // it weighs what the books say: the zero never moved
            return Some(self.zero);
        }
        // what comes off is at least the empty vessel: a spoonful taken out is no empty pan
        let fall = marks.vessel.max(self.vessel - marks.same);
        if self.highest.is_none_or(|highest| rest > highest - fall) {
            return None;
        }
        // a digit of drift is not another zero
        Some(if (rest - self.zero).abs() <= marks.same { self.zero } else { rest })
    }
}

/// Before a vessel is counted, and after a capture: a pan that rests at what it carried before the
/// silence has its zero still. Otherwise the doubt would wait and fall upon the vessel, or leave the
/// guard of what is weighed already deaf.
pub fn settle(bench: &mut Bench, pan: &Pan) {
    let Some(rest) = pan.rest else { return };
    if let Some(sense) = bench.scale_sense_mut(&pan.id)
        && sense.load_before.is_some_and(|before| (rest - before).abs() <= pan.marks.same)
    {
        sense.doubted = false;
    }
}

/// After a silence, before a vessel is known: what rests on the pan may be another zero, and no
/// vessel at all. True while nothing may be tared. A pot that was weighed is known by its weight,
/// and doubted once it stands there.
pub fn before_vessel(bench: &mut Bench, pan: &Pan) -> bool {
    let pot_is_known = bench.batch(&pan.id).is_none_or(|batch| batch.pot_gross.is_some());
    if pan.into == Vessel::Pot && pot_is_known {
        return false;
    }
    let doubted = pan.weighing.zero_doubted;
    let Some(rest) = pan.rest else { return doubted };
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return doubted };
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    if !doubted {
        let heavy = sense.doubted && rest - pan.zero >= pan.marks.vessel;
        let Some(expected) = sense.load_before.filter(|_| heavy) else { return false };
        sense.doubted_gross = Some(rest);
        vessels::withdraw(bench, &pan.id);
        bench.emit(Fact::ZeroDoubted { batch, step, gross: rest, expected });
        return true;
    }
    let expected = pan.weighing.expected;
    let as_before = expected.is_some_and(|books| agrees(rest, books, pan.zero, pan.marks));
    // what came off was all there was: a pan that still shows a weight may have it on it
    let fell = sense.doubted_gross.is_some_and(|highest| rest <= highest - pan.marks.vessel);
    let bare = fell && (rest - pan.zero).abs() < pan.marks.vessel;
    if !as_before && !bare {
        remember(bench, &pan.id, rest);
        return true;
    }
    sense.doubted = false;
    sense.doubted_gross = None;
    bench.emit(Fact::ZeroChecked { batch, step, offset: pan.zero });
    true
}

/// No pan is lighter than empty: rest below zero, with no vessel counted on it, is the empty pan of
/// a scale that has taken another zero. True when that was recorded just now.
pub fn lighter_than_empty(bench: &mut Bench, pan: &Pan) -> bool {
    let Some(rest) = pan.rest.filter(|_| is_lighter_than_empty(pan)) else { return false };
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    bench.emit(Fact::ZeroChecked { batch, step, offset: rest });
    true
}

/// The scale shows nought where the books expect a load that nobody knows of: it was set to nought
/// with a load on it, and now that load is back, or the clear pan was set to nought again. No
/// weight tells which, and a pan taken for a vessel would count the vessel as its content.
pub fn shows_nought(bench: &Bench, pan: &Pan) -> bool {
    let Some((rest, batch)) = pan.rest.zip(bench.batch(&pan.id)) else { return false };
    let unknown = !batch.is_its_pot(rest, pan.marks);
    rest.abs() <= pan.marks.clear && rest - pan.zero >= pan.marks.vessel && unknown
}

/// The operator says that the pan is clear; false when it does not rest at nought.
pub fn say_clear(bench: &mut Bench, id: &BatchId) -> bool {
    let Some(pan) = Pan::look(bench, id).filter(|pan| shows_nought(bench, pan)) else {
        return false;
    };
    let Some(offset) = pan.rest else { return false };
    bench.emit(Fact::ZeroChecked { batch: pan.id, step: pan.step, offset });
    true
}

/// The pan rests below what an empty one reads.
pub fn is_lighter_than_empty(pan: &Pan) -> bool {
    pan.rest.is_some_and(|rest| rest < pan.zero - pan.marks.clear)
}

/// The highest rest since the doubt is what everything is taken off from: the doubt may have begun
/// on an empty pan, and after a restart it is not remembered.
fn remember(bench: &mut Bench, id: &BatchId, rest: Mass) {
    if let Some(sense) = bench.scale_sense_mut(id) {
        sense.doubted_gross = sense.doubted_gross.max(Some(rest));
    }
}
