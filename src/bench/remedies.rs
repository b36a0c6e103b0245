//! Too much caustic for the fats, or too little, once both are on record: what can soundly be done
//! about it at this stage, with its numbers, and the work that it takes.
//!
//! Never among them: dry caustic, cold water or acid into a hot pot.

use std::collections::BTreeMap;

use super::batch::Batch;
use super::fact::{Ask, BatchId, Fact, Remedy};
use super::law::Bench;
use super::{refusals, target, words};
use crate::chemistry::{
    CausticForm, Circumstances, DissolveVerdict, Formula, IngredientId, Masses, NoRemedy,
    RemedyAct, ScaleFacts,
};
use crate::plan::{
    Amount, DENSITY_ASSUMED_G_PER_ML, Keep, Nature, Pot, Step, StepKind, TakeOut, Tolerance, Units,
    Vessel, Weigh,
};
use crate::quantity::{Mass, Share};

/// One way out.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    pub remedy: Remedy,
    /// As part of a sentence: "spoon out 2.1 g of caustic, into waste".
    pub words: String,
    pub amount: Option<Mass>,
    pub steps: Vec<Step>,
}

/// Where the caustic is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Dry,
    Dissolved,
    Combined,
    Moulding,
}

/// A pot is filled to two thirds at most; common practice, no source.
const POT_MOST: (i64, i64) = (2, 3);
/// What a remedy adds is weighed this finely. Ours.
const ADDED_TOLERANCE: Share = Share::from_percent(1);

/// Asks what is to be done while there is more caustic than the fats take.
pub fn run(bench: &mut Bench) {
    let ids: Vec<BatchId> = bench.state.batches.keys().cloned().collect();
    for id in ids {
        let Some(batch) = bench.batch(&id) else { continue };
        let asked = batch.prompt.as_ref().map(|prompt| &prompt.asks);
        let asks_remedy = matches!(asked, Some(Ask::Remedy { .. }));
        let heavy = excess(bench, batch);
        match heavy {
            // also in the midst of a remedy that was not enough: there is always another way out
            Some(excess) if !batch.weighs_for_remedy() && !is_asked(bench, batch) => {
                let options = over(bench, batch).0.iter().map(|offer| offer.remedy).collect();
                bench.withdraw_prompt(&id);
                bench.ask(&id, Ask::Remedy { options, excess });
            }
            None if asks_remedy && !bench.is_caustic_over(&id) => bench.withdraw_prompt(&id),
            _ => {}
        }
    }
}

/// The ways out that there are now are asked about, or those of a cup that is over on the pan.
fn is_asked(bench: &Bench, batch: &Batch) -> bool {
    let Some(Ask::Remedy { options, .. }) = batch.prompt.as_ref().map(|prompt| &prompt.asks) else {
        return false;
    };
    let now = || over(bench, batch).0.into_iter().map(|offer| offer.remedy);
    bench.is_caustic_over(&batch.id) || now().eq(options.iter().copied())
}

/// How much more caustic is on record than the fats on record take, if that is more than the guard
/// allows. Nothing is said before all fats are weighed; a caustic not weighed yet counts as none.
pub fn excess(bench: &Bench, batch: &Batch) -> Option<Mass> {
    bench.senses.heavy.get(&batch.id).copied()
}

/// The same of every batch, from what is on record now: it changes with facts only.
pub fn heavy(bench: &Bench) -> BTreeMap<BatchId, Mass> {
    let batches = bench.state.batches.values();
    batches.filter_map(|batch| Some((batch.id.clone(), worked_out(bench, batch)?))).collect()
}

fn worked_out(bench: &Bench, batch: &Batch) -> Option<Mass> {
    let scale = scale(bench, batch)?;
    let formula = &batch.control.formula;
    let masses = on_record(batch);
    let last = last_caustic(batch, &masses)?;
    let have = masses[&last];
    let fats = without(&masses, &last);
    // no guard lies below that, and the guard costs a whole budget of uncertainty
    if have <= formula.least_guard(&last, &fats, &scale) {
        return None;
    }
    let by_hand = batch.by_hand(&scale);
    (have > formula.guard_by_hand(&last, &fats, &by_hand, &scale).mass)
        .then(|| have - formula.caustic_beside(&last, &fats))
}

