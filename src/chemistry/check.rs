use thiserror::Error;

use super::{Caustic, CausticForm, Formula, IngredientId, LiquidRule, Masses, NotSoluble};
use crate::quantity::Share;

/// What makes a formula impossible or dangerous.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum FormulaFault {
    #[error("the recipe has no fat that meets the lye; add one")]
    NoFat,
    #[error("the recipe has no caustic; add sodium or potassium hydroxide")]
    NoCaustic,
    #[error("`{0}` is named twice; give each ingredient a name of its own")]
    NamedTwice(IngredientId),
    #[error("the superfat is {found}; expected 0 % to {SUPERFAT_MOST}")]
    Superfat { found: Share },
    #[error("the floor of the superfat is {floor}; expected 0 % to the superfat, {superfat}")]
    Floor { floor: Share, superfat: Share },
    #[error("the caustics cover {found} of the demand together; expected 100 %")]
    Covers { found: Share },
    #[error(
        "the purity of `{id}` is {low} to {high} about {purity}; expected low, working value and \
         high in this order, within {PURITY_LEAST} to 100 %"
    )]
    Purity { id: IngredientId, low: Share, purity: Share, high: Share },
    #[error(
        "the saponification value of `{id}` is {low} to {high} about {sap}; expected mg KOH per g \
         in this order, within 20 to 400"
    )]
    Sap { id: IngredientId, low: f64, sap: f64, high: f64 },
    #[error("the reacting part of `{0}` is out of order; expected low, working value and high")]
    Reacting(IngredientId),
    #[error("the strength of `{id}` is {koh} mg KOH per g; expected more than nothing, in order")]
    Acid { id: IngredientId, koh: f64 },
    #[error("the water in the liquid is {0}; expected more than 0 %, at most 100 %")]
    LiquidWater(Share),
    #[error("the rule for the liquid is {0}; expected more than nothing")]
    LiquidRule(LiquidRule),
    #[error(
        "the stock lye `{0}` holds more water than the recipe's lye is to have; use a stronger \
         stock lye, or more liquid"
    )]
    StockTooWeak(IngredientId),
    #[error(transparent)]
    NotSoluble(#[from] NotSoluble),
}

/// More than this is an ointment with some soap in it.
const SUPERFAT_MOST: Share = Share::from_percent(50);
/// Weaker stock lye than this makes no soap.
const PURITY_LEAST: Share = Share::from_percent(5);

impl Formula {
    /// Everything that is impossible or dangerous in this formula over the planned fats and
    /// acids; nothing is put right silently. Empty when it is sound.
    pub fn check(&self, planned: &Masses) -> Vec<FormulaFault> {
        let mut faults = Vec::new();
        self.check_names(&mut faults);
        self.check_superfat(&mut faults);
        self.check_figures(&mut faults);
        for caustic in &self.caustics {
            faults.extend(caustic.check());
        }
        self.check_liquid(&mut faults);
        // with a fault above, the masses would mean nothing
        if faults.is_empty() {
            self.check_lye(planned, &mut faults);
        }
        faults
    }

    fn check_names(&self, faults: &mut Vec<FormulaFault>) {
        if self.fats.iter().all(|fat| fat.after_cook) {
            faults.push(FormulaFault::NoFat);
        }
        if self.caustics.is_empty() {
            faults.push(FormulaFault::NoCaustic);
        }
        let mut seen = std::collections::BTreeSet::from([&self.liquid_id]);
        let fats = self.fats.iter().map(|fat| &fat.id);
        let caustics = self.caustics.iter().map(|caustic| &caustic.id);
        for id in fats.chain(caustics).chain(self.acids.iter().map(|acid| &acid.id)) {
            if !seen.insert(id) {
                faults.push(FormulaFault::NamedTwice(id.clone()));
            }
        }
    }

    fn check_superfat(&self, faults: &mut Vec<FormulaFault>) {
        let (floor, superfat) = (self.floor, self.superfat);
        if !(Share::ZERO..=SUPERFAT_MOST).contains(&superfat) {
            faults.push(FormulaFault::Superfat { found: superfat });
        } else if !(Share::ZERO..=superfat).contains(&floor) {
            faults.push(FormulaFault::Floor { floor, superfat });
        }
        let found: Share = self.caustics.iter().map(|caustic| caustic.covers).sum();
        let negative = self.caustics.iter().any(|caustic| caustic.covers.is_negative());
        if !self.caustics.is_empty() && (found != Share::WHOLE || negative) {
            faults.push(FormulaFault::Covers { found });
        }
    }

    fn check_figures(&self, faults: &mut Vec<FormulaFault>) {
        let in_order = |low: f64, value: f64, high: f64| low <= value && value <= high;
        for fat in &self.fats {
            let (low, sap, high) = (fat.sap_low, fat.sap, fat.sap_high);
            let id = || fat.id.clone();
            if !(low >= 20.0 && high <= 400.0 && in_order(low, sap, high)) {
                faults.push(FormulaFault::Sap { id: id(), low, sap, high });
            }
            let part = fat.reacting;
            let whole = Share::ZERO <= part.low && part.high <= Share::WHOLE;
            if !(whole && part.low <= part.working && part.working <= part.high) {
                faults.push(FormulaFault::Reacting(id()));
            }
        }
        for acid in &self.acids {
            if !(acid.koh_low_mg_per_g > 0.0
                && in_order(acid.koh_low_mg_per_g, acid.koh_mg_per_g, acid.koh_high_mg_per_g))
            {
                faults.push(FormulaFault::Acid { id: acid.id.clone(), koh: acid.koh_mg_per_g });
            }
        }
    }

