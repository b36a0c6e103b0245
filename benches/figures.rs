//! Figures of a bench with four instruments at ten readings a second, over pseudo-terminals, beside
//! a script of an afternoon: last byte on the wire → decision, CPU, memory; with a disk that takes
//! what it is given, and with a journal that is blocked for five seconds. `docs/figures.md` says how
//! to run it and what came out.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use panroom::bench_file::BenchFile;
use panroom::clock::Clock;
use panroom::daemon::{self, Folder};
use panroom::demo::SimPort;
use panroom::problem::Source;
use panroom::wire::SheetLibrary;
use rustix::time::{ClockId, clock_gettime};

const PORTS: [&str; 4] = ["scale", "oils", "lye", "pot"];
const APART: Duration = Duration::from_millis(100);
const BLOCKED: Duration = Duration::from_secs(5);
/// Steps of `Mass` in a tenth of a gram.
const TENTH: i64 = 160_000_000;

type Stamps = BTreeMap<i64, i64>;

fn main() {
    // `cargo test --all-targets` asks for a look only
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let seconds = std::env::var("PANROOM_FIGURES_SECONDS")
        .ok()
        .map_or(15, |seconds| seconds.parse().expect("seconds are a number"));
    let length = Duration::from_secs(seconds);
    println!("{:<34} {:>9} {:>9} {:>9} {:>9}", "", "median", "p99", "worst", "readings");
    // what the machine itself takes, at this hour: a thread that does nothing but read
    show("bare reader", "no disk", &bare_latency(length));
    for blocked in [false, true] {
        let how = if blocked { "journal blocked 5 s" } else { "free disk" };
        let ours = panroom_latency(length, blocked);
        let script = script_latency(length, blocked);
        let (ours, script) = (show("panroom", how, &ours), show("script", how, &script));
        println!(
            "  the script needs {:.1} times as long at the median, {:.1} times at p99",
            script.0 / ours.0,
            script.1 / ours.1
        );
    }
    println!("\n{:<34} {:>12} {:>14}", "", "CPU of one", "memory, MB");
    load("panroom", length, panroom_child);
    load("script", length, script_child);
}

fn show(what: &str, how: &str, waits: &[i64]) -> (f64, f64) {
    let mut waits = waits.to_vec();
    waits.sort_unstable();
    let at = |share: f64| waits[((waits.len() - 1) as f64 * share).ceil() as usize] as f64 / 1e6;
    let name = format!("{what}, {how}");
    let (median, p99) = (at(0.5), at(0.99));
    println!("{name:<34} {median:>6.2} ms {p99:>6.2} ms {:>6.2} ms {:>9}", at(1.0), waits.len());
    (median, p99)
}

fn monotonic_ns() -> i64 {
    let time = clock_gettime(ClockId::Monotonic);
    time.tv_sec * 1_000_000_000 + time.tv_nsec
}

struct Wires(Vec<SimPort>);

impl Wires {
    fn new(folder: &Path) -> Wires {
        Wires(
            PORTS
                .iter()
                .map(|name| {
                    let mut port = SimPort::new(folder.join(name));
                    port.plug().expect("a pseudo-terminal");
                    port
                })
                .collect(),
        )
    }

    /// Ten lines a second on each, every one of the scale another; when each was written.
    fn talk(&self, length: Duration, mut meanwhile: impl FnMut(Duration)) -> Stamps {
        let mut sent = Stamps::new();
        let began = Instant::now();
        let mut tenths = 10_000;
        while began.elapsed() < length {
            for (number, port) in self.0.iter().enumerate().skip(1) {
                let line = format!("T1 +{:03}.{}C\r\n", 20 + number, tenths % 10);
                port.write(line.as_bytes()).expect("a line");
            }
            let line = format!("ST,+{:06}.{}  g\r\n", tenths / 10, tenths % 10);
            sent.insert(tenths, monotonic_ns());
            self.0[0].write(line.as_bytes()).expect("a line");
            tenths += 1;
            meanwhile(began.elapsed());
            std::thread::sleep(APART);
        }
        sent
    }
}

