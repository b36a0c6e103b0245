use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread::JoinHandle;
use std::time::Duration;

use super::JournalError;
use super::reader::Reader;
use super::store::{Gap, Pending, Store};
use crate::bench::{Act, Input, JournalStatus, Numbered};
use crate::clock::{self, Clock};
use crate::quantity::{Moment, Span};
use crate::reading::Reading;
use crate::replay::{Instrument, Mark, Piece, Taken};

/// The journal and its thread.
pub struct Journal {
    queue: Arc<Queue>,
    thread: Option<JoinHandle<u64>>,
    limits: Limits,
}

/// The way into the journal. Nothing here waits for the disk.
#[derive(Clone)]
pub struct Writer {
    queue: Arc<Queue>,
    limits: Limits,
}

/// What the journal held when it was opened.
#[derive(Debug, Default)]
pub struct Recovered {
    pub facts: Vec<Numbered>,
    /// The number of the session that begins.
    pub session: u32,
    pub unwatched: Option<Span>,
    /// On the clock of the session before.
    pub last_seen: Option<Moment>,
}

#[derive(Default)]
struct Queue {
    inner: Mutex<Inbox>,
    filled: Condvar,
}

#[derive(Default)]
struct Inbox {
    pending: Pending,
    tape_bytes: usize,
    /// What had to be dropped because nothing could be written for too long.
    dropped: BTreeMap<Dropped, (Moment, Moment)>,
    /// Whose tape goes on after something was dropped: it must say so itself.
    broken: BTreeSet<Dropped>,
    /// When the bench took the first and the last of what waits.
    taken_since: Option<Moment>,
    taken_last: Option<Moment>,
    stop: bool,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Dropped {
    Readings,
    /// Of an instrument.
    Tape(Arc<str>),
    /// What the bench took.
    Taken,
}

/// How much is kept while nothing can be written, and of the tape at all.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Facts are kept without limit, being a few hundred a batch.
    pub readings_kept: usize,
    /// Bytes of tape in memory.
    pub tape_kept: usize,
    /// Bytes of tape in the file, all sessions together; the oldest goes first.
    pub tape_bytes_max: u64,
}

impl Default for Limits {
    /// Five minutes of a busy bench in memory, and months of one in the file. Ours.
    fn default() -> Limits {
        Limits {
            readings_kept: 30_000,
            tape_kept: 8 * 1024 * 1024,
            tape_bytes_max: 256 * 1024 * 1024,
        }
    }
}

/// Raw readings and tape wait no longer than this: what a power cut may cost.
const FLUSH_APART: Duration = Duration::from_millis(1000);
/// A disk that fails is tried again after this.
const RETRY_APART: Duration = Duration::from_millis(500);
/// What the bench took is a few bytes and waits for readings or facts to be written with, but no
/// longer than this.
const TAKEN_APART: Span = Span::from_secs(10);
/// Whose tape is missing, in words, when it is what the bench took.
const BENCH: &str = "the bench";
/// What one thing on the tape takes in memory beside its bytes.
const PIECE_BYTES: usize = 64;
/// A civil clock that has moved by more than this against ours has stepped.
const CLOCK_STEP_NS: i64 = 500_000_000;

impl Journal {
    /// Opens the journal, begins a session, and starts the thread that writes.
    ///
    /// `status` is called on that thread after each commit, and once when writing begins to fail.
    ///
    /// # Errors
    /// When the file is no journal of ours, is newer than we are, holds a fact that cannot be
    /// read, or cannot be opened at all.
    pub fn open(
        path: &Path,
        clock: &Clock,
        status: impl Fn(JournalStatus) + Send + 'static,
    ) -> Result<(Journal, Recovered), JournalError> {
        Journal::open_with(path, clock, Limits::default(), status)
    }

    /// As [`Journal::open`], with other limits.
    pub fn open_with(
        path: &Path,
        clock: &Clock,
        limits: Limits,
        status: impl Fn(JournalStatus) + Send + 'static,
    ) -> Result<(Journal, Recovered), JournalError> {
        let (scribe, recovered) = Scribe::open(path, clock, limits, Box::new(status))?;
        let queue = Arc::clone(&scribe.queue);
        let thread =
            std::thread::Builder::new().name("journal".to_owned()).spawn(move || scribe.run())?;
        Ok((Journal { queue, thread: Some(thread), limits }, recovered))
    }

    pub fn writer(&self) -> Writer {
        Writer { queue: Arc::clone(&self.queue), limits: self.limits }
    }

