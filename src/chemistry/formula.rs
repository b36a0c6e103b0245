use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::theory::{KOH_G_PER_MOL, NAOH_G_PER_MOL};
use super::{Fat, LiquidRule, Reacting};
use crate::quantity::{Mass, Share};

/// The key of an ingredient within one recipe, like "coconut" or "naoh".
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct IngredientId(pub String);

/// Masses by ingredient: captured ones, planned ones, or a mixture.
pub type Masses = BTreeMap<IngredientId, Mass>;

/// A recipe's chemistry, frozen into the control recipe: all that the caustic follows from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Formula {
    pub fats: Vec<FormulaFat>,
    /// Lye discount: the part of the fat that is meant to stay unsaponified.
    pub superfat: Share,
    /// The superfat below which the guard alarms; 0 % unless the recipe says otherwise.
    pub floor: Share,
    pub caustics: Vec<Caustic>,
    pub liquid: LiquidRule,
    /// The ingredient that is the liquid.
    pub liquid_id: IngredientId,
    /// Water in the liquid: all of it, unless it is juice, milk or brine.
    #[serde(default = "whole")]
    pub liquid_water: Share,
    /// Acids that eat caustic before any fat does.
    #[serde(default)]
    pub acids: Vec<FormulaAcid>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FormulaFat {
    pub id: IngredientId,
    /// Saponification value, mg KOH per g of fat (ISO 3657): published range and working value.
    pub sap_low: f64,
    pub sap: f64,
    pub sap_high: f64,
    /// The part of that value which a pot reaches; waxes react only partly.
    #[serde(default)]
    pub reacting: Reacting,
    /// Added when the lye is used up: it stays fat, and no caustic is reckoned for it.
    #[serde(default)]
    pub after_cook: bool,
}

/// An acid added on purpose (citric, lactic), as weighed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FormulaAcid {
    pub id: IngredientId,
    /// KOH that the product takes up: range and working value.
    pub koh_low_mg_per_g: f64,
    pub koh_mg_per_g: f64,
    pub koh_high_mg_per_g: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Alkali {
    #[serde(rename = "NaOH")]
    SodiumHydroxide,
    #[serde(rename = "KOH")]
    PotassiumHydroxide,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Caustic {
    pub id: IngredientId,
    pub alkali: Alkali,
    /// The part of the whole demand that this caustic covers.
    pub covers: Share,
    /// Mass fraction of alkali in the product as weighed: working value and credible range. For
    /// a stock lye this is its concentration.
    pub purity_low: Share,
    pub purity: Share,
    pub purity_high: Share,
    #[serde(default)]
    pub form: CausticForm,
}

/// What else is in a caustic as weighed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CausticForm {
    /// Solid; the rest is carbonate and the like.
    #[default]
    Solid,
    /// Solid; the rest is mostly water, as in potassium hydroxide flake.
    WaterySolid,
    /// A stock solution; the rest is water.
    Lye,
}

impl Formula {
    /// The mass of one caustic, as weighed from its tin, that leaves the recipe's superfat over
    /// these fats (and neutralises these acids). Not yet rounded to what a scale can show. Zero
    /// for a caustic the formula does not have.
    ///
    /// Each caustic covers its own share, whatever was weighed of another; the guard is what
    /// looks at all of them together.
    pub fn caustic(&self, id: &IngredientId, fats: &Masses) -> Mass {
        let Some(caustic) = self.find_caustic(id) else {
            return Mass::ZERO;
        };
        let needed_koh = self.needed_koh_g(fats, self.superfat) * caustic.covers.fraction();
        Mass::from_grams_rounded(needed_koh * caustic.g_per_g_koh())
    }

    /// What one caustic must be once another has been weighed and will not be weighed again: the
    /// rest of the whole demand. Negative if the others already are too much.
    pub fn caustic_beside(&self, id: &IngredientId, weighed: &Masses) -> Mass {
        let Some(caustic) = self.find_caustic(id) else {
            return Mass::ZERO;
        };
        let others = self.caustics.iter().filter(|other| &other.id != id);
        let (fixed, open): (Vec<_>, Vec<_>) = others.partition(|c| weighed.contains_key(&c.id));
        let fixed_koh: f64 = fixed.iter().map(|c| c.koh_g(weighed)).sum();
        let open_share: f64 = open.iter().map(|c| c.covers.fraction()).sum();
        let covers = caustic.covers.fraction();
        let rest = self.needed_koh_g(weighed, self.superfat) - fixed_koh;
        Mass::from_grams_rounded(rest * covers / (covers + open_share) * caustic.g_per_g_koh())
    }

