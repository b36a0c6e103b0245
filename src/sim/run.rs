//! Plays a story through the bench in one thread, from deadline to deadline: ten simulated
//! minutes take milliseconds.

use std::sync::Arc;

use super::fixture::{self, SimBench};
use super::script::Script;
use super::short::{self, Asked};
use super::story::{At, Does, Line, Story};
use super::trace::{Entry, EntryKind, Trace, Truth};
use super::world::{Event, World};
use crate::bench::{Act, BatchId, Bench, Fact, Input, JournalStatus, Reply, SessionOpened, View};
use crate::plan::ControlRecipe;
use crate::problem::{Problem, Problems};
use crate::quantity::{Moment, Span};
use crate::reading::Reading;
use crate::recipe::InPot;

/// The batch of every story.
pub const BATCH: &str = "2026-11-25-a";
/// 2026-11-25 08:00 UTC, when every story begins.
const UTC_NS: i64 = 1_795_593_600_000_000_000;
/// A session's clock begins anywhere but at nought.
const FIRST_SESSION_AT: Span = Span::from_secs(1000);
const LATER_SESSION_AT: Span = Span::from_secs(7);
/// A commit may lead to a fact that wants a commit; more rounds than this would be a loop.
const COMMITS_MAX: usize = 16;
/// A story with a hand goes on this long after its batch is closed.
const AFTER_CLOSE: Span = Span::from_secs(2);

/// Plays a story with the recipe and the bench it names.
pub fn run(story: &Story, bench: &mut Bench) -> Result<Trace, Problems> {
    let unknown = |field: &str, found: &str, known: &[&str]| {
        Problems::from(Problem {
            file: story.title.clone(),
            line: None,
            field: field.to_owned(),
            found: found.to_owned(),
            expected: format!("one of {}", known.join(", ")),
            advice: "name one of these".to_owned(),
        })
    };
    let control = fixture::recipe(&story.recipe)
        .ok_or_else(|| unknown("recipe", &story.recipe, &fixture::RECIPES))?;
    let sim = fixture::bench(&story.bench)
        .ok_or_else(|| unknown("bench", &story.bench, &fixture::BENCHES))?;
    Ok(run_with(story, &Arc::new(control), &sim, bench))
}

/// Plays a story with a recipe and a bench from elsewhere.
pub fn run_with(
    story: &Story,
    control: &Arc<ControlRecipe>,
    sim: &SimBench,
    bench: &mut Bench,
) -> Trace {
    let world = story.hand.as_ref().map(|_| World::new(story, sim).with_readings());
    let mut player = Player {
        story,
        control,
        sim,
        bench,
        world,
        script: Script::default(),
        now: Span::ZERO,
        origin: (Span::ZERO, Moment::from_nanos(0) + FIRST_SESSION_AT),
        session: 1,
        disk: Disk::Quick,
        committed: 0,
        down: None,
        started: false,
        closed_at: None,
        asked: Asked::new(),
        pot: None,
        in_pot: Vec::new(),
        last_reply: None,
        trace: Trace::default(),
    };
    player.open_session(None, None);
    player.play();
    player.trace.ended = player.now;
    player.trace
}

/// The letter of a batch other than the first.
fn whose(batch: &BatchId) -> String {
    match batch.0.rsplit_once('-') {
        Some((_, letter)) if batch.0 != BATCH => format!("{letter}: "),
        _ => String::new(),
    }
}

/// What the disk does with facts.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Disk {
    Quick,
    Holds,
    Fails,
}

pub(super) struct Player<'a> {
    pub(super) story: &'a Story,
    pub(super) control: &'a Arc<ControlRecipe>,
    pub(super) sim: &'a SimBench,
    bench: &'a mut Bench,
    world: Option<World>,
    pub(super) script: Script,
    pub(super) now: Span,
    /// A time of the story, and the same instant on the clock of the session.
    origin: (Span, Moment),
    session: u32,
    pub(super) disk: Disk,
    committed: u64,
    /// The process is dead until the first; it was last alive at the second.
    pub(super) down: Option<(Span, Moment)>,
    started: bool,
    closed_at: Option<Span>,
    asked: Asked,
    /// The batch that the present line is meant for.
    pub(super) pot: Option<char>,
    /// Said of the batch that is started next.
    pub(super) in_pot: Vec<InPot>,
    pub(super) last_reply: Option<Reply>,
    pub(super) trace: Trace,
}