    /// Writes what is left and ends the thread.
    ///
    /// # Errors
    /// When facts are left that the disk would not take.
    pub fn close(mut self) -> Result<(), JournalError> {
        match self.stop() {
            0 => Ok(()),
            left => Err(JournalError::NotWritten(left)),
        }
    }

    /// How many facts could not be written.
    fn stop(&mut self) -> u64 {
        self.queue.lock().stop = true;
        self.queue.filled.notify_one();
        // a panic there has been printed; there is nothing left to write with
        self.thread.take().and_then(|thread| thread.join().ok()).unwrap_or(0)
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        self.stop();
    }
}

impl Writer {
    pub fn fact(&self, fact: Numbered) {
        self.queue.lock().pending.facts.push(fact);
        self.queue.filled.notify_one();
    }

    /// What the bench took and what it decided on it: both reach the disk, or neither does.
    pub fn decided(&self, at: Moment, taken: Taken, facts: Vec<Numbered>) {
        let size = match &taken {
            // the recipe of a batch, in memory
            Taken::Input { input: Input::Act(Act::Start { .. }), .. } => 200 * PIECE_BYTES,
            _ => PIECE_BYTES,
        };
        let mut inbox = self.queue.lock();
        match inbox.room(Dropped::Taken, at, size, self.limits) {
            Room::Some => inbox.pending.taken.push(taken),
            Room::Again => inbox.pending.taken.extend([Taken::Missing { at }, taken]),
            Room::None => {}
        }
        inbox.taken_since.get_or_insert(at);
        inbox.taken_last = Some(at);
        let wake = !facts.is_empty();
        inbox.pending.facts.extend(facts);
        drop(inbox);
        if wake {
            self.queue.filled.notify_one();
        }
    }

    pub fn reading(&self, reading: Reading) {
        let mut inbox = self.queue.lock();
        if inbox.pending.readings.len() >= self.limits.readings_kept {
            inbox.drop_one(Dropped::Readings, reading.at);
        } else {
            inbox.pending.readings.push(reading);
        }
    }

    /// What happened to the decoder of an instrument.
    pub fn tape(&self, instrument: &Arc<str>, piece: Piece) {
        let mut inbox = self.queue.lock();
        let size = match &piece.mark {
            Mark::Bytes(bytes) => bytes.len() + PIECE_BYTES,
            _ => PIECE_BYTES,
        };
        let missing = Piece { at: piece.at, mark: Mark::Missing };
        let named = |piece| (Arc::clone(instrument), piece);
        match inbox.room(Dropped::Tape(Arc::clone(instrument)), piece.at, size, self.limits) {
            Room::Some => inbox.pending.tape.push(named(piece)),
            Room::Again => inbox.pending.tape.extend([named(missing), named(piece)]),
            Room::None => {}
        }
    }

    /// How the bytes of the instruments are read in this session.
    pub fn instruments(&self, instruments: Vec<Instrument>) {
        self.queue.lock().pending.instruments.extend(instruments);
    }
}

/// Whether there is room on the tape.
enum Room {
    Some,
    /// After something was dropped, which the tape must say.
    Again,
    None,
}

impl Inbox {
    fn room(&mut self, whose: Dropped, at: Moment, size: usize, limits: Limits) -> Room {
        if self.tape_bytes + size > limits.tape_kept {
            self.drop_one(whose, at);
            return Room::None;
        }
        self.tape_bytes += size;
        if self.broken.remove(&whose) { Room::Again } else { Room::Some }
    }

    fn drop_one(&mut self, whose: Dropped, at: Moment) {
        let from = self.dropped.get(&whose).map_or(at, |(from, _)| *from);
        self.broken.insert(whose.clone());
        self.dropped.insert(whose, (from, at));
    }

    /// Everything that waits, and what had to be dropped meanwhile as gaps.
    fn take(&mut self) -> Pending {
        let mut pending = std::mem::take(&mut self.pending);
        for (whose, (from, to)) in std::mem::take(&mut self.dropped) {
            let why = "the journal could not be written for too long".to_owned();
            let tape = match whose {
                Dropped::Readings => None,
                Dropped::Tape(instrument) => Some(instrument),
                Dropped::Taken => Some(Arc::from(BENCH)),
            };
            pending.gaps.push(Gap { from, to, why, tape });
        }
        (self.tape_bytes, self.taken_since, self.taken_last) = (0, None, None);
        pending
    }