/// What can be done about too much, and why nothing else can.
pub fn over(bench: &Bench, batch: &Batch) -> (Vec<Offer>, Option<NoRemedy>) {
    let mut offers = Vec::new();
    let mut none = None;
    // begun again, what is out already would pass for water that has left, or for another vessel
    let sound = if batch.under_way().is_some() { Vec::new() } else { sound(bench, batch) };
    for offer in sound {
        match offer {
            Ok(offer) => offers.push(offer),
            Err(why) => none = Some(why),
        }
    }
    offers.push(Offer {
        remedy: Remedy::Discard,
        words: "discard the batch as the safety data sheet says".to_owned(),
        amount: None,
        steps: Vec::new(),
    });
    (offers, none)
}

/// The offer behind a choice, as things stand now.
pub fn chosen(bench: &Bench, id: &BatchId, remedy: Remedy) -> Option<Offer> {
    let batch = bench.batch(id)?;
    let small_lye = || under(bench, batch).ok().map(|(_, offer)| offer);
    let mut offers = over(bench, batch).0.into_iter();
    offers
        .find(|offer| offer.remedy == remedy)
        .or_else(|| (remedy == Remedy::SmallLye).then(small_lye).flatten())
}

/// The remedy that is being worked, which bars every other. A cup on the pan that is over its guard
/// is spooned from all the same.
pub fn under_way(bench: &Bench, batch: &Batch) -> Option<Remedy> {
    batch.under_way().filter(|_| !bench.is_caustic_over(&batch.id))
}

/// The operator asks whether anything is to be made good.
pub fn ask(bench: &mut Bench, id: &BatchId) -> Result<(), String> {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    if matches!(batch.prompt.as_ref().map(|prompt| &prompt.asks), Some(Ask::Remedy { .. })) {
        return Ok(());
    }
    if let Some(detour) = &batch.detour {
        return Err(refusals::under_way(detour.remedy));
    }
    let (missing, offer) = under(bench, batch)?;
    let options = vec![offer.remedy, Remedy::LeaveIt];
    bench.withdraw_prompt(id);
    bench.ask(id, Ask::Under { options, missing });
    Ok(())
}

/// The small lye that makes good for too little caustic, and how much is missing.
pub fn under(bench: &Bench, batch: &Batch) -> Result<(Mass, Offer), String> {
    let formula = &batch.control.formula;
    let masses = on_record(batch);
    let Some(last) = last_caustic(batch, &masses).filter(|_| batch.said_combined) else {
        return Err(refusals::remedy_too_early());
    };
    let missing = formula.caustic_beside(&last, &without(&masses, &last)) - masses[&last];
    let scale = scale(bench, batch).ok_or_else(refusals::no_scale)?;
    if missing < scale.d * 2 {
        return Err(refusals::nothing_to_make_good());
    }
    let circumstances = circumstances(batch);
    let remedy = formula.small_lye(&masses, &circumstances).map_err(|why| why.to_string())?;
    let units = &batch.control.units;
    let mut steps = Steps::new(batch);
    for caustic in formula.caustics.iter().filter(|c| remedy.masses.contains_key(&c.id)) {
        let mass = remedy.masses[&caustic.id].floor_to(scale.d);
        steps.weigh(&caustic.id, Amount::MoreCaustic(mass), caustic.alkali.words());
    }
    if let Some(liquid) = remedy.masses.get(&formula.liquid_id) {
        steps.weigh(&formula.liquid_id, Amount::Fixed(*liquid), "");
    }
    steps.work("dissolve the caustic in the liquid, caustic into liquid, in a jug of its own");
    steps.work("let the small lye cool, then add it slowly, stirring");
    let words = format!("make {}", remedy_words(&remedy.masses, units, batch));
    let amount = remedy.masses.get(&last).copied();
    Ok((missing, Offer { remedy: Remedy::SmallLye, words, amount, steps: steps.steps }))
}

