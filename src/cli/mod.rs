//! The command line: asks, shows, and leaves every decision to the bench.

mod acts;
mod args;
mod bench_side;
mod books;
mod instruments;
mod layout;
mod page;
mod replay;
mod show;
mod watch;
mod which;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};

pub use page::show as show_page;
pub use watch::Screen;

/// Runs one command. What a person asked for goes to standard output, why it could not be done to
/// standard error.
pub fn run() -> ExitCode {
    let args = Args::parse();
    let runtime =
        match tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build() {
            Ok(runtime) => runtime,
            Err(error) => {
                return fail(&anyhow::Error::new(error).context("no threads can be started"));
            }
        };
    match runtime.block_on(dispatch(args)) {
        Ok(code) => code,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => fail(&error),
    }
}

async fn dispatch(args: Args) -> anyhow::Result<ExitCode> {
    if let Command::Demo(demo) = &args.command {
        return crate::demo::run(demo.options(args.data())).await;
    }
    let at = args.place()?;
    match args.command {
        // shown above, without a place of its own
        Command::Demo(_) => Ok(ExitCode::SUCCESS),
        Command::Serve(serve) => bench_side::serve(at, serve).await,
        Command::Page => page::run(at).await,
        Command::Plan(plan) => bench_side::plan(&at, plan),
        Command::Example(example) => bench_side::example(example),
        Command::Replay(replay) => {
            tokio::task::spawn_blocking(move || replay::run(&at, &replay)).await?
        }
        Command::Sheet(sheet) => bench_side::sheet(sheet),
        Command::Ports(args) => instruments::ports(&args),
        Command::Listen(args) => instruments::listen(args).await,
        Command::Identify(args) => instruments::identify(args).await,
        Command::Start(start) => acts::start(at, start).await,
        Command::Confirm(confirm) => acts::confirm(at, confirm).await,
        Command::Choose(choose) => acts::choose(at, choose).await,
        Command::Vessel(vessel) => acts::vessel(at, vessel).await,
        Command::Remedy(remedy) => acts::remedy(at, remedy).await,
        Command::Lot(lot) => acts::open_lot(at, lot).await,
        Command::Correct(correct) => acts::correct(at, correct).await,
        Command::Declare(declare) => acts::declare(at, declare).await,
        Command::Observe(observe) => acts::observe(at, observe).await,
        Command::Acknowledge(acknowledge) => acts::acknowledge(at, acknowledge).await,
        Command::Silence => acts::silence(at).await,
        Command::Emergency => acts::emergency(at).await,
        Command::Probe(probe) => acts::probe(at, probe).await,
        Command::Hold(hold) => acts::hold(at, hold).await,
        Command::Measured(measured) => acts::measured(at, measured).await,
        Command::Test(test) => acts::test(at, test).await,
        Command::ProbeOut(out) => acts::probe_out(at, out).await,
        Command::Scale(scale) => acts::scale(at, scale).await,
        Command::Next(next) => acts::next(at, next).await,
        Command::Abandon(abandon) => acts::abandon(at, abandon).await,
        Command::Close(close) => acts::close(at, close).await,
        Command::Watch(watch) => watch::run(at, watch).await,
        Command::Ledger(table) => books::ledger(at, table).await,
        Command::Review(review) => books::review(at, review).await,
    }
}

fn fail(error: &anyhow::Error) -> ExitCode {
    let _ = writeln!(std::io::stderr(), "panroom: {error:#}");
    ExitCode::FAILURE
}

/// `panroom ledger | head` is no failure.
fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<std::io::Error>()
            .is_some_and(|io| io.kind() == std::io::ErrorKind::BrokenPipe)
    })
}
