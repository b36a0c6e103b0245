//! The scale is set to zero by its own command, from a screen.
//!
//! It moves what everything is counted from, so it is sent only where the books know of nothing
//! on the pan: never with a vessel counted, never with a cup of caustic about. What the empty pan
//! reads afterwards is expected, and becomes the zero of the books: no scale that slept is
//! suspected. Where nobody saw whether it was obeyed, nothing is counted until a bare pan was seen.
//! The instrument's own tare is not used at all: it would hide a vessel from the books.

use serde::{Deserialize, Serialize};

use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::{Bench, Order, Reply};
use super::setup::{ChannelSetup, Role};
use super::work::Work;
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
    /// A load was read since, or may have been there unseen: nought may be what it is called.
    loaded: bool,
    /// The highest rest since the doubt began.
    highest: Option<Mass>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ZeroCame {
    /// Sent; the pan has not come to rest since.
    Asked,
    Taken,
    NotTaken,
    /// Nobody saw whether it was taken, nor with what on the pan.
    InDoubt,
}

impl Zeroing {
    fn asked_at(asked: Moment, loaded: bool) -> Zeroing {
        Zeroing { asked, came: ZeroCame::Asked, loaded, highest: None }
    }

    /// What a screen says of it; after a while it is no news.
    pub fn shown(self, now: Moment) -> Option<ZeroCame> {
        let lasts = self.came == ZeroCame::InDoubt;
        (lasts || now.since(self.asked) < NEWS).then_some(self.came)
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
    sense.zeroing = Some(Zeroing::asked_at(bench.now, false));
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
    // it may reach the scale late, with the cup put down meanwhile: a clear pan is not enough
    if let Some(batch) = bench.state.batches.values().find(|batch| batch.has_caustic_cup()) {
        return Err(refusals::no_zero_with_caustic_about(&pot(&batch.id)));
    }
    let clear = leases::is_clear(bench, channel);
    if let Some(id) = leases::caustic_may_be_on(bench, channel) {
        return Err(refusals::no_zero_near_caustic(&pot(&id)));
    }
    let at_rest = rest(bench, setup, facts).ok_or_else(refusals::no_zero_in_motion)?;
    // with a batch open the books say what an empty pan reads; without one the operator does
    let empty = if bench.state.batches.is_empty() {
        at_rest.abs() * RANGE_PART <= facts.capacity
    } else if is_open(bench, channel) {
        return Err(refusals::no_zero_in_doubt());
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
    let open: Vec<(ChannelSetup, ScaleFacts, Mass)> = bench
        .state
        .setup_ref()
        .into_iter()
        .flat_map(|setup| &setup.channels)
        .filter_map(|setup| match setup.role {
            Role::Scale { facts, .. } => {
                let before = bench.state.zero_asked.get(&setup.channel)?;
                Some((setup.clone(), facts, *before))
            }
            Role::Probe { .. } => None,
        })
        .collect();
    for (setup, facts, before) in open {
        let zeroing = look(bench, &setup, facts, before);
        let rest = rest(bench, &setup, facts);
        match zeroing.came {
            ZeroCame::InDoubt => in_doubt(bench, &setup, facts, (before, rest)),
            _ => on_its_way(bench, &setup, facts, (before, rest)),
        }
    }
}

/// Keeps whether a load was on the pan since the command.
fn look(bench: &mut Bench, setup: &ChannelSetup, facts: ScaleFacts, before: Mass) -> Zeroing {
    let (now, light) = (bench.now, light(bench, facts));
    let load = bench.sense(setup).and_then(|sense| sense.mass(now, bench.allowed_age(setup)));
    let sense = bench.senses.channels.entry(setup.channel.clone()).or_default();
    let over = sense.overloaded();
    // after a restart, or with the port gone, nobody knows what has been on the pan
    let zeroing = sense.zeroing.get_or_insert(Zeroing::asked_at(now, true));
    // neither what it read before nor nought
    zeroing.loaded |=
        over || load.is_some_and(|load| load - before >= light && load.abs() >= light);
    *zeroing
}

fn on_its_way(
    bench: &mut Bench,
    setup: &ChannelSetup,
    facts: ScaleFacts,
    (before, rest): (Mass, Option<Mass>),
) {
    let Some(zeroing) = zeroing(bench, &setup.channel) else { return };
    let nought = rest.filter(|rest| rest.abs() <= facts.d);
    if let Some(offset) = nought.filter(|_| !zeroing.loaded) {
        taken(bench, &setup.channel, offset);
    } else if bench.now.since(zeroing.asked) >= WITHIN {
        let still = rest.is_some_and(|rest| is_still(rest, before, facts));
        not_taken(bench, &setup.channel, rest, !still);
    }
}

/// A bare pan settles it: one that reads what it did before, or that all has just been taken off.
fn in_doubt(
    bench: &mut Bench,
    setup: &ChannelSetup,
    facts: ScaleFacts,
    (before, rest): (Mass, Option<Mass>),
) {
    let light = light(bench, facts);
    let (Some(rest), Some(zeroing)) = (rest, zeroing(bench, &setup.channel)) else { return };
    let fell = zeroing.highest.is_some_and(|highest| rest <= highest - light);
    let bare = fell && rest < before.max(Mass::ZERO) + light;
    if is_still(rest, before, facts) {
        not_taken(bench, &setup.channel, Some(rest), false);
    } else if bare || (!zeroing.loaded && rest.abs() <= facts.d) {
        taken(bench, &setup.channel, rest);
    } else if let Some(sense) = bench.senses.channels.get_mut(&setup.channel) {
        let highest = zeroing.highest.max(Some(rest));
        sense.zeroing = Some(Zeroing { highest, ..zeroing });
    }
}

/// At rest at the very load it had when asked: certainly not taken. Nought tells nothing.
fn is_still(rest: Mass, before: Mass, facts: ScaleFacts) -> bool {
    (rest - before).abs() <= facts.d && rest.abs() > facts.d
}

/// What is lighter than any vessel.
fn light(bench: &Bench, facts: ScaleFacts) -> Mass {
    bench.settings().marks(facts.d).vessel
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

fn not_taken(bench: &mut Bench, channel: &Channel, gross: Option<Mass>, in_doubt: bool) {
    came(bench, channel, if in_doubt { ZeroCame::InDoubt } else { ZeroCame::NotTaken });
    let batch = bench.state.leases.get(channel).cloned();
    bench.emit(Fact::ZeroNotTaken { batch, channel: channel.clone(), gross, in_doubt });
}

fn came(bench: &mut Bench, channel: &Channel, came: ZeroCame) {
    let sense = bench.senses.channels.get_mut(channel);
    if let Some(zeroing) = sense.and_then(|sense| sense.zeroing.as_mut()) {
        zeroing.came = came;
    }
}

fn zeroing(bench: &Bench, channel: &Channel) -> Option<Zeroing> {
    bench.senses.channels.get(channel)?.zeroing
}

/// Since when the command is on its way.
pub fn pending(bench: &Bench, channel: &Channel) -> Option<Moment> {
    let zeroing = zeroing(bench, channel)?;
    (zeroing.came == ZeroCame::Asked).then_some(zeroing.asked)
}

/// A command was sent, and nobody knows yet what became of it.
pub fn is_open(bench: &Bench, channel: &Channel) -> bool {
    bench.state.zero_asked.contains_key(channel)
}

/// Meanwhile nothing is counted: the scale might call a vessel nothing.
pub fn is_open_for(bench: &Bench, id: &BatchId) -> bool {
    bench.state.scale_of(id).is_some_and(|(setup, _)| is_open(bench, &setup.channel))
}

/// What is to be done about it, before anything is put on this pan to be weighed.
pub fn sentence(bench: &Bench, id: &BatchId) -> Option<&'static str> {
    let (setup, _) = bench.state.scale_of(id).filter(|_| is_open_for(bench, id))?;
    match zeroing(bench, &setup.channel)?.came {
        ZeroCame::Asked => Some("The scale takes its zero: leave the pan alone."),
        ZeroCame::InDoubt => Some(IN_DOUBT),
        ZeroCame::Taken | ZeroCame::NotTaken => None,
    }
}

pub const IN_DOUBT: &str = "The scale may have another zero: take everything off the pan. A bare \
                            pan that shows a weight: press the scale's own zero key. One that shows \
                            nought: put a vessel on it and take that off again.";

pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let channels = bench.senses.channels.keys();
    channels.filter_map(|channel| Some(pending(bench, channel)? + WITHIN)).collect()
}
