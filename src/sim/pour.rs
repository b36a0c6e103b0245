//! How a person pours: fast, then slower, then a thread, and always a moment late.

use std::collections::VecDeque;

use super::chance::Chance;
use crate::bench::WeighingView;
use crate::chemistry::IngredientId;
use crate::quantity::Span;

/// What the eye reads is acted on this much later, in seconds.
const REACTION_S: (f64, f64) = (0.25, 0.45);
/// Fastest flows, g/s: caustic by the scoop, everything else.
const FAST_CAUSTIC: f64 = 5.0;
const FAST: f64 = 25.0;
/// The last of it, g/s.
const THREAD_CAUSTIC: f64 = 0.25;
const THREAD: (f64, f64) = (0.2, 1.2);
const THREAD_PER_TARGET: f64 = 0.004;
/// Slows so that what is left would take this long.
const APPROACH_S: f64 = 2.2;
/// A bottle is tilted, not switched: the flow grows this slowly, s.
const TILT_S: f64 = 0.8;
/// A slip goes on at this flow at least, whatever the screen says.
const SLIP: f64 = 2.5;
/// A display that shows nothing for the reaction time stops the hand; so does a pour that never
/// ends.
const PATIENCE: Span = Span::from_secs(240);

#[derive(Clone, Debug)]
pub struct Pour {
    pub ingredient: IngredientId,
    caustic: bool,
    /// Poured on purpose (or by a slip) so far beyond the target; negative: short of it.
    stray_g: f64,
    thread: f64,
    reaction: Span,
    begun: Span,
    rate: f64,
    last: Span,
    seen: VecDeque<(Span, Option<f64>)>,
    strayed: bool,
}

impl Pour {
    pub fn new(weighing: &WeighingView, stray_g: f64, now: Span, chance: &mut Chance) -> Pour {
        let caustic = weighing.target.guard.is_some();
        let thread = (weighing.target.mass.grams() * THREAD_PER_TARGET).clamp(THREAD.0, THREAD.1);
        let reaction = chance.between(REACTION_S.0, REACTION_S.1);
        Pour {
            ingredient: weighing.ingredient.clone(),
            caustic,
            stray_g,
            thread: if caustic { THREAD_CAUSTIC } else { thread } * chance.between(0.8, 1.2),
            reaction: Span::from_nanos((reaction * 1e9) as i64),
            begun: now,
            rate: 0.0,
            last: now,
            seen: VecDeque::new(),
            strayed: false,
        }
    }

    /// The flow from now on in g/s; `None`: the hand stops.
    pub fn rate(&mut self, now: Span, weighing: Option<&WeighingView>) -> Option<f64> {
        let weighing = weighing.filter(|weighing| weighing.ingredient == self.ingredient);
        let left = weighing.and_then(|weighing| weighing.left).map(|left| left.grams());
        self.seen.push_back((now, left));
        while self.seen.get(1).is_some_and(|&(at, _)| at + self.reaction <= now) {
            self.seen.pop_front();
        }
        let left = self.seen.front().and_then(|&(_, left)| left)?;
        if now - self.begun > PATIENCE {
            return None;
        }
        let left = left + self.stray_g;
        // what still falls when the bottle is righted is reckoned with
        let late = self.reaction.seconds() + 0.35;
        if left <= self.rate * late {
            self.strayed = self.stray_g != 0.0;
            return None;
        }
        let fast = if self.caustic { FAST_CAUSTIC } else { FAST };
        let slowest = if self.stray_g > 0.0 { SLIP } else { self.thread };
        let wanted = (left / APPROACH_S).clamp(slowest, fast.max(slowest));
        let most = self.rate + fast / TILT_S * (now - self.last).seconds().max(0.0);
        self.last = now;
        self.rate = wanted.min(most.max(slowest));
        Some(self.rate)
    }

    pub const fn has_strayed(&self) -> bool {
        self.strayed
    }
}
