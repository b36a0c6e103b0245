//! Several batches on one bench: who has the scale, who has which probe, and when either may move.
//!
//! One scale serves all pots. It stays with a batch for as long as that has something to weigh,
//! then goes to the next that waits; an act moves it sooner. It never moves while a cup with
//! caustic is, or may be, on the pan, nor while an over-pour is latched. A probe moves only by an
//! act: nobody but the operator knows which pot it stands in.

use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::{Bench, Reply};
use super::setup::{ProbeAt, Role, Setup};
use super::work::Work;
use super::{names, refusals, vessel_back, zeroing};
use crate::plan::{StepKind, Vessel};
use crate::quantity::Mass;
use crate::reading::Channel;

/// More pots than this on one bench is a slip, not a plan: ours.
pub const POTS_MAX: usize = 8;

/// Why a batch does not go on by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wait {
    /// Another batch has caustic that is weighed, or being weighed, and not dissolved.
    Caustic(BatchId),
    /// The scale is with another batch.
    Scale(BatchId),
    /// A cup with caustic of this batch may be on the pan.
    Clear(BatchId),
}

/// What stands against moving the scale.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Bar {
    /// More caustic than the guard allows is in the cup of this batch.
    Latched(BatchId),
    /// A cup with caustic of this batch is or may be on the pan.
    Caustic(BatchId),
    /// Nobody knows what the empty pan reads.
    Zero,
    /// Something was weighed a moment ago and is not done with.
    Captured(BatchId),
}

/// A new batch takes the scale if nobody has it, and the first free probe for each place.
pub fn take_free(bench: &mut Bench, id: &BatchId) {
    for channel in free_channels(bench, id, |_| true) {
        bench.emit(Fact::LeaseTaken { batch: id.clone(), channel });
    }
}

/// A session may name probes that no session before did: they are of the only batch there is.
pub fn take_new_probes(bench: &mut Bench) {
    let mut open = bench.state.batches.keys();
    let (Some(only), None) = (open.next().cloned(), open.next()) else { return };
    let is_probe = |role: Role| matches!(role, Role::Probe { .. });
    for channel in free_channels(bench, &only, is_probe) {
        bench.emit(Fact::LeaseTaken { batch: only.clone(), channel });
    }
}

fn free_channels(bench: &Bench, id: &BatchId, wanted: impl Fn(Role) -> bool) -> Vec<Channel> {
    let Some(setup) = bench.state.setup_ref() else { return Vec::new() };
    let place = |role: Role| match role {
        Role::Scale { .. } => None,
        Role::Probe { at, .. } => Some(at),
    };
    let held = setup.channels.iter().filter(|channel| {
        bench.state.leases.get(&channel.channel).is_some_and(|holder| holder == id)
    });
    let mut places: Vec<_> = held.map(|channel| place(channel.role)).collect();
    let mut free = Vec::new();
    // a hand-held probe belongs to nobody; it is said where it is
    let in_hand = |role: Role| matches!(role, Role::Probe { at: ProbeAt::Hand, .. });
    for channel in setup.channels.iter().filter(|channel| !in_hand(channel.role)) {
        let taken = bench.state.leases.contains_key(&channel.channel);
        let barred = matches!(channel.role, Role::Scale { .. })
            && caustic_may_be_on(bench, &channel.channel).is_some();
        let place = place(channel.role);
        if !taken && !barred && wanted(channel.role) && !places.contains(&place) {
            places.push(place);
            free.push(channel.channel.clone());
        }
    }
    free
}

/// What was seen of a channel for one batch says nothing for the next.
pub fn forget(bench: &mut Bench, channel: &Channel) {
    if let Some(sense) = bench.senses.channels.get_mut(channel) {
        sense.forget_step();
        sense.stayed = false;
        sense.heating = None;
        sense.peak = None;
        sense.peak_is_whole = false;
    }
}

/// Notices a clear pan, and gives the scale to the next batch that waits for it.
pub fn run(bench: &mut Bench) {
    let Some(scale) = scale(bench) else { return };
    let holder = bench.state.leases.get(&scale);
    if bench.state.left.contains_key(&scale)
        && is_clear(bench, &scale)
        && let Some(sense) = bench.senses.channels.get_mut(&scale)
    {
        sense.seen_clear = true;
    }
    let batch = |id: &BatchId| bench.batch(id);
    if holder.and_then(batch).is_some_and(|batch| wants_scale(bench, batch)) {
        return;
    }
    let mut waiting = bench.state.batches.values().filter(|batch| Some(&batch.id) != holder);
    let next = waiting.find(|batch| wants_scale(bench, batch) && !has_lost_its_scale(bench, batch));
    let Some(next) = next.map(|batch| batch.id.clone()) else { return };
    if bar(bench, &scale).is_none() {
        hand_over(bench, &scale, &next);
    }
}

