use std::sync::Arc;

use super::alarm::{AlarmId, Priority};
use super::batch::Batch;
use super::cue::Cue;
use super::fact::{Ask, BatchId, Fact, Numbered, PromptId, SessionOpened};
use super::input::{Input, JournalStatus};
use super::senses::{LyeSense, Sense, Senses};
use super::settings::Settings;
use super::setup::{ChannelSetup, ProbeAt};
use super::state::State;
use super::view::View;
use super::{
    acts, in_pot, leases, pace, pan_press, picture, progress, remedies, spot, takeout, watches,
    weighing, words, zeroing,
};
use crate::quantity::Moment;
use crate::reading::Reading;

/// The bench: what the facts add up to, and what the instruments lately said.
///
/// The contract: one input, then facts and cues until nothing more follows from it, then the next
/// input. Facts change the state only through [`State::apply`], so folding the facts of the
/// journal gives the same state.
#[derive(Clone, Debug, Default)]
pub struct Bench {
    pub(super) state: State,
    pub(super) senses: Senses,
    pub(super) now: Moment,
    output: Output,
}

/// What one input led to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Output {
    pub facts: Vec<Numbered>,
    pub cues: Vec<Cue>,
    /// What an instrument is to be told.
    pub orders: Vec<Order>,
    /// The answer to an act.
    pub reply: Option<Reply>,
}

/// What an instrument is to be told, by the command of its wire sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    Zero { instrument: String },
}

/// The answer to an act, for the screen that sent it.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reply {
    Done,
    /// The same act was done before; nothing changed.
    AlreadyDone,
    Refused {
        words: String,
        /// What is asked instead, if anything.
        prompt: Option<PromptId>,
    },
}

/// More rounds than this from one input would be a rule that undoes another.
const ROUNDS_MAX: usize = 64;
/// After a long sleep of the machine, so many deadlines are honoured one by one.
const WAKEUPS_MAX: usize = 256;

impl Bench {
    pub fn new() -> Bench {
        Bench::default()
    }

