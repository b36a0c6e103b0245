//! The scale told to take a zero: the law on a virtual clock, then the real daemon and command line
//! against a simulated instrument on a pseudo-terminal that obeys.

use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

use panroom::bench::{
    Act, Ask, BackVerdict, BatchId, Fact, Input, Order, Outcome, Phase, Remedy, Reply, ZeroCame,
};
use panroom::demo::SimPort;
use panroom::quantity::Mass;
use panroom::reading::{Channel, Status};

use crate::browser::Browser;
use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};
use crate::e2e::{Served, panroom, run, succeed};
use crate::instruments::until_it_ends;
use crate::pan_press::press_twice;

// --- the law -------------------------------------------------------------------------------------

fn zero() -> Act {
    Act::Zero { channel: Channel::new("scale") }
}

fn refused(driver: &mut Driver, because: &str) {
    let reply = driver.act(zero());
    let Reply::Refused { words, .. } = &reply else { panic!("{reply:?}") };
    assert!(words.contains(because), "{words}");
    let asked = driver.facts.iter().any(|fact| matches!(fact.fact, Fact::ZeroAsked { .. }));
    assert!(!asked, "refused, and asked all the same");
}

fn came(driver: &Driver) -> Option<ZeroCame> {
    driver.view().channels.iter().find(|known| known.channel.as_str() == "scale")?.zero
}

fn doubts(driver: &Driver) -> usize {
    let doubt = |fact: &Fact| matches!(fact, Fact::ZeroDoubted { .. } | Fact::ZeroChecked { .. });
    driver.facts.iter().filter(|numbered| doubt(&numbered.fact)).count()
}

/// The first oil is captured and the pot is off the pan: no caustic is about yet.
fn between_oils() -> Driver {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 100.0);
    while driver.captured("coconut").is_none() {
        driver.tick();
    }
    driver.put(0.0);
    driver.expect_step("weigh-olive");
    driver
}

fn zeros(driver: &Driver) -> Vec<Mass> {
    driver.bench.state().zeros.values().copied().collect()
}

fn tared(driver: &Driver) -> bool {
    let olive = |fact: &Fact| matches!(fact, Fact::Tared { step, .. } if step == "weigh-olive");
    driver.facts.iter().any(|numbered| olive(&numbered.fact))
}

/// The pot comes back, and 200 g of olive oil are 200 g.
fn olive_is_weighed_right(driver: &mut Driver, pot: f64) {
    driver.put(pot);
    assert!(tared(driver));
    driver.pour_to(pot + 200.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

/// Between two weighings the empty pan has drifted by 0.9 g; the pot comes back and is known.
#[test]
fn a_zero_by_command_is_expected_and_moves_the_books_with_it() {
    let mut driver = between_oils();
    driver.put(0.9);
    driver.inputs.push((driver.now, Input::Act(zero())));
    let output = driver.bench.handle(driver.now, &Input::Act(zero()));
    assert_eq!(output.reply, Some(Reply::Done));
    assert_eq!(output.orders, [Order::Zero { instrument: "scale".to_owned() }]);
    driver.facts.extend(output.facts);
    assert_eq!(came(&driver), Some(ZeroCame::Asked));
    assert_eq!(driver.act(zero()), Reply::AlreadyDone, "it is on its way");
    driver.load = 0.0;
    driver.run(1.9);
    assert_eq!(came(&driver), Some(ZeroCame::Asked), "not at rest for 2 s yet");
    driver.run(0.3);
    assert_eq!(came(&driver), Some(ZeroCame::Taken));
    let taken = driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::ZeroTaken { offset, batch, .. } => Some((*offset, batch.is_some())),
        _ => None,
    });
    assert_eq!(taken, Some((g("0"), true)));
    olive_is_weighed_right(&mut driver, POT_G + 100.0);
    assert_eq!(doubts(&driver), 0, "nobody suspects the scale of having slept");
}

