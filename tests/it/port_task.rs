//! The port task on real pseudo-terminals.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use panroom::clock::Clock;
use panroom::demo::SimPort;
use panroom::port::{Counters, Event, Health, Orders, PortSettings, run};
use panroom::quantity::{Mass, MassUnit};
use panroom::reading::Channel;
use panroom::wire::{ChannelMap, Command, Decoder, Item, Line, SheetLibrary};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use tokio::task::JoinHandle;

const PATIENCE: Duration = Duration::from_secs(20);

struct Watched {
    events: UnboundedReceiver<Event>,
    counters: Arc<Counters>,
    orders: Arc<Orders>,
    task: JoinHandle<()>,
}

fn watch(path: &Path, sheet: &str, line: impl Fn(Line) -> Line) -> Watched {
    watch_with(path, sheet, line, Orders::default())
}

fn watch_with(path: &Path, sheet: &str, line: impl Fn(Line) -> Line, orders: Orders) -> Watched {
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
    let orders = Arc::new(orders);
    let (counted, told) = (Arc::clone(&counters), Arc::clone(&orders));
    let task = tokio::spawn(run(settings, decoder, Clock::new(), counted, told, tell));
    Watched { events, counters, orders, task }
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
    let number = std::fs::read_link(port.link()).unwrap();
    port.unplug().unwrap();
    let why = watched.lost().await;
    assert!(why.ends_with("was unplugged"), "{why}");
    // another instrument takes its number, as it may with adapters
    let elsewhere = tempfile::tempdir().unwrap();
    let _other = plugged(elsewhere.path());
    port.plug().unwrap();
    assert_ne!(std::fs::read_link(port.link()).unwrap(), number, "it has another number now");
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
    let file = folder.path().join("file");
    std::fs::write(&file, "").unwrap();
    let mut fourth = watch(&file, "comma-status-line", |line| line);
    assert_eq!(fourth.lost().await, format!("{} is no serial port", file.display()));
}

/// Left to itself the driver would leave the digit out, and 143.0 would read as 43.0.
#[tokio::test]
async fn a_byte_with_a_wrong_parity_or_stop_bit_costs_its_line_and_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "bare-number-unit", |line| line);
    watched.back().await;
    port.write(b"\r\n").unwrap();
    port.damage().unwrap();
    port.write(b"  \xff\x00143.0 g\r\n  143.0 g\r\n").unwrap();
    let refused = |event: &Event| match event {
        Event::Item(Item::Refused { why, .. }) => Some(why.to_string()),
        Event::Item(Item::Reading(reading)) => panic!("{reading:?}"),
        _ => None,
    };
    let why = watched.next("refusal", refused).await;
    assert_eq!(why, "a byte of it came damaged: its parity or its stop bit is wrong");
    assert_eq!(watched.mass().await, Mass::parse("143 g").unwrap());
    let counts = watched.counters.counts();
    assert_eq!((counts.damaged, counts.refused, counts.readings), (1, 1, 1));
}

#[tokio::test]
async fn a_byte_of_all_ones_is_itself() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "comma-status-line", |line| line);
    watched.back().await;
    port.write(b"\xff\xff\x00\xff").unwrap();
    let mut came = Vec::new();
    while came.len() < 4 {
        let bytes = |event: &Event| match event {
            Event::Bytes { bytes, .. } => Some(bytes.clone()),
            _ => None,
        };
        came.extend(watched.next("byte", bytes).await);
    }
    assert_eq!(came, b"\xff\xff\x00\xff");
    assert_eq!(watched.counters.counts().damaged, 0);
}

/// A pipe in the place of a USB device's file. The device gives one report a read; the pipe does
/// when each is read before the next is written.
fn report_device(path: &Path) -> std::fs::File {
    use rustix::fs::{CWD, FileType, Mode, mknodat};
    if !path.exists() {
        mknodat(CWD, path, FileType::Fifo, Mode::RWXU, 0).unwrap();
    }
    std::fs::OpenOptions::new().read(true).write(true).open(path).unwrap()
}

