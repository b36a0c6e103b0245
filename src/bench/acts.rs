//! What an operator may do, and when it is refused.
//!
//! Answers name the prompt they answer, so that a pedal or a second screen can never confirm the
//! wrong thing; the same answer twice is no error.

use std::sync::Arc;

use super::alarm::{AlarmChange, AlarmId};
use super::batch::Batch;
use super::cue::Cue;
use super::fact::{Ask, BatchId, CaptureHow, Fact, Observation, Outcome, PromptId, Remedy};
use super::input::Act;
use super::law::{Bench, Reply};
use super::progress::cooking;
use super::repeat::Answered;
use super::setup::ProbeAt;
use super::work::Work;
use super::{
    combine, cook_end, cool, emergency, heat, in_pot, in_process, leases, lye, names, picture,
    refusals, remedies, repeat, same_cup, spot, vessel_back, vessels, words, zero, zeroing,
};
use crate::chemistry::IngredientId;
use crate::plan::{Amount, ControlRecipe, Severity, StepKind};
use crate::quantity::Mass;
use crate::recipe::InPot;

/// Longer than any label.
const LOT_LONGEST: usize = 60;

pub fn take(bench: &mut Bench, act: &Act) {
    let answer = match act {
        Act::Start { batch, control, operator, in_pot } => {
            start(bench, batch, control, operator.clone(), in_pot)
        }
        Act::Confirm { prompt } => confirm(bench, *prompt),
        Act::Choose { prompt, remedy } => choose(bench, *prompt, *remedy),
        Act::Vessel { prompt, vessel } => say_vessel(bench, *prompt, vessel),
        Act::Correct { batch, ingredient, mass, reason } => {
            remedies::correct(bench, batch, ingredient, *mass, reason).map(|()| Reply::Done)
        }
        Act::Lot { batch, lot } => open_lot(bench, batch, lot),
        Act::AskRemedy { batch } => remedies::ask(bench, batch).map(|()| Reply::Done),
        Act::Declare { batch, ingredient, mass } => declare(bench, batch, ingredient, *mass),
        Act::Observe { batch, observation, note } => observe(bench, batch, *observation, note),
        Act::Acknowledge { alarm } => acknowledge(bench, alarm),
        Act::ProbeOut { batch, at } => {
            open(bench, batch).map(|_| ()).map(|()| heat::shelve(bench, batch, *at))
        }
        Act::Hold { batch, channel, at, stays } => open(bench, batch)
            .map(|_| ())
            .and_then(|()| spot::hold(bench, batch, channel, *at, *stays)),
        Act::PutAway { channel } => spot::put_away(bench, channel),
        Act::Measured { batch, at, temperature } => open(bench, batch)
            .map(|_| ())
            .and_then(|()| spot::measured(bench, batch, *at, *temperature)),
        Act::Test { batch, test, method, sample, value } => {
            let sample = sample.as_deref();
            let taken = in_process::Taken { name: test, method: *method, sample, value };
            in_process::record(bench, batch, &taken)
        }
        Act::Scale { batch } => leases::take_scale(bench, batch),
        Act::Zero { channel } => zeroing::ask(bench, channel),
        Act::Probe { batch, channel } => leases::take_probe(bench, batch, channel),
        Act::Emergency => Ok(emergency::open(bench)),
        Act::Silence => silence(bench),
        Act::Advance { batch, step } => advance(bench, batch, step),
        Act::Abandon { batch, reason } => finish(bench, batch, Outcome::Abandoned, reason),
        Act::Close { batch, outcome, note } => finish(bench, batch, *outcome, note),
    };
    bench.reply(match answer {
        Ok(reply) => reply,
        Err(words) => Reply::Refused { words, prompt: asked_instead(bench, act) },
    });
}

/// What the batch of a refused act asks; for acts that name none, whatever is asked.
fn asked_instead(bench: &Bench, act: &Act) -> Option<PromptId> {
    let named = match act {
        Act::Declare { batch, .. }
        | Act::Correct { batch, .. }
        | Act::AskRemedy { batch, .. }
        | Act::Lot { batch, .. }
        | Act::Observe { batch, .. }
        | Act::ProbeOut { batch, .. }
        | Act::Scale { batch }
        | Act::Probe { batch, .. }
        | Act::Advance { batch, .. }
        | Act::Abandon { batch, .. }
        | Act::Close { batch, .. } => Some(batch),
        _ => None,
    };
    let mut batches = bench.state.batches.values();
    let asks = |batch: &Batch| batch.prompt.as_ref().map(|prompt| prompt.id);
    match named {
        Some(id) => bench.batch(id).and_then(asks),
        None => batches.find_map(asks),
    }
}

