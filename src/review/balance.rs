//! Fats against caustic, from what was captured: the superfat really achieved.

use std::collections::BTreeMap;

use super::book::Book;
use super::model::{Balance, LiquidReview};
use crate::bench::{BackVerdict, CaptureHow, Fact, doubt_of, spread};
use crate::chemistry::{CausticForm, Formula, IngredientId, Masses, ScaleFacts};
use crate::plan::{Base, Keep, Step, StepKind};
use crate::quantity::{Mass, Share};

pub fn balance(book: &Book) -> Balance {
    let formula = &book.control.formula;
    let captured = captured(book);
    let weighed = captured.masses();
    let missing = missing(formula, &weighed);
    let scale = captured.scale.or_else(|| scale_at(book, book.started.numbered.number));
    let by_hand = captured.by_hand(scale.as_ref());
    let complete = scale.filter(|_| missing.is_empty());
    let budget = complete.and_then(|scale| formula.superfat_budget(&weighed, &by_hand, &scale));
    let counts = |id: &&IngredientId| counting(formula).any(|other| other == *id);
    let left = went_in(book, formula, &weighed).filter(|_| budget.is_some());
    Balance {
        planned: formula.superfat,
        floor: formula.floor,
        missing: missing.iter().map(|id| book.name(id)).collect(),
        superfat: budget.as_ref().map(|budget| budget.superfat),
        lye_heavy: budget.as_ref().map(|budget| budget.lye_heavy),
        dominant: budget.as_ref().and_then(|budget| Some(budget.dominant()?.doubt.to_string())),
        superfat_less_residue: left
            .zip(complete)
            .map(|(left, scale)| formula.superfat(&left, &scale).achieved),
        free_fat: free_fat(formula, &weighed).filter(|_| budget.is_some()),
        by_hand: by_hand.keys().filter(counts).map(|id| captured.as_declared(book, id)).collect(),
        bases: bases(book, &weighed),
        counted: complete.map(|scale| scale.counted().to_owned()),
        liquid_planned: formula.liquid,
        liquid: liquid(formula, &weighed),
    }
}

struct Captured {
    /// By the step that weighed it.
    standing: BTreeMap<String, (IngredientId, Mass, CaptureHow, Option<Mass>)>,
    /// The coarsest scale that weighed any of it.
    scale: Option<ScaleFacts>,
}

impl Captured {
    fn masses(&self) -> Masses {
        let mut masses = Masses::new();
        for (id, net, ..) in self.standing.values() {
            *masses.entry(id.clone()).or_default() += *net;
        }
        masses
    }

    /// As the bench does: `mark` sees each weighing that changes, and the first in any case.
    fn set_in_all(
        &mut self,
        book: &Book,
        ingredient: &IngredientId,
        net: Mass,
        mark: impl Fn(&mut CaptureHow, &mut Option<Mass>),
    ) {
        let of_it =
            |step: &&Step| self.standing.get(&step.key).is_some_and(|(id, ..)| id == ingredient);
        let keys: Vec<&String> = book.steps().filter(of_it).map(|step| &step.key).collect();
        let weighed: Vec<Mass> = keys.iter().map(|key| self.standing[*key].1).collect();
        for (place, (key, net)) in keys.into_iter().zip(spread(&weighed, net)).enumerate() {
            if let Some((_, standing, how, doubt)) = self.standing.get_mut(key)
                && (place == 0 || *standing != net)
            {
                *standing = net;
                mark(how, doubt);
            }
        }
    }

    /// Its name, and how good it was said to be where that was said.
    fn as_declared(&self, book: &Book, wanted: &IngredientId) -> String {
        let units = &book.control.units;
        let of_it = |(id, _, _, said): &(IngredientId, Mass, CaptureHow, Option<Mass>)| {
            said.filter(|_| id == wanted)
        };
        let said = self.standing.values().find_map(of_it);
        let said = said.map(|said| format!(" ± {}", said.show(units.mass, units.mass_decimals)));
        format!("{}{}", book.name(wanted), said.unwrap_or_default())
    }

    /// Half-widths of what was declared.
    fn by_hand(&self, scale: Option<&ScaleFacts>) -> Masses {
        let declared = self.standing.values().filter(|(_, _, how, _)| *how == CaptureHow::ByHand);
        declared.map(|(id, net, _, said)| (id.clone(), doubt_of(*net, *said, scale))).collect()
    }
}

