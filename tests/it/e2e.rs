//! The real program, real serial lines (pseudo-terminals), the real journal: the demonstration's
//! stories, and a batch made by hand through `panroom serve`, killed three times on the way.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use panroom::bench::{
    AlarmChange, AlarmId, Ask, BatchId, BatchView, Fact, Notice, Outcome, Phase, ProbeAt, Remedy,
    View,
};
use panroom::demo::SimPort;
use panroom::journal::{Reader, Verified};
use panroom::quantity::{Mass, MassUnit, TemperatureUnit};

/// Reached only when something hangs.
const PATIENCE: Duration = Duration::from_secs(60);
const SPEED: &str = "10";

pub fn panroom(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_panroom"));
    command.arg("--data").arg(folder);
    command
}

pub fn run(folder: &Path, args: &[&str]) -> Output {
    panroom(folder).args(args).output().unwrap()
}

pub fn succeed(folder: &Path, args: &[&str]) -> String {
    let output = run(folder, args);
    let (out, err) = (text(&output.stdout), text(&output.stderr));
    assert!(output.status.success(), "panroom {args:?}: {out}{err}");
    assert_eq!(err, "", "panroom {args:?} complains though it succeeds");
    out
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

pub fn facts(folder: &Path, batch: &BatchId) -> Vec<Fact> {
    let reader = Reader::open(&folder.join("journal.db")).unwrap();
    assert!(matches!(reader.verify(batch).unwrap(), Verified::Unbroken { .. }));
    reader.facts(batch).unwrap().into_iter().map(|row| row.numbered.fact).collect()
}

pub fn only_batch(folder: &Path) -> BatchId {
    let rows = Reader::open(&folder.join("journal.db")).unwrap().batches().unwrap();
    assert_eq!(rows.len(), 1);
    rows[0].batch.clone()
}

// --- the demonstration ---------------------------------------------------------------------------

/// Plays a story and gives what the terminal showed and what the journal holds.
fn demo(story: &str) -> (String, Vec<Fact>) {
    let folder = tempfile::tempdir().unwrap();
    let shown = succeed(folder.path(), &["demo", "--story", story, "--speed", SPEED]);
    let batch = only_batch(folder.path());
    let facts = facts(folder.path(), &batch);
    let closed = facts
        .iter()
        .any(|fact| matches!(fact, Fact::BatchClosed { outcome: Outcome::Finished, .. }));
    assert!(closed, "{shown}");
    assert!(shown.contains("What stands out"), "{shown}");
    assert!(shown.contains(&format!("review {batch}")), "{shown}");
    let again = succeed(folder.path(), &["review", &batch.0]);
    assert!(shown.contains(&again), "the review is another when looked at again");
    (shown, facts)
}

fn captured(facts: &[Fact], wanted: &str) -> Option<Mass> {
    facts.iter().rev().find_map(|fact| match fact {
        Fact::Captured { ingredient, net, .. } if ingredient.0 == wanted => Some(*net),
        _ => None,
    })
}

fn changes(facts: &[Fact], wanted: impl Fn(&AlarmId) -> bool) -> Vec<AlarmChange> {
    let changes = facts.iter().filter_map(|fact| match fact {
        Fact::AlarmChanged { alarm, change, .. } if wanted(alarm) => Some(*change),
        _ => None,
    });
    changes.collect()
}

const CAUSTIC: fn(&AlarmId) -> bool = |alarm| matches!(alarm, AlarmId::CausticOver { .. });

#[test]
fn demo_all_right() {
    let (_, facts) = demo("all-right");
    assert_eq!(changes(&facts, CAUSTIC), []);
    for (ingredient, grams) in [("coconut", 90.0), ("olive", 180.0), ("castor", 30.0)] {
        let net = captured(&facts, ingredient).unwrap_or_else(|| panic!("no {ingredient}")).grams();
        assert!((net - grams).abs() <= grams * 0.01 + 0.1, "{ingredient}: {net} g");
    }
}

#[test]
fn demo_caustic_over() {
    let (shown, facts) = demo("caustic-over");
    let changes = changes(&facts, CAUSTIC);
    assert_eq!(changes.first(), Some(&AlarmChange::Raised), "{changes:?}");
    assert_eq!(changes.last(), Some(&AlarmChange::Reset), "{changes:?}");
    let chosen = facts
        .iter()
        .any(|fact| matches!(fact, Fact::RemedyChosen { remedy: Remedy::SpoonOut, .. }));
    assert!(chosen);
    assert!(shown.contains("Stop pouring caustic"), "{shown}");
}

/// Three pots through one real daemon: each comes to its end, each with masses of its own.
#[test]
fn demo_three_pots() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["demo", "--story", "three-pots", "--speed", SPEED];
    let shown = succeed(folder.path(), &args);
    let journal = Reader::open(&folder.path().join("journal.db")).unwrap();
    let rows = journal.batches().unwrap();
    assert_eq!(rows.len(), 3);
    for row in rows {
        assert_eq!(row.outcome, Some(Outcome::Finished), "{shown}");
        let facts = facts(folder.path(), &row.batch);
        assert_eq!(changes(&facts, CAUSTIC), []);
        let olive = captured(&facts, "olive").unwrap().grams();
        assert!((olive - 180.0).abs() <= 1.9, "{}: {olive} g", row.batch);
        assert!(shown.contains(&format!("review {}", row.batch)), "{shown}");
    }
    for words in ["Pot B: Put the pot on the pan.", "The scale is now with pot C."] {
        assert!(shown.contains(words), "`{words}` is not shown:\n{shown}");
    }
    assert!(shown.contains("Pot A has caustic that is not dissolved yet"), "{shown}");
}

