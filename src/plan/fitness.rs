//! Whether this bench can make this recipe, step by step, and what would do if it cannot.

mod scale;
mod vessels;

use crate::bench_file::{BenchFile, VesselFile};
use crate::chemistry::{FormulaFault, IngredientId, Masses, ScaleFacts, water_boils_at};
use crate::problem::{Problem, Problems};
use crate::quantity::{Mass, Share, TemperatureDelta};
use crate::recipe::{Recipe, When};

use super::{ControlRecipe, FatBasis, Finding, Outlook, Severity, StepKind, Tolerance};

pub(super) struct Situation<'a> {
    pub recipe: &'a Recipe,
    pub control: &'a ControlRecipe,
    pub planned: &'a Masses,
    pub bench: Option<&'a BenchFile>,
    pub pot: Option<&'a VesselFile>,
    pub outlook: &'a Outlook,
    pub basis: &'a [FatBasis],
}

/// Refuses tolerances of the recipe that the scale cannot show.
pub(super) fn tolerances(
    recipe: &Recipe,
    planned: &Masses,
    scale: Option<&ScaleFacts>,
) -> Result<(), Problems> {
    let Some(scale) = scale else { return Ok(()) };
    let oils = recipe.oils.iter().map(|o| (&o.id, &o.name, o.tolerance, o.line));
    let liquid = &recipe.liquid;
    let liquid = std::iter::once((&liquid.id, &liquid.name, liquid.tolerance, liquid.line));
    let additions = recipe.additions.iter().map(|a| (&a.id, &a.name, a.tolerance, a.line));
    let late = recipe.late_fats.iter().map(|f| (&f.id, &f.name, f.tolerance, f.line));
    let problems: Vec<Problem> = oils
        .chain(liquid)
        .chain(additions)
        .chain(late)
        .filter_map(|(id, name, tolerance, line)| {
            let mass = planned.get(id).copied()?;
            let allowed = width(tolerance?, mass);
            let show = |mass: Mass| show_fine(mass, recipe);
            (allowed < scale.d).then(|| Problem {
                file: recipe.file.clone(),
                line,
                field: "tolerance".to_owned(),
                found: format!("±{} for {} of {name}", show(allowed), show(mass)),
                expected: format!("at least one step of the scale, {}", show(scale.d)),
                advice: "widen it, weigh more at once, or use a finer scale".to_owned(),
            })
        })
        .collect();
    if problems.is_empty() { Ok(()) } else { Err(Problems(problems)) }
}

pub(super) fn findings(situation: &Situation<'_>) -> Vec<Finding> {
    let mut found = Findings { list: Vec::new() };
    for change in &situation.recipe.changes {
        found.note(format!("not as the file stands: {change}"));
    }
    for base in &situation.control.bases {
        found.note(format!("{}: {}", base.name, base.words()));
    }
    situation.superfat(&mut found);
    situation.lye(&mut found);
    situation.fats(&mut found);
    match situation.bench.and_then(BenchFile::scale) {
        Some((_, scale)) => {
            situation.scale(&mut found, &scale.facts);
            situation.weighings(&mut found, &scale.facts, scale.least());
            situation.wire(&mut found);
            if scale.last_checked.is_none() {
                found.note(
                    "nothing says when the scale was last checked; put a mass piece of known mass \
                     on it and write `last_checked` into the bench file"
                        .to_owned(),
                );
            }
        }
        None => found.note("no scale is known: whether it is fine enough is not judged".to_owned()),
    }
    situation.vessels(&mut found);
    situation.cook(&mut found);
    situation.flash_points(&mut found);
    found.list.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    found.list
}

struct Findings {
    list: Vec<Finding>,
}

impl Findings {
    fn add(&mut self, severity: Severity, words: String) {
        self.list.push(Finding { severity, words });
    }

    fn note(&mut self, words: String) {
        self.add(Severity::Note, words);
    }

    fn warn(&mut self, words: String) {
        self.add(Severity::Warning, words);
    }

    fn unfit(&mut self, words: String) {
        self.add(Severity::Unfit, words);
    }
}

