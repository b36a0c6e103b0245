use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Formula, IngredientId, Masses};
use crate::quantity::{Mass, MassUnit, Share};

/// One exact way back to the recipe's superfat.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remedy {
    pub act: RemedyAct,
    /// What is taken out or added, by ingredient; for [`RemedyAct::UsePart`] what is left unused.
    pub masses: Masses,
    /// What is in the batch once the remedy is carried out.
    pub after: Masses,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RemedyAct {
    /// Over, still dry in its cup.
    SpoonOut { caustic: IngredientId },
    /// Over, dissolved, not yet combined: of so much clear solution use so much.
    UsePart { solution: Mass, used: Mass },
    /// Over, combined: fats and liquid restore the superfat.
    Restore,
    /// Under, combined: more lye, made apart.
    SmallLye,
}

/// What decides whether a remedy is sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Circumstances {
    pub in_mould: bool,
    /// It is known how the wrong mass came about.
    pub cause_known: bool,
    /// What the pot can still take before it is two thirds full; `None` where its volume is not
    /// known.
    pub room: Option<Mass>,
}

/// Why there is no sound remedy, or none of the kind asked for.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum NoRemedy {
    #[error("the caustic is not over its target; nothing is to be taken back")]
    NotOver,
    #[error("the caustic is not under its target; no lye is to be added")]
    NotUnder,
    #[error("fats and caustic are not both weighed, so there is nothing to reckon with")]
    NotWeighed,
    #[error(
        "the caustic is {over} over; above {OVER_MOST} there is no sound remedy: discard the \
         batch as the safety data sheet says"
    )]
    TooFarOver { over: Share },
    #[error("the soap is in the mould; discard it as the safety data sheet of the caustic says")]
    InMould,
    #[error(
        "it is not known how the mass came about, so no remedy can be trusted: discard the batch \
         as the safety data sheet says"
    )]
    CauseUnknown,
    #[error(
        "the remedy adds {needed} and the pot takes only {room} before it is two thirds full; \
         discard, or divide the batch between two pots"
    )]
    PotTooFull { needed: Mass, room: Mass },
    #[error("`{0}` reacts only partly or after the cook; choose a fat that reacts whole")]
    UnfitFat(IngredientId),
    #[error("`{0}` is not in this recipe")]
    Unknown(IngredientId),
}

/// Above this the pot has been too hot and too strong for too long; trade practice, no source.
const OVER_MOST: Share = Share::from_percent(20);

impl Formula {
    /// Caustic as weighed over what the recipe's superfat allows, as a part of that; negative
    /// when under. `None` before fats and caustic are weighed.
    pub fn caustic_over(&self, weighed: &Masses) -> Option<Share> {
        let needed = self.needed_koh_g(weighed, self.superfat);
        let have = self.alkali_koh_g(weighed);
        (needed > 0.0 && have > 0.0).then(|| Share::from_fraction_rounded(have / needed - 1.0))
    }

    /// Over and still dry: the mass to spoon out of the cup, into waste.
    pub fn spoon_out(&self, caustic: &IngredientId, weighed: &Masses) -> Result<Remedy, NoRemedy> {
        self.find_caustic(caustic).ok_or_else(|| NoRemedy::Unknown(caustic.clone()))?;
        let have = *weighed.get(caustic).ok_or(NoRemedy::NotWeighed)?;
        let target = self.caustic_beside(caustic, weighed).max(Mass::ZERO);
        if have <= target {
            return Err(NoRemedy::NotOver);
        }
        let mut after = weighed.clone();
        after.insert(caustic.clone(), target);
        let masses = Masses::from([(caustic.clone(), have - target)]);
        Ok(Remedy { act: RemedyAct::SpoonOut { caustic: caustic.clone() }, masses, after })
    }

    /// Over, dissolved, not combined: of the clear, mixed solution (weighed now: evaporation takes
    /// only water) the part that holds the target. Acids of the recipe are taken to be dissolved
    /// in it too.
    pub fn use_part(
        &self,
        weighed: &Masses,
        solution: Mass,
        circumstances: &Circumstances,
    ) -> Result<Remedy, NoRemedy> {
        self.bounds_when_over(weighed, circumstances)?;
        let net = self.alkali_koh_g(weighed) - self.acid_koh_g(weighed);
        let part = self.fat_koh_g(weighed) * (1.0 - self.superfat.fraction()) / net;
        let (mut masses, mut after) = (Masses::new(), weighed.clone());
        let in_solution = self.caustics.iter().map(|caustic| &caustic.id);
        let in_solution = in_solution.chain(self.acids.iter().map(|acid| &acid.id));
        for id in in_solution.chain([&self.liquid_id]) {
            let Some(mass) = weighed.get(id) else { continue };
            let used = Mass::from_grams_rounded(mass.grams() * part);
            masses.insert(id.clone(), *mass - used);
            after.insert(id.clone(), used);
        }
        let used = Mass::from_grams_rounded(solution.grams() * part);
        Ok(Remedy { act: RemedyAct::UsePart { solution, used }, masses, after })
    }