/// Holds the database as another program would, from the third second on.
struct Blocker {
    database: rusqlite::Connection,
    wanted: bool,
    holds: bool,
}

impl Blocker {
    fn new(path: &Path, wanted: bool) -> Blocker {
        let database = rusqlite::Connection::open(path).expect("the database");
        database.busy_timeout(Duration::from_secs(1)).expect("a time-out");
        Blocker { database, wanted, holds: false }
    }

    fn at(&mut self, passed: Duration) {
        let began = Duration::from_secs(3);
        let due = self.wanted && (began..began + BLOCKED).contains(&passed);
        if due == self.holds {
            return;
        }
        let command = if due { "BEGIN IMMEDIATE" } else { "ROLLBACK" };
        self.holds = self.database.execute_batch(command).is_ok() == due;
    }
}

fn waits(sent: &Stamps, decided: &Stamps) -> Vec<i64> {
    // the first lines are from before everything is open; a reading that nobody saw by itself was
    // decided with the next
    let decided_at = |key: &i64| decided.range(key..).next().map(|(_, at)| *at);
    sent.iter().skip(10).filter_map(|(key, at)| Some(decided_at(key)? - at)).collect()
}

fn bench_text(folder: &Path) -> String {
    let mut text = "name = \"figures\"\nmasses = \"g\"\ntemperatures = \"°C\"\n".to_owned();
    for name in PORTS {
        let port = folder.join(name);
        let (sheet, rest) = match name {
            "scale" => ("comma-status-line", "d = \"0.1 g\"\ncapacity = \"6 kg\"\nunit = \"g\""),
            _ => ("probe-stream", "source = \"T1\""),
        };
        text += &format!(
            "\n[[instrument]]\nname = \"{name}\"\nport = \"{}\"\nsheet = \"{sheet}\"\n\n\
             [[instrument.channel]]\nname = \"{name}\"\nrole = \"{name}\"\n{rest}\n",
            port.display()
        );
    }
    text
}

/// The daemon in this process: the newest view holds the reading, so it has been decided upon.
fn panroom_latency(length: Duration, blocked: bool) -> Vec<i64> {
    let folder = tempfile::tempdir().expect("a folder");
    let wires = Wires::new(folder.path());
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("a runtime");
    let text = bench_text(folder.path());
    let bench_file =
        BenchFile::read(Source { file: "figures", text: &text }).expect("a bench file");
    let options = daemon::Options {
        folder: Folder::new(folder.path().join("data")),
        bench_file,
        bench_path: None,
        page: None,
        sheets: SheetLibrary::built_in().expect("sheets"),
        clock: Clock::new(),
    };
    let daemon = runtime.block_on(daemon::start(options)).expect("the daemon");
    let decided = Arc::new(Mutex::new(Stamps::new()));
    let mut views = daemon.desk.views();
    let seen = Arc::clone(&decided);
    let watch = runtime.spawn(async move {
        while views.changed().await.is_ok() {
            let now = monotonic_ns();
            let view = Arc::clone(&views.borrow_and_update());
            let value =
                view.channels.iter().find(|c| c.instrument == "scale").and_then(|c| c.value);
            if let Some(panroom::reading::Value::Mass { mass, .. }) = value {
                let mut seen = seen.lock().expect("no panic in here");
                seen.entry(mass.steps() / TENTH).or_insert(now);
            }
        }
    });
    let mut blocker = Blocker::new(&folder.path().join("data/journal.db"), blocked);
    let sent = wires.talk(length, |passed| blocker.at(passed));
    watch.abort();
    drop(blocker);
    runtime.block_on(daemon.stop()).expect("an orderly end");
    waits(&sent, &decided.lock().expect("no panic in there"))
}

