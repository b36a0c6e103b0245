use serde::{Deserialize, Serialize};

use super::{Base, CookTest};
use crate::chemistry::{Formula, IngredientId, StartState};
use crate::quantity::{
    Mass, MassUnit, Share, Span, Temperature, TemperatureDelta, TemperatureUnit, Volume,
};

/// The copy of a recipe frozen into one batch when it starts (IEC 61512). The batch is judged by
/// this, never by the file as it is later.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ControlRecipe {
    pub name: String,
    /// SHA-256 of the recipe file as it was, in hex.
    pub recipe_digest: String,
    pub units: Units,
    pub formula: Formula,
    /// In the order of work.
    pub steps: Vec<Step>,
    /// What the plan found worth saying: unfit scales, unproven margins, hazards.
    pub findings: Vec<Finding>,
    /// Soap of earlier batches among the ingredients.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bases: Vec<Base>,
    /// How the lye is started, if that was declared; otherwise its peak is not judged.
    #[serde(default)]
    pub lye_start: Option<StartState>,
    /// The pot by the bench file, where it is known which.
    #[serde(default)]
    pub pot: Option<Pot>,
}

/// What limits how much may be added to a pot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pot {
    pub name: String,
    pub tare: Mass,
    /// To the brim.
    pub volume: Option<Volume>,
}

/// What the maker reads and writes in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Units {
    pub mass: MassUnit,
    pub mass_decimals: u8,
    pub temperature: TemperatureUnit,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Unique in the recipe: "weigh-coconut", "dissolve", "cook".
    pub key: String,
    /// As the operator is told: "coconut oil", "dissolve the caustic", "cook".
    pub title: String,
    /// Named where they are: goggles, ventilation, blades.
    pub hazards: Vec<String>,
    pub kind: StepKind,
    /// From here on the soap is on its way into the mould, and nothing can be added to it.
    #[serde(default)]
    pub moulding: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StepKind {
    Weigh(Weigh),
    /// Caustic into liquid, never the reverse.
    Dissolve,
    /// Oils and lye come together.
    Combine {
        oils: Option<Window>,
        lye: Option<Window>,
        difference_max: Option<TemperatureDelta>,
    },
    Cook(Cook),
    /// A remedy: too much is in a vessel, and is taken out until only what is to be used is left.
    TakeOut(TakeOut),
    /// Something the operator does and says done: melt down, pour, unmould.
    Do,
    /// The same, once the pot is no hotter than this.
    WhenCool {
        below: Temperature,
    },
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weigh {
    pub ingredient: IngredientId,
    pub name: String,
    pub amount: Amount,
    pub into: Vessel,
    pub nature: Nature,
    pub tolerance: Tolerance,
    /// The lot it is taken from, as far as the maker said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
}

/// What the target of a weighing follows from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amount {
    Fixed(Mass),
    /// From the fats captured, through the formula; with the hard guard.
    Caustic,
    /// From the caustics captured, through the formula.
    Liquid,
    /// A share of the fats captured: glycerin, fragrance, clay.
    OfFats(Share),
    /// A fat whose lye is made already: planned so, it follows the caustics captured.
    AfterLye(Mass),
    /// Caustic that a remedy adds: so much and hardly more.
    MoreCaustic(Mass),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Vessel {
    /// The pot stays on the pan and fills up.
    Pot,
    /// A vessel of its own, tared empty.
    Own,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Nature {
    Pour,
    /// Chunks and chips: mass comes in steps.
    Pieces,
    /// Powders by the spoon.
    Scoop,
}

/// How far from the target a capture may be, on either side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tolerance {
    /// The larger of this share and one scale interval.
    Share(Share),
    /// As the recipe says; never finer than one scale interval.
    Mass(Mass),
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TakeOut {
    /// The vessel is the one in which this was weighed.
    pub vessel_of: IngredientId,
    /// As the operator knows the vessel's content.
    pub name: String,
    pub keep: Keep,
}

impl TakeOut {
    /// Everything that is taken out together, in proportion.
    pub fn ingredients(&self, formula: &Formula) -> Vec<IngredientId> {
        match self.keep {
            Keep::Mass(_) => vec![self.vessel_of.clone()],
            Keep::PartOfLye => {
                let caustics = formula.caustics.iter().map(|caustic| &caustic.id);
                let acids = formula.acids.iter().map(|acid| &acid.id);
                caustics.chain(acids).chain([&formula.liquid_id]).cloned().collect()
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Keep {
    /// Dry caustic: so much of it.
    Mass(Mass),
    /// The clear lye is weighed first, since water may have left it; then so much of it is kept as
    /// holds the caustic that the fats take.
    PartOfLye,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Window {
    pub low: Temperature,
    pub high: Temperature,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cook {
    pub window: Window,
    /// Warn above this.
    pub high: Temperature,
    /// Alarm above this.
    pub high_high: Temperature,
    pub duration: Span,
    /// Remind to look this often.
    pub look_every: Span,
    /// To be passed before the cook ends.
    #[serde(default)]
    pub tests: Vec<CookTest>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    pub severity: Severity,
    pub words: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    Note,
    Warning,
    /// The batch cannot be started like this.
    Unfit,
}

impl Weigh {
    /// Weighed with its own cup and under the hard guard.
    pub const fn is_caustic(&self) -> bool {
        matches!(self.amount, Amount::Caustic | Amount::MoreCaustic(_))
    }
}

impl ControlRecipe {
    /// The lye is made before the fats are weighed, and they follow it.
    pub fn is_lye_first(&self) -> bool {
        self.weighings().any(|weigh| matches!(weigh.amount, Amount::AfterLye(_)))
    }

    pub fn weighings(&self) -> impl Iterator<Item = &Weigh> {
        self.steps.iter().filter_map(|step| match &step.kind {
            StepKind::Weigh(weigh) => Some(weigh),
            _ => None,
        })
    }
}
