//! What each fact of a batch changes in it: the only way a batch changes.

use super::batch::{Batch, Capture, Prompt, Spot, TestState};
use super::fact::{Ask, CaptureHow, Fact, Notice, PromptId, Target};
use super::vessels::Recognised;
use super::work::{Cooking, Stopwatch, TakingOut, Unlike, Weighing, Work};
use crate::chemistry::IngredientId;
use crate::plan::{StepKind, Vessel};
use crate::quantity::{Mass, Moment};

impl Batch {
    pub(super) fn apply(&mut self, number: u64, at: Moment, fact: &Fact) {
        match fact {
            Fact::StepBegun { step, target, clocked, .. } => {
                self.begin(at, step, *target, *clocked);
            }
            Fact::StepDone { .. } => self.finish_step(),
            Fact::Tared { gross, vessel, .. } => self.tare(*gross, vessel.as_ref()),
            Fact::Captured { step, ingredient, net, gross, how, doubt, .. } => {
                self.capture(number, at, step, ingredient, *net, *gross, (*how, *doubt));
            }
            Fact::Reopened { .. } => self.reopen(),
            Fact::ZeroChecked { offset, .. } => self.move_zero(*offset),
            Fact::InPot { ingredient, mass, doubt, .. } => {
                self.in_pot.insert(ingredient.clone(), (*mass, *doubt));
            }
            Fact::VesselBack { ingredient, verdict, .. } => {
                self.vessels_back.insert(ingredient.clone(), *verdict);
            }
            Fact::LyeJudged { verdict, .. } => self.lye_judged = Some(*verdict),
            Fact::Tested { test, passed, attempt, .. } => {
                let state = TestState { attempts: *attempt, passed: *passed };
                self.tests.insert(test.clone(), state);
            }
            Fact::SpotRead { at: place, temperature, read_at, channel, .. } => {
                let (temperature, read_at) = (*temperature, *read_at);
                let spot = Spot { temperature, read_at, channel: channel.clone() };
                self.spots.insert(*place, spot);
            }
            Fact::RemedyChosen { remedy, steps, .. } => self.set_out(*remedy, steps),
            Fact::BroughtDown { step, from, to, .. } => {
                self.brought_down.insert(step.clone(), (*from, *to));
            }
            Fact::Corrected { ingredient, net, .. } => self.correct(number, ingredient, *net),
            Fact::TakenOut { from, to, .. } => self.take_out(*from, *to),
            Fact::PromptRaised { prompt, asks, .. } => {
                self.prompt = Some(Prompt { id: *prompt, asks: asks.clone(), asked_at: at });
            }
            Fact::PromptClosed { prompt, answered, .. } => self.close_prompt(*prompt, *answered),
            Fact::Observed { observation, note, .. } => {
                self.observed = Some((at, *observation, note.clone()));
            }
            // what else changes anything changes the work of the present step
            _ => {
                self.apply_to_pan(fact);
                self.apply_to_cook(at, fact);
            }
        }
    }

    fn apply_to_pan(&mut self, fact: &Fact) {
        match (&mut self.work, fact) {
            (Work::Weighing(weighing), Fact::Lifted { .. }) => {
                weighing.lifted = true;
                weighing.displaced = false;
            }
            (Work::Weighing(weighing), Fact::Returned { lighter_by, heavier_by, .. }) => {
                let lighter = lighter_by.map(|by| Unlike::Lighter { by });
                weighing.unlike = lighter.or(heavier_by.map(|by| Unlike::Heavier { by }));
                weighing.lifted = false;
                weighing.zero_known = false;
                weighing.changed_before_lift = None;
            }
            (Work::Weighing(weighing), Fact::ZeroDoubted { expected, .. }) => {
                weighing.zero_doubted = true;
                weighing.expected = Some(*expected);
            }
            (
                Work::Weighing(weighing),
                Fact::Noticed { notice: Notice::ChangedBeforeLift { by }, .. },
            ) => weighing.changed_before_lift = Some(*by),
            (Work::Weighing(weighing), Fact::Retargeted { target, .. }) => {
                weighing.target = *target;
            }
            (Work::TakingOut(taking), Fact::ContentWeighed { content, keep, .. }) => {
                taking.from = Some((*content, *keep));
            }
            _ => {}
        }
    }

    /// A cook goes on while a remedy is weighed for it.
    fn apply_to_cook(&mut self, at: Moment, fact: &Fact) {
        let Work::Cooking(cooking) = self.main_work_mut() else { return };
        match fact {
            Fact::WindowReached { .. } => cooking.reached = true,
            Fact::CookClock { runs, since, .. } => {
                cooking.begun = true;
                cooking.time.set(*runs, *since);
            }
            Fact::LookDue { .. } => {
                cooking.look_due = Some(at);
                cooking.look_now = false;
            }
            Fact::LookMade { .. } => {
                cooking.look_due = None;
                cooking.since_look = Stopwatch::started(at);
            }
            _ => {}
        }
    }

    fn tare(&mut self, gross: Mass, vessel: Option<&Recognised>) {
        let into_pot = self.weigh().is_some_and(|(weigh, _)| weigh.into == Vessel::Pot);
        if into_pot && vessel.is_some() {
            self.pot_vessel = vessel.cloned();
        }
        if into_pot {
            // some of what it held may be gone
            self.pot_gross = self.pot_gross.map(|_| gross);
        }
        if let Some(weighing) = self.weighing_mut() {
            weighing.tare = Some(gross);
            weighing.vessel = vessel.cloned();
            weighing.unlike = None;
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
                displaced: false,
                captured: None,
                unconfirmed: false,
                unlike: None,
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
        weighing.unlike = None;
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
            Some(StepKind::Combine { .. }) => {
                self.pot_gross = None;
                // a stock lye is never dissolved
                self.caustic_out = false;
            }
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
                Some(Ask::SameCup { .. } | Ask::PouredIn { .. }) => weighing.unlike = None,
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
