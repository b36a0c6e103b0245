use std::cmp::Reverse;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::uncertainty::{self, Combined, Input};
use super::{Formula, IngredientId, Masses, ScaleFacts};
use crate::quantity::{Mass, Share};

/// Achieved superfat with its expanded uncertainty, k = 2 (JCGM 100).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Superfat {
    pub achieved: Share,
    pub expanded: Share,
}

/// Where the uncertainty of a superfat comes from, and what it means.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SuperfatBudget {
    pub superfat: Superfat,
    /// The largest first.
    pub parts: Vec<BudgetPart>,
    pub lye_heavy: Likelihood,
}

/// What one input adds to the standard uncertainty of the superfat.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BudgetPart {
    pub doubt: Doubt,
    pub u: Share,
}

/// One thing that is not known exactly.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    SaponificationValue(IngredientId),
    ReactingPart(IngredientId),
    AcidStrength(IngredientId),
    Purity(IngredientId),
    Weighing(IngredientId),
}

/// How likely the soap is lye-heavy, in bands; see [`LYE_HEAVY_ASSUMPTIONS`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Likelihood {
    VeryUnlikely,
    Unlikely,
    Possible,
    RealChance,
    SeriousChance,
    MoreLikelyThanNot,
    NearlyCertain,
}

/// What the bands of [`Likelihood`] rest on, to be printed beside them.
pub const LYE_HEAVY_ASSUMPTIONS: &str = "assuming that the fats are what their labels say and lie \
    in their published ranges, that all caustic dissolved and met the fats, that nothing was \
    spilt, and that the errors are independent and add up to a normal distribution";

/// A scale whose one interval moves the superfat by more than this is too coarse for caustic.
pub const SUPERFAT_PER_INTERVAL_MOST: Share = Share::from_percent(2);

/// The upper ends of the bands, as probabilities.
const BANDS: [(f64, Likelihood); 6] = [
    (0.001, Likelihood::VeryUnlikely),
    (0.01, Likelihood::Unlikely),
    (0.05, Likelihood::Possible),
    (0.20, Likelihood::RealChance),
    (0.50, Likelihood::SeriousChance),
    (0.95, Likelihood::MoreLikelyThanNot),
];
const COVERAGE_FACTOR: f64 = 2.0;

impl Formula {
    /// The superfat of fats and caustics really weighed. Without any fat it is 0 ± 100 %: nothing
    /// is known.
    pub fn superfat(&self, weighed: &Masses, scale: &ScaleFacts) -> Superfat {
        let nothing = Superfat { achieved: Share::ZERO, expanded: Share::WHOLE };
        match Model::of(self, weighed, &Masses::new(), scale) {
            Some(model) => superfat_of(&model.combine()),
            None => nothing,
        }
    }

    /// The same with its uncertainty taken apart. `by_hand` holds the half-width of each mass that
    /// no scale of this bench weighed. `None` before any fat is weighed.
    pub fn superfat_budget(
        &self,
        weighed: &Masses,
        by_hand: &Masses,
        scale: &ScaleFacts,
    ) -> Option<SuperfatBudget> {
        let model = Model::of(self, weighed, by_hand, scale)?;
        let combined = model.combine();
        let parts = model.doubts.iter().zip(&combined.contributions);
        let mut parts: Vec<BudgetPart> = parts
            .map(|(doubt, &u)| BudgetPart {
                doubt: doubt.clone(),
                u: Share::from_fraction_rounded(u),
            })
            .filter(|part| part.u > Share::ZERO)
            .collect();
        parts.sort_by_key(|part| Reverse(part.u));
        let below_nothing = uncertainty::normal_tail(combined.value / combined.u.max(f64::EPSILON));
        let superfat = superfat_of(&combined);
        Some(SuperfatBudget { superfat, parts, lye_heavy: Likelihood::of(below_nothing) })
    }

    /// The superfat if every caustic were as pure as it credibly can be. `None` before any fat is
    /// weighed.
    pub fn superfat_at_highest_purity(&self, weighed: &Masses) -> Option<Share> {
        let mut purest = self.clone();
        for caustic in &mut purest.caustics {
            caustic.purity = caustic.purity_high;
        }
        purest.nominal_superfat(weighed).map(Share::from_fraction_rounded)
    }

