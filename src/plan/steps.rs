//! The steps of a batch, in the order of work.

use crate::bench_file::BenchFile;
use crate::chemistry::Masses;
use crate::quantity::{Mass, Share, Temperature};
use crate::recipe::{
    Addition, AdditionAmount, CausticChoice, LateFat, Lot, Oil, Order, Recipe, When,
};

use super::{
    Amount, Cook, Nature, Outlook, Step, StepKind, Tolerance, Units, Vessel, Weigh, hazards,
};

/// How far a capture may be from its target when the recipe says nothing. Ours.
const TOLERANCE_POUR: Share = Share::from_percent(1);
const TOLERANCE_PIECES: Share = Share::from_percent(2);

pub(super) fn of(
    recipe: &Recipe,
    planned: &Masses,
    outlook: &Outlook,
    units: Units,
    bench: Option<&BenchFile>,
) -> Vec<Step> {
    let mut steps = Steps { steps: Vec::new(), recipe, planned, units, moulding: false };
    steps.work(When::First);
    match recipe.order {
        Order::OilsFirst => {
            steps.oils();
            steps.lye(outlook);
        }
        Order::LyeFirst => {
            steps.lye(outlook);
            steps.oils();
        }
    }
    let combine = StepKind::Combine {
        oils: recipe.combine.oils,
        lye: recipe.combine.lye,
        difference_max: recipe.combine.difference_max,
    };
    let mut dangers = words(&hazards::COMBINE);
    dangers.push(hazards::ALUMINIUM.to_owned());
    steps.push("combine", "bring lye and oils together", dangers, combine);
    steps.additions(When::BeforeCook);
    steps.work(When::BeforeCook);
    steps.cook(bench);
    steps.late_fats();
    steps.additions(When::AfterCook);
    steps.work(When::AfterCook);
    steps.moulding = true;
    if !steps.work(When::Last) && recipe.makes_bars() {
        steps.push("pour", "pour into the mould", words(&hazards::POUR), StepKind::Do);
    }
    steps.steps
}

/// The tolerance of one weighing, as the recipe says or as is usual for what is weighed.
pub(super) fn tolerance(stated: Option<Tolerance>, nature: Nature) -> Tolerance {
    stated.unwrap_or(Tolerance::Share(match nature {
        Nature::Pour | Nature::Scoop => TOLERANCE_POUR,
        Nature::Pieces => TOLERANCE_PIECES,
    }))
}

struct Steps<'a> {
    steps: Vec<Step>,
    recipe: &'a Recipe,
    planned: &'a Masses,
    units: Units,
    /// From here on the soap is on its way into the mould.
    moulding: bool,
}

