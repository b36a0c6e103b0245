use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::caustic_heat::{self as heat, naoh_kj_per_mol};
use super::lye::LyeGrams;
use super::theory::{KOH_G_PER_MOL, NAOH_G_PER_MOL};
use super::{Caustic, ExpectedLye, Formula, Masses};
use crate::quantity::{Mass, Share, Temperature};

/// How a lye is started, as the operator declares it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct StartState {
    /// Of the liquid that is not ice; the caustic and the jug are taken to be as warm.
    pub liquid: Temperature,
    /// Part of the liquid that is ice at 0 °C.
    pub ice: Share,
    /// The jug stands in cold water.
    pub bath: bool,
    /// The caustic goes in bit by bit, with pauses to cool.
    pub portions: bool,
    pub jug: Option<Jug>,
}

/// What the lye warms beside itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Jug {
    pub mass: Mass,
    pub material: JugMaterial,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum JugMaterial {
    StainlessSteel,
    Glass,
    Polypropylene,
}

/// Why no peak can be foretold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum NoForecast {
    #[error("the start of the lye is not declared, so its temperature is not judged")]
    Undeclared,
    #[error("caustic or liquid is not weighed yet")]
    NotWeighed,
    #[error("the liquid starts at {0}; expected 0 °C to 100 °C")]
    Liquid(Temperature),
    #[error("the ice is {0} of the liquid; expected 0 % to 100 %")]
    Ice(Share),
    #[error("lye above 50 % lies outside the published heats")]
    TooStrong,
    #[error("no published heat for thinning potassium hydroxide stock lye was found")]
    PotassiumStock,
    #[error("there is more ice than the heat of the caustic melts")]
    IceStays,
}

/// Heat capacities in J/(g K): water, and solids near room temperature, from memory. The solids
/// move the result by less than 0.1 K.
const WATER_CP: f64 = 4.184;
const NAOH_CP: f64 = 1.489;
const KOH_CP: f64 = 1.16;
/// Carbonate, sugar, salt; ours.
const INERT_CP: f64 = 1.0;
/// Heat that melts a gram of ice, J, from memory.
const ICE_J_PER_G: f64 = 333.55;
const WATER_G_PER_MOL: f64 = 18.015;
/// The temperature that the heats of solution belong to.
const REFERENCE_C: f64 = 25.0;
/// Above this no lye of the tables can come by its own heat.
const HOTTEST_C: f64 = 300.0;
/// Loss of an undeclared jug and to the air while stirring, as a part of the lye's own heat
/// capacity. Ours: a light plastic jug with quick stirring to a heavy glass one with slow.
const UNDECLARED_LOSS_MOST: f64 = 0.15;
/// To the air, beside a declared jug that is warmed through; ours.
const AIR_LOSS_MOST: f64 = 0.05;

impl Formula {
    /// The peak temperature of the lye that these weighings make, from the declared start.
    ///
    /// The upper end is Parker's heat without any loss; the lower end takes the older heat (4 %
    /// less), the lowest credible purity and the loss to jug and air.
    pub fn expected_lye(
        &self,
        weighed: &Masses,
        start: Option<&StartState>,
    ) -> Result<ExpectedLye, NoForecast> {
        let start = start.ok_or(NoForecast::Undeclared)?;
        if !(Share::ZERO..=Share::WHOLE).contains(&start.ice) {
            return Err(NoForecast::Ice(start.ice));
        }
        if !(Temperature::from_celsius(0)..=Temperature::from_celsius(100)).contains(&start.liquid)
        {
            return Err(NoForecast::Liquid(start.liquid));
        }
        let peak = |purity: fn(&Caustic) -> f64, older: bool, loss: bool| {
            let lye = self.lye_grams(weighed, purity).ok_or(NoForecast::NotWeighed)?;
            Balance { lye, start, older, loss }.peak_celsius()
        };
        let lossless = peak(Caustic::working_purity, false, false)?;
        let high = peak(|caustic| caustic.purity_high.fraction(), false, false)?;
        let has_koh =
            self.lye_grams(weighed, Caustic::working_purity).is_some_and(|l| l.koh() > 0.0);
        let at_most_only = start.bath || start.portions || has_koh;
        let low = if at_most_only {
            None
        } else {
            Some(peak(|caustic| caustic.purity_low.fraction(), true, true)?)
        };
        let [lossless, high] = [lossless, high].map(Temperature::from_celsius_rounded);
        Ok(ExpectedLye { low: low.map(Temperature::from_celsius_rounded), lossless, high })
    }
}

impl Jug {
    /// J/K; handbook heat capacities, from memory.
    fn heat_capacity_j_per_k(&self) -> f64 {
        self.mass.grams()
            * match self.material {
                JugMaterial::StainlessSteel => 0.50,
                JugMaterial::Glass => 0.83,
                JugMaterial::Polypropylene => 1.9,
            }
    }
}