    /// When the lye is made first, the fats follow it: those planned and not yet weighed, all in
    /// the same proportion, that bring the caustics really weighed to the recipe's superfat beside
    /// the fats really weighed. `None` if there is nothing to scale, or nothing is left to take up.
    pub fn fats_after_lye(&self, planned: &Masses, weighed: &Masses) -> Option<Masses> {
        let open = |fat: &&FormulaFat| !fat.after_cook && !weighed.contains_key(&fat.id);
        let planned_koh: f64 = self
            .fats
            .iter()
            .filter(open)
            .filter_map(|fat| Some(planned.get(&fat.id)?.grams() * fat.koh_g_per_g()))
            .sum();
        let wanted = self.alkali_koh_g(weighed) - self.acid_koh_g(weighed);
        let left = wanted / (1.0 - self.superfat.fraction()) - self.fat_koh_g(weighed);
        let factor = left / planned_koh;
        if !(factor.is_finite() && factor > 0.0) {
            return None;
        }
        let scaled = |fat: &FormulaFat| {
            let mass = planned.get(&fat.id)?;
            Some((fat.id.clone(), Mass::from_grams_rounded(mass.grams() * factor)))
        };
        Some(self.fats.iter().filter(open).filter_map(scaled).collect())
    }

    /// The liquid that goes with the caustics as weighed. Stock lye brings its own water: the
    /// rule then holds for the alkali in it, and its water is taken off. Negative when the stock
    /// lye is weaker than the rule asks, which [`Formula::check`] refuses.
    pub fn liquid(&self, weighed: &Masses) -> Mass {
        let (mut caustic_g, mut water_g) = (0.0, 0.0);
        for caustic in &self.caustics {
            let mass_g = weighed.get(&caustic.id).map_or(0.0, |mass| mass.grams());
            let solid =
                if caustic.form == CausticForm::Lye { caustic.purity.fraction() } else { 1.0 };
            caustic_g += mass_g * solid;
            water_g += mass_g * (1.0 - solid);
        }
        match self.liquid.parts_to_one() {
            Some(parts) => Mass::from_grams_rounded(caustic_g * parts - water_g),
            None => self.liquid.mass().unwrap_or(Mass::ZERO),
        }
    }

    /// Fat left unsaponified in the finished soap, as a share of all fats: the superfat and what
    /// is added after the cook. `None` before any fat is weighed.
    pub fn free_fat(&self, weighed: &Masses) -> Option<Share> {
        let of = |after: bool| -> f64 {
            let fats = self.fats.iter().filter(|fat| fat.after_cook == after);
            fats.filter_map(|fat| weighed.get(&fat.id)).map(|mass| mass.grams()).sum()
        };
        let (cooked, added) = (of(false), of(true));
        let demand = self.fat_koh_g(weighed);
        if demand <= 0.0 {
            return None;
        }
        let used = self.alkali_koh_g(weighed) - self.acid_koh_g(weighed);
        let left = (1.0 - used / demand) * cooked + added;
        Some(Share::from_fraction_rounded(left / (cooked + added)))
    }

    pub(super) fn find_caustic(&self, id: &IngredientId) -> Option<&Caustic> {
        self.caustics.iter().find(|caustic| &caustic.id == id)
    }

    /// Grams of KOH that saponify all of the fats that meet the lye.
    pub(super) fn fat_koh_g(&self, weighed: &Masses) -> f64 {
        let cooked = self.fats.iter().filter(|fat| !fat.after_cook);
        cooked.filter_map(|fat| Some(weighed.get(&fat.id)?.grams() * fat.koh_g_per_g())).sum()
    }

    /// Grams of KOH that the acids eat.
    pub(super) fn acid_koh_g(&self, weighed: &Masses) -> f64 {
        let eaten =
            |acid: &FormulaAcid| Some(weighed.get(&acid.id)?.grams() * acid.koh_mg_per_g / 1000.0);
        self.acids.iter().filter_map(eaten).sum()
    }

    /// The caustics as weighed, in grams of KOH that do the same work.
    pub(super) fn alkali_koh_g(&self, weighed: &Masses) -> f64 {
        self.caustics.iter().map(|caustic| caustic.koh_g(weighed)).sum()
    }

    /// Grams of KOH that leave this superfat over the fats weighed.
    pub(super) fn needed_koh_g(&self, weighed: &Masses, superfat: Share) -> f64 {
        self.fat_koh_g(weighed) * (1.0 - superfat.fraction()) + self.acid_koh_g(weighed)
    }
}

