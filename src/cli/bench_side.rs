//! What a maker does before a batch: run the daemon, print a plan, prove a wire sheet.

use std::fs;
use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context, bail};

use super::args;
use super::args::{ExampleName, Place, SheetCommand};
use super::page;
use crate::bench_file::BenchFile;
use crate::chemistry::FatTable;
use crate::clock::Clock;
use crate::daemon;
use crate::plan::{self, Alterations, sheet};
use crate::problem::Source;
use crate::recipe::Recipe;
use crate::wire::{self, SheetLibrary};

const WIDTH: usize = 100;

pub async fn serve(at: Place, args: args::Serve) -> anyhow::Result<ExitCode> {
    start_logging();
    let named = args.bench.is_some();
    let bench_path = args.bench.unwrap_or_else(|| at.folder.bench_file());
    let bench_file = if named || bench_path.exists() {
        read_bench_file(&bench_path)?
    } else {
        BenchFile::empty(&bench_path.display().to_string())
    };
    let options = daemon::Options {
        folder: at.folder,
        bench_file,
        // the daemon may be asked for it after its folder was changed
        bench_path: Some(std::path::absolute(bench_path)?),
        sheets: sheets(args.sheets.as_deref())?,
        clock: Clock::faster_since_boot(u32::from(args.speed)),
        page: args.page.options(),
    };
    let daemon = daemon::start(options).await?;
    if let Some(gate) = &daemon.gate {
        page::show(&gate.address())?;
    }
    interrupted().await;
    daemon.stop().await?;
    Ok(ExitCode::SUCCESS)
}

pub fn plan(at: &Place, args: args::Plan) -> anyhow::Result<ExitCode> {
    let alterations = Alterations::from(args.altered);
    let recipe = alterations.apply(&read_recipe(&args.recipe)?, FatTable::built_in())?;
    let bench = args.bench.as_deref().map(read_bench_file).transpose()?;
    let ledger = daemon::ledger(&at.folder.journal(), &recipe);
    let options = plan::Options { ledger, ..plan::Options::default() };
    let plan = plan::plan(&recipe, FatTable::built_in(), bench.as_ref(), &options)?;
    let page = sheet::Sheet::of(&plan);
    let mut out = std::io::stdout();
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&page)?)?;
    } else if args.html {
        writeln!(out, "{}", sheet::html(&page))?;
    } else {
        write!(out, "{}", sheet::text(&page, WIDTH))?;
    }
    Ok(ExitCode::SUCCESS)
}

pub fn example(args: args::Example) -> anyhow::Result<ExitCode> {
    let text = match args.what {
        ExampleName::Recipe => crate::recipe::EXAMPLE,
        ExampleName::Bench => crate::bench_file::EXAMPLE,
    };
    write!(std::io::stdout(), "{text}")?;
    Ok(ExitCode::SUCCESS)
}

pub fn sheet(args: args::Sheet) -> anyhow::Result<ExitCode> {
    match args.command {
        SheetCommand::List(table) => list_sheets(table.json),
        SheetCommand::Check { file } => check_sheet(&file),
    }
}

fn list_sheets(json: bool) -> anyhow::Result<ExitCode> {
    let library = SheetLibrary::built_in()?;
    let mut out = std::io::stdout();
    if json {
        let rows: Vec<_> = library
            .iter()
            .map(|(name, origin, sheet)| {
                serde_json::json!({ "name": name, "origin": origin, "about": sheet.about })
            })
            .collect();
        writeln!(out, "{}", serde_json::to_string_pretty(&rows)?)?;
        return Ok(ExitCode::SUCCESS);
    }
    for (name, _, sheet) in library.iter() {
        writeln!(out, "{name}\n    {}", sheet.about)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn check_sheet(file: &Path) -> anyhow::Result<ExitCode> {
    let text = read(file, "wire sheet")?;
    let source = Source { file: &file.display().to_string(), text: &text };
    let sheet = Arc::new(wire::Sheet::read(source)?);
    let outcomes = wire::check(&sheet);
    if outcomes.is_empty() {
        bail!(
            "{}: there is no [[example]]; add frames and the readings they must give, and one \
             frame that must be refused",
            file.display()
        );
    }
    let mut out = std::io::stdout();
    let faults = outcomes.iter().filter(|outcome| outcome.fault.is_some()).count();
    for outcome in &outcomes {
        match &outcome.fault {
            None => writeln!(out, "good   line {}: `{}`", outcome.line, outcome.bytes)?,
            Some(why) => {
                writeln!(out, "FAULT  line {}: `{}`\n       {why}", outcome.line, outcome.bytes)?;
            }
        }
    }
    writeln!(out, "{} of {} examples hold", outcomes.len() - faults, outcomes.len())?;
    for missing in wire::unproved(&sheet) {
        writeln!(out, "no example of {missing}")?;
    }
    if let Some(lost) = wire::lost_digit(&sheet) {
        writeln!(
            out,
            "It cannot tell a line that lost a digit from another load: {}. For caustic write the \
             pattern for a fixed width, if the instrument keeps to one; an output with a check is \
             better still.",
            lost.words()
        )?;
    }
    Ok(if faults == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Ends when the process is asked to: interrupt or terminate.
pub(super) async fn interrupted() {
    use tokio::signal::unix::{SignalKind, signal};
    let Ok(mut terminate) = signal(SignalKind::terminate()) else {
        // without the second signal the first still works
        let _ = tokio::signal::ctrl_c().await;
        return;
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminate.recv() => {}
    }
    tracing::info!("stopping");
}

fn start_logging() {
    let filter = tracing_subscriber::EnvFilter::try_from_env("PANROOM_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("panroom=info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(false)
        .init();
}

fn read_recipe(path: &Path) -> anyhow::Result<Recipe> {
    let text = read(path, "recipe")?;
    let source = Source { file: &path.display().to_string(), text: &text };
    Ok(Recipe::read(source, FatTable::built_in())?)
}

fn read_bench_file(path: &Path) -> anyhow::Result<BenchFile> {
    let text = read(path, "bench file")?;
    Ok(BenchFile::read(Source { file: &path.display().to_string(), text: &text })?)
}

/// The shipped sheets, and those of a folder of the maker's own.
pub(super) fn sheets(folder: Option<&Path>) -> anyhow::Result<SheetLibrary> {
    let mut library = SheetLibrary::built_in()?;
    let Some(folder) = folder else { return Ok(library) };
    let entries = fs::read_dir(folder)
        .with_context(|| format!("folder of wire sheets {} cannot be read", folder.display()))?;
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_some_and(|ending| ending == "toml") {
            let text = read(&path, "wire sheet")?;
            library.add(Source { file: &path.display().to_string(), text: &text })?;
        }
    }
    Ok(library)
}

pub(super) fn read(path: &Path, what: &str) -> anyhow::Result<String> {
    fs::read_to_string(path).with_context(|| format!("{what} {} cannot be read", path.display()))
}
