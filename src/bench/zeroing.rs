//! The scale is set to zero by its own command, from a screen.
//!
//! It moves what everything is counted from, so it is sent only where the books know of nothing
//! on the pan: never with a vessel counted, never near a cup of caustic. What the empty pan reads
//! afterwards is expected, and becomes the zero of the books: no scale that slept is suspected.
//! The instrument's own tare is not used at all: it would hide a vessel from the books.

use serde::{Deserialize, Serialize};

use super::batch::{Batch, Work};
use super::fact::{BatchId, Fact};
use super::law::{Bench, Order, Reply};
use super::setup::{ChannelSetup, Role};
use super::{leases, names, refusals};
use crate::chemistry::ScaleFacts;
use crate::quantity::{Mass, Moment, Span};
use crate::reading::Channel;

/// A scale waits for rest before it takes a zero, and our own test of rest takes two seconds
/// more. Ours.
pub const WITHIN: Span = Span::from_secs(8);
/// So long a screen tells what became of it. Ours.
const NEWS: Span = Span::from_secs(30);
/// With no batch open, more than this part of its capacity is a load and no drift: 4 %, the range
/// of zero-setting of OIML R 76-1, 4.5.1 (from memory).
const RANGE_PART: i64 = 25;

/// What became of the last command to this scale. Volatile.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Zeroing {
    pub asked: Moment,
    pub came: ZeroCame,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ZeroCame {
    /// Sent; the pan has not come to rest since.
    Asked,
    Taken,
    NotTaken,
}

impl Zeroing {
    /// What a screen says of it; after a while it is no news.
    pub fn shown(self, now: Moment) -> Option<ZeroCame> {
        (now.since(self.asked) < NEWS).then_some(self.came)
    }
}

/// Sends the command, unless something speaks against it.
pub fn ask(bench: &mut Bench, channel: &Channel) -> Result<Reply, String> {
    let known = bench.state.setup_ref().and_then(|setup| setup.channel(channel));
    let (setup, facts) = match known.map(|setup| (setup.clone(), setup.role)) {
        Some((setup, Role::Scale { facts, .. })) => (setup, facts),
        _ => return Err(refusals::no_such_scale(channel, bench.state.setup_ref())),
    };
    if !setup.zeroes {
        return Err(refusals::no_zero_command(channel));
    }
    if let Some(why) = bench.state.lost.get(&setup.instrument) {
        return Err(refusals::scale_is_lost(channel, why));
    }
    if pending(bench, channel).is_some() {
        return Ok(Reply::AlreadyDone);
    }
    let gross = may_zero(bench, &setup, facts)?;
    let sense = bench.senses.channels.entry(channel.clone()).or_default();
    // what rested before the command tells nothing of what it did
    sense.rest.clear();
    sense.zeroing = Some(Zeroing { asked: bench.now, came: ZeroCame::Asked });
    let batch = bench.state.leases.get(channel).cloned();
    bench.emit(Fact::ZeroAsked { batch, channel: channel.clone(), gross });
    bench.order(Order::Zero { instrument: setup.instrument });
    Ok(Reply::Done)
}

/// What the pan reads, which is empty as far as anybody can know.
fn may_zero(bench: &Bench, setup: &ChannelSetup, facts: ScaleFacts) -> Result<Mass, String> {
    let channel = &setup.channel;
    let holder = bench.state.leases.get(channel).and_then(|id| bench.batch(id));
    let pot = |id: &BatchId| names::pot(&bench.state, id);
    if let Some(batch) = holder.filter(|batch| is_counting(batch)) {
        return Err(refusals::no_zero_while_weighing(&pot(&batch.id)));
    }
    let clear = leases::is_clear(bench, channel);
    if let Some(id) = leases::caustic_may_be_on(bench, channel) {
        return Err(refusals::no_zero_near_caustic(&pot(&id)));
    }
    let at_rest = rest(bench, setup, facts).ok_or_else(refusals::no_zero_in_motion)?;
    // with a batch open the books say what an empty pan reads; without one the operator does
    let empty = if bench.state.batches.is_empty() {
        at_rest.abs() * RANGE_PART <= facts.capacity
    } else {
        clear
    };
    if !empty {
        return Err(refusals::no_zero_with_a_load(setup, at_rest));
    }
    Ok(at_rest)
}

/// A vessel is counted on this scale, or something is taken out of one.
fn is_counting(batch: &Batch) -> bool {
    let weighing = batch.weigh().is_some_and(|(_, weighing)| weighing.tare.is_some());
    weighing || matches!(batch.work, Work::TakingOut(_))
}

/// Notices that the command was obeyed, or that it was not.
pub fn run(bench: &mut Bench) {
    let waiting: Vec<(ChannelSetup, ScaleFacts, Moment)> = bench
        .state
        .setup_ref()
        .into_iter()
        .flat_map(|setup| &setup.channels)
        .filter_map(|setup| match setup.role {
            Role::Scale { facts, .. } => {
                Some((setup.clone(), facts, pending(bench, &setup.channel)?))
            }
            Role::Probe { .. } => None,
        })
        .collect();
    for (setup, facts, asked) in waiting {
        let rest = rest(bench, &setup, facts);
        if let Some(offset) = rest.filter(|rest| rest.abs() <= facts.d) {
            taken(bench, &setup.channel, offset);
        } else if bench.now.since(asked) >= WITHIN {
            came(bench, &setup.channel, ZeroCame::NotTaken);
            let batch = bench.state.leases.get(&setup.channel).cloned();
            bench.emit(Fact::ZeroNotTaken { batch, channel: setup.channel, gross: rest });
        }
    }
}

/// The newest load, if it is at rest.
fn rest(bench: &Bench, setup: &ChannelSetup, facts: ScaleFacts) -> Option<Mass> {
    let sense = bench.sense(setup)?;
    sense.mass(bench.now, bench.allowed_age(setup))?;
    sense.rest.at_rest(&bench.settings().rest_test(facts.d, true))
}

fn taken(bench: &mut Bench, channel: &Channel, offset: Mass) {
    came(bench, channel, ZeroCame::Taken);
    if let Some(sense) = bench.senses.channels.get_mut(channel) {
        // a scale may be silent while it takes its zero: that silence hides nothing
        sense.doubted = false;
        sense.load_before = Some(offset);
    }
    let batch = bench.state.leases.get(channel).cloned();
    bench.emit(Fact::ZeroTaken { batch, channel: channel.clone(), offset });
}

fn came(bench: &mut Bench, channel: &Channel, came: ZeroCame) {
    let sense = bench.senses.channels.get_mut(channel);
    if let Some(zeroing) = sense.and_then(|sense| sense.zeroing.as_mut()) {
        zeroing.came = came;
    }
}

/// Since when the command is on its way.
pub fn pending(bench: &Bench, channel: &Channel) -> Option<Moment> {
    let zeroing = bench.senses.channels.get(channel)?.zeroing?;
    (zeroing.came == ZeroCame::Asked).then_some(zeroing.asked)
}

/// Meanwhile no vessel is counted: the scale might call it nothing.
pub fn is_pending_for(bench: &Bench, id: &BatchId) -> bool {
    let scale = bench.state.scale_of(id);
    scale.is_some_and(|(setup, _)| pending(bench, &setup.channel).is_some())
}

pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let channels = bench.senses.channels.keys();
    channels.filter_map(|channel| Some(pending(bench, channel)? + WITHIN)).collect()
}
