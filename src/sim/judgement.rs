//! What the hand would do next, from what the screen shows.

use super::eyes::{celsius_at, grams_shown, unacknowledged};
use super::hand::{Hand, LOOK_S, Want};
use super::scene::{BEAKER, CUP, JUG, POT, Scene};
use crate::bench::{
    Act, Ask, BatchId, BatchView, Observation, Outcome, Phase, ProbeAt, PromptId, Remedy, Source,
    View, WeighingView,
};
use crate::chemistry::IngredientId;
use crate::plan::Vessel;
use crate::quantity::{Span, Temperature};

/// An empty pan is left empty this long before the next vessel comes.
const BETWEEN_VESSELS_S: f64 = 1.2;
const WORK_S: f64 = 5.0;
/// A bench that does not see the empty vessel for so long gets it again.
const STILL_S: f64 = 4.0;
const UNSEEN_S: f64 = 6.0;
/// Lye goes into the oils below this, or after so long in the cold bath; common practice.
const COMBINE_C: f64 = 60.0;
const COMBINE_WAIT_S: f64 = 240.0;
/// So the screen says when the pan carries what is not of this pot.
const CLEAR_FIRST: &str = "Take everything off the pan first";
/// A hand says yes to less than this part too much, and takes out what is more.
const LITTLE: f64 = 0.25;
/// The mixture is stirred on the plate until it is this warm, or for so long.
const WARM_C: f64 = 72.5;
const STIR_MAX_S: f64 = 120.0;

/// A thermometer of one's own takes so long, and what it said is old after so long.
const MEASURE_S: u32 = 8;
const MEASURED_OLD: Span = Span::from_secs(90);

impl Hand {
    /// What the screen asks for, and the hand would do.
    pub(super) fn want(&mut self, now: Span, view: &View, scene: &Scene) -> Option<Want> {
        if let Some(alarm) = unacknowledged(view) {
            return Some(Want::Press(vec![Act::Acknowledge { alarm }], 2));
        }
        let batch = view.batches.first()?;
        if batch.step.is_empty() {
            return Some(Want::Press(vec![close(&batch.batch)], 3));
        }
        let may_use_pan = batch.has_scale && !batch.sentence.contains(CLEAR_FIRST);
        if !may_use_pan && scene.on_pan.is_some() {
            // the pan is somebody else's now
            return Some(Want::Take);
        }
        if let Some(measured) = self.measure(view, batch, scene) {
            return Some(measured);
        }
        if let Some(prompt) = &batch.prompt
            && (may_use_pan || !matches!(prompt.asks, Ask::VesselBack { .. }))
            && let Some(want) = self.answer(now, view, batch, prompt.prompt, &prompt.asks, scene)
        {
            return Some(want);
        }
        let weighing = batch.weighing.as_ref().filter(|_| may_use_pan)?;
        match weighing.phase {
            Phase::AwaitingVessel => self.bring_vessel(now, view, weighing, scene),
            Phase::Lifted => {
                // it stands there, but the screen does not see it: off with it, and back
                let unseen = (now - self.pan_since).seconds() > UNSEEN_S;
                match &scene.on_pan {
                    Some(_) => unseen.then_some(Want::Take),
                    // the empty pan comes to rest first, in case the zero has moved
                    None if (now - self.pan_since).seconds() < STILL_S => None,
                    None => Some(Want::Put(self.vessel_for(weighing))),
                }
            }
            Phase::Captured => {
                let off = weighing.into == Vessel::Own && scene.on_pan.is_some();
                off.then_some(Want::Take)
            }
            Phase::Pouring | Phase::Settling => self.bring_to_target(weighing),
            Phase::ZeroDoubted => {
                let stood = (now - self.pan_since).seconds() > UNSEEN_S;
                let told_to_press = batch.sentence.contains("zero key");
                let shows = grams_shown(view).is_some_and(|shown| shown.abs() >= 1.0);
                match &scene.on_pan {
                    Some(_) if stood => Some(Want::Take),
                    None if stood && told_to_press && shows => Some(Want::PressZero),
                    None if stood => Some(Want::Put(self.vessel_for(weighing))),
                    _ => None,
                }
            }
            Phase::Over => self.spoon_back(batch, weighing),
            Phase::TakingOut => {
                let vessel = self.vessel_for(weighing);
                match &scene.on_pan {
                    None => Some(Want::Put(vessel)),
                    Some(there) if *there != vessel => Some(Want::Take),
                    Some(_) => weighing.left?.is_negative().then_some(Want::Spoon),
                }
            }
            Phase::Taring | Phase::Blind => None,
        }
    }

