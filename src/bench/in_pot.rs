//! Oils that are in the pot before anything is weighed: the operator says which and how much, and
//! weighing goes on from there. They stay marked as declared, with how good they are said to be.

use super::batch::Batch;
use super::fact::{BatchId, CaptureHow, Fact};
use super::law::{Bench, Reply};
use super::refusals;
use crate::chemistry::{IngredientId, Masses, ScaleFacts};
use crate::plan::{Amount, ControlRecipe, Vessel};
use crate::quantity::{Mass, Share};

/// A mass declared by hand is taken to be good to ± this part of it, or to ± one interval of the
/// bench's own scale if that is more, where nothing else is said. Ours: nobody knows what it was
/// weighed with.
pub const BY_HAND_DOUBT: Share = Share::from_percent(2);

/// The half-width of a declared mass.
pub fn doubt_of(net: Mass, said: Option<Mass>, scale: Option<&ScaleFacts>) -> Mass {
    let usual = || Mass::from_grams_rounded(net.grams() * BY_HAND_DOUBT.fraction());
    let d = scale.map_or(Mass::ZERO, |scale| scale.d);
    said.unwrap_or_else(usual).max(d)
}

impl Batch {
    /// The half-width of each mass that no scale of this bench weighed.
    pub fn by_hand(&self, scale: &ScaleFacts) -> Masses {
        let declared = self.captures.values().filter(|c| c.how == CaptureHow::ByHand);
        let doubt = |c: &super::batch::Capture| doubt_of(c.net, c.doubt, Some(scale));
        declared.map(|capture| (capture.ingredient.clone(), doubt(capture))).collect()
    }
}

/// Whether this may be said of a batch at all.
///
/// # Errors
/// In words: when it is no oil that goes into the pot, or the mass cannot be meant.
pub fn check(
    control: &ControlRecipe,
    ingredient: &IngredientId,
    mass: Mass,
    doubt: Option<Mass>,
) -> Result<(), String> {
    let is_oil =
        |id: &IngredientId| control.formula.fats.iter().any(|fat| &fat.id == id && !fat.after_cook);
    let mut oils = control.weighings().filter(|w| w.into == Vessel::Pot && is_oil(&w.ingredient));
    let planned = oils.find(|weigh| &weigh.ingredient == ingredient);
    let Some(Amount::Fixed(planned) | Amount::AfterLye(planned)) = planned.map(|w| &w.amount)
    else {
        return Err(no_oil_of_the_pot(ingredient));
    };
    if mass <= Mass::ZERO || mass > Mass::LARGEST {
        return Err(refusals::not_a_mass());
    }
    if mass > *planned * 2 || mass * 2 < *planned {
        return Err(refusals::far_from_target(&control.units, *planned));
    }
    if doubt.is_some_and(|doubt| doubt.is_negative() || doubt * 2 > mass) {
        return Err(doubt_too_large());
    }
    Ok(())
}

/// The operator says so, before that oil would be weighed.
pub fn declare(
    bench: &mut Bench,
    id: &BatchId,
    ingredient: &IngredientId,
    mass: Mass,
    doubt: Option<Mass>,
) -> Result<Reply, String> {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    if batch.in_pot.get(ingredient) == Some(&(mass, doubt)) {
        return Ok(Reply::AlreadyDone);
    }
    if batch.first_capture(ingredient).is_some() {
        return Err(refusals::weighed_already());
    }
    check(&batch.control, ingredient, mass, doubt)?;
    if batch.weigh().is_some_and(|(weigh, _)| &weigh.ingredient == ingredient) {
        // what was asked of the load falls away
        bench.withdraw_prompt(id);
    }
    let (batch, ingredient) = (id.clone(), ingredient.clone());
    bench.emit(Fact::InPot { batch, ingredient, mass, doubt });
    Ok(Reply::Done)
}

/// When the turn of such an oil comes, it is on record as declared.
pub fn run(bench: &mut Bench) {
    let due = |batch: &Batch| {
        let (weigh, weighing) = batch.weigh()?;
        let open = weighing.captured.is_none() && batch.detour.is_none();
        let (mass, doubt) = *batch.in_pot.get(&weigh.ingredient).filter(|_| open)?;
        Some(Fact::Captured {
            batch: batch.id.clone(),
            step: batch.step()?.key.clone(),
            ingredient: weigh.ingredient.clone(),
            net: mass,
            gross: None,
            how: CaptureHow::ByHand,
            doubt,
        })
    };
    let facts: Vec<Fact> = bench.state.batches.values().filter_map(due).collect();
    for fact in facts {
        bench.emit(fact);
    }
}

fn no_oil_of_the_pot(ingredient: &IngredientId) -> String {
    format!("`{ingredient}` is no oil that this recipe weighs into the pot before the lye")
}

fn doubt_too_large() -> String {
    "the ± of a declared mass is at most half of it; weigh it instead".to_owned()
}
