//! The port task on real pseudo-terminals, and the worked case of the wire sheets' guide.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use panroom::clock::Clock;
use panroom::demo::SimPort;
use panroom::port::{Counters, Event, PortSettings, run};
use panroom::problem::Source;
use panroom::quantity::{Mass, MassUnit};
use panroom::reading::Channel;
use panroom::wire::{ChannelMap, Decoder, Item, Line, Sheet, SheetLibrary, check};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use tokio::task::JoinHandle;

const PATIENCE: Duration = Duration::from_secs(20);

struct Watched {
    events: UnboundedReceiver<Event>,
    counters: Arc<Counters>,
    task: JoinHandle<()>,
}

fn watch(path: &Path, sheet: &str, line: impl Fn(Line) -> Line) -> Watched {
    let library = SheetLibrary::built_in().unwrap();
    let sheet = library.find(sheet).unwrap();
    let map = ChannelMap {
        source: String::new(),
        channel: Channel::new("scale"),
        mass_unit: Some(MassUnit::Gram),
        temperature_unit: None,
    };
    let decoder = Decoder::new(Arc::clone(sheet), vec![map]);
    let settings = PortSettings { path: path.to_owned(), line: line(sheet.line) };
    let counters = Arc::new(Counters::default());
    let (sender, events) = unbounded_channel();
    let tell = move |event| drop(sender.send(event));
    let task = tokio::spawn(run(settings, decoder, Clock::new(), Arc::clone(&counters), tell));
    Watched { events, counters, task }
}

impl Watched {
    /// The next event of a kind; the others are passed over.
    async fn next<T>(&mut self, what: &str, pick: impl Fn(&Event) -> Option<T>) -> T {
        let wait = async {
            loop {
                let event = self.events.recv().await.expect("the task goes on");
                if let Some(picked) = pick(&event) {
                    return picked;
                }
            }
        };
        tokio::time::timeout(PATIENCE, wait).await.unwrap_or_else(|_| panic!("no {what} comes"))
    }

    async fn back(&mut self) {
        self.next("opening", |event| (*event == Event::Back).then_some(())).await;
    }

    async fn lost(&mut self) -> String {
        let why = |event: &Event| match event {
            Event::Lost { why } => Some(why.clone()),
            _ => None,
        };
        self.next("loss", why).await
    }

    async fn mass(&mut self) -> Mass {
        let mass = |event: &Event| match event {
            Event::Item(Item::Reading(reading)) => reading.mass(),
            _ => None,
        };
        self.next("reading", mass).await
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        self.task.abort();
    }
}

fn plugged(folder: &Path) -> SimPort {
    let mut port = SimPort::new(folder.join("scale"));
    port.plug().unwrap();
    port
}

const LINE: &[u8] = b"ST,+00123.45  g\r\n";

#[tokio::test]
async fn unplugged_is_lost_at_once_and_plugged_in_again_reads_within_two_seconds() {
    let folder = tempfile::tempdir().unwrap();
    let mut port = plugged(folder.path());
    let mut watched = watch(port.link(), "comma-status-line", |line| line);
    watched.back().await;
    port.write(LINE).unwrap();
    port.write(LINE).unwrap();
    assert_eq!(watched.mass().await, Mass::parse("123.45 g").unwrap());
    port.unplug().unwrap();
    let why = watched.lost().await;
    assert!(why.ends_with("was unplugged"), "{why}");
    port.plug().unwrap();
    let plugged = Instant::now();
    watched.back().await;
    port.write(LINE).unwrap();
    port.write(LINE).unwrap();
    watched.mass().await;
    assert!(plugged.elapsed() < Duration::from_secs(2), "{:?}", plugged.elapsed());
    assert_eq!(watched.counters.counts().opened, 2);
}

#[tokio::test]
async fn lines_from_before_the_opening_are_never_readings() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    for _ in 0..20 {
        port.write(b"ST,+00999.00  g\r\n").unwrap();
    }
    let mut watched = watch(port.link(), "comma-status-line", |line| line);
    watched.back().await;
    // the first line may have begun before the opening
    port.write(LINE).unwrap();
    port.write(LINE).unwrap();
    assert_eq!(watched.mass().await, Mass::parse("123.45 g").unwrap());
}

#[tokio::test]
async fn a_port_held_by_another_is_told_from_one_that_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let link = port.link().to_owned();
    let mut first = watch(&link, "comma-status-line", |line| line);
    first.back().await;
    let mut second = watch(&link, "comma-status-line", |line| line);
    let held = format!("{} is in use by another program; close that program", link.display());
    assert_eq!(second.lost().await, held);
    let nowhere = folder.path().join("nowhere");
    let mut third = watch(&nowhere, "comma-status-line", |line| line);
    assert_eq!(third.lost().await, format!("{} is not there; plug it in", nowhere.display()));
}

#[tokio::test]
async fn seven_bits_and_parity_go_on_where_they_are_not_taken() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "stx-fixed-width", |line| line);
    watched.back().await;
    port.write(b"\x020 0012345 g\x0366").unwrap();
    assert_eq!(watched.mass().await, Mass::parse("1234.5 g").unwrap());
}

#[tokio::test]
async fn an_instrument_that_answers_is_asked() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "letter-answer", |line| line);
    watched.back().await;
    // what is answered before the first whole line counts for nothing
    port.write(b"\r\n").unwrap();
    let mut asked = Vec::new();
    let began = Instant::now();
    while !asked.ends_with(b"W\r\n") {
        asked.extend(port.read().unwrap());
        tokio::task::yield_now().await;
        assert!(began.elapsed() < PATIENCE, "nobody asks");
    }
    port.write(b"W S     523.40 g\r\n").unwrap();
    assert_eq!(watched.mass().await, Mass::parse("523.4 g").unwrap());
}

#[tokio::test]
async fn bytes_that_cannot_be_read_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "comma-status-line", |line| line);
    watched.back().await;
    for _ in 0..30 {
        port.write(b"\xf3\x81\x22 rubbish\r\n").unwrap();
    }
    let unreadable = |event: &Event| match event {
        Event::Unreadable { why } => Some(why.clone()),
        _ => None,
    };
    let why = watched.next("word of it", unreadable).await;
    assert_eq!(why, "no pattern of the sheet fits it");
    assert!(watched.counters.counts().refused >= 20);
}

#[test]
fn the_worked_case_of_the_guide_proves_itself() {
    let guide = include_str!("../../devices/README.md");
    let case = guide.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    let sheet = Sheet::read(Source { file: "guide", text: case }).unwrap();
    let outcomes = check(&Arc::new(sheet));
    assert_eq!(outcomes.len(), 5);
    for outcome in outcomes {
        assert_eq!(outcome.fault, None, "{}", outcome.bytes);
    }
}