    /// How far one scale interval of this caustic moves the superfat, to be held against
    /// [`SUPERFAT_PER_INTERVAL_MOST`]. `None` before any fat is weighed.
    pub fn superfat_per_interval(
        &self,
        caustic: &IngredientId,
        fats: &Masses,
        scale: &ScaleFacts,
    ) -> Option<Share> {
        let demand = self.fat_koh_g(fats);
        let koh = scale.d.grams() / self.find_caustic(caustic)?.g_per_g_koh();
        (demand > 0.0).then(|| Share::from_fraction_rounded(koh / demand))
    }

    pub(super) fn nominal_superfat(&self, weighed: &Masses) -> Option<f64> {
        let demand = self.fat_koh_g(weighed);
        let used = self.alkali_koh_g(weighed) - self.acid_koh_g(weighed);
        (demand > 0.0).then(|| 1.0 - used / demand)
    }
}

impl SuperfatBudget {
    /// What most of the uncertainty comes from.
    pub fn dominant(&self) -> Option<&BudgetPart> {
        self.parts.first()
    }
}

impl Likelihood {
    fn of(probability: f64) -> Likelihood {
        BANDS
            .iter()
            .find(|(upper, _)| probability < *upper)
            .map_or(Likelihood::NearlyCertain, |(_, likelihood)| *likelihood)
    }

    pub const fn words(self) -> &'static str {
        match self {
            Likelihood::VeryUnlikely => "very unlikely, < 0.1 %",
            Likelihood::Unlikely => "unlikely, < 1 %",
            Likelihood::Possible => "possible, 1 % to 5 %",
            Likelihood::RealChance => "a real chance, 5 % to 20 %",
            Likelihood::SeriousChance => "a serious chance, 20 % to 50 %",
            Likelihood::MoreLikelyThanNot => "more likely than not, > 50 %",
            Likelihood::NearlyCertain => "nearly certain, > 95 %",
        }
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Doubt::SaponificationValue(id) => write!(f, "the saponification value of `{id}`"),
            Doubt::ReactingPart(id) => write!(f, "how much of `{id}` reacts"),
            Doubt::AcidStrength(id) => write!(f, "the strength of `{id}`"),
            Doubt::Purity(id) => write!(f, "the purity of `{id}`"),
            Doubt::Weighing(id) => write!(f, "the weighing of `{id}`"),
        }
    }
}

/// The superfat as a function of everything that is not known exactly. Numbers are places in
/// `inputs`.
struct Model<'a> {
    doubts: Vec<Doubt>,
    inputs: Vec<Input>,
    fats: Vec<FatPlaces>,
    /// Strength and mass.
    acids: Vec<[usize; 2]>,
    caustics: Vec<CausticPlaces>,
    weighing: Weighing<'a>,
}

struct FatPlaces {
    sap: usize,
    reacting: usize,
    mass: usize,
}

struct CausticPlaces {
    purity: usize,
    mass: usize,
    per_koh: f64,
}

#[derive(Clone, Copy)]
struct Weighing<'a> {
    weighed: &'a Masses,
    by_hand: &'a Masses,
    scale: &'a ScaleFacts,
}