impl Situation<'_> {
    fn superfat(&self, found: &mut Findings) {
        if self.recipe.superfat.is_negative() {
            found.warn(format!(
                "superfat {}: this soap is meant to be lye-heavy and burns skin",
                self.recipe.superfat.show(1)
            ));
        }
        let Some(budget) = &self.outlook.superfat else { return };
        let unproven = self.outlook.guards.iter().find(|caustic| !caustic.guard.proven);
        if let Some(caustic) = unproven {
            let largest = budget.dominant().map_or(String::new(), |part| {
                format!("; most of the doubt is {}", self.named(&part.doubt.to_string()))
            });
            found.warn(format!(
                "the superfat of {} is uncertain by ±{}, so that no margin is proven: the guard \
                 on the caustic, {}, catches a slip of the hand only{largest}; a certificate of \
                 the lot or a larger superfat would prove it",
                budget.superfat.achieved.show(1),
                budget.superfat.expanded.show(1),
                self.show(caustic.guard.mass),
            ));
        }
        if let Some(purest) = self.outlook.superfat_at_highest_purity
            && purest < self.recipe.floor
        {
            found.warn(format!(
                "with caustic as pure as it can be the superfat is {}, below the floor of {}",
                purest.show(1),
                self.recipe.floor.show(1)
            ));
        }
    }

    fn lye(&self, found: &mut Findings) {
        for fault in self.control.formula.check(self.planned) {
            let meant = self.recipe.superfat.is_negative()
                && matches!(fault, FormulaFault::Superfat { .. } | FormulaFault::Floor { .. });
            if !meant {
                found.unfit(self.named(&fault.to_string()));
            } else if let Err(fault) = self.control.formula.check_dissolves(self.planned) {
                // a meant superfat below nothing keeps the check above from looking at the lye
                found.unfit(fault.to_string());
            }
        }
        let altitude = self.altitude_m();
        if let (Ok(expected), Ok(boils)) = (&self.outlook.lye.expected, water_boils_at(altitude))
            && let Some(words) = expected.spatter(boils, self.control.units.temperature)
        {
            found.warn(words);
        }
    }

    fn fats(&self, found: &mut Findings) {
        for fat in self.basis.iter().filter(|fat| fat.certificate_lies_outside) {
            found.warn(format!(
                "the certificate of {} says {} mg/g, outside every published range: wrong paper, \
                 or wrong fat in the drum?",
                fat.name, fat.sap_mg_per_g
            ));
        }
        let waxes: Vec<&str> =
            self.basis.iter().filter(|fat| fat.is_wax).map(|fat| fat.name.as_str()).collect();
        if !waxes.is_empty() && !self.recipe.combine.stated {
            found.note(format!(
                "{} sets above the usual windows for bringing lye and oils together: keep the \
                 oils above its melting point and state your windows in [bring_together]",
                waxes.join(", ")
            ));
        }
    }

    fn cook(&self, found: &mut Findings) {
        let Ok(boils) = water_boils_at(self.altitude_m()) else { return };
        let unit = self.control.units.temperature;
        for step in &self.control.steps {
            let StepKind::Cook(cook) = &step.kind else { continue };
            if cook.high_high + TemperatureDelta::from_kelvin(1) > boils {
                found.warn(format!(
                    "the alarm at {} lies at the boiling point of water here, {}: it would come \
                     too late; set it 2 K below or lower",
                    cook.high_high.show(unit, 1),
                    boils.show(unit, 1)
                ));
            }
        }
    }

    /// Something that burns, into a pot that is hotter than where its vapour catches fire.
    fn flash_points(&self, found: &mut Findings) {
        let unit = self.control.units.temperature;
        let hot = |when: When| matches!(when, When::BeforeCook | When::AfterCook);
        for addition in self.recipe.additions.iter().filter(|addition| hot(addition.when)) {
            let Some(point) = addition.flash_point else { continue };
            let (name, shown) = (&addition.name, point.show(unit, 0));
            match addition.below {
                Some(below) if below < point => {}
                Some(below) => found.warn(format!(
                    "{name} may go into a pot of {}, and its flash point is {shown}: set `below` \
                     lower, or keep every flame and coil off",
                    below.show(unit, 0)
                )),
                None => found.warn(format!(
                    "{name} has a flash point of {shown} and no `below`: nothing holds it back \
                     from a hotter pot"
                )),
            }
        }
    }

    fn altitude_m(&self) -> i32 {
        self.bench.map_or(0, |bench| bench.altitude_m)
    }

    fn show(&self, mass: Mass) -> String {
        mass.show(self.control.units.mass, self.control.units.mass_decimals)
    }

    /// Ingredients by name instead of by key.
    fn named(&self, words: &str) -> String {
        let mut words = words.to_owned();
        for weigh in self.control.weighings() {
            let IngredientId(id) = &weigh.ingredient;
            words = words.replace(&format!("`{id}`"), &weigh.name);
        }
        words
    }
}

/// The half-width of a tolerance at this mass, as it was asked for.
fn width(tolerance: Tolerance, mass: Mass) -> Mass {
    match tolerance {
        Tolerance::Mass(half) => half,
        Tolerance::Share(share) => mass.scaled(
            Mass::from_steps(share.millionths()),
            Mass::from_steps(Share::WHOLE.millionths()),
        ),
    }
}

/// One decimal more than a bench shows: for tolerances and errors.
fn show_fine(mass: Mass, recipe: &Recipe) -> String {
    let unit = recipe.units.mass;
    mass.show(unit, (unit.bench_decimals() + 1).min(3))
}
