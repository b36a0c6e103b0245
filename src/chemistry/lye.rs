use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Alkali, Caustic, CausticForm, Formula, Masses};
use crate::quantity::{Mass, Share};

/// What a lye of these weighings is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LyeStrength {
    /// Mass fractions of pure alkali in alkali and water together.
    pub naoh: Share,
    pub koh: Share,
    /// All water: of the liquid, of stock lye, of watery flake.
    pub water: Mass,
}

/// This much caustic does not stay dissolved in this much water.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error(
    "{naoh} of NaOH and {koh} of KOH in {water} of water is more than water holds at 20 °C \
     ({NAOH_G_PER_100_G} g of NaOH or {KOH_G_PER_100_G} g of KOH in 100 g); use at least {needed} \
     of water"
)]
pub struct NotSoluble {
    pub naoh: Mass,
    pub koh: Mass,
    pub water: Mass,
    pub needed: Mass,
}

/// Grams that dissolve in 100 g of water at 20 °C: handbook values, from memory. At 10 °C less
/// does, so a lye near the limit throws crystals in a cold room.
const NAOH_G_PER_100_G: f64 = 109.0;
const KOH_G_PER_100_G: f64 = 112.0;

/// Grams of each thing in a lye.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct LyeGrams {
    pub naoh_solid: f64,
    pub naoh_stock: f64,
    pub koh_solid: f64,
    pub koh_stock: f64,
    /// Water held by watery solids of each alkali.
    pub naoh_hydrate_water: f64,
    pub koh_hydrate_water: f64,
    pub stock_water: f64,
    pub liquid_water: f64,
    /// Carbonate in the caustic; sugar, salt and fat in the liquid.
    pub inert: f64,
}

impl Formula {
    /// The strength of the lye that these weighings make. `None` before caustic and liquid are
    /// both weighed.
    pub fn lye_strength(&self, weighed: &Masses) -> Option<LyeStrength> {
        let lye = self.lye_grams(weighed, Caustic::working_purity)?;
        let total = lye.naoh() + lye.koh() + lye.water();
        Some(LyeStrength {
            naoh: Share::from_fraction_rounded(lye.naoh() / total),
            koh: Share::from_fraction_rounded(lye.koh() / total),
            water: Mass::from_grams_rounded(lye.water()),
        })
    }

    /// Refuses a lye that cannot stay dissolved at 20 °C. Of a mixture each alkali is given its
    /// own water, which is cautious. Passes while nothing is weighed.
    pub fn check_dissolves(&self, weighed: &Masses) -> Result<(), NotSoluble> {
        let Some(lye) = self.lye_grams(weighed, Caustic::working_purity) else {
            return Ok(());
        };
        let needed = 100.0 * (lye.naoh() / NAOH_G_PER_100_G + lye.koh() / KOH_G_PER_100_G);
        if needed <= lye.water() {
            return Ok(());
        }
        let [naoh, koh, water, needed] =
            [lye.naoh(), lye.koh(), lye.water(), needed].map(Mass::from_grams_rounded);
        Err(NotSoluble { naoh, koh, water, needed })
    }

    /// `None` unless at least one caustic and, for solid ones, the liquid are weighed.
    pub(super) fn lye_grams(
        &self,
        weighed: &Masses,
        purity: impl Fn(&Caustic) -> f64,
    ) -> Option<LyeGrams> {
        let mut lye = LyeGrams::default();
        for caustic in &self.caustics {
            let grams = weighed.get(&caustic.id).map_or(0.0, |mass| mass.grams());
            lye.add(caustic, grams, purity(caustic));
        }
        let liquid = weighed.get(&self.liquid_id).map_or(0.0, |mass| mass.grams());
        lye.liquid_water = liquid * self.liquid_water.fraction();
        lye.inert += liquid - lye.liquid_water;
        (lye.naoh() + lye.koh() > 0.0 && lye.water() > 0.0).then_some(lye)
    }
}

impl Caustic {
    pub(super) fn working_purity(&self) -> f64 {
        self.purity.fraction()
    }
}

impl LyeGrams {
    pub fn naoh(&self) -> f64 {
        self.naoh_solid + self.naoh_stock
    }

    pub fn koh(&self) -> f64 {
        self.koh_solid + self.koh_stock
    }

    pub fn water(&self) -> f64 {
        let hydrate = self.naoh_hydrate_water + self.koh_hydrate_water;
        self.liquid_water + self.stock_water + hydrate
    }

    fn add(&mut self, caustic: &Caustic, grams: f64, purity: f64) {
        let (alkali, rest) = (grams * purity, grams * (1.0 - purity));
        let sodium = caustic.alkali == Alkali::SodiumHydroxide;
        match caustic.form {
            CausticForm::Lye => {
                *(if sodium { &mut self.naoh_stock } else { &mut self.koh_stock }) += alkali;
                self.stock_water += rest;
            }
            CausticForm::Solid | CausticForm::WaterySolid => {
                *(if sodium { &mut self.naoh_solid } else { &mut self.koh_solid }) += alkali;
                let rest_is = match (caustic.form, sodium) {
                    (CausticForm::WaterySolid, true) => &mut self.naoh_hydrate_water,
                    (CausticForm::WaterySolid, false) => &mut self.koh_hydrate_water,
                    _ => &mut self.inert,
                };
                *rest_is += rest;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::tests_support::{bar, masses, pure};

    #[test]
    fn strength_counts_all_water_and_only_pure_alkali() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let [low, purity, high] = [85, 90, 90].map(Share::from_percent);
        formula.caustics = vec![Caustic {
            form: CausticForm::WaterySolid,
            ..Caustic::solid("koh", Alkali::PotassiumHydroxide, [low, purity, high])
        }];
        formula.liquid_water = Share::from_percent(90);
        let strength = formula.lye_strength(&masses(&[("koh", 100.0), ("water", 200.0)])).unwrap();
        // 90 g of KOH; 10 g of water in the flake and 180 g in the juice
        assert_eq!(strength.koh, Share::from_fraction_rounded(90.0 / 280.0));
        assert_eq!(strength.water, Mass::parse("190 g").unwrap());
        assert_eq!(
            formula.lye_strength(&masses(&[("koh", 100.0)])).map(|s| s.naoh),
            Some(Share::ZERO)
        );
    }

    #[test]
    fn what_water_cannot_hold_is_refused() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        assert_eq!(formula.check_dissolves(&masses(&[("naoh", 100.0), ("water", 100.0)])), Ok(()));
        let words = formula
            .check_dissolves(&masses(&[("naoh", 109.0), ("water", 90.0)]))
            .unwrap_err()
            .to_string();
        assert_eq!(
            words,
            "109.000 g of NaOH and 0.000 g of KOH in 90.000 g of water is more than water holds \
             at 20 °C (109 g of NaOH or 112 g of KOH in 100 g); use at least 100.000 g of water"
        );
        formula.caustics =
            vec![pure("naoh", Alkali::SodiumHydroxide), pure("koh", Alkali::PotassiumHydroxide)];
        let both = |water| masses(&[("naoh", 54.5), ("koh", 56.0), ("water", water)]);
        assert!(formula.check_dissolves(&both(100.1)).is_ok());
        assert!(formula.check_dissolves(&both(99.9)).is_err());
    }
}