impl Model<'_> {
    /// `None` when no fat that meets the lye has been weighed.
    fn of<'a>(
        formula: &Formula,
        weighed: &'a Masses,
        by_hand: &'a Masses,
        scale: &'a ScaleFacts,
    ) -> Option<Model<'a>> {
        let mut model = Model {
            doubts: Vec::new(),
            inputs: Vec::new(),
            fats: Vec::new(),
            acids: Vec::new(),
            caustics: Vec::new(),
            weighing: Weighing { weighed, by_hand, scale },
        };
        for fat in formula.fats.iter().filter(|fat| !fat.after_cook) {
            let Some(mass) = model.weighed(&fat.id) else { continue };
            let sap = uncertainty::within(fat.sap_low, fat.sap, fat.sap_high);
            let sap = model.input(Doubt::SaponificationValue(fat.id.clone()), sap);
            let reacting = share_within(fat.reacting.low, fat.reacting.working, fat.reacting.high);
            let reacting = model.input(Doubt::ReactingPart(fat.id.clone()), reacting);
            model.fats.push(FatPlaces { sap, reacting, mass });
        }
        for acid in &formula.acids {
            let Some(mass) = model.weighed(&acid.id) else { continue };
            let koh = uncertainty::within(
                acid.koh_low_mg_per_g,
                acid.koh_mg_per_g,
                acid.koh_high_mg_per_g,
            );
            let koh = model.input(Doubt::AcidStrength(acid.id.clone()), koh);
            model.acids.push([koh, mass]);
        }
        for caustic in &formula.caustics {
            let Some(mass) = model.weighed(&caustic.id) else { continue };
            let purity = share_within(caustic.purity_low, caustic.purity, caustic.purity_high);
            let purity = model.input(Doubt::Purity(caustic.id.clone()), purity);
            let per_koh = caustic.alkali.per_koh();
            model.caustics.push(CausticPlaces { purity, mass, per_koh });
        }
        (formula.fat_koh_g(weighed) > 0.0).then_some(model)
    }

    fn combine(&self) -> Combined {
        uncertainty::combine(&self.inputs, |x| {
            let demand: f64 = self
                .fats
                .iter()
                .map(|fat| x[fat.sap] * x[fat.reacting] * x[fat.mass] / 1000.0)
                .sum();
            let eaten: f64 = self.acids.iter().map(|[koh, mass]| x[*koh] * x[*mass] / 1000.0).sum();
            let alkali: f64 =
                self.caustics.iter().map(|c| x[c.purity] * x[c.mass] / c.per_koh).sum();
            1.0 - (alkali - eaten) / demand
        })
    }

    fn input(&mut self, doubt: Doubt, input: Input) -> usize {
        self.doubts.push(doubt);
        self.inputs.push(input);
        self.inputs.len() - 1
    }

    fn weighed(&mut self, id: &IngredientId) -> Option<usize> {
        let mass = *self.weighing.weighed.get(id)?;
        let input = match self.weighing.by_hand.get(id) {
            Some(half_width) => Input::rectangular(mass.grams(), half_width.grams()),
            None => Input { value: mass.grams(), u: self.weighing.scale.u_g(mass) },
        };
        Some(self.input(Doubt::Weighing(id.clone()), input))
    }
}

fn superfat_of(combined: &Combined) -> Superfat {
    Superfat {
        achieved: Share::from_fraction_rounded(combined.value),
        expanded: Share::from_fraction_rounded(COVERAGE_FACTOR * combined.u),
    }
}

fn share_within(low: Share, working: Share, high: Share) -> Input {
    uncertainty::within(low.fraction(), working.fraction(), high.fraction())
}