impl Steps<'_> {
    fn push(&mut self, key: &str, title: &str, hazards: Vec<String>, kind: StepKind) {
        let taken = |key: &str| self.steps.iter().any(|step| step.key == key);
        let mut unique = key.to_owned();
        let mut count = 2;
        while taken(&unique) {
            unique = format!("{key}-{count}");
            count += 1;
        }
        let (title, moulding) = (title.to_owned(), self.moulding);
        self.steps.push(Step { key: unique, title, hazards, kind, moulding });
    }

    fn weigh(&mut self, weigh: Weigh, hazards: Vec<String>) {
        let (key, title) = (format!("weigh-{}", weigh.ingredient), weigh.name.clone());
        self.push(&key, &title, hazards, StepKind::Weigh(weigh));
    }

    fn oils(&mut self) {
        for oil in &self.recipe.oils {
            self.oil(oil);
        }
        self.additions(When::BeforeLye);
        self.work(When::BeforeLye);
    }

    fn lye(&mut self, outlook: &Outlook) {
        for caustic in &self.recipe.caustics {
            self.caustic(caustic);
        }
        self.liquid_and_lye(outlook);
    }

    fn oil(&mut self, oil: &Oil) {
        let mass = self.planned.get(&oil.id).copied().unwrap_or(oil.mass);
        let weigh = Weigh {
            ingredient: oil.id.clone(),
            name: oil.name.clone(),
            amount: match self.recipe.order {
                Order::OilsFirst => Amount::Fixed(mass),
                Order::LyeFirst => Amount::AfterLye(mass),
            },
            into: Vessel::Pot,
            nature: oil.nature,
            tolerance: tolerance(oil.tolerance, oil.nature),
            lot: lot(&oil.lot),
        };
        let first = !self.steps.iter().any(|step| matches!(step.kind, StepKind::Weigh(_)));
        let hazards = if first { vec![hazards::ALUMINIUM.to_owned()] } else { Vec::new() };
        self.weigh(weigh, hazards);
    }

    fn caustic(&mut self, caustic: &CausticChoice) {
        let (name, nature) = match caustic.stock {
            Some(share) => {
                (format!("{} lye of {}", caustic.alkali.words(), share.show(0)), Nature::Pour)
            }
            None => (caustic.alkali.words().to_owned(), Nature::Scoop),
        };
        let weigh = Weigh {
            ingredient: caustic.id.clone(),
            name,
            amount: Amount::Caustic,
            into: Vessel::Own,
            nature,
            tolerance: Tolerance::Share(TOLERANCE_POUR),
            lot: lot(&caustic.lot),
        };
        self.weigh(weigh, words(&hazards::CAUSTIC));
    }

    fn liquid_and_lye(&mut self, outlook: &Outlook) {
        let liquid = &self.recipe.liquid;
        let mass = self.planned.get(&liquid.id).copied().unwrap_or(Mass::ZERO);
        if mass <= Mass::ZERO {
            // stock lye that already holds all of the liquid
            return;
        }
        let name = if liquid.ice > Share::ZERO {
            format!("{}, {} of it as ice", liquid.name, liquid.ice.show(0))
        } else {
            liquid.name.clone()
        };
        let weigh = Weigh {
            ingredient: liquid.id.clone(),
            name,
            amount: Amount::Liquid,
            into: Vessel::Own,
            nature: Nature::Pour,
            tolerance: tolerance(liquid.tolerance, Nature::Pour),
            lot: lot(&liquid.lot),
        };
        let mut dangers = words(&hazards::LIQUID);
        dangers.extend(liquid.caution.clone());
        self.weigh(weigh, dangers);
        let mut dangers = words(&hazards::DISSOLVE);
        dangers.extend(outlook.lye_words(self.units));
        let all_stock = self.recipe.caustics.iter().all(|caustic| caustic.stock.is_some());
        let title = if all_stock {
            format!("pour the stock lye into the {}", liquid.name)
        } else {
            format!("dissolve the caustic in the {}", liquid.name)
        };
        self.push("dissolve", &title, dangers, StepKind::Dissolve);
    }

    fn additions(&mut self, when: When) {
        let recipe = self.recipe;
        let due: Vec<&Addition> = recipe.additions.iter().filter(|a| a.when == when).collect();
        for addition in &due {
            if addition.into == Vessel::Pot
                && let Some(below) = addition.below
            {
                let title = format!("let the pot cool for the {}", addition.name);
                self.push("cool", &title, addition.hazards.clone(), StepKind::WhenCool { below });
            }
            let weigh = Weigh {
                ingredient: addition.id.clone(),
                name: addition.name.clone(),
                amount: amount(addition.amount),
                into: addition.into,
                nature: addition.nature,
                tolerance: spread(addition.amount)
                    .unwrap_or_else(|| tolerance(addition.tolerance, addition.nature)),
                lot: lot(&addition.lot),
            };
            self.weigh(weigh, addition.hazards.clone());
        }
        let hot = when == When::AfterCook && recipe.cook.is_some();
        let own: Vec<&Addition> =
            due.into_iter().filter(|addition| addition.into == Vessel::Own).collect();
        self.stir_in(&own, None, hot);
        // the pot cools: what may go in hotter goes in first
        let mut limits: Vec<Temperature> = own.iter().filter_map(|own| own.below).collect();
        limits.sort_by_key(|&limit| std::cmp::Reverse(limit));
        limits.dedup();
        for limit in limits {
            self.stir_in(&own, Some(limit), hot);
        }
    }

    /// The additions from their own cups that have this limit of the pot, or none.
    fn stir_in(&mut self, own: &[&Addition], below: Option<Temperature>, hot: bool) {
        let now = own.iter().filter(|addition| addition.below == below);
        let (names, dangers): (Vec<&str>, Vec<_>) =
            now.map(|addition| (addition.name.as_str(), addition.hazards.clone())).unzip();
        if names.is_empty() {
            return;
        }
        let mut dangers = dangers.concat();
        dangers.extend(if hot { words(&hazards::STIR_IN) } else { Vec::new() });
        let title = format!("stir in {}", names.join(", "));
        let kind = below.map_or(StepKind::Do, |below| StepKind::WhenCool { below });
        self.push("stir-in", &title, dangers, kind);
    }

    fn late_fats(&mut self) {
        let late: &[LateFat] = &self.recipe.late_fats;
        for fat in late {
            let weigh = Weigh {
                ingredient: fat.id.clone(),
                name: format!("{}, after the cook", fat.name),
                amount: amount(fat.amount),
                into: Vessel::Own,
                nature: fat.nature,
                tolerance: spread(fat.amount)
                    .unwrap_or_else(|| tolerance(fat.tolerance, fat.nature)),
                lot: lot(&fat.lot),
            };
            self.weigh(weigh, Vec::new());
        }
        if !late.is_empty() {
            let names: Vec<&str> = late.iter().map(|fat| fat.name.as_str()).collect();
            let title = format!("melt and stir in {}", names.join(", "));
            self.push("stir-in-fat", &title, words(&hazards::STIR_IN), StepKind::Do);
        }
    }

    fn cook(&mut self, bench: Option<&BenchFile>) {
        let Some(plan) = &self.recipe.cook else { return };
        let plan = plan.adjusted(bench.map_or(0, |bench| bench.altitude_m));
        let cook = Cook {
            window: plan.window,
            high: plan.high,
            high_high: plan.high_high,
            duration: plan.duration,
            look_every: plan.look_every,
            tests: plan.tests,
        };
        let mut dangers = hazards::cook(self.units.temperature);
        let notes = cook.tests.iter().filter_map(|test| test.method.note());
        dangers.extend(notes.map(str::to_owned));
        self.push("cook", "cook", dangers, StepKind::Cook(cook));
    }

    /// Whether there was any.
    fn work(&mut self, when: When) -> bool {
        let recipe = self.recipe;
        let due = recipe.work.iter().filter(|work| work.when == when);
        let before = self.steps.len();
        for work in due {
            let key = format!("do-{}", before_comma(&work.say));
            self.push(&key, &work.say, work.hazards.clone(), StepKind::Do);
        }
        self.steps.len() > before
    }
}

