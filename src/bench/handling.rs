//! What is worth saying about the handling: loads put on at once, a pan that never rests, a vessel
//! off its centre, caustic drawing moisture, a unit key pressed.

use super::cue::Cue;
use super::fact::{Fact, Notice};
use super::law::Bench;
use super::pan::Pan;
use super::{names, pan_press, words};
use crate::plan::Nature;
use crate::quantity::{Mass, Share, Span};

/// The same is not said again before this.
const SAY_AGAIN: Span = Span::from_minutes(1);
/// Moisture is judged over a whole minute of rest.
const MOISTURE_OVER: Span = Span::from_minutes(1);

pub fn run(bench: &mut Bench, pan: &Pan) {
    let now = bench.now;
    let settings = bench.settings().clone();
    let may_be_a_hand = pan_press::is_awaited(bench, pan);
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return };
    let mut notices = Vec::new();
    if !may_be_a_hand
        && let Some(mass) = sense.put_on.take()
        && pan.nature == Nature::Pour
        && pan.weighing.tare.is_some()
        && !pan.weighing.lifted
        && !mass.is_negative()
    {
        notices.push(Notice::PutOn { mass });
    }
    if let Some((from, to)) = sense.unit_key.unit_changed.take() {
        notices.push(Notice::UnitChanged { from, to });
    }
    if let Some((from, to)) = sense.unit_key.decimals_changed.take() {
        notices.push(Notice::DecimalsChanged { from, to });
    }
    if let Some((before, shown)) = sense.unit_key.suspected.take() {
        notices.push(Notice::UnitSuspected { before, shown });
    }
    let noise = pan.scale.d * i64::from(settings.unsteady_d);
    let quiet = sense.unsteady_said.is_none_or(|said| now.since(said) >= SAY_AGAIN);
    if quiet && sense.unsteady.is_unsteady(settings.unsteady_after, noise) {
        sense.unsteady_said = Some(now);
        notices.push(Notice::Unsteady);
    }
    if pan.weighing.target.guard.is_some() && draws_moisture(bench, pan, settings.moisture_per_min)
    {
        notices.push(Notice::DrawingMoisture);
    }
    for notice in notices {
        notice_it(bench, pan, notice);
    }
}

/// The vessel came back at another weight than it left with, yet clearly the same vessel.
pub fn compare_with_lift(bench: &mut Bench, pan: &Pan, gross: Mass) {
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return };
    let Some(before) = sense.load_before_lift.take() else { return };
    let off = (gross - before).abs();
    if off > pan.scale.d * 2 && off <= pan.marks.vessel {
        notice_it(bench, pan, Notice::OffCentre);
    }
}

pub fn notice_it(bench: &mut Bench, pan: &Pan, notice: Notice) {
    let Some(batch) = bench.batch(&pan.id) else { return };
    let words = names::addressed(&bench.state, &pan.id, words::notice(batch, notice));
    bench.cue(Cue::Say { words });
    bench.emit(Fact::Noticed { batch: pan.id.clone(), step: pan.step.clone(), notice });
}

/// Said once a step.
fn draws_moisture(bench: &mut Bench, pan: &Pan, limit: Share) -> bool {
    let now = bench.now;
    let tare = pan.weighing.tare.unwrap_or_default();
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return false };
    let Some(rest) = pan.rest.filter(|_| !pan.weighing.lifted) else {
        // one digit more is what moisture looks like; more than that is a pour
        let calm = pan.extent.is_some_and(|(low, high)| high - low <= pan.scale.d * 2);
        if !calm || pan.weighing.lifted {
            sense.rest_from = None;
        }
        return false;
    };
    let (since, load) = *sense.rest_from.get_or_insert((now, rest));
    let rested = now.since(since);
    if rested < MOISTURE_OVER || sense.moisture_said {
        return false;
    }
    let gain = (rest - load).grams();
    let net = (load - tare).grams();
    let per_minute = gain / net / (rested.seconds() / 60.0);
    let drawing = net > 0.0 && gain >= pan.scale.d.grams() && per_minute > limit.fraction();
    if drawing {
        sense.moisture_said = true;
    } else {
        sense.rest_from = Some((now, rest));
    }
    drawing
}