/// Mass of one caustic at which the best estimate of the superfat is this, the others fixed.
pub(super) fn mass_at_superfat(
    formula: &Formula,
    caustic: &IngredientId,
    weighed: &Masses,
    superfat: f64,
) -> Option<Mass> {
    let own = formula.find_caustic(caustic)?;
    let others: f64 = formula
        .caustics
        .iter()
        .filter(|other| &other.id != caustic)
        .map(|other| other.koh_g(weighed))
        .sum();
    let needed = formula.fat_koh_g(weighed) * (1.0 - superfat) + formula.acid_koh_g(weighed);
    Some(Mass::from_grams_rounded((needed - others) * own.g_per_g_koh()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::tests_support::{masses, usual_bar, usual_fats};
    use crate::chemistry::{AccuracyClass, FatTable, FormulaFat, Verified};

    fn scale() -> ScaleFacts {
        ScaleFacts::new(Mass::parse("0.1 g").unwrap(), Mass::parse("3 kg").unwrap())
    }

    fn weighed_to_target(formula: &Formula) -> Masses {
        let mut weighed = usual_fats();
        weighed.insert("naoh".into(), formula.caustic(&"naoh".into(), &weighed));
        weighed
    }

    #[test]
    fn the_target_meets_the_recipe_and_carries_its_uncertainty() {
        let formula = usual_bar("5 %");
        let budget = formula
            .superfat_budget(&weighed_to_target(&formula), &Masses::new(), &scale())
            .unwrap();
        assert_eq!(budget.superfat.achieved, Share::from_percent(5));
        // by hand: √(24.5² + 23.7² + 10.4² + 7.5² + 5.8² + 3.2²) ÷ 3380 of the fats' demand and
        // 2 ÷ √3 ÷ 98 of the purity, both × 0.95; k = 2
        let expanded = budget.superfat.expanded.percent();
        assert!((expanded - 3.05).abs() < 0.15, "{expanded}");
        assert_eq!(budget.dominant().unwrap().doubt.to_string(), "the purity of `naoh`");
        assert_eq!(budget.lye_heavy, Likelihood::VeryUnlikely);
    }

    #[test]
    fn purer_caustic_than_reckoned_eats_superfat() {
        let formula = usual_bar("5 %");
        let purest = formula.superfat_at_highest_purity(&weighed_to_target(&formula)).unwrap();
        // 1 − 0.95 × 100 ÷ 98
        assert_eq!(purest, Share::from_fraction_rounded(1.0 - 0.95 / 0.98));
    }

    #[test]
    fn a_wax_says_how_much_of_it_may_react() {
        let mut formula = usual_bar("5 %");
        let beeswax = FatTable::built_in().find("beeswax").unwrap();
        formula.fats.push(FormulaFat::of("beeswax", beeswax));
        let mut weighed = usual_fats();
        weighed.insert("beeswax".into(), Mass::parse("20 oz").unwrap());
        weighed.insert("naoh".into(), formula.caustic(&"naoh".into(), &weighed));
        let budget = formula.superfat_budget(&weighed, &Masses::new(), &scale()).unwrap();
        assert_eq!(budget.dominant().unwrap().doubt.to_string(), "how much of `beeswax` reacts");
    }

    #[test]
    fn classes_and_hand_masses_widen_the_range() {
        let formula = usual_bar("5 %");
        let weighed = weighed_to_target(&formula);
        let plain = formula.superfat(&weighed, &scale()).expanded;
        let e = Mass::parse("1 g").unwrap();
        let classed = ScaleFacts {
            verified: Some(Verified { class: AccuracyClass::III, e }),
            ..ScaleFacts::new(e, Mass::parse("3 kg").unwrap())
        };
        assert!(formula.superfat(&weighed, &classed).expanded > plain);
        let by_hand = Masses::from([("coconut".into(), Mass::parse("10 g").unwrap())]);
        let budget = formula.superfat_budget(&weighed, &by_hand, &scale()).unwrap();
        assert!(budget.superfat.expanded > plain);
    }

    #[test]
    fn nothing_weighed_is_nothing_known() {
        let formula = usual_bar("5 %");
        let nothing = formula.superfat(&Masses::new(), &scale());
        assert_eq!(nothing, Superfat { achieved: Share::ZERO, expanded: Share::WHOLE });
        assert!(
            formula.superfat_budget(&masses(&[("naoh", 60.0)]), &Masses::new(), &scale()).is_none()
        );
    }

    #[test]
    fn one_interval_of_a_coarse_scale_moves_the_superfat_too_far() {
        let formula = usual_bar("5 %");
        let small = masses(&[("olive", 100.0)]);
        let coarse = ScaleFacts::new(Mass::parse("1 g").unwrap(), Mass::parse("5 kg").unwrap());
        let moved = formula.superfat_per_interval(&"naoh".into(), &small, &coarse).unwrap();
        // 0.98 g of NaOH over a demand of 19.15 g × 0.71289
        assert!((moved.percent() - 7.18).abs() < 0.01, "{moved}");
        assert!(moved > SUPERFAT_PER_INTERVAL_MOST);
    }

    #[test]
    fn bands_of_likelihood() {
        for (probability, words) in [
            (0.0005, "very unlikely, < 0.1 %"),
            (0.005, "unlikely, < 1 %"),
            (0.02, "possible, 1 % to 5 %"),
            (0.3, "a serious chance, 20 % to 50 %"),
            (0.6, "more likely than not, > 50 %"),
            (0.99, "nearly certain, > 95 %"),
        ] {
            assert_eq!(Likelihood::of(probability).words(), words);
        }
    }
}
