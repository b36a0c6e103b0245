use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread::JoinHandle;
use std::time::Duration;

use super::JournalError;
use super::reader::Reader;
use super::store::{Gap, Pending, Store};
use crate::bench::{JournalStatus, Numbered};
use crate::clock::{self, Clock};
use crate::quantity::{Moment, Span};
use crate::reading::Reading;

/// The journal and its thread.
pub struct Journal {
    queue: Arc<Queue>,
    thread: Option<JoinHandle<u64>>,
}

/// The way into the journal. Nothing here waits for the disk.
#[derive(Clone)]
pub struct Writer {
    queue: Arc<Queue>,
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
    /// When readings had to be dropped because nothing could be written for too long.
    dropped: Option<(Moment, Moment)>,
    stop: bool,
}

/// Raw readings and tape wait no longer than this: what a power cut may cost.
const FLUSH_APART: Duration = Duration::from_millis(1000);
/// A disk that fails is tried again after this.
const RETRY_APART: Duration = Duration::from_millis(500);
/// Readings kept while the disk fails: five minutes of a busy bench. Facts are kept without limit,
/// being a few hundred a batch.
const READINGS_KEPT: usize = 30_000;
const TAPE_KEPT: usize = 30_000;
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
        // the layout is brought up to date before anything is read
        drop(Store::open(path, 0)?);
        let recovered = recover(path, clock)?;
        let mut store = Store::open(path, recovered.session)?;
        let boot = clock::boot_id().unwrap_or_default();
        store.open_session(&boot, clock.now(), clock.utc_ns())?;
        let queue = Arc::new(Queue::default());
        let scribe = Scribe {
            path: path.to_owned(),
            session: recovered.session,
            store: Some(store),
            queue: Arc::clone(&queue),
            clock: clock.clone(),
            civil_offset: clock.utc_ns() - clock.now().nanos(),
            status: Box::new(status),
            failing: false,
        };
        let thread =
            std::thread::Builder::new().name("journal".to_owned()).spawn(move || scribe.run())?;
        Ok((Journal { queue, thread: Some(thread) }, recovered))
    }

    pub fn writer(&self) -> Writer {
        Writer { queue: Arc::clone(&self.queue) }
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

    pub fn reading(&self, reading: Reading) {
        let mut inbox = self.queue.lock();
        if inbox.pending.readings.len() >= READINGS_KEPT {
            let from = inbox.dropped.map_or(reading.at, |(from, _)| from);
            inbox.dropped = Some((from, reading.at));
        } else {
            inbox.pending.readings.push(reading);
        }
    }

    pub fn bytes(&self, instrument: &Arc<str>, at: Moment, bytes: &[u8]) {
        let mut inbox = self.queue.lock();
        if inbox.pending.tape.len() < TAPE_KEPT {
            inbox.pending.tape.push((Arc::clone(instrument), (at, bytes.to_vec())));
        }
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
    civil_offset: i64,
    status: Box<dyn Fn(JournalStatus) + Send>,
    failing: bool,
}

impl Scribe {
    /// Returns how many facts are left unwritten at the end.
    fn run(mut self) -> u64 {
        loop {
            let (pending, stop) = self.next();
            if !pending.is_empty() {
                self.write(pending);
            }
            if stop {
                return self.queue.lock().pending.facts.len() as u64;
            }
        }
    }

    /// Waits for a fact, for the time to flush, or for the end.
    fn next(&mut self) -> (Pending, bool) {
        let inbox = self.queue.lock();
        let wait = if self.failing { RETRY_APART } else { FLUSH_APART };
        let failing = self.failing;
        let idle = |inbox: &mut Inbox| !inbox.stop && (failing || inbox.pending.facts.is_empty());
        let (mut inbox, _) = self
            .queue
            .filled
            .wait_timeout_while(inbox, wait, idle)
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut pending = std::mem::take(&mut inbox.pending);
        if let Some((from, to)) = inbox.dropped.take() {
            let why = "the journal could not be written for too long".to_owned();
            pending.gaps.push(Gap { from, to, why });
        }
        (pending, inbox.stop)
    }

    fn write(&mut self, mut pending: Pending) {
        pending.anchor = self.clock_step();
        match self.try_write(&pending) {
            Ok(up_to) => {
                self.failing = false;
                (self.status)(JournalStatus::Committed { up_to });
            }
            Err(error) => {
                // the store may be ahead of the file now
                self.store = None;
                self.put_back(pending);
                if !self.failing {
                    self.failing = true;
                    (self.status)(JournalStatus::Failed { why: error.to_string() });
                }
            }
        }
    }

    fn try_write(&mut self, pending: &Pending) -> Result<u64, JournalError> {
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
        let up_to = store.write(pending)?;
        store.trim_tape()?;
        Ok(up_to)
    }

    /// What could not be written goes before what has come since.
    fn put_back(&self, mut pending: Pending) {
        let mut inbox = self.queue.lock();
        pending.facts.append(&mut inbox.pending.facts);
        pending.readings.append(&mut inbox.pending.readings);
        pending.tape.append(&mut inbox.pending.tape);
        pending.gaps.append(&mut inbox.pending.gaps);
        inbox.pending = pending;
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
        self.facts.is_empty()
            && self.readings.is_empty()
            && self.tape.is_empty()
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