pub type Answer = Result<Reply, String>;

fn start(
    bench: &mut Bench,
    id: &BatchId,
    control: &Arc<ControlRecipe>,
    operator: Option<String>,
    said: &[InPot],
) -> Answer {
    if let Some(open) = bench.state.batches.get(id) {
        let same = open.control.recipe_digest == control.recipe_digest
            && open.in_pot == in_pot::by_oil(said);
        return if same { Ok(Reply::AlreadyDone) } else { Err(refusals::number_in_use(id)) };
    }
    if bench.state.closed.contains_key(id) {
        return Err(refusals::number_in_use(id));
    }
    if bench.state.batches.len() >= leases::POTS_MAX {
        return Err(names::too_many());
    }
    if let Some(unfit) = control.findings.iter().find(|f| f.severity == Severity::Unfit) {
        return Err(refusals::unfit(&unfit.words));
    }
    if bench.state.setup_ref().is_none_or(|setup| setup.scale().is_none()) {
        return Err(refusals::no_scale());
    }
    in_pot::check(control, said)?;
    bench.emit(Fact::BatchStarted { batch: id.clone(), control: Arc::clone(control), operator });
    in_pot::declare(bench, id, said);
    leases::take_free(bench, id);
    Ok(Reply::Done)
}

pub fn confirm(bench: &mut Bench, prompt: PromptId) -> Answer {
    let Some((id, asks)) = asked(bench, prompt) else {
        return repeat::answered_so(bench, prompt, &Answered::Yes).map(|()| Reply::AlreadyDone);
    };
    let step = bench.step_key(&id);
    if asks == Ask::Combined && !combine::not_yet(bench, &id).is_empty() {
        bench.withdraw_prompt(&id);
        bench.ask(&id, Ask::CombineAnyway);
        return Err(refusals::not_yet(&combine::not_yet(bench, &id)));
    }
    if asks == Ask::Cooked && !cook_end::not_yet(bench, &id).is_empty() {
        return Err(cook_end::ask_anyway(bench, &id));
    }
    if asks == Ask::Done && !cool::not_yet(bench, &id).is_empty() {
        return Err(cool::ask_anyway(bench, &id));
    }
    match asks {
        Ask::Remedy { .. } | Ask::Under { .. } => return Err(refusals::choose_a_remedy()),
        Ask::WhichVessel { among } => return Err(vessels::not_among(&among)),
        Ask::WrongVessel { vessel } => {
            vessels::use_all_the_same(bench, &id, prompt, &vessel)?;
        }
        Ask::TakeShort { .. } | Ask::TakeLong { .. } => {
            let how = match asks {
                Ask::TakeShort { .. } => CaptureHow::Short,
                _ => CaptureHow::Long,
            };
            if !bench.capture_at_rest(&id, how) {
                return Err(refusals::not_at_rest());
            }
            answered(bench, &id, prompt);
        }
        Ask::Dissolved
        | Ask::Combined
        | Ask::CombineAnyway
        | Ask::Done
        | Ask::Cooked
        | Ask::AddAnyway
        | Ask::EndCookAnyway => {
            if bench.is_barred_by_caustic(&id) {
                return Err(refusals::barred_by_caustic());
            }
            if asks == Ask::Dissolved {
                lye::dissolved(bench, &id);
            }
            answered(bench, &id, prompt);
            if asks != Ask::Done {
                note_temperatures(bench, &id, &step);
            }
            // dissolving and combining end with their vessels back on the pan
            if matches!(asks, Ask::Done | Ask::Cooked | Ask::AddAnyway | Ask::EndCookAnyway) {
                bench.emit(Fact::StepDone { batch: id, step });
            }
        }
        Ask::VesselBack { ingredient } => {
            answered(bench, &id, prompt);
            vessel_back::go_on(bench, &id, ingredient);
        }
        Ask::Look => {
            answered(bench, &id, prompt);
            bench.emit(Fact::LookMade { batch: id, step });
        }
        Ask::PanClear => {
            if !zero::say_clear(bench, &id) {
                return Err(refusals::not_at_rest());
            }
            answered(bench, &id, prompt);
        }
        Ask::LighterPot { .. } => {
            if !same_cup::say_same_pot(bench, &id) {
                return Err(refusals::not_at_rest());
            }
            answered(bench, &id, prompt);
        }
        Ask::StillThere
        | Ask::SameCup { .. }
        | Ask::PouredIn { .. }
        | Ask::LeaveUnrecorded
        | Ask::NothingAdded { .. } => {
            answered(bench, &id, prompt);
        }
    }
    Ok(Reply::Done)
}

