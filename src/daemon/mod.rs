//! The daemon: routes between ports, bench, journal and screens. It decides nothing.
//!
//! ```text
//! port tasks ──► bench thread ──► journal thread
//!                 ▲      └─► views, cues ──► screens
//! acts ───────────┘   journal status ─► bench thread
//! ```

mod bench_loop;
mod desk;
mod evidence;
mod files;
mod folder;
mod hook;
mod office;
mod ports;
mod shelf;
mod works;

use std::future::Future;
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::Context;
use tokio::net::UnixListener;

use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::web::{self, Door};
use crate::wire::SheetLibrary;

pub use desk::Desk;
pub use evidence::review_of;
pub use files::{Kept, SaveError};
pub use folder::Folder;
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
    door: tokio::task::JoinHandle<()>,
    folder: Folder,
    _lock: crate::journal::Lock,
}

/// Starts everything and returns once the socket is open.
pub async fn start(options: Options) -> anyhow::Result<Daemon> {
    let Options { folder, bench_file, bench_path, sheets, clock } = options;
    folder.create()?;
    let lock = crate::journal::Lock::take(&folder.lock())?;
    let ground = Ground { folder: folder.clone(), sheets, clock };
    let (works, now) = Works::put_up(&ground, bench_file)?;
    let desk = Arc::new(Desk::new(ground, bench_path, works, now));
    let door = open_door(&folder, &desk)?;
    Ok(Daemon { desk, door, folder, _lock: lock })
}

fn open_door(folder: &Folder, desk: &Arc<Desk>) -> anyhow::Result<tokio::task::JoinHandle<()>> {
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
    let router = web::router(Door { desk: Arc::clone(desk) });
    Ok(tokio::spawn(async move {
        if let Err(error) = axum::serve(listener, router).await {
            tracing::error!("the socket is closed: {error}");
        }
    }))
}

impl Daemon {
    pub async fn stop(self) -> anyhow::Result<()> {
        self.door.abort();
        self.desk.take_down().await?;
        // only now may a client find nobody here
        let _ = std::fs::remove_file(self.folder.socket());
        Ok(())
    }
}
