//! The byte tape played again, straight from the journal.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};
use serde::Serialize;

use super::args;
use super::args::Place;
use super::bench_side::read;
use super::watch::Screen;
use crate::bench::{BatchId, Numbered};
use crate::clock::{Clock, civil};
use crate::journal::{Course, JournalError, Reader};
use crate::problem::Source;
use crate::quantity::Moment;
use crate::reading::{Reading, Value};
use crate::replay::{self, OtherSheet, Pair, Player, Recording, Step, Verdict};
use crate::wire::Sheet;

/// Differences shown; `--json` has them all.
const SHOWN: usize = 20;

#[derive(Serialize)]
struct Played<T> {
    session: u32,
    #[serde(flatten)]
    what: T,
}

pub fn run(at: &Place, args: &args::Replay) -> anyhow::Result<ExitCode> {
    let path = at.folder.journal();
    if !path.exists() {
        bail!("there is no journal in {}; nothing has been recorded", path.display());
    }
    let journal = Reader::open(&path)?;
    let course = course(&journal, args)?;
    match &args.sheet {
        Some(file) => with_sheet(&journal, course, file, args),
        None => as_it_was(&journal, course, args),
    }
}

fn course(journal: &Reader, args: &args::Replay) -> anyhow::Result<Course> {
    if let Some(session) = args.session {
        return Ok(Course {
            first_session: session,
            last_session: session,
            last_fact: i64::MAX as u64,
        });
    }
    let batch = BatchId(args.batch.clone().unwrap_or_default());
    journal
        .course(&batch)?
        .with_context(|| format!("no batch has the number {batch}; see `panroom ledger`"))
}

/// Sessions of which nothing was recorded at all are passed over.
fn recordings(
    journal: &Reader,
    course: Course,
) -> impl Iterator<Item = Result<Recording, JournalError>> {
    (course.first_session..=course.last_session).map(|session| journal.recording(session)).filter(
        move |recording| {
            course.first_session == course.last_session
                || !matches!(recording, Ok(recording) if recording.facts.is_empty())
        },
    )
}