fn choose(bench: &mut Bench, prompt: PromptId, remedy: Remedy) -> Answer {
    let Some((id, asks)) = asked(bench, prompt) else {
        return repeat::answered_so(bench, prompt, &Answered::Remedy(remedy))
            .map(|()| Reply::AlreadyDone);
    };
    let under_way = bench.batch(&id).and_then(|batch| remedies::under_way(bench, batch));
    if let Some(under_way) = under_way.filter(|_| remedy != Remedy::Discard) {
        return Err(refusals::under_way(under_way));
    }
    let excess = match &asks {
        Ask::Remedy { options, excess } if options.contains(&remedy) => *excess,
        Ask::Under { options, .. } if options.contains(&remedy) => Mass::ZERO,
        Ask::TakeShort { .. } if remedy == Remedy::BringDown => {
            return bring_down(bench, &id, prompt);
        }
        Ask::Remedy { .. } | Ask::Under { .. } => return Err(refusals::not_offered()),
        _ => return Err(refusals::nothing_to_choose()),
    };
    let chosen = remedies::chosen(bench, &id, remedy);
    answered(bench, &id, prompt);
    match remedy {
        Remedy::SpoonOut if bench.is_caustic_over(&id) => {
            // more may have run in since the question was put
            let excess = bench.caustic_excess(&id).unwrap_or(excess);
            let amount = Some(excess);
            let steps = Vec::new();
            bench.emit(Fact::RemedyChosen { batch: id.clone(), remedy, amount, steps });
            // still asked until the scale says that it is done; the other way out stays open
            bench.ask(&id, Ask::Remedy { options: vec![Remedy::Discard], excess });
            acknowledge_caustic(bench, &id);
            Ok(Reply::Done)
        }
        Remedy::Discard => {
            let (amount, steps) = (None, Vec::new());
            bench.emit(Fact::RemedyChosen { batch: id.clone(), remedy, amount, steps });
            close(bench, &id, Outcome::Abandoned, refusals::discarded())
        }
        _ => {
            let (amount, steps) = chosen.map_or((None, Vec::new()), |o| (o.amount, o.steps));
            bench.emit(Fact::RemedyChosen { batch: id.clone(), remedy, amount, steps });
            acknowledge_caustic(bench, &id);
            Ok(Reply::Done)
        }
    }
}

fn say_vessel(bench: &mut Bench, prompt: PromptId, vessel: &str) -> Answer {
    let Some((id, _)) = asked(bench, prompt) else {
        let answer = Answered::Vessel(vessel.trim().to_owned());
        return repeat::answered_so(bench, prompt, &answer).map(|()| Reply::AlreadyDone);
    };
    vessels::said(bench, &id, prompt, vessel).map(|()| Reply::Done)
}

/// An oil ran out: it is taken short, and all that is still to come is brought down with it.
fn bring_down(bench: &mut Bench, id: &BatchId, prompt: PromptId) -> Answer {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    if !may_bring_down(batch) {
        return Err(refusals::not_offered());
    }
    let Some((weigh, weighing)) = batch.weigh() else { return Err(refusals::nothing_to_weigh()) };
    let (ingredient, from) = (weigh.ingredient.clone(), weighing.target.mass);
    let step = bench.step_key(id);
    if !bench.capture_at_rest(id, CaptureHow::Short) {
        return Err(refusals::not_at_rest());
    }
    answered(bench, id, prompt);
    let net =
        bench.batch(id).and_then(|batch| batch.captures.get(&step)).map(|capture| capture.net);
    let to = net.unwrap_or(from);
    bench.emit(Fact::BroughtDown { batch: id.clone(), step, ingredient, from, to });
    Ok(Reply::Done)
}

/// Only of what is planned outright; what follows the lye or the oils follows them anyway.
pub fn may_bring_down(batch: &Batch) -> bool {
    batch.detour.is_none()
        && batch.weigh().is_some_and(|(weigh, _)| {
            let is_fat = batch.control.formula.fats.iter().any(|fat| fat.id == weigh.ingredient);
            is_fat && matches!(weigh.amount, Amount::Fixed(_))
        })
}