#[test]
fn demo_scale_unplugged() {
    let (shown, facts) = demo("scale-unplugged");
    let lost = facts.iter().any(
        |fact| matches!(fact, Fact::InstrumentLost { instrument, .. } if instrument == "scale"),
    );
    let back = facts
        .iter()
        .any(|fact| matches!(fact, Fact::InstrumentBack { instrument } if instrument == "scale"));
    assert!(lost && back);
    assert!(shown.contains("was unplugged"), "{shown}");
}

#[test]
fn demo_boil_over_near() {
    let (shown, facts) = demo("boil-over-near");
    let high = changes(&facts, |alarm| matches!(alarm, AlarmId::TemperatureHigh { .. }));
    assert_eq!(high.first(), Some(&AlarmChange::Raised), "{high:?}");
    assert!(high.contains(&AlarmChange::Acknowledged), "{high:?}");
    assert!(high.contains(&AlarmChange::ReturnedToNormal), "{high:?}");
    assert!(shown.contains("foam climbs before it boils"), "{shown}");
}

#[test]
fn demo_broken_probe() {
    let (shown, facts) = demo("broken-probe");
    let by_hand = facts
        .iter()
        .any(|fact| matches!(fact, Fact::SpotRead { at: ProbeAt::Pot, channel: None, .. }));
    assert!(by_hand, "{shown}");
    assert!(shown.contains("by hand"), "{shown}");
}

#[test]
fn demo_scale_asleep() {
    let (_, facts) = demo("scale-asleep");
    let doubted = facts.iter().position(|fact| matches!(fact, Fact::ZeroDoubted { .. }));
    let checked = facts.iter().position(|fact| {
        matches!(fact, Fact::ZeroChecked { offset, .. } if *offset < -Mass::parse("800 g").unwrap())
    });
    assert!(doubted.is_some() && doubted < checked, "{doubted:?} {checked:?}");
    let olive = captured(&facts, "olive").unwrap().grams();
    // what ran in while the scale was asleep is in the pot, and is counted
    assert!((175.0..190.0).contains(&olive), "{olive} g");
}

