//! `awaiting vessel → taring → pouring → settling → captured → next`, beside them `over`,
//! `lifted`, `blind`.
//!
//! The phase is never stored: it is read off the facts (tare, lifted, captured), the alarms and
//! the newest reading, so it cannot disagree with them.

use super::alarm::AlarmId;
use super::fact::{Ask, BatchId, CaptureHow, Fact, Remedy};
use super::law::Bench;
use super::pan::Pan;
use super::settings::MOISTURE_MOST;
use super::target::share_of;
use super::{
    before_lift, handling, leases, pace, pan_press, remedies, same_cup, vessels, zero, zeroing,
};
use crate::chemistry::IngredientId;
use crate::plan::{Nature, Vessel};
use crate::quantity::Mass;

pub fn run(bench: &mut Bench) {
    let weighing: Vec<BatchId> = bench
        .state
        .batches
        .values()
        .filter(|batch| batch.weigh().is_some())
        .map(|batch| batch.id.clone())
        .collect();
    for id in weighing {
        if let Some(pan) = Pan::look(bench, &id) {
            weigh(bench, &pan);
        }
    }
}

fn weigh(bench: &mut Bench, pan: &Pan) {
    let from_the_pan = pan.weighing.captured.is_none() || pan.weighing.tare.is_some();
    if from_the_pan && zeroing::is_open_for(bench, &pan.id) {
        return;
    }
    if !leases::pan_is_ours(bench, &pan.id) {
        // what another batch left on the pan tells nothing of this one
        zero::lighter_than_empty(bench, pan);
        return;
    }
    handling::run(bench, pan);
    match (pan.weighing.tare, pan.weighing.captured) {
        (tare, Some(_)) => {
            zero::settle(bench, pan);
            hold(bench, pan, tare);
        }
        (None, None) => await_vessel(bench, pan),
        (Some(tare), None) => pour(bench, pan, tare),
    }
}

/// Nothing may be counted before the empty vessel (or the pot with what is in it) has come to
/// rest.
fn await_vessel(bench: &mut Bench, pan: &Pan) {
    if zero::lighter_than_empty(bench, pan) {
        return;
    }
    if zero::shows_nought(bench, pan) {
        offer(bench, pan, Ask::PanClear);
        return;
    }
    if pan.rest.is_some() {
        withdraw(bench, pan, &[Taken::Clear]);
    }
    zero::settle(bench, pan);
    if zero::before_vessel(bench, pan) {
        return;
    }
    // a zero that has drifted is no vessel either, once it rests: every cup is tared by itself
    let drifted = pan.rest.is_some_and(|rest| (rest - pan.zero).abs() < pan.marks.vessel);
    if (drifted || pan.gross.is_some_and(|gross| (gross - pan.zero).abs() <= pan.marks.clear))
        && let Some(sense) = bench.scale_sense_mut(&pan.id)
    {
        if !sense.seen_clear || drifted {
            sense.put_on_mass = None;
            sense.put_on_level = None;
            sense.rose = false;
        }
        sense.seen_clear = true;
        vessels::withdraw(bench, &pan.id);
    }
    let Some(batch) = bench.batch(&pan.id) else { return };
    let (pot, vessel) = (batch.pot_gross, batch.pot_vessel.clone());
    same_pot(bench, pan, pot);
    let Some(gross) = standing(bench, pan) else { return };
    if pan.into == Vessel::Pot && pot.is_some() {
        vessels::tare(bench, pan, gross, vessel);
        same_cup::came_with_more(bench, pan, gross);
    } else {
        vessels::take(bench, pan, gross);
    }
}

/// What may be tared: a vessel at rest, as far as anybody can know empty, or the pot as it was.
pub fn standing(bench: &Bench, pan: &Pan) -> Option<Mass> {
    let (rest, batch) = (pan.rest?, bench.batch(&pan.id)?);
    let gross = match (pan.into, batch.pot_gross) {
        // the pot as it was; more than that is the next ingredient, begun early: it counts
        (Vessel::Pot, Some(_)) if batch.is_its_pot(rest, pan.marks) => rest,
        (Vessel::Pot, Some(_)) if bench.state.batches.len() > 1 => return None,
        (Vessel::Pot, Some(pot)) if rest > pot => pot,
        (Vessel::Pot, Some(_)) => return None,
        (Vessel::Pot, None) => rest,
        // a pan that was never clear may still carry the pot
        (Vessel::Own, _) if !bench.pan_seen_clear(&pan.id) => return None,
        (Vessel::Own, _) => rest,
    };
    if zero::shows_nought(bench, pan) {
        return None;
    }
    if is_caustic_cup(bench, pan, gross) || leases::is_a_pot(bench, &pan.id, pan.into, rest) {
        return None;
    }
    let load = gross - pan.zero;
    let early = pan.into == Vessel::Own && holds_something(bench, pan, load);
    (load >= pan.marks.vessel && !early).then_some(gross)
}

