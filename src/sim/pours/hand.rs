//! A hand that pours by ear: it hears "slow" and "stop", and reads the number as late as a person
//! does.
//!
//! All figures are ours, chosen on the slow side of what a practised person does: hearing a word
//! and moving an arm takes longer than the 0.2 s of a finger on a button, a bottle is righted and
//! not switched off, and it drips.

use super::super::chance::Chance;
use crate::bench::Pace;
use crate::quantity::Span;

/// Seconds from a cue to the beginning of the movement: the operator's own mean, and how much one
/// time differs from the next (standard deviation).
const REACTION_S: (f64, f64) = (0.25, 0.60);
const REACTION_SPREAD_S: f64 = 0.08;
const REACTION_LEAST_S: f64 = 0.15;
/// The flow follows the hand with this time constant, for each operator.
const TILT_S: (f64, f64) = (0.15, 0.35);
/// A number is read this late.
const READING_S: (f64, f64) = (0.4, 0.8);
/// Told to slow down, the hand goes on with this part of its flow.
const SLOWED: (f64, f64) = (0.2, 0.45);
/// The thinnest thread the hand can hold, as part of its flow, and in g/s.
const THREAD: (f64, f64) = (0.04, 0.10);
const THREAD_LIQUID: (f64, f64) = (0.3, 2.0);
/// Caustic is tapped from the scoop.
const THREAD_CAUSTIC: (f64, f64) = (0.15, 0.5);
/// A flow is uneven: bottles glug, flakes come in lumps.
const UNEVEN: f64 = 0.12;
const UNEVEN_LASTS_S: f64 = 0.3;
/// What falls after the bottle is upright, in grams: drops of a twentieth of a gram; a pellet.
const DRIP_LIQUID_G: f64 = 0.4;
const DRIP_CAUSTIC_G: f64 = 0.15;
/// Topping up, the hand goes so slowly that what is left would take this long.
const TOP_UP_S: f64 = 3.0;

/// One operator's habits, and what the hand is doing just now.
#[derive(Clone, Debug)]
pub struct PouringHand {
    chance: Chance,
    /// The flow it likes to pour with, g/s.
    flow: f64,
    thread: f64,
    drip_max_g: f64,
    reaction_s: f64,
    tilt_s: f64,
    reading_s: f64,
    slowed: f64,
    /// The flow the hand wants, and the flow there is.
    wanted: f64,
    now_g_per_s: f64,
    uneven: f64,
    /// What it has heard and will do, and when.
    minded: Vec<(Span, f64)>,
    drip_g: f64,
    /// What the screen said, to be read later.
    seen: std::collections::VecDeque<(Span, Option<f64>)>,
}

impl PouringHand {
    pub fn new(flow: f64, caustic: bool, mut chance: Chance) -> PouringHand {
        let (thread, drip_max_g) = if caustic {
            (chance.between(THREAD_CAUSTIC.0, THREAD_CAUSTIC.1), DRIP_CAUSTIC_G)
        } else {
            let part = flow * chance.between(THREAD.0, THREAD.1);
            (part.clamp(THREAD_LIQUID.0, THREAD_LIQUID.1), DRIP_LIQUID_G)
        };
        PouringHand {
            flow,
            thread: thread.min(flow),
            drip_max_g,
            reaction_s: chance.between(REACTION_S.0, REACTION_S.1),
            tilt_s: chance.between(TILT_S.0, TILT_S.1),
            reading_s: chance.between(READING_S.0, READING_S.1),
            slowed: chance.between(SLOWED.0, SLOWED.1),
            wanted: 0.0,
            now_g_per_s: 0.0,
            uneven: 0.0,
            minded: Vec::new(),
            drip_g: 0.0,
            seen: std::collections::VecDeque::new(),
            chance,
        }
    }

    /// Begins to pour towards something that the screen says is `left`.
    pub fn begin(&mut self, left_g: f64, first: bool) {
        self.minded.clear();
        self.seen.clear();
        let gentle = (left_g / TOP_UP_S).min(self.flow * self.slowed).max(self.thread);
        self.wanted = if first { self.flow } else { gentle };
    }

    pub fn is_pouring(&self) -> bool {
        self.wanted > 0.0
    }

    /// The flow has died away and nothing more will fall.
    pub fn is_done(&self) -> bool {
        self.wanted == 0.0 && self.now_g_per_s < 0.001 && self.drip_g <= 0.0
    }

    pub fn hear(&mut self, now: Span, pace: Pace) {
        let reaction = self.reaction_s + self.chance.noise() * REACTION_SPREAD_S;
        let at = now + seconds(reaction.max(REACTION_LEAST_S));
        match pace {
            Pace::Free => {}
            Pace::Slow => self.minded.push((at, (self.wanted * self.slowed).max(self.thread))),
            Pace::Stop => self.minded.push((at, 0.0)),
        }
    }

    /// Reads what is left off the screen, late; stops by the number alone if nobody says so.
    pub fn see(&mut self, now: Span, left_g: Option<f64>) {
        self.seen.push_back((now, left_g));
        let late = seconds(self.reading_s);
        while self.seen.get(1).is_some_and(|&(at, _)| at + late <= now) {
            self.seen.pop_front();
        }
        let Some(&(at, Some(left))) = self.seen.front() else { return };
        if at + late <= now && left <= 0.0 && self.is_pouring() {
            self.stop();
        }
    }

    pub fn stop(&mut self) {
        self.minded.clear();
        if self.wanted > 0.0 {
            self.drip_g = self.chance.between(0.0, self.drip_max_g);
        }
        self.wanted = 0.0;
    }

    /// The flow over the next `dt_s`, g/s.
    pub fn flow(&mut self, now: Span, dt_s: f64) -> f64 {
        while let Some(index) = self.minded.iter().position(|&(at, _)| at <= now) {
            let (_, wanted) = self.minded.remove(index);
            if wanted == 0.0 {
                self.stop();
            } else if self.is_pouring() {
                self.wanted = wanted;
            }
        }
        self.now_g_per_s += (self.wanted - self.now_g_per_s) * (1.0 - (-dt_s / self.tilt_s).exp());
        let keep = (-dt_s / UNEVEN_LASTS_S).exp();
        let fresh = UNEVEN * (1.0 - keep * keep).sqrt();
        self.uneven = self.uneven * keep + self.chance.noise() * fresh;
        let flow = self.now_g_per_s * (1.0 + self.uneven).max(0.0);
        if self.wanted == 0.0 && self.now_g_per_s < self.thread / 4.0 && self.drip_g > 0.0 {
            // the last drops, one after the other
            let drop = self.drip_g.min(0.05);
            self.drip_g -= drop;
            self.now_g_per_s = 0.0;
            return drop / dt_s;
        }
        if self.wanted == 0.0 && self.now_g_per_s < 0.01 {
            self.now_g_per_s = 0.0;
        }
        flow
    }
}

fn seconds(seconds: f64) -> Span {
    Span::from_nanos((seconds * 1e9) as i64)
}