/// A scale may be silent for a while until it is still enough for its zero: 3 s of silence are
/// otherwise a doubt.
#[test]
fn the_silence_of_a_scale_that_takes_its_zero_is_no_doubt() {
    let mut driver = between_oils();
    driver.put(0.9);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.scale_talks = false;
    driver.run(3.5);
    driver.scale_talks = true;
    driver.put(0.0);
    assert_eq!(came(&driver), Some(ZeroCame::Taken));
    driver.put(POT_G + 100.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(doubts(&driver), 0);
}

#[test]
fn no_zero_is_told_with_anything_counted_on_the_pan() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 50.0);
    driver.run(3.0);
    refused(&mut driver, "pot A is being weighed on it");
    driver.put(0.0);
    refused(&mut driver, "pot A is being weighed on it");
}

#[test]
fn no_zero_is_told_near_caustic() {
    let about = "the caustic of pot A is being weighed or not dissolved yet";
    let mut driver = Driver::oils_weighed();
    refused(&mut driver, about);
    driver.put(CUP_G);
    refused(&mut driver, "pot A is being weighed on it");
    let full = CUP_G + driver.target();
    driver.pour_to(full);
    refused(&mut driver, "pot A is being weighed on it");
    driver.put(0.0);
    driver.expect_step("weigh-water");
    // the pan is clear, and the cup beside it could be put down before the command arrives
    refused(&mut driver, about);
    // the cup with the caustic comes back to an empty pan, and is no vessel for water
    driver.put(full);
    refused(&mut driver, about);
}

/// 20 d is the least that may be a vessel: 2.0 g on this scale.
#[test]
fn an_empty_pan_is_what_the_books_say() {
    for (reads, allowed) in [("1.9", true), ("2.0", false), ("-1.9", true)] {
        let mut driver = Driver::cooking();
        driver.put(reads.parse().unwrap());
        if allowed {
            assert_eq!(driver.act(zero()), Reply::Done, "{reads} g");
        } else {
            refused(&mut driver, "the pan reads 2.0 g, so something stands on it");
        }
    }
    let mut driver = Driver::cooking();
    driver.status = Status::InMotion;
    driver.run(1.0);
    refused(&mut driver, "the scale is not at rest");
}

/// Without a batch there are no books, and the operator says that the pan is empty; 4 % of 3 kg are
/// a load all the same (OIML R 76-1, 4.5.1, from memory).
#[test]
fn without_a_batch_a_scale_switched_on_under_a_load_can_be_zeroed() {
    for (reads, allowed) in [(120.0, true), (-120.0, true), (120.1, false)] {
        let mut driver = Driver::new();
        driver.put(reads);
        let reply = driver.act(zero());
        assert_eq!(reply == Reply::Done, allowed, "{reads} g: {reply:?}");
    }
}

#[test]
fn a_scale_that_does_not_obey_is_told_of_and_the_books_stay() {
    let mut driver = between_oils();
    driver.put(0.9);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.run(7.9);
    assert_eq!(came(&driver), Some(ZeroCame::Asked));
    driver.run(0.1);
    assert_eq!(came(&driver), Some(ZeroCame::NotTaken));
    let said = driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::ZeroNotTaken { gross, .. } => Some(*gross),
        _ => None,
    });
    assert_eq!(said, Some(Some(g("0.9"))));
    assert!(zeros(&driver).is_empty());
    driver.put(POT_G + 100.0);
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// A pot put down too early: the scale may be about to call it nothing, so it is not counted, and
/// not after its time either, until a bare pan has been seen.
#[test]
fn no_vessel_is_counted_until_it_is_known_what_became_of_the_zero() {
    let mut driver = between_oils();
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.put(POT_G + 100.0);
    assert!(!tared(&driver));
    assert_eq!(came(&driver), Some(ZeroCame::Asked));
    driver.run(36.0);
    assert!(!tared(&driver));
    assert_eq!(came(&driver), Some(ZeroCame::InDoubt), "for as long as it lasts");
    let batch = &driver.view().batches[0];
    assert_eq!(batch.weighing.as_ref().unwrap().phase, Phase::ZeroDoubted);
    assert!(batch.sentence.contains("take everything off the pan"), "{}", batch.sentence);
    driver.act(zero());
    let again = |fact: &Fact| matches!(fact, Fact::ZeroAsked { .. });
    assert_eq!(driver.facts.iter().filter(|numbered| again(&numbered.fact)).count(), 1);
    driver.put(0.0);
    assert_eq!(zeros(&driver), [g("0")]);
    olive_is_weighed_right(&mut driver, POT_G + 100.0);
}

