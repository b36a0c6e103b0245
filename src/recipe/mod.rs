//! From a recipe file to a checked recipe.
//!
//! Once read, a recipe cannot hold a negative mass, an unknown fat, shares that do not add up, or a
//! superfat nobody asked for. Every oil has its mass, however the file stated it; scaling gives a
//! new recipe.

mod additions;
mod amounts;
mod base;
pub mod edit;
mod in_pot;
mod ingredients;
mod liquid;
mod process;
mod read;
mod tests_of_cook;

pub use base::BaseChoice;
pub use in_pot::InPot;
pub(crate) use read::{digest, units};

use std::collections::BTreeMap;

use crate::chemistry::{
    Alkali, FormulaAcid, IngredientId, LiquidRule, LotCertificate, water_boils_at,
};
use crate::plan::{CookTest, Nature, Tolerance, Units, Vessel, Window};
use crate::quantity::{Mass, Share, Span, Temperature, TemperatureDelta};

/// A complete recipe with a remark for every key: what a maker starts from.
pub const EXAMPLE: &str = include_str!("example.toml");

/// A master recipe (IEC 61512), checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// The name of the file it came from, for later problems.
    pub file: String,
    /// SHA-256 of the file's text, in hex; of a scaled recipe still that of the file.
    pub digest: String,
    pub name: String,
    pub note: Option<String>,
    pub units: Units,
    pub superfat: Share,
    /// The superfat at which the guard on the caustic alarms.
    pub floor: Share,
    pub order: Order,
    pub oils: Vec<Oil>,
    /// One, or two whose shares make up the whole demand.
    pub caustics: Vec<CausticChoice>,
    pub liquid: Liquid,
    pub additions: Vec<Addition>,
    pub late_fats: Vec<LateFat>,
    /// The vessel of the bench file that is the pot.
    pub pot: Option<String>,
    pub combine: Combine,
    /// `None` for cold process.
    pub cook: Option<CookPlan>,
    pub work: Vec<Work>,
    /// How this recipe came from the file, if not as it stands: "scaled to 410 g of shea butter".
    pub changes: Vec<String>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Oil {
    pub id: IngredientId,
    /// The key in the table of fats.
    pub fat: String,
    /// As the maker calls it.
    pub name: String,
    pub mass: Mass,
    pub nature: Nature,
    pub tolerance: Option<Tolerance>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

/// How a lye is started, as the maker declares it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LyeStart {
    /// Of the liquid that is not ice.
    pub liquid: Temperature,
    /// The jug stands in cold water.
    pub bath: bool,
    /// The caustic goes in bit by bit, with pauses to cool.
    pub portions: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Lot {
    pub name: String,
    /// The saponification value on the supplier's paper, if the file gives it.
    pub certificate: Option<LotCertificate>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct CausticChoice {
    pub id: IngredientId,
    pub alkali: Alkali,
    /// The part of the whole demand that this caustic covers.
    pub covers: Share,
    pub purity: Purity,
    /// A stock lye: alkali product as a share of the solution; `None` for the solid.
    pub stock: Option<Share>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

/// Mass fraction of alkali in the solid product.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Purity {
    pub low: Share,
    pub working: Share,
    pub high: Share,
    /// False where the file says nothing and the product is taken as pure.
    pub stated: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Liquid {
    pub id: IngredientId,
    pub name: String,
    /// Counted per solid caustic, whether it comes solid or as a stock lye.
    pub amount: LiquidRule,
    /// The part of it that is water.
    pub water: Share,
    /// What to mind with it.
    pub caution: Option<String>,
    /// The part of the liquid that goes in as ice.
    pub ice: Share,
    /// How the lye is started, if the file says so; otherwise its temperature is not judged.
    pub start: Option<LyeStart>,
    pub tolerance: Option<Tolerance>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Addition {
    pub id: IngredientId,
    pub name: String,
    pub amount: AdditionAmount,
    pub when: When,
    pub into: Vessel,
    pub nature: Nature,
    pub tolerance: Option<Tolerance>,
    pub hazards: Vec<String>,
    /// Into a pot no hotter than this.
    pub below: Option<Temperature>,
    /// As its safety data sheet says.
    pub flash_point: Option<Temperature>,
    /// What it eats of the caustic, if it is an acid.
    pub acid: Option<FormulaAcid>,
    /// It is soap of an earlier batch, which then is its lot.
    pub base: Option<BaseChoice>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AdditionAmount {
    Mass(Mass),
    /// A share of the oils.
    OfOils(Share),
    /// Any share of the oils between these two will do.
    Between(Share, Share),
}

/// A fat that goes in after the cook, and is not counted for the caustic.
#[derive(Clone, Debug, PartialEq)]
pub struct LateFat {
    pub id: IngredientId,
    pub fat: String,
    pub name: String,
    pub amount: AdditionAmount,
    pub nature: Nature,
    pub tolerance: Option<Tolerance>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

/// What is weighed first; the other side follows what was really weighed of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    #[default]
    OilsFirst,
    LyeFirst,
}

/// A place in the order of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum When {
    First,
    /// Into the oils, before lye comes to them.
    BeforeLye,
    /// After oils and lye have come together.
    BeforeCook,
    AfterCook,
    Last,
}

/// What holds when oils and lye come together.
#[derive(Clone, Debug, PartialEq)]
pub struct Combine {
    pub oils: Option<Window>,
    pub lye: Option<Window>,
    pub difference_max: Option<TemperatureDelta>,
    /// False where the windows are the usual ones and not the maker's.
    pub stated: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct CookPlan {
    pub window: Window,
    pub high: Temperature,
    pub high_high: Temperature,
    pub duration: Span,
    pub look_every: Span,
    /// To be passed before it ends.
    pub tests: Vec<CookTest>,
    /// The file sets limits of its own; otherwise they are the usual ones.
    pub stated: bool,
}

/// Something the operator does and says done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Work {
    pub say: String,
    pub when: When,
    pub hazards: Vec<String>,
}

impl Recipe {
    pub fn oil_total(&self) -> Mass {
        self.oils.iter().map(|oil| oil.mass).sum()
    }

    /// The planned oils by id: what the caustic follows from until something is weighed.
    pub fn oil_masses(&self) -> BTreeMap<IngredientId, Mass> {
        self.oils.iter().map(|oil| (oil.id.clone(), oil.mass)).collect()
    }
}

impl Recipe {
    /// Sodium hydroxide makes bars; potassium hydroxide alone makes paste, which is not poured.
    pub fn makes_bars(&self) -> bool {
        self.caustics.iter().any(|caustic| caustic.alkali == Alkali::SodiumHydroxide)
    }
}

impl CookPlan {
    /// The usual limits are lowered with the boiling point of water at the bench, by whole
    /// kelvins, so that the alarm still comes before the pot boils. The maker's own stay.
    pub fn adjusted(&self, altitude_m: i32) -> CookPlan {
        let Ok(boils) = water_boils_at(altitude_m) else { return self.clone() };
        let lower = (Temperature::from_celsius(100) - boils).kelvin().floor();
        if self.stated || lower <= 0.0 {
            return self.clone();
        }
        let down = |limit: Temperature| limit - TemperatureDelta::from_kelvin_rounded(lower);
        CookPlan {
            window: Window { high: down(self.window.high), ..self.window },
            high: down(self.high),
            high_high: down(self.high_high),
            ..self.clone()
        }
    }
}

impl When {
    pub const WORDS: [(&'static str, When); 5] = [
        ("first", When::First),
        ("before lye", When::BeforeLye),
        ("before cook", When::BeforeCook),
        ("after cook", When::AfterCook),
        ("last", When::Last),
    ];
}

impl AdditionAmount {
    /// The mass over these oils; of a range, the middle.
    pub fn over(self, oils: Mass) -> Mass {
        match self {
            AdditionAmount::Mass(mass) => mass,
            share => {
                let whole = Mass::from_steps(Share::WHOLE.millionths());
                oils.scaled(Mass::from_steps(share.middle().millionths()), whole)
            }
        }
    }

    /// Of a range its middle; of a mass nothing.
    pub fn middle(self) -> Share {
        match self {
            AdditionAmount::Mass(_) => Share::ZERO,
            AdditionAmount::OfOils(share) => share,
            AdditionAmount::Between(low, high) => {
                Share::from_millionths((low.millionths() + high.millionths()) / 2)
            }
        }
    }
}
