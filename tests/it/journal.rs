//! The journal on real files: order, chains, recovery, a disk that fails and comes back.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use panroom::bench::{
    BatchId, Fact, JournalStatus, Numbered, Observation, Outcome, SessionOpened, Setup,
};
use panroom::clock::Clock;
use panroom::journal::{Journal, JournalError, Limits, Reader, Recovered, Verified, Writer};
use panroom::quantity::{Mass, MassUnit, Moment};
use panroom::reading::{Channel, Reading, Status, Value};
use panroom::replay::{Mark, Piece};
use rusqlite::Connection;

use crate::driver::{batch_id, control};

/// Longer than any disk of ours takes; only a hang reaches it.
const PATIENCE: Duration = Duration::from_secs(20);

struct Bench {
    path: PathBuf,
    clock: Clock,
    journal: Option<Journal>,
    writer: Writer,
    status: Receiver<JournalStatus>,
    recovered: Recovered,
    next: u64,
}

impl Bench {
    fn open(folder: &Path) -> Bench {
        Bench::open_with(folder, Limits::default())
    }

    fn open_with(folder: &Path, limits: Limits) -> Bench {
        let path = folder.join("journal.db");
        let clock = Clock::new();
        let (sender, status) = channel();
        let (journal, recovered) =
            Journal::open_with(&path, &clock, limits, move |status| drop(sender.send(status)))
                .unwrap();
        let next = recovered.facts.last().map_or(1, |fact| fact.number + 1);
        let writer = journal.writer();
        Bench { path, clock, journal: Some(journal), writer, status, recovered, next }
    }

    fn write(&mut self, fact: Fact) -> u64 {
        let number = self.next;
        self.next += 1;
        self.writer.fact(Numbered { number, at: self.clock.now(), fact });
        number
    }

    fn start_batch(&mut self) {
        let control = Arc::new(control());
        let operator = Some("the operator".to_owned());
        self.write(Fact::BatchStarted { batch: batch_id(), control, operator });
    }

    fn observe(&mut self, note: &str) -> u64 {
        let (batch, note) = (batch_id(), note.to_owned());
        self.write(Fact::Observed { batch, observation: Observation::Trace, note })
    }

    fn close_batch(&mut self) {
        let (batch, outcome, note) = (batch_id(), Outcome::Finished, String::new());
        self.write(Fact::BatchClosed { batch, outcome, note });
    }

    fn until_committed(&self, number: u64) {
        loop {
            let status = self.status.recv_timeout(PATIENCE).expect("the journal answers");
            if matches!(status, JournalStatus::Committed { up_to } if up_to >= number) {
                return;
            }
        }
    }

    fn reader(&self) -> Reader {
        Reader::open(&self.path).unwrap()
    }

    fn close(mut self) {
        self.journal.take().unwrap().close().unwrap();
    }
}

fn reading(at: Moment, tenths: i64) -> Reading {
    let value = Value::Mass {
        mass: Mass::from_decimal(tenths, 1, MassUnit::Gram).unwrap(),
        unit: MassUnit::Gram,
        decimals: 1,
        unit_on_wire: true,
    };
    Reading { channel: Channel::new("scale"), at, value: Some(value), status: Status::Stable }
}

fn bytes_at(at: Moment, bytes: &[u8]) -> Piece {
    Piece { at, mark: Mark::Bytes(bytes.to_vec()) }
}

#[test]
fn what_is_committed_is_there_when_it_is_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    assert_eq!((bench.recovered.session, bench.recovered.facts.len()), (1, 0));
    bench.start_batch();
    let last = bench.observe("light trace");
    bench.until_committed(last);
    let written = bench.reader().all_facts().unwrap();
    bench.close();
    let bench = Bench::open(folder.path());
    assert_eq!(bench.recovered.session, 2);
    let numbered: Vec<Numbered> = written.into_iter().map(|row| row.numbered).collect();
    assert_eq!(bench.recovered.facts, numbered);
    assert!(bench.recovered.unwatched.is_some());
    assert_eq!(bench.recovered.last_seen, numbered.last().map(|fact| fact.at));
}