    /// The bench as the journal left it. The next input must be [`Input::Session`].
    pub fn recover<'a>(facts: impl IntoIterator<Item = &'a Numbered>) -> Bench {
        let mut bench = Bench::new();
        for numbered in facts {
            bench.state.apply(numbered);
        }
        bench.senses.committed = bench.state.last_number;
        bench
    }

    /// Takes one input. Deadlines that lie before it are honoured first, in their order.
    pub fn handle(&mut self, now: Moment, input: &Input) -> Output {
        if matches!(input, Input::Session(_)) {
            // a session has its own clock, and no deadline of the one before is left on it
            self.now = now;
        } else {
            self.wake_until(now);
        }
        self.take(input);
        self.settle();
        std::mem::take(&mut self.output)
    }

    fn wake_until(&mut self, now: Moment) {
        for _ in 0..WAKEUPS_MAX {
            match self.next_wakeup() {
                Some(deadline) if deadline <= now => {
                    self.now = deadline;
                    self.settle();
                }
                _ => break,
            }
        }
        self.now = self.now.max(now);
    }

    /// When the bench must be woken if nothing else happens. Always later than the last input.
    pub fn next_wakeup(&self) -> Option<Moment> {
        let due = watches::deadlines(self).into_iter().chain(progress::deadlines(self));
        let due = due.chain(pace::deadlines(self)).chain(zeroing::deadlines(self));
        due.filter(|&deadline| deadline > self.now).min()
    }

    pub fn view(&self, now: Moment) -> View {
        picture::view(self, now.max(self.now))
    }

    /// What the facts add up to.
    pub fn state(&self) -> &State {
        &self.state
    }

    pub(super) fn settings(&self) -> &Settings {
        static DEFAULT: std::sync::LazyLock<Settings> = std::sync::LazyLock::new(Settings::default);
        self.state.setup_ref().map_or(&DEFAULT, |setup| &setup.settings)
    }

    fn settings_shared(&self) -> Arc<Settings> {
        self.state.setup_ref().map(|setup| Arc::clone(&setup.settings)).unwrap_or_default()
    }

    pub(super) fn sense(&self, setup: &ChannelSetup) -> Option<&Sense> {
        self.senses.channels.get(&setup.channel)
    }

    /// Records a fact, and says and sounds what goes with it.
    pub(super) fn emit(&mut self, fact: Fact) {
        let numbered = Numbered { number: self.state.last_number + 1, at: self.now, fact };
        self.state.apply(&numbered);
        match &numbered.fact {
            Fact::StepBegun { batch, .. } => self.forget_step(&batch.clone()),
            Fact::LeaseTaken { channel, .. } => leases::forget(self, channel),
            Fact::BatchClosed { batch, .. } => {
                self.senses.lyes.remove(batch);
            }
            _ => {}
        }
        if !matches!(numbered.fact, Fact::AlarmChanged { .. } | Fact::Noticed { .. }) {
            self.senses.heavy = remedies::heavy(self);
        }
        if let Some(words) = words::said_of(self, &numbered.fact) {
            self.cue(Cue::Say { words });
        }
        self.output.facts.push(numbered);
    }

    pub(super) fn cue(&mut self, cue: Cue) {
        self.output.cues.push(cue);
    }

    pub(super) fn order(&mut self, order: Order) {
        self.output.orders.push(order);
    }

    pub(super) fn reply(&mut self, reply: Reply) {
        self.output.reply = Some(reply);
    }

    pub(super) fn sound(&mut self, alarm: &AlarmId, priority: Priority, words: String) {
        self.senses.sounded.insert(alarm.clone(), self.now);
        self.cue(Cue::Sound { alarm: alarm.clone(), priority, words });
    }

    pub(super) fn ask(&mut self, batch: &BatchId, asks: Ask) {
        let prompt = PromptId(self.state.last_prompt + 1);
        self.emit(Fact::PromptRaised { batch: batch.clone(), prompt, asks });
    }

    pub(super) fn withdraw_prompt(&mut self, batch: &BatchId) {
        let open = self.state.batches.get(batch).and_then(|batch| batch.prompt.as_ref());
        if let Some(prompt) = open.map(|prompt| prompt.id) {
            self.emit(Fact::PromptClosed { batch: batch.clone(), prompt, answered: false });
        }
    }

    pub(super) fn batch(&self, id: &BatchId) -> Option<&Batch> {
        self.state.batches.get(id)
    }

    /// The channel of the scale this batch weighs on, to note something volatile about it.
    pub(super) fn scale_sense_mut(&mut self, id: &BatchId) -> Option<&mut Sense> {
        let channel = self.state.scale_of(id)?.0.channel.clone();
        self.senses.channels.get_mut(&channel)
    }

    pub(super) fn probe_sense_mut(&mut self, id: &BatchId, at: ProbeAt) -> Option<&mut Sense> {
        let channel = self.state.probe_of(id, at)?.channel.clone();
        self.senses.channels.get_mut(&channel)
    }

    /// The scale was silent long enough to have taken another zero, or was told to take one, and
    /// has not been compared yet.
    pub(super) fn scale_doubted(&self, id: &BatchId) -> bool {
        let scale = self.state.scale_of(id).and_then(|(channel, _)| self.sense(channel));
        scale.is_some_and(|sense| sense.doubted) || zeroing::is_open_for(self, id)
    }

    /// Nothing may be read off the load: the zero is in doubt.
    pub(super) fn load_is_doubted(&self, id: &BatchId) -> bool {
        let doubted = self
            .batch(id)
            .and_then(Batch::weigh)
            .is_some_and(|(_, weighing)| weighing.zero_doubted && weighing.tare.is_some());
        doubted || self.scale_doubted(id)
    }

    pub(super) fn step_key(&self, id: &BatchId) -> String {
        let step = self.batch(id).and_then(Batch::step);
        step.map(|step| step.key.clone()).unwrap_or_default()
    }

    fn forget_step(&mut self, batch: &BatchId) {
        if let Some(lye) = self.probe_sense_mut(batch, ProbeAt::Lye) {
            lye.peak = None;
            lye.peak_is_whole = true;
        }
        let lye = LyeSense { since: self.now, peak: None };
        self.senses.lyes.insert(batch.clone(), lye);
        // how fast the pot warmed before says nothing about this step
        if let Some(pot) = self.probe_sense_mut(batch, ProbeAt::Pot) {
            pot.heating = None;
        }
        if self.batch(batch).is_some_and(|batch| batch.detour.is_none()) {
            self.senses.cooks.remove(batch);
        }
        if let Some(sense) = self.scale_sense_mut(batch) {
            sense.forget_step();
        }
    }

    fn take(&mut self, input: &Input) {
        match input {
            Input::Session(session) => self.open_session(session),
            Input::Reading(reading) => self.take_reading(reading),
            // a frame that may not be read tells nothing; silence grows by itself
            Input::Refused { .. } | Input::Tick => {}
            Input::InstrumentLost { instrument, why } => self.lose(instrument, why),
            Input::InstrumentBack { instrument } => {
                if self.state.lost.contains_key(instrument) {
                    self.emit(Fact::InstrumentBack { instrument: instrument.clone() });
                }
            }
            Input::Act(act) => acts::take(self, act),
            Input::Journal(status) => self.take_journal(status),
            Input::Hearing { audible } => self.senses.audible = *audible,
        }
    }

    fn open_session(&mut self, session: &SessionOpened) {
        let committed = self.senses.committed;
        self.senses = Senses { committed, ..Senses::default() };
        self.emit(Fact::SessionOpened(session.clone()));
        takeout::doubt_the_zero(self);
        leases::take_new_probes(self);
    }

    fn take_reading(&mut self, reading: &Reading) {
        let settings = self.settings_shared();
        let Some(setup) = self.state.setup_ref().and_then(|s| s.channel(&reading.channel)) else {
            return;
        };
        let setup = setup.clone();
        if self.state.lost.contains_key(&setup.instrument) {
            // it speaks, whether or not anybody said that it is back
            self.emit(Fact::InstrumentBack { instrument: setup.instrument.clone() });
        }
        let out = self.is_channel_shelved(&setup);
        let allowed = self.allowed_age(&setup);
        let sense = self.senses.channels.entry(reading.channel.clone()).or_default();
        sense.take(reading, &setup, &settings, allowed);
        if out {
            // the way out of the pot and back into it is no heating of the pot
            sense.heating = None;
        }
    }

    fn lose(&mut self, instrument: &str, why: &str) {
        if self.state.lost.get(instrument).is_some_and(|known| known == why) {
            return;
        }
        self.emit(Fact::InstrumentLost { instrument: instrument.to_owned(), why: why.to_owned() });
        let channels: Vec<_> = self
            .state
            .setup_ref()
            .map(|setup| setup.fed_by(instrument).map(|c| c.channel.clone()).collect())
            .unwrap_or_default();
        for channel in channels {
            if let Some(sense) = self.senses.channels.get_mut(&channel) {
                sense.lose();
            }
        }
    }

    fn take_journal(&mut self, status: &JournalStatus) {
        match status {
            JournalStatus::Committed { up_to } => {
                let before = self.senses.committed;
                self.senses.committed = before.max(*up_to);
                if let Some((since, _)) = self.state.journal_lost {
                    self.emit(Fact::JournalBack { away: self.now.since(since) });
                }
                for words in words::recorded(&self.state, before, *up_to) {
                    self.cue(Cue::Say { words });
                }
            }
            JournalStatus::Failed { why } => {
                if self.state.journal_lost.is_none() {
                    self.emit(Fact::JournalLost { why: why.clone() });
                }
            }
        }
    }

    fn settle(&mut self) {
        for _ in 0..ROUNDS_MAX {
            let before = self.output.facts.len();
            spot::run(self);
            watches::run(self);
            pan_press::run(self);
            leases::run(self);
            zeroing::run(self);
            weighing::run(self);
            progress::run(self);
            in_pot::run(self);
            remedies::run(self);
            if self.output.facts.len() == before {
                break;
            }
        }
        watches::sound_again(self);
    }
}