/// What is poured in before the vessel is known would be taken for the vessel.
fn holds_something(bench: &Bench, pan: &Pan, load: Mass) -> bool {
    let scale = bench.state.scale_of(&pan.id).and_then(|(channel, _)| bench.sense(channel));
    let Some(sense) = scale else { return false };
    // of caustic a little counts too, less than would be noticed as put on
    let since = sense.put_on_level.map(|level| (load + pan.zero - level).abs());
    let a_little = sense.rose || since.is_some_and(|since| since > pan.marks.clear);
    let much = sense.put_on_mass.is_some_and(|came| (load - came).abs() > pan.marks.vessel);
    much || (a_little && pan.weighing.target.guard.is_some())
}

/// The cup with weighed caustic, which draws moisture, is no vessel for anything else.
pub fn is_caustic_cup(bench: &Bench, pan: &Pan, gross: Mass) -> bool {
    let is_it = |full: Mass, net: Mass| {
        let drawn = share_of(net, MOISTURE_MOST).max(pan.marks.same);
        (full - pan.marks.same..=full + drawn).contains(&gross)
    };
    bench.state.batches.values().any(|batch| {
        let of_caustic = batch.captures.values().filter(|c| c.target.guard.is_some());
        batch.caustic_out
            && of_caustic
                .filter_map(|c| Some((c.gross? + (batch.zero - c.zero), c.net)))
                .any(|(full, net)| is_it(full, net))
    })
}

fn pour(bench: &mut Bench, pan: &Pan, tare: Mass) {
    if zero::run(bench, pan) {
        // what was offered was counted from a zero that is in doubt now
        withdraw(bench, pan, &[Taken::Short, Taken::Long]);
        return;
    }
    if asks_for_nought(bench, pan) || watch_lift(bench, pan, tare) {
        return;
    }
    if pan.weighing.lifted {
        zero::lighter_than_empty(bench, pan);
        doubt_what_rises(bench, pan, tare);
        withdraw(bench, pan, &[Taken::Short, Taken::Long, Taken::Unlike]);
        same_pot(bench, pan, Some(tare));
        return;
    }
    withdraw(bench, pan, &[Taken::Pot]);
    let over = bench.is_caustic_over(&pan.id);
    let doubt = pan.weighing.doubt();
    if over && let Some(doubt) = doubt.filter(|_| back_below_guard(pan, tare)) {
        offer(bench, pan, doubt);
        return;
    }
    offer_remedy(bench, pan, over);
    if over {
        return;
    }
    if let Some(doubt) = pan.weighing.doubt() {
        withdraw(bench, pan, &[Taken::Short, Taken::Long]);
        let nothing_asked = bench.batch(&pan.id).is_some_and(|batch| batch.prompt.is_none());
        if nothing_asked {
            bench.ask(&pan.id, doubt);
        }
        return;
    }
    let target = pan.weighing.target;
    let Some(rest) = pan.rest else {
        if pan_press::is_awaited(bench, pan) {
            // what was offered stands while a hand may be answering it
            return;
        }
        if let Some(gross) = pan.gross
            && pan.nature == Nature::Pour
        {
            pace::guide(bench, pan, gross - tare);
        }
        // on the move again: what was offered at rest no longer holds
        note_short(bench, pan, false);
        let flickers = pan.scale.d * i64::from(bench.settings().unsteady_d);
        if pan.extent.is_some_and(|(low, high)| high - low > flickers) {
            withdraw(bench, pan, &[Taken::Short, Taken::Long]);
        }
        return;
    };
    let net = rest - tare;
    pace::rest(bench, pan, net);
    let inside = |mass: Mass| (target.low..=target.high).contains(&(mass - tare));
    // nought is captured by nobody's pouring: a slip in a correction may have made it the target
    let nought = target.mass <= Mass::ZERO && is_lye_heavy(bench, &pan.id);
    if pan.extent.is_some_and(|(low, high)| inside(low) && inside(high)) && !nought {
        withdraw(bench, pan, &[Taken::Short, Taken::Long]);
        bench.capture(&pan.id, &pan.step, &pan.ingredient, net, Some(rest), CaptureHow::Weighed);
    } else if net > target.high {
        note_short(bench, pan, false);
        offer(bench, pan, Ask::TakeLong { excess: net - target.mass });
    } else if net < target.low && net > pan.marks.same && note_short(bench, pan, true) {
        offer(bench, pan, Ask::TakeShort { missing: target.mass - net });
    }
}

