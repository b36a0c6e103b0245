//! A recipe made larger or smaller, or with another oil. Always a new recipe; the file stays.

use thiserror::Error;

use super::formula;
use crate::chemistry::{FatTable, Formula, IngredientId, Masses};
use crate::problem::{Problems, nearest};
use crate::quantity::{Mass, MassUnit, Share, Volume};
use crate::recipe::{AdditionAmount, Recipe};

use crate::chemistry::LiquidRule;

/// Raw soap in pots and moulds. Common practice, no source: oils lie about 0.92 g/ml, lye about
/// 1.3 g/ml.
pub const DENSITY_ASSUMED_G_PER_ML: f64 = 1.0;

/// What a recipe is scaled to.
#[derive(Clone, Debug, PartialEq)]
pub enum ScaleTo {
    /// So many times: 150 % is one and a half times.
    Times(Share),
    TotalOils(Mass),
    /// Oils, caustic, liquid and additions together.
    TotalBatch(Mass),
    /// As far as what there is of one ingredient goes.
    Have {
        ingredient: String,
        mass: Mass,
    },
    /// A part of a pot or mould, at [`DENSITY_ASSUMED_G_PER_ML`].
    Fill {
        volume: Volume,
        part: Share,
    },
}

/// A recipe with one oil exchanged, and the caustic on both sides of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Swapped {
    pub recipe: Recipe,
    pub caustic_before: Masses,
    pub caustic_after: Masses,
}

/// Why a recipe cannot be scaled, or an oil not exchanged.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ScalingError {
    #[error("the recipe has no `{asked}`; it has {known}{}", did_you_mean(.nearest))]
    NotInRecipe { asked: String, known: String, nearest: Option<String> },
    #[error("scaled like this the oils weigh {0}; expected 1 g to 100 kg")]
    OutOfRange(Mass),
    #[error("`{0}` is in the recipe already; change its mass in the file instead")]
    AlreadyThere(String),
    #[error("no fat is called `{asked}`{}", did_you_mean(.nearest))]
    UnknownFat { asked: String, nearest: Option<String> },
    #[error(transparent)]
    Recipe(#[from] Problems),
}

const OILS_LEAST: Mass = MassUnit::Gram.one();
const OILS_MOST: Mass = Mass::from_steps(MassUnit::Kilogram.one().steps() * 100);

/// The same recipe, larger or smaller in all its masses. Tolerances stay: they belong to the
/// scale, not to the batch.
pub fn scaled(recipe: &Recipe, fats: &FatTable, to: &ScaleTo) -> Result<Recipe, ScalingError> {
    let (new, old) = factor(recipe, fats, to)?;
    if old <= Mass::ZERO || new <= Mass::ZERO {
        return Err(ScalingError::OutOfRange(Mass::ZERO));
    }
    let grams = recipe.oil_total().grams() * (new.grams() / old.grams());
    // compared before rounding to steps, where too much would wrap
    if !(OILS_LEAST.grams()..=OILS_MOST.grams()).contains(&grams) {
        let capped = grams.min(Mass::LARGEST.grams());
        return Err(ScalingError::OutOfRange(Mass::from_grams_rounded(capped)));
    }
    let times = |mass: Mass| mass.scaled(new, old);
    let amount = |amount: AdditionAmount| match amount {
        AdditionAmount::Mass(mass) => AdditionAmount::Mass(times(mass)),
        share => share,
    };
    let mut scaled = recipe.clone();
    for oil in &mut scaled.oils {
        oil.mass = times(oil.mass);
    }
    for addition in &mut scaled.additions {
        addition.amount = amount(addition.amount);
    }
    for fat in &mut scaled.late_fats {
        fat.amount = amount(fat.amount);
    }
    if let LiquidRule::Mass(mass) = scaled.liquid.amount {
        scaled.liquid.amount = LiquidRule::Mass(times(mass));
    }
    scaled.changes.push(to.words(recipe, new.grams() / old.grams()));
    Ok(scaled)
}

/// The same mass of another fat in the place of one; the caustic follows.
pub fn swapped(
    recipe: &Recipe,
    fats: &FatTable,
    from: &str,
    to: &str,
) -> Result<Swapped, ScalingError> {
    let asked = fats.find(from).map_or(from, |fat| fat.key.as_str());
    let is_asked = |fat: &str, name: &str| fat == asked || name.eq_ignore_ascii_case(from.trim());
    let Some(place) = recipe.oils.iter().position(|oil| is_asked(&oil.fat, &oil.name)) else {
        let names = recipe.oils.iter().map(|oil| oil.name.as_str());
        return Err(not_in_recipe(from, names));
    };
    let new = fats.find(to).map_err(|unknown| ScalingError::UnknownFat {
        asked: unknown.asked,
        nearest: unknown.nearest,
    })?;
    if recipe.oils.iter().any(|oil| oil.fat == new.key) {
        return Err(ScalingError::AlreadyThere(new.name.clone()));
    }
    let mut changed = recipe.clone();
    let oil = &mut changed.oils[place];
    let words = format!("{} in the place of {}", new.name, oil.name);
    oil.id = IngredientId(new.key.clone());
    oil.fat = new.key.clone();
    oil.name = new.name.clone();
    // the paper was for the other oil
    oil.lot = None;
    changed.changes.push(words);
    let (before, after) = (formula::of(recipe, fats)?.0, formula::of(&changed, fats)?.0);
    Ok(Swapped {
        caustic_before: caustics(&before, recipe),
        caustic_after: caustics(&after, &changed),
        recipe: changed,
    })
}

