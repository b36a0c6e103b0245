//! What was poured between the capture and the lift. So short a pour never comes to rest, and what
//! is gone from the pan cannot be weighed; but the readings of the last moment before the lift tell.
//!
//! A hand that takes hold of a vessel leans on it too, so this is no proof: it is said, the step
//! does not end, and the vessel put back (or a yes, where even so much more is no danger) settles it.

use super::fact::{Ask, Notice};
use super::handling;
use super::law::Bench;
use super::pan::Pan;
use crate::quantity::{Mass, Moment, Span};
use crate::signal::Recent;

/// The last loads, until the vessel has left the pan.
#[derive(Clone, Debug, Default)]
pub struct BeforeLift {
    samples: Recent,
}

/// Above what was captured for so long, no longer than this before the vessel left the pan: ours.
/// A knock, or a hand that takes hold, is shorter.
const ABOVE_FOR: Span = Span::from_millis(300);
const LEFT_WITHIN: Span = Span::from_millis(700);
/// A hand that takes hold of a vessel has lifted it after less: ours.
const HAND: Span = Span::from_millis(500);
const KEPT: Span = Span::from_secs(3);

impl BeforeLift {
    pub fn push(&mut self, at: Moment, load: Mass) {
        self.samples.push(at, load, KEPT);
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// The lowest load just before a hand can have taken hold of the vessel that left at `left`; of
    /// a slow scale the last one before that.
    pub fn lowest_before_a_hand(&self, left: Moment) -> Option<Mass> {
        let last = left - HAND;
        let before = || self.samples.loads().iter().filter(|&&(at, _)| at <= last);
        let newest = before().next_back().map(|&(at, _)| at)?;
        let within = |at: Moment| at == newest || last.since(at) <= ABOVE_FOR;
        before().filter(|&&(at, _)| within(at)).map(|&(_, load)| load).min()
    }

    /// The highest load just before the vessel left at `left`: with a hand that leans on it.
    pub fn highest_before(&self, left: Moment) -> Option<Mass> {
        let lately = |at: Moment| at < left && left.since(at) <= HAND + ABOVE_FOR;
        self.samples.loads().iter().filter(|&&(at, _)| lately(at)).map(|&(_, load)| load).max()
    }

    /// How much more than captured stood on the pan just before it left at `left`, if more than
    /// `slack`.
    fn gained(&self, left: Moment, captured: Mass, slack: Mass) -> Option<Mass> {
        let before: Vec<(Moment, Mass)> =
            self.samples.loads().iter().copied().filter(|&(at, _)| at < left).collect();
        let is_above = |&(_, load): &(Moment, Mass)| load > captured + slack;
        let last = before.iter().rposition(is_above)?;
        let first =
            before[..last].iter().rposition(|sample| !is_above(sample)).map_or(0, |i| i + 1);
        // a reading stands until the next one comes
        let until = before.get(last + 1).map_or(left, |&(at, _)| at);
        let (since, _) = before[first];
        if until.since(since) < ABOVE_FOR || left.since(until) > LEFT_WITHIN {
            return None;
        }
        let mut loads: Vec<Mass> = before[first..=last].iter().map(|&(_, load)| load).collect();
        loads.sort();
        Some(loads[loads.len() / 2] - captured)
    }
}

/// The captured vessel has just left the pan.
pub fn judge(bench: &mut Bench, pan: &Pan, captured: Option<Mass>) {
    let lifted = bench.batch(&pan.id).and_then(|batch| batch.weigh()).is_some_and(|w| w.1.lifted);
    let Some(captured) = captured.filter(|_| lifted && !pan.weighing.lifted) else { return };
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return };
    let Some(left) = sense.below_since else { return };
    // the same spread above which a capture at rest is reopened
    if let Some(by) = sense.before_lift.gained(left, captured, pan.scale.d * 2) {
        handling::notice_it(bench, pan, Notice::ChangedBeforeLift { by });
    }
}

/// What is asked while that is open; nothing, where a yes would take caustic above its guard.
pub fn question(pan: &Pan, captured_net: Mass) -> Option<Ask> {
    let more = pan.weighing.changed_before_lift?;
    let guard = pan.weighing.target.guard;
    let harmless = guard.is_none_or(|guard| captured_net + more <= guard.mass);
    harmless.then_some(Ask::NothingAdded { more })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    /// Tenths of a gram, a reading each `ms`; the vessel leaves the pan with the next one.
    fn left(loads: &[i64], ms: i64) -> (BeforeLift, Moment) {
        let at = |index: usize| Moment::from_nanos(index as i64 * ms * 1_000_000);
        let mut before = BeforeLift::default();
        for (index, &load) in loads.iter().enumerate() {
            before.push(at(index), tenths(load).unwrap());
        }
        (before, at(loads.len()))
    }

    fn gained(loads: &[i64], ms: i64) -> Option<Mass> {
        let (before, at) = left(loads, ms);
        before.gained(at, tenths(930)?, tenths(2)?)
    }

    /// What stood there before a hand could lean on it; a slow scale may have said it a while ago.
    #[test]
    fn what_stood_there_is_known_however_slow_the_scale() {
        let before_a_hand = |loads: &[i64], ms| {
            let (before, at) = left(loads, ms);
            before.lowest_before_a_hand(at)
        };
        let pour: Vec<i64> = (0..20).map(|n| 500 + 10 * n).collect();
        // 0.8 s to 0.5 s before the lift, of ten readings a second
        assert_eq!(before_a_hand(&pour, 100), tenths(620));
        for ms in [400, 450, 499, 500] {
            let loads = [500, 550, 600, 650, 700];
            let known = before_a_hand(&loads, ms);
            assert!(known >= tenths(600), "every {ms} ms: {known:?}");
        }
        assert_eq!(before_a_hand(&[], 100), None);
    }

    fn tenths(count: i64) -> Option<Mass> {
        Mass::from_decimal(count, 1, MassUnit::Gram)
    }

    #[test]
    fn three_tenths_of_a_second_above_are_a_pour() {
        assert_eq!(gained(&[930, 930, 930, 940, 950], 100), None, "0.2 s");
        assert_eq!(gained(&[930, 930, 940, 950, 960], 100), tenths(20), "0.3 s");
        assert_eq!(gained(&[930, 930, 940, 950, 960, 700, 300], 100), tenths(20));
    }

    #[test]
    fn two_intervals_are_a_flicker() {
        assert_eq!(gained(&[930, 932, 932, 932, 932], 100), None);
        assert_eq!(gained(&[930, 933, 933, 933, 933], 100), tenths(3));
    }

    #[test]
    fn what_has_gone_again_is_no_pour() {
        let mut loads = vec![930, 950, 950, 950, 950];
        loads.extend([930; 7]);
        assert_eq!(gained(&loads, 100), tenths(20), "0.7 s before");
        loads.push(930);
        assert_eq!(gained(&loads, 100), None, "0.8 s before");
    }

    /// One reading of a slow scale stands for half a second.
    #[test]
    fn a_slow_scale_tells_by_one_reading() {
        assert_eq!(gained(&[930, 930, 950], 500), tenths(20));
        assert_eq!(gained(&[930, 930, 930], 500), None);
    }
}