    /// Nothing waits but what the bench took, and that not for long.
    fn can_wait(&self) -> bool {
        let waited = self.taken_since.zip(self.taken_last);
        self.dropped.is_empty()
            && self.pending.is_empty_but_for_taken()
            && waited.is_none_or(|(since, last)| last.since(since) < TAKEN_APART)
    }
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, Inbox> {
        // the lock is held for a push or a swap; a panic in between leaves the lists whole
        self.inner.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// The thread that writes.
struct Scribe {
    path: PathBuf,
    session: u32,
    store: Option<Store>,
    queue: Arc<Queue>,
    clock: Clock,
    limits: Limits,
    civil_offset: i64,
    status: Box<dyn Fn(JournalStatus) + Send>,
    /// What the disk has not taken yet; it goes before all that has come since, and as it is: what
    /// reached the disk though its answer was lost is known by its number.
    unwritten: Option<Pending>,
    writes: u64,
    said_up_to: u64,
    failing: bool,
}

impl Scribe {
    fn open(
        path: &Path,
        clock: &Clock,
        limits: Limits,
        status: Box<dyn Fn(JournalStatus) + Send>,
    ) -> Result<(Scribe, Recovered), JournalError> {
        // the layout is brought up to date before anything is read
        drop(Store::open(path, 0)?);
        let recovered = recover(path, clock)?;
        let mut store = Store::open(path, recovered.session)?;
        let boot = clock::boot_id().unwrap_or_default();
        store.open_session(&boot, clock.now(), clock.utc_ns())?;
        let scribe = Scribe {
            path: path.to_owned(),
            session: recovered.session,
            store: Some(store),
            queue: Arc::new(Queue::default()),
            clock: clock.clone(),
            limits,
            civil_offset: clock.utc_ns() - clock.now().nanos(),
            status,
            unwritten: None,
            writes: 0,
            said_up_to: 0,
            failing: false,
        };
        Ok((scribe, recovered))
    }

    /// Returns how many facts are left unwritten at the end.
    fn run(mut self) -> u64 {
        loop {
            let stop = self.wait();
            self.write();
            if stop {
                let left = self.unwritten.as_ref().map_or(0, |pending| pending.facts.len());
                return (left + self.queue.lock().pending.facts.len()) as u64;
            }
        }
    }

    /// Waits for a fact, for the time to flush, or for the end, which it returns.
    fn wait(&mut self) -> bool {
        let inbox = self.queue.lock();
        let wait = if self.failing { RETRY_APART } else { FLUSH_APART };
        let failing = self.failing;
        let idle = |inbox: &mut Inbox| !inbox.stop && (failing || inbox.pending.facts.is_empty());
        let (inbox, _) = self
            .queue
            .filled
            .wait_timeout_while(inbox, wait, idle)
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        inbox.stop
    }

    /// Writes what was left over, then what waits.
    fn write(&mut self) {
        loop {
            if self.unwritten.is_none() {
                let mut inbox = self.queue.lock();
                if inbox.can_wait() && !inbox.stop {
                    return;
                }
                let mut pending = inbox.take();
                drop(inbox);
                if pending.is_empty() {
                    return;
                }
                pending.anchor = self.clock_step();
                self.writes += 1;
                self.unwritten = Some(pending);
            }
            match self.try_write() {
                Ok(up_to) => {
                    self.unwritten = None;
                    // a commit of readings alone is no news to the bench
                    if self.failing || up_to != self.said_up_to {
                        self.said_up_to = up_to;
                        (self.status)(JournalStatus::Committed { up_to });
                    }
                    if !std::mem::take(&mut self.failing) {
                        return;
                    }
                    // what came while it failed waits too
                }
                Err(error) => {
                    // the store may be ahead of the file now
                    self.store = None;
                    if !self.failing {
                        self.failing = true;
                        (self.status)(JournalStatus::Failed { why: error.to_string() });
                    }
                    return;
                }
            }
        }
    }

    fn try_write(&mut self) -> Result<u64, JournalError> {
        let store = match &mut self.store {
            Some(store) => store,
            closed => {
                if !self.path.exists() {
                    // a new file in its place would begin in the middle
                    return Err(JournalError::Thread(std::io::Error::new(
                        std::io::ErrorKind::NotFound,
                        format!("{} is gone", self.path.display()),
                    )));
                }
                closed.insert(Store::open(&self.path, self.session)?)
            }
        };
        let Some(pending) = &self.unwritten else { return Ok(self.said_up_to) };
        let up_to = store.write(pending, self.writes)?;
        // what was written stays written, whatever becomes of the old tape
        if let Err(error) = store.trim_tape(self.limits.tape_bytes_max) {
            tracing::warn!("old tape cannot be dropped and goes on growing: {error}");
        }
        Ok(up_to)
    }

    /// The civil clock was set, or drifted: later readings need another anchor.
    fn clock_step(&mut self) -> Option<(Moment, i64)> {
        let (now, utc_ns) = (self.clock.now(), self.clock.utc_ns());
        let offset = utc_ns - now.nanos();
        let stepped = (offset - self.civil_offset).abs() > CLOCK_STEP_NS;
        stepped.then(|| {
            self.civil_offset = offset;
            (now, utc_ns)
        })
    }
}

impl Pending {
    fn is_empty(&self) -> bool {
        self.is_empty_but_for_taken() && self.taken.is_empty()
    }

    fn is_empty_but_for_taken(&self) -> bool {
        self.facts.is_empty()
            && self.readings.is_empty()
            && self.tape.is_empty()
            && self.instruments.is_empty()
            && self.gaps.is_empty()
    }
}

fn recover(path: &Path, clock: &Clock) -> Result<Recovered, JournalError> {
    let reader = Reader::open(path)?;
    let facts = reader.all_facts()?;
    let Some(last) = reader.last_session()? else {
        return Ok(Recovered { session: 1, ..Recovered::default() });
    };
    let last_seen = reader.last_moment(last.number)?.unwrap_or(last.opened);
    let same_boot = clock::boot_id().is_ok_and(|boot| boot == last.boot);
    let unwatched = if same_boot && clock.now() >= last_seen {
        clock.now().since(last_seen)
    } else {
        // another boot has another clock; only civil time spans the two
        let seen_utc = reader.utc_of(last.number, last_seen)?;
        Span::from_nanos((clock.utc_ns() - seen_utc).max(0))
    };
    Ok(Recovered {
        facts: facts.into_iter().map(|row| row.numbered).collect(),
        session: reader.last_session_number()? + 1,
        unwatched: Some(unwatched),
        last_seen: Some(last_seen),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Fact;
    use rusqlite::Connection;

    fn scribe(path: &Path) -> Scribe {
        let clock = Clock::new();
        Scribe::open(path, &clock, Limits::default(), Box::new(|_| {})).unwrap().0
    }

    fn put(scribe: &Scribe, number: u64) {
        let fact = Fact::Silenced { until: Moment::from_nanos(0) };
        let at = scribe.clock.now();
        scribe.queue.lock().pending.facts.push(Numbered { number, at, fact });
    }

    fn count(path: &Path, table: &str) -> u64 {
        let file = Connection::open(path).unwrap();
        file.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).unwrap()
    }

    /// The civil clock steps while the disk fails, and steps again before it is back.
    #[test]
    fn no_anchor_is_lost_while_the_disk_fails() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal.db");
        let mut scribe = scribe(&path);
        let blocker = Connection::open(&path).unwrap();
        blocker.execute_batch("BEGIN IMMEDIATE").unwrap();
        for number in [1, 2] {
            // as if the clock had been set
            scribe.civil_offset += 10 * CLOCK_STEP_NS;
            put(&scribe, number);
            scribe.write();
            assert!(scribe.failing);
        }
        blocker.execute_batch("ROLLBACK").unwrap();
        scribe.civil_offset += 10 * CLOCK_STEP_NS;
        scribe.write();
        assert!(!scribe.failing);
        // of the opening, of the write that failed, of what came after
        assert_eq!((count(&path, "anchor"), count(&path, "fact")), (3, 2));
    }

    /// The write reached the disk, its answer did not reach us.
    #[test]
    fn a_write_whose_answer_was_lost_is_not_done_twice() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal.db");
        drop(scribe(&path));
        let (from, to) = (Moment::from_nanos(1), Moment::from_nanos(2));
        let gap = Gap { from, to, why: "a gap".to_owned(), tape: None };
        let pending = Pending { gaps: vec![gap], ..Pending::default() };
        for _ in 0..2 {
            Store::open(&path, 1).unwrap().write(&pending, 1).unwrap();
        }
        assert_eq!(count(&path, "gap"), 1);
        Store::open(&path, 1).unwrap().write(&pending, 2).unwrap();
        assert_eq!(count(&path, "gap"), 2);
    }
}
