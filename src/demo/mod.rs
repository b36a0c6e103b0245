//! A short batch before your eyes: a simulated bench writes real bytes to pseudo-terminals, and
//! the real daemon reads them as it would read any instrument. The daemon never knows.

mod pty;
mod rig;

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::bench::{BatchId, Outcome};
use crate::bench_file::BenchFile;
use crate::cli::Screen;
use crate::clock::{Clock, civil};
use crate::daemon::{self, Daemon, Folder, PageOptions};
use crate::journal::Reader;
use crate::problem::Source;
use crate::quantity::Span;
use crate::review;
use crate::sim::{self, Story};
use crate::web::StartRequest;
use crate::wire::SheetLibrary;

use rig::Rig;

pub use pty::SimPort;

/// What to show, and how fast.
pub struct Options {
    pub story: &'static str,
    /// Times as fast as life, 1 to 10.
    pub speed: u8,
    /// Where the journal goes; a new folder among the temporary ones otherwise.
    pub folder: Option<Folder>,
    /// Where the page is served, if it is.
    pub page: Option<PageOptions>,
    /// The hands pour, and whoever sits at the page answers.
    pub play: bool,
}

const RECIPE: &str = include_str!("recipe.toml");
const RECIPE_LYE_FIRST: &str = include_str!("recipe-lye-first.toml");
const BENCH: &str = include_str!("bench.toml");
const BENCH_THREE: &str = include_str!("bench-three.toml");
const STORIES: &[(&str, &str)] = &[
    ("all-right", include_str!("stories/all-right.story")),
    ("caustic-over", include_str!("stories/caustic-over.story")),
    ("scale-unplugged", include_str!("stories/scale-unplugged.story")),
    ("three-pots", include_str!("stories/three-pots.story")),
    ("boil-over-near", include_str!("stories/boil-over-near.story")),
    ("broken-probe", include_str!("stories/broken-probe.story")),
    ("scale-asleep", include_str!("stories/scale-asleep.story")),
    ("unit-key", include_str!("stories/unit-key.story")),
    ("caustic-late", include_str!("stories/caustic-late.story")),
    ("lye-first", include_str!("stories/lye-first.story")),
];
const WIDTH: usize = 100;

/// Makes the batch, shows it, and prints its review.
///
/// # Errors
/// When the system gives no pseudo-terminals, the folder cannot be used, or the batch does not
/// come to its end in the time the story allows.
pub async fn run(options: Options) -> anyhow::Result<ExitCode> {
    let story = story(options.story)?;
    let folder = options.folder.unwrap_or_else(own_folder);
    let clock = Clock::faster(u32::from(options.speed));
    announce(&story, options.speed)?;
    let ports = folder.path().join("ports");
    std::fs::create_dir_all(&ports)
        .with_context(|| format!("folder {} cannot be made", ports.display()))?;
    let bench_file = bench_file(&ports, story.pots)?;
    let mut rig = Rig::new(&story, &bench_file, &clock, options.play)?;
    let daemon = daemon::start(daemon::Options {
        folder: folder.clone(),
        bench_file,
        // a bench of its own, made anew each time
        bench_path: None,
        sheets: SheetLibrary::built_in()?,
        clock: clock.clone(),
        page: options.page,
    })
    .await?;
    if let Some(gate) = &daemon.gate {
        crate::cli::show_page(&gate.address())?;
    }
    let until = (!options.play).then_some(story.until);
    let played = play(&daemon, &mut rig, &story, until, &clock).await;
    if options.play && played.is_ok() {
        stay().await?;
    }
    daemon.stop().await?;
    conclude(&folder, &played?)
}

/// A visitor may still be reading.
async fn stay() -> anyhow::Result<()> {
    writeln!(std::io::stdout(), "The batch is closed. The page stays until you press Ctrl-C.")?;
    tokio::signal::ctrl_c().await.context("no signal can be waited for")
}

