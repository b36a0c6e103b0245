use std::collections::VecDeque;

use crate::quantity::{Mass, Moment, Span};

/// Tells a hand that presses the pan twice from knocks, pours, and things put down and taken up.
///
/// From rest, two short loads, and the same rest again. A thing put down is heavier for longer, or
/// lies stiller than a hand can; a knock swings both ways; a third load is fidgeting.
///
/// Delay: until the pan is at rest again, so the rest's own delay after the hand has gone. At fewer
/// than five readings a second it sees nothing, which errs towards "not pressed".
#[derive(Clone, Debug, Default)]
pub struct PressWindow {
    /// Where and when the pan was last at rest.
    rested: Option<(Moment, Mass)>,
    pressing: Option<Pressing>,
}

/// What counts as a press.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PressTest {
    /// A hand weighs more than this.
    pub least: Mass,
    /// The pan comes back to where it was within this.
    pub back: Mass,
    /// Each press lasts as long as this at least, and no longer than that.
    pub shortest: Span,
    pub longest: Span,
    /// Both lie within this, from the first load to the last; nought: nothing is ever a press.
    pub within: Span,
}

/// The pan has been pressed twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pressed {
    /// When the first press began.
    pub began: Moment,
    /// What the pan carries beside the hand.
    pub rest: Mass,
}

#[derive(Clone, Debug)]
struct Pressing {
    rest: Mass,
    began: Moment,
    /// Since when the hand is on the pan; `None`: it is off.
    on_since: Option<Moment>,
    /// When the hand last went, and whether the pan has been back at its rest since.
    off_at: Moment,
    back: bool,
    presses: u8,
    low: Mass,
    high: Mass,
    /// The loads of this press, to tell a thing from a hand.
    lately: VecDeque<(Moment, Mass)>,
}

/// A press comes at once: this long after the last rest at most.
const RISE_MAX: Span = Span::from_millis(500);
/// What stands so still for so long is a thing, not a hand.
const STILL: Span = Span::from_millis(300);
/// Rest must have come again by then.
const REST_AFTER_MAX: Span = Span::from_secs(5);
const GAP_MAX: Span = Span::from_millis(500);
const LATELY_MAX: usize = 256;

impl PressWindow {
    /// Takes the next load, and the mass at rest if the pan is at rest with it.
    pub fn push(
        &mut self,
        at: Moment,
        load: Mass,
        rest: Option<Mass>,
        test: &PressTest,
    ) -> Option<Pressed> {
        let pressed = match self.pressing.take() {
            Some(pressing) => self.go_on(pressing, at, load, rest, test),
            None => {
                self.pressing = self.begins(at, load, test);
                None
            }
        };
        if let Some(rest) = rest {
            self.rested = Some((at, rest));
        }
        pressed
    }

    pub fn clear(&mut self) {
        *self = PressWindow::default();
    }

    /// What the pan carries beside the hand, while it moves as it does when a hand presses it.
    pub fn resting(&self) -> Option<Mass> {
        self.pressing.as_ref().map(|pressing| pressing.rest)
    }

    fn begins(&self, at: Moment, load: Mass, test: &PressTest) -> Option<Pressing> {
        let (rested_at, rest) = self.rested?;
        let at_once = load > rest + test.least && at.since(rested_at) <= RISE_MAX;
        (at_once && test.within > Span::ZERO).then(|| Pressing {
            rest,
            began: at,
            on_since: Some(at),
            off_at: at,
            back: false,
            presses: 0,
            low: rest,
            high: load,
            lately: VecDeque::from([(at, load)]),
        })
    }

    /// Keeps the press going while it can still be one.
    fn go_on(
        &mut self,
        mut pressing: Pressing,
        at: Moment,
        load: Mass,
        rest: Option<Mass>,
        test: &PressTest,
    ) -> Option<Pressed> {
        let last = pressing.lately.back().map_or(pressing.off_at, |&(last, _)| last);
        if at < last || at.since(last) > GAP_MAX {
            self.clear();
            return None;
        }
        pressing.note(at, load);
        let still_one = if load > pressing.rest + test.least {
            pressing.hand_on(at, test)
        } else {
            pressing.hand_off(at, load, test)
        };
        if !still_one {
            // before the next there must be rest
            self.clear();
            return None;
        }
        let ended = rest.filter(|_| pressing.presses == 2 && pressing.on_since.is_none());
        match ended {
            Some(rest) => pressing.ends_at(rest, test),
            None => {
                self.pressing = Some(pressing);
                None
            }
        }
    }
}

impl Pressing {
    fn note(&mut self, at: Moment, load: Mass) {
        self.low = self.low.min(load);
        self.high = self.high.max(load);
        self.lately.push_back((at, load));
        if self.lately.len() > LATELY_MAX {
            self.lately.pop_front();
        }
    }

    fn hand_on(&mut self, at: Moment, test: &PressTest) -> bool {
        let since = match self.on_since {
            Some(since) => since,
            None if self.presses == 2 || !self.back => return false,
            None => {
                self.lately.drain(..self.lately.len() - 1);
                *self.on_since.insert(at)
            }
        };
        at.since(since) <= test.longest
            && at.since(self.began) <= test.within
            && !self.lies_still(at, test)
    }

    fn hand_off(&mut self, at: Moment, load: Mass, test: &PressTest) -> bool {
        if let Some(since) = self.on_since.take() {
            self.presses += 1;
            self.off_at = at;
            self.back = false;
            if at.since(since) < test.shortest
                || at.since(since) > test.longest
                || at.since(self.began) > test.within
            {
                return false;
            }
        }
        self.back |= (load - self.rest).abs() <= test.back;
        let waits = if self.presses == 2 { REST_AFTER_MAX } else { test.within };
        at.since(self.off_at) <= waits
    }

    /// Within as little as the pan may be off its rest, for as long as a plateau.
    fn lies_still(&self, at: Moment, test: &PressTest) -> bool {
        let level = self.lately.back().map(|&(_, load)| load).unwrap_or_default();
        let moved = self.lately.iter().rposition(|&(_, load)| (load - level).abs() > test.back);
        let first = moved.map_or(0, |index| index + 1);
        self.lately.get(first).is_some_and(|&(since, _)| at.since(since) >= STILL)
    }

    fn ends_at(&self, rest: Mass, test: &PressTest) -> Option<Pressed> {
        let same = (rest - self.rest).abs() <= test.back;
        // a pan let go swings a little; one that was knocked swings as far down as up
        let pushed = (self.rest - self.low) * 2 < self.high - self.rest;
        (same && pushed).then_some(Pressed { began: self.began, rest: self.rest })
    }
}

#[cfg(test)]
#[path = "press_tests.rs"]
mod tests;