#[test]
fn demo_unit_key() {
    let (_, facts) = demo("unit-key");
    let changes: Vec<(MassUnit, MassUnit)> = facts
        .iter()
        .filter_map(|fact| match fact {
            Fact::Noticed { notice: Notice::UnitChanged { from, to }, .. } => Some((*from, *to)),
            _ => None,
        })
        .collect();
    let (gram, ounce) = (MassUnit::Gram, MassUnit::Ounce);
    assert_eq!(changes, [(gram, ounce), (ounce, gram)]);
}

#[test]
fn demo_caustic_late() {
    let (shown, facts) = demo("caustic-late");
    let used =
        facts.iter().any(|fact| matches!(fact, Fact::RemedyChosen { remedy: Remedy::UsePart, .. }));
    let out = facts.iter().any(|fact| matches!(fact, Fact::TakenOut { .. }));
    assert!(used && out, "{shown}");
    let heavy = changes(&facts, |alarm| matches!(alarm, AlarmId::LyeHeavy { .. }));
    assert_eq!(heavy.first(), Some(&AlarmChange::Raised), "{heavy:?}");
    assert_eq!(heavy.last(), Some(&AlarmChange::ReturnedToNormal), "{heavy:?}");
}

#[test]
fn demo_lye_first() {
    let (shown, facts) = demo("lye-first");
    let order: Vec<&str> = facts
        .iter()
        .filter_map(|fact| match fact {
            Fact::Captured { ingredient, .. } => Some(ingredient.0.as_str()),
            _ => None,
        })
        .collect();
    let first = |wanted: &str| order.iter().position(|name| *name == wanted);
    assert!(first("naoh").is_some() && first("naoh") < first("coconut"), "{order:?}\n{shown}");
}

// --- a batch by hand -----------------------------------------------------------------------------

/// A bar of one oil, made hot; what follows the liquid is the caller's.
pub fn hot_bar(name: &str, more: &str) -> String {
    format!(
        r#"
name = "{name}"
masses = "g"
temperatures = "°C"
superfat = "5 %"
process = "hot"

[[oil]]
fat = "olive oil"
mass = "200 g"

[[caustic]]
alkali = "NaOH"

[liquid]
of = "water"
amount = "2.5:1"
{more}"#
    )
}

const COOK: &str = r#"
[cook]
keep = "71 °C to 93 °C"
warn_above = "95 °C"
alarm_above = "98 °C"
for = "2 min"
look_every = "1 min"
"#;

/// A scale and a probe on two pseudo-terminals; what they show is set by the test.
pub struct Instruments {
    load_tenths: Arc<AtomicI64>,
    pub celsius_tenths: Arc<AtomicI64>,
    pub moving: Arc<AtomicBool>,
    pub scale: Arc<Mutex<SimPort>>,
    stop: Sender<()>,
    feeder: Option<JoinHandle<()>>,
}

impl Instruments {
    pub fn plugged_in(folder: &Path) -> Instruments {
        let port = |name: &str| {
            let mut port = SimPort::new(folder.join(name));
            port.plug().unwrap();
            Arc::new(Mutex::new(port))
        };
        let (scale, probe) = (port("scale"), port("probe"));
        let load_tenths = Arc::new(AtomicI64::new(0));
        let celsius_tenths = Arc::new(AtomicI64::new(210));
        let moving = Arc::new(AtomicBool::new(false));
        let (stop, stopped) = channel();
        let feeder = {
            let (load, celsius, moving) =
                (Arc::clone(&load_tenths), Arc::clone(&celsius_tenths), Arc::clone(&moving));
            let (scale, probe) = (Arc::clone(&scale), probe);
            std::thread::spawn(move || feed(&stopped, &load, &celsius, &moving, &scale, &probe))
        };
        let feeder = Some(feeder);
        Instruments { load_tenths, celsius_tenths, moving, scale, stop, feeder }
    }

    pub fn put(&self, grams: f64) {
        self.load_tenths.store((grams * 10.0).round() as i64, Ordering::Relaxed);
    }
}

impl Drop for Instruments {
    fn drop(&mut self) {
        let _ = self.stop.send(());
        let _ = self.feeder.take().map(JoinHandle::join);
    }
}