impl FormulaFat {
    pub fn new(id: &str, sap_low: f64, sap: f64, sap_high: f64) -> FormulaFat {
        let (id, reacting) = (IngredientId::from(id), Reacting::WHOLE);
        FormulaFat { id, sap_low, sap, sap_high, reacting, after_cook: false }
    }

    /// The figures of a known fat under a recipe's own name for it.
    pub fn of(id: &str, fat: &Fat) -> FormulaFat {
        let plain = FormulaFat::new(id, fat.sap_low, fat.sap, fat.sap_high);
        FormulaFat { reacting: fat.reacting, ..plain }
    }

    /// Grams of KOH that one gram of this fat takes up in a pot.
    pub(super) fn koh_g_per_g(&self) -> f64 {
        self.sap * self.reacting.working.fraction() / 1000.0
    }
}

impl Caustic {
    /// One solid caustic for the whole demand.
    pub fn solid(id: &str, alkali: Alkali, [low, purity, high]: [Share; 3]) -> Caustic {
        Caustic {
            id: IngredientId::from(id),
            alkali,
            covers: Share::WHOLE,
            purity_low: low,
            purity,
            purity_high: high,
            form: CausticForm::Solid,
        }
    }

    /// Grams as weighed that do the work of one gram of KOH.
    pub(super) fn g_per_g_koh(&self) -> f64 {
        self.alkali.per_koh() / self.purity.fraction()
    }

    pub(super) fn koh_g(&self, weighed: &Masses) -> f64 {
        weighed.get(&self.id).map_or(0.0, |mass| mass.grams() / self.g_per_g_koh())
    }
}

impl Alkali {
    /// Grams of this alkali that do the work of one gram of KOH: 39.9971 ÷ 56.1056 for NaOH.
    pub const fn per_koh(self) -> f64 {
        match self {
            Alkali::SodiumHydroxide => NAOH_G_PER_MOL / KOH_G_PER_MOL,
            Alkali::PotassiumHydroxide => 1.0,
        }
    }

    /// Least, working and highest credible purity of a solid whose tin says nothing.
    ///
    /// Sodium hydroxide: 96, 98, 100 %. Flakes are sold as 98 ± 1 % with up to 1 % of carbonate
    /// (one maker's specification, seen); USP28-NF23 allows 95.0 to 100.5 % total alkali with
    /// up to 3 % of carbonate (seen); the choice of ends is ours. Potassium hydroxide: none,
    /// since between 85 and 90 % flake lies more than a usual superfat.
    pub const fn usual_purity(self) -> Option<[Share; 3]> {
        match self {
            Alkali::SodiumHydroxide => {
                Some([Share::from_percent(96), Share::from_percent(98), Share::from_percent(100)])
            }
            Alkali::PotassiumHydroxide => None,
        }
    }

    pub const fn words(self) -> &'static str {
        match self {
            Alkali::SodiumHydroxide => "sodium hydroxide",
            Alkali::PotassiumHydroxide => "potassium hydroxide",
        }
    }
}

impl From<&str> for IngredientId {
    fn from(name: &str) -> IngredientId {
        IngredientId(name.to_owned())
    }
}

impl fmt::Display for IngredientId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