fn declare(bench: &mut Bench, id: &BatchId, ingredient: &IngredientId, mass: Mass) -> Answer {
    let batch = open(bench, id)?;
    if repeat::declared(batch, ingredient, mass) {
        return Ok(Reply::AlreadyDone);
    }
    let Some((weigh, weighing)) = batch.weigh() else { return Err(refusals::nothing_to_weigh()) };
    if &weigh.ingredient != ingredient {
        return Err(refusals::weighing_something_else(&weigh.name));
    }
    if mass <= Mass::ZERO || mass > Mass::LARGEST {
        return Err(refusals::not_a_mass());
    }
    let target = weighing.target.mass;
    if mass > target * 2 || mass * 2 < target {
        return Err(refusals::far_from_target(&batch.control.units, target));
    }
    if weighing.captured.is_some() {
        return Err(refusals::weighed_already());
    }
    if weighing.target.guard.is_some_and(|guard| mass > guard.mass) {
        return Err(refusals::declared_over_guard());
    }
    if bench.is_caustic_over(id) {
        return Err(refusals::barred_by_caustic());
    }
    let on_the_pan = weighing.tare.is_some() && !weighing.lifted;
    if weighing.target.guard.is_some() && on_the_pan {
        return Err(refusals::weigh_it_or_take_it_off());
    }
    let step = bench.step_key(id);
    bench.withdraw_prompt(id);
    bench.capture(id, &step, ingredient, mass, None, CaptureHow::ByHand);
    Ok(Reply::Done)
}

/// The first bottle ran empty, and another goes on: both lots are kept, and where one ended.
fn open_lot(bench: &mut Bench, id: &BatchId, lot: &str) -> Answer {
    let batch = open(bench, id)?;
    let lot = lot.trim();
    if lot.is_empty() || lot.chars().count() > LOT_LONGEST {
        return Err(refusals::no_lot(LOT_LONGEST));
    }
    let Some((weigh, _)) = batch.weigh() else { return Err(refusals::nothing_to_weigh()) };
    let (ingredient, lot) = (weigh.ingredient.clone(), lot.to_owned());
    let step = bench.step_key(id);
    let net = picture::weighing_view(bench, batch).and_then(|weighing| weighing.net);
    bench.emit(Fact::LotOpened { batch: id.clone(), step, ingredient, lot, net });
    Ok(Reply::Done)
}

fn observe(bench: &mut Bench, id: &BatchId, observation: Observation, note: &str) -> Answer {
    if repeat::observed(bench, open(bench, id)?, observation, note) {
        return Ok(Reply::AlreadyDone);
    }
    let note = note.to_owned();
    bench.emit(Fact::Observed { batch: id.clone(), observation, note });
    // while a remedy is worked no look is asked for: whoever says what they see has looked
    let due = bench.batch(id).filter(|batch| batch.detour.is_some()).and_then(|batch| {
        cooking(batch)?.1.look_due?;
        batch.main_work().0.map(|step| step.key.clone())
    });
    if let Some(step) = due {
        bench.emit(Fact::LookMade { batch: id.clone(), step });
    }
    Ok(Reply::Done)
}

fn acknowledge(bench: &mut Bench, alarm: &AlarmId) -> Answer {
    match bench.state.alarms.get(alarm) {
        // it has gone between the look and the touch, or another screen was quicker
        None if bench.senses.sounded.contains_key(alarm) => Ok(Reply::AlreadyDone),
        None => Err(refusals::no_such_alarm(alarm)),
        Some(state) if state.acknowledged => Ok(Reply::AlreadyDone),
        Some(_) => {
            let (alarm, detail) = (alarm.clone(), String::new());
            bench.emit(Fact::AlarmChanged { alarm, change: AlarmChange::Acknowledged, detail });
            Ok(Reply::Done)
        }
    }
}

fn silence(bench: &mut Bench) -> Answer {
    let until = bench.now + bench.settings().silence_max;
    bench.emit(Fact::Silenced { until });
    bench.cue(Cue::Hush);
    Ok(Reply::Done)
}