fn as_it_was(journal: &Reader, course: Course, args: &args::Replay) -> anyhow::Result<ExitCode> {
    let mut all = Vec::new();
    for recording in recordings(journal, course) {
        let recording = match recording {
            Err(JournalError::TapeDropped { session, from, to }) => {
                all.push(Played { session, what: Verdict::Dropped { from, to } });
                continue;
            }
            recording => recording?,
        };
        let session = recording.session;
        let up_to =
            (session == course.last_session && args.session.is_none()).then_some(course.last_fact);
        let (player, facts) = Player::new(recording)?;
        let verdict = play(player, &facts, up_to, args.speed)?;
        all.push(Played { session, what: verdict });
    }
    let same = all.iter().all(|played| matches!(played.what, Verdict::Same { .. }));
    let mut out = std::io::stdout();
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&all)?)?;
    } else {
        for played in &all {
            write!(out, "{}", verdict_text(journal, played)?)?;
        }
    }
    Ok(if same { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn play(
    player: Player,
    facts: &[Numbered],
    up_to: Option<u64>,
    speed: Option<u8>,
) -> anyhow::Result<Verdict> {
    // both closures look at the player; they are never called at once
    let player = std::cell::RefCell::new(player);
    let mut watched = speed.map(|speed| Watched::new(Clock::faster(u32::from(speed))));
    replay::compare(
        || player.borrow_mut().step(),
        facts,
        up_to,
        |step| match &mut watched {
            Some(watched) => watched.show(&player.borrow(), step),
            None => Ok(()),
        },
    )
}

/// A screen that sees the session again.
struct Watched {
    clock: Clock,
    screen: Screen,
    began: Option<(Moment, Moment)>,
}

impl Watched {
    fn new(clock: Clock) -> Watched {
        Watched { clock, screen: Screen::default(), began: None }
    }

    fn show(&mut self, player: &Player, step: &Step) -> anyhow::Result<()> {
        let (first, began) = *self.began.get_or_insert((step.at, self.clock.now()));
        let due = began + step.at.since(first);
        if due > self.clock.now() {
            std::thread::sleep(self.clock.until(due));
        }
        for cue in &step.cues {
            self.screen.cue(cue)?;
        }
        self.screen.view(&player.view(step.at))?;
        Ok(())
    }
}

fn verdict_text(journal: &Reader, played: &Played<Verdict>) -> anyhow::Result<String> {
    let session = played.session;
    Ok(match &played.what {
        Verdict::Same { facts } => {
            format!("session {session}: {facts} facts come out again, all the same\n")
        }
        Verdict::Differs { same, recorded, replayed } => {
            let line = |fact: &Option<Box<Numbered>>| -> anyhow::Result<String> {
                Ok(match fact {
                    None => "nothing".to_owned(),
                    Some(fact) => format!(
                        "fact {} at {}: {}",
                        fact.number,
                        precise(journal.utc_of(session, fact.at)?),
                        serde_json::to_string(&fact.fact)?
                    ),
                })
            };
            format!(
                "session {session}: {same} facts come out again; the next is another\n  recorded  \
                 {}\n  replayed  {}\n",
                line(recorded)?,
                line(replayed)?
            )
        }
        Verdict::Dropped { from, to } => {
            let (from, to) = (journal.utc_of(session, *from)?, journal.utc_of(session, *to)?);
            format!(
                "session {session}: of its tape nothing is kept from {} to {}, because it may not \
                 grow for ever; what the bench had seen until then is not known, so its facts \
                 cannot come out again\n",
                precise(from),
                precise(to)
            )
        }
        Verdict::Stopped { same, why } => {
            let mut text = format!(
                "session {session}: {same} facts come out again; then the tape cannot be played \
                 on: {why}\n"
            );
            for gap in journal.tape_gaps(session)? {
                let from = precise(journal.utc_of(session, gap.from)?);
                let to = precise(journal.utc_of(session, gap.to)?);
                text.push_str(&format!(
                    "  of {} nothing was kept from {from} to {to}: {}\n",
                    gap.of, gap.why
                ));
            }
            text
        }
    })
}

fn with_sheet(
    journal: &Reader,
    course: Course,
    file: &Path,
    args: &args::Replay,
) -> anyhow::Result<ExitCode> {
    let text = read(file, "wire sheet")?;
    let sheet = Arc::new(Sheet::read(Source { file: &file.display().to_string(), text: &text })?);
    let mut all = Vec::new();
    for session in course.first_session..=course.last_session {
        let (recording, dropped) = journal.bytes_kept(session)?;
        if course.first_session != course.last_session && recording.facts.is_empty() {
            continue;
        }
        if let Some((from, to)) = dropped.filter(|_| !args.json) {
            writeln!(
                std::io::stdout(),
                "session {session}: of its tape nothing is kept from {} to {}; what is left:",
                precise(journal.utc_of(session, from)?),
                precise(journal.utc_of(session, to)?)
            )?;
        }
        let instrument = instrument(&recording, &sheet, args.instrument.as_deref())?;
        let what = replay::other_sheet(recording, &instrument, &sheet)?;
        all.push(Played { session, what });
    }
    let mut out = std::io::stdout();
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&all)?)?;
        return Ok(ExitCode::SUCCESS);
    }
    for played in &all {
        write!(out, "{}", sheet_text(journal, played, file)?)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The one named, or the only one that was read by a sheet of this name.
fn instrument(recording: &Recording, sheet: &Sheet, named: Option<&str>) -> anyhow::Result<String> {
    let known = || {
        let line = |t: &replay::Track| format!("{} ({})", t.instrument.name, t.instrument.sheet);
        recording.tracks.iter().map(line).collect::<Vec<_>>().join(", ")
    };
    let fits = |track: &&replay::Track| match named {
        Some(name) => &*track.instrument.name == name,
        None => track.instrument.sheet == sheet.name,
    };
    let mut fitting = recording.tracks.iter().filter(fits);
    match (fitting.next(), fitting.next()) {
        (Some(track), None) => Ok(track.instrument.name.to_string()),
        (Some(_), Some(_)) => bail!(
            "several instruments were read by `{}`: {}; name one with --instrument",
            sheet.name,
            known()
        ),
        (None, _) => bail!(
            "session {} has no instrument {}; it has {}; name one with --instrument",
            recording.session,
            named.map_or_else(|| format!("read by `{}`", sheet.name), |name| format!("`{name}`")),
            known()
        ),
    }
}

fn sheet_text(
    journal: &Reader,
    played: &Played<OtherSheet>,
    file: &Path,
) -> anyhow::Result<String> {
    let Played { session, what } = played;
    let column =
        |left: &str, was: &str, would_be: &str| format!("  {left:<34} {was:<26} {would_be}\n");
    let mut text = format!("session {session}\n");
    text += &column("", "as it was read", &format!("by {}", file.display()));
    let count = |n: u64| n.to_string();
    text += &column("readings", &count(what.was.readings), &count(what.would_be.readings));
    text += &column("refused frames", &count(what.was.refused), &count(what.would_be.refused));
    for captured in &what.captures {
        let grams = |mass: crate::quantity::Mass| mass.show(crate::quantity::MassUnit::Gram, 3);
        let would_be = captured.would_be.map_or_else(|| "—".to_owned(), grams);
        let left = format!("captured: {}", captured.ingredient);
        text += &column(&left, &grams(captured.was), &would_be);
    }
    if what.different_count == 0 {
        text += "  every reading is the same\n";
        return Ok(text);
    }
    let shown = what.different.len().min(SHOWN);
    text += &format!("  {} readings differ; the first {shown}:\n", what.different_count);
    for Pair { at, channel, was, would_be } in what.different.iter().take(SHOWN) {
        let left = format!("{} {channel}", precise(journal.utc_of(*session, *at)?));
        text += &column(&left, &reading(was.as_ref()), &reading(would_be.as_ref()));
    }
    Ok(text)
}

fn reading(reading: Option<&Reading>) -> String {
    let Some(reading) = reading else { return "—".to_owned() };
    let value = match reading.value {
        Some(Value::Mass { mass, unit, decimals, .. }) => mass.show(unit, decimals),
        Some(Value::Temperature { temperature, unit, decimals }) => {
            temperature.show(unit, decimals)
        }
        None => "—".to_owned(),
    };
    format!("{value}, {}", reading.status.words())
}

/// A civil time to the millisecond.
fn precise(utc_ns: i64) -> String {
    let ms = utc_ns.div_euclid(1_000_000).rem_euclid(60_000);
    format!("{}:{:02}.{:03}", civil(utc_ns), ms / 1000, ms % 1000)
}