fn bare_latency(length: Duration) -> Vec<i64> {
    let folder = tempfile::tempdir().expect("a folder");
    let wires = Wires::new(folder.path());
    let port = std::fs::File::open(folder.path().join(PORTS[0])).expect("a port");
    let reader = std::thread::spawn(move || {
        let mut decided = Stamps::new();
        // ends when the cable is pulled
        for line in BufReader::new(port).lines().map_while(Result::ok) {
            let digits: String = line.chars().filter(char::is_ascii_digit).collect();
            decided.entry(digits.parse().unwrap_or(0)).or_insert_with(monotonic_ns);
        }
        decided
    });
    let sent = wires.talk(length, |_| {});
    drop(wires);
    waits(&sent, &reader.join().expect("no panic in there"))
}

fn panroom_child(folder: &Path) -> Child {
    std::fs::write(folder.join("bench.toml"), bench_text(folder)).expect("a bench file");
    Command::new(env!("CARGO_BIN_EXE_panroom"))
        .arg("--data")
        .arg(folder.join("data"))
        .args(["serve", "--bench"])
        .arg(folder.join("bench.toml"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("panroom")
}

fn script_child(folder: &Path) -> Child {
    Command::new("python3")
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/script_logger.py"))
        .arg(folder.join("script.db"))
        .args(PORTS.map(|name| folder.join(name)))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3")
}

fn script_latency(length: Duration, blocked: bool) -> Vec<i64> {
    let folder = tempfile::tempdir().expect("a folder");
    let wires = Wires::new(folder.path());
    let mut child = script_child(folder.path());
    let out = BufReader::new(child.stdout.take().expect("its output"));
    let decided = Arc::new(Mutex::new(Stamps::new()));
    let seen = Arc::clone(&decided);
    let watch = std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            let mut words = line.split(' ').filter_map(|word| word.parse().ok());
            if let (Some(key), Some(at)) = (words.next(), words.next()) {
                seen.lock().expect("no panic in here").entry(key).or_insert(at);
            }
        }
    });
    // until its table is there
    let database = folder.path().join("script.db");
    let began = Instant::now();
    let has_table = || {
        let file = rusqlite::Connection::open(&database).ok()?;
        file.query_row("SELECT count(*) FROM reading", [], |row| row.get::<_, i64>(0)).ok()
    };
    while has_table().is_none() {
        assert!(began.elapsed() < Duration::from_secs(30), "the script does not begin");
    }
    let mut blocker = Blocker::new(&database, blocked);
    let sent = wires.talk(length, |passed| blocker.at(passed));
    drop(blocker);
    // what waits behind the block is decided late, but it is decided
    wires.talk(Duration::from_secs(1), |_| {});
    let _ = child.kill();
    let _ = child.wait();
    let _ = watch.join();
    waits(&sent, &decided.lock().expect("no panic in there"))
}

/// Share of one processor, and the most memory it had, of the program as a process of its own.
fn load(what: &str, length: Duration, start: fn(&Path) -> Child) {
    let folder = tempfile::tempdir().expect("a folder");
    let wires = Wires::new(folder.path());
    let mut child = start(folder.path());
    let drain = child
        .stdout
        .take()
        .map(|mut out| std::thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink())));
    wires.talk(Duration::from_secs(2), |_| {});
    let (before, began) = (cpu_ticks(child.id()), Instant::now());
    wires.talk(length, |_| {});
    // USER_HZ is 100 on Linux (proc(5))
    let used = (cpu_ticks(child.id()) - before) as f64 / 100.0;
    let share = used / began.elapsed().as_secs_f64() * 100.0;
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).expect("proc");
    let kib: f64 = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:")?.split_whitespace().next()?.parse().ok())
        .expect("VmHWM");
    let name = format!("{what}, 4 × 10 readings/s");
    println!("{name:<34} {share:>10.2} % {:>14.1}", kib / 1024.0);
    let _ = child.kill();
    let _ = child.wait();
    let _ = drain.map(std::thread::JoinHandle::join);
}

/// User and system time, fields 14 and 15 of proc(5).
fn cpu_ticks(pid: u32) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).expect("proc");
    let behind_name = stat.rsplit(") ").next().expect("a name in brackets");
    let fields: Vec<&str> = behind_name.split(' ').collect();
    fields[11].parse::<u64>().expect("utime") + fields[12].parse::<u64>().expect("stime")
}