    /// Over, combined: every fat in its proportion, and liquid, until the superfat is restored.
    pub fn restore(
        &self,
        weighed: &Masses,
        circumstances: &Circumstances,
    ) -> Result<Remedy, NoRemedy> {
        self.bounds_when_over(weighed, circumstances)?;
        let factor = self.fats_wanted_koh_g(weighed) / self.fat_koh_g(weighed);
        let cooked = self.fats.iter().filter(|fat| !fat.after_cook);
        let added = cooked.filter_map(|fat| {
            let mass = weighed.get(&fat.id)?.grams() * (factor - 1.0);
            Some((fat.id.clone(), Mass::from_grams_rounded(mass)))
        });
        self.add(weighed, added.collect(), factor, circumstances)
    }

    /// Over, combined: one fat alone, and liquid. It shifts the recipe, which the record says.
    pub fn restore_with(
        &self,
        fat: &IngredientId,
        weighed: &Masses,
        circumstances: &Circumstances,
    ) -> Result<Remedy, NoRemedy> {
        self.bounds_when_over(weighed, circumstances)?;
        let chosen = self.fats.iter().find(|known| &known.id == fat);
        let chosen = chosen.ok_or_else(|| NoRemedy::Unknown(fat.clone()))?;
        if chosen.after_cook || !chosen.reacting.is_whole() {
            return Err(NoRemedy::UnfitFat(fat.clone()));
        }
        let (wanted, have) = (self.fats_wanted_koh_g(weighed), self.fat_koh_g(weighed));
        let mass = Mass::from_grams_rounded((wanted - have) / chosen.koh_g_per_g());
        let added = Masses::from([(fat.clone(), mass)]);
        self.add(weighed, added, wanted / have, circumstances)
    }

    /// Under, combined: a small lye made apart, of the recipe's own strength, added when cool.
    pub fn small_lye(
        &self,
        weighed: &Masses,
        circumstances: &Circumstances,
    ) -> Result<Remedy, NoRemedy> {
        let over = self.caustic_over(weighed).ok_or(NoRemedy::NotWeighed)?;
        if over >= Share::ZERO {
            return Err(NoRemedy::NotUnder);
        }
        circumstances.check()?;
        let missing = self.needed_koh_g(weighed, self.superfat) - self.alkali_koh_g(weighed);
        let mut added = Masses::new();
        for caustic in &self.caustics {
            let grams = missing * caustic.covers.fraction() * caustic.g_per_g_koh();
            added.insert(caustic.id.clone(), Mass::from_grams_rounded(grams));
        }
        let liquid = match self.liquid.mass() {
            // as strong as the lye that the recipe's target would have made
            Some(mass) => {
                let missing_part = missing / self.needed_koh_g(weighed, self.superfat);
                Mass::from_grams_rounded(mass.grams() * missing_part)
            }
            None => self.liquid(&added),
        };
        added.insert(self.liquid_id.clone(), liquid);
        circumstances.check_room(&added)?;
        Ok(Remedy { act: RemedyAct::SmallLye, after: sum(weighed, &added), masses: added })
    }

    fn bounds_when_over(
        &self,
        weighed: &Masses,
        circumstances: &Circumstances,
    ) -> Result<(), NoRemedy> {
        let over = self.caustic_over(weighed).ok_or(NoRemedy::NotWeighed)?;
        if over <= Share::ZERO {
            return Err(NoRemedy::NotOver);
        }
        circumstances.check()?;
        if over > OVER_MOST {
            return Err(NoRemedy::TooFarOver { over });
        }
        Ok(())
    }

    /// The demand of fats that the caustic in the batch would leave the recipe's superfat over.
    fn fats_wanted_koh_g(&self, weighed: &Masses) -> f64 {
        let net = self.alkali_koh_g(weighed) - self.acid_koh_g(weighed);
        net / (1.0 - self.superfat.fraction())
    }