/// The books are at -150 g; the scale obeys at once, and the pot is back before it has rested.
fn obeyed_unseen() -> Driver {
    let mut driver = between_oils();
    driver.put(-150.0);
    assert_eq!(zeros(&driver), [g("-150")]);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.load = 0.0;
    driver.run(1.0);
    driver.load = POT_G + 100.0;
    driver.run(1.0);
    assert_eq!(came(&driver), Some(ZeroCame::Asked));
    driver
}

#[test]
fn a_zero_that_was_obeyed_unseen_is_in_doubt_until_the_pan_is_bare() {
    let mut driver = obeyed_unseen();
    driver.run(10.0);
    assert_eq!(came(&driver), Some(ZeroCame::InDoubt));
    assert!(!tared(&driver), "the pot would be wrong by 150 g");
    driver.put(0.0);
    assert_eq!(zeros(&driver), [g("0")]);
    olive_is_weighed_right(&mut driver, POT_G + 100.0);
}

/// Bare, and yet 30 d, 3.0 g on this scale, above nought: that might be a vessel, so only the
/// scale's own zero key leads on, and the screen says so.
#[test]
fn in_doubt_with_a_weight_on_a_bare_pan_the_zero_key_is_the_way_out() {
    let mut driver = obeyed_unseen();
    driver.run(10.0);
    driver.put(3.0);
    driver.put(POT_G + 103.0);
    driver.put(3.0);
    assert_eq!(came(&driver), Some(ZeroCame::InDoubt), "a vessel on and off does not help");
    let sentence = driver.view().batches[0].sentence.clone();
    assert!(sentence.contains("shows a weight: press the scale's own zero key"), "{sentence}");
    driver.put(0.0);
    assert_eq!(zeros(&driver), [g("0")]);
    olive_is_weighed_right(&mut driver, POT_G + 100.0);
}

#[test]
fn a_restart_does_not_forget_a_zero_that_was_asked() {
    let mut driver = obeyed_unseen();
    driver.kill_and_restart();
    driver.run(3.0);
    assert!(!tared(&driver));
    driver.run(10.0);
    assert_eq!(came(&driver), Some(ZeroCame::InDoubt));
    assert!(!tared(&driver), "the pot would be wrong by 150 g");
    driver.put(0.0);
    assert_eq!(zeros(&driver), [g("0")]);
    olive_is_weighed_right(&mut driver, POT_G + 100.0);
    // where it rests at what it read before, nothing was taken
    let mut driver = between_oils();
    driver.put(-150.0);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.kill_and_restart();
    driver.run(9.0);
    assert_eq!(came(&driver), Some(ZeroCame::NotTaken));
    olive_is_weighed_right(&mut driver, POT_G - 50.0);
}

/// 20 d, 2.0 g on this scale, are the least that may be a vessel. The scale calls it nought.
#[test]
fn nought_is_not_believed_with_a_load_read_since_the_command() {
    for (load, believed) in [(1.9, true), (2.0, false), (POT_G + 100.0, false)] {
        let mut driver = between_oils();
        assert_eq!(driver.act(zero()), Reply::Done);
        driver.load = load;
        driver.run(1.0);
        driver.load = 0.0;
        driver.run(3.0);
        let now = if believed { ZeroCame::Taken } else { ZeroCame::Asked };
        assert_eq!(came(&driver), Some(now), "{load} g");
        driver.run(10.0);
        if believed {
            continue;
        }
        assert_eq!(came(&driver), Some(ZeroCame::InDoubt), "{load} g");
        driver.put(-load);
        assert_eq!(zeros(&driver).iter().map(|zero| zero.grams()).collect::<Vec<_>>(), [-load]);
        olive_is_weighed_right(&mut driver, POT_G + 100.0 - load);
    }
}

#[test]
fn what_cannot_be_told_says_why() {
    let mut driver = Driver::oils_weighed();
    let (instrument, why) = ("scale".to_owned(), "/dev/scale was unplugged".to_owned());
    driver.input(&Input::InstrumentLost { instrument, why });
    refused(&mut driver, "`scale` cannot be told anything: /dev/scale was unplugged");
    let mut driver = Driver::oils_weighed();
    let reply = driver.act(Act::Zero { channel: Channel::new("pot") });
    assert!(matches!(reply, Reply::Refused { words, .. } if words.contains("the scale is called")));
    let mut driver = Driver::new();
    driver.setup.channels[0].zeroes = false;
    driver.open_session(2, None);
    driver.run(3.0);
    refused(&mut driver, "the wire sheet of `scale` has no command for that");
}

