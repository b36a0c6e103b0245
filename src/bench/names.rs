//! How a batch is called when there are several, and what is said of who has the scale.

use super::fact::BatchId;
use super::law::Bench;
use super::leases::{Bar, POTS_MAX, Wait};
use super::setup::{Role, Setup};
use super::state::State;
use crate::reading::Channel;

/// "pot B" for the batch 2026-11-25-b; the whole number where two open ones share a letter.
pub fn pot(state: &State, id: &BatchId) -> String {
    let Some(letter) = letter(id) else { return format!("batch {id}") };
    let alike =
        state.batches.keys().any(|other| other != id && self::letter(other) == Some(letter));
    if alike { format!("batch {id}") } else { format!("pot {}", letter.to_uppercase()) }
}

fn letter(id: &BatchId) -> Option<&str> {
    let (_, last) = id.0.rsplit_once('-')?;
    (!last.is_empty() && last.chars().all(|c| c.is_ascii_lowercase())).then_some(last)
}

/// With several pots open, says which one is meant.
pub fn addressed(state: &State, id: &BatchId, words: String) -> String {
    if state.batches.len() < 2 {
        return words;
    }
    format!("{}: {words}", super::words::capitalised(&pot(state, id)))
}

/// Why a batch waits, and what to do about it.
pub fn wait(bench: &Bench, wait: &Wait) -> String {
    let pot = |id| pot(&bench.state, id);
    match wait {
        Wait::Caustic(other) => format!(
            "{} has caustic that is not dissolved yet; this pot waits. One cup of caustic at a time.",
            super::words::capitalised(&pot(other))
        ),
        Wait::Scale(other) => format!("The scale is with {}; this pot waits for it.", pot(other)),
        Wait::Clear(other) => format!(
            "The caustic of {} may be on the pan: take everything off it. This pot waits for the \
             scale.",
            pot(other)
        ),
    }
}

/// What is on the pan is not this batch's.
pub fn clear_first(bench: &Bench, left: &BatchId) -> String {
    let whose = pot(&bench.state, left);
    format!("Take everything off the pan first: what is on it may be of {whose}.")
}

pub fn moved(state: &State, id: &BatchId) -> String {
    format!("The scale is now with {}.", pot(state, id))
}

pub fn probe_moved(state: &State, id: &BatchId, channel: &Channel) -> String {
    format!("The probe {channel} is now in {}.", pot(state, id))
}

// --- refusals ---------------------------------------------------------------------------------

pub fn barred(bench: &Bench, bar: &Bar) -> String {
    let pot = |id| pot(&bench.state, id);
    match bar {
        Bar::Latched(id) => format!(
            "the scale stays with {}: too much caustic is in its cup; bring it back or choose a \
             remedy first",
            pot(id)
        ),
        Bar::Caustic(id) => format!(
            "the scale stays where it is: the caustic of {} is or may be on the pan; finish it, or \
             take everything off the pan and wait until the scale is still",
            pot(id)
        ),
        Bar::Zero => "the scale may have another zero; take everything off the pan and let it \
                      settle first"
            .to_owned(),
        Bar::Captured(id) => format!(
            "the scale stays with {} for a moment: something has just been weighed; take its \
             vessel off the pan and answer what is asked",
            pot(id)
        ),
    }
}

pub fn weighs_nothing(bench: &Bench, id: &BatchId) -> String {
    format!("{} weighs nothing now; the scale comes to it when it does", pot(&bench.state, id))
}

pub fn too_many() -> String {
    format!("{POTS_MAX} batches are open, which is the most; close one first")
}

pub fn no_such_probe(channel: &Channel, setup: Option<&Setup>) -> String {
    let probes = setup.into_iter().flat_map(|setup| &setup.channels);
    let probes = probes.filter(|channel| matches!(channel.role, Role::Probe { .. }));
    let known: Vec<&str> = probes.map(|setup| setup.channel.as_str()).collect();
    format!("no probe is called {channel}; the bench file names: {}", known.join(", "))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::bench::{Bench, Fact, Numbered};
    use crate::quantity::Moment;

    fn open(ids: &[&str]) -> State {
        let control = Arc::new(crate::sim::fixture::three_oils());
        let fact = |(index, id): (usize, &&str)| Numbered {
            number: index as u64 + 1,
            at: Moment::from_nanos(0),
            fact: Fact::BatchStarted {
                batch: BatchId((*id).to_owned()),
                control: Arc::clone(&control),
                operator: None,
            },
        };
        let facts: Vec<Numbered> = ids.iter().enumerate().map(fact).collect();
        Bench::recover(&facts).state().clone()
    }

    #[test]
    fn a_pot_is_called_by_its_letter_unless_two_share_it() {
        let id = |text: &str| BatchId(text.to_owned());
        let state = open(&["2026-11-25-a", "2026-11-25-b", "2026-11-24-a", "2026-11-24-aa"]);
        assert_eq!(pot(&state, &id("2026-11-25-b")), "pot B");
        assert_eq!(pot(&state, &id("2026-11-24-aa")), "pot AA");
        assert_eq!(pot(&state, &id("2026-11-25-a")), "batch 2026-11-25-a");
        assert_eq!(pot(&open(&[]), &id("of old")), "batch of old");
    }

    #[test]
    fn one_pot_alone_needs_no_name() {
        let id = BatchId("2026-11-25-a".to_owned());
        let words = |ids: &[&str]| addressed(&open(ids), &id, "Stop.".to_owned());
        assert_eq!(words(&["2026-11-25-a"]), "Stop.");
        assert_eq!(words(&["2026-11-25-a", "2026-11-25-b"]), "Pot A: Stop.");
    }
}