    fn check_liquid(&self, faults: &mut Vec<FormulaFault>) {
        if self.liquid_water <= Share::ZERO || self.liquid_water > Share::WHOLE {
            faults.push(FormulaFault::LiquidWater(self.liquid_water));
        }
        let sound = match self.liquid {
            LiquidRule::Ratio(millionths) => millionths > 0,
            LiquidRule::Concentration(share) => Share::ZERO < share && share < Share::WHOLE,
            LiquidRule::Mass(mass) => mass > crate::quantity::Mass::ZERO,
        };
        if !sound {
            faults.push(FormulaFault::LiquidRule(self.liquid));
        }
    }

    /// The lye as it will be made over the planned fats.
    fn check_lye(&self, planned: &Masses, faults: &mut Vec<FormulaFault>) {
        let mut lye = self.caustic_targets(planned);
        let liquid = self.liquid(&lye);
        if liquid.is_negative() {
            let stock = self.caustics.iter().filter(|c| c.form == CausticForm::Lye);
            faults.extend(stock.map(|c| FormulaFault::StockTooWeak(c.id.clone())));
            return;
        }
        lye.insert(self.liquid_id.clone(), liquid);
        if let Err(not_soluble) = self.check_dissolves(&lye) {
            faults.push(not_soluble.into());
        }
    }
}

impl Caustic {
    fn check(&self) -> Option<FormulaFault> {
        let (low, purity, high) = (self.purity_low, self.purity, self.purity_high);
        let ends = PURITY_LEAST <= low && high <= Share::WHOLE;
        (!(ends && low <= purity && purity <= high)).then(|| FormulaFault::Purity {
            id: self.id.clone(),
            low,
            purity,
            high,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::Alkali;
    use crate::chemistry::tests_support::{bar, masses, usual_bar, usual_fats};

    /// What is done to a sound formula, and how the refusal begins.
    type Case = (fn(&mut Formula), &'static str);

    fn faults(change: impl FnOnce(&mut Formula)) -> Vec<String> {
        let mut formula = usual_bar("5 %");
        change(&mut formula);
        formula.check(&usual_fats()).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_sound_formula_has_no_fault() {
        assert!(faults(|_| ()).is_empty());
    }

    #[test]
    fn impossible_figures_are_refused_and_named() {
        let cases: [Case; 12] = [
            (|f| f.fats.clear(), "the recipe has no fat that meets the lye"),
            (|f| f.fats.iter_mut().for_each(|fat| fat.after_cook = true), "the recipe has no fat"),
            (|f| f.caustics.clear(), "the recipe has no caustic"),
            (|f| f.liquid_id = "olive".into(), "`olive` is named twice"),
            (|f| f.superfat = Share::from_percent(-3), "the superfat is −3.00 %; expected 0 %"),
            (|f| f.floor = Share::from_percent(6), "the floor of the superfat is 6.00 %"),
            (|f| f.caustics[0].covers = Share::from_percent(90), "the caustics cover 90.00 %"),
            (|f| f.caustics[0].purity = Share::ZERO, "the purity of `naoh` is 96.00 % to 100.00 %"),
            (|f| f.fats[0].sap = f64::NAN, "the saponification value of `coconut` is 248 to 265"),
            (|f| f.liquid_water = Share::ZERO, "the water in the liquid is 0.00 %"),
            (|f| f.liquid = LiquidRule::Ratio(0), "the rule for the liquid is 0:1"),
            (
                |f| f.fats[0].reacting.working = Share::from_percent(120),
                "the reacting part of `coconut` is out of order",
            ),
        ];
        for (change, words) in cases {
            let found = faults(change);
            assert!(found[0].starts_with(words), "{found:?} instead of {words}");
        }
    }

    #[test]
    fn a_lye_that_cannot_be_is_refused_over_the_planned_fats() {
        let strong = faults(|f| f.liquid = LiquidRule::Ratio(800_000));
        assert!(strong[0].contains("is more than water holds at 20 °C"), "{strong:?}");
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let thin = [Share::from_percent(20); 3];
        formula.caustics = vec![Caustic {
            form: CausticForm::Lye,
            ..Caustic::solid("stock", Alkali::SodiumHydroxide, thin)
        }];
        let found = formula.check(&masses(&[("olive", 500.0)]));
        assert_eq!(found, [FormulaFault::StockTooWeak("stock".into())]);
        let half = [Share::from_percent(50); 3];
        formula.caustics[0] = Caustic {
            form: CausticForm::Lye,
            ..Caustic::solid("stock", Alkali::SodiumHydroxide, half)
        };
        assert!(formula.check(&masses(&[("olive", 500.0)])).is_empty());
    }
}