/// The record of the batch says that the zero was moved, and by whom: nobody's key.
#[test]
fn a_restart_finds_the_zero_that_was_taken() {
    let mut driver = between_oils();
    driver.put(0.9);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.put(0.0);
    assert_eq!(came(&driver), Some(ZeroCame::Taken));
    driver.kill_and_restart();
    assert_eq!(came(&driver), None, "what was under way is forgotten");
    assert_eq!(zeros(&driver), [g("0")]);
}

// --- the command is on its way: what else reads the pan waits too ------------------------------------

fn start_b(driver: &mut Driver) -> BatchId {
    let other = BatchId("2026-11-25-b".to_owned());
    assert_eq!(driver.act(Act::start(other.clone(), Arc::new(control()))), Reply::Done);
    other
}

fn abandon(driver: &mut Driver, batch: BatchId) {
    let close = Act::Close { batch, outcome: Outcome::Abandoned, note: String::new() };
    assert_eq!(driver.act(close), Reply::Done);
}

/// The batch of a cup with caustic was given up. Somebody puts the cup back while the scale takes
/// its zero, which calls it nought: that pan is not clear, and no other batch gets the scale.
#[test]
fn nought_in_doubt_is_no_pan_clear_of_caustic() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    abandon(&mut driver, batch_id());
    driver.put(0.0);
    assert_eq!(driver.act(zero()), Reply::Done);
    driver.load = CUP_G + 20.0;
    driver.run(1.0);
    driver.put(0.0);
    let other = start_b(&mut driver);
    let holder = |driver: &Driver| driver.bench.state().leases.get(&Channel::new("scale")).cloned();
    assert_eq!((came(&driver), holder(&driver)), (Some(ZeroCame::Asked), None));
    driver.run(10.0);
    assert_eq!((came(&driver), holder(&driver)), (Some(ZeroCame::InDoubt), None));
    // all comes off: what the empty pan reads is the zero, and the scale is free
    driver.put(-(CUP_G + 20.0));
    assert_eq!((came(&driver), holder(&driver)), (Some(ZeroCame::Taken), Some(other)));
}

/// The emptied cup comes back before anybody knows what the scale counts from: what it reads says
/// nothing of what is left in it, neither by itself nor with a yes.
#[test]
fn no_cup_is_weighed_back_on_a_zero_in_doubt() {
    let back = |driver: &Driver| {
        driver.facts.iter().find_map(|numbered| match numbered.fact {
            Fact::VesselBack { verdict, .. } => Some(verdict),
            _ => None,
        })
    };
    for yes in [false, true] {
        let mut driver = Driver::dissolved();
        driver.put(0.0);
        assert_eq!(driver.act(zero()), Reply::Done);
        driver.put(CUP_G);
        assert_eq!((came(&driver), back(&driver)), (Some(ZeroCame::Asked), None));
        driver.run(10.0);
        assert_eq!((came(&driver), back(&driver)), (Some(ZeroCame::InDoubt), None));
        if yes {
            assert_eq!(driver.confirm(), Reply::Done);
            assert_eq!(back(&driver), Some(BackVerdict::Unknown));
            continue;
        }
        driver.put(0.0);
        driver.put(CUP_G);
        assert_eq!(back(&driver), Some(BackVerdict::Whole));
    }
}