/// The scale is now with this batch, says the operator.
pub fn take_scale(bench: &mut Bench, id: &BatchId) -> Result<Reply, String> {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    let Some(scale) = scale(bench) else { return Err(refusals::no_scale()) };
    if bench.state.leases.get(&scale) == Some(id) {
        return Ok(Reply::AlreadyDone);
    }
    if let Some(other) = caustic_elsewhere(bench, batch) {
        return Err(names::wait(bench, &Wait::Caustic(other)));
    }
    if !wants_scale(bench, batch) {
        return Err(names::weighs_nothing(bench, id));
    }
    if let Some(bar) = bar(bench, &scale) {
        return Err(names::barred(bench, &bar));
    }
    hand_over(bench, &scale, id);
    Ok(Reply::Done)
}

/// This probe now stands with this batch, says the operator.
pub fn take_probe(bench: &mut Bench, id: &BatchId, channel: &Channel) -> Result<Reply, String> {
    if bench.batch(id).is_none() {
        return Err(refusals::no_such_batch(id));
    }
    let setup = bench.state.setup_ref().and_then(|setup| setup.channel(channel));
    let Some(Role::Probe { at, .. }) = setup.map(|setup| setup.role) else {
        return Err(names::no_such_probe(channel, bench.state.setup_ref()));
    };
    if at == ProbeAt::Hand {
        return Err(refusals::say_where_it_is(channel));
    }
    let holder = bench.state.leases.get(channel).cloned();
    if holder.as_ref() == Some(id) {
        return Ok(Reply::AlreadyDone);
    }
    // a pot has one probe of a kind: the one before is free again
    let before = bench.state.probe_of(id, at).map(|setup| setup.channel.clone());
    let before = before.filter(|before| bench.state.leases.get(before) == Some(id));
    if let Some(channel) = before {
        bench.emit(Fact::LeaseReturned { batch: id.clone(), channel });
    }
    if let Some(batch) = holder {
        bench.emit(Fact::LeaseReturned { batch, channel: channel.clone() });
    }
    bench.emit(Fact::LeaseTaken { batch: id.clone(), channel: channel.clone() });
    let now = bench.now;
    if let Some(sense) = bench.senses.channels.get_mut(channel) {
        sense.moved_at = Some(now);
    }
    // how long the pot has been warm was told by another probe
    bench.senses.cooks.remove(id);
    Ok(Reply::Done)
}

/// All leases of a batch that is being closed.
pub fn give_back(bench: &mut Bench, id: &BatchId) {
    let held = bench.state.leases.iter().filter(|(_, holder)| *holder == id);
    let held: Vec<Channel> = held.map(|(channel, _)| channel.clone()).collect();
    for channel in held {
        bench.emit(Fact::LeaseReturned { batch: id.clone(), channel });
    }
}

/// Why this batch waits, if it waits for anything but its operator.
pub fn waits(bench: &Bench, batch: &Batch) -> Option<Wait> {
    let scale = scale(bench)?;
    if let Some(other) = caustic_elsewhere(bench, batch) {
        return Some(Wait::Caustic(other));
    }
    let holder = bench.state.leases.get(&scale);
    if holder == Some(&batch.id) || !wants_scale(bench, batch) {
        return None;
    }
    let in_use = holder.and_then(|id| bench.batch(id)).is_some_and(|b| wants_scale(bench, b));
    match bar(bench, &scale) {
        Some(Bar::Caustic(other)) if !in_use => Some(Wait::Clear(other)),
        _ => holder.cloned().map(Wait::Scale),
    }
}

/// Two cups of caustic, weighed and not dissolved, are one too many on a bench: who has the other,
/// if caustic is next for this batch.
pub fn caustic_elsewhere(bench: &Bench, batch: &Batch) -> Option<BatchId> {
    let next_is_caustic = batch.work == Work::Between
        && matches!(batch.step().map(|step| &step.kind), Some(StepKind::Weigh(weigh)) if weigh.is_caustic());
    if !next_is_caustic {
        return None;
    }
    let mut others = bench.state.batches.values().filter(|other| other.id != batch.id);
    others.find(|other| other.has_caustic()).map(|other| other.id.clone())
}

/// The pan carries nothing but what this batch put there, as far as anybody can know.
pub fn pan_is_ours(bench: &Bench, id: &BatchId) -> bool {
    let Some((setup, _)) = bench.state.scale_of(id) else { return false };
    let seen_clear = bench.sense(setup).is_some_and(|sense| sense.seen_clear);
    !bench.state.left.contains_key(&setup.channel) || seen_clear
}

/// Whose things the pan may still carry, though this batch has the scale now and wants it.
pub fn left_by_another<'a>(bench: &'a Bench, id: &BatchId) -> Option<&'a BatchId> {
    let (setup, _) = bench.state.scale_of(id)?;
    let batch = bench.batch(id).filter(|batch| wants_scale(bench, batch))?;
    let left = bench.state.left.get(&setup.channel)?;
    (!pan_is_ours(bench, &batch.id)).then_some(&left.by)
}

