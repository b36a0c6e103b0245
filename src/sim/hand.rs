//! The operator: sees the screen, thinks a moment, does one thing at a time.
//!
//! The hand knows nothing but the [`View`] and its orders, so a bench that asks for the wrong
//! thing gets the wrong thing.

use std::collections::BTreeMap;

use super::chance::Chance;
use super::eyes::celsius_at;
use super::heat::{BATH_COOLING_S, Lye, PLATE_W};
use super::pour::Pour;
use super::scene::{JUG, POT, Scene};
use super::story::Orders;
use super::world::Event;
use crate::bench::{Act, ProbeAt, View};
use crate::chemistry::IngredientId;
use crate::quantity::Span;

/// Seconds to see a thing and begin to act on it.
const THINK_S: (f64, f64) = (0.5, 1.2);
const CARRY_S: f64 = 0.9;
/// A display is trusted this long after the hand has left it.
const SETTLE_S: f64 = 1.8;
const SPOON_S: f64 = 2.6;
/// A spoon of caustic, a ladle of anything else.
const SPOON_G: f64 = 1.6;
const LADLE_G: f64 = 40.0;
const TIP_S: f64 = 12.0;
const COMBINE_S: f64 = 6.0;
pub(super) const LOOK_S: f64 = 3.0;
/// Oils wait for the lye at this, and the mixture is brought to this before the cook; the hand
/// turns the plate by so many watts a kelvin short.
const OILS_C: f64 = 57.0;
const COOK_C: f64 = 75.0;
const PLATE_W_PER_K: f64 = 30.0;
const PLATE_HOLD_W_PER_K: f64 = 1.2;
/// In the cook a careful hand adds no more than this: about 2 K/min.
const GENTLY_W: f64 = 45.0;
/// So near to the wanted heat a careful hand turns the plate down.
const NEAR_K: f64 = 5.0;
/// Sees to the plate this often.
const TEND: Span = Span::from_secs(4);
/// Beyond the wanted heat, a forgetful hand goes this much further before it notices.
const FORGETS_K: f64 = 3.0;

#[derive(Clone, Debug)]
pub struct Hand {
    pub(super) orders: Orders,
    chance: Chance,
    busy: Busy,
    /// What it has in mind, and when it will begin.
    mind: Option<(Want, Span)>,
    pour: Option<Pour>,
    /// Ingredients that were poured off target as ordered; from then on the hand works well.
    pub(super) strayed: Vec<IngredientId>,
    pub(super) vessels: BTreeMap<IngredientId, String>,
    pub(super) cups: Vec<String>,
    pub(super) tipped_at: Option<Span>,
    pub(super) combined_at: Option<Span>,
    /// Has said that more was tipped in than weighed.
    pub(super) told: bool,
    cooked: bool,
    pub(super) looks: usize,
    /// Told to press the zero key before a vessel goes back.
    pub(super) zero_first: bool,
    overheated: bool,
    pub(super) pan_since: Span,
    tended: Span,
}

#[derive(Clone, Debug, PartialEq)]
enum Busy {
    Free,
    /// Waits, or is somewhere else.
    Until(Span),
    Carries {
        until: Span,
        vessel: Option<String>,
    },
    Tips {
        until: Span,
    },
    Combines {
        until: Span,
    },
    Spoons {
        until: Span,
        ingredient: IngredientId,
        grams: f64,
    },
    Zeroes {
        until: Span,
    },
    Presses {
        at: Span,
        acts: Vec<Act>,
    },
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Want {
    Put(String),
    Take,
    Pour,
    Spoon,
    Press(Vec<Act>, u32),
    Tip,
    Combine,
    /// The scale's own key, with nothing on the pan.
    PressZero,
}

impl Hand {
    pub fn new(orders: Orders, chance: Chance) -> Hand {
        Hand {
            orders,
            chance,
            busy: Busy::Free,
            mind: None,
            pour: None,
            strayed: Vec::new(),
            vessels: BTreeMap::new(),
            cups: Vec::new(),
            tipped_at: None,
            combined_at: None,
            told: false,
            cooked: false,
            looks: 0,
            zero_first: false,
            overheated: false,
            pan_since: Span::ZERO,
            tended: Span::ZERO,
        }
    }