/// After a capture: a change reopens it; the next ingredient is announced once it has stood, is on
/// the disk (or the operator goes on without), and the cup is off the pan.
fn hold(bench: &mut Bench, pan: &Pan, tare: Option<Mass>) {
    let Some(capture) = bench.batch(&pan.id).and_then(|b| b.captures.get(&pan.step)) else {
        return;
    };
    let (capture_gross, capture_net, number) = (capture.gross, capture.net, capture.number);
    if pan.weighing.zero_doubted && zero::run(bench, pan) {
        return;
    }
    if asks_for_nought(bench, pan) {
        return;
    }
    if tare.is_some_and(|tare| watch_lift(bench, pan, tare)) {
        // what was in question was nothing poured on what was captured
        if pan.weighing.unlike.is_none() {
            before_lift::judge(bench, pan, capture_gross);
        }
        return;
    }
    if pan.weighing.changed_before_lift.is_some() {
        if let Some(asks) = before_lift::question(pan, capture_net) {
            offer(bench, pan, asks);
        }
        return;
    }
    withdraw(bench, pan, &[Taken::Added]);
    if let Some(doubt) = pan.weighing.doubt().filter(|_| !pan.weighing.lifted) {
        offer(bench, pan, doubt);
        return;
    }
    withdraw(bench, pan, &[Taken::Unlike]);
    let over = bench.is_caustic_over(&pan.id);
    if !pan.weighing.lifted
        && let (Some(rest), Some(captured)) = (pan.rest, capture_gross)
        && ((rest - captured).abs() > pan.scale.d * 2 || over)
    {
        let gross = rest;
        bench.emit(Fact::Reopened { batch: pan.id.clone(), step: pan.step.clone(), gross });
        remedies::retarget(bench, &pan.id);
        return;
    }
    let dwell = bench.settings().dwell;
    let stood = pan.weighing.captured.is_some_and(|at| bench.now.since(at) >= dwell);
    if pan.weighing.lifted && zero::is_lighter_than_empty(pan) {
        // the zero had moved before the capture: what was captured is not what is in the cup
        let gross = pan.rest.unwrap_or_default();
        bench.emit(Fact::Reopened { batch: pan.id.clone(), step: pan.step.clone(), gross });
        remedies::retarget(bench, &pan.id);
        return;
    }
    let off = pan.weighing.lifted && pan.rest.is_some();
    let clear = pan.into == Vessel::Pot || off || capture_gross.is_none();
    if over || !stood || !clear {
        return;
    }
    if bench.senses.committed >= number || pan.weighing.leave_unrecorded {
        withdraw(bench, pan, &[Taken::Unrecorded]);
        bench.emit(Fact::StepDone { batch: pan.id.clone(), step: pan.step.clone() });
    } else if bench.state.journal_lost.is_some() {
        offer(bench, pan, Ask::LeaveUnrecorded);
    }
}

/// The scale was set to nought while the vessel was away, or calls it nought.
fn asks_for_nought(bench: &mut Bench, pan: &Pan) -> bool {
    let asks = pan.weighing.lifted
        && zero::shows_nought(bench, pan)
        && pan.rest.is_some_and(|rest| same_cup::is_not_as_it_left(bench, pan, rest));
    if asks {
        offer(bench, pan, Ask::PanClear);
    } else if pan.rest.is_some() {
        withdraw(bench, pan, &[Taken::Clear]);
    }
    asks
}

/// The vessel has left, yet somebody pours: it stands there still, and its scale was set to nought
/// by the scale's own key.
fn doubt_what_rises(bench: &mut Bench, pan: &Pan, tare: Mass) {
    let Some(gross) = pan.gross else { return };
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return };
    if !sense.rise.is_pour(pan.scale.d) {
        return;
    }
    sense.doubted_gross = Some(gross);
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    bench.emit(Fact::ZeroDoubted { batch, step, gross, expected: tare });
}

