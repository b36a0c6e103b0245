//! The SQLite journal: facts, packed readings, byte tape. The only room that names rusqlite.
//!
//! Only the daemon writes, on a thread of its own, so that no decision waits for a disk. Facts are
//! committed at once with `synchronous=FULL`; readings and tape at most a second later. When the
//! disk fails, facts are kept in memory, in order, and written when it is back.
//!
//! Nothing stored is rewritten: a correction is a new fact. Each batch has a chain of SHA-256
//! digests over the bytes as stored, from its frozen control recipe to its last fact; blocks of
//! readings enter it by digest when the batch closes. An unkeyed chain proves an edit only against
//! a head that was printed elsewhere.

mod blocks;
mod chain;
mod lock;
mod playback;
mod reader;
mod recent;
mod schema;
mod store;
mod strip;
mod tape;
mod writer;

use std::path::PathBuf;

use thiserror::Error;

use crate::quantity::Moment;

pub use chain::{Digest, Verified};
pub use lock::{Lock, LockError};
pub use playback::{Course, TapeGap};
pub use reader::{BatchRow, FactRow, GapRow, IngredientRow, Reader, SessionRow};
pub use writer::{Journal, Limits, Recovered, Writer};

#[derive(Debug, Error)]
pub enum JournalError {
    #[error("the journal's database says: {0}")]
    Sqlite(#[from] rusqlite::Error),
    #[error(
        "{} is no journal of panroom; move it away or name another data folder", .0.display()
    )]
    NotOurs(PathBuf),
    #[error(
        "the journal is of version {found}, this panroom knows up to {known}; use a newer panroom"
    )]
    TooNew { found: u32, known: u32 },
    #[error("fact {number} cannot be read: {why}; the journal is kept as it is")]
    UnreadableFact { number: u64, why: String },
    #[error("fact {found} came where {expected} was due; nothing is written out of order")]
    OutOfOrder { expected: u64, found: u64 },
    #[error("{0} facts could not be written; what they say of the last minutes is lost")]
    NotWritten(u64),
    #[error("session {session} cannot be replayed: {why}")]
    NoTape { session: u32, why: &'static str },
    #[error(
        "the tape of session {session} has lost its beginning, because it may not grow for ever"
    )]
    TapeDropped { session: u32, from: Moment, to: Moment },
    #[error("a block of readings cannot be read: {0}")]
    UnreadableBlock(&'static str),
    #[error("the journal's thread cannot be started: {0}")]
    Thread(#[from] std::io::Error),
}
