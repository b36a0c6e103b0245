//! One batch: what its own facts add up to.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::detour::Detour;
use super::fact::{
    Ask, BackVerdict, BatchId, CaptureHow, Fact, Notice, Observation, PromptId, Target,
};
use super::setup::ProbeAt;
use super::vessels::Recognised;
use crate::chemistry::{DissolveVerdict, IngredientId, Masses};
use crate::plan::{ControlRecipe, Step, StepKind, Vessel, Weigh};
use crate::quantity::{Mass, Moment, Span, Temperature};
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
pub enum Work {
    /// The step has not begun, or the batch has no more steps.
    Between,
    Weighing(Weighing),
    /// For the operator's word.
    Waiting,
    Cooking(Cooking),
    TakingOut(TakingOut),
}

/// What a vessel held when it came to the pan, and what is to be left in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TakingOut {
    pub from: Option<(Mass, Mass)>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Weighing {
    pub target: Target,
    pub tare: Option<Mass>,
    /// The vessel of the register that it was taken for.
    pub vessel: Option<Recognised>,
    pub lifted: bool,
    pub captured: Option<Moment>,
    /// Nobody watched for a while: what is on the pan is unknown until confirmed.
    pub unconfirmed: bool,
    /// The caustic's cup came back lighter by so much than it left, and nobody has said that it is the same.
    pub lighter_by: Option<Mass>,
    /// After a silence the pan does not carry what the books say.
    pub zero_doubted: bool,
    /// The empty pan has just been seen: whatever comes back is counted from it.
    pub zero_known: bool,
    /// What the books say the pan carries.
    pub expected: Option<Mass>,
    /// More was on the pan just before the captured vessel was lifted.
    pub changed_before_lift: Option<Mass>,
    /// The operator goes on though the capture is not on the disk.
    pub leave_unrecorded: bool,
}

