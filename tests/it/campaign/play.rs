//! Plays one batch: bench and simulated world in one thread, from event to event.

use std::sync::Arc;

use panroom::bench::View;
use panroom::bench::{Act, Bench, Fact, Input, JournalStatus, Numbered, Output, SessionOpened};
use panroom::quantity::{Mass, MassUnit, Moment, Span};
use panroom::reading::{Reading, Value};
use panroom::sim::fixture::{self, SimBench};
use panroom::sim::{Event, World};

use super::Tally;
use super::batch_id;
use super::checks::Checks;
use super::trouble::{LONGEST, Trouble};

const STARTS_AT: Span = Span::from_millis(500);
/// A commit may lead to a fact that wants a commit.
const COMMITS_MAX: usize = 16;

pub struct Play<'a> {
    seed: u64,
    trouble: &'a Trouble,
    sim: SimBench,
    bench: Bench,
    world: World,
    facts: Vec<Numbered>,
    committed: u64,
    /// A time of the story, and the same instant on the clock of the session.
    origin: (Span, Moment),
    session: u32,
    /// Dead until the first; last alive at the second.
    down: Option<(Span, Moment)>,
    checks: Checks,
    tally: Tally,
    /// Tells acts with their replies, and facts, as they come.
    aloud: bool,
}

impl<'a> Play<'a> {
    pub fn new(seed: u64, trouble: &'a Trouble) -> Play<'a> {
        let sim = fixture::standard();
        Play {
            seed,
            trouble,
            world: World::new(&trouble.story, &sim).with_readings(),
            sim,
            bench: Bench::new(),
            facts: Vec::new(),
            committed: 0,
            origin: (Span::ZERO, Moment::from_nanos(0) + Span::from_secs(1000)),
            session: 1,
            down: None,
            checks: Checks::new(trouble.scale_lies()),
            tally: Tally::default(),
            aloud: false,
        }
    }

    pub fn aloud(self) -> Play<'a> {
        Play { aloud: true, ..self }
    }

    pub fn run(mut self) -> Tally {
        for kind in &self.trouble.kinds {
            *self.tally.faults.entry(kind).or_default() += 1;
        }
        self.open_session(Span::ZERO, None);
        let control = Arc::new(fixture::three_oils());
        let batch = batch_id();
        self.input(STARTS_AT, &Input::Act(Act::start(batch, control)));
        let mut now = STARTS_AT;
        let ended = loop {
            now = self.world.next().max(now);
            if let Some((until, last_seen)) = self.down.filter(|(until, _)| *until <= now) {
                self.rise(until, last_seen);
            }
            self.maybe_kill(now);
            let view = if self.down.is_some() { View::default() } else { self.view(now) };
            if self.down.is_none() && view.batches.is_empty() {
                break now;
            }
            if now >= LONGEST {
                let standing = standing(&view);
                self.tally.stuck.push(format!("seed {} waits: {standing}", self.seed));
                break now;
            }
            if self.down.is_none() {
                let world = &self.world;
                self.checks.watch_caustic(self.seed, now, &view, world, &mut self.tally);
            }
            for event in self.world.advance(now, &view) {
                self.take(now, event);
            }
        };
        self.tally.hours = ended.seconds() / 3600.0;
        self.tally.batches = 1;
        self.conclude();
        self.tally
    }

    fn conclude(&mut self) {
        let closed = self.facts.iter().find_map(|numbered| match &numbered.fact {
            Fact::BatchClosed { outcome, .. } => Some(*outcome),
            _ => None,
        });
        match closed {
            Some(panroom::bench::Outcome::Finished) => self.tally.finished += 1,
            Some(_) => self.tally.abandoned += 1,
            None => {}
        }
        let nothing_wrong = self.trouble.is_none();
        self.checks.conclude(self.seed, &self.facts, &self.bench, nothing_wrong);
    }

    fn take(&mut self, now: Span, event: Event) {
        match event {
            Event::Reading(mut reading) => {
                let at = reading.at.since(Moment::from_nanos(0));
                reading.at = self.moment(at);
                if self.trouble.unit_unsaid {
                    without_unit(&mut reading);
                }
                self.checks.heard(now, &reading);
                self.input(at, &Input::Reading(reading));
            }
            Event::Refused { instrument } => self.input(now, &Input::Refused { instrument }),
            Event::Unplugged { instrument } => {
                let why = "unplugged".to_owned();
                self.input(now, &Input::InstrumentLost { instrument, why });
            }
            Event::Plugged { instrument } => self.input(now, &Input::InstrumentBack { instrument }),
            Event::Act(act) => self.input(now, &Input::Act(act)),
            Event::Bytes { .. } | Event::Note(_) => {}
        }
    }