fn lot(lot: &Option<Lot>) -> Option<String> {
    lot.as_ref().map(|lot| lot.name.clone())
}

fn amount(amount: AdditionAmount) -> Amount {
    match amount {
        AdditionAmount::Mass(mass) => Amount::Fixed(mass),
        share => Amount::OfFats(share.middle()),
    }
}

/// A range is its own tolerance: 4–6 % is 5 % give or take a fifth.
fn spread(amount: AdditionAmount) -> Option<Tolerance> {
    let AdditionAmount::Between(low, high) = amount else { return None };
    let half = (high.millionths() - low.millionths()) as f64;
    let whole = (high.millionths() + low.millionths()) as f64;
    Some(Tolerance::Share(Share::from_fraction_rounded(half / whole)))
}

/// The first words of a sentence as a key: "melt the butters, slowly" is "melt-the-butters".
fn before_comma(say: &str) -> String {
    let first = say.split([',', ';', '.', ':', '(']).next().unwrap_or(say).to_lowercase();
    let words: Vec<String> = first
        .split_whitespace()
        .take(3)
        .map(|word| word.chars().filter(|c| c.is_alphanumeric()).collect())
        .collect();
    words.join("-")
}

fn words(hazards: &[&str]) -> Vec<String> {
    hazards.iter().map(|words| (*words).to_owned()).collect()
}