/// No batch has the scale: the last that did was given up, and a look at the cook of the other is
/// due. What two presses lean on may be a load that the scale calls nought: while the command is
/// on its way, and after a silence.
#[test]
fn two_presses_are_no_yes_while_the_zero_may_move() {
    for (told, silent, yes) in [(false, 0.0, true), (true, 0.0, false), (false, 3.5, false)] {
        let mut driver = Driver::cooking();
        let other = start_b(&mut driver);
        driver.run(1.0);
        assert_eq!(driver.bench.state().leases.get(&Channel::new("scale")), Some(&other));
        abandon(&mut driver, other);
        driver.put(0.9);
        driver.run(600.0);
        assert_eq!(driver.asks(), Some(Ask::Look));
        if told {
            assert_eq!(driver.act(zero()), Reply::Done);
        }
        driver.scale_talks = false;
        driver.run(silent);
        driver.scale_talks = true;
        // whatever alarm the silence raised is gone and acknowledged
        driver.run(2.5);
        for alarm in driver.view().alarms {
            driver.act(Act::Acknowledge { alarm: alarm.alarm });
        }
        assert!(driver.view().alarms.is_empty());
        press_twice(&mut driver);
        assert_eq!(driver.asks().is_none(), yes, "told {told}, {silent} s of silence");
        assert_eq!(came(&driver), told.then_some(ZeroCame::Asked));
    }
}

/// The books are at -100 g. The scale is silent until the jug with the lye stands on it, shows it,
/// and calls it nought: nothing has been taken off the pan.
#[test]
fn a_jug_that_is_called_nought_is_no_pan_emptied() {
    let mut driver = between_oils();
    driver.put(-100.0);
    for (vessel, holds) in [(POT_G, 100.0), (CUP_G, 0.0), (JUG_G, 0.0)] {
        let stands = vessel + holds - 100.0;
        driver.put(stands);
        driver.pour_to(stands + driver.target());
        driver.put(-100.0);
    }
    for _ in 0..2 {
        assert_eq!(driver.confirm(), Reply::Done, "dissolved, and the cup is not weighed back");
    }
    let (reason, batch, ingredient) = ("misread".to_owned(), batch_id(), "olive".into());
    let correct = Act::Correct { batch, ingredient, mass: g("180"), reason };
    assert_eq!(driver.act(correct), Reply::Done);
    driver.run(2.5);
    assert_eq!(driver.act(zero()), Reply::Done);
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::UsePart }), Reply::Done);
    assert_eq!(driver.phase(), Phase::TakingOut);
    driver.scale_talks = false;
    driver.run(3.1);
    driver.scale_talks = true;
    let lye = driver.captured("naoh").unwrap() + driver.captured("water").unwrap();
    let jug = JUG_G + lye.grams();
    driver.load = jug - 100.0;
    driver.run(2.2);
    driver.load = 0.0;
    driver.run(2.2);
    assert_eq!((came(&driver), zeros(&driver)), (Some(ZeroCame::Asked), vec![g("-100")]));
    driver.run(3.0);
    assert_eq!((came(&driver), zeros(&driver)), (Some(ZeroCame::InDoubt), vec![g("-100")]));
    driver.put(-jug);
    assert_eq!(came(&driver), Some(ZeroCame::Taken));
    assert_eq!(zeros(&driver), [-(g(&JUG_G.to_string()) + lye)]);
}

// --- the real daemon -------------------------------------------------------------------------------

/// An instrument that answers W with its load and takes its zero at Z, as devices/letter-answer
/// says; it remembers what it was told.
struct Answering {
    /// Tenths of a gram above what it calls zero.
    tenths: Arc<AtomicI64>,
    obeys: Arc<AtomicBool>,
    told: Arc<Mutex<Vec<u8>>>,
    stop: Sender<()>,
    thread: Option<JoinHandle<()>>,
}

impl Answering {
    fn plugged_in(link: &Path) -> Answering {
        let mut port = SimPort::new(link.to_owned());
        port.plug().unwrap();
        let tenths = Arc::new(AtomicI64::new(9));
        let obeys = Arc::new(AtomicBool::new(true));
        let told = Arc::new(Mutex::new(Vec::new()));
        let (stop, stopped) = channel();
        let (load, does, heard) = (Arc::clone(&tenths), Arc::clone(&obeys), Arc::clone(&told));
        let thread = std::thread::spawn(move || {
            let mut line = Vec::new();
            while stopped.recv_timeout(Duration::from_millis(20)) == Err(RecvTimeoutError::Timeout)
            {
                for byte in port.read().unwrap() {
                    line.push(byte);
                    if !line.ends_with(b"\r\n") {
                        continue;
                    }
                    heard.lock().unwrap().extend_from_slice(&line);
                    let now = match line.as_slice() {
                        b"Z\r\n" => {
                            if does.load(Ordering::Relaxed) {
                                load.store(0, Ordering::Relaxed);
                            }
                            b"Z A\r\n".to_vec()
                        }
                        _ => {
                            let tenths = load.load(Ordering::Relaxed);
                            format!("W S {:6}.{} g\r\n", tenths / 10, tenths % 10).into_bytes()
                        }
                    };
                    port.write(&now).unwrap();
                    line.clear();
                }
            }
        });
        Answering { tenths, obeys, told, stop, thread: Some(thread) }
    }

