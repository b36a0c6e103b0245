//! The vessel came back to the pan at another weight than it left. Lighter, and it holds caustic:
//! some was taken out of it elsewhere, or it is another cup, and what is in the first is forgotten.
//! Heavier: so much was poured in elsewhere, or something else stands there, and would be counted as
//! what was to be weighed. No weight tells which, so it is asked; until then nothing is captured and
//! no latch opens.

use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::Bench;
use super::pan::Pan;
use super::senses::Sense;
use super::settings::Marks;
use super::vessels;
use super::work::{Unlike, Weighing};
use crate::plan::Vessel;
use crate::quantity::{Mass, Moment, Span};

/// A pot lighter by more than this part of what it weighed is another one. Ours.
const SPILT_MOST_PART: i64 = 10;

/// What is put down in place of a captured cup may take so long to come to rest. Ours.
const STILL_COMING: Span = Span::from_secs(4);

/// The vessel is leaving the pan: what stood there, as surely as can be told.
pub fn remember(bench: &mut Bench, pan: &Pan, left: Moment) {
    // a wrong one that is taken away again is not what is waited for
    if pan.weighing.unlike.is_some() {
        return;
    }
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        let last = sense.before_lift.lowest_before_a_hand(left);
        let Some(least) = sense.load_before_lift.max(last) else {
            sense.load_at_lift = None;
            return;
        };
        let rested = sense.load_before_lift.zip(last);
        let rested = rested.is_some_and(|(rest, last)| (last - rest).abs() <= pan.marks.same);
        // lifted in mid-pour, it held what ran in until then, or a hand leant on it
        let most = sense.before_lift.highest_before(left).filter(|_| !rested);
        // the zero may move while it is away
        sense.load_at_lift = Some((least - pan.zero, most.unwrap_or(least).max(least) - pan.zero));
    }
}

/// What the vessel weighed when it left, without the zero of the pan: at the least, and at the most.
fn left_with(bench: &Bench, pan: &Pan) -> Option<(Mass, Mass)> {
    let (channel, _) = bench.state.scale_of(&pan.id)?;
    let sense = bench.sense(channel)?;
    // in a silence more may have been poured; what was doubted may itself be another cup
    let since = sense.doubted_gross.filter(|_| pan.weighing.zero_known);
    let since = since.map(|gross| (gross - pan.zero, gross - pan.zero));
    match (since, sense.load_at_lift) {
        (Some(since), Some(lift)) => Some((since.0.max(lift.0), since.1.max(lift.1))),
        (since, lift) => since.or(lift),
    }
}

/// This load is not the vessel as it left. After a restart nobody knows how it left, and it is asked
/// about as one that nobody watched.
pub fn is_not_as_it_left(bench: &Bench, pan: &Pan, gross: Mass) -> bool {
    let load = gross - pan.zero;
    let same = pan.marks.same;
    left_with(bench, pan).is_some_and(|(least, most)| !(least - same..=most + same).contains(&load))
}

/// How the vessel that came back differs from the one that left: caustic's lighter by more than a
/// cup put down again may be, any heavier by more than one put down off its centre.
fn unlike(bench: &Bench, pan: &Pan, gross: Mass) -> Option<Unlike> {
    let load = gross - pan.zero;
    let (least, most) = left_with(bench, pan)?;
    let caustic = pan.weighing.target.guard.is_some();
    // one that went off in doubt may come back as its twin, with as much in it
    let heavier =
        if caustic && pan.weighing.zero_known { pan.marks.same } else { pan.marks.vessel };
    if caustic && least - load > pan.marks.same {
        Some(Unlike::Lighter { by: least - load })
    } else if load - most > heavier {
        Some(Unlike::Heavier { by: load - most })
    } else {
        None
    }
}

/// What came at once onto the pan of a caustic step is more than left it, and nobody has said yet
/// that it is the same cup: that is no over-pour. What is poured on it counts.
pub fn is_in_question(
    sense: &Sense,
    now: Moment,
    batch: &Batch,
    weighing: &Weighing,
    marks: Marks,
) -> bool {
    let still_coming = sense.above_since.is_none_or(|since| now.since(since) <= STILL_COMING);
    if weighing.lifted && weighing.captured.is_some() && still_coming {
        return true;
    }
    let Some((level, (_, left))) = sense.put_on_level.zip(sense.load_at_lift) else { return false };
    let open = weighing.lifted || matches!(weighing.unlike, Some(Unlike::Heavier { .. }));
    let poured = sense.last.as_ref().and_then(|last| last.mass()).map(|gross| gross - level);
    open && level - batch.zero - left > marks.vessel
        && poured.is_some_and(|poured| poured <= marks.vessel)
}

/// By how much the pot that stands there is lighter than it may be, if it can be the pot at all:
/// a drip wiped off, a spatula gone, some spilt.
pub fn lighter_pot(pan: &Pan, expected: Mass) -> Option<Mass> {
    let lighter = expected - pan.rest?;
    let most = Mass::from_steps((expected - pan.zero).steps() / SPILT_MOST_PART);
    let caustic = pan.weighing.target.guard.is_some();
    (pan.into == Vessel::Pot && !caustic && lighter > pan.marks.same && lighter <= most)
        .then_some(lighter)
}

/// The pot came at once, with more in it than it had. What is poured into a pot that stands there
/// is the next ingredient, begun early.
pub fn came_with_more(bench: &mut Bench, pan: &Pan, tare: Mass) {
    let (Some(rest), Some(sense)) = (pan.rest, bench.scale_sense_mut(&pan.id)) else { return };
    let more = |load: Mass| load - (tare - pan.zero) > pan.marks.vessel;
    if more(rest - pan.zero) && sense.put_on_mass.is_some_and(more) {
        sense.load_at_lift = Some((tare - pan.zero, tare - pan.zero));
        let heavier_by = Some(rest - tare);
        let (batch, step) = (pan.id.clone(), pan.step.clone());
        bench.emit(Fact::Returned { batch, step, gross: rest, lighter_by: None, heavier_by });
    }
}

/// The operator says that this is the pot; false when nothing stands there that could be.
pub fn say_same_pot(bench: &mut Bench, id: &BatchId) -> bool {
    let Some((pan, batch)) = Pan::look(bench, id).zip(bench.batch(id)) else { return false };
    let expected = pan.weighing.tare.or(batch.pot_gross);
    let vessel = batch.pot_vessel.clone();
    let is_it = expected.and_then(|expected| lighter_pot(&pan, expected)).is_some();
    match pan.rest.filter(|_| is_it) {
        Some(rest) => vessels::tare(bench, &pan, rest, vessel),
        None => return false,
    }
    true
}

/// The vessel is back.
pub fn returned(bench: &mut Bench, pan: &Pan, gross: Mass) {
    let unlike = match left_with(bench, pan) {
        Some(_) => unlike(bench, pan, gross),
        None => pan.weighing.unlike,
    };
    let (lighter_by, heavier_by) = match unlike {
        Some(Unlike::Lighter { by }) => (Some(by), None),
        Some(Unlike::Heavier { by }) => (None, Some(by)),
        None => (None, None),
    };
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    bench.emit(Fact::Returned { batch, step, gross, lighter_by, heavier_by });
    back(bench, pan, gross, unlike);
}

/// It is back: what is known of this time says nothing of the next.
fn back(bench: &mut Bench, pan: &Pan, gross: Mass, unlike: Option<Unlike>) {
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        sense.doubted_gross = None;
        if unlike.is_none() {
            sense.load_at_lift = None;
            sense.put_on_level = None;
        } else {
            sense.put_on_level.get_or_insert(gross);
        }
    }
}