const fn whole() -> Share {
    Share::WHOLE
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::tests_support::{bar, grams, masses, pure};

    #[test]
    fn acids_take_their_caustic_first() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        formula.caustics = vec![pure("naoh", Alkali::SodiumHydroxide)];
        let id = IngredientId::from("naoh");
        let without = formula.caustic(&id, &masses(&[("olive", 1000.0)]));
        formula.acids = vec![FormulaAcid::citric("citric")];
        let with = formula.caustic(&id, &masses(&[("olive", 1000.0), ("citric", 10.0)]));
        // C6H8O7 192.124 g/mol takes three NaOH of 39.9971: 0.62455 g per g
        assert!(((with - without).grams() - 6.2455).abs() < 0.001, "{}", with - without);
        let weighed = masses(&[("olive", 1000.0), ("citric", 10.0), ("naoh", with.grams())]);
        assert_eq!(formula.free_fat(&weighed), Some(Share::from_percent(5)));
    }

    #[test]
    fn fat_after_the_cook_takes_no_caustic_and_stays_fat() {
        let mut formula = bar("0 %", &[("olive", 191.5), ("shea", 180.5)]);
        formula.fats[1].after_cook = true;
        let naoh = IngredientId::from("naoh");
        let fats = masses(&[("olive", 950.0), ("shea", 50.0)]);
        assert_eq!(
            formula.caustic(&naoh, &fats),
            formula.caustic(&naoh, &masses(&[("olive", 950.0)]))
        );
        let mut weighed = fats.clone();
        weighed.insert(naoh.clone(), formula.caustic(&naoh, &fats));
        assert_eq!(formula.free_fat(&weighed), Some(Share::from_percent(5)));
    }

    #[test]
    fn stock_lye_brings_its_own_water() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let half = Share::from_percent(50);
        formula.caustics = vec![Caustic {
            form: CausticForm::Lye,
            ..Caustic::solid("lye", Alkali::SodiumHydroxide, [half; 3])
        }];
        formula.liquid = LiquidRule::parse("2:1").unwrap();
        // 200 g of 50 % lye hold 100 g of alkali and 100 g of water; 2:1 asks for 200 g in all
        assert_eq!(formula.liquid(&masses(&[("lye", 200.0)])), grams(100.0));
    }

    #[test]
    fn the_second_caustic_can_make_good_for_the_first() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let half = |caustic: Caustic| Caustic { covers: Share::from_percent(50), ..caustic };
        formula.caustics = vec![
            half(pure("naoh", Alkali::SodiumHydroxide)),
            half(pure("koh", Alkali::PotassiumHydroxide)),
        ];
        let mut weighed = masses(&[("olive", 1000.0)]);
        let (naoh, koh) = (IngredientId::from("naoh"), IngredientId::from("koh"));
        let planned = formula.caustic(&koh, &weighed);
        assert_eq!(formula.caustic_beside(&koh, &weighed), planned);
        let over = formula.caustic(&naoh, &weighed) + grams(1.0);
        weighed.insert(naoh, over);
        // one gram of NaOH more is 56.1056 ÷ 39.9971 g of KOH less
        let less = (planned - formula.caustic_beside(&koh, &weighed)).grams();
        assert!((less - 1.402_742).abs() < 1e-5, "{less}");
    }

    proptest! {
        #[test]
        fn demand_is_linear_and_additive(
            a in 1.0_f64..5000.0, b in 1.0_f64..5000.0, times in 1.0_f64..20.0,
        ) {
            let formula = bar("5 %", &[("coconut", 256.5), ("olive", 191.5)]);
            let naoh = IngredientId::from("naoh");
            let both = formula.caustic(&naoh, &masses(&[("coconut", a), ("olive", b)])).grams();
            let sum = formula.caustic(&naoh, &masses(&[("coconut", a)])).grams()
                + formula.caustic(&naoh, &masses(&[("olive", b)])).grams();
            prop_assert!((both - sum).abs() < 1e-7);
            let more = masses(&[("coconut", a * times), ("olive", b * times)]);
            let larger = formula.caustic(&naoh, &more).grams();
            prop_assert!((larger - both * times).abs() < 1e-6);
        }

        #[test]
        fn the_two_alkalis_differ_by_their_molar_masses(oil in 1.0_f64..5000.0) {
            let mut formula = bar("5 %", &[("olive", 191.5)]);
            let of = |formula: &Formula, id: &str| {
                formula.caustic(&IngredientId::from(id), &masses(&[("olive", oil)])).grams()
            };
            formula.caustics = vec![pure("naoh", Alkali::SodiumHydroxide)];
            let naoh = of(&formula, "naoh");
            formula.caustics = vec![pure("koh", Alkali::PotassiumHydroxide)];
            prop_assert!((naoh / of(&formula, "koh") - 0.712_889_6).abs() < 1e-7);
        }

        #[test]
        fn fats_that_follow_the_lye_meet_the_superfat(
            oil in 10.0_f64..5000.0, butter in 10.0_f64..5000.0, weighed in 1.0_f64..2000.0,
        ) {
            let formula = bar("5 %", &[("olive", 191.5), ("shea", 180.5)]);
            let planned = masses(&[("olive", oil), ("shea", butter)]);
            let lye = masses(&[("naoh", weighed)]);
            let mut all = formula.fats_after_lye(&planned, &lye).unwrap();
            let proportion = all[&"olive".into()].grams() / all[&"shea".into()].grams();
            prop_assert!((proportion / (oil / butter) - 1.0).abs() < 1e-6);
            all.extend(lye);
            let left = formula.free_fat(&all).unwrap();
            prop_assert!((left - formula.superfat).abs().millionths() <= 1);
        }
    }
}
