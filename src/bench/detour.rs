//! Work that a remedy puts in between: steps of its own, after which the batch goes on where it
//! was. The cook goes on meanwhile, and is watched.

use super::batch::{Batch, Capture};
use super::fact::{CaptureHow, Remedy};
use super::work::Work;
use crate::chemistry::IngredientId;
use crate::plan::{Keep, Step, StepKind, Weigh};
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

    /// The remedy that is being worked: what it asks for is weighed, or taken out.
    pub fn under_way(&self) -> Option<Remedy> {
        let detour = self.detour.as_ref().filter(|_| self.weighs_for_remedy() || self.takes_out());
        detour.map(|detour| detour.remedy)
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
            weighing.displaced = weighing.lifted;
        }
        if self.said_dissolved || self.said_combined {
            // a small lye was made and used up
            self.caustic_out = false;
        }
    }

    pub(super) fn correct(&mut self, number: u64, ingredient: &IngredientId, net: Mass) {
        self.set_in_all(ingredient, net, |capture| {
            capture.how = CaptureHow::ByHand;
            capture.doubt = None;
            capture.number = number;
        });
    }

    /// Of what a vessel held, only `to` of `from` is used.
    pub(super) fn take_out(&mut self, from: Mass, to: Mass) {
        let Some(StepKind::TakeOut(take_out)) = self.step().map(|step| &step.kind) else { return };
        let take_out = take_out.clone();
        if let Keep::Mass(_) = take_out.keep {
            // what is left counts, whatever was taken out before the vessel came to the pan
            self.set_in_all(&take_out.vessel_of, to, |_| {});
            return;
        }
        let ingredients = take_out.ingredients(&self.control.formula);
        for capture in self.captures.values_mut() {
            if ingredients.contains(&capture.ingredient) {
                capture.set_net(capture.net.scaled(to, from));
            }
        }
    }

    /// What was weighed of this comes to `net` in all; `mark` sees each weighing that changes, and
    /// the first in any case.
    fn set_in_all(&mut self, ingredient: &IngredientId, net: Mass, mark: impl Fn(&mut Capture)) {
        let steps = self.control.steps.iter().chain(&self.added);
        let keys: Vec<String> = steps.map(|step| step.key.clone()).collect();
        let of_it = |key: &&String| {
            self.captures.get(*key).is_some_and(|capture| &capture.ingredient == ingredient)
        };
        let keys: Vec<&String> = keys.iter().filter(of_it).collect();
        let weighed: Vec<Mass> = keys.iter().map(|key| self.captures[*key].net).collect();
        for (place, (key, net)) in keys.into_iter().zip(spread(&weighed, net)).enumerate() {
            if let Some(capture) = self.captures.get_mut(key)
                && (place == 0 || capture.net != net)
            {
                capture.set_net(net);
                mark(capture);
            }
        }
    }
}

impl Capture {
    /// The vessel stays what it is.
    fn set_net(&mut self, net: Mass) {
        self.gross = self.gross.map(|gross| gross - self.net + net);
        self.net = net;
    }
}

/// Weighings of one ingredient, in the order of work, that come to another mass in all: the first
/// takes the change, and none falls below nought.
pub fn spread(weighed: &[Mass], in_all: Mass) -> Vec<Mass> {
    let mut more = in_all - weighed.iter().copied().sum::<Mass>();
    let mut changed = |&net: &Mass| {
        let change = more.max(-net);
        more -= change;
        net + change
    };
    weighed.iter().map(&mut changed).collect()
}
