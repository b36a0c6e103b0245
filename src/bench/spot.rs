//! One hand-held probe that serves many, and temperatures typed by hand.
//!
//! A probe in somebody's hand counts for nothing. Said to be in the lye, it counts for the lye of
//! that batch as soon as it has settled there; put away, what it last said there may be used for a
//! while, always with its age. A value typed by hand is one such spot reading, marked so for ever.

use super::batch::Held;
use super::by_hand;
use super::fact::{BatchId, Fact, PutAway};
use super::law::{Bench, Reply};
use super::refusals;
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::view::{HeldView, KnownView, Source};
use super::watches;
use crate::quantity::{Moment, Temperature};
use crate::reading::Channel;

/// A temperature that may be used now, and where it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Known {
    pub temperature: Temperature,
    pub source: Source,
    /// When it was so.
    pub at: Moment,
    /// `None`: typed by hand.
    pub channel: Option<Channel>,
}

/// The temperature of one place of a batch: a probe that stands there, before what was read there
/// at one spot, before nothing.
pub fn known(bench: &Bench, id: &BatchId, at: ProbeAt) -> Option<Known> {
    live(bench, id, at).or_else(|| spot(bench, id, at))
}

/// What a probe that stands there says now. One that is out for stirring says nothing.
pub fn live(bench: &Bench, id: &BatchId, at: ProbeAt) -> Option<Known> {
    if bench.is_shelved(id, at) {
        return None;
    }
    let fixed = watches::temperature_at(bench, id, at).map(|(channel, temperature)| Known {
        temperature,
        source: Source::Probe,
        at: bench.now,
        channel: Some(channel),
    });
    fixed.or_else(|| {
        let channel = held_at(bench, id, at)?;
        let sense = bench.sense(channel)?;
        sense.temperature(bench.now, bench.allowed_age(channel))?;
        let (read_at, temperature) = sense.settle.now()?;
        let channel = Some(channel.channel.clone());
        Some(Known { temperature, source: Source::HandHeld, at: read_at, channel })
    })
}

/// What was read there at one spot or by hand, while it is young enough.
pub fn spot(bench: &Bench, id: &BatchId, at: ProbeAt) -> Option<Known> {
    let spot = bench.batch(id)?.spots.get(&at)?;
    let age = bench.now.since(spot.read_at);
    (age <= bench.settings().spot_age).then(|| Known {
        temperature: spot.temperature,
        source: if spot.channel.is_some() { Source::Spot } else { Source::ByHand },
        at: spot.read_at,
        channel: spot.channel.clone(),
    })
}

/// The probe whose readings tell how fast a place warms.
pub fn probe_at<'a>(bench: &'a Bench, id: &BatchId, at: ProbeAt) -> Option<&'a ChannelSetup> {
    bench.state.probe_of(id, at).or_else(|| held_at(bench, id, at))
}

fn held_at<'a>(bench: &'a Bench, id: &BatchId, at: ProbeAt) -> Option<&'a ChannelSetup> {
    let here = |held: &Held| &held.batch == id && held.at == at;
    let (channel, _) = bench.state.held.iter().find(|(_, held)| here(held))?;
    bench.state.setup_ref()?.channel(channel)
}

/// The operator says where the probe is now.
pub fn hold(
    bench: &mut Bench,
    id: &BatchId,
    channel: &Channel,
    at: ProbeAt,
    stays: bool,
) -> Result<Reply, String> {
    let known = bench.state.setup_ref().and_then(|setup| setup.channel(channel));
    match known.map(|setup| setup.role) {
        None => return Err(refusals::no_such_channel(channel)),
        Some(Role::Probe { at: ProbeAt::Hand, .. }) => {}
        Some(_) => return Err(refusals::not_hand_held(channel)),
    }
    if at == ProbeAt::Hand {
        return Err(refusals::no_place());
    }
    let elsewhere = |held: &Held| &held.batch != id || held.at != at;
    if bench.state.held.get(channel).is_some_and(elsewhere) {
        end(bench, channel, PutAway::Moved);
    }
    // two probes in one pot: the one said last counts
    if let Some(other) = held_at(bench, id, at).filter(|other| &other.channel != channel) {
        let other = other.channel.clone();
        end(bench, &other, PutAway::Moved);
    }
    let begins = !bench.state.held.contains_key(channel);
    let until = (!stays).then(|| bench.now + bench.settings().spot_hold);
    let (batch, named) = (id.clone(), channel.clone());
    bench.emit(Fact::Held { batch, channel: named, at, until });
    if begins && let Some(sense) = bench.senses.channels.get_mut(channel) {
        sense.settle.clear();
        sense.heating = None;
    }
    Ok(Reply::Done)
}

