//! The operator: sees the screen, thinks a moment, does one thing at a time.
//!
//! The hand knows nothing but the [`View`] and its orders, so a bench that asks for the wrong
//! thing gets the wrong thing.

use std::collections::BTreeMap;

use super::chance::Chance;
use super::heat::{BATH_COOLING_S, Lye, PLATE_W};
use super::pour::Pour;
use super::scene::{BEAKER, CUP, JUG, POT, Scene};
use super::story::Orders;
use super::world::Event;
use crate::bench::{
    Act, AlarmId, Ask, BatchId, BatchView, Observation, Outcome, Phase, ProbeAt, PromptId, Remedy,
    Role, View, WeighingView,
};
use crate::chemistry::IngredientId;
use crate::plan::Vessel;
use crate::quantity::Span;
use crate::reading::Value;

/// Seconds to see a thing and begin to act on it.
const THINK_S: (f64, f64) = (0.5, 1.2);
const CARRY_S: f64 = 0.9;
/// An empty pan is left empty this long before the next vessel comes.
const BETWEEN_VESSELS_S: f64 = 1.2;
/// A display is trusted this long after the hand has left it.
const SETTLE_S: f64 = 1.8;
const SPOON_S: f64 = 2.6;
const SPOON_G: f64 = 1.6;
const TIP_S: f64 = 12.0;
const COMBINE_S: f64 = 6.0;
const LOOK_S: f64 = 3.0;
const WORK_S: f64 = 5.0;
/// A bench that does not see the empty vessel for so long gets it again.
const UNSEEN_S: f64 = 6.0;
/// Lye goes into the oils below this, or after so long in the cold bath; common practice.
const COMBINE_C: f64 = 60.0;
const COMBINE_WAIT_S: f64 = 100.0;
/// Oils wait for the lye at this; the hand turns the plate by so many watts a kelvin short.
const OILS_C: f64 = 72.0;
const PLATE_W_PER_K: f64 = 40.0;
const PLATE_HOLD_W_PER_K: f64 = 1.2;
/// Sees to the plate this often.
const TEND: Span = Span::from_secs(4);
/// Beyond the wanted heat, a forgetful hand goes this much further before it notices.
const FORGETS_K: f64 = 3.0;

#[derive(Clone, Debug)]
pub struct Hand {
    orders: Orders,
    chance: Chance,
    busy: Busy,
    /// What it has in mind, and when it will begin.
    mind: Option<(Want, Span)>,
    pour: Option<Pour>,
    /// Ingredients that were poured off target as ordered; from then on the hand works well.
    strayed: Vec<IngredientId>,
    vessels: BTreeMap<IngredientId, String>,
    cups: Vec<String>,
    tipped_at: Option<Span>,
    combined: bool,
    looks: usize,
    overheated: bool,
    pan_since: Span,
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
    Presses {
        at: Span,
        acts: Vec<Act>,
    },
}