fn sound(bench: &Bench, batch: &Batch) -> Vec<Result<Offer, NoRemedy>> {
    let formula = &batch.control.formula;
    let masses = on_record(batch);
    let Some((_, scale)) = last_caustic(batch, &masses).zip(scale(bench, batch)) else {
        return Vec::new();
    };
    match stage(batch) {
        Stage::Dry => {
            // a cup that holds less is told from an empty one by no scale
            let least = bench.settings().marks(scale.d).same;
            let keep = |id: &IngredientId| formula.caustic_beside(id, &masses).floor_to(scale.d);
            let from = most_over(batch, &masses, |id| keep(id) > least);
            let offer = from.map(|id| spoon_out(batch, id, masses[id] - keep(id), keep(id)));
            offer.map(Ok).into_iter().collect()
        }
        Stage::Dissolved => vec![use_part(batch, formula, &masses)],
        Stage::Combined => vec![
            restore(batch, formula, &masses, None),
            restore(batch, formula, &masses, largest_fat(formula, &masses)),
        ],
        Stage::Moulding => vec![Err(NoRemedy::InMould)],
    }
}

fn spoon_out(batch: &Batch, caustic: &IngredientId, excess: Mass, keep: Mass) -> Offer {
    let words = format!(
        "spoon {} of {} out of its cup, into waste, never back to stock",
        words::mass(&batch.control.units, excess),
        words::ingredient_name(batch, caustic)
    );
    let mut steps = Steps::new(batch);
    steps.take_out(caustic, words::ingredient_name(batch, caustic), Keep::Mass(keep));
    Offer { remedy: Remedy::SpoonOut, words, amount: Some(excess), steps: steps.steps }
}

/// The lye is where its liquid was weighed, or a stock lye in its own vessel.
fn lye_vessel(batch: &Batch) -> Option<IngredientId> {
    let formula = &batch.control.formula;
    let stock = formula.caustics.iter().filter(|caustic| caustic.form == CausticForm::Lye);
    let caustics = stock.map(|caustic| &caustic.id);
    let vessels = std::iter::once(&formula.liquid_id).chain(caustics);
    vessels.into_iter().find(|id| batch.empty_vessel(id).is_some()).cloned()
}

fn use_part(batch: &Batch, formula: &Formula, masses: &Masses) -> Result<Offer, NoRemedy> {
    let vessel = lye_vessel(batch).ok_or(NoRemedy::NotWeighed)?;
    let solution = solution(formula, masses);
    let remedy = formula.use_part(masses, solution, &circumstances(batch))?;
    let RemedyAct::UsePart { used, .. } = remedy.act else { return Err(NoRemedy::NotWeighed) };
    let part = Share::from_fraction_rounded(used.grams() / solution.grams());
    let words = format!(
        "use only {} of the lye (it is weighed, and the rest poured off and labelled as lye)",
        part.show(1)
    );
    let mut steps = Steps::new(batch);
    steps.take_out(&vessel, "lye".to_owned(), Keep::PartOfLye);
    Ok(Offer { remedy: Remedy::UsePart, words, amount: Some(solution - used), steps: steps.steps })
}

/// All that the lye was made of.
pub fn solution(formula: &Formula, masses: &Masses) -> Mass {
    let lye = TakeOut {
        vessel_of: formula.liquid_id.clone(),
        name: String::new(),
        keep: Keep::PartOfLye,
    };
    let parts = lye.ingredients(formula);
    parts.iter().filter_map(|id| masses.get(id)).copied().sum()
}

/// Of a lye that weighs `solution` now, what the fats take.
pub fn part_of_lye(batch: &Batch, solution: Mass) -> Option<Mass> {
    let formula = &batch.control.formula;
    let remedy = formula.use_part(&batch.masses(), solution, &circumstances(batch)).ok()?;
    match remedy.act {
        RemedyAct::UsePart { used, .. } => Some(used),
        _ => None,
    }
}

fn restore(
    batch: &Batch,
    formula: &Formula,
    masses: &Masses,
    one: Option<IngredientId>,
) -> Result<Offer, NoRemedy> {
    let circumstances = circumstances(batch);
    let (kind, remedy) = match &one {
        None => (Remedy::Restore, formula.restore(masses, &circumstances)?),
        Some(fat) => (Remedy::RestoreOne, formula.restore_with(fat, masses, &circumstances)?),
    };
    let mut steps = Steps::new(batch);
    for (id, mass) in &remedy.masses {
        steps.weigh(id, Amount::Fixed(*mass), "");
    }
    steps.work("add them as warm as the pot, slowly, stirring; never cold water into a hot pot");
    let words = format!("add {}", remedy_words(&remedy.masses, &batch.control.units, batch));
    let amount = Some(remedy.masses.values().copied().sum());
    Ok(Offer { remedy: kind, words, amount, steps: steps.steps })
}

