//! What may be answered and done now, as buttons say it. Whether it is done is for `acts` to decide.

use super::batch::Batch;
use super::fact::{Ask, Observation, Outcome, PromptId, Remedy};
use super::input::Act;
use super::law::Bench;
use super::progress::cooking;
use super::setup::{ProbeAt, Role};
use super::vessels::Misfit;
use super::view::AnswerView;
use super::{acts, pan_press, remedies, remedy_words, vessels, words};
use crate::plan::StepKind;
use crate::quantity::Mass;

/// Answers to a question, the usual one first.
pub fn of(bench: &Bench, batch: &Batch, prompt: PromptId, asks: &Ask) -> Vec<AnswerView> {
    let yes = |words: &str| {
        vec![AnswerView { words: words.to_owned(), act: Act::Confirm { prompt }, hold: false }]
    };
    // a yes that goes against what was wanted is held, as a remedy is
    let held = |words: &str| {
        vec![AnswerView { words: words.to_owned(), act: Act::Confirm { prompt }, hold: true }]
    };
    // and so is which vessel stands there: its material counts from then on
    let vessel = |words: &str, name: &str| {
        let (words, vessel) = (words.to_owned(), name.to_owned());
        AnswerView { words, act: Act::Vessel { prompt, vessel }, hold: true }
    };
    match asks {
        Ask::TakeShort { .. } => {
            let mut answers = yes("Leave it so");
            if acts::may_bring_down(batch) {
                answers.push(remedy(bench, batch, prompt, Remedy::BringDown, Mass::ZERO));
            }
            answers
        }
        Ask::TakeLong { .. } => yes("Leave it so"),
        Ask::Remedy { options, excess } => {
            options.iter().map(|&way| remedy(bench, batch, prompt, way, *excess)).collect()
        }
        Ask::Under { options, missing } => {
            options.iter().map(|&way| remedy(bench, batch, prompt, way, *missing)).collect()
        }
        Ask::Dissolved => yes("It is all in, and clear"),
        Ask::VesselBack { .. } => yes("Go on without it"),
        Ask::Combined => yes("The lye is in the oils"),
        Ask::CombineAnyway => held("The lye is in the oils all the same"),
        Ask::EndCookAnyway => held("End the cook all the same"),
        Ask::AddAnyway => held("It is in all the same"),
        Ask::Look => yes("I have looked"),
        Ask::Cooked => yes("It is cooked"),
        Ask::Done => yes("Done"),
        Ask::StillThere => yes("Nothing was touched"),
        Ask::SameCup { .. } => held("It is the same; some was taken out"),
        Ask::PouredIn { .. } => held("So much was poured in"),
        Ask::LighterPot { .. } => held("It is the same; no oil on record is gone"),
        Ask::PanClear => yes("The pan is clear"),
        Ask::NothingAdded { .. } => yes("Nothing was added"),
        Ask::WhichVessel { among } => {
            let named = among.iter().map(|name| vessel(&words::capitalised(name), name));
            let another = vessels::another(bench, batch, among);
            named.chain([vessel(another, vessels::ANOTHER)]).collect()
        }
        // over this there is no yes, but it was guessed by weight
        Ask::WrongVessel { vessel: guess } if guess.misfit == Some(Misfit::Attacked) => {
            vec![vessel(vessels::OF_ANOTHER_MATERIAL, vessels::ANOTHER)]
        }
        Ask::WrongVessel { vessel } => held(&format!("Use {} all the same", vessel.vessel.name)),
        Ask::LeaveUnrecorded => held("I wrote it down; go on"),
    }
}

/// What is asked, without the answers that are buttons.
pub fn question(bench: &Bench, batch: &Batch, asks: &Ask) -> String {
    let mass = |mass: Mass| words::mass(&batch.control.units, mass);
    match asks {
        Ask::TakeShort { missing } => {
            let question = format!("{} is missing. Go on adding?", mass(*missing));
            pan_press::said_with(bench, batch, question)
        }
        Ask::Remedy { excess, .. } => {
            let excess = bench.caustic_excess(&batch.id).unwrap_or(*excess);
            if let Some(remedy) = remedies::under_way(bench, batch) {
                let under_way = remedy_words::under_way(remedy);
                return format!("{} of caustic too much. {under_way}", mass(excess));
            }
            let why = match remedies::over(bench, batch).1 {
                Some(why) if !bench.is_caustic_over(&batch.id) => format!(" {why}."),
                _ => String::new(),
            };
            format!("{} of caustic too much.{why} What will you do?", mass(excess))
        }
        Ask::Under { missing, .. } => {
            format!("{} of caustic too little. What will you do?", mass(*missing))
        }
        _ => words::prompt(bench, batch, asks),
    }
}

