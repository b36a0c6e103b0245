//! The batch sheet: one page to pin up, as text, as a page to print, and as figures.

mod html;
mod text;

use serde::Serialize;

use crate::chemistry::{LYE_HEAVY_ASSUMPTIONS, Superfat};
use crate::quantity::{Mass, Share, Span, TemperatureUnit};

use super::{
    Amount, Base, FatBasis, Finding, Plan, Step, StepKind, Tolerance, Units, Vessel, Weigh, Window,
};

pub use html::{html, html_body};
pub use text::text;

/// All that stands on the sheet. Figures are unrounded and name their unit; words are in the
/// maker's units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sheet {
    pub name: String,
    pub note: Option<String>,
    pub recipe_digest: String,
    pub changes: Vec<String>,
    pub units: Units,
    pub oils_g: f64,
    pub batch_g: f64,
    /// "oils 700.0 g, whole batch 1117.8 g".
    pub totals: String,
    pub lines: Vec<Line>,
    pub lye: LyeLines,
    pub superfat: SuperfatLines,
    pub findings: Vec<Finding>,
    pub basis: Vec<Basis>,
    pub promise: &'static str,
}

/// One step.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Line {
    pub number: usize,
    pub key: String,
    pub title: String,
    /// The target as it is weighed, and within which limits; for weighings.
    pub target: Option<String>,
    pub target_g: Option<f64>,
    pub low_g: Option<f64>,
    pub high_g: Option<f64>,
    /// The mass of caustic at which the guard alarms.
    pub guard_g: Option<f64>,
    pub tolerance: Option<String>,
    /// Of all oils, in percent; for oils.
    pub share_percent: Option<f64>,
    pub into: Option<&'static str>,
    pub lot: Option<String>,
    /// Windows, looks, what follows from what.
    pub details: Vec<String>,
    pub hazards: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LyeLines {
    pub caustic_g: f64,
    pub liquid_g: f64,
    pub ratio: String,
    pub concentration_percent: f64,
    pub heats_to_low_c: Option<f64>,
    pub heats_to_high_c: Option<f64>,
    pub boils_c: Option<f64>,
    pub words: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SuperfatLines {
    pub target_percent: f64,
    pub planned_percent: Option<f64>,
    /// Expanded uncertainty, k = 2.
    pub expanded_percent: Option<f64>,
    pub at_highest_purity_percent: Option<f64>,
    pub free_fat_percent: Option<f64>,
    pub lye_heavy: Option<&'static str>,
    pub assumptions: &'static str,
    pub words: Vec<String>,
}

/// What one figure rests on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Basis {
    pub name: String,
    pub words: String,
    #[serde(flatten)]
    pub fat: Option<FatBasis>,
}

const PROMISE: &str = "panroom advises. The safety data sheets, protective equipment, local codes \
     and your own eyes come first. Caustic goes into liquid, never the reverse. For a splash: \
     plenty of water at once, for many minutes, then get help.";

impl Sheet {
    pub fn of(plan: &Plan) -> Sheet {
        let (recipe, control) = (&plan.recipe, &plan.control);
        let planned = |id| plan.planned.get(id).copied();
        let oils: Mass = recipe.oils.iter().filter_map(|oil| planned(&oil.id)).sum();
        let scribe = Scribe { plan, units: control.units, oils };
        let lines = control.steps.iter().enumerate();
        Sheet {
            name: recipe.name.clone(),
            note: recipe.note.clone(),
            recipe_digest: recipe.digest.clone(),
            changes: recipe.changes.clone(),
            units: control.units,
            oils_g: oils.grams(),
            batch_g: plan.batch_total().grams(),
            totals: format!(
                "oils {}, whole batch {}",
                scribe.mass(oils),
                scribe.mass(plan.batch_total())
            ),
            lines: lines.map(|(index, step)| scribe.line(index + 1, step)).collect(),
            lye: scribe.lye(),
            superfat: scribe.superfat(),
            findings: control.findings.clone(),
            basis: scribe.basis(),
            promise: PROMISE,
        }
    }
}

struct Scribe<'a> {
    plan: &'a Plan,
    units: Units,
    oils: Mass,
}