pub fn scale_line(status: &str, tenths: i64) -> String {
    let sign = if tenths < 0 { '-' } else { '+' };
    let (whole, tenth) = (tenths.abs() / 10, tenths.abs() % 10);
    format!("{status},{sign}{whole:06}.{tenth}  g\r\n")
}

/// A line of the scale every 10 ms (ten a second on a clock ten times as fast), of the probe every
/// 100 ms.
fn feed(
    stopped: &Receiver<()>,
    load: &AtomicI64,
    celsius: &AtomicI64,
    moving: &AtomicBool,
    scale: &Mutex<SimPort>,
    probe: &Mutex<SimPort>,
) {
    let mut tick = 0_u64;
    while stopped.recv_timeout(Duration::from_millis(10)).is_err() {
        let tenths = load.load(Ordering::Relaxed);
        let status = if moving.load(Ordering::Relaxed) { "US" } else { "ST" };
        let line = scale_line(status, tenths);
        scale.lock().unwrap().write(line.as_bytes()).unwrap();
        tick += 1;
        if tick.is_multiple_of(10) {
            let tenths = celsius.load(Ordering::Relaxed);
            // the second probe is in somebody's hand
            let line = format!("T1 +{:03}.{}C\r\nT2 +040.0C\r\n", tenths / 10, tenths % 10);
            probe.lock().unwrap().write(line.as_bytes()).unwrap();
        }
    }
}

/// `panroom serve`, and the means to kill it.
pub struct Served {
    folder: PathBuf,
    child: Child,
}

impl Drop for Served {
    fn drop(&mut self) {
        // long dead after a test that killed it
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Served {
    fn start(folder: &Path) -> Served {
        Served::start_at(folder, SPEED)
    }

    pub fn start_at(folder: &Path, speed: &str) -> Served {
        let child = panroom(folder)
            .args(["serve", "--speed", speed, "--bench"])
            .arg(folder.join("bench.toml"))
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let served = Served { folder: folder.to_owned(), child };
        served.wait("the daemon", |_| true);
        served
    }

    /// With nothing set up yet, as fast as life.
    pub fn from_nothing(folder: &Path) -> Served {
        Served::from_nothing_at(folder, "1")
    }

    pub fn from_nothing_at(folder: &Path, speed: &str) -> Served {
        Served::from_nothing_with(folder, &["--speed", speed])
    }

    pub fn from_nothing_with(folder: &Path, args: &[&str]) -> Served {
        let child = panroom(folder)
            .arg("serve")
            .args(args)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let served = Served { folder: folder.to_owned(), child };
        served.wait("the daemon", |_| true);
        served
    }

    pub fn signal(&self, signal: rustix::process::Signal) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, signal).unwrap();
    }

    /// `kill -9`.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Where the page is, as `panroom page` says it.
    pub fn page(&self) -> String {
        let said = succeed(&self.folder, &["page"]);
        said.trim().rsplit(' ').next().unwrap().to_owned()
    }

    pub fn view(&self) -> Option<View> {
        let output = run(&self.folder, &["watch", "--json"]);
        output.status.success().then(|| serde_json::from_slice(&output.stdout).unwrap())
    }

    /// Until the view is so.
    pub fn wait(&self, what: &str, so: impl Fn(&View) -> bool) -> View {
        let began = Instant::now();
        loop {
            let view = self.view();
            if let Some(view) = view.as_ref().filter(|view| so(view)) {
                return view.clone();
            }
            assert!(began.elapsed() < PATIENCE, "{what} does not come; {view:#?}");
        }
    }

    pub fn wait_batch(&self, what: &str, so: impl Fn(&BatchView) -> bool) -> BatchView {
        let view = self.wait(what, |view| view.batches.first().is_some_and(&so));
        view.batches[0].clone()
    }

    pub fn wait_step(&self, step: &str) -> BatchView {
        self.wait_batch(step, |batch| batch.step == step)
    }

    pub fn wait_phase(&self, phase: Phase) -> BatchView {
        let so = |batch: &BatchView| batch.weighing.as_ref().is_some_and(|w| w.phase == phase);
        self.wait_batch(&format!("{phase:?}"), so)
    }

