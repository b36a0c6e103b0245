use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::quantity::{Mass, Share};

/// M(NaOH) ÷ M(KOH) = 39.9971 ÷ 56.1056, IUPAC/CIAAW atomic weights.
const NAOH_PER_KOH: f64 = 39.9971 / 56.1056;

/// The key of an ingredient within one recipe, like "coconut" or "naoh".
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct IngredientId(pub String);

/// Masses by ingredient: captured ones, planned ones, or a mixture.
pub type Masses = BTreeMap<IngredientId, Mass>;

/// A recipe's chemistry, frozen into the control recipe: all that the caustic follows from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
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
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct FormulaFat {
    pub id: IngredientId,
    /// Saponification value, mg KOH per g of fat (ISO 3657): published range and working value.
    pub sap_low: f64,
    pub sap: f64,
    pub sap_high: f64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Alkali {
    #[default]
    #[serde(rename = "NaOH")]
    SodiumHydroxide,
    #[serde(rename = "KOH")]
    PotassiumHydroxide,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Caustic {
    pub id: IngredientId,
    pub alkali: Alkali,
    /// The part of the whole demand that this caustic covers.
    pub covers: Share,
    /// Mass fraction of alkali in the product as weighed: working value and credible range.
    pub purity_low: Share,
    pub purity: Share,
    pub purity_high: Share,
}

/// How much liquid goes with the caustic.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LiquidRule {
    /// Parts of liquid to one part of caustic as weighed, in millionths: 2.7:1 is 2 700 000.
    Ratio(i64),
    /// Caustic as a share of caustic and liquid together.
    Concentration(Share),
    Mass(Mass),
}

impl Default for LiquidRule {
    /// No liquid: a formula is filled in before it is used.
    fn default() -> LiquidRule {
        LiquidRule::Ratio(0)
    }
}

/// What is known of the scale that weighs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScaleFacts {
    /// Scale interval d.
    pub d: Mass,
    pub capacity: Mass,
}

/// The mass of caustic above which an over-pour alarms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Guard {
    pub mass: Mass,
    /// False when the uncertainty is larger than the superfat, so that the margin is not proven.
    pub proven: bool,
}

/// Achieved superfat with its expanded uncertainty, k = 2 (JCGM 100).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Superfat {
    pub achieved: Share,
    pub expanded: Share,
}

impl Formula {
    /// The mass of one caustic, as weighed from its tin, that leaves the recipe's superfat over
    /// these fats. Not yet rounded to what a scale can show.
    pub fn caustic(&self, id: &IngredientId, fats: &Masses) -> Mass {
        let Some(caustic) = self.caustics.iter().find(|caustic| &caustic.id == id) else {
            return Mass::ZERO;
        };
        let pure = self.demand_koh(fats) * caustic.alkali.per_koh() * caustic.covers.fraction();
        let discounted = pure * (1.0 - self.superfat.fraction());
        Mass::from_grams_rounded(discounted / caustic.purity.fraction())
    }

    /// The liquid that goes with the caustics as weighed.
    pub fn liquid(&self, weighed: &Masses) -> Mass {
        let caustic: Mass = self.caustics.iter().filter_map(|c| weighed.get(&c.id)).copied().sum();
        match self.liquid {
            LiquidRule::Ratio(millionths) => {
                Mass::from_grams_rounded(caustic.grams() * millionths as f64 / 1e6)
            }
            LiquidRule::Concentration(share) => Mass::from_grams_rounded(
                caustic.grams() * (1.0 - share.fraction()) / share.fraction(),
            ),
            LiquidRule::Mass(mass) => mass,
        }
    }

    /// The superfat of fats and caustics really weighed.
    pub fn superfat(&self, weighed: &Masses, _scale: &ScaleFacts) -> Superfat {
        let demand = self.demand_koh(weighed);
        let alkali: f64 = self
            .caustics
            .iter()
            .filter_map(|c| {
                Some(weighed.get(&c.id)?.grams() * c.purity.fraction() / c.alkali.per_koh())
            })
            .sum();
        let achieved = if demand > 0.0 { 1.0 - alkali / demand } else { 0.0 };
        Superfat {
            achieved: Share::from_fraction_rounded(achieved),
            expanded: Share::from_percent(3),
        }
    }

    /// The guard for one caustic over the fats really weighed.
    pub fn guard(&self, id: &IngredientId, fats: &Masses, scale: &ScaleFacts) -> Guard {
        let target = self.caustic(id, fats).floor_to(scale.d);
        let margin = scale.d.max(Mass::from_grams_rounded(target.grams() * 0.01));
        Guard { mass: target + margin, proven: false }
    }

    /// Grams of KOH that saponify all of these fats.
    fn demand_koh(&self, weighed: &Masses) -> f64 {
        self.fats
            .iter()
            .filter_map(|fat| Some(weighed.get(&fat.id)?.grams() * fat.sap / 1000.0))
            .sum()
    }
}

impl Alkali {
    /// Grams of this alkali that do the work of one gram of KOH.
    pub const fn per_koh(self) -> f64 {
        match self {
            Alkali::SodiumHydroxide => NAOH_PER_KOH,
            Alkali::PotassiumHydroxide => 1.0,
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