fn advance(bench: &mut Bench, id: &BatchId, step: &str) -> Answer {
    let batch = open(bench, id)?;
    let Some(present) = batch.step() else { return Err(refusals::no_step_left()) };
    if present.key != step {
        let known = batch.control.steps.iter().take(batch.step).any(|done| done.key == step);
        return if known {
            Ok(Reply::AlreadyDone)
        } else {
            Err(refusals::another_step(&present.title))
        };
    }
    if matches!(present.kind, StepKind::Weigh(_)) {
        return Err(refusals::weigh_it());
    }
    if matches!(present.kind, StepKind::Dissolve | StepKind::Combine { .. }) {
        return Err(refusals::say_so());
    }
    if !matches!(batch.work, Work::Cooking(_) | Work::Waiting) || bench.is_barred_by_caustic(id) {
        return Err(refusals::barred_by_caustic());
    }
    if matches!(present.kind, StepKind::Cook(_)) && !cook_end::not_yet(bench, id).is_empty() {
        return Err(cook_end::ask_anyway(bench, id));
    }
    if !cool::not_yet(bench, id).is_empty() {
        return Err(cool::ask_anyway(bench, id));
    }
    bench.withdraw_prompt(id);
    note_temperatures(bench, id, step);
    bench.emit(Fact::StepDone { batch: id.clone(), step: step.to_owned() });
    Ok(Reply::Done)
}

fn finish(bench: &mut Bench, id: &BatchId, outcome: Outcome, note: &str) -> Answer {
    if bench.state.closed.get(id) == Some(&outcome) {
        return Ok(Reply::AlreadyDone);
    }
    let batch = open(bench, id)?;
    if outcome == Outcome::Finished && batch.step().is_some() {
        return Err(refusals::steps_left(batch));
    }
    close(bench, id, outcome, note)
}

fn close(bench: &mut Bench, id: &BatchId, outcome: Outcome, note: &str) -> Answer {
    let raised: Vec<AlarmId> =
        bench.state.alarms.keys().filter(|alarm| alarm.batch() == Some(id)).cloned().collect();
    for alarm in raised {
        let detail = refusals::closed_with_batch().to_owned();
        let change = AlarmChange::Acknowledged;
        bench.emit(Fact::AlarmChanged { alarm: alarm.clone(), change, detail: detail.clone() });
        if bench.state.alarms.contains_key(&alarm) {
            bench.emit(Fact::AlarmChanged { alarm, change: AlarmChange::Reset, detail });
        }
    }
    bench.withdraw_prompt(id);
    leases::give_back(bench, id);
    bench.emit(Fact::BatchClosed { batch: id.clone(), outcome, note: note.to_owned() });
    Ok(Reply::Done)
}

/// The batch and question of a prompt that is open.
fn asked(bench: &Bench, prompt: PromptId) -> Option<(BatchId, Ask)> {
    bench.state.batches.values().find_map(|batch| {
        let open = batch.prompt.as_ref().filter(|open| open.id == prompt)?;
        Some((batch.id.clone(), open.asks.clone()))
    })
}

fn answered(bench: &mut Bench, id: &BatchId, prompt: PromptId) {
    bench.emit(Fact::PromptClosed { batch: id.clone(), prompt, answered: true });
}

fn open<'a>(bench: &'a Bench, id: &BatchId) -> Result<&'a Batch, String> {
    bench.batch(id).ok_or_else(|| refusals::no_such_batch(id))
}

fn acknowledge_caustic(bench: &mut Bench, id: &BatchId) {
    let over = bench.state.alarms.iter().find(|(alarm, state)| {
        !state.acknowledged
            && matches!(alarm, AlarmId::CausticOver { batch, .. } | AlarmId::LyeHeavy { batch }
                if batch == id)
    });
    if let Some(alarm) = over.map(|(alarm, _)| alarm.clone()) {
        let detail = words::alarm(bench, &alarm);
        bench.emit(Fact::AlarmChanged { alarm, change: AlarmChange::Acknowledged, detail });
    }
}

/// The temperatures at the end of a step are worth keeping with it.
fn note_temperatures(bench: &mut Bench, id: &BatchId, step: &str) {
    for at in [ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot, ProbeAt::Room] {
        // a value by hand has its own fact, and no channel
        let known = spot::known(bench, id, at);
        if let Some((channel, temperature)) = known.and_then(|k| Some((k.channel?, k.temperature)))
        {
            let (batch, step) = (id.clone(), step.to_owned());
            bench.emit(Fact::Noted { batch, step, channel, temperature });
        }
    }
}