/// Like `kill -9`: the files are taken as they lie at this instant, without a word to the writer.
#[test]
fn a_copy_taken_at_any_instant_opens_with_all_that_was_committed() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    for round in 0..20 {
        let last = bench.observe(&format!("round {round}"));
        bench.until_committed(last);
        bench.observe("perhaps lost");
        let copy = tempfile::tempdir().unwrap();
        for file in ["journal.db-wal", "journal.db"] {
            std::fs::copy(folder.path().join(file), copy.path().join(file)).unwrap();
        }
        let reopened = Bench::open(copy.path());
        let numbers: Vec<u64> = reopened.recovered.facts.iter().map(|fact| fact.number).collect();
        assert!(numbers.iter().copied().eq(1..=numbers.len() as u64), "a gap in {numbers:?}");
        assert!(numbers.len() as u64 >= last, "{last} was committed");
    }
}

#[test]
fn readings_and_tape_come_back_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    let began = bench.clock.now();
    let readings: Vec<Reading> = (0..1000)
        .map(|i| reading(Moment::from_nanos(began.nanos() + i * 100_000_000), 4000 + i))
        .collect();
    let instrument: Arc<str> = Arc::from("scale");
    for reading in &readings {
        bench.writer.reading(reading.clone());
        bench.writer.tape(&instrument, bytes_at(reading.at, b"ST,+00400.0  g\r\n"));
    }
    bench.close_batch();
    bench.until_committed(2);
    let path = bench.path.clone();
    bench.close();
    let reader = Reader::open(&path).unwrap();
    let end = readings.last().unwrap().at;
    let read = reader.readings(&Channel::new("scale"), 1, began, end).unwrap();
    assert_eq!(read, readings);
    let tape = reader.tape("scale").unwrap();
    assert_eq!(tape.len(), readings.len());
    let line = Mark::Bytes(b"ST,+00400.0  g\r\n".to_vec());
    assert!(tape.iter().all(|(session, piece)| *session == 1 && piece.mark == line));
}

#[test]
fn the_ledger_says_how_a_batch_ended() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    bench.until_committed(1);
    let open = bench.reader().batches().unwrap();
    assert_eq!((open.len(), open[0].outcome), (1, None));
    bench.close_batch();
    bench.until_committed(2);
    let row = bench.reader().batches().unwrap().remove(0);
    assert_eq!(row.outcome, Some(Outcome::Finished));
    assert_eq!((row.batch, row.recipe.as_str()), (batch_id(), "test bar"));
    assert!(row.ended_utc_ns >= Some(row.started_utc_ns));
    assert_eq!(row.head.len(), 64);
}

#[test]
fn an_edited_fact_breaks_the_chain_where_it_stands() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    let edited = bench.observe("light trace");
    bench.observe("paste");
    bench.writer.reading(reading(bench.clock.now(), 4000));
    bench.close_batch();
    bench.until_committed(4);
    let head = bench.reader().head(&batch_id()).unwrap().unwrap().to_string();
    assert_eq!(bench.reader().verify(&batch_id()).unwrap(), Verified::Unbroken { head, facts: 4 });
    let path = bench.path.clone();
    bench.close();
    let file = Connection::open(&path).unwrap();
    let change = "UPDATE fact SET body = replace(body, 'light', 'heavy') WHERE number = ?1";
    file.execute(change, [edited]).unwrap();
    let broken = Reader::open(&path).unwrap().verify(&batch_id()).unwrap();
    assert_eq!(broken, Verified::BrokenAt { fact: edited });
}

#[test]
fn edited_readings_break_the_chain_too() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    bench.writer.reading(reading(bench.clock.now(), 4000));
    bench.close_batch();
    bench.until_committed(2);
    let path = bench.path.clone();
    bench.close();
    let file = Connection::open(&path).unwrap();
    file.execute("UPDATE block SET body = zeroblob(length(body))", []).unwrap();
    let broken = Reader::open(&path).unwrap().verify(&batch_id()).unwrap();
    assert_eq!(broken, Verified::ReadingsBrokenAfter { fact: 1 });
}