/// The names of the stories there are.
pub fn stories() -> impl Iterator<Item = &'static str> {
    STORIES.iter().map(|(name, _)| *name)
}

async fn play(
    daemon: &Daemon,
    rig: &mut Rig,
    story: &Story,
    until: Option<Span>,
    clock: &Clock,
) -> anyhow::Result<Vec<BatchId>> {
    let mut screen = Screen::default();
    let mut views = daemon.desk.views();
    let mut cues = daemon.desk.cues();
    let (file, text) = match story.recipe.as_str() {
        "lye-first" => ("Lantern Bar", RECIPE_LYE_FIRST),
        _ => ("Lantern Soap", RECIPE),
    };
    let request = StartRequest {
        file: file.to_owned(),
        text: text.to_owned(),
        operator: None,
        ..StartRequest::default()
    };
    let mut batches = Vec::new();
    for _ in 0..story.pots {
        let started = daemon.desk.start(request.clone()).await;
        batches.push(started.map_err(anyhow::Error::msg)?);
    }
    let began = clock.now();
    loop {
        rig.advance(&daemon.desk).await?;
        while let Ok(cue) = cues.try_recv() {
            screen.cue(&cue)?;
        }
        if views.has_changed().unwrap_or(false) {
            views.mark_unchanged();
            let view = daemon.desk.view();
            screen.view(&view)?;
            if view.batches.is_empty() && clock.now().since(began).seconds() > 1.0 {
                return Ok(batches);
            }
        }
        if let Some(until) = until.filter(|&until| clock.now().since(began) > until) {
            bail!("not every batch came to its end within {until}");
        }
        rig.rest().await;
    }
}

fn conclude(folder: &Folder, batches: &[BatchId]) -> anyhow::Result<ExitCode> {
    let journal = Reader::open(&folder.journal())?;
    let mut out = std::io::stdout();
    for batch in batches {
        let review = daemon::review_of(&journal, batch)?
            .with_context(|| format!("batch {batch} is not in the journal"))?;
        writeln!(out, "\n{}", review::text(&review, WIDTH, &civil))?;
    }
    writeln!(out, "The journal lies in {}", folder.journal().display())?;
    for batch in batches {
        let folder = folder.path().display();
        writeln!(out, "Look again with: panroom --data {folder} review {batch}")?;
    }
    let rows = journal.batches()?;
    let finished = |batch: &BatchId| {
        let row = rows.iter().find(|row| &row.batch == batch);
        row.and_then(|row| row.outcome) == Some(Outcome::Finished)
    };
    Ok(if batches.iter().all(finished) { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn announce(story: &Story, speed: u8) -> std::io::Result<()> {
    let mut out = std::io::stdout();
    writeln!(out, "{} — {speed} times as fast as life, on a simulated bench.", story.title)?;
    if !out.is_terminal() {
        writeln!(out, "Scale and thermometers speak through pseudo-terminals.")?;
    }
    Ok(())
}

fn story(name: &str) -> anyhow::Result<Story> {
    let (_, text) = STORIES
        .iter()
        .find(|(known, _)| *known == name)
        .with_context(|| format!("no story is called `{name}`"))?;
    Ok(sim::parse(name, text)?)
}

/// The demonstration's bench file with the links its ports stand behind.
fn bench_file(ports: &std::path::Path, pots: usize) -> anyhow::Result<BenchFile> {
    let mut text = if pots > 1 { BENCH_THREE.to_owned() } else { BENCH.to_owned() };
    for instrument in ["scale", "thermometer", "pot-probe", "thermometer-b", "thermometer-c"] {
        let link = ports.join(instrument);
        text = text.replace(&format!("@{instrument}@"), &link.display().to_string());
    }
    Ok(BenchFile::read(Source { file: "demonstration bench", text: &text })?)
}

fn own_folder() -> Folder {
    let name = format!("panroom-demo-{}", std::process::id());
    Folder::new(std::env::temp_dir().join(name) as PathBuf)
}
