//! Plays a story through the bench in one thread, from deadline to deadline: ten simulated
//! minutes take milliseconds.

use std::sync::Arc;

use super::fixture::{self, SimBench};
use super::script::{Number, Script, value_of};
use super::short::{self, Asked};
use super::story::{At, Check, Does, Level, Line, Mark, Story, Term};
use super::trace::{Entry, EntryKind, Trace};
use super::world::{Event, World};
use crate::bench::{
    Act, AlarmId, BatchId, Bench, Input, JournalStatus, Reply, SessionOpened, View,
};
use crate::plan::ControlRecipe;
use crate::problem::{Problem, Problems};
use crate::quantity::{Mass, MassUnit, Moment, Span};
use crate::reading::{Channel, Reading};

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
        last_reply: None,
        trace: Trace::default(),
    };
    player.open_session(None, None);
    player.play();
    player.trace.ended = player.now;
    player.trace
}

/// What the disk does with facts.
#[derive(Clone, Copy, PartialEq)]
enum Disk {
    Quick,
    Holds,
    Fails,
}

struct Player<'a> {
    story: &'a Story,
    control: &'a Arc<ControlRecipe>,
    sim: &'a SimBench,
    bench: &'a mut Bench,
    world: Option<World>,
    script: Script,
    now: Span,
    /// A time of the story, and the same instant on the clock of the session.
    origin: (Span, Moment),
    session: u32,
    disk: Disk,
    committed: u64,
    /// The process is dead until the first; it was last alive at the second.
    down: Option<(Span, Moment)>,
    started: bool,
    closed_at: Option<Span>,
    asked: Asked,
    last_reply: Option<Reply>,
    trace: Trace,
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
                self.act(self.start(None));
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
    fn hear(&mut self) {
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

    /// Plays one line; says how long it takes.
    fn does(&mut self, line: &Line) -> Span {
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
        let batch = BatchId(BATCH.to_owned());
        Some(match does.clone() {
            Does::Start { operator } => self.start(operator),
            Does::Confirm { prompt } => {
                let asked = self.prompt();
                let Some(prompt) = prompt.map(crate::bench::PromptId).or(asked) else {
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
            Does::Declare { ingredient, mass } => Act::Declare { batch, ingredient, mass },
            Does::Observe { observation, note } => Act::Observe { batch, observation, note },
            Does::Acknowledge { alarm } => {
                let Some(alarm) = self.alarm(&alarm) else {
                    self.fail(line, "no such alarm is shown");
                    return None;
                };
                Act::Acknowledge { alarm }
            }
            Does::Silence => Act::Silence,
            Does::Advance { step } => Act::Advance { batch, step },
            Does::Abandon { reason } => Act::Abandon { batch, reason },
            Does::Close { outcome, note } => Act::Close { batch, outcome, note },
            _ => return None,
        })
    }

    fn start(&self, operator: Option<String>) -> Act {
        let (batch, control) = (BatchId(BATCH.to_owned()), Arc::clone(self.control));
        Act::Start { batch, control, operator }
    }

    fn check(&mut self, line: &Line, check: &Check) {
        let shown = short::screen(&self.view());
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
        let target = self.view().batches.first()?.weighing.as_ref()?.target;
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

    fn act(&mut self, act: Act) {
        self.started |= matches!(act, Act::Start { .. });
        self.input(&Input::Act(act));
    }

    fn input(&mut self, input: &Input) {
        if self.down.is_some() {
            return;
        }
        self.hand_over(input);
        if self.disk == Disk::Quick {
            self.commit();
        }
    }

    fn commit(&mut self) {
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
            let text = short::fact(&numbered.fact, &mut self.asked);
            self.note(EntryKind::Fact, text);
        }
        self.trace.facts.extend(output.facts);
        for cue in &output.cues {
            self.note(EntryKind::Cue, short::cue(cue));
        }
        if output.reply.is_some() {
            self.last_reply = output.reply;
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

    fn moment(&self) -> Moment {
        self.origin.1 + (self.now - self.origin.0)
    }

    fn view(&self) -> View {
        self.bench.view(self.moment())
    }

    fn prompt(&self) -> Option<crate::bench::PromptId> {
        self.view().batches.iter().find_map(|batch| batch.prompt.as_ref()).map(|asked| asked.prompt)
    }

    fn alarm(&self, name: &str) -> Option<AlarmId> {
        let view = self.view();
        let mut shown = view.alarms.into_iter().map(|alarm| alarm.alarm);
        shown.find(|alarm| short::alarm_name(alarm) == name)
    }

    fn note(&mut self, kind: EntryKind, text: String) {
        self.trace.entries.push(Entry { at: self.now, kind, text });
    }

    fn fail(&mut self, line: &Line, why: &str) {
        let at = self.now.seconds();
        self.trace.failed.push(format!("line {} ({at:.2} s), `{}`: {why}", line.number, line.text));
    }
}