/// A pot a little lighter than before is asked about: nothing else would ever be it again.
fn same_pot(bench: &mut Bench, pan: &Pan, expected: Option<Mass>) {
    let another = pan.rest.is_some_and(|rest| is_of_another(bench, pan, rest));
    match expected.filter(|_| !another).and_then(|expected| same_cup::lighter_pot(pan, expected)) {
        Some(lighter_by) => offer(bench, pan, Ask::LighterPot { lighter_by }),
        None if pan.rest.is_some() => withdraw(bench, pan, &[Taken::Pot]),
        None => {}
    }
}

/// Notices the vessel leaving the pan and coming back; true if either was recorded just now.
fn watch_lift(bench: &mut Bench, pan: &Pan, tare: Mass) -> bool {
    let Some(gross) = pan.gross else { return false };
    let (now, lift_delay) = (bench.now, bench.settings().lift_delay);
    let floor = tare - pan.marks.same;
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    if gross >= floor {
        if let Some(sense) = bench.scale_sense_mut(&pan.id) {
            sense.below_since = None;
            sense.above_since.get_or_insert(now);
            if !pan.weighing.lifted {
                sense.load_before_lift = pan.rest.or(sense.load_before_lift);
            }
        }
        let own = !pan.weighing.displaced && !is_of_another(bench, pan, gross);
        let back = pan.weighing.lifted && pan.rest.is_some() && own;
        if back && !came_back(bench, pan, gross) {
            // it filled up instead of coming back: somebody pressed the scale's own tare key
            let expected = tare;
            if let Some(sense) = bench.scale_sense_mut(&pan.id) {
                sense.doubted_gross = Some(gross);
            }
            bench.emit(Fact::ZeroDoubted { batch, step, gross, expected });
        } else if back {
            same_cup::returned(bench, pan, gross);
            handling::compare_with_lift(bench, pan, gross);
        }
        return back;
    }
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return false };
    sense.put_on_at = None;
    sense.put_on_level = None;
    sense.above_since = None;
    sense.stayed = false;
    let since = *sense.below_since.get_or_insert(now);
    let gone = (!pan.weighing.lifted || pan.weighing.displaced) && now.since(since) >= lift_delay;
    if gone {
        if !pan.weighing.displaced {
            same_cup::remember(bench, pan, since);
        }
        bench.emit(Fact::Lifted { batch, step });
    }
    gone
}

/// What came is known to be no vessel of this weighing.
fn is_of_another(bench: &Bench, pan: &Pan, gross: Mass) -> bool {
    let caustic = pan.weighing.target.guard.is_none() && is_caustic_cup(bench, pan, gross);
    caustic || leases::pot_of_another(bench, &pan.id, gross).is_some()
}

/// The latch could open, were it not for a doubt about the cup.
fn back_below_guard(pan: &Pan, tare: Mass) -> bool {
    let guard = pan.weighing.target.guard.map(|guard| guard.mass);
    pan.rest.zip(guard).is_some_and(|(rest, guard)| rest - tare <= guard)
}

/// A vessel comes back all at once, or as heavy as it left; a slow rise is a pour.
fn came_back(bench: &Bench, pan: &Pan, gross: Mass) -> bool {
    if pan.weighing.zero_known {
        return true;
    }
    let Some((channel, _)) = bench.state.scale_of(&pan.id) else { return false };
    let Some(sense) = bench.sense(channel) else { return false };
    let as_it_left =
        sense.load_before_lift.is_some_and(|before| (gross - before).abs() <= pan.marks.same);
    as_it_left || sense.put_on_at.is_some()
}

fn offer_remedy(bench: &mut Bench, pan: &Pan, over: bool) {
    let asked = bench.batch(&pan.id).and_then(|batch| batch.prompt.as_ref());
    let asks_remedy = asked.is_some_and(|prompt| matches!(prompt.asks, Ask::Remedy { .. }));
    if over && !asks_remedy {
        let excess = bench.caustic_excess(&pan.id).unwrap_or_default();
        let options = vec![Remedy::SpoonOut, Remedy::Discard];
        bench.withdraw_prompt(&pan.id);
        bench.ask(&pan.id, Ask::Remedy { options, excess });
    } else if !over && asks_remedy && !is_lye_heavy(bench, &pan.id) {
        bench.withdraw_prompt(&pan.id);
    }
}

fn is_lye_heavy(bench: &Bench, id: &BatchId) -> bool {
    bench.batch(id).is_some_and(|batch| remedies::excess(bench, batch).is_some())
}

/// Which passing offers a rule may take back.
#[derive(Clone, Copy, PartialEq)]
enum Taken {
    Short,
    Long,
    Unrecorded,
    Added,
    Unlike,
    Pot,
    Clear,
}