/// Another program holds the file for longer than the writer waits: the same as any disk that
/// fails for a while.
#[test]
fn a_failing_disk_is_said_once_and_nothing_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.start_batch();
    bench.until_committed(1);
    let blocker = Connection::open(&bench.path).unwrap();
    blocker.execute_batch("BEGIN IMMEDIATE").unwrap();
    let last = bench.observe("while it fails");
    let status = bench.status.recv_timeout(PATIENCE).unwrap();
    assert!(matches!(status, JournalStatus::Failed { .. }), "{status:?}");
    let last = bench.observe("still failing").max(last);
    blocker.execute_batch("ROLLBACK").unwrap();
    bench.until_committed(last);
    let facts = bench.reader().facts(&batch_id()).unwrap();
    let numbers: Vec<u64> = facts.iter().map(|row| row.numbered.number).collect();
    assert_eq!(numbers, [1, 2, 3]);
    assert!(matches!(bench.reader().verify(&batch_id()).unwrap(), Verified::Unbroken { .. }));
}

fn all_readings(reader: &Reader) -> Vec<Reading> {
    let (from, to) = (Moment::from_nanos(0), Moment::from_nanos(i64::MAX));
    reader.readings(&Channel::new("scale"), 1, from, to).unwrap()
}

/// The disk fails for long: what is kept in memory is bounded, what was dropped is a gap, and the
/// tape itself says where it is missing.
#[test]
fn what_is_dropped_while_the_disk_fails_is_a_gap() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits { readings_kept: 10, tape_kept: 1000, ..Limits::default() };
    let mut bench = Bench::open_with(folder.path(), limits);
    bench.start_batch();
    bench.until_committed(1);
    let blocker = Connection::open(&bench.path).unwrap();
    blocker.execute_batch("BEGIN IMMEDIATE").unwrap();
    bench.observe("while it fails");
    let status = bench.status.recv_timeout(PATIENCE).unwrap();
    assert!(matches!(status, JournalStatus::Failed { .. }), "{status:?}");
    let scale: Arc<str> = Arc::from("scale");
    let at = |tick: i64| Moment::from_nanos(1_000_000 * tick);
    for tick in 0..50 {
        bench.writer.reading(reading(at(tick), tick));
        bench.writer.tape(&scale, bytes_at(at(tick), b"ST,+00400.0  g\r\n"));
    }
    let last = bench.observe("still failing");
    blocker.execute_batch("ROLLBACK").unwrap();
    bench.until_committed(last);
    bench.writer.tape(&scale, bytes_at(at(60), b"after\r\n"));
    let path = bench.path.clone();
    bench.close();
    let reader = Reader::open(&path).unwrap();
    let kept = all_readings(&reader).len() as i64;
    assert_eq!(kept, 10);
    let gaps = reader.gaps().unwrap();
    assert_eq!((gaps.len(), gaps[0].from, gaps[0].to), (1, at(kept), at(49)));
    let tape = reader.tape("scale").unwrap();
    let kept = tape.iter().filter(|(_, piece)| piece.at < at(60)).count() as i64;
    assert!((5..50).contains(&kept), "{kept}");
    let gaps = reader.tape_gaps(1).unwrap();
    assert_eq!((gaps.len(), &*gaps[0].of), (1, "scale"));
    assert_eq!((gaps[0].from, gaps[0].to), (at(kept), at(49)));
    let marks: Vec<&Mark> = tape[kept as usize..].iter().map(|(_, piece)| &piece.mark).collect();
    assert_eq!(marks, [&Mark::Missing, &Mark::Bytes(b"after\r\n".to_vec())]);
}