    fn add(
        &self,
        weighed: &Masses,
        mut added: Masses,
        factor: f64,
        circumstances: &Circumstances,
    ) -> Result<Remedy, NoRemedy> {
        if let Some(liquid) = weighed.get(&self.liquid_id) {
            let more = Mass::from_grams_rounded(liquid.grams() * (factor - 1.0));
            added.insert(self.liquid_id.clone(), more);
        }
        circumstances.check_room(&added)?;
        Ok(Remedy { act: RemedyAct::Restore, after: sum(weighed, &added), masses: added })
    }
}

impl Remedy {
    /// What to do, in words. Caustic and lye are rounded down, since a little less is the safe
    /// side; what is left of a spooned-out cup likewise.
    pub fn words(&self, unit: MassUnit, decimals: u8) -> String {
        let shown = |mass: Mass| mass.show(unit, decimals);
        let step = Mass::from_decimal(1, decimals, unit).unwrap_or(unit.one());
        let down = |mass: Mass| shown(mass.floor_to(step));
        let list = |show: &dyn Fn(Mass) -> String| {
            let parts = self.masses.iter().map(|(id, mass)| format!("{} of `{id}`", show(*mass)));
            parts.collect::<Vec<_>>().join(", ")
        };
        match &self.act {
            RemedyAct::SpoonOut { caustic } => {
                let left = self.after.get(caustic).copied().unwrap_or(Mass::ZERO);
                format!(
                    "spoon `{caustic}` out of its cup until {} is left; what comes out goes into \
                     waste, never back into its tin",
                    down(left)
                )
            }
            RemedyAct::UsePart { solution, used } => format!(
                "stir until the lye is clear, then use {} of its {}; label the rest as lye and \
                 keep it apart",
                down(*used),
                shown(*solution)
            ),
            RemedyAct::Restore => format!(
                "add {}, all as warm as the pot, slowly and stirring; never cold water into a \
                 hot pot",
                list(&shown)
            ),
            RemedyAct::SmallLye => format!(
                "in a jug of its own dissolve {}, caustic into liquid; let it cool, then add it \
                 slowly and stirring; never dry caustic into the pot",
                list(&down)
            ),
        }
    }
}

impl Circumstances {
    fn check(&self) -> Result<(), NoRemedy> {
        if self.in_mould {
            return Err(NoRemedy::InMould);
        }
        if !self.cause_known {
            return Err(NoRemedy::CauseUnknown);
        }
        Ok(())
    }

    fn check_room(&self, added: &Masses) -> Result<(), NoRemedy> {
        let needed: Mass = added.values().copied().sum();
        match self.room {
            Some(room) if needed > room => Err(NoRemedy::PotTooFull { needed, room }),
            _ => Ok(()),
        }
    }
}