    fn input(&mut self, at: Span, input: &Input) {
        if self.down.is_some() {
            return;
        }
        self.hand_over(at, input);
        for _ in 0..COMMITS_MAX {
            let up_to = self.facts.last().map_or(0, |fact| fact.number);
            if up_to <= self.committed {
                break;
            }
            let fails = self
                .trouble
                .disk_fails
                .is_some_and(|(from, lasts)| from <= at && at < from + lasts);
            if fails {
                let why = "no space left".to_owned();
                self.hand_over(at, &Input::Journal(JournalStatus::Failed { why }));
                break;
            }
            self.committed = up_to;
            self.hand_over(at, &Input::Journal(JournalStatus::Committed { up_to }));
        }
    }

    fn hand_over(&mut self, at: Span, input: &Input) {
        self.tally.inputs += 1;
        let output = self.bench.handle(self.moment(at), input);
        let new = output.facts.len();
        if self.aloud {
            tell(at, input, &output);
        }
        self.facts.extend(output.facts);
        if new > 0 {
            let (old, fresh) = self.facts.split_at(self.facts.len() - new);
            let view = self.bench.view(self.moment(at));
            self.checks.facts(self.seed, old, fresh, &view, &self.world, &mut self.tally);
            if self.facts.len() % 16 < new {
                let folded = Bench::recover(&self.facts);
                assert_eq!(folded.state(), self.bench.state(), "facts alone rebuild the state");
            }
            self.checks.view(&view, self.committed, &self.facts);
        }
    }

    fn maybe_kill(&mut self, now: Span) {
        let Some((at, lasts)) = self.trouble.killed else { return };
        if self.session == 1 && self.down.is_none() && at <= now {
            self.down = Some((now + lasts, self.moment(now)));
        }
    }

    /// The process starts again, with what the disk held.
    fn rise(&mut self, until: Span, last_seen: Moment) {
        self.down = None;
        let committed = self.committed;
        self.facts.retain(|fact| fact.number <= committed);
        let before = self.bench.state().clone();
        self.bench = Bench::recover(&self.facts);
        let whole = self.facts.last().map_or(0, |fact| fact.number) == before.last_number;
        if whole {
            assert_eq!(*self.bench.state(), before, "the same after a restart");
        }
        self.origin = (until, Moment::from_nanos(0) + Span::from_secs(7));
        self.session += 1;
        self.tally.restarts += 1;
        self.checks.restarted(&self.bench.view(Moment::from_nanos(0)));
        if !whole {
            self.checks.lost_the_record(&self.world);
        }
        self.open_session(until, Some(last_seen));
    }

    fn open_session(&mut self, at: Span, last_seen: Option<Moment>) {
        let opened = SessionOpened {
            session: self.session,
            setup: self.sim.setup.clone(),
            utc_ns: 1_795_593_600_000_000_000,
            unwatched: last_seen.map(|_| Span::from_secs(30)),
            last_seen,
        };
        self.input(at, &Input::Session(opened));
    }

    fn view(&self, now: Span) -> View {
        self.bench.view(self.moment(now))
    }

    fn moment(&self, at: Span) -> Moment {
        self.origin.1 + (at - self.origin.0).max(Span::ZERO)
    }
}

fn tell(at: Span, input: &Input, output: &Output) {
    if let Input::Act(act) = input {
        println!("{:8.1} s  {act:?} → {:?}", at.seconds(), output.reply);
    }
    for fact in &output.facts {
        println!("{:8.1} s      {:?}", at.seconds(), fact.fact);
    }
}

/// The number stays, its unit is lost: ounces are taken for grams.
fn without_unit(reading: &mut Reading) {
    if let Some(Value::Mass { mass, unit, unit_on_wire, .. }) = &mut reading.value {
        let number = mass.in_unit(*unit);
        *mass = Mass::from_grams_rounded(number);
        *unit = MassUnit::Gram;
        *unit_on_wire = false;
    }
}

/// What a batch that does not come to its end is waiting for.
fn standing(view: &View) -> String {
    let Some(batch) = view.batches.first() else { return "nothing on a dead bench".to_owned() };
    let phase = batch.weighing.as_ref().map(|weighing| weighing.phase);
    let scale = &view.channels[0];
    format!(
        "{} {phase:?} {:?} {} (scale {:?}, {:?}, stable {})",
        batch.step,
        batch.prompt.as_ref().map(|prompt| &prompt.asks),
        batch.sentence,
        scale.value,
        scale.status,
        scale.stable
    )
}