    /// In a cook whose pot no probe shows, a thermometer of their own; again before it is too old.
    fn measure(&self, view: &View, batch: &BatchView, scene: &Scene) -> Option<Want> {
        let unknown = celsius_at(view, ProbeAt::Pot).is_none();
        let mut known = batch.temperatures.iter().filter(|known| known.at == ProbeAt::Pot);
        let old = known.any(|known| known.source == Source::ByHand && known.age > MEASURED_OLD);
        if !self.orders.measures || batch.cook.is_none() || !(unknown || old) {
            return None;
        }
        let temperature = Temperature::from_celsius(scene.probe_c(ProbeAt::Pot).round() as i64);
        let (id, at) = (batch.batch.clone(), ProbeAt::Pot);
        Some(Want::Press(vec![Act::Measured { batch: id, at, temperature }], MEASURE_S))
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
            Ask::TakeLong { excess } => {
                let target = batch.weighing.as_ref()?.target;
                let little = excess.grams() < target.mass.grams() * LITTLE;
                if target.guard.is_some() {
                    return None;
                }
                Some(if little { Want::Press(vec![confirm], 2) } else { Want::Spoon })
            }
            // chosen already: it is being taken out
            Ask::Remedy { .. } if takes_out(batch) => None,
            Ask::Remedy { options, .. } => {
                let sound = [Remedy::SpoonOut, Remedy::UsePart];
                let ways = if self.orders.discards { &[Remedy::Discard][..] } else { &sound };
                let remedy = ways.iter().copied().find(|way| options.contains(way))?;
                Some(Want::Press(vec![Act::Choose { prompt, remedy }], 3))
            }
            Ask::Dissolved if self.tipped_at.is_none() => Some(Want::Tip),
            Ask::Dissolved => scene.lye.is_clear().then(|| Want::Press(vec![confirm], 2)),
            Ask::Combined if self.confesses(batch).is_some() => self.confesses(batch),
            // a part of the lye was weighed off, and the jug stands there still
            Ask::Combined if scene.on_pan.as_deref() == Some(JUG) => Some(Want::Take),
            Ask::Combined if self.combined_at.is_some() => Some(Want::Press(vec![confirm], 2)),
            Ask::Combined => self.lye_is_ready(now, view, batch).then_some(Want::Combine),
            Ask::VesselBack { ingredient } => {
                self.bring_back(now, view, ingredient, confirm, scene)
            }
            Ask::PanClear if scene.on_pan.is_some() => {
                self.zero_first = true;
                Some(Want::Take)
            }
            Ask::PanClear => {
                self.zero_first = false;
                Some(Want::Press(vec![confirm], 3))
            }
            Ask::SameCup { .. } | Ask::PouredIn { .. } => {
                let cup = self.vessel_for(batch.weighing.as_ref()?);
                let same = scene.on_pan.as_ref()? == &cup;
                let caustic = &batch.weighing.as_ref()?.ingredient;
                let mut others = scene.vessels.iter().filter(|(name, _)| **name != cup);
                if others.any(|(_, other)| other.contents.contains_key(caustic)) {
                    // caustic in two cups: neither yes nor no is true, and nothing is poured on
                    return Some(Want::Take);
                }
                Some(if same { Want::Press(vec![confirm], 3) } else { Want::Take })
            }
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

    /// More was tipped in than its cup held: that is said once.
    fn confesses(&self, batch: &BatchView) -> Option<Want> {
        let (ingredient, more) = self.orders.tips_more.as_ref().filter(|_| !self.told)?;
        let capture = batch.captures.iter().find(|capture| &capture.ingredient == ingredient)?;
        let (batch, ingredient) = (batch.batch.clone(), ingredient.clone());
        let reason = "a second spoonful went in after the cup was weighed".to_owned();
        let mass = capture.net + *more;
        Some(Want::Press(vec![Act::Correct { batch, ingredient, mass, reason }], 4))
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
            Some(there) if *there == wanted => (stood > UNSEEN_S).then_some(Want::Take),
            Some(_) => Some(Want::Take),
            None => {
                // a scale that has taken another zero shows no nought; the screen says what to do
                let told = view.batches.first().is_some_and(|b| b.sentence.starts_with("Put the"));
                let shows = grams_shown(view).is_none_or(|shown| shown.abs() >= 1.0);
                if self.zero_first && shows && stood > UNSEEN_S {
                    return Some(Want::PressZero);
                }
                let clear = told || grams_shown(view).is_none_or(|shown| shown.abs() < 1.0);
                if !clear && stood > UNSEEN_S {
                    return Some(Want::PressZero);
                }
                (clear && stood > BETWEEN_VESSELS_S.max(STILL_S)).then_some(Want::Put(wanted))
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

    fn lye_is_ready(&self, now: Span, view: &View, batch: &BatchView) -> bool {
        let waited = since(now, self.tipped_at);
        let windows = batch.combine.as_ref().filter(|c| c.oils.is_some() || c.lye.is_some());
        let ready = match windows {
            Some(combine) => combine.not_yet.is_empty(),
            None => celsius_at(view, ProbeAt::Lye).is_some_and(|lye| lye < COMBINE_C),
        };
        ready || waited > COMBINE_WAIT_S
    }

    /// The emptied vessel goes back on the pan; the jug only when the pot is warm, for until then
    /// somebody has to stir.
    fn bring_back(
        &self,
        now: Span,
        view: &View,
        ingredient: &IngredientId,
        confirm: Act,
        scene: &Scene,
    ) -> Option<Want> {
        let stirring = since(now, self.combined_at);
        let warm = celsius_at(view, ProbeAt::Pot).is_none_or(|pot| pot > WARM_C);
        if self.combined_at.is_some() && !warm && stirring < STIR_MAX_S {
            return None;
        }
        let Some(vessel) = self.vessels.get(ingredient) else {
            return Some(Want::Press(vec![confirm], 2));
        };
        match &scene.on_pan {
            Some(there) if there == vessel => {
                let unseen = (now - self.pan_since).seconds() > UNSEEN_S;
                unseen.then(|| Want::Press(vec![confirm], 2))
            }
            Some(_) => Some(Want::Take),
            None => Some(Want::Put(vessel.clone())),
        }
    }

    /// How far from the target this ingredient is still to be poured, as ordered.
    pub(super) fn stray(&self, ingredient: &IngredientId) -> f64 {
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

fn takes_out(batch: &BatchView) -> bool {
    batch.weighing.as_ref().is_some_and(|weighing| weighing.phase == Phase::TakingOut)
}

fn since(now: Span, then: Option<Span>) -> f64 {
    then.map_or(0.0, |then| (now - then).seconds())
}

fn close(batch: &BatchId) -> Act {
    Act::Close { batch: batch.clone(), outcome: Outcome::Finished, note: String::new() }
}

fn observed(batch: &BatchId, observation: Observation) -> Act {
    Act::Observe { batch: batch.clone(), observation, note: String::new() }
}
