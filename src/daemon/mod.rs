//! The daemon: routes between ports, bench, journal and screens. It decides nothing.
//!
//! ```text
//! port tasks ──► bench thread ──► journal thread
//!                 ▲      └─► views, cues ──► screens
//! acts ───────────┘   journal status ─► bench thread
//! ```

mod bench_loop;
mod desk;
mod dials;
mod evidence;
mod files;
mod folder;
mod hearing;
mod hook;
mod identify;
mod office;
mod past;
mod ports;
mod shelf;
mod works;

use std::future::Future;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::Context;
use tokio::net::UnixListener;

use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::web::page::{self, Gate, Listening};
use crate::web::{self, Door};
use crate::wire::SheetLibrary;

pub use desk::Desk;
pub use evidence::{charted, ledger, review_of};
pub use files::{Kept, SaveError};
pub use folder::Folder;
pub use hearing::{Hearing, Listener, ScreenId};
pub use identify::Identified;
pub use office::{Applied, BenchOnDisk, RecipeStart};
pub use shelf::{FileName, Shelf, Shelved};

use works::{Ground, Works};

/// What a daemon is started with.
pub struct Options {
    pub folder: Folder,
    pub bench_file: BenchFile,
    /// Where the bench file lies, or will once one is saved; `None` where none is kept.
    pub bench_path: Option<PathBuf>,
    pub sheets: SheetLibrary,
    pub clock: Clock,
    /// Where the page is served; `None` serves none.
    pub page: Option<PageOptions>,
}

/// Where the page is served.
#[derive(Clone, Copy, Debug)]
pub struct PageOptions {
    pub address: SocketAddr,
    /// Another port will do when this one is taken.
    pub anywhere: bool,
    /// Encrypted, with a certificate of the bench's own.
    pub tls: bool,
}

/// Runs until `shutdown` resolves; then ports close, the bench stops and the journal is brought to
/// the disk.
///
/// # Errors
/// When the data folder cannot be used, another daemon holds it, or the journal cannot be opened.
/// A missing or busy port is no error: it is tried for as long as the daemon runs.
pub async fn run(options: Options, shutdown: impl Future<Output = ()>) -> anyhow::Result<()> {
    let daemon = start(options).await?;
    shutdown.await;
    daemon.stop().await
}

/// A daemon that runs.
pub struct Daemon {
    pub desk: Arc<Desk>,
    doors: Vec<tokio::task::JoinHandle<()>>,
    /// The gate of the page, if one is served.
    pub gate: Option<Arc<Gate>>,
    folder: Folder,
    _lock: crate::journal::Lock,
}

/// Starts everything and returns once the socket is open.
pub async fn start(options: Options) -> anyhow::Result<Daemon> {
    let Options { folder, bench_file, bench_path, sheets, clock, page } = options;
    folder.create()?;
    let lock = crate::journal::Lock::take(&folder.lock())?;
    // an address that cannot be had is said before anything else begins
    let page = page.map(|page| open_page(page, &folder)).transpose()?;
    let ground = Ground { folder: folder.clone(), sheets, clock };
    let (works, now) = Works::put_up(&ground, bench_file)?;
    let desk = Arc::new(Desk::new(ground, bench_path, works, now));
    let gate = page.as_ref().map(|page| Arc::clone(&page.gate));
    let door = Door { desk: Arc::clone(&desk), gate: gate.clone() };
    let mut doors = vec![open_door(&folder, &door)?];
    if let Some(page) = page {
        doors.push(page.serve(&door)?);
    }
    Ok(Daemon { desk, doors, gate, folder, _lock: lock })
}

fn open_page(page: PageOptions, folder: &Folder) -> anyhow::Result<Listening> {
    let access = page::Access::open(folder.path())?;
    page::listen(page.address, page.anywhere, access, page.tls.then_some(folder.path()))
}

fn open_door(folder: &Folder, door: &Door) -> anyhow::Result<tokio::task::JoinHandle<()>> {
    let socket = folder.socket();
    // the lock is ours, so a socket that lies here is left over from a daemon that died
    match std::fs::remove_file(&socket) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            return Err(error).with_context(|| format!("old socket {} stays", socket.display()));
        }
        _ => {}
    }
    let listener = UnixListener::bind(&socket)
        .with_context(|| format!("socket {} cannot be opened", socket.display()))?;
    let router = web::socket_router(door.clone());
    Ok(tokio::spawn(async move {
        if let Err(error) = axum::serve(listener, router).await {
            tracing::error!("the socket is closed: {error}");
        }
    }))
}

impl Daemon {
    pub async fn stop(self) -> anyhow::Result<()> {
        for door in &self.doors {
            door.abort();
        }
        self.desk.take_down().await?;
        // only now may a client find nobody here
        let _ = std::fs::remove_file(self.folder.socket());
        Ok(())
    }
}