/// One way out with its numbers, as things stand now.
fn remedy(
    bench: &Bench,
    batch: &Batch,
    prompt: PromptId,
    remedy: Remedy,
    excess: Mass,
) -> AnswerView {
    let words = match remedy {
        Remedy::SpoonOut if bench.is_caustic_over(&batch.id) => {
            let excess = bench.caustic_excess(&batch.id).unwrap_or(excess);
            format!("spoon out {}, into waste", words::mass(&batch.control.units, excess))
        }
        _ => remedies::chosen(bench, &batch.id, remedy)
            .map_or_else(|| remedy.title().to_owned(), |offer| offer.words),
    };
    AnswerView {
        words: words::capitalised(&words),
        act: Act::Choose { prompt, remedy },
        hold: true,
    }
}

/// What an operator may do without being asked.
pub fn offers(bench: &Bench, batch: &Batch) -> Vec<AnswerView> {
    let id = || batch.id.clone();
    let offer =
        |words: &str, act: Act, hold: bool| AnswerView { words: words.to_owned(), act, hold };
    let mut offers = Vec::new();
    if bench.state.batches.len() > 1
        && bench.state.scale_of(&batch.id).is_none()
        && batch.step().is_some()
    {
        offers.push(offer("Bring the scale here", Act::Scale { batch: id() }, false));
    }
    if cooking(batch).is_some() {
        let out = Act::ProbeOut { batch: id(), at: ProbeAt::Pot };
        offers.push(offer("Probe out for stirring", out, false));
    }
    if matches!(batch.step().map(|step| &step.kind), Some(StepKind::Cook(_) | StepKind::Do)) {
        for (words, observation) in OBSERVATIONS {
            let note = String::new();
            offers.push(offer(words, Act::Observe { batch: id(), observation, note }, false));
        }
    }
    if batch.said_combined && batch.detour.is_none() {
        offers.push(offer("Is the caustic right?", Act::AskRemedy { batch: id() }, false));
    }
    if batch.step().is_none() {
        let close = |outcome| Act::Close { batch: id(), outcome, note: String::new() };
        offers.push(offer("Close it: it came out", close(Outcome::Finished), false));
        offers.push(offer("Close it: it failed", close(Outcome::Failed), true));
    } else {
        let reason = "given up at the bench".to_owned();
        offers.push(offer("Give the batch up", Act::Abandon { batch: id(), reason }, true));
    }
    offers
}

/// The places whose temperature tells something now.
pub fn places(batch: &Batch) -> Vec<ProbeAt> {
    let combines = |step: &crate::plan::Step| matches!(step.kind, StepKind::Combine { .. });
    let apart = !batch.said_combined && batch.control.steps.iter().any(combines);
    match (batch.step(), apart) {
        (None, _) => Vec::new(),
        (Some(_), true) => vec![ProbeAt::Oils, ProbeAt::Lye],
        (Some(_), false) => vec![ProbeAt::Pot],
    }
}

/// Where a probe in somebody's hand may be said to be, or that it is put away.
pub fn probes(bench: &Bench, batch: &Batch) -> Vec<AnswerView> {
    let Some(setup) = bench.state.setup_ref() else { return Vec::new() };
    let in_hand = |role: &Role| matches!(role, Role::Probe { at: ProbeAt::Hand, .. });
    let hands = || setup.channels.iter().filter(|channel| in_hand(&channel.role));
    let mut offers = Vec::new();
    for hand in hands() {
        let channel = &hand.channel;
        let name = if hands().count() > 1 { format!(" {channel}") } else { String::new() };
        let mut offer = |words: String, act: Act| {
            offers.push(AnswerView { words, act, hold: false });
        };
        let held = bench.state.held.get(channel).filter(|held| held.batch == batch.id);
        for at in places(batch) {
            if held.is_none_or(|held| held.at != at) {
                let act = Act::Hold {
                    batch: batch.id.clone(),
                    channel: channel.clone(),
                    at,
                    stays: false,
                };
                offer(format!("Probe{name} is now in the {}", at.words()), act);
            }
        }
        if held.is_some() {
            offer(format!("Probe{name} put away"), Act::PutAway { channel: channel.clone() });
        }
    }
    offers
}

const OBSERVATIONS: [(&str, Observation); 6] = [
    ("I see trace", Observation::Trace),
    ("I see separation", Observation::Separation),
    ("I see paste", Observation::Paste),
    ("I see gel", Observation::Gel),
    ("It looks cooked", Observation::Cooked),
    ("I see foam", Observation::Foam),
];
