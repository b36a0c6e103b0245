use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Formula, FormulaFat, IngredientId, Masses};
use crate::quantity::Mass;

/// One fat in the place of another, and what that does to the caustic.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Substitution {
    pub formula: Formula,
    pub masses: Masses,
    /// Every caustic before and after; the tin is the same, the mass is not.
    pub caustic_before: Masses,
    pub caustic_after: Masses,
}

/// Why a list of masses cannot be scaled, or a fat not exchanged.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ScalingError {
    #[error("`{0}` is not in the list, or weighs nothing")]
    Missing(IngredientId),
    #[error("the list weighs {from} and is to weigh {to}; expected both above zero")]
    Nothing { from: Mass, to: Mass },
    #[error("scaled like this, `{id}` would weigh {mass}; expected at most one tonne")]
    TooMuch { id: IngredientId, mass: Mass },
    #[error("`{0}` is in the recipe already; add to its mass instead")]
    AlreadyThere(IngredientId),
}

/// All masses in the same proportion, until the whole list weighs `total`.
pub fn scale_to_total(masses: &Masses, total: Mass) -> Result<Masses, ScalingError> {
    let from = masses.values().copied().sum();
    scale(masses, total, from)
}

/// All masses in the same proportion, until one of them is what there is of it.
pub fn scale_to_available(
    masses: &Masses,
    id: &IngredientId,
    available: Mass,
) -> Result<Masses, ScalingError> {
    let have = masses.get(id).filter(|mass| **mass > Mass::ZERO);
    let from = *have.ok_or_else(|| ScalingError::Missing(id.clone()))?;
    scale(masses, available, from)
}

impl Formula {
    /// The same mass of another fat in the place of one. The caustic changes with it.
    pub fn substitute(
        &self,
        masses: &Masses,
        from: &IngredientId,
        to: FormulaFat,
    ) -> Result<Substitution, ScalingError> {
        let missing = || ScalingError::Missing(from.clone());
        let place = self.fats.iter().position(|fat| &fat.id == from).ok_or_else(missing)?;
        if &to.id != from && self.fats.iter().any(|fat| fat.id == to.id) {
            return Err(ScalingError::AlreadyThere(to.id));
        }
        let mut changed = masses.clone();
        let mass = changed.remove(from).ok_or_else(missing)?;
        changed.insert(to.id.clone(), mass);
        let mut formula = self.clone();
        formula.fats[place] = to;
        Ok(Substitution {
            caustic_before: self.caustic_targets(masses),
            caustic_after: formula.caustic_targets(&changed),
            formula,
            masses: changed,
        })
    }

    /// The target of every caustic over these fats.
    pub fn caustic_targets(&self, fats: &Masses) -> Masses {
        let target = |id: &IngredientId| (id.clone(), self.caustic(id, fats));
        self.caustics.iter().map(|caustic| target(&caustic.id)).collect()
    }
}

fn scale(masses: &Masses, to: Mass, from: Mass) -> Result<Masses, ScalingError> {
    if from <= Mass::ZERO || to <= Mass::ZERO {
        return Err(ScalingError::Nothing { from, to });
    }
    let mut scaled = Masses::new();
    for (id, mass) in masses {
        let grams = mass.grams() * (to.grams() / from.grams());
        // compared before rounding to steps, where too much would wrap
        if grams.abs() > Mass::LARGEST.grams() {
            let (id, mass) = (id.clone(), Mass::from_grams_rounded(grams));
            return Err(ScalingError::TooMuch { id, mass });
        }
        scaled.insert(id.clone(), mass.scaled(to, from));
    }
    Ok(scaled)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::FatTable;
    use crate::chemistry::tests_support::{grams, masses, usual_bar, usual_fats};

    #[test]
    fn another_oil_is_another_mass_of_caustic() {
        let formula = usual_bar("5 %");
        let babassu = FatTable::built_in().find("babassu").unwrap();
        let olive = "olive".into();
        let to = FormulaFat::of("babassu", babassu);
        let change = formula.substitute(&usual_fats(), &olive, to).unwrap();
        let naoh = "naoh".into();
        let more = (change.caustic_after[&naoh] - change.caustic_before[&naoh]).grams();
        // 4 oz × (250.5 − 191.5) mg/g × 0.712 89 × 0.95 ÷ 0.98
        assert!((more - 4.6236).abs() < 0.001, "{more}");
        assert_eq!(change.masses[&"babassu".into()], usual_fats()[&olive]);
        let coconut = FormulaFat::new("coconut", 248.0, 256.5, 265.0);
        let twice = change.formula.substitute(&change.masses, &"shea".into(), coconut);
        assert_eq!(twice, Err(ScalingError::AlreadyThere("coconut".into())));
    }

    #[test]
    fn a_list_scales_to_a_pot_and_to_the_end_of_a_bottle() {
        let list = masses(&[("coconut", 300.0), ("olive", 700.0)]);
        let half = masses(&[("coconut", 150.0), ("olive", 350.0)]);
        assert_eq!(scale_to_total(&list, grams(500.0)).unwrap(), half);
        assert_eq!(scale_to_available(&list, &"olive".into(), grams(350.0)).unwrap(), half);
        assert!(scale_to_total(&Masses::new(), grams(5.0)).is_err());
        assert!(scale_to_total(&list, grams(0.0)).is_err());
        let huge = scale_to_available(&list, &"coconut".into(), grams(900_000.0));
        assert!(matches!(huge, Err(ScalingError::TooMuch { .. })));
    }

    proptest! {
        #[test]
        fn caustic_scales_with_the_list(total in 10.0_f64..100_000.0) {
            let (formula, fats) = (usual_bar("5 %"), usual_fats());
            let scaled = scale_to_total(&fats, grams(total)).unwrap();
            let from: Mass = fats.values().copied().sum();
            let before = formula.caustic(&"naoh".into(), &fats).grams();
            let after = formula.caustic(&"naoh".into(), &scaled).grams();
            prop_assert!((after / before - total / from.grams()).abs() < 1e-9);
        }
    }
}
