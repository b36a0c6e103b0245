//! From a checked recipe and the bench to the control recipe: what one batch is judged by.

mod alterations;
mod base;
mod control;
mod cook_test;
mod fitness;
mod formula;
mod hazards;
mod outlook;
mod scaling;
pub mod sheet;
mod steps;

use crate::bench_file::{BenchFile, Material, Purpose, VesselFile};
use crate::chemistry::{FatTable, Jug, JugMaterial, Masses, ScaleFacts, StartState};
use crate::problem::{Problem, Problems, nearest};
use crate::quantity::{Mass, MassUnit, Share, Temperature};
use crate::recipe::Recipe;

pub use alterations::{AlterationError, Alterations};
pub use base::{Base, Earlier, Ledger, SaidBy};
pub use control::{
    Amount, ControlRecipe, Cook, Finding, Keep, Nature, Pot, Severity, Step, StepKind, TakeOut,
    Tolerance, Units, Vessel, Weigh, Window,
};
pub use cook_test::{CookTest, INDICATOR_NOTE, TestLimit, TestMethod, TestValue};
pub use formula::FatBasis;
pub use outlook::{CausticOutlook, LyeOutlook, Outlook};
pub use scaling::{DENSITY_ASSUMED_G_PER_ML, ScaleTo, ScalingError, Swapped, scaled, swapped};

/// A batch drawn up: what will be frozen when it starts, and what a maker wants to know before.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    pub control: ControlRecipe,
    pub recipe: Recipe,
    /// What each ingredient comes to when everything goes as planned, in steps of the scale.
    pub planned: Masses,
    pub scale: Option<ScaleFacts>,
    pub pot: Option<VesselFile>,
    /// What the figures of each fat rest on, in the order of the recipe.
    pub fats: Vec<FatBasis>,
    pub outlook: Outlook,
}

/// What the recipe and the bench file leave open.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The pot by its name in the bench file, instead of the recipe's.
    pub pot: Option<String>,
    /// How the lye is started; the ice is the recipe's.
    pub start: StartState,
    /// What is known of the batches whose soap goes into this one.
    pub ledger: Ledger,
}

impl Default for Options {
    /// A liquid of 20 °C without cold bath or portions; the pot of the recipe, or the only one
    /// of the bench; no ledger asked.
    fn default() -> Options {
        let start = StartState {
            liquid: Temperature::from_celsius(20),
            ice: Share::ZERO,
            bath: false,
            portions: false,
            jug: None,
        };
        Options { pot: None, start, ledger: Ledger::default() }
    }
}

/// Draws up a batch. Without a bench file no scale and no vessel is judged, and masses stay as the
/// recipe has them, to a tenth of a gram.
///
/// Fails where recipe and bench contradict each other; what merely does not fit well is a finding
/// of the control recipe, [`Severity::Unfit`] where the batch must not be started.
pub fn plan(
    recipe: &Recipe,
    fats: &FatTable,
    bench: Option<&BenchFile>,
    options: &Options,
) -> Result<Plan, Problems> {
    let scale = bench.and_then(BenchFile::scale).map(|(_, scale)| scale.facts);
    let step = scale.map_or(STEP_WITHOUT_SCALE, |scale| scale.d);
    let (formula, basis) = formula::of(recipe, fats)?;
    let pot = pot(recipe, bench, options)?;
    let planned = formula::planned(recipe, &formula, step);
    fitness::tolerances(recipe, &planned, scale.as_ref())?;
    let jug = options.start.jug.or_else(|| bench.and_then(lye_jug));
    let mut start = StartState { ice: recipe.liquid.ice, jug, ..options.start };
    if let Some(declared) = recipe.liquid.start {
        start.liquid = declared.liquid;
        start.bath = declared.bath;
        start.portions = declared.portions;
    }
    let outlook = outlook::of(&formula, &planned, scale.as_ref(), bench, start);
    let units = Units { mass_decimals: decimals_for(step, recipe.units.mass), ..recipe.units };
    let mut control = ControlRecipe {
        name: recipe.name.clone(),
        recipe_digest: recipe.digest.clone(),
        units,
        formula,
        steps: steps::of(recipe, &planned, &outlook, units, bench),
        findings: Vec::new(),
        bases: base::of(recipe),
        lye_start: recipe.liquid.start.map(|_| start),
        pot: pot.as_ref().map(|pot| Pot {
            name: pot.name.clone(),
            tare: pot.tare,
            volume: pot.volume,
        }),
    };
    let of_bases = control.look_up_bases(&options.ledger);
    let situation = fitness::Situation {
        recipe,
        control: &control,
        planned: &planned,
        bench,
        pot: pot.as_ref(),
        outlook: &outlook,
        basis: &basis,
    };
    let findings = fitness::findings(&situation);
    control.findings = of_bases.into_iter().chain(findings).collect();
    Ok(Plan { control, recipe: recipe.clone(), planned, scale, pot, fats: basis, outlook })
}

/// Where no scale is known, a tenth of a gram: what a bench scale usually shows.
const STEP_WITHOUT_SCALE: Mass = Mass::from_steps(MassUnit::Gram.one().steps() / 10);

impl Plan {
    /// All that goes into the pot.
    pub fn batch_total(&self) -> Mass {
        self.planned.values().copied().sum()
    }

    /// The batch must not be started like this.
    pub fn is_unfit(&self) -> bool {
        self.control.findings.iter().any(|finding| finding.severity == Severity::Unfit)
    }
}

/// Decimals that show one step of the scale in this unit, at most three.
fn decimals_for(step: Mass, unit: MassUnit) -> u8 {
    let shows = |decimals: u8| {
        Mass::from_decimal(1, decimals, unit).is_some_and(|smallest| smallest <= step)
    };
    (0..=3).find(|decimals| shows(*decimals)).unwrap_or(3)
}

/// The lye jug takes up heat, where it is known what it is made of.
fn lye_jug(bench: &BenchFile) -> Option<Jug> {
    let vessel = bench.only_vessel(Purpose::LyeJug)?;
    let material = match vessel.material {
        Material::StainlessSteel => JugMaterial::StainlessSteel,
        Material::Glass => JugMaterial::Glass,
        Material::Polypropylene => JugMaterial::Polypropylene,
        _ => return None,
    };
    Some(Jug { mass: vessel.tare, material })
}

fn pot(
    recipe: &Recipe,
    bench: Option<&BenchFile>,
    options: &Options,
) -> Result<Option<VesselFile>, Problems> {
    let Some(bench) = bench else { return Ok(None) };
    let Some(name) = options.pot.as_ref().or(recipe.pot.as_ref()) else {
        return Ok(bench.only_vessel(Purpose::Pot).cloned());
    };
    if let Some(vessel) = bench.vessel(name).filter(|vessel| vessel.purpose == Purpose::Pot) {
        return Ok(Some(vessel.clone()));
    }
    let pots: Vec<&str> = bench
        .vessels
        .iter()
        .filter(|vessel| vessel.purpose == Purpose::Pot)
        .map(|vessel| vessel.name.as_str())
        .collect();
    let advice = match nearest(name, pots.iter().copied()) {
        Some(pot) => format!("did you mean `{pot}`?"),
        None => format!("add it to `{}` with its tare and volume", bench.file),
    };
    let expected = format!("a pot of the bench file `{}`", bench.file);
    Err(Problem {
        file: recipe.file.clone(),
        line: None,
        field: "pot".to_owned(),
        found: format!("`{name}`"),
        expected,
        advice,
    }
    .into())
}