    /// Looks at the screen and does what comes next.
    pub fn act(&mut self, now: Span, view: &View, scene: &mut Scene, events: &mut Vec<Event>) {
        if self.orders.is_away(now) {
            self.stop_pour(scene);
            self.mind = None;
            return;
        }
        self.tend(now, view, scene);
        if self.pour.is_some() {
            self.go_on_pouring(now, view, scene, events);
            return;
        }
        if !self.finish(now, scene, events) {
            return;
        }
        let Some(want) = self.want(now, view, scene) else {
            self.mind = None;
            return;
        };
        match &self.mind {
            Some((minded, from)) if *minded == want => {
                if *from <= now {
                    self.mind = None;
                    self.begin(want, now, view, events);
                }
            }
            _ => {
                let think = self.chance.between(THINK_S.0, THINK_S.1);
                self.mind = Some((want, now + seconds(think)));
            }
        }
    }

    /// Ends what is under way; false while it still lasts.
    fn finish(&mut self, now: Span, scene: &mut Scene, events: &mut Vec<Event>) -> bool {
        let ended = match &self.busy {
            Busy::Free => return true,
            Busy::Until(until)
            | Busy::Carries { until, .. }
            | Busy::Tips { until }
            | Busy::Combines { until }
            | Busy::Zeroes { until }
            | Busy::Spoons { until, .. } => *until <= now,
            Busy::Presses { at, .. } => *at <= now,
        };
        if !ended {
            self.during(now, scene);
            return false;
        }
        match std::mem::replace(&mut self.busy, Busy::Free) {
            Busy::Free | Busy::Until(_) => {}
            Busy::Carries { vessel, .. } => {
                match vessel {
                    Some(vessel) => {
                        scene.put(&vessel);
                        events.push(Event::Note(format!("puts the {vessel} on the pan")));
                    }
                    None => {
                        let name = scene.on_pan.clone().unwrap_or_default();
                        scene.take();
                        events.push(Event::Note(format!("takes the {name} off the pan")));
                    }
                }
                self.pan_since = now;
            }
            Busy::Tips { .. } => {
                for cup in self.cups.clone() {
                    scene.tip_into_lye(&cup, f64::INFINITY);
                }
                let more = self.orders.tips_more.as_ref().map(|(_, more)| more.grams());
                scene.strew_into_lye(more.unwrap_or_default());
                scene.lye.cooling_s = BATH_COOLING_S;
                self.tipped_at = Some(now);
            }
            Busy::Combines { .. } => {
                let (grams, celsius) = (scene.lye.mass_g(), scene.lye.celsius);
                scene.pot.add_lye(grams, celsius);
                scene.lye = Lye::new(scene.lye.alkali, celsius);
                scene.tip_out(JUG, f64::INFINITY);
                self.combined_at = Some(now);
            }
            Busy::Spoons { ingredient, grams, .. } => {
                scene.touch_g = 0.0;
                scene.spoon_out(&ingredient, grams);
                self.busy = Busy::Until(now + seconds(SETTLE_S));
            }
            Busy::Zeroes { .. } => {
                scene.scale.zero_here();
                self.pan_since = now;
            }
            Busy::Presses { acts, .. } => {
                self.told |= acts.iter().any(|act| matches!(act, Act::Correct { .. }));
                events.extend(acts.into_iter().map(Event::Act));
            }
        }
        self.busy == Busy::Free
    }

    /// What happens while a thing lasts.
    fn during(&mut self, now: Span, scene: &mut Scene) {
        match &self.busy {
            Busy::Tips { until } => {
                let left = (*until - now).seconds().max(0.1);
                for cup in self.cups.clone() {
                    let held = scene.vessel(&cup).net_g();
                    scene.tip_into_lye(&cup, held * (0.1 / left).min(1.0));
                }
            }
            Busy::Spoons { until, .. } => {
                let left = (*until - now).seconds();
                scene.touch_g =
                    if left < SPOON_S / 2.0 { self.chance.between(-1.0, 0.6) } else { 0.0 };
            }
            _ => {}
        }
    }

