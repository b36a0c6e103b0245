//! Whether this bench can make this recipe, step by step, and what would do if it cannot.

use crate::bench::Role;
use crate::bench_file::{BenchFile, Purpose, VesselFile};
use crate::chemistry::{
    FormulaFault, IngredientId, Masses, SUPERFAT_PER_INTERVAL_MOST, ScaleFacts, water_boils_at,
};
use crate::problem::{Problem, Problems};
use crate::quantity::{Mass, Share, Span, TemperatureDelta, Volume};
use crate::recipe::Recipe;

use super::{
    Amount, ControlRecipe, DENSITY_ASSUMED_G_PER_ML, FatBasis, Finding, Outlook, Severity,
    StepKind, Tolerance, Vessel, Weigh,
};

pub(super) struct Situation<'a> {
    pub recipe: &'a Recipe,
    pub control: &'a ControlRecipe,
    pub planned: &'a Masses,
    pub bench: Option<&'a BenchFile>,
    pub pot: Option<&'a VesselFile>,
    pub outlook: &'a Outlook,
    pub basis: &'a [FatBasis],
}

/// Slower than two readings a second is too slow to stop a pour of caustic. Ours.
const CAUSTIC_PERIOD_MAX: Span = Span::from_millis(500);

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
    situation.superfat(&mut found);
    situation.lye(&mut found);
    situation.fats(&mut found);
    match situation.bench.and_then(BenchFile::scale) {
        Some((_, scale)) => {
            situation.scale(&mut found, &scale.facts);
            situation.weighings(&mut found, &scale.facts, scale.least());
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

    fn scale(&self, found: &mut Findings, scale: &ScaleFacts) {
        for caustic in &self.outlook.guards {
            let Some(moved) = caustic.superfat_per_interval else { continue };
            if moved <= SUPERFAT_PER_INTERVAL_MOST {
                continue;
            }
            let factor = moved.fraction() / SUPERFAT_PER_INTERVAL_MOST.fraction();
            let d = Mass::from_grams_rounded(scale.d.grams() / factor);
            found.unfit(format!(
                "one step of the scale, {}, moves the superfat by {} points: too coarse for {} of \
                 {}; a scale with steps of {} or finer would do, or a batch {factor:.1} times as \
                 large, or the caustic as a stock lye of {}",
                self.show(scale.d),
                moved.show(1).trim_end_matches(" %"),
                self.show(caustic.target),
                caustic.id,
                show_fine(d, self.recipe),
                Share::from_fraction_rounded((1.0 / factor).min(0.5)).show(0),
            ));
        }
        let period = self.bench.and_then(|bench| {
            bench
                .setup()
                .channels
                .iter()
                .find(|channel| matches!(channel.role, Role::Scale { .. }))
                .map(|channel| channel.period)
        });
        if let Some(period) = period.filter(|period| *period > CAUSTIC_PERIOD_MAX) {
            found.unfit(format!(
                "the scale speaks every {period} only: too slow to stop a pour of caustic; one \
                 that sends at least twice a second would do"
            ));
        }
    }

    fn weighings(&self, found: &mut Findings, scale: &ScaleFacts, least: Option<Mass>) {
        let pot = self.pot.map_or(Mass::ZERO, |pot| pot.tare);
        let mut in_pot = pot;
        let mut too_much = None;
        let mut too_little: Vec<String> = Vec::new();
        for weigh in self.control.weighings() {
            let mass = self.planned.get(&weigh.ingredient).copied().unwrap_or(Mass::ZERO);
            let load = if weigh.into == Vessel::Pot {
                in_pot += mass;
                in_pot
            } else {
                mass
            };
            if load > scale.capacity && too_much.is_none() {
                too_much = Some((weigh.name.clone(), load));
            }
            self.weighing(found, scale, weigh, mass, load);
            if least.is_some_and(|least| mass < least) && mass > Mass::ZERO {
                too_little.push(format!("{} of {}", self.show(mass), weigh.name));
            }
        }
        if let Some(least) = least.filter(|_| !too_little.is_empty()) {
            found.note(format!(
                "less than the scale is meant for, {} (its Min): {}",
                self.show(least),
                too_little.join(", ")
            ));
        }
        let Some((name, load)) = too_much else { return };
        let pot_words = if self.pot.is_some() { "pot and contents" } else { "the contents alone" };
        let room = (scale.capacity - pot).grams() / (load - pot).grams();
        let smaller = if room > 0.0 {
            format!("a batch of {} of this one", Share::from_fraction_rounded(room).show(0))
        } else {
            "a scale of larger capacity".to_owned()
        };
        found.unfit(format!(
            "with {name} {pot_words} come to {}, more than the scale's capacity of {}; a lighter \
             pot, the oils weighed in cups one after the other, or {smaller} would do",
            self.show(load),
            self.show(scale.capacity)
        ));
    }

    /// Steps and class of the scale against the tolerance of one weighing.
    fn weighing(
        &self,
        found: &mut Findings,
        scale: &ScaleFacts,
        weigh: &Weigh,
        mass: Mass,
        load: Mass,
    ) {
        if mass <= Mass::ZERO {
            if weigh.amount != Amount::Liquid {
                found.unfit(format!(
                    "{} rounds to nothing in steps of {}; weigh it on a finer scale",
                    weigh.name,
                    self.show(scale.d)
                ));
            }
            return;
        }
        let wanted = width(weigh.tolerance, mass);
        if wanted < scale.d {
            let one_step = Share::from_fraction_rounded(scale.d.grams() / mass.grams());
            let times = scale.d.grams() / wanted.grams();
            found.warn(format!(
                "one step of the scale is {} of {} of {}; steps of {} or a batch {times:.1} times \
                 as large would hold ±{}",
                one_step.show(1),
                self.show(mass),
                weigh.name,
                show_fine(wanted, self.recipe),
                show_fine(wanted, self.recipe),
            ));
        }
        let Some(verified) = scale.verified else { return };
        let allowed = wanted.max(scale.d);
        let error = verified.mpe_in_service(load);
        if error > allowed {
            let alone = verified.mpe_in_service(mass);
            let way = if weigh.into == Vessel::Pot && alone <= allowed {
                "weighed in a light cup of its own it would do"
            } else {
                "a finer scale or a larger batch would do"
            };
            found.note(format!(
                "{} within ±{}: with {} on the pan a scale of class {:?} may be off by ±{} (OIML \
                 R 76, in service); {way}",
                weigh.name,
                show_fine(allowed, self.recipe),
                self.show(load),
                verified.class,
                show_fine(error, self.recipe),
            ));
        }
    }

    fn vessels(&self, found: &mut Findings) {
        let contents: Mass = self.planned.values().copied().sum();
        let volume = Volume::from_millilitres_rounded(contents.grams() / DENSITY_ASSUMED_G_PER_ML);
        if let Some(pot) = self.pot
            && let Some(whole) = pot.volume
        {
            let share = volume.millilitres() / whole.millilitres();
            let words = format!(
                "about {volume} in {} of {whole} ({} full, at {DENSITY_ASSUMED_G_PER_ML:.1} g/ml, \
                 common practice)",
                pot.name,
                Share::from_fraction_rounded(share).show(0)
            );
            if share > 2.0 / 3.0 {
                let needed = Volume::from_millilitres_rounded(volume.millilitres() * 2.0);
                found.unfit(format!(
                    "{words}: it climbs over; a pot of {needed}, or a batch of {} of this one, \
                     would do",
                    Share::from_fraction_rounded(0.5 / share).show(0)
                ));
            } else if share > 0.5 {
                found.warn(format!("{words}: more than half, and a hot pot can climb; stay by it"));
            }
        }
        let Some(bench) = self.bench else { return };
        if self.pot.is_none() {
            found.note(
                "no pot is known: neither its mass on the scale nor its room for a climbing cook \
                 is judged; name one in recipe and bench file"
                    .to_owned(),
            );
        }
        for vessel in bench.vessels.iter().filter(|v| v.purpose.meets_caustic()) {
            if let Some(why) = vessel.material.attacked() {
                found.warn(format!("{}: {why}; use another", vessel.name));
            }
        }
        let lye = (self.outlook.lye.caustic + self.outlook.lye.liquid).grams();
        if let Some(jug) = bench.only_vessel(Purpose::LyeJug)
            && let Some(whole) = jug.volume
            && whole.millilitres() < 2.0 * lye
        {
            found.warn(format!(
                "{} of {whole} for about {} of lye: less than twice the volume, and lye foams",
                jug.name,
                Volume::from_millilitres_rounded(lye)
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