#[tokio::test]
async fn a_usb_weighing_device_is_read_report_by_report() {
    use std::io::Write;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hidraw0");
    let mut device = report_device(&path);
    let mut watched = watch(&path, "usb-weighing-report", |line| line);
    watched.back().await;
    device.write_all(b"\x03\x04\x02\x00\x0B\x02").unwrap();
    assert_eq!(watched.mass().await, Mass::parse("523 g").unwrap());
    device.write_all(b"\x03\x04\x02\xFF\x39\x30").unwrap();
    assert_eq!(watched.mass().await, Mass::parse("1234.5 g").unwrap());
    let mut second = watch(&path, "usb-weighing-report", |line| line);
    let held = format!("{} is in use by another program; close that program", path.display());
    assert_eq!(second.lost().await, held);
    drop(second);
    // the last writer is gone: no more reports can come
    drop(device);
    assert!(watched.lost().await.ends_with("was unplugged"));
    device = report_device(&path);
    watched.back().await;
    device.write_all(b"\x03\x03\x02\x00\x0C\x02").unwrap();
    assert_eq!(watched.mass().await, Mass::parse("524 g").unwrap());
}

#[tokio::test]
async fn an_open_port_that_says_nothing_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let mut watched = watch(port.link(), "comma-status-line", |line| line);
    watched.back().await;
    let silent = |event: &Event| match event {
        Event::Health(health @ Health::Silent { .. }) => health.words(),
        _ => None,
    };
    let words = watched.next("word of it", silent).await;
    assert_eq!(words, "open, but nothing has come for 5.0 s: is it switched on, and does it send?");
    assert_eq!(watched.counters.health().words(), Some(words));
    port.write(LINE).unwrap();
    let good = |event: &Event| (*event == Event::Health(Health::Good)).then_some(());
    watched.next("word that it speaks", good).await;
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
        Event::Health(Health::Unreadable { why }) => Some(why.clone()),
        _ => None,
    };
    let why = watched.next("word of it", unreadable).await;
    assert_eq!(why, "no pattern of the sheet fits it");
    assert!(watched.counters.counts().refused >= 20);
}

/// A command waits until the answer that is due has come, and is written before the next question.
#[tokio::test]
async fn a_command_is_not_mixed_with_a_question() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let orders = Orders::default();
    // for another pan than that of now
    orders.give(Clock::new().now(), Command::Tare);
    let mut watched = watch_with(port.link(), "letter-answer", |line| line, orders);
    watched.back().await;
    let asked = |event: &Event| matches!(event, Event::Asked { .. }).then_some(());
    watched.next("question", asked).await;
    let (asked_at, mut early) = (Instant::now(), Vec::new());
    watched.orders.give(Clock::new().now(), Command::Zero);
    // its time-out is one second
    while asked_at.elapsed() < Duration::from_millis(700) {
        early.extend(port.read().unwrap());
        tokio::task::yield_now().await;
    }
    assert_eq!(early, b"W\r\n", "the answer may still come");
    port.write(b"\r\nW S     523.40 g\r\n").unwrap();
    let spoken = |event: &Event| match event {
        Event::Item(Item::Reading(_)) => Some("reads".to_owned()),
        Event::Asked { .. } => Some("asks".to_owned()),
        Event::Told { command, .. } => Some(command.key().to_owned()),
        _ => None,
    };
    assert_eq!(watched.next("word", spoken).await, "reads");
    assert_eq!(watched.next("word", spoken).await, "zero");
    port.write(b"Z A\r\n").unwrap();
    assert_eq!(watched.next("word", spoken).await, "asks");
    let (mut written, began) = (early, Instant::now());
    while written.len() < 9 {
        written.extend(port.read().unwrap());
        assert!(began.elapsed() < PATIENCE, "{written:?}");
    }
    assert_eq!(written, b"W\r\nZ\r\nW\r\n");
    assert_eq!(watched.counters.counts().refused, 0);
}