/// This load is the pot, as last captured, of another open batch, and not that of this one.
pub fn pot_of_another(bench: &Bench, id: &BatchId, gross: Mass) -> Option<BatchId> {
    let (_, facts) = bench.state.scale_of(id)?;
    let marks = bench.settings().marks(facts.d);
    if bench.batch(id).is_some_and(|batch| batch.is_its_pot(gross, marks)) {
        return None;
    }
    let mut others = bench.state.batches.values().filter(|batch| &batch.id != id);
    Some(others.find(|batch| batch.is_its_pot(gross, marks))?.id.clone())
}

/// The pot of this batch or of another, with what it holds: no vessel to be filled with anything
/// that has one of its own.
pub fn is_a_pot(bench: &Bench, id: &BatchId, into: Vessel, gross: Mass) -> bool {
    let Some((_, facts)) = bench.state.scale_of(id) else { return false };
    let marks = bench.settings().marks(facts.d);
    let is_ours = bench.batch(id).is_some_and(|batch| batch.is_its_pot(gross, marks));
    (into == Vessel::Own && is_ours) || pot_of_another(bench, id, gross).is_some()
}

fn scale(bench: &Bench) -> Option<Channel> {
    let (scale, _) = bench.state.setup_ref().and_then(Setup::scale)?;
    Some(scale.channel.clone())
}

fn wants_scale(bench: &Bench, batch: &Batch) -> bool {
    match (&batch.work, batch.step().map(|step| &step.kind)) {
        (Work::Weighing(_) | Work::TakingOut(_), _)
        | (Work::Between, Some(StepKind::TakeOut(_))) => true,
        (Work::Between, Some(StepKind::Weigh(_))) => caustic_elsewhere(bench, batch).is_none(),
        (Work::Waiting, _) => vessel_back::wanted(batch).is_some(),
        _ => false,
    }
}

/// The bench file no longer names a channel that this batch had: nothing else is put in its place.
fn has_lost_its_scale(bench: &Bench, batch: &Batch) -> bool {
    let mut held = bench.state.leases.iter().filter(|(_, holder)| *holder == &batch.id);
    held.any(|(channel, _)| bench.state.setup_ref().is_none_or(|s| s.channel(channel).is_none()))
}

/// What stands against moving the scale just now.
fn bar(bench: &Bench, scale: &Channel) -> Option<Bar> {
    let holder = bench.state.leases.get(scale).and_then(|id| bench.batch(id));
    if let Some(holder) = holder {
        if bench.is_caustic_over(&holder.id) {
            return Some(Bar::Latched(holder.id.clone()));
        }
        let weighing = holder.weigh().map(|(_, weighing)| weighing);
        // from its tare until it is done with, the cup belongs to this scale
        if holder.weighs_caustic() && weighing.is_some_and(|weighing| weighing.tare.is_some()) {
            return Some(Bar::Caustic(holder.id.clone()));
        }
        if bench.load_is_doubted(&holder.id) {
            return Some(Bar::Zero);
        }
        if weighing.is_some_and(|weighing| weighing.captured.is_some()) {
            return Some(Bar::Captured(holder.id.clone()));
        }
    }
    caustic_may_be_on(bench, scale).map(Bar::Caustic)
}

/// A cup with caustic is about, and the pan has not just been seen clear.
pub fn caustic_may_be_on(bench: &Bench, scale: &Channel) -> Option<BatchId> {
    let open = bench.state.batches.values().find(|batch| batch.has_caustic_cup());
    let closed = bench.state.left.get(scale).filter(|left| left.caustic).map(|left| &left.by);
    let whose = open.map(|batch| &batch.id).or(closed)?;
    (!is_clear(bench, scale)).then(|| whose.clone())
}

/// The pan rests, just now, with nothing on it that could be a vessel.
pub fn is_clear(bench: &Bench, scale: &Channel) -> bool {
    let setup = bench.state.setup_ref().and_then(|setup| setup.channel(scale));
    let Some(Role::Scale { facts, .. }) = setup.map(|setup| setup.role) else { return false };
    let (Some(setup), Some(sense)) = (setup, bench.senses.channels.get(scale)) else {
        return false;
    };
    let fresh = sense.mass(bench.now, bench.allowed_age(setup)).is_some();
    let rest = sense.rest.at_rest(&bench.settings().rest_test(facts.d, true));
    let zero = bench.state.zeros.get(scale).copied().unwrap_or_default();
    let vessel = bench.settings().marks(facts.d).vessel;
    let light = rest.is_some_and(|rest| (rest - zero).abs() < vessel);
    fresh && light && !sense.doubted && !zeroing::is_open(bench, scale)
}

fn hand_over(bench: &mut Bench, scale: &Channel, to: &BatchId) {
    if let Some(from) = bench.state.leases.get(scale).cloned() {
        if bench.batch(&from).is_some_and(|batch| batch.weigh().is_some()) {
            // what was asked of the load on the pan falls away with it
            bench.withdraw_prompt(&from);
        }
        bench.emit(Fact::LeaseReturned { batch: from, channel: scale.clone() });
    }
    bench.emit(Fact::LeaseTaken { batch: to.clone(), channel: scale.clone() });
}