fn remedy_words(masses: &Masses, units: &Units, batch: &Batch) -> String {
    let part = |(id, mass): (&IngredientId, &Mass)| {
        format!("{} of {}", words::mass(units, *mass), words::ingredient_name(batch, id))
    };
    masses.iter().map(part).collect::<Vec<_>>().join(", ")
}

fn stage(batch: &Batch) -> Stage {
    if batch.is_moulding() {
        Stage::Moulding
    } else if batch.said_combined {
        Stage::Combined
    } else if batch.said_dissolved {
        Stage::Dissolved
    } else {
        Stage::Dry
    }
}

fn circumstances(batch: &Batch) -> Circumstances {
    let masses = batch.masses();
    let in_pot: Mass = masses.values().copied().sum();
    Circumstances {
        in_mould: batch.is_moulding(),
        // a lye hotter than its caustic can make it says that something unknown is in it
        cause_known: batch.lye_judged != Some(DissolveVerdict::TooHot),
        room: batch.control.pot.as_ref().and_then(|pot| room(pot, in_pot)),
    }
}

/// What the pot still takes before it is two thirds full.
fn room(pot: &Pot, in_pot: Mass) -> Option<Mass> {
    let (part, whole) = POT_MOST;
    let grams = pot.volume?.millilitres() * DENSITY_ASSUMED_G_PER_ML * part as f64 / whole as f64;
    Some((Mass::from_grams_rounded(grams) - in_pot).max(Mass::ZERO))
}

/// The fat of which there is most, among those that react whole.
fn largest_fat(formula: &Formula, masses: &Masses) -> Option<IngredientId> {
    let fit = formula.fats.iter().filter(|fat| !fat.after_cook && fat.reacting.is_whole());
    fit.max_by_key(|fat| masses.get(&fat.id)).map(|fat| fat.id.clone())
}

/// All that is weighed; a caustic that is not is none in the batch, whatever was planned of it.
fn on_record(batch: &Batch) -> Masses {
    let mut masses = batch.masses();
    for caustic in &batch.control.formula.caustics {
        masses.entry(caustic.id.clone()).or_default();
    }
    masses
}

/// The caustic by which too much or too little is told, when all that takes it up is on record: the
/// last that is in the batch and wanted beside the others. Where one alone is too much for the
/// fats nothing is wanted of the other, and it is told by that one.
fn last_caustic(batch: &Batch, masses: &Masses) -> Option<IngredientId> {
    let formula = &batch.control.formula;
    let fats = formula.fats.iter().filter(|fat| !fat.after_cook).map(|fat| &fat.id);
    let mut counting = fats.chain(formula.acids.iter().map(|acid| &acid.id));
    if !counting.all(|id| masses.contains_key(id)) {
        return None;
    }
    let ids = || formula.caustics.iter().map(|caustic| &caustic.id);
    let is_in = |id: &&IngredientId| masses[*id] > Mass::ZERO;
    let is_wanted = |id: &&IngredientId| formula.caustic_beside(id, masses) > Mass::ZERO;
    let wanted = ids().rev().filter(is_in).find(is_wanted);
    wanted.or_else(|| ids().filter(is_in).max_by_key(|id| masses[*id])).cloned()
}

/// The caustic in a known cup that is most over its own share of the demand: spooned out of it, the
/// excess leaves the recipe nearest to what was meant.
fn most_over<'a>(
    batch: &'a Batch,
    masses: &Masses,
    can_be_spooned: impl Fn(&IngredientId) -> bool,
) -> Option<&'a IngredientId> {
    let formula = &batch.control.formula;
    let over = |id: &IngredientId| {
        masses[id].grams() / formula.caustic(id, masses).grams().max(f64::MIN_POSITIVE)
    };
    let ids = formula.caustics.iter().map(|caustic| &caustic.id);
    let in_cups = ids.filter(|id| batch.empty_vessel(id).is_some() && can_be_spooned(id));
    in_cups.max_by(|a, b| over(a).total_cmp(&over(b)))
}

fn without(masses: &Masses, id: &IngredientId) -> Masses {
    let mut others = masses.clone();
    others.remove(id);
    others
}