    fn times(&self, command: &[u8]) -> usize {
        let told = self.told.lock().unwrap();
        told.windows(command.len()).filter(|part| *part == command).count()
    }
}

impl Drop for Answering {
    fn drop(&mut self) {
        let _ = self.stop.send(());
        let _ = self.thread.take().map(JoinHandle::join);
    }
}

struct Serving(Child);

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn bench(folder: &Path, sheet: &str, more: &str) {
    let text = format!(
        "[[instrument]]\nname = \"scale\"\nport = \"{}\"\nsheet = \"{sheet}\"\n{more}\n\
         [[instrument.channel]]\nname = \"scale\"\nrole = \"scale\"\nd = \"0.1 g\"\n\
         capacity = \"6 kg\"\n",
        folder.join("port").display()
    );
    std::fs::write(folder.join("bench.toml"), text).unwrap();
}

fn serve(folder: &Path) -> Serving {
    let child = panroom(folder).args(["serve", "--no-page"]).stderr(Stdio::null()).spawn().unwrap();
    Serving(child)
}

/// Until `panroom watch --json` says so.
fn wait(folder: &Path, what: &str, so: impl Fn(&panroom::bench::View) -> bool) {
    let began = std::time::Instant::now();
    loop {
        let output = run(folder, &["watch", "--json"]);
        if serde_json::from_slice(&output.stdout).is_ok_and(|view| so(&view)) {
            return;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "{what} does not come");
    }
}

#[test]
fn panroom_scale_zero_is_obeyed_by_the_instrument() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let scale = Answering::plugged_in(&folder.join("port"));
    bench(folder, "letter-answer", "");
    let _serving = serve(folder);
    wait(folder, "rest", |view| view.channels.iter().any(|channel| channel.stable));
    assert_eq!(
        succeed(folder, &["scale", "zero"]),
        "told; leave the pan alone\nthe scale is at zero\n"
    );
    assert_eq!(scale.times(b"Z\r\n"), 1);
    assert_eq!(scale.tenths.load(Ordering::Relaxed), 0);
    let shown = |view: &panroom::bench::View| view.channels[0].value;
    wait(
        folder,
        "0.0 g",
        |view| matches!(shown(view), Some(panroom::reading::Value::Mass { mass, .. }) if mass == g("0")),
    );
    wait(folder, "the counters", |view| view.instruments[0].readings > 3);
    let view =
        serde_json::from_slice::<panroom::bench::View>(&run(folder, &["watch", "--json"]).stdout);
    assert_eq!(view.unwrap().instruments[0].refused, 0, "what answers the command is known");
    // one that does not obey
    scale.obeys.store(false, Ordering::Relaxed);
    scale.tenths.store(7, Ordering::Relaxed);
    wait(folder, "0.7 g at rest", |view| {
        let reads = matches!(shown(view), Some(panroom::reading::Value::Mass { mass, .. }) if mass == g("0.7"));
        reads && view.channels[0].stable
    });
    let output = run(folder, &["scale", "zero"]);
    assert!(!output.status.success());
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("the scale did not take the zero"), "{words}");
    assert_eq!(scale.times(b"Z\r\n"), 2);
    // and a load is no empty pan: nothing is sent
    scale.tenths.store(5000, Ordering::Relaxed);
    wait(folder, "500 g at rest", |view| {
        let reads = matches!(shown(view), Some(panroom::reading::Value::Mass { mass, .. }) if mass == g("500"));
        reads && view.channels[0].stable
    });
    let output = run(folder, &["scale", "zero"]);
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("the pan reads 500.0 g, so something stands on it"), "{words}");
    assert_eq!(scale.times(b"Z\r\n"), 2);
    let replayed = succeed(folder, &["replay", "--session", "1"]);
    assert!(replayed.ends_with("all the same\n"), "{replayed}");
}

