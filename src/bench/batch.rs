//! One batch: what its own facts add up to. How they do is in `fold`.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::detour::Detour;
use super::fact::{Ask, BackVerdict, BatchId, CaptureHow, Observation, PromptId, Target};
use super::settings::Marks;
use super::setup::ProbeAt;
use super::vessels::Recognised;
use super::work::{Weighing, Work};
use crate::chemistry::{DissolveVerdict, IngredientId, Masses};
use crate::plan::{ControlRecipe, Step, StepKind, Weigh};
use crate::quantity::{Mass, Moment, Temperature};
use crate::reading::Channel;

#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    pub id: BatchId,
    pub control: Arc<ControlRecipe>,
    pub step: usize,
    pub work: Work,
    /// By the key of the step that weighed it.
    pub captures: BTreeMap<String, Capture>,
    /// The pot with its contents, as last captured; unknown once lye has gone in.
    pub pot_gross: Option<Mass>,
    /// The vessel of the register that the pot was taken for.
    pub pot_vessel: Option<Recognised>,
    /// Oils that were in the pot from the start, by the operator's word: how much, and ±.
    pub in_pot: BTreeMap<IngredientId, (Mass, Option<Mass>)>,
    /// Weighed and not yet dissolved.
    pub caustic_out: bool,
    pub prompt: Option<Prompt>,
    /// What the empty pan reads, since the scale took another zero.
    pub zero: Mass,
    /// The operator has said that all caustic is in the liquid.
    pub said_dissolved: bool,
    /// What the peak of the lye has said.
    pub lye_judged: Option<DissolveVerdict>,
    /// The operator has said that the lye is in the oils.
    pub said_combined: bool,
    /// Vessels that have come back to the pan, or will not.
    pub vessels_back: BTreeMap<IngredientId, BackVerdict>,
    /// The prompt answered last.
    pub answered: Option<PromptId>,
    /// What was observed last.
    pub observed: Option<(Moment, Observation, String)>,
    /// Too much caustic has been poured in this batch, whatever became of it.
    pub over_poured: bool,
    /// The tests of the soap so far.
    pub tests: BTreeMap<String, TestState>,
    /// What was last read at one spot or by hand, each with its age.
    pub spots: BTreeMap<ProbeAt, Spot>,
    /// Every step that remedies have put in between.
    pub added: Vec<Step>,
    /// Where among them the batch is; afterwards it goes on where it was.
    pub detour: Option<Detour>,
    /// All that is still to come is brought down by these, since an ingredient ran out, by the
    /// step that weighed it: from what was planned of it to what there was.
    pub brought_down: BTreeMap<String, (Mass, Mass)>,
}

/// One test of the soap: how often, and what the newest attempt says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TestState {
    pub attempts: u32,
    pub passed: Option<bool>,
}

/// Where a hand-held probe is.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    pub batch: BatchId,
    pub at: ProbeAt,
    pub since: Moment,
    /// `None`: it stays until it is said otherwise.
    pub until: Option<Moment>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    pub temperature: Temperature,
    pub read_at: Moment,
    /// `None`: typed by hand.
    pub channel: Option<Channel>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    pub ingredient: IngredientId,
    pub target: Target,
    pub net: Mass,
    pub gross: Option<Mass>,
    /// What the empty pan read then.
    pub zero: Mass,
    pub how: CaptureHow,
    /// How good a declared mass is, ±, where it was said.
    pub doubt: Option<Mass>,
    /// The number of the fact, to tell whether it is on the disk.
    pub number: u64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Prompt {
    pub id: PromptId,
    pub asks: Ask,
    pub asked_at: Moment,
}

impl Batch {
    pub(super) fn new(id: &BatchId, control: &Arc<ControlRecipe>) -> Batch {
        Batch {
            id: id.clone(),
            control: Arc::clone(control),
            step: 0,
            work: Work::Between,
            captures: BTreeMap::new(),
            pot_gross: None,
            pot_vessel: None,
            in_pot: BTreeMap::new(),
            caustic_out: false,
            prompt: None,
            zero: Mass::ZERO,
            said_dissolved: false,
            lye_judged: None,
            said_combined: false,
            vessels_back: BTreeMap::new(),
            answered: None,
            observed: None,
            over_poured: false,
            tests: BTreeMap::new(),
            spots: BTreeMap::new(),
            added: Vec::new(),
            detour: None,
            brought_down: BTreeMap::new(),
        }
    }

    /// `None` when all steps are done.
    pub fn step(&self) -> Option<&Step> {
        match &self.detour {
            Some(detour) => self.added.get(detour.at),
            None => self.control.steps.get(self.step),
        }
    }

    pub fn weigh(&self) -> Option<(&Weigh, &Weighing)> {
        match (&self.step()?.kind, &self.work) {
            (StepKind::Weigh(weigh), Work::Weighing(weighing)) => Some((weigh, weighing)),
            _ => None,
        }
    }

    /// The step weighs caustic: it has a guard.
    pub fn weighs_caustic(&self) -> bool {
        self.weigh().is_some_and(|(_, weighing)| weighing.target.guard.is_some())
    }

    /// Something is taken out of a vessel: dry caustic, or lye.
    pub fn takes_out(&self) -> bool {
        matches!(self.step().map(|step| &step.kind), Some(StepKind::TakeOut(_)))
    }

    /// The remedy itself is what is weighed.
    pub fn weighs_for_remedy(&self) -> bool {
        let weighs = matches!(self.step().map(|step| &step.kind), Some(StepKind::Weigh(_)));
        self.detour.is_some() && weighs
    }

    /// The caustic of a small lye is weighed, and nobody has said that it is in the pot.
    pub fn has_small_lye(&self) -> bool {
        self.detour.is_some() && self.said_combined && self.caustic_out
    }

    /// Caustic is being weighed, or is weighed and not known to be dissolved.
    pub fn has_caustic(&self) -> bool {
        self.caustic_out || self.weighs_caustic()
    }

    /// A cup of it is being filled, or stands somewhere filled.
    pub fn has_caustic_cup(&self) -> bool {
        // after dissolving it is that of a small lye
        let open = !self.said_dissolved || self.detour.is_some();
        self.weighs_caustic() || (self.caustic_out && open)
    }

    pub fn masses(&self) -> Masses {
        let mut masses = Masses::new();
        for capture in self.captures.values() {
            *masses.entry(capture.ingredient.clone()).or_default() += capture.net;
        }
        masses
    }

    /// The first weighing of this ingredient; more of it may have been added since.
    pub fn first_capture(&self, ingredient: &IngredientId) -> Option<&Capture> {
        let of_it = |capture: &&Capture| &capture.ingredient == ingredient;
        self.captured().map(|(_, capture)| capture).find(of_it)
    }

    /// This load is its pot with what it holds, as last captured.
    pub fn is_its_pot(&self, gross: Mass, marks: Marks) -> bool {
        self.pot_gross.is_some_and(|pot| (pot - gross).abs() <= marks.same)
    }

    /// What the vessel in which this was weighed reads empty, on the zero of today.
    pub fn empty_vessel(&self, ingredient: &IngredientId) -> Option<Mass> {
        let capture = self.first_capture(ingredient)?;
        Some(capture.gross? - capture.net + (self.zero - capture.zero))
    }

    pub(super) fn weighing_mut(&mut self) -> Option<&mut Weighing> {
        match &mut self.work {
            Work::Weighing(weighing) => Some(weighing),
            _ => None,
        }
    }
}
