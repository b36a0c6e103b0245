//! What may be answered and done now, as buttons say it. Whether it is done is for `acts` to decide.

use super::fact::{Ask, Observation, Outcome, PromptId, Remedy};
use super::input::Act;
use super::law::Bench;
use super::progress::cooking;
use super::setup::ProbeAt;
use super::state::Batch;
use super::view::AnswerView;
use super::words;
use crate::plan::StepKind;

/// Answers to a question, the usual one first.
pub fn of(bench: &Bench, batch: &Batch, prompt: PromptId, asks: &Ask) -> Vec<AnswerView> {
    let yes = |words: &str| {
        vec![AnswerView { words: words.to_owned(), act: Act::Confirm { prompt }, hold: false }]
    };
    // a yes that goes against what was wanted is held, as a remedy is
    let held = |words: &str| {
        vec![AnswerView { words: words.to_owned(), act: Act::Confirm { prompt }, hold: true }]
    };
    match asks {
        Ask::TakeShort { .. } | Ask::TakeLong { .. } => yes("Leave it so"),
        Ask::Remedy { options, excess } => {
            let excess = bench.caustic_excess(&batch.id).unwrap_or(*excess);
            let remedy = |&remedy: &Remedy| AnswerView {
                words: words::remedy(&batch.control.units, remedy, excess),
                act: Act::Choose { prompt, remedy },
                hold: true,
            };
            options.iter().map(remedy).collect()
        }
        Ask::Dissolved => yes("It is all in, and clear"),
        Ask::VesselBack { .. } => yes("Go on without it"),
        Ask::Combined => yes("The lye is in the oils"),
        Ask::CombineAnyway => held("The lye is in the oils all the same"),
        Ask::Look => yes("I have looked"),
        Ask::Cooked => yes("It is cooked"),
        Ask::Done => yes("Done"),
        Ask::StillThere => yes("Nothing was touched"),
        Ask::LeaveUnrecorded => held("I wrote it down; go on"),
    }
}

/// What an operator may do without being asked.
pub fn offers(batch: &Batch) -> Vec<AnswerView> {
    let id = || batch.id.clone();
    let offer =
        |words: &str, act: Act, hold: bool| AnswerView { words: words.to_owned(), act, hold };
    let mut offers = Vec::new();
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

const OBSERVATIONS: [(&str, Observation); 6] = [
    ("I see trace", Observation::Trace),
    ("I see separation", Observation::Separation),
    ("I see paste", Observation::Paste),
    ("I see gel", Observation::Gel),
    ("It looks cooked", Observation::Cooked),
    ("I see foam", Observation::Foam),
];