#[derive(Clone, Debug, PartialEq)]
enum Want {
    Put(String),
    Take,
    Pour,
    Spoon,
    Press(Vec<Act>, u32),
    Tip,
    Combine,
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
            combined: false,
            looks: 0,
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
                scene.lye.cooling_s = BATH_COOLING_S;
                self.tipped_at = Some(now);
            }
            Busy::Combines { .. } => {
                let (grams, celsius) = (scene.lye.mass_g(), scene.lye.celsius);
                scene.pot.add_lye(grams, celsius);
                scene.lye = Lye::new(scene.lye.alkali, celsius);
                scene.tip_out(JUG, f64::INFINITY);
                self.combined = true;
            }
            Busy::Spoons { ingredient, grams, .. } => {
                scene.touch_g = 0.0;
                scene.spoon_out(&ingredient, grams);
                self.busy = Busy::Until(now + seconds(SETTLE_S));
            }
            Busy::Presses { acts, .. } => events.extend(acts.into_iter().map(Event::Act)),
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
                    if left < SPOON_S / 2.0 { self.chance.between(-1.0, 2.0) } else { 0.0 };
            }
            _ => {}
        }
    }

    /// What the screen asks for, and the hand would do.
    fn want(&mut self, now: Span, view: &View, scene: &Scene) -> Option<Want> {
        if let Some(alarm) = unacknowledged(view) {
            return Some(Want::Press(vec![Act::Acknowledge { alarm }], 2));
        }
        let batch = view.batches.first()?;
        if batch.step.is_empty() {
            return Some(Want::Press(vec![close(&batch.batch)], 3));
        }
        if let Some(prompt) = &batch.prompt
            && let Some(want) = self.answer(now, view, batch, prompt.prompt, &prompt.asks, scene)
        {
            return Some(want);
        }
        let weighing = batch.weighing.as_ref()?;
        match weighing.phase {
            Phase::AwaitingVessel => self.bring_vessel(now, view, weighing, scene),
            Phase::Lifted => {
                let vessel = self.vessel_for(weighing);
                (scene.on_pan.is_none()).then_some(Want::Put(vessel))
            }
            Phase::Captured => {
                let off = weighing.into == Vessel::Own && scene.on_pan.is_some();
                off.then_some(Want::Take)
            }
            Phase::Pouring | Phase::Settling => self.bring_to_target(weighing),
            Phase::ZeroDoubted => scene.on_pan.is_some().then_some(Want::Take),
            Phase::Over => self.spoon_back(batch, weighing),
            Phase::Taring | Phase::Blind => None,
        }
    }

    fn answer(
        &mut self,
        now: Span,
        view: &View,
        batch: &BatchView,
        prompt: PromptId,
        asks: &Ask,
        scene: &Scene,
    ) -> Option<Want> {
        let confirm = Act::Confirm { prompt };
        match asks {
            Ask::TakeShort { .. } => {
                let weighing = batch.weighing.as_ref()?;
                let meant = self.strayed.contains(&weighing.ingredient)
                    && self.orders.off_target_grams(&weighing.ingredient) < 0.0;
                meant.then(|| Want::Press(vec![confirm], 2))
            }
            Ask::TakeLong { .. } => {
                let caustic = batch.weighing.as_ref()?.target.guard.is_some();
                (!caustic).then(|| Want::Press(vec![confirm], 2))
            }
            Ask::Remedy { options, .. } => {
                let remedy = if self.orders.discards { Remedy::Discard } else { Remedy::SpoonOut };
                let act = Act::Choose { prompt, remedy };
                options.contains(&remedy).then(|| Want::Press(vec![act], 3))
            }
            Ask::Dissolved if self.tipped_at.is_none() => Some(Want::Tip),
            Ask::Dissolved => scene.lye.is_clear().then(|| Want::Press(vec![confirm], 2)),
            Ask::Combined if self.combined => Some(Want::Press(vec![confirm], 2)),
            Ask::Combined => self.lye_is_ready(now, view).then_some(Want::Combine),
            Ask::Look if self.orders.ignores_looks => None,
            Ask::Look => Some(self.look(&batch.batch, confirm)),
            Ask::Cooked => {
                let seen = observed(&batch.batch, Observation::Cooked);
                Some(Want::Press(vec![seen, confirm], LOOK_S as u32))
            }
            Ask::Done => Some(Want::Press(vec![confirm], WORK_S as u32)),
            _ => Some(Want::Press(vec![confirm], 3)),
        }
    }

    /// The pot is looked at, and what is seen is said: first trace, then paste.
    fn look(&self, batch: &BatchId, confirm: Act) -> Want {
        let seen = match self.looks {
            0 => Some(Observation::Trace),
            1 => Some(Observation::Paste),
            _ => None,
        };
        let seen = seen.map(|seen| observed(batch, seen));
        Want::Press(seen.into_iter().chain([confirm]).collect(), LOOK_S as u32)
    }

    fn bring_vessel(
        &mut self,
        now: Span,
        view: &View,
        weighing: &WeighingView,
        scene: &Scene,
    ) -> Option<Want> {
        let wanted = self.vessel_for(weighing);
        let stood = (now - self.pan_since).seconds();
        match &scene.on_pan {
            Some(there) if *there == wanted => {
                let unseen = weighing.into == Vessel::Own && stood > UNSEEN_S;
                unseen.then_some(Want::Take)
            }
            Some(_) => Some(Want::Take),
            None => {
                let clear = grams_shown(view).is_none_or(|shown| shown.abs() < 1.0);
                (clear && stood > BETWEEN_VESSELS_S).then_some(Want::Put(wanted))
            }
        }
    }

    /// Pours on while there is too little, spoons out too much caustic, else leaves it alone.
    fn bring_to_target(&mut self, weighing: &WeighingView) -> Option<Want> {
        let left = weighing.left?.grams();
        let target = &weighing.target;
        let slack = (target.mass - target.low).grams();
        let stray = self.stray(&weighing.ingredient);
        if left + stray > slack {
            return Some(Want::Pour);
        }
        if stray != 0.0 {
            self.strayed.push(weighing.ingredient.clone());
        }
        let above = target.guard.is_some() && weighing.net? > target.high;
        above.then_some(Want::Spoon)
    }

    fn spoon_back(&mut self, batch: &BatchView, weighing: &WeighingView) -> Option<Want> {
        self.strayed.push(weighing.ingredient.clone());
        let asked = batch.prompt.as_ref().map(|prompt| &prompt.asks);
        let chosen = !matches!(asked, Some(Ask::Remedy { options, .. })
            if options.contains(&Remedy::SpoonOut));
        (chosen && weighing.net? > weighing.target.mass).then_some(Want::Spoon)
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
                let grams = if excess > SPOON_G {
                    SPOON_G * self.chance.between(0.8, 1.1)
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
        let middle =
            cook.map(|cook| (cook.window.low.celsius() + cook.window.high.celsius()) / 2.0);
        let wanted = match (middle, self.orders.overheats_to) {
            (Some(_), Some(to)) if !self.overheated => {
                self.overheated = shown >= to.celsius();
                to.celsius() + FORGETS_K
            }
            (Some(middle), _) => middle,
            (None, _) if self.combined => 0.0,
            (None, _) => OILS_C,
        };
        let idle = scene.pot.oil_g <= 0.0 || on_pan || wanted <= 0.0;
        let hold = PLATE_HOLD_W_PER_K * (shown - scene.room_c);
        let watts = (wanted - shown) * PLATE_W_PER_K + hold;
        scene.pot.plate_w = if idle { 0.0 } else { watts.clamp(0.0, PLATE_W) };
    }

    fn lye_is_ready(&self, now: Span, view: &View) -> bool {
        let waited = self.tipped_at.map_or(0.0, |at| (now - at).seconds());
        celsius_at(view, ProbeAt::Lye).is_some_and(|lye| lye < COMBINE_C) || waited > COMBINE_WAIT_S
    }

    /// How far from the target this ingredient is still to be poured, as ordered.
    fn stray(&self, ingredient: &IngredientId) -> f64 {
        if self.strayed.contains(ingredient) && self.orders.off_target_grams(ingredient) > 0.0 {
            return 0.0;
        }
        self.orders.off_target_grams(ingredient)
    }

    fn vessel_for(&mut self, weighing: &WeighingView) -> String {
        if weighing.into == Vessel::Pot {
            return POT.to_owned();
        }
        if let Some(known) = self.vessels.get(&weighing.ingredient) {
            return known.clone();
        }
        let own = self.vessels.len();
        let name = if weighing.target.guard.is_some() {
            let nth = self.cups.len();
            let cup = if nth == 0 { CUP.to_owned() } else { format!("{CUP}-{}", nth + 1) };
            self.cups.push(cup.clone());
            cup
        } else if self.vessels.values().any(|vessel| vessel == JUG) {
            if own <= 2 { BEAKER.to_owned() } else { format!("{BEAKER}-{own}") }
        } else {
            JUG.to_owned()
        };
        self.vessels.insert(weighing.ingredient.clone(), name.clone());
        name
    }
}