impl Scribe<'_> {
    fn line(&self, number: usize, step: &Step) -> Line {
        let line = Line {
            number,
            key: step.key.clone(),
            title: step.title.clone(),
            hazards: step.hazards.clone(),
            ..Line::default()
        };
        match &step.kind {
            StepKind::Weigh(weigh) => self.weighing(line, weigh),
            StepKind::Combine { oils, lye, difference_max } => {
                let window = |name: &str, window: &Option<Window>| {
                    window.as_ref().map(|window| format!("{name} {}", self.window(window)))
                };
                let apart = difference_max.map(|delta| {
                    let unit = match self.units.temperature {
                        TemperatureUnit::Celsius => format!("{:.0} K", delta.kelvin()),
                        TemperatureUnit::Fahrenheit => delta.show(self.units.temperature, 0),
                    };
                    format!("no further apart than {unit}")
                });
                let details = [window("oils", oils), window("lye", lye), apart];
                Line { details: details.into_iter().flatten().collect(), ..line }
            }
            StepKind::Cook(cook) => {
                let unit = self.units.temperature;
                let mut details = vec![
                    format!("keep {} for {}", self.window(&cook.window), span(cook.duration)),
                    format!("look every {}", span(cook.look_every)),
                    format!(
                        "warns above {}, alarms above {}",
                        cook.high.show(unit, 0),
                        cook.high_high.show(unit, 0)
                    ),
                ];
                details.extend(cook.tests.iter().map(|test| {
                    let (method, limit) = (test.method.words(), test.limit.words());
                    format!(
                        "ends with: {} by {method}, {}; passes: {limit}",
                        test.name, test.sample
                    )
                }));
                Line { details, ..line }
            }
            StepKind::WhenCool { below } => {
                let below = below.show(self.units.temperature, 0);
                Line { details: vec![format!("into a pot of at most {below}")], ..line }
            }
            StepKind::Dissolve | StepKind::TakeOut(_) | StepKind::Do => line,
        }
    }

    fn weighing(&self, line: Line, weigh: &Weigh) -> Line {
        let target = self.plan.planned.get(&weigh.ingredient).copied().unwrap_or(Mass::ZERO);
        let caustic = self.plan.outlook.guards.iter().find(|guard| guard.id == weigh.ingredient);
        let d = self.plan.scale.map_or(Mass::ZERO, |scale| scale.d);
        let half = half_width(weigh.tolerance, target).max(d);
        let (low, high) = match caustic {
            // as the bench law takes it: a step over at most, and never over the guard
            Some(caustic) => (target - half, (target + d).min(caustic.guard.mass)),
            None => (target - half, target + half),
        };
        let is_oil = self.plan.recipe.oils.iter().any(|oil| oil.id == weigh.ingredient);
        let bases = &self.plan.control.bases;
        let base = bases.iter().find(|base| base.ingredient == weigh.ingredient);
        let mut details: Vec<String> = base.map(Base::words).into_iter().collect();
        if let Some(caustic) = caustic {
            let margin = if caustic.guard.proven { "" } else { " (margin not proven)" };
            details.push(format!("guard {}{margin}", self.mass(caustic.guard.mass)));
            let follows = if self.plan.control.is_lye_first() {
                "for the fats as planned; they follow it"
            } else {
                "follows the fats really weighed"
            };
            details.push(follows.to_owned());
        }
        match weigh.amount {
            Amount::Liquid | Amount::AfterLye(_) => {
                details.push("follows the caustic really weighed".to_owned())
            }
            Amount::OfFats(share) => {
                details.push(format!("{} of the oils really weighed", share.show(1)));
            }
            Amount::Fixed(_) | Amount::Caustic | Amount::MoreCaustic(_) => {}
        }
        Line {
            target: Some(self.mass(target)),
            target_g: Some(target.grams()),
            low_g: Some(low.grams()),
            high_g: Some(high.grams()),
            guard_g: caustic.map(|caustic| caustic.guard.mass.grams()),
            tolerance: Some(format!("{} to {}", self.number(low), self.mass(high))),
            share_percent: (is_oil && self.oils > Mass::ZERO)
                .then(|| 100.0 * target.grams() / self.oils.grams()),
            into: Some(match weigh.into {
                Vessel::Pot => "pot",
                Vessel::Own => "own cup",
            }),
            lot: self.lot(weigh),
            details,
            ..line
        }
    }

    fn lot(&self, weigh: &Weigh) -> Option<String> {
        let (recipe, id) = (&self.plan.recipe, &weigh.ingredient);
        let oils = recipe.oils.iter().map(|oil| (&oil.id, &oil.lot));
        let caustics = recipe.caustics.iter().map(|caustic| (&caustic.id, &caustic.lot));
        let liquid = std::iter::once((&recipe.liquid.id, &recipe.liquid.lot));
        let additions = recipe.additions.iter().map(|addition| (&addition.id, &addition.lot));
        let late = recipe.late_fats.iter().map(|fat| (&fat.id, &fat.lot));
        oils.chain(caustics)
            .chain(liquid)
            .chain(additions)
            .chain(late)
            .find(|(other, _)| *other == id)
            .and_then(|(_, lot)| lot.as_ref().map(|lot| lot.name.clone()))
    }

    fn lye(&self) -> LyeLines {
        let (lye, unit) = (&self.plan.outlook.lye, self.units.temperature);
        let mut words = vec![format!(
            "{} of liquid to {} of caustic: {}, a lye of {}",
            self.mass(lye.liquid),
            self.mass(lye.caustic),
            lye.ratio,
            lye.concentration.show(1)
        )];
        match &lye.expected {
            Ok(expected) => words.push(format!(
                "heats itself from {} to a peak of {}",
                lye.start_words(unit),
                expected.words(unit)
            )),
            Err(why) => words.push(format!("its temperature is not foretold: {why}")),
        }
        if let Some(boils) = lye.boils {
            words.push(format!("the lye itself boils at about {} here", boils.show(unit, 0)));
        }
        let expected = lye.expected.as_ref().ok();
        LyeLines {
            caustic_g: lye.caustic.grams(),
            liquid_g: lye.liquid.grams(),
            ratio: lye.ratio.clone(),
            concentration_percent: lye.concentration.percent(),
            heats_to_low_c: expected.and_then(|e| e.low).map(|low| low.celsius()),
            heats_to_high_c: expected.map(|e| e.high.celsius()),
            boils_c: lye.boils.map(|boils| boils.celsius()),
            words,
        }
    }

    fn superfat(&self) -> SuperfatLines {
        let outlook = &self.plan.outlook;
        let budget = outlook.superfat.as_ref();
        let mut words = Vec::new();
        if let Some(budget) = budget {
            let Superfat { achieved, expanded } = budget.superfat;
            words.push(format!(
                "planned {} ± {} (k = 2); aimed at {}",
                achieved.show(1),
                expanded.show(1),
                self.plan.recipe.superfat.show(1)
            ));
            words.push(format!("lye-heavy: {}", budget.lye_heavy.words()));
        }
        if let Some(purest) = outlook.superfat_at_highest_purity {
            words.push(format!("{} with caustic as pure as it can be", purest.show(1)));
        }
        let late = !self.plan.recipe.late_fats.is_empty();
        if let Some(free) = outlook.free_fat.filter(|_| late) {
            words.push(format!("{} of free fat with what goes in after the cook", free.show(1)));
        }
        SuperfatLines {
            target_percent: self.plan.recipe.superfat.percent(),
            planned_percent: budget.map(|budget| budget.superfat.achieved.percent()),
            expanded_percent: budget.map(|budget| budget.superfat.expanded.percent()),
            at_highest_purity_percent: outlook.superfat_at_highest_purity.map(Share::percent),
            free_fat_percent: outlook.free_fat.map(Share::percent),
            lye_heavy: budget.map(|budget| budget.lye_heavy.words()),
            assumptions: LYE_HEAVY_ASSUMPTIONS,
            words,
        }
    }

    fn basis(&self) -> Vec<Basis> {
        let fats = self.plan.fats.iter().map(|fat| Basis {
            name: fat.name.clone(),
            words: format!(
                "SAP {:.1} ({:.1} to {:.1}) mg KOH/g: {}",
                fat.sap_mg_per_g, fat.sap_low_mg_per_g, fat.sap_high_mg_per_g, fat.source
            ),
            fat: Some(fat.clone()),
        });
        let caustics = self.plan.recipe.caustics.iter().map(|caustic| {
            let purity = &caustic.purity;
            let source = if purity.stated { "as the recipe states" } else { "nothing stated" };
            let stock = caustic
                .stock
                .map_or(String::new(), |stock| format!(", as a stock lye of {}", stock.show(1)));
            let words = format!(
                "{} pure ({} to {}), {source}{stock}",
                purity.working.show(1),
                purity.low.show(0),
                purity.high.show(0)
            );
            Basis { name: caustic.alkali.words().to_owned(), words, fat: None }
        });
        let mut basis: Vec<Basis> = Vec::new();
        for row in fats.chain(caustics) {
            // one fat before and after the cook, or of two lots without papers, is told once
            if !basis.iter().any(|told| told.name == row.name && told.words == row.words) {
                basis.push(row);
            }
        }
        basis
    }

    fn mass(&self, mass: Mass) -> String {
        mass.show(self.units.mass, self.units.mass_decimals)
    }

    fn number(&self, mass: Mass) -> String {
        let shown = self.mass(mass);
        shown.strip_suffix(self.units.mass.symbol()).map_or(shown.clone(), |n| n.trim().to_owned())
    }

    fn window(&self, window: &Window) -> String {
        let unit = self.units.temperature;
        format!("{} to {}", window.low.show(unit, 0), window.high.show(unit, 0))
    }
}

/// Whole minutes and hours without their zeros: "45 min".
fn span(span: Span) -> String {
    let minutes = span.nanos() / Span::from_minutes(1).nanos();
    if Span::from_minutes(minutes) != span {
        return span.to_string();
    }
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

fn half_width(tolerance: Tolerance, target: Mass) -> Mass {
    match tolerance {
        Tolerance::Mass(mass) => mass,
        Tolerance::Share(share) => target.scaled(
            Mass::from_steps(share.millionths()),
            Mass::from_steps(Share::WHOLE.millionths()),
        ),
    }
}
