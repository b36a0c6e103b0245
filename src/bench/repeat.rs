//! The same act twice is no error: a pedal bounces, a finger taps twice, two screens answer one
//! question. What was done is said to be done; an answer to a question that somebody else answered
//! otherwise is refused, so that nobody believes that theirs counted.

use super::batch::{Batch, Capture};
use super::fact::{BatchId, CaptureHow, Fact, Observation, PromptId, Remedy};
use super::law::Bench;
use super::refusals;
use super::state::State;
use crate::chemistry::IngredientId;
use crate::quantity::{Mass, Span};

/// So many answers are remembered: more than any screen can lag behind.
const REMEMBERED: usize = 64;
/// The same observation again within this is the same finger: ours.
const SAME_FINGER: Span = Span::from_secs(2);

/// How a question was answered.
#[derive(Clone, Debug, PartialEq)]
pub enum Answered {
    Yes,
    Remedy(Remedy),
    /// The vessel that stands there, by its name.
    Vessel(String),
}

impl State {
    /// Keeps how a question was answered, for those who answer it late.
    pub(super) fn remember_answer(&mut self, fact: &Fact) {
        match fact {
            Fact::PromptClosed { prompt, answered: true, .. } => {
                self.answers.insert(*prompt, Answered::Yes);
                while self.answers.len() > REMEMBERED {
                    self.answers.pop_first();
                }
            }
            Fact::RemedyChosen { batch, remedy, .. } => {
                self.answered_last(batch, Answered::Remedy(*remedy));
            }
            Fact::VesselSaid { batch, vessel, .. } => {
                self.answered_last(batch, Answered::Vessel(vessel.clone()));
            }
            _ => {}
        }
    }

    fn answered_last(&mut self, batch: &BatchId, how: Answered) {
        let prompt = self.batches.get(batch).and_then(|batch| batch.answered);
        if let Some(answer) = prompt.and_then(|prompt| self.answers.get_mut(&prompt)) {
            *answer = how;
        }
    }
}

/// A question that is open no more: was it answered like this?
pub fn answered_so(bench: &Bench, prompt: PromptId, with: &Answered) -> Result<(), String> {
    match bench.state.answers.get(&prompt) {
        Some(answer) if answer == with => Ok(()),
        Some(_) => Err(refusals::answered_otherwise(prompt)),
        None => Err(refusals::not_asked(prompt)),
    }
}

/// This mass has been declared already, and nothing of the kind is being weighed again.
pub fn declared(batch: &Batch, ingredient: &IngredientId, mass: Mass) -> bool {
    let weighed_now = batch.weigh().is_some_and(|(weigh, weighing)| {
        &weigh.ingredient == ingredient && weighing.captured.is_none()
    });
    let same = |capture: &Capture| {
        &capture.ingredient == ingredient
            && capture.how == CaptureHow::ByHand
            && capture.net == mass
    };
    !weighed_now && batch.captures.values().any(same)
}

/// The same was observed a moment ago.
pub fn observed(bench: &Bench, batch: &Batch, observation: Observation, note: &str) -> bool {
    batch.observed.as_ref().is_some_and(|(at, seen, words)| {
        bench.now.since(*at) < SAME_FINGER && *seen == observation && words == note
    })
}