fn factor(recipe: &Recipe, fats: &FatTable, to: &ScaleTo) -> Result<(Mass, Mass), ScalingError> {
    let batch =
        || -> Result<Mass, ScalingError> { Ok(exact(recipe, fats)?.values().copied().sum()) };
    Ok(match to {
        ScaleTo::Times(times) => {
            (Mass::from_steps(times.millionths()), Mass::from_steps(Share::WHOLE.millionths()))
        }
        ScaleTo::TotalOils(mass) => (*mass, recipe.oil_total()),
        ScaleTo::TotalBatch(mass) => (*mass, batch()?),
        ScaleTo::Fill { volume, part } => {
            let grams = volume.millilitres() * part.fraction() * DENSITY_ASSUMED_G_PER_ML;
            (Mass::from_grams_rounded(grams), batch()?)
        }
        ScaleTo::Have { ingredient, mass } => (*mass, of_one(recipe, fats, ingredient)?),
    })
}

/// What the recipe takes of one ingredient, called by its name, its key or any name of its fat.
fn of_one(recipe: &Recipe, fats: &FatTable, asked: &str) -> Result<Mass, ScalingError> {
    let masses = exact(recipe, fats)?;
    let key = fats.find(asked).map_or(asked, |fat| fat.key.as_str());
    let is_asked = |id: &IngredientId, name: &str| {
        id.0 == key || id.0.eq_ignore_ascii_case(asked) || name.eq_ignore_ascii_case(asked.trim())
    };
    let oils = recipe.oils.iter().map(|oil| (&oil.id, oil.name.as_str()));
    let caustics = recipe.caustics.iter().map(|caustic| (&caustic.id, caustic.alkali.words()));
    let liquid = std::iter::once((&recipe.liquid.id, recipe.liquid.name.as_str()));
    let additions = recipe.additions.iter().map(|addition| (&addition.id, addition.name.as_str()));
    let late = recipe.late_fats.iter().map(|fat| (&fat.id, fat.name.as_str()));
    let all: Vec<(&IngredientId, &str)> =
        oils.chain(caustics).chain(liquid).chain(additions).chain(late).collect();
    all.iter()
        .find(|(id, name)| is_asked(id, name))
        .and_then(|(id, _)| masses.get(id).copied())
        .ok_or_else(|| not_in_recipe(asked, all.iter().map(|(_, name)| *name)))
}

/// Every mass of the recipe, not yet rounded to what a scale shows.
fn exact(recipe: &Recipe, fats: &FatTable) -> Result<Masses, ScalingError> {
    let (formula, _) = formula::of(recipe, fats)?;
    Ok(formula::planned(recipe, &formula, Mass::from_steps(1)))
}

fn caustics(formula: &Formula, recipe: &Recipe) -> Masses {
    formula.caustic_targets(&formula::planned(recipe, formula, Mass::from_steps(1)))
}

fn not_in_recipe<'a>(asked: &str, names: impl Iterator<Item = &'a str>) -> ScalingError {
    let names: Vec<&str> = names.collect();
    let near = nearest(asked, names.iter().copied()).map(str::to_owned);
    let asked = asked.trim().to_owned();
    ScalingError::NotInRecipe { asked, known: names.join(", "), nearest: near }
}

fn did_you_mean(nearest: &Option<String>) -> String {
    nearest.as_ref().map_or(String::new(), |name| format!("; did you mean `{name}`?"))
}

impl ScaleTo {
    /// For the head of the sheet.
    fn words(&self, recipe: &Recipe, factor: f64) -> String {
        let (unit, decimals) = (recipe.units.mass, recipe.units.mass_decimals);
        let to = match self {
            ScaleTo::Times(_) => String::new(),
            ScaleTo::TotalOils(mass) => format!(", to {} of oils", mass.show(unit, decimals)),
            ScaleTo::TotalBatch(mass) => format!(", to {} in all", mass.show(unit, decimals)),
            ScaleTo::Have { ingredient, mass } => {
                format!(", to the {} of {ingredient} there is", mass.show(unit, decimals))
            }
            ScaleTo::Fill { volume, part } => format!(
                ", to {} of {volume} at {DENSITY_ASSUMED_G_PER_ML:.1} g/ml (common practice)",
                part.show(0)
            ),
        };
        format!("scaled {factor:.3} times{to}")
    }
}