fn sum(weighed: &Masses, added: &Masses) -> Masses {
    let mut after = weighed.clone();
    for (id, mass) in added {
        *after.entry(id.clone()).or_default() += *mass;
    }
    after
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::tests_support::{bar, grams, masses, usual_bar, usual_fats};
    use crate::chemistry::{FormulaAcid, LiquidRule};

    const FINE: Circumstances = Circumstances { in_mould: false, cause_known: true, room: None };

    fn naoh() -> IngredientId {
        "naoh".into()
    }

    /// A bar with citric acid and its caustic at `part` of the target.
    fn poured(part: f64) -> (Formula, Masses) {
        let mut formula = usual_bar("5 %");
        formula.acids = vec![FormulaAcid::citric("citric")];
        let mut weighed = usual_fats();
        weighed.insert("citric".into(), grams(5.0));
        let target = formula.caustic(&naoh(), &weighed);
        weighed.insert(naoh(), Mass::from_grams_rounded(target.grams() * part));
        weighed.insert("water".into(), grams(175.8));
        (formula, weighed)
    }

    #[test]
    fn words_say_what_to_do_and_round_to_the_safe_side() {
        let mut formula = bar("5 %", &[("olive", 190.0)]);
        let weighed = masses(&[("olive", 1000.0), ("naoh", 132.0), ("water", 300.0)]);
        // 190 g of KOH × 0.712 89 × 0.95 = 128.677 g
        let words = |remedy: Remedy| remedy.words(MassUnit::Gram, 1);
        assert_eq!(
            words(formula.spoon_out(&naoh(), &weighed).unwrap()),
            "spoon `naoh` out of its cup until 128.6 g is left; what comes out goes into waste, \
             never back into its tin"
        );
        assert_eq!(
            words(formula.use_part(&weighed, grams(430.0), &FINE).unwrap()),
            "stir until the lye is clear, then use 419.1 g of its 430.0 g; label the rest as lye \
             and keep it apart"
        );
        assert_eq!(
            words(formula.restore(&weighed, &FINE).unwrap()),
            "add 25.8 g of `olive`, 7.7 g of `water`, all as warm as the pot, slowly and \
             stirring; never cold water into a hot pot"
        );
        formula.liquid = LiquidRule::parse("2:1").unwrap();
        let short = masses(&[("olive", 1000.0), ("naoh", 120.0), ("water", 240.0)]);
        assert_eq!(
            words(formula.small_lye(&short, &FINE).unwrap()),
            "in a jug of its own dissolve 8.6 g of `naoh`, 17.3 g of `water`, caustic into \
             liquid; let it cool, then add it slowly and stirring; never dry caustic into the pot"
        );
    }

    #[test]
    fn there_is_no_sound_remedy_beyond_the_bounds() {
        let (formula, over) = poured(1.05);
        let (_, far_over) = poured(1.21);
        let (_, exact) = poured(0.999);
        let mould = Circumstances { in_mould: true, ..FINE };
        let unknown = Circumstances { cause_known: false, ..FINE };
        let full = Circumstances { room: Some(grams(5.0)), ..FINE };
        let refused = |weighed: &Masses, circumstances: &Circumstances| {
            formula.restore(weighed, circumstances).unwrap_err()
        };
        assert!(matches!(refused(&far_over, &FINE), NoRemedy::TooFarOver { .. }));
        assert_eq!(refused(&over, &mould), NoRemedy::InMould);
        assert_eq!(refused(&over, &unknown), NoRemedy::CauseUnknown);
        assert!(matches!(refused(&over, &full), NoRemedy::PotTooFull { .. }));
        assert_eq!(refused(&exact, &FINE), NoRemedy::NotOver);
        assert_eq!(refused(&usual_fats(), &FINE), NoRemedy::NotWeighed);
        assert_eq!(formula.small_lye(&over, &FINE), Err(NoRemedy::NotUnder));
        let wax = formula.restore_with(&"candelilla".into(), &over, &FINE);
        assert_eq!(wax, Err(NoRemedy::UnfitFat("candelilla".into())));
        // a cup that is still dry can always be spooned out
        assert!(formula.spoon_out(&naoh(), &far_over).is_ok());
    }

    /// More than a fifth over has no sound remedy; a fifth has.
    #[test]
    fn a_fifth_over_is_the_most() {
        for (part, sound) in [(1.1999, true), (1.2001, false)] {
            let (formula, over) = poured(part);
            let restored = formula.restore(&over, &FINE);
            assert_eq!(restored.is_ok(), sound, "{part}: {restored:?}");
            assert_eq!(formula.use_part(&over, grams(240.0), &FINE).is_ok(), sound, "{part}");
        }
    }

    proptest! {
        #[test]
        fn every_remedy_ends_at_the_recipes_superfat(part in 1.001_f64..1.199) {
            let (formula, over) = poured(part);
            let remedies = [
                formula.spoon_out(&naoh(), &over),
                formula.use_part(&over, grams(240.0), &FINE),
                formula.restore(&over, &FINE),
                formula.restore_with(&"olive".into(), &over, &FINE),
            ];
            for remedy in remedies {
                let remedy = remedy.unwrap();
                let found = formula.nominal_superfat(&remedy.after).unwrap();
                prop_assert!((found - 0.05).abs() < 1e-9, "{:?}: {found}", remedy.act);
                prop_assert!(remedy.masses.values().all(|mass| *mass > Mass::ZERO));
            }
        }

        #[test]
        fn a_small_lye_ends_there_too(part in 0.3_f64..0.999) {
            let (formula, under) = poured(part);
            let remedy = formula.small_lye(&under, &FINE).unwrap();
            let found = formula.nominal_superfat(&remedy.after).unwrap();
            prop_assert!((found - 0.05).abs() < 1e-9, "{found}");
            let [naoh, water] = [&naoh(), &"water".into()].map(|id| remedy.masses[id].grams());
            prop_assert!((water / naoh - 2.7).abs() < 1e-6, "{}", water / naoh);
        }
    }
}