    pub fn wait_ask(&self, what: &str, so: impl Fn(&Ask) -> bool) -> BatchView {
        self.wait_batch(what, |batch| batch.prompt.as_ref().is_some_and(|p| so(&p.asks)))
    }

    pub fn does(&self, args: &[&str]) {
        assert_eq!(succeed(&self.folder, args), "done\n");
    }
}

pub fn weighing(batch: &BatchView) -> (f64, f64) {
    let weighing = batch.weighing.as_ref().expect("something is weighed");
    let guard = weighing.target.guard.map_or(f64::NAN, |guard| guard.mass.grams());
    (weighing.target.mass.grams(), guard)
}

pub fn bench_in(folder: &Path) -> Instruments {
    let bench = format!(
        r#"
name = "test bench"
masses = "g"
temperatures = "°C"

[[instrument]]
name = "scale"
port = "{0}/scale"
sheet = "comma-status-line"

[[instrument.channel]]
name = "scale"
role = "scale"
d = "0.1 g"
capacity = "3 kg"
unit = "g"

[[instrument]]
name = "probe"
port = "{0}/probe"
sheet = "probe-stream"

[[instrument.channel]]
name = "pot"
role = "pot"
source = "T1"

[[instrument.channel]]
name = "stick"
role = "hand-held"
source = "T2"

# on a clock ten times as fast, a busy machine that holds a reading up for a third of a second is no
# scale that slept
[law]
scale_silence = "10 s"
scale_silence_caustic = "2 s"

[alarm]
command = ["sh", "-c", "cat >> {0}/alarms"]
"#,
        folder.display()
    );
    std::fs::set_permissions(folder, std::fs::Permissions::from_mode(0o700)).unwrap();
    std::fs::write(folder.join("bench.toml"), bench).unwrap();
    std::fs::write(folder.join("plain-bar.toml"), hot_bar("Plain Bar", COOK)).unwrap();
    Instruments::plugged_in(folder)
}

/// A daemon on two pseudo-terminals, for tests of other things.
pub fn serving(folder: &Path) -> (Served, Instruments) {
    let instruments = bench_in(folder);
    (Served::start(folder), instruments)
}

/// The same at so many times life: a browser's own clock is not faster, and a busy machine's pauses
/// must not look like a silent scale.
pub fn serving_at(folder: &Path, speed: &str) -> (Served, Instruments) {
    let instruments = bench_in(folder);
    (Served::start_at(folder, speed), instruments)
}

/// Two that weigh alike.
fn add_vessels(folder: &Path) {
    let vessel = |name: &str, purpose: &str, tare: &str| {
        format!(
            "[[vessel]]\nname = \"{name}\"\nfor = \"{purpose}\"\ntare = \"{tare}\"\n\
             material = \"polypropylene\"\n"
        )
    };
    let path = folder.join("bench.toml");
    let bench = std::fs::read_to_string(&path).unwrap()
        + &vessel("white cup", "caustic cup", "50 g")
        + &vessel("sample cup", "cup", "50.6 g");
    std::fs::write(path, bench).unwrap();
}

