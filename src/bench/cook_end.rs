//! What speaks against ending a cook: its time, a pot nobody knows the temperature of.

use super::fact::{Ask, BatchId};
use super::law::Bench;
use super::progress::cooking;
use super::refusals;
use super::words;
use super::{cook_clock, in_process};
use crate::quantity::Span;

/// A yes against what speaks for waiting is asked for no longer than this: a pedal pressed later
/// means something else. Ours.
pub const STANDS: Span = Span::from_secs(60);

/// Why the cook may not end yet; empty when it may.
pub fn not_yet(bench: &Bench, id: &BatchId) -> Vec<String> {
    let Some(batch) = bench.batch(id) else { return Vec::new() };
    let Some((cook, cooking)) = cooking(batch) else { return Vec::new() };
    let mut reasons = Vec::new();
    let cooked = cooking.time.elapsed(bench.now);
    if cooked < cook.duration {
        reasons.push(words::cooked_only(cooked, cook.duration));
    }
    if cook_clock::pot(bench, id).is_none() {
        reasons.push(words::pot_unknown());
    }
    reasons.extend(in_process::missing(batch));
    reasons
}

/// Asks for a yes that names its reasons; says why.
pub fn ask_anyway(bench: &mut Bench, id: &BatchId) -> String {
    let asked = bench.batch(id).and_then(|batch| batch.prompt.as_ref());
    if asked.is_none_or(|prompt| prompt.asks != Ask::EndCookAnyway) {
        bench.withdraw_prompt(id);
        bench.ask(id, Ask::EndCookAnyway);
    }
    refusals::not_yet(&not_yet(bench, id))
}

/// The question has stood long enough, or nothing speaks against the end any more.
pub fn lapsed(bench: &Bench, id: &BatchId) -> bool {
    let asked = bench.batch(id).and_then(|batch| batch.prompt.as_ref());
    let stood = asked.is_none_or(|prompt| bench.now.since(prompt.asked_at) >= STANDS);
    stood || not_yet(bench, id).is_empty()
}
