//! Work that a remedy puts in between: steps of its own, after which the batch goes on where it
//! was. The cook goes on meanwhile, and is watched.

use super::batch::{Batch, Capture};
use super::fact::Remedy;
use super::work::Work;
use crate::chemistry::IngredientId;
use crate::plan::{Step, StepKind, Weigh};
use crate::quantity::Mass;

#[derive(Clone, Debug, PartialEq)]
pub struct Detour {
    pub remedy: Remedy,
    /// Its present step and the end of its steps, among all that were ever added.
    pub at: usize,
    pub end: usize,
    /// What the batch was at.
    pub resume: Box<Work>,
}

impl Batch {
    /// What the batch is at, apart from any detour: the cook goes on while oil is weighed.
    pub fn main_work(&self) -> (Option<&Step>, &Work) {
        let work = self.detour.as_ref().map_or(&self.work, |detour| &detour.resume);
        (self.control.steps.get(self.step), work)
    }

    pub(super) fn main_work_mut(&mut self) -> &mut Work {
        match &mut self.detour {
            Some(detour) => &mut detour.resume,
            None => &mut self.work,
        }
    }

    /// The remedy that is being worked.
    pub fn under_way(&self) -> Option<Remedy> {
        self.detour.as_ref().map(|detour| detour.remedy)
    }

    /// All weighings that stand, in the order of work.
    pub fn captured(&self) -> impl Iterator<Item = (&Weigh, &Capture)> {
        self.control.steps.iter().chain(&self.added).filter_map(|step| match &step.kind {
            StepKind::Weigh(weigh) => Some((weigh, self.captures.get(&step.key)?)),
            _ => None,
        })
    }

    /// The soap is in its mould, or on its way there.
    pub fn is_moulding(&self) -> bool {
        let steps = self.control.steps.iter().take(self.step + 1);
        self.step >= self.control.steps.len() || steps.into_iter().any(|step| step.moulding)
    }

    pub(super) fn set_out(&mut self, remedy: Remedy, steps: &[Step]) {
        if steps.is_empty() {
            return;
        }
        let at = self.added.len();
        self.added.extend_from_slice(steps);
        let end = self.added.len();
        let resume = std::mem::replace(&mut self.work, Work::Between);
        // a remedy chosen while another is under way replaces what is left of it
        let resume = self.detour.take().map_or(Box::new(resume), |detour| detour.resume);
        self.detour = Some(Detour { remedy, at, end, resume });
    }

    /// The present step of the detour is done.
    pub(super) fn go_on_detour(&mut self) {
        let Some(detour) = &mut self.detour else { return };
        detour.at += 1;
        self.work = Work::Between;
        if detour.at < detour.end {
            return;
        }
        if let Some(detour) = self.detour.take() {
            self.work = *detour.resume;
        }
        if let Some(weighing) = self.weighing_mut() {
            // its vessel has made room for those of the remedy
            weighing.lifted = weighing.tare.is_some();
        }
        if self.said_dissolved || self.said_combined {
            // a small lye was made and used up
            self.caustic_out = false;
        }
    }

    pub(super) fn correct(&mut self, number: u64, ingredient: &IngredientId, net: Mass) {
        let rest: Mass = self.masses().get(ingredient).copied().unwrap_or_default();
        let first = self.captures.values_mut().find(|capture| &capture.ingredient == ingredient);
        if let Some(capture) = first {
            // what was added later stays as it is
            let more = net - rest;
            capture.net += more;
            // the vessel stays what it is
            capture.gross = capture.gross.map(|gross| gross + more);
            capture.how = super::fact::CaptureHow::ByHand;
            capture.doubt = None;
            capture.number = number;
        }
    }

    /// Of what a vessel held, only `to` of `from` is used.
    pub(super) fn take_out(&mut self, from: Mass, to: Mass) {
        let Some(StepKind::TakeOut(take_out)) = self.step().map(|step| &step.kind) else { return };
        let ingredients = take_out.ingredients(&self.control.formula);
        for capture in self.captures.values_mut() {
            if ingredients.contains(&capture.ingredient) {
                let (net, gross) = (capture.net, capture.gross);
                capture.net = net.scaled(to, from);
                // the vessel stays what it is
                capture.gross = gross.map(|gross| gross - net + capture.net);
            }
        }
    }
}