/// One heat balance of a lye.
struct Balance<'a> {
    lye: LyeGrams,
    start: &'a StartState,
    older: bool,
    loss: bool,
}

impl Balance<'_> {
    /// Where the heat set free at 25 °C, less what brings all parts there, lifts the solution.
    fn peak_celsius(&self) -> Result<f64, NoForecast> {
        let left = self.heat_of_solution_j()? + self.sensible_j();
        if left < self.warming_j(0.0) {
            return Err(NoForecast::IceStays);
        }
        let (mut low, mut high) = (0.0, HOTTEST_C);
        for _ in 0..60 {
            let middle = (low + high) / 2.0;
            if self.warming_j(middle) < left { low = middle } else { high = middle }
        }
        Ok(low)
    }

    fn heat_of_solution_j(&self) -> Result<f64, NoForecast> {
        let lye = &self.lye;
        if lye.koh_stock > 0.0 {
            return Err(NoForecast::PotassiumStock);
        }
        let (naoh, koh) = (lye.naoh() / NAOH_G_PER_MOL, lye.koh() / KOH_G_PER_MOL);
        let water = lye.water() / WATER_G_PER_MOL;
        let stock = lye.naoh_stock / NAOH_G_PER_MOL;
        let per_mole = self.naoh_heat_kj_per_mol(water / (naoh + koh))?;
        let mut kj = naoh * per_mole + koh * heat::KOH_KJ_PER_MOL;
        if stock > 0.0 {
            // what the stock lye has already set free when it was made
            kj -= stock * self.naoh_heat_kj_per_mol(lye.stock_water / WATER_G_PER_MOL / stock)?;
        }
        let hydrates = |water_g: f64, alkali_mol: f64| (water_g / WATER_G_PER_MOL).min(alkali_mol);
        kj -= hydrates(lye.koh_hydrate_water, koh) * heat::KOH_HYDRATE_LESS_KJ_PER_MOL;
        kj -= hydrates(lye.naoh_hydrate_water, naoh) * heat::NAOH_HYDRATE_LESS_KJ_PER_MOL;
        Ok(kj * 1000.0)
    }

    fn naoh_heat_kj_per_mol(&self, water_per_mole: f64) -> Result<f64, NoForecast> {
        if self.lye.naoh() > 0.0 && water_per_mole < heat::NAOH_WATER_LEAST {
            return Err(NoForecast::TooStrong);
        }
        let less = if self.older { heat::OLDER_LESS_KJ_PER_MOL } else { 0.0 };
        Ok(naoh_kj_per_mol(water_per_mole) - less)
    }

    /// What the parts bring along above 25 °C; negative for cold liquid and ice.
    fn sensible_j(&self) -> f64 {
        let lye = &self.lye;
        let above = self.start.liquid.celsius() - REFERENCE_C;
        let ice = lye.liquid_water * self.start.ice.fraction();
        let cool = lye.water() - ice;
        let solids = lye.naoh_solid * NAOH_CP + lye.koh_solid * KOH_CP + lye.inert * INERT_CP;
        let stock = lye.naoh_stock * WATER_CP;
        (cool * WATER_CP + solids + stock) * above - ice * (ICE_J_PER_G + WATER_CP * REFERENCE_C)
    }

    /// Heat that brings solution and jug from 25 °C (the jug: from its start) to `celsius`.
    fn warming_j(&self, celsius: f64) -> f64 {
        let lye = &self.lye;
        let solution = lye.naoh() + lye.koh() + lye.water();
        let strength = (lye.naoh() + lye.koh()) / solution;
        let potash = lye.koh() / (lye.naoh() + lye.koh());
        let cp = |t: f64| {
            heat::naoh_cp(strength, t) * (1.0 - potash) + heat::koh_cp(strength, t) * potash
        };
        // Simpson's rule over a nearly straight line
        let middle = (REFERENCE_C + celsius) / 2.0;
        let mean_cp = (cp(REFERENCE_C) + 4.0 * cp(middle) + cp(celsius)) / 6.0;
        let capacity = solution * mean_cp + lye.inert * INERT_CP;
        let lost_to = if self.loss { self.loss_j_per_k(capacity) } else { 0.0 };
        capacity * (celsius - REFERENCE_C)
            + lost_to * (celsius - self.start.liquid.celsius()).max(0.0)
    }

    fn loss_j_per_k(&self, capacity_j_per_k: f64) -> f64 {
        match &self.start.jug {
            Some(jug) => jug.heat_capacity_j_per_k() + AIR_LOSS_MOST * capacity_j_per_k,
            None => UNDECLARED_LOSS_MOST * capacity_j_per_k,
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::chemistry::tests_support::{bar, masses};
    use crate::chemistry::{Alkali, CausticForm};

    /// mass fraction, end from 20 °C with Parker's heat, with the older heat, rise per K of
    /// start; computed from Olsson 1997 and both families of heats
    pub(in crate::chemistry) const LOSSLESS: [(f64, f64, f64, f64); 18] = [
        (0.05, 33.8, 33.3, 1.011),
        (0.10, 48.9, 47.8, 1.018),
        (0.15, 64.3, 62.7, 1.008),
        (0.20, 79.2, 77.0, 0.987),
        (0.22, 84.8, 82.3, 0.977),
        (0.24, 90.0, 87.3, 0.966),
        (0.25, 92.5, 89.7, 0.961),
        (0.26, 94.9, 91.9, 0.956),
        (0.2672, 96.5, 93.5, 0.952),
        (0.28, 99.3, 96.1, 0.945),
        (0.30, 103.2, 99.8, 0.935),
        (0.32, 106.6, 102.9, 0.925),
        (0.3333, 108.6, 104.8, 0.919),
        (0.35, 110.7, 106.7, 0.912),
        (0.38, 113.6, 109.1, 0.902),
        (0.40, 114.8, 110.1, 0.896),
        (0.45, 115.8, 110.2, 0.887),
        (0.50, 113.8, 107.4, 0.883),
    ];

    /// KOH as a mass fraction of the lye; end from 20 °C for pure KOH and for 90 % flake whose
    /// rest is water; heat at infinite dilution, Laliberté 2009
    pub(in crate::chemistry) const POTASH_BOUND: [(f64, f64, f64); 8] = [
        (0.20, 81.5, 65.6),
        (0.22, 88.9, 71.2),
        (0.25, 100.6, 79.9),
        (0.28, 112.8, 89.0),
        (0.30, 121.3, 95.3),
        (0.3333, 135.9, 106.2),
        (0.35, 143.5, 111.8),
        (0.40, 167.3, 129.4),
    ];

    fn at(celsius: i64) -> StartState {
        let liquid = Temperature::from_celsius(celsius);
        StartState { liquid, ice: Share::ZERO, bath: false, portions: false, jug: None }
    }

    fn balance<'a>(formula: &Formula, weighed: &Masses, start: &'a StartState) -> Balance<'a> {
        let lye = formula.lye_grams(weighed, Caustic::working_purity).unwrap();
        Balance { lye, start, older: false, loss: false }
    }

    /// A kilogram of lye with this fraction of KOH, from flake whose rest is water.
    pub(in crate::chemistry) fn potash(fraction: f64, purity: Share) -> ExpectedLye {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let koh = Caustic::solid("koh", Alkali::PotassiumHydroxide, [purity; 3]);
        formula.caustics = vec![Caustic { form: CausticForm::WaterySolid, ..koh }];
        let tin = 1000.0 * fraction / purity.fraction();
        let weighed = masses(&[("koh", tin), ("water", 1000.0 - tin)]);
        formula.expected_lye(&weighed, Some(&at(20))).unwrap()
    }

    /// The lossless end from 20 °C, with Parker's heat or the older one, °C.
    pub(in crate::chemistry) fn lossless_celsius(fraction: f64, older: bool) -> f64 {
        let (formula, weighed) = naoh_lye(fraction);
        let start = at(20);
        Balance { older, ..balance(&formula, &weighed, &start) }.peak_celsius().unwrap()
    }

    fn naoh_lye(fraction: f64) -> (Formula, Masses) {
        let grams = [("naoh", 1000.0 * fraction), ("water", 1000.0 * (1.0 - fraction))];
        (bar("5 %", &[("olive", 191.5)]), masses(&grams))
    }

    #[test]
    fn lossless_ends_agree_with_the_published_data() {
        for (fraction, parker, older, per_kelvin) in LOSSLESS {
            let ours = lossless_celsius(fraction, false);
            assert!((ours - parker).abs() < 1.0, "{fraction}: {ours} instead of {parker}");
            let ours_old = lossless_celsius(fraction, true);
            assert!((ours_old - older).abs() < 1.0, "{fraction}: {ours_old} instead of {older}");
            let (formula, weighed) = naoh_lye(fraction);
            let warm = balance(&formula, &weighed, &at(30)).peak_celsius().unwrap();
            assert!(((warm - ours) / 10.0 - per_kelvin).abs() < 0.02, "{fraction}: {warm}");
        }
    }

    #[test]
    fn potassium_hydroxide_has_an_upper_bound_only() {
        for (fraction, anhydrous, flake) in POTASH_BOUND {
            let forecast = potash(fraction, Share::WHOLE);
            assert_eq!(forecast.low, None);
            let found = forecast.lossless.celsius();
            assert!((found - anhydrous).abs() < 1.5, "{fraction}: {found} instead of {anhydrous}");
            let found = potash(fraction, Share::from_percent(90)).lossless.celsius();
            assert!((found - flake).abs() < 1.5, "{fraction}: {found} instead of {flake}");
        }
    }

    #[test]
    fn impurity_and_jug_take_their_part() {
        let (mut formula, _) = naoh_lye(0.25);
        let weighed = masses(&[("naoh", 64.1), ("water", 175.8)]);
        for (percent, expected) in [(100, 96.5), (98, 95.3), (97, 94.7)] {
            formula.caustics[0].purity = Share::from_percent(percent);
            let found = balance(&formula, &weighed, &at(20)).peak_celsius().unwrap();
            assert!((found - expected).abs() < 0.5, "{percent} %: {found}");
        }
        // a jug of 100 J/K brings 96.5 °C to 88.6 °C; the loss to the air comes on top
        let jug =
            Jug { mass: Mass::parse("200 g").unwrap(), material: JugMaterial::StainlessSteel };
        let start = StartState { jug: Some(jug), ..at(20) };
        formula.caustics[0].purity = Share::WHOLE;
        let lossy = Balance { loss: true, ..balance(&formula, &weighed, &start) };
        let found = lossy.peak_celsius().unwrap();
        assert!((84.5..88.6).contains(&found), "{found}");
    }

    #[test]
    fn the_lower_end_takes_all_that_can_be_lost() {
        let mut formula = bar("5 %", &[("olive", 191.5)]);
        let usual = Alkali::SodiumHydroxide.usual_purity().unwrap();
        formula.caustics = vec![Caustic::solid("naoh", Alkali::SodiumHydroxide, usual)];
        let weighed = masses(&[("naoh", 64.1), ("water", 175.8)]);
        let expected = formula.expected_lye(&weighed, Some(&at(20))).unwrap();
        // 96.5 °C, less 3 K for the older heat, 2.4 K for 96 % purity, 15 ÷ 115 of the rise
        let low = expected.low.unwrap().celsius();
        assert!((80.5..83.0).contains(&low), "{low}");
        let high = expected.high.celsius();
        assert!((96.0..97.0).contains(&high), "{high}");
    }

    #[test]
    fn stock_lye_sets_free_only_the_heat_of_thinning() {
        let (mut formula, _) = naoh_lye(0.25);
        let half = Share::from_percent(50);
        let lye = Caustic::solid("naoh", Alkali::SodiumHydroxide, [half; 3]);
        formula.caustics = vec![Caustic { form: CausticForm::Lye, ..lye }];
        let weighed = masses(&[("naoh", 500.0), ("water", 500.0)]);
        let thinned = formula.expected_lye(&weighed, Some(&at(20))).unwrap().lossless.celsius();
        // (42.0 − 23.9) kJ/mol × 6.25 mol over 1000 g × 3.65 J/(g K)
        assert!((48.0..54.0).contains(&thinned), "{thinned}");
    }

    #[test]
    fn ice_takes_its_heat_first() {
        let (formula, weighed) = naoh_lye(0.25);
        let start = StartState { ice: Share::from_percent(50), ..at(20) };
        let iced = formula.expected_lye(&weighed, Some(&start)).unwrap();
        let plain = formula.expected_lye(&weighed, Some(&at(20))).unwrap();
        // 375 g of ice take 333.55 J/g and 20 K more: 42 K of 1000 g of lye
        let cooler = (plain.lossless - iced.lossless).kelvin();
        assert!((41.0..44.0).contains(&cooler), "{cooler}");
        let (thin, weighed) = naoh_lye(0.02);
        let all_ice = StartState { ice: Share::WHOLE, ..at(0) };
        assert_eq!(thin.expected_lye(&weighed, Some(&all_ice)), Err(NoForecast::IceStays));
    }

    #[test]
    fn nothing_is_foretold_from_what_is_not_known() {
        let (formula, weighed) = naoh_lye(0.25);
        assert_eq!(formula.expected_lye(&weighed, None), Err(NoForecast::Undeclared));
        let half = formula.expected_lye(&masses(&[("naoh", 60.0)]), Some(&at(20)));
        assert_eq!(half, Err(NoForecast::NotWeighed));
        let (strong, too_much) = naoh_lye(0.55);
        assert_eq!(strong.expected_lye(&too_much, Some(&at(20))), Err(NoForecast::TooStrong));
        assert!(matches!(
            formula.expected_lye(&weighed, Some(&at(150))),
            Err(NoForecast::Liquid(_))
        ));
        for start in [StartState { bath: true, ..at(20) }, StartState { portions: true, ..at(20) }]
        {
            assert_eq!(formula.expected_lye(&weighed, Some(&start)).unwrap().low, None);
        }
    }
}
