//! What runs for one bench file: bench thread, ports and hook. It is taken down and put up again
//! when another bench file is applied, while the doors stay open.

use std::sync::Arc;

use anyhow::{Context, bail};
use tokio::task::JoinHandle;

use super::bench_loop::{self, BenchThread, Handle};
use super::folder::Folder;
use super::hearing::Hearing;
use super::{hook, ports};
use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::wire::{Command, SheetLibrary};

/// What does not change while the daemon runs.
#[derive(Clone)]
pub struct Ground {
    pub folder: Folder,
    pub sheets: SheetLibrary,
    pub clock: Clock,
}

pub struct Works {
    bench: BenchThread,
    ports: ports::Ports,
    hook: Option<JoinHandle<()>>,
}

/// What the desk sees of the works.
pub struct Now {
    pub bench_file: BenchFile,
    pub handle: Handle,
    /// Which screens can be heard; those of the works before must say so again.
    pub hearing: Arc<Hearing>,
}

/// Every wire sheet the file names must be known, and have the commands it is to give, before
/// anything is taken down for it.
///
/// # Errors
/// When one is not, or has not.
pub fn sheets_suffice(bench_file: &BenchFile, sheets: &SheetLibrary) -> anyhow::Result<()> {
    for instrument in &bench_file.instruments {
        let place = || {
            let line = instrument.line.map_or_else(String::new, |line| format!(", line {line}"));
            format!("{}{line}, instrument `{}`", bench_file.file, instrument.name)
        };
        let sheet = sheets.find(&instrument.sheet).with_context(place)?;
        if instrument.keep_awake.is_some() && sheet.commands.of(Command::KeepAwake).is_none() {
            bail!(
                "{}: it is to be kept awake, and its wire sheet `{}` has no command for that; take \
                 `keep_awake` out, or add the command to the sheet",
                place(),
                sheet.name
            );
        }
    }
    Ok(())
}

impl Works {
    /// # Errors
    /// When a wire sheet is not known or the journal cannot be opened.
    pub fn put_up(ground: &Ground, bench_file: BenchFile) -> anyhow::Result<(Works, Now)> {
        let Ground { folder, sheets, clock } = ground;
        sheets_suffice(&bench_file, sheets)?;
        let bench = bench_loop::start(folder, &bench_file, sheets, clock.clone())?;
        let handle = bench.handle.clone();
        let hook = hook::start(bench_file.alarm_command.clone(), handle.cues.subscribe());
        let ports = ports::start(&bench_file, sheets, clock, &handle)?;
        let hearing = Arc::new(Hearing::new(handle.clone(), clock.clone()));
        Ok((Works { bench, ports, hook }, Now { bench_file, handle, hearing }))
    }

    /// Ports close, the bench stops and the journal is brought to the disk.
    ///
    /// # Errors
    /// When the journal could not write everything.
    pub async fn take_down(self) -> anyhow::Result<()> {
        self.ports.stop().await;
        if let Some(hook) = self.hook {
            hook.abort();
        }
        let bench = self.bench;
        tokio::task::spawn_blocking(move || bench.stop()).await?
    }
}
