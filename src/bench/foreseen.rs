//! What is reckoned with before it is weighed: where the lye is made first, the caustic follows the
//! fats as planned; and when an ingredient ran out, all that is still to come is brought down.

use super::batch::Batch;
use super::target::share_of;
use crate::chemistry::{IngredientId, Masses};
use crate::plan::Amount;
use crate::quantity::Mass;

impl Batch {
    /// What was planned of every fat and acid, in the order of work; of oils in the pot, what there
    /// is by the operator's word.
    pub fn planned(&self) -> Masses {
        let fixed = |amount: &Amount| match amount {
            Amount::Fixed(mass) | Amount::AfterLye(mass) => Some(*mass),
            _ => None,
        };
        let of_fats = |id: &IngredientId| self.control.formula.fats.iter().any(|fat| &fat.id == id);
        let mut planned = Masses::new();
        for weigh in self.control.weighings() {
            if let Some(mass) = fixed(&weigh.amount) {
                let said = self.in_pot.get(&weigh.ingredient).map(|(mass, _)| *mass);
                planned.insert(weigh.ingredient.clone(), said.unwrap_or(mass));
            }
        }
        let fats: Mass = planned.iter().filter(|(id, _)| of_fats(id)).map(|(_, mass)| *mass).sum();
        for weigh in self.control.weighings() {
            if let Amount::OfFats(share) = weigh.amount {
                planned.insert(weigh.ingredient.clone(), share_of(fats, share));
            }
        }
        let counts = |id: &IngredientId| {
            let cooked = self.control.formula.fats.iter().filter(|fat| !fat.after_cook);
            let acids = self.control.formula.acids.iter().map(|acid| &acid.id);
            cooked.map(|fat| &fat.id).chain(acids).any(|known| known == id)
        };
        planned.retain(|id, _| counts(id));
        planned
    }

    /// What the caustic follows from: all that is weighed and, where the lye is made first, the
    /// rest as planned.
    pub fn foreseen(&self) -> Masses {
        let mut masses = self.masses();
        if self.control.is_lye_first() {
            for (id, mass) in self.planned() {
                masses.entry(id).or_insert(mass);
            }
        }
        masses
    }

    /// The same without fats that are still to be weighed: what is left for them to take up.
    pub fn without_fats_to_come(&self) -> Masses {
        let weighed = self.masses();
        let mut masses = self.foreseen();
        let is_acid =
            |id: &IngredientId| self.control.formula.acids.iter().any(|acid| &acid.id == id);
        let is_there = |id: &IngredientId| weighed.contains_key(id) || self.in_pot.contains_key(id);
        masses.retain(|id, _| is_there(id) || is_acid(id));
        masses
    }

    /// A planned mass, less what goes with an ingredient that ran out.
    pub fn brought_down(&self, planned: Mass) -> Mass {
        let steps = self.brought_down.values();
        steps.fold(planned, |mass, (from, to)| mass.scaled(*to, *from))
    }
}