fn withdraw(bench: &mut Bench, pan: &Pan, which: &[Taken]) {
    let asked = bench.batch(&pan.id).and_then(|batch| batch.prompt.as_ref());
    let kind = asked.and_then(|prompt| match prompt.asks {
        Ask::TakeShort { .. } => Some(Taken::Short),
        Ask::TakeLong { .. } => Some(Taken::Long),
        Ask::LeaveUnrecorded => Some(Taken::Unrecorded),
        Ask::NothingAdded { .. } => Some(Taken::Added),
        Ask::SameCup { .. } | Ask::PouredIn { .. } => Some(Taken::Unlike),
        Ask::LighterPot { .. } => Some(Taken::Pot),
        Ask::PanClear => Some(Taken::Clear),
        _ => None,
    });
    if kind.is_some_and(|kind| which.contains(&kind)) {
        bench.withdraw_prompt(&pan.id);
    }
}

/// Asks, unless the same question is open already: a last digit that flickers is no new question.
pub fn offer(bench: &mut Bench, pan: &Pan, asks: Ask) {
    let kind = std::mem::discriminant(&asks);
    let asked = bench.batch(&pan.id).and_then(|batch| batch.prompt.as_ref());
    if asked.is_some_and(|prompt| std::mem::discriminant(&prompt.asks) == kind) {
        return;
    }
    if asked.is_some_and(|prompt| matches!(prompt.asks, Ask::Remedy { .. }))
        && is_lye_heavy(bench, &pan.id)
    {
        // more caustic on record than the fats take goes before what the pan shows
        return;
    }
    bench.withdraw_prompt(&pan.id);
    bench.ask(&pan.id, asks);
}

/// Keeps since when the load rests short; true once that has lasted long enough to ask.
fn note_short(bench: &mut Bench, pan: &Pan, short: bool) -> bool {
    let (now, after) = (bench.now, bench.settings().short_after);
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return false };
    sense.short_since = short.then(|| sense.short_since.unwrap_or(now));
    sense.short_since.is_some_and(|since| now.since(since) >= after)
}

impl Bench {
    pub(super) fn is_caustic_over(&self, id: &BatchId) -> bool {
        self.state.alarms.iter().any(|(alarm, state)| {
            state.active && matches!(alarm, AlarmId::CausticOver { batch, .. } if batch == id)
        })
    }

    /// Nothing may be dissolved, combined or left while there is too much caustic.
    pub(super) fn is_barred_by_caustic(&self, id: &BatchId) -> bool {
        let heavy = AlarmId::LyeHeavy { batch: id.clone() };
        self.is_caustic_over(id) || self.state.alarms.get(&heavy).is_some_and(|alarm| alarm.active)
    }

    /// How much more than its target is in the cup just now, if the pan tells.
    pub(super) fn caustic_excess(&self, id: &BatchId) -> Option<Mass> {
        let pan = Pan::look(self, id)?;
        let net = pan.gross? - pan.weighing.tare?;
        (!pan.weighing.lifted && !self.load_is_doubted(id))
            .then_some(net - pan.weighing.target.mass)
            .filter(|excess| !excess.is_negative())
    }

    pub(super) fn pan_seen_clear(&self, id: &BatchId) -> bool {
        let scale = self.state.scale_of(id).and_then(|(channel, _)| self.sense(channel));
        scale.is_some_and(|sense| sense.seen_clear)
    }

    pub(super) fn capture(
        &mut self,
        id: &BatchId,
        step: &str,
        ingredient: &IngredientId,
        net: Mass,
        gross: Option<Mass>,
        how: CaptureHow,
    ) {
        self.emit(Fact::Captured {
            batch: id.clone(),
            step: step.to_owned(),
            ingredient: ingredient.clone(),
            net,
            gross,
            how,
            doubt: None,
        });
    }

    /// Takes what rests on the pan, as the operator says.
    pub(super) fn capture_at_rest(&mut self, id: &BatchId, how: CaptureHow) -> bool {
        let Some(pan) = Pan::look(self, id) else { return false };
        let (Some(rest), Some(tare)) = (pan.rest, pan.weighing.tare) else { return false };
        let barred = pan.weighing.lifted
            || pan.weighing.doubt().is_some()
            || self.is_caustic_over(id)
            || self.load_is_doubted(id);
        let net = rest - tare;
        let guard = pan.weighing.target.guard;
        if barred || net <= Mass::ZERO || guard.is_some_and(|guard| net > guard.mass) {
            return false;
        }
        self.capture(id, &pan.step, &pan.ingredient, rest - tare, Some(rest), how);
        true
    }
}