#[test]
fn a_batch_by_hand_survives_three_kills_and_is_reviewed() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let bench = bench_in(folder);
    add_vessels(folder);
    let served = Served::start(folder);
    let recipe = folder.join("plain-bar.toml");
    let started = succeed(folder, &["start", recipe.to_str().unwrap()]);
    assert!(started.contains("is started"), "{started}");

    // oil: killed in the middle of the pour
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(520.0);
    served.wait_batch("half of the oil", |batch| {
        batch.weighing.as_ref().and_then(|w| w.net).is_some_and(|net| net.grams() == 120.0)
    });
    served.kill();
    let served = Served::start(folder);
    bench.put(600.0);
    served.wait_ask("the question after a restart", |ask| *ask == Ask::StillThere);
    served.does(&["confirm"]);
    let batch = served.wait_step("weigh-naoh");
    assert_eq!(batch.captures[0].net.grams(), 200.0);
    assert!(batch.captures[0].recorded);

    // caustic: killed while it is over its guard
    bench.put(0.0);
    served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
    bench.put(50.0);
    served.wait_ask("which vessel", |ask| matches!(ask, Ask::WhichVessel { .. }));
    served.does(&["vessel", "white cup"]);
    let (target, guard) = weighing(&served.wait_phase(Phase::Pouring));
    bench.moving.store(true, Ordering::Relaxed);
    bench.put(50.0 + guard + 6.0);
    served.wait_ask("a remedy", |ask| matches!(ask, Ask::Remedy { .. }));
    served.kill();
    let served = Served::start(folder);
    served.wait_phase(Phase::Over);
    bench.put(0.0);
    served.wait_batch("the lifted cup", |batch| {
        batch.weighing.as_ref().is_some_and(|w| w.net.is_none())
    });
    served.wait_phase(Phase::Over);
    bench.moving.store(false, Ordering::Relaxed);
    served.does(&["choose", "spoon-out"]);
    bench.put(50.0 + target);
    served.wait_ask("the question after a restart", |ask| *ask == Ask::StillThere);
    served.does(&["confirm"]);
    // asked where the cup was seen long enough before it was lifted
    let asks_of_the_cup = |batch: &BatchView| {
        batch.prompt.as_ref().is_some_and(|prompt| matches!(prompt.asks, Ask::SameCup { .. }))
    };
    let is_captured = |batch: &BatchView| {
        batch.weighing.as_ref().is_some_and(|weighing| weighing.phase == Phase::Captured)
    };
    let batch =
        served.wait_batch("the spooned cup", |batch| asks_of_the_cup(batch) || is_captured(batch));
    if asks_of_the_cup(&batch) {
        served.does(&["confirm"]);
    }
    served.wait_phase(Phase::Captured);
    bench.put(0.0);

    // water, dissolving, combining
    let (target, _) = {
        served.wait_step("weigh-water");
        served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
        bench.put(120.0);
        weighing(&served.wait_phase(Phase::Pouring))
    };
    served.does(&["lot", "W-2"]);
    bench.put(120.0 + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
    served.wait_step("dissolve");
    served.does(&["confirm"]);
    served.wait_ask("the cup", |ask| matches!(ask, Ask::VesselBack { .. }));
    bench.put(50.0);
    served.wait_ask("combining", |ask| matches!(ask, Ask::Combined | Ask::CombineAnyway));
    bench.put(0.0);
    served.does(&["hold", "lye"]);
    let lye = served.wait_batch("the lye by the probe in the hand", |batch| {
        batch.temperatures.iter().any(|known| known.at == ProbeAt::Lye)
    });
    assert_eq!(lye.temperatures[0].temperature.show(TemperatureUnit::Celsius, 1), "40.0 °C");
    served.does(&["hold", "away"]);
    served.does(&["measured", "oils", "110 °F"]);
    let oils = served.wait_batch("the oils by hand", |batch| batch.temperatures.len() == 2);
    assert_eq!(oils.temperatures[0].source, panroom::bench::Source::ByHand);
    while served.wait_batch("anything", |_| true).step != "cook" {
        // windows that no probe watches want a second yes; the jug does not come back
        let _ = run(folder, &["confirm"]);
    }

    // cook: too hot, killed, looked at
    bench.celsius_tenths.store(965, Ordering::Relaxed);
    served.wait("the high temperature", |view| {
        view.alarms.iter().any(|a| matches!(a.alarm, AlarmId::TemperatureHigh { .. }))
    });
    succeed(folder, &["acknowledge"]);
    served.does(&["probe-out"]);
    assert!(succeed(folder, &["emergency"]).contains("rinse with plenty"));
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    served.kill();
    let served = Served::start(folder);
    served.wait_ask("a look", |ask| *ask == Ask::Look);
    served.does(&["confirm"]);
    served.does(&["observe", "trace", "light"]);
    served.does(&["correct", "olive", "199.9 g", "a drop stayed in the jug"]);
    let nothing = run(folder, &["remedy"]);
    assert!(!nothing.status.success());
    assert!(text(&nothing.stderr).contains("nothing to make good"), "{}", text(&nothing.stderr));
    let sample = "1 g of soap in 99 g of water";
    served.does(&["test", "pH of a 1 % solution", "9.8", "--by", "meter", "--sample", sample]);
    let finish = |ask: &Ask| *ask == Ask::Cooked;
    while served
        .wait_ask("a look or the end", |ask| *ask == Ask::Look || finish(ask))
        .prompt
        .is_some()
    {
        served.does(&["confirm"]);
        if served.wait_batch("anything", |_| true).step != "cook" {
            break;
        }
    }
    while served.wait_batch("anything", |_| true).prompt.is_some() {
        served.does(&["next"]);
    }
    served.does(&["close"]);

    let alarms = std::fs::read_to_string(folder.join("alarms")).unwrap();
    assert!(alarms.contains("caustic-over"), "the alarm command hears of it: {alarms}");

    let batch = only_batch(folder);
    let review = succeed(folder, &["review", &batch.0]);
    assert!(review.contains("over its guard"), "{review}");
    assert!(review.contains("olive oil"), "{review}");
    assert!(review.contains("then W-2"), "{review}");
    // however the lines are cut
    let flat = review.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("a drop stayed in the jug"), "{review}");
    served.kill();
    assert_eq!(succeed(folder, &["review", &batch.0]), review, "without a daemon it is the same");
    let replayed = succeed(folder, &["replay", &batch.0]);
    let same = replayed.lines().filter(|line| line.ends_with("all the same")).count();
    assert_eq!((same, replayed.lines().count()), (4, 4), "{replayed}");
    let json = succeed(folder, &["ledger", "--json"]);
    let rows: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(rows[0]["outcome"], "finished");
    let sessions = facts(folder, &batch);
    let reopened = sessions.iter().filter(|f| matches!(f, Fact::SessionOpened(_))).count();
    assert_eq!(reopened, 4, "the first session and one after each kill");
}