/// An alarm the hand answers with "seen". Too much caustic is answered by a remedy.
fn unacknowledged(view: &View) -> Option<AlarmId> {
    let seen = |alarm: &AlarmId| matches!(alarm, AlarmId::CausticOver { .. });
    let mut open = view.alarms.iter().filter(|alarm| !alarm.acknowledged && !seen(&alarm.alarm));
    open.next().map(|alarm| alarm.alarm.clone())
}

fn close(batch: &BatchId) -> Act {
    Act::Close { batch: batch.clone(), outcome: Outcome::Finished, note: String::new() }
}

fn observed(batch: &BatchId, observation: Observation) -> Act {
    Act::Observe { batch: batch.clone(), observation, note: String::new() }
}

fn grams_shown(view: &View) -> Option<f64> {
    let scale = view.channels.iter().find(|channel| matches!(channel.role, Role::Scale { .. }))?;
    match scale.value {
        Some(Value::Mass { mass, .. }) => Some(mass.grams()),
        _ => None,
    }
}

fn celsius_at(view: &View, place: ProbeAt) -> Option<f64> {
    let found = view
        .channels
        .iter()
        .find(|channel| matches!(channel.role, Role::Probe { at, .. } if at == place))?;
    match found.value {
        Some(Value::Temperature { temperature, .. }) => Some(temperature.celsius()),
        _ => None,
    }
}

fn seconds(seconds: f64) -> Span {
    Span::from_nanos((seconds * 1e9) as i64)
}