/// The scale this batch weighs on, or the one of the bench while another batch holds it.
fn scale(bench: &Bench, batch: &Batch) -> Option<ScaleFacts> {
    let held = bench.state.scale_of(&batch.id).map(|(_, facts)| facts);
    held.or_else(|| bench.state.setup_ref()?.scale().map(|(_, facts)| facts))
}

/// The steps of one remedy, under keys that no other step of the batch has.
struct Steps<'a> {
    batch: &'a Batch,
    steps: Vec<Step>,
}

impl<'a> Steps<'a> {
    fn new(batch: &'a Batch) -> Steps<'a> {
        Steps { batch, steps: Vec::new() }
    }

    fn push(&mut self, title: String, kind: StepKind, hazards: Vec<String>) {
        let key = format!("remedy-{}", self.batch.added.len() + self.steps.len() + 1);
        self.steps.push(Step { key, title, hazards, kind, moulding: false });
    }

    fn weigh(&mut self, id: &IngredientId, amount: Amount, name: &str) {
        let known = words::ingredient_name(self.batch, id);
        let name = if name.is_empty() { known } else { name.to_owned() };
        let nature = match amount {
            Amount::MoreCaustic(_) => Nature::Scoop,
            _ => Nature::Pour,
        };
        let weigh = Weigh {
            ingredient: id.clone(),
            name: name.clone(),
            amount,
            into: Vessel::Own,
            nature,
            tolerance: Tolerance::Share(ADDED_TOLERANCE),
            lot: None,
        };
        let hazards = self.hazards_of(id);
        self.push(format!("{name}, as the remedy"), StepKind::Weigh(weigh), hazards);
    }

    fn take_out(&mut self, vessel_of: &IngredientId, name: String, keep: Keep) {
        let title = format!("take {name} out of its vessel");
        let take_out = TakeOut { vessel_of: vessel_of.clone(), name, keep };
        let hazards = self.hazards_of(vessel_of);
        self.push(title, StepKind::TakeOut(take_out), hazards);
    }

    fn work(&mut self, title: &str) {
        let hazards = self.batch.control.formula.caustics.first().map(|caustic| &caustic.id);
        let hazards = hazards.map(|id| self.hazards_of(id)).unwrap_or_default();
        self.push(title.to_owned(), StepKind::Do, hazards);
    }

    /// What is to be minded with it, as the recipe's own step says.
    fn hazards_of(&self, id: &IngredientId) -> Vec<String> {
        let step =
            self.batch.control.steps.iter().find(
                |step| matches!(&step.kind, StepKind::Weigh(weigh) if &weigh.ingredient == id),
            );
        step.map(|step| step.hazards.clone()).unwrap_or_default()
    }
}

/// Writes down that what is on record of an ingredient, in all, was wrong, and lets follow what follows from it.
pub fn correct(
    bench: &mut Bench,
    id: &BatchId,
    ingredient: &IngredientId,
    net: Mass,
    reason: &str,
) -> Result<(), String> {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    let Some(was) = batch.masses().get(ingredient).copied() else {
        return Err(refusals::not_weighed_yet(ingredient));
    };
    if reason.trim().is_empty() {
        return Err(refusals::correction_needs_reason());
    }
    if net < Mass::ZERO || net > Mass::LARGEST {
        return Err(refusals::not_a_mass());
    }
    if let Some((weigh, weighing)) = batch.weigh()
        && &weigh.ingredient == ingredient
        && weighing.captured.is_some()
        && weighing.tare.is_some()
    {
        // what stands there would be weighed again, and the correction with it
        return Err(refusals::still_on_the_pan(&weigh.name));
    }
    let (batch, ingredient) = (id.clone(), ingredient.clone());
    bench.emit(Fact::Corrected { batch, ingredient, was, net, reason: reason.trim().to_owned() });
    retarget(bench, id);
    Ok(())
}

/// What is being weighed now may follow what has just been changed.
pub fn retarget(bench: &mut Bench, id: &BatchId) {
    let Some(batch) = bench.batch(id) else { return };
    let Some((weigh, weighing)) = batch.weigh() else { return };
    let Some(scale) = scale(bench, batch) else { return };
    let target = target::target(batch, weigh, &scale);
    if target != weighing.target && weighing.captured.is_none() {
        let step = bench.step_key(id);
        bench.emit(Fact::Retargeted { batch: id.clone(), step, target });
    }
}