#[test]
fn a_second_daemon_on_the_same_folder_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let _bench = bench_in(folder.path());
    let served = Served::start(folder.path());
    let bench_file = folder.path().join("bench.toml");
    let second = run(folder.path(), &["serve", "--bench", bench_file.to_str().unwrap()]);
    assert!(!second.status.success());
    let expected = format!(
        "panroom: another panroom (process {}) uses {}; stop it, or name another folder with --data\n",
        served.child.id(),
        folder.path().display()
    );
    assert_eq!(text(&second.stderr), expected);
    served.kill();
}

#[test]
fn a_missing_port_is_named_and_tried_until_it_comes() {
    let folder = tempfile::tempdir().unwrap();
    let bench = bench_in(folder.path());
    bench.scale.lock().unwrap().unplug().unwrap();
    let served = Served::start(folder.path());
    let lost = served.wait("the alarm", |view| view.channels[0].lost.is_some());
    let why = lost.channels[0].lost.clone().unwrap();
    let missing = format!("{} is not there; plug it in", folder.path().join("scale").display());
    assert_eq!(why, missing);
    assert!(lost.alarms.iter().any(|alarm| alarm.active));
    bench.scale.lock().unwrap().plug().unwrap();
    served.wait("the scale", |view| view.channels[0].value.is_some());
    served.kill();
}

#[test]
fn terminating_stops_cleanly() {
    let folder = tempfile::tempdir().unwrap();
    let _bench = bench_in(folder.path());
    let mut served = Served::start(folder.path());
    let pid = rustix::process::Pid::from_child(&served.child);
    rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
    assert!(served.child.wait().unwrap().success());
    assert!(!folder.path().join("panroom.sock").exists());
    let lonely = run(folder.path(), &["confirm"]);
    assert_eq!(
        text(&lonely.stderr),
        format!(
            "panroom: no daemon runs on {}; start one with `panroom serve`\n",
            folder.path().join("panroom.sock").display()
        )
    );
}
