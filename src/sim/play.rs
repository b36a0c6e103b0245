//! What each line of a story does.

use std::sync::Arc;

use super::run::{BATCH, Disk, Player};
use super::script::{Number, value_of};
use super::short;
use super::story::{Check, Does, Level, Line, Mark, Term};
use crate::bench::{Act, AlarmId, BatchId, Input, JournalStatus, PromptId, View};
use crate::quantity::{Mass, MassUnit, Span};
use crate::reading::{Channel, Reading};

impl Player<'_> {
    /// Plays one line; says how long it takes.
    pub(super) fn does(&mut self, line: &Line) -> Span {
        self.pot = line.pot;
        match &line.does {
            Does::Wait(span) => return *span,
            Does::Moves { channel, to, per_second, status } => {
                let number = self.number(line, to);
                let channel = Channel::new(channel);
                let lasts = self.script.moves(&channel, self.now, number, *per_second, *status);
                return lasts.unwrap_or_else(|| {
                    self.fail(line, "this channel reads nothing yet, or something of another kind");
                    Span::ZERO
                });
            }
            Does::Restart { after } => {
                self.down = Some((self.now + *after, self.moment()));
                return *after;
            }
            Does::Check(check) => self.check(line, check),
            Does::Reading { .. } | Does::Reads { .. } | Does::Silent { .. } => self.says(line),
            Does::Refused { instrument } => {
                self.input(&Input::Refused { instrument: instrument.clone() });
            }
            Does::Lost { instrument, why } => {
                self.hush(instrument, true);
                let (instrument, why) = (instrument.clone(), why.clone());
                self.input(&Input::InstrumentLost { instrument, why });
            }
            Does::Back { instrument } => {
                self.hush(instrument, false);
                self.input(&Input::InstrumentBack { instrument: instrument.clone() });
            }
            Does::JournalFails { why } => {
                self.disk = Disk::Fails;
                self.input(&Input::Journal(JournalStatus::Failed { why: why.clone() }));
            }
            Does::JournalHolds => self.disk = Disk::Holds,
            Does::JournalCommits => {
                self.disk = Disk::Quick;
                self.commit();
            }
            Does::Tick => self.input(&Input::Tick),
            Does::Hearing { audible } => self.input(&Input::Hearing { audible: *audible }),
            does => {
                if let Some(act) = self.act_of(line, does) {
                    self.act(act);
                }
            }
        }
        Span::ZERO
    }

    fn says(&mut self, line: &Line) {
        match &line.does {
            Does::Reading { channel, level, status } => {
                let number = self.number(line, level);
                let channel = Channel::new(channel);
                let role = self.sim.setup.channel(&channel).map(|known| known.role);
                let (at, value) = (self.moment(), value_of(number, role));
                let status = *status;
                self.input(&Input::Reading(Reading { channel, at, value, status }));
            }
            Does::Reads { channel, level, status } => {
                let number = self.number(line, level);
                self.script.reads(&Channel::new(channel), self.now, number, *status);
                self.hear();
            }
            Does::Silent { channel } => {
                self.script.hush(&Channel::new(channel), true, self.now);
            }
            _ => {}
        }
    }

    fn act_of(&mut self, line: &Line, does: &Does) -> Option<Act> {
        let batch = self.batch_id();
        Some(match does.clone() {
            Does::Start { operator } => self.start(operator),
            Does::Confirm { prompt } => {
                let asked = self.prompt();
                let Some(prompt) = prompt.map(PromptId).or(asked) else {
                    self.fail(line, "nothing is asked");
                    return None;
                };
                Act::Confirm { prompt }
            }
            Does::Choose { remedy } => {
                let Some(prompt) = self.prompt() else {
                    self.fail(line, "nothing is asked");
                    return None;
                };
                Act::Choose { prompt, remedy }
            }
            Does::Vessel { vessel } => {
                let Some(prompt) = self.prompt() else {
                    self.fail(line, "nothing is asked");
                    return None;
                };
                Act::Vessel { prompt, vessel }
            }
            Does::Correct { ingredient, mass, reason } => {
                Act::Correct { batch, ingredient, mass, reason }
            }
            Does::Lot { lot } => Act::Lot { batch, lot },
            Does::AskRemedy => Act::AskRemedy { batch },
            Does::InPot(said) => {
                if self.view().batches.iter().any(|open| open.batch == batch) {
                    self.fail(line, "what is in the pot is said before the start");
                }
                self.in_pot.push(said);
                return None;
            }
            Does::Declare { ingredient, mass } => Act::Declare { batch, ingredient, mass },
            Does::Observe { observation, note } => Act::Observe { batch, observation, note },
            Does::Acknowledge { alarm } => {
                let Some(alarm) = self.alarm(&alarm) else {
                    self.fail(line, "no such alarm is shown");
                    return None;
                };
                Act::Acknowledge { alarm }
            }
            Does::ProbeOut { at } => Act::ProbeOut { batch, at },
            Does::Hold { channel, at, stays } => {
                Act::Hold { batch, channel: Channel::new(&channel), at, stays }
            }
            Does::PutAway { channel } => Act::PutAway { channel: Channel::new(&channel) },
            Does::Measured { at, temperature } => Act::Measured { batch, at, temperature },
            Does::Test { test, method, sample, value } => {
                Act::Test { batch, test, method, sample, value }
            }
            Does::TakeScale => Act::Scale { batch },
            Does::TakeZero { channel } => Act::Zero { channel: Channel::new(&channel) },
            Does::TakeProbe { channel } => Act::Probe { batch, channel: Channel::new(&channel) },
            Does::Emergency => Act::Emergency,
            Does::Silence => Act::Silence,
            Does::Advance { step } => Act::Advance { batch, step },
            Does::Abandon { reason } => Act::Abandon { batch, reason },
            Does::Close { outcome, note } => Act::Close { batch, outcome, note },
            _ => return None,
        })
    }

    pub(super) fn start(&mut self, operator: Option<String>) -> Act {
        let (batch, control) = (self.batch_id(), Arc::clone(self.control));
        Act::Start { batch, control, operator, in_pot: std::mem::take(&mut self.in_pot) }
    }

    /// The second batch of a story is called b, on the same day.
    fn batch_id(&self) -> BatchId {
        let day = BATCH.trim_end_matches(char::is_alphabetic);
        BatchId(self.pot.map_or_else(|| BATCH.to_owned(), |letter| format!("{day}{letter}")))
    }

    /// The screen, of one batch only where a line names it.
    fn shown(&self) -> View {
        let mut view = self.view();
        if self.pot.is_some() {
            let meant = self.batch_id();
            view.batches.retain(|batch| batch.batch == meant);
            view.alarms.retain(|alarm| alarm.alarm.batch().is_none_or(|batch| *batch == meant));
        }
        view
    }

    fn check(&mut self, line: &Line, check: &Check) {
        let shown = short::screen(&self.shown());
        let on_screen = |begins: &String| shown.iter().any(|line| line.starts_with(begins));
        let reply = self.last_reply.as_ref().map(short::reply);
        let so = match check {
            Check::Seen(begins) => self.trace.seen(begins),
            Check::Unseen(begins) => !self.trace.seen(begins),
            Check::Screen(begins) => on_screen(begins),
            Check::ScreenNot(begins) => !on_screen(begins),
            Check::Answer(word) => reply == Some(word.as_str()),
        };
        if !so {
            let shown = shown.join("; ");
            let answer = reply.unwrap_or("none");
            self.fail(
                line,
                &format!("is not so; the last answer was {answer}; on screen: {shown}"),
            );
        }
    }

    fn number(&mut self, line: &Line, level: &Level) -> Number {
        let terms = match level {
            Level::None => return Number::None,
            Level::Temperature(temperature) => return Number::Temperature(*temperature),
            Level::Mass(terms) => terms,
        };
        let mut sum = Mass::ZERO;
        for term in terms {
            match self.term(term) {
                Some(mass) => sum += mass,
                None => self.fail(line, "no such vessel, or nothing is weighed that has this mark"),
            }
        }
        Number::Mass(sum)
    }

    fn term(&self, term: &Term) -> Option<Mass> {
        let mark = match term {
            Term::Mass(mass) => return Some(*mass),
            Term::Vessel(name) => return self.sim.vessels.get(name).copied(),
            Term::Mark(mark) => mark,
        };
        let target = self.shown().batches.first()?.weighing.as_ref()?.target;
        let d = self.sim.setup.scale().map_or(MassUnit::Gram.one(), |(_, facts)| facts.d);
        Some(match mark {
            Mark::Target => target.mass,
            Mark::Low => target.low,
            Mark::High => target.high,
            Mark::Guard => target.guard?.mass.floor_to(d),
        })
    }

    fn hush(&mut self, instrument: &str, quiet: bool) {
        for channel in self.sim.setup.fed_by(instrument) {
            self.script.hush(&channel.channel, quiet, self.now);
        }
    }

    fn prompt(&self) -> Option<PromptId> {
        self.shown()
            .batches
            .iter()
            .find_map(|batch| batch.prompt.as_ref())
            .map(|asked| asked.prompt)
    }

    fn alarm(&self, name: &str) -> Option<AlarmId> {
        let view = self.shown();
        let mut shown = view.alarms.into_iter().map(|alarm| alarm.alarm);
        shown.find(|alarm| short::alarm_name(alarm) == name)
    }
}