    fn begin(&mut self, want: Want, now: Span, view: &View, events: &mut Vec<Event>) {
        let batch = view.batches.first();
        let weighing = batch.and_then(|batch| batch.weighing.as_ref());
        match want {
            Want::Put(vessel) => {
                self.busy = Busy::Carries { until: now + seconds(CARRY_S), vessel: Some(vessel) };
            }
            Want::Take => {
                self.busy = Busy::Carries { until: now + seconds(CARRY_S), vessel: None };
            }
            Want::Pour => {
                let Some(weighing) = weighing else { return };
                let stray = self.stray(&weighing.ingredient);
                events.push(Event::Note(format!("pours {}", weighing.name)));
                self.pour = Some(Pour::new(weighing, stray, now, &mut self.chance));
            }
            Want::Spoon => {
                let Some((weighing, net)) = weighing.and_then(|w| Some((w, w.net?))) else {
                    return;
                };
                let excess = (net - weighing.target.mass).grams();
                let spoon = if weighing.target.guard.is_some() { SPOON_G } else { LADLE_G };
                let grams = if excess > spoon {
                    spoon * self.chance.between(0.8, 1.1)
                } else {
                    excess + self.chance.between(0.0, 0.1)
                };
                events.push(Event::Note(format!("spoons out {}", weighing.name)));
                let ingredient = weighing.ingredient.clone();
                self.busy = Busy::Spoons { until: now + seconds(SPOON_S), ingredient, grams };
            }
            Want::Press(acts, after_s) => {
                let seen_pot = matches!(acts.last(), Some(Act::Confirm { .. }));
                self.looks += usize::from(seen_pot && batch.is_some_and(|b| b.cook.is_some()));
                self.busy = Busy::Presses { at: now + seconds(f64::from(after_s)), acts };
            }
            Want::Tip => {
                events.push(Event::Note("tips the caustic into the liquid".to_owned()));
                self.busy = Busy::Tips { until: now + seconds(TIP_S) };
            }
            Want::PressZero => {
                events.push(Event::Note("presses the scale's zero key".to_owned()));
                self.busy = Busy::Zeroes { until: now + seconds(CARRY_S) };
            }
            Want::Combine => {
                events.push(Event::Note("pours the lye into the oils".to_owned()));
                self.busy = Busy::Combines { until: now + seconds(COMBINE_S) };
            }
        }
    }

    fn go_on_pouring(
        &mut self,
        now: Span,
        view: &View,
        scene: &mut Scene,
        events: &mut Vec<Event>,
    ) {
        let Some(pour) = &mut self.pour else { return };
        let weighing = view.batches.first().and_then(|batch| batch.weighing.as_ref());
        match pour.rate(now, weighing) {
            Some(rate) => scene.stream = Some((pour.ingredient.clone(), rate)),
            None => {
                if pour.has_strayed() {
                    self.strayed.push(pour.ingredient.clone());
                }
                events.push(Event::Note("stops".to_owned()));
                self.stop_pour(scene);
                self.busy = Busy::Until(now + seconds(SETTLE_S));
            }
        }
    }

    fn stop_pour(&mut self, scene: &mut Scene) {
        scene.stream = None;
        self.pour = None;
    }

    /// Turns the plate, now and then, by the thermometer.
    fn tend(&mut self, now: Span, view: &View, scene: &mut Scene) {
        if now < self.tended + TEND {
            return;
        }
        self.tended = now;
        let on_pan = scene.on_pan.as_deref() == Some(POT);
        let Some(shown) = celsius_at(view, ProbeAt::Pot).or(celsius_at(view, ProbeAt::Oils)) else {
            return;
        };
        let cook = view.batches.first().and_then(|batch| batch.cook.as_ref());
        self.cooked |= cook.is_some();
        let middle =
            cook.map(|cook| (cook.window.low.celsius() + cook.window.high.celsius()) / 2.0);
        let forgets = self.orders.overheats_to.filter(|_| !self.overheated).map(|to| to.celsius());
        let (wanted, gently) = match (middle, forgets) {
            (Some(_), Some(to)) => {
                self.overheated = shown >= to;
                (to + FORGETS_K, false)
            }
            (Some(middle), None) => (middle, true),
            (None, _) if self.cooked => (0.0, true),
            (None, _) if self.combined_at.is_some() => (COOK_C, COOK_C - shown < NEAR_K),
            (None, _) => (OILS_C, false),
        };
        let hold = PLATE_HOLD_W_PER_K * (shown - scene.room_c).max(0.0);
        let more = (wanted - shown) * PLATE_W_PER_K;
        let watts = hold + if gently { more.min(GENTLY_W) } else { more };
        let idle = scene.pot.oil_g <= 0.0 || on_pan || wanted <= 0.0;
        scene.pot.plate_w = if idle { 0.0 } else { watts.clamp(0.0, PLATE_W) };
    }
}

fn seconds(seconds: f64) -> Span {
    Span::from_nanos((seconds * 1e9) as i64)
}
