//! Oils that are in the pot before anything is weighed: the operator says which and how much, and
//! weighing goes on from there. They stay marked as declared, with how good they are said to be.

use std::collections::BTreeMap;

use super::batch::Batch;
use super::fact::{BatchId, CaptureHow, Fact};
use super::law::Bench;
use super::refusals;
use crate::chemistry::{IngredientId, Masses, ScaleFacts};
use crate::plan::{Amount, ControlRecipe, Vessel};
use crate::quantity::{Mass, Share};
use crate::recipe::InPot;

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
        let in_pot = self.in_pot.iter().map(|(id, (mass, said))| (id, *mass, *said));
        let declared = self.captures.values().filter(|c| c.how == CaptureHow::ByHand);
        // an oil whose turn has come is on record as it stands now
        let declared = in_pot.chain(declared.map(|c| (&c.ingredient, c.net, c.doubt)));
        declared.map(|(id, net, said)| (id.clone(), doubt_of(net, said, Some(scale)))).collect()
    }
}

/// Each oil with its mass and its ±.
pub fn by_oil(said: &[InPot]) -> BTreeMap<IngredientId, (Mass, Option<Mass>)> {
    said.iter().map(|said| (said.oil.clone(), (said.mass, said.doubt))).collect()
}

/// Whether this may be said of a batch at all.
///
/// # Errors
/// In words: when one is no oil that goes into the pot, is said twice, or its mass cannot be meant.
pub fn check(control: &ControlRecipe, said: &[InPot]) -> Result<(), String> {
    for (place, one) in said.iter().enumerate() {
        if said.iter().take(place).any(|before| before.oil == one.oil) {
            return Err(said_twice(&one.oil));
        }
        check_one(control, one)?;
    }
    Ok(())
}

fn check_one(control: &ControlRecipe, said: &InPot) -> Result<(), String> {
    let InPot { oil, mass, doubt } = said;
    let is_oil =
        |id: &IngredientId| control.formula.fats.iter().any(|fat| &fat.id == id && !fat.after_cook);
    let mut oils = control.weighings().filter(|w| w.into == Vessel::Pot && is_oil(&w.ingredient));
    let planned = oils.find(|weigh| &weigh.ingredient == oil);
    let Some(Amount::Fixed(planned) | Amount::AfterLye(planned)) = planned.map(|w| &w.amount)
    else {
        return Err(no_oil_of_the_pot(oil));
    };
    if *mass <= Mass::ZERO || *mass > Mass::LARGEST {
        return Err(refusals::not_a_mass());
    }
    if *mass > *planned * 2 || *mass * 2 < *planned {
        return Err(refusals::far_from_target(&control.units, *planned));
    }
    if doubt.is_some_and(|doubt| doubt.is_negative() || doubt * 2 > *mass) {
        return Err(doubt_too_large());
    }
    Ok(())
}

/// On record with the start: no vessel is looked at, and no disk written, between the two.
pub fn declare(bench: &mut Bench, batch: &BatchId, said: &[InPot]) {
    for InPot { oil: ingredient, mass, doubt } in said.iter().cloned() {
        bench.emit(Fact::InPot { batch: batch.clone(), ingredient, mass, doubt });
    }
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

fn said_twice(ingredient: &IngredientId) -> String {
    format!("`{ingredient}` is said to be in the pot twice; say once how much of it there is")
}