pub fn put_away(bench: &mut Bench, channel: &Channel) -> Result<Reply, String> {
    if bench.state.setup_ref().and_then(|setup| setup.channel(channel)).is_none() {
        return Err(refusals::no_such_channel(channel));
    }
    if !bench.state.held.contains_key(channel) {
        return Ok(Reply::AlreadyDone);
    }
    end(bench, channel, PutAway::Said);
    Ok(Reply::Done)
}

/// A value that the operator read off a thermometer of their own.
pub fn measured(
    bench: &mut Bench,
    id: &BatchId,
    at: ProbeAt,
    temperature: Temperature,
) -> Result<Reply, String> {
    let before = known(bench, id, at);
    by_hand::check(bench, id, at, temperature, before.as_ref())?;
    let (batch, step, read_at) = (id.clone(), bench.step_key(id), bench.now);
    let apart = by_hand::apart(bench, id, at, temperature);
    bench.emit(Fact::SpotRead { batch, step, at, temperature, read_at, channel: None });
    if let Some(notice) = apart {
        let (batch, step) = (id.clone(), bench.step_key(id));
        bench.emit(Fact::Noticed { batch, step, notice });
    }
    Ok(Reply::Done)
}

/// Takes what has settled, and lets go what stands nowhere any more.
pub fn run(bench: &mut Bench) {
    let held: Vec<Channel> = bench.state.held.keys().cloned().collect();
    for channel in held {
        let Some(held) = bench.state.held.get(&channel).cloned() else { continue };
        let fall = bench.settings().spot_fall;
        let settle = bench.senses.channels.get(&channel).map(|sense| &sense.settle);
        let taken_out = settle.is_some_and(|settle| settle.has_fallen(fall));
        let first = settle.and_then(|settle| settle.now()).filter(|_| !was_read(bench, &channel));
        if taken_out {
            end(bench, &channel, PutAway::TakenOut);
        } else if held.until.is_some_and(|until| bench.now >= until) {
            end(bench, &channel, PutAway::TimeOut);
        } else if let Some((read_at, temperature)) = first {
            read(bench, &channel, &held, read_at, temperature);
        }
    }
}

pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let held = bench.state.held.values().filter_map(|held| held.until);
    let tick = crate::quantity::Span::from_nanos(1);
    let age = bench.settings().spot_age;
    let spots = bench.state.batches.values().flat_map(|batch| batch.spots.values());
    held.chain(spots.map(|spot| spot.read_at + age + tick)).collect()
}

/// Where each place's temperature comes from, as far as no fixed probe shows it.
pub fn known_views(bench: &Bench, id: &BatchId) -> Vec<KnownView> {
    let places = [ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot, ProbeAt::Room];
    let views = places.into_iter().filter_map(|at| {
        let known = known(bench, id, at).filter(|known| known.source != Source::Probe)?;
        let age = bench.now.since(known.at);
        Some(KnownView { at, temperature: known.temperature, source: known.source, age })
    });
    views.collect()
}

pub fn held_view(bench: &Bench, channel: &Channel) -> Option<HeldView> {
    let held = bench.state.held.get(channel)?;
    let sense = bench.senses.channels.get(channel);
    Some(HeldView {
        batch: held.batch.clone(),
        at: held.at,
        settled: sense.is_some_and(|sense| sense.settle.now().is_some()),
        left: held.until.map(|until| until.since(bench.now)),
    })
}

/// The probe is nowhere any more; what it last said there, settled, is kept.
fn end(bench: &mut Bench, channel: &Channel, why: PutAway) {
    let Some(held) = bench.state.held.get(channel).cloned() else { return };
    let last = bench.senses.channels.get(channel).and_then(|sense| sense.settle.last());
    if let Some((read_at, temperature)) = last {
        let spot = bench.batch(&held.batch).and_then(|batch| batch.spots.get(&held.at));
        if spot.is_none_or(|spot| spot.read_at < read_at) {
            read(bench, channel, &held, read_at, temperature);
        }
    }
    bench.emit(Fact::PutAway { batch: held.batch, channel: channel.clone(), why });
    if let Some(sense) = bench.senses.channels.get_mut(channel) {
        sense.settle.clear();
    }
}

fn read(
    bench: &mut Bench,
    channel: &Channel,
    held: &Held,
    read_at: Moment,
    temperature: Temperature,
) {
    let (batch, step) = (held.batch.clone(), bench.step_key(&held.batch));
    let (at, channel) = (held.at, Some(channel.clone()));
    bench.emit(Fact::SpotRead { batch, step, at, temperature, read_at, channel });
}

/// This stay of the probe has its first reading.
fn was_read(bench: &Bench, channel: &Channel) -> bool {
    let Some(held) = bench.state.held.get(channel) else { return false };
    let spot = bench.batch(&held.batch).and_then(|batch| batch.spots.get(&held.at));
    spot.is_some_and(|spot| spot.channel.as_ref() == Some(channel) && spot.read_at >= held.since)
}