/// The oldest tape goes; and when it cannot, what was written is not written again.
#[test]
fn the_tape_is_bounded_and_a_failing_trim_doubles_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let bytes_max = 40_000;
    let limits = Limits { tape_bytes_max: bytes_max, ..Limits::default() };
    let mut bench = Bench::open_with(folder.path(), limits);
    let file = Connection::open(&bench.path).unwrap();
    file.execute_batch(
        "CREATE TRIGGER stuck BEFORE DELETE ON strip BEGIN SELECT RAISE(ABORT, 'stuck'); END",
    )
    .unwrap();
    let scale: Arc<str> = Arc::from("scale");
    let mut noise = 1_u64;
    let mut round = |bench: &mut Bench| {
        let at = bench.clock.now();
        bench.writer.reading(reading(at, 1));
        for _ in 0..5 {
            // does not deflate
            let bytes: Vec<u8> = (0..4000)
                .map(|_| {
                    noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    (noise >> 56) as u8
                })
                .collect();
            bench.writer.tape(&scale, bytes_at(at, &bytes));
        }
        let last = bench.observe("light trace");
        bench.until_committed(last);
    };
    let stored = || -> u64 {
        file.query_row("SELECT sum(length(body)) FROM strip", [], |row| row.get(0)).unwrap()
    };
    bench.start_batch();
    (0..8).for_each(|_| round(&mut bench));
    assert!(stored() > bytes_max, "nothing could be dropped");
    assert_eq!(all_readings(&bench.reader()).len(), 8);
    file.execute_batch("DROP TRIGGER stuck").unwrap();
    round(&mut bench);
    let path = bench.path.clone();
    bench.close();
    // the strip that is being written stays
    assert!(stored() <= bytes_max + 70_000, "{}", stored());
    let why = Reader::open(&path).unwrap().tape("scale").unwrap();
    assert!(!why.is_empty());
    assert_eq!(all_readings(&Reader::open(&path).unwrap()).len(), 9);
}

#[test]
fn a_foreign_file_and_a_newer_journal_are_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.db");
    let foreign = Connection::open(&path).unwrap();
    foreign.execute_batch("CREATE TABLE other (x)").unwrap();
    let refused = |path: &Path| match Journal::open(path, &Clock::new(), |_| {}) {
        Ok(_) => panic!("it was opened"),
        Err(error) => error,
    };
    assert!(matches!(refused(&path), JournalError::NotOurs(_)));
    drop(foreign);
    std::fs::remove_file(&path).unwrap();
    Bench::open(folder.path()).close();
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 99).unwrap();
    assert_eq!(
        refused(&path).to_string(),
        "the journal is of version 99, this panroom knows up to 2; use a newer panroom"
    );
}

/// A journal once written must always open: this one was written by the first layout.
#[test]
fn a_journal_of_the_first_layout_opens() {
    let folder = tempfile::tempdir().unwrap();
    let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/old-db/layout-1.db");
    if std::env::var_os("PANROOM_BLESS").is_some() && !Path::new(kept).exists() {
        write_old(Path::new(kept));
    }
    let path = folder.path().join("journal.db");
    std::fs::copy(kept, &path).unwrap();
    // before a daemon has brought it up to date, it can be looked at
    let unchanged = Reader::open(&path).unwrap();
    assert_eq!((unchanged.gaps().unwrap(), unchanged.tape("scale").unwrap()), (vec![], vec![]));
    let why = unchanged.recording(1).err().unwrap().to_string();
    assert!(why.ends_with("an earlier panroom recorded it, and kept only bytes"), "{why}");
    let bench = Bench::open(folder.path());
    assert_eq!(bench.recovered.facts.len(), 4);
    assert_eq!(bench.recovered.session, 2);
    let reader = bench.reader();
    let old = BatchId("2026-11-25-a".to_owned());
    assert!(matches!(reader.verify(&old).unwrap(), Verified::Unbroken { facts: 3, .. }));
    let all = (Moment::from_nanos(0), Moment::from_nanos(i64::MAX));
    assert_eq!(reader.readings(&Channel::new("scale"), 1, all.0, all.1).unwrap().len(), 1);
}

fn write_old(kept: &Path) {
    let folder = tempfile::tempdir().unwrap();
    let mut bench = Bench::open(folder.path());
    bench.write(Fact::SessionOpened(SessionOpened {
        session: 1,
        setup: Setup::default(),
        utc_ns: bench.clock.utc_ns(),
        unwatched: None,
        last_seen: None,
    }));
    bench.start_batch();
    bench.observe("light trace");
    bench.writer.reading(reading(bench.clock.now(), 4000));
    bench.close_batch();
    bench.until_committed(4);
    let path = bench.path.clone();
    bench.close();
    std::fs::create_dir_all(kept.parent().unwrap()).unwrap();
    std::fs::copy(path, kept).unwrap();
}