impl Weighing {
    /// What is to be asked of the vessel before anything is captured.
    pub fn doubt(&self) -> Option<Ask> {
        if self.unconfirmed {
            return Some(Ask::StillThere);
        }
        self.lighter_by.map(|lighter_by| Ask::SameCup { lighter_by })
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Cooking {
    /// Counts from when the pot has reached its window, while somebody knows how hot it is.
    pub time: Stopwatch,
    /// Cook time has begun to count.
    pub begun: bool,
    pub since_look: Stopwatch,
    /// Since when a look is due.
    pub look_due: Option<Moment>,
    /// Nobody watched for a while: look at once.
    pub look_now: bool,
    /// Long enough inside the window to be watched for falling out of it.
    pub reached: bool,
}

/// Counts watched time only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stopwatch {
    before: Span,
    /// `None` while it stands still.
    since: Option<Moment>,
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

impl Stopwatch {
    pub const fn started(at: Moment) -> Stopwatch {
        Stopwatch { before: Span::ZERO, since: Some(at) }
    }

    pub const fn standing() -> Stopwatch {
        Stopwatch { before: Span::ZERO, since: None }
    }

    pub const fn runs(&self) -> bool {
        self.since.is_some()
    }

    pub fn elapsed(&self, now: Moment) -> Span {
        self.before + self.since.map_or(Span::ZERO, |since| now.since(since))
    }

    /// When `span` will have been counted, if it runs and watching goes on.
    pub fn reaches(&self, span: Span) -> Option<Moment> {
        self.since.map(|since| since + (span - self.before))
    }

    fn set(&mut self, runs: bool, at: Moment) {
        self.before = self.elapsed(at);
        self.since = runs.then_some(at);
    }

    /// What was counted of the session before; it stands still until it is set going.
    fn carry_over(&mut self, last_seen: Option<Moment>) {
        self.before = last_seen.map_or(self.before, |last_seen| self.elapsed(last_seen));
        self.since = None;
    }
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

    pub(super) fn apply(&mut self, number: u64, at: Moment, fact: &Fact) {
        match fact {
            Fact::StepBegun { step, target, clocked, .. } => {
                self.begin(at, step, *target, *clocked);
            }
            Fact::Tared { gross, vessel, .. } => self.tare(*gross, vessel.as_ref()),
            Fact::Lifted { .. } => {
                if let Some(weighing) = self.weighing_mut() {
                    weighing.lifted = true;
                }
            }
            Fact::Returned { lighter_by, .. } => {
                if let Some(weighing) = self.weighing_mut() {
                    weighing.lighter_by = *lighter_by;
                    weighing.lifted = false;
                    weighing.zero_known = false;
                    weighing.changed_before_lift = None;
                }
            }
            Fact::InPot { ingredient, mass, doubt, .. } => {
                self.in_pot.insert(ingredient.clone(), (*mass, *doubt));
            }
            Fact::Captured { step, ingredient, net, gross, how, doubt, .. } => {
                self.capture(number, at, step, ingredient, *net, *gross, (*how, *doubt));
            }
            Fact::Reopened { .. } => self.reopen(),
            Fact::VesselBack { ingredient, verdict, .. } => {
                self.vessels_back.insert(ingredient.clone(), *verdict);
            }
            Fact::LyeJudged { verdict, .. } => self.lye_judged = Some(*verdict),
            Fact::ZeroDoubted { expected, .. } => {
                if let Some(weighing) = self.weighing_mut() {
                    weighing.zero_doubted = true;
                    weighing.expected = Some(*expected);
                }
            }
            Fact::ZeroChecked { offset, .. } => self.move_zero(*offset),
            Fact::Noticed { notice: Notice::ChangedBeforeLift { by }, .. } => {
                if let Some(weighing) = self.weighing_mut() {
                    weighing.changed_before_lift = Some(*by);
                }
            }
            Fact::WindowReached { .. } => {
                let detour = self.detour.as_mut().map(|detour| detour.resume.as_mut());
                if let Work::Cooking(cooking) = detour.unwrap_or(&mut self.work) {
                    cooking.reached = true;
                }
            }
            Fact::CookClock { runs, since, .. } => {
                let detour = self.detour.as_mut().map(|detour| detour.resume.as_mut());
                if let Work::Cooking(cooking) = detour.unwrap_or(&mut self.work) {
                    cooking.begun = true;
                    cooking.time.set(*runs, *since);
                }
            }
            Fact::Tested { test, passed, attempt, .. } => {
                let state = TestState { attempts: *attempt, passed: *passed };
                self.tests.insert(test.clone(), state);
            }
            Fact::SpotRead { at: place, temperature, read_at, channel, .. } => {
                let (temperature, read_at) = (*temperature, *read_at);
                let spot = Spot { temperature, read_at, channel: channel.clone() };
                self.spots.insert(*place, spot);
            }
            Fact::StepDone { .. } => self.finish_step(),
            Fact::RemedyChosen { remedy, steps, .. } => self.set_out(*remedy, steps),
            Fact::BroughtDown { step, from, to, .. } => {
                self.brought_down.insert(step.clone(), (*from, *to));
            }
            Fact::Corrected { ingredient, net, .. } => self.correct(number, ingredient, *net),
            Fact::Retargeted { target, .. } => {
                if let Some(weighing) = self.weighing_mut() {
                    weighing.target = *target;
                }
            }
            Fact::ContentWeighed { content, keep, .. } => {
                if let Work::TakingOut(taking) = &mut self.work {
                    taking.from = Some((*content, *keep));
                }
            }
            Fact::TakenOut { from, to, .. } => self.take_out(*from, *to),
            Fact::PromptRaised { prompt, asks, .. } => {
                self.prompt = Some(Prompt { id: *prompt, asks: asks.clone(), asked_at: at });
            }
            Fact::PromptClosed { prompt, answered, .. } => self.close_prompt(*prompt, *answered),
            Fact::LookDue { .. } => {
                if let Work::Cooking(cooking) = self.main_work_mut() {
                    cooking.look_due = Some(at);
                    cooking.look_now = false;
                }
            }
            Fact::LookMade { .. } => {
                if let Work::Cooking(cooking) = self.main_work_mut() {
                    cooking.look_due = None;
                    cooking.since_look = Stopwatch::started(at);
                }
            }
            Fact::Observed { observation, note, .. } => {
                self.observed = Some((at, *observation, note.clone()));
            }
            // facts of the record that change nothing the bench decides by
            _ => {}
        }
    }

    fn tare(&mut self, gross: Mass, vessel: Option<&Recognised>) {
        let into_pot = self.weigh().is_some_and(|(weigh, _)| weigh.into == Vessel::Pot);
        if into_pot && vessel.is_some() {
            self.pot_vessel = vessel.cloned();
        }
        if let Some(weighing) = self.weighing_mut() {
            weighing.tare = Some(gross);
            weighing.vessel = vessel.cloned();
            weighing.lifted = false;
        }
    }

    fn begin(&mut self, at: Moment, key: &str, target: Option<Target>, clocked: bool) {
        match &mut self.detour {
            Some(detour) => {
                let place = self.added.iter().position(|step| step.key == key);
                detour.at = place.unwrap_or(detour.at);
            }
            None => {
                let place = self.control.steps.iter().position(|step| step.key == key);
                self.step = place.unwrap_or(self.step);
            }
        }
        self.work = match (self.step().map(|step| &step.kind), target) {
            (Some(StepKind::Weigh(_)), Some(target)) => Work::Weighing(Weighing {
                target,
                tare: None,
                vessel: None,
                lifted: false,
                captured: None,
                unconfirmed: false,
                lighter_by: None,
                zero_doubted: false,
                zero_known: false,
                expected: None,
                changed_before_lift: None,
                leave_unrecorded: false,
            }),
            (Some(StepKind::Cook(_)), _) => Work::Cooking(Cooking {
                time: if clocked { Stopwatch::standing() } else { Stopwatch::started(at) },
                begun: !clocked,
                since_look: Stopwatch::started(at),
                look_due: None,
                look_now: false,
                reached: false,
            }),
            (Some(StepKind::TakeOut(_)), _) => Work::TakingOut(TakingOut::default()),
            _ => Work::Waiting,
        };
    }

    #[expect(clippy::too_many_arguments, reason = "the fields of one fact")]
    fn capture(
        &mut self,
        number: u64,
        at: Moment,
        step: &str,
        ingredient: &IngredientId,
        net: Mass,
        gross: Option<Mass>,
        (how, doubt): (CaptureHow, Option<Mass>),
    ) {
        let into_pot = self.weigh().is_some_and(|(weigh, _)| weigh.into == Vessel::Pot);
        let Some(weighing) = self.weighing_mut() else { return };
        weighing.captured = Some(at);
        weighing.unconfirmed = false;
        weighing.lighter_by = None;
        let target = weighing.target;
        // what was in the pot from the start changes nothing of what the pot weighs
        if into_pot && !(gross.is_none() && self.in_pot.contains_key(ingredient)) {
            self.pot_gross = gross;
        }
        self.caustic_out |= target.guard.is_some();
        let (ingredient, zero) = (ingredient.clone(), self.zero);
        let capture = Capture { ingredient, target, net, gross, zero, how, doubt, number };
        self.captures.insert(step.to_owned(), capture);
    }

    fn reopen(&mut self) {
        if let Some(key) = self.weigh().and(self.step()).map(|step| step.key.clone()) {
            self.captures.remove(&key);
            self.brought_down.remove(&key);
        }
        if let Some(weighing) = self.weighing_mut() {
            weighing.captured = None;
            weighing.changed_before_lift = None;
        }
    }

    /// The empty pan reads `offset`: all that was counted from the old zero moves with it.
    fn move_zero(&mut self, offset: Mass) {
        self.count_from(offset);
        if let Some(weighing) = self.weighing_mut() {
            weighing.zero_doubted = false;
            weighing.expected = None;
            weighing.zero_known = true;
            weighing.lifted = true;
        }
    }

    pub(super) fn count_from(&mut self, zero: Mass) {
        let moved = zero - self.zero;
        self.zero = zero;
        self.pot_gross = self.pot_gross.map(|gross| gross + moved);
        if let Some(weighing) = self.weighing_mut() {
            weighing.tare = weighing.tare.map(|tare| tare + moved);
        }
    }

    fn finish_step(&mut self) {
        match self.step().map(|step| &step.kind) {
            Some(StepKind::Dissolve) => self.caustic_out = false,
            Some(StepKind::Combine { .. }) => self.pot_gross = None,
            _ => {}
        }
        if self.detour.is_some() {
            self.go_on_detour();
            return;
        }
        self.step += 1;
        self.work = Work::Between;
    }

    fn close_prompt(&mut self, prompt: PromptId, answered: bool) {
        let asks = self.prompt.take().map(|prompt| prompt.asks);
        if !answered {
            return;
        }
        self.answered = Some(prompt);
        match asks {
            Some(Ask::Dissolved) => self.said_dissolved = true,
            Some(Ask::Combined | Ask::CombineAnyway) => self.said_combined = true,
            _ => {}
        }
        if let Some(weighing) = self.weighing_mut() {
            match asks {
                Some(Ask::StillThere) => weighing.unconfirmed = false,
                Some(Ask::SameCup { .. }) => weighing.lighter_by = None,
                Some(Ask::LeaveUnrecorded) => weighing.leave_unrecorded = true,
                Some(Ask::NothingAdded { .. }) => weighing.changed_before_lift = None,
                _ => {}
            }
        }
    }

    pub(super) fn carry_over(&mut self, last_seen: Option<Moment>, at: Moment) {
        self.observed = None;
        // read on the clock of a session that is over: how old it is nobody can say
        self.spots.clear();
        if let Some(prompt) = &mut self.prompt {
            prompt.asked_at = at;
        }
        if let Some(detour) = &mut self.detour {
            detour.resume.carry_over(last_seen, at);
        }
        self.work.carry_over(last_seen, at);
    }
}

impl Work {
    fn carry_over(&mut self, last_seen: Option<Moment>, at: Moment) {
        match self {
            Work::Weighing(weighing) => {
                weighing.unconfirmed = weighing.tare.is_some() && weighing.captured.is_none();
                weighing.captured = weighing.captured.map(|_| at);
            }
            Work::Cooking(cooking) => {
                cooking.time.carry_over(last_seen);
                cooking.since_look.carry_over(last_seen);
                cooking.since_look.set(true, at);
                cooking.look_due = cooking.look_due.map(|_| at);
                cooking.look_now = cooking.look_due.is_none();
            }
            Work::Between | Work::Waiting | Work::TakingOut(_) => {}
        }
    }
}