#[test]
fn what_would_fall_asleep_is_kept_awake_while_it_waits() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    // asked so seldom by its own sheet that it would sleep
    let own =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/devices/letter-answer.toml"))
            .unwrap()
            .replace("letter-answer", "sleepy-answer")
            .replace("keep_awake = 'W\\r\\n'", "keep_awake = 'K\\r\\n'");
    std::fs::create_dir(folder.join("sheets")).unwrap();
    std::fs::write(folder.join("sheets/sleepy-answer.toml"), own).unwrap();
    let scale = Answering::plugged_in(&folder.join("port"));
    bench(folder, "sleepy-answer", "keep_awake = \"5 s\"");
    let sheets = folder.join("sheets");
    let serving = panroom(folder)
        .args(["serve", "--no-page", "--speed", "10", "--sheets", sheets.to_str().unwrap()])
        .stderr(Stdio::null())
        .spawn();
    let _serving = Serving(serving.unwrap());
    wait(folder, "the second word against sleep", |_| scale.times(b"K\r\n") >= 2);
    // a sheet without the command cannot be what keeps it awake
    let other = tempfile::tempdir().unwrap();
    bench(other.path(), "comma-status-line", "keep_awake = \"1 min\"");
    let output = run(other.path(), &["serve", "--no-page"]);
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("line 1, instrument `scale`: it is to be kept awake"), "{words}");
}

/// By the page's button, in a real browser.
#[test]
fn the_page_sets_the_scale_to_zero_and_says_why_not() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let scale = Answering::plugged_in(&folder.join("port"));
    bench(folder, "letter-answer", "");
    let served = Served::from_nothing(folder);
    let browser = Browser::new();
    browser.open(&format!("{}instruments", served.page()));
    let shows =
        |what: &str| format!("document.getElementById('readings').innerText.includes('{what}')");
    browser.wait("0.9 g at rest", &format!("{} && {}", shows("0.9 g"), shows("at rest")));
    let button = "form[action='/instruments/zero'] button";
    browser.click(button);
    browser.wait("word of it", "document.body.innerText.includes('The scale is told')");
    browser.wait("the zero", &format!("{} && {}", shows("0.0 g"), shows("was set to zero")));
    assert_eq!(browser.axe(), Vec::<String>::new());
    scale.tenths.store(5000, Ordering::Relaxed);
    browser.wait("500 g at rest", &format!("{} && {}", shows("500.0 g"), shows("at rest")));
    browser.click(button);
    let why = "document.body.innerText.includes('Not set to zero: the pan reads 500.0 g')";
    browser.wait("the reason", why);
    assert_eq!(browser.axe(), Vec::<String>::new());
    browser.picture("zero-refused");
    assert_eq!(browser.complaints(), Vec::<String>::new());
    assert_eq!(scale.times(b"Z\r\n"), 1);
}

/// With no daemon and no batch: the check of a bench.
#[test]
fn listen_tells_an_instrument_to_tare_and_shows_what_it_does() {
    let folder = tempfile::tempdir().unwrap();
    let mut port = SimPort::new(folder.path().join("port"));
    port.plug().unwrap();
    let path = port.link().to_str().unwrap().to_owned();
    let start = |send: &str| {
        let words = ["listen", &path, "--sheet", "letter-answer", "--send", send, "--for", "2 s"];
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_panroom"));
        command.args(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    };
    let (mut asked, mut load) = (Vec::new(), "523.40");
    let output = until_it_ends(&port, start("tare"), |bytes| {
        asked.extend_from_slice(bytes);
        if bytes.windows(3).any(|told| told == b"T\r\n") {
            load = "0.00";
            return b"T A\r\n".to_vec();
        }
        if bytes.is_empty() { Vec::new() } else { format!("W S {load} g\r\n").into_bytes() }
    });
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("told `T\\r\\n`, tare"), "{text}");
    assert!(text.contains("reads 0.00 g stable"), "{text}");
    assert_eq!(asked.windows(3).filter(|told| *told == b"T\r\n").count(), 1);
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_panroom"));
    let words = ["listen", &path, "--sheet", "comma-status-line", "--send", "zero"];
    let output = command.args(words).output().unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    assert!(words.contains("the wire sheet `comma-status-line` has no command `zero`"), "{words}");
}