fn captured(book: &Book) -> Captured {
    let mut captured = Captured { standing: BTreeMap::new(), scale: None };
    for dated in &book.own {
        match &dated.numbered.fact {
            Fact::Captured { step, ingredient, net, how, doubt, .. } => {
                let standing = (ingredient.clone(), *net, *how, *doubt);
                captured.standing.insert(step.clone(), standing);
                let scale = scale_at(book, dated.numbered.number);
                let coarser = |scale: &ScaleFacts| captured.scale.is_none_or(|s| scale.d > s.d);
                if let Some(scale) = scale.filter(coarser) {
                    captured.scale = Some(scale);
                }
            }
            Fact::Reopened { step, .. } => {
                captured.standing.remove(step);
            }
            Fact::Corrected { ingredient, net, .. } => {
                captured.set_in_all(book, ingredient, *net, |how, doubt| {
                    (*how, *doubt) = (CaptureHow::ByHand, None);
                });
            }
            Fact::TakenOut { step, from, to, .. } => {
                let of = book.step(step).and_then(|step| match &step.kind {
                    StepKind::TakeOut(take_out) => Some(take_out),
                    _ => None,
                });
                let Some(take_out) = of else { continue };
                if let Keep::Mass(_) = take_out.keep {
                    captured.set_in_all(book, &take_out.vessel_of, *to, |_, _| {});
                    continue;
                }
                let parts = take_out.ingredients(&book.control.formula);
                let touched = captured.standing.values_mut().filter(|(id, ..)| parts.contains(id));
                touched.for_each(|(_, net, ..)| *net = net.scaled(*to, *from));
            }
            _ => {}
        }
    }
    captured
}

fn scale_at(book: &Book, number: u64) -> Option<ScaleFacts> {
    book.setup_at(number)?.scale().map(|(_, facts)| facts)
}

/// Everything that the superfat follows from.
fn counting(formula: &Formula) -> impl Iterator<Item = &IngredientId> {
    let fats = formula.fats.iter().filter(|fat| !fat.after_cook).map(|fat| &fat.id);
    let acids = formula.acids.iter().map(|acid| &acid.id);
    fats.chain(acids).chain(formula.caustics.iter().map(|caustic| &caustic.id))
}

fn missing<'a>(formula: &'a Formula, weighed: &Masses) -> Vec<&'a IngredientId> {
    counting(formula).filter(|id| !weighed.contains_key(id)).collect()
}

fn bases(book: &Book, weighed: &Masses) -> Vec<String> {
    let units = &book.control.units;
    let words = |base: &Base| {
        let net = weighed.get(&base.ingredient)?.show(units.mass, units.mass_decimals);
        Some(format!("{net} of {}: {}", base.name, base.words()))
    };
    book.control.bases.iter().filter_map(words).collect()
}

fn free_fat(formula: &Formula, weighed: &Masses) -> Option<Share> {
    let mut after = formula.fats.iter().filter(|fat| fat.after_cook).peekable();
    after.peek()?;
    let all = after.all(|fat| weighed.contains_key(&fat.id));
    formula.free_fat(weighed).filter(|_| all)
}

/// The masses less what is known to have stayed behind, in a cup of caustic or in the jug of the
/// lye; `None` when nothing did. What stays in the jug is lye, of all its caustics alike.
fn went_in(book: &Book, formula: &Formula, weighed: &Masses) -> Option<Masses> {
    let mut left = Masses::new();
    for dated in &book.own {
        if let Fact::VesselBack { ingredient, residue: Some(residue), verdict, .. } =
            &dated.numbered.fact
            && *verdict == BackVerdict::Residue
        {
            left.insert(ingredient.clone(), *residue);
        }
    }
    let mut went_in = weighed.clone();
    let mut changed = false;
    for caustic in &formula.caustics {
        if let (Some(left), Some(net)) = (left.get(&caustic.id), went_in.get_mut(&caustic.id)) {
            *net = (*net - *left).max(Mass::ZERO);
            changed = true;
        }
    }
    if let Some(left) = left.get(&formula.liquid_id) {
        let caustics = formula.caustics.iter().filter_map(|caustic| went_in.get(&caustic.id));
        let caustics: Mass = caustics.copied().sum();
        let lye = caustics + weighed.get(&formula.liquid_id).copied().unwrap_or_default();
        let poured = (lye - *left).max(Mass::ZERO);
        for caustic in formula.caustics.iter().filter(|_| lye > Mass::ZERO) {
            if let Some(net) = went_in.get_mut(&caustic.id) {
                *net = net.scaled(poured, lye);
                changed = true;
            }
        }
    }
    changed.then_some(went_in)
}

fn liquid(formula: &Formula, weighed: &Masses) -> Option<LiquidReview> {
    let mut liquid = weighed.get(&formula.liquid_id).copied()?;
    let mut caustic = Mass::ZERO;
    for part in &formula.caustics {
        let mass = weighed.get(&part.id).copied()?;
        let alkali = match part.form {
            CausticForm::Lye => Mass::from_grams_rounded(mass.grams() * part.purity.fraction()),
            CausticForm::Solid | CausticForm::WaterySolid => mass,
        };
        caustic += alkali;
        liquid += mass - alkali;
    }
    Some(LiquidReview { liquid, caustic })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn g(text: &str) -> Mass {
        Mass::parse(&format!("{text} g")).unwrap()
    }

    #[test]
    fn a_declared_mass_is_never_better_than_the_scale() {
        let declared = |net: &str| Captured {
            standing: BTreeMap::from([(
                "weigh-olive".to_owned(),
                ("olive".into(), g(net), CaptureHow::ByHand, None),
            )]),
            scale: None,
        };
        let scale = ScaleFacts::new(g("0.1"), g("3000"));
        for (net, doubt) in [("200", "4"), ("5", "0.1"), ("3", "0.1")] {
            assert_eq!(declared(net).by_hand(Some(&scale)).get(&"olive".into()), Some(&g(doubt)));
        }
    }
}