impl Player<'_> {
    fn play(&mut self) {
        let story = self.story;
        let mut lines = story.inputs.iter().peekable();
        // a story with a hand and no line of its own starts its batch by itself
        let mut start_due = story.hand.is_some()
            && !story.inputs.iter().any(|line| matches!(line.does, Does::Start { .. }));
        let mut free = Span::ZERO;
        loop {
            let line_due = lines.peek().map(|line| match line.at {
                At::Time(at) => at.max(self.now),
                At::Then => free.max(self.now),
            });
            let Some(next) = self.next_instant(line_due) else { break };
            if next > story.until || self.is_over(next, line_due) {
                break;
            }
            self.now = next;
            self.hear();
            if start_due && self.now >= Span::from_millis(500) {
                start_due = false;
                for letter in ('a'..='z').take(story.pots) {
                    self.pot = Some(letter);
                    let start = self.start(None);
                    self.act(start);
                }
                self.pot = None;
            }
            if let Some(line) = lines.next_if(|_| line_due.is_some_and(|due| due <= next)) {
                if matches!(line.at, At::Time(at) if at < self.now) {
                    self.fail(line, "goes back in time");
                }
                free = self.now + self.does(line);
            }
        }
    }

    /// The earliest of all that waits.
    fn next_instant(&self, line: Option<Span>) -> Option<Span> {
        let own = [line, self.down.map(|(until, _)| until), self.world.as_ref().map(World::next)];
        // a script without lines left has nothing to say to anybody
        let script = line.and(self.script.next());
        let wakeup = self.bench.next_wakeup().filter(|_| self.down.is_none());
        let wakeup = wakeup.filter(|_| line.is_some() || self.world.is_some());
        let wakeup = wakeup.map(|at| self.origin.0 + (at - self.origin.1));
        own.into_iter().flatten().chain(script).chain(wakeup).min().map(|at| at.max(self.now))
    }

    fn is_over(&self, next: Span, line_due: Option<Span>) -> bool {
        let closed = self.closed_at.is_some_and(|at| next > at + AFTER_CLOSE);
        closed && line_due.is_none()
    }

    /// Everything due at this instant, before a line of the story is played.
    pub(super) fn hear(&mut self) {
        if let Some((until, last_seen)) = self.down
            && until <= self.now
        {
            self.rise(last_seen);
        }
        let at = self.moment();
        for reading in self.script.take(self.now, at, &self.sim.setup) {
            self.input(&Input::Reading(reading));
        }
        self.advance_world();
        if self.bench.next_wakeup().is_some_and(|due| due <= self.moment()) {
            self.input(&Input::Tick);
        }
    }

    fn advance_world(&mut self) {
        let at = self.moment();
        let Some(world) = self.world.as_mut().filter(|world| world.next() <= self.now) else {
            return;
        };
        let view = self.bench.view(at);
        if self.started && view.batches.is_empty() && self.closed_at.is_none() {
            self.closed_at = Some(self.now);
        }
        for event in world.advance(self.now, &view) {
            match event {
                Event::Bytes { .. } => {}
                Event::Reading(reading) => self.input(&Input::Reading(Reading { at, ..reading })),
                Event::Refused { instrument } => self.input(&Input::Refused { instrument }),
                Event::Unplugged { instrument } => {
                    let why = "unplugged".to_owned();
                    self.input(&Input::InstrumentLost { instrument, why });
                }
                Event::Plugged { instrument } => self.input(&Input::InstrumentBack { instrument }),
                Event::Act(act) => self.act(act),
                Event::Note(text) => self.note(EntryKind::Note, text),
            }
        }
    }

    pub(super) fn act(&mut self, act: Act) {
        self.started |= matches!(act, Act::Start { .. });
        self.input(&Input::Act(act));
    }

    pub(super) fn input(&mut self, input: &Input) {
        if self.down.is_some() {
            return;
        }
        self.hand_over(input);
        if self.disk == Disk::Quick {
            self.commit();
        }
    }

    pub(super) fn commit(&mut self) {
        for _ in 0..COMMITS_MAX {
            let up_to = self.trace.facts.last().map_or(0, |fact| fact.number);
            if up_to <= self.committed {
                return;
            }
            self.committed = up_to;
            self.hand_over(&Input::Journal(JournalStatus::Committed { up_to }));
        }
    }

    fn hand_over(&mut self, input: &Input) {
        self.trace.inputs += 1;
        let output = self.bench.handle(self.moment(), input);
        for numbered in &output.facts {
            let whose = numbered.fact.batch().map_or_else(String::new, whose);
            let text = format!("{whose}{}", short::fact(&numbered.fact, &mut self.asked));
            self.note(EntryKind::Fact, text);
            self.note_truth(&numbered.fact);
        }
        self.trace.facts.extend(output.facts);
        for cue in &output.cues {
            self.note(EntryKind::Cue, short::cue(cue));
        }
        if output.reply.is_some() {
            self.last_reply = output.reply;
        }
    }

    fn note_truth(&mut self, fact: &Fact) {
        if let Fact::Captured { batch, ingredient, net, .. } = fact
            && let Some(world) = &self.world
        {
            let really = world.really_holds(batch, ingredient).unwrap_or_default();
            let ingredient = ingredient.clone();
            self.trace.truths.push(Truth { ingredient, captured: *net, really });
        }
    }

    fn open_session(&mut self, unwatched: Option<Span>, last_seen: Option<Moment>) {
        let opened = SessionOpened {
            session: self.session,
            setup: self.sim.setup.clone(),
            utc_ns: UTC_NS.saturating_add(self.now.nanos()),
            unwatched,
            last_seen,
        };
        self.input(&Input::Session(opened));
    }

    /// The process starts again, with what the disk held.
    fn rise(&mut self, last_seen: Moment) {
        let unwatched = self.moment().since(last_seen);
        self.down = None;
        self.trace.facts.retain(|fact| fact.number <= self.committed);
        *self.bench = Bench::recover(&self.trace.facts);
        self.origin = (self.now, Moment::from_nanos(0) + LATER_SESSION_AT);
        self.session += 1;
        self.open_session(Some(unwatched), Some(last_seen));
    }

    pub(super) fn moment(&self) -> Moment {
        self.origin.1 + (self.now - self.origin.0)
    }

    pub(super) fn view(&self) -> View {
        self.bench.view(self.moment())
    }

    fn note(&mut self, kind: EntryKind, text: String) {
        self.trace.entries.push(Entry { at: self.now, kind, text });
    }

    pub(super) fn fail(&mut self, line: &Line, why: &str) {
        let at = self.now.seconds();
        self.trace.failed.push(format!("line {} ({at:.2} s), `{}`: {why}", line.number, line.text));
    }
}
