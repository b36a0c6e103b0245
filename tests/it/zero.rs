//! A scale that may have taken another zero: while nobody looked, while the bench waits for a vessel,
//! in mid-pour.

use std::sync::Arc;

use panroom::bench::{Act, Ask, Cue, Fact, Phase, Reply};
use panroom::quantity::Mass;
use panroom::reading::Status;

use crate::driver::{CUP_G, Driver, POT_G, batch_id, control, g};

/// Nought before the silence and nought after it, with a cup on the pan: twice called nought.
#[test]
fn nought_under_a_load_is_never_believed_after_a_silence() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + 10.0);
    asleep(&mut driver, 0.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(-CUP_G - 10.0);
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("10")));
    // another 30 g were poured while it slept
    asleep(&mut driver, 0.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(-CUP_G - 40.0);
    driver.put(0.0);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("40")));
}

fn asks_whether_clear(driver: &Driver) -> bool {
    driver.view().batches[0].prompt.as_ref().is_some_and(|prompt| prompt.asks == Ask::PanClear)
}

fn doubts(driver: &Driver) -> usize {
    let doubt = |fact: &Fact| matches!(fact, Fact::ZeroDoubted { .. });
    driver.facts.iter().filter(|numbered| doubt(&numbered.fact)).count()
}

/// What the empty pan was found to read, after the last doubt.
fn checked(driver: &Driver) -> Option<Mass> {
    driver.facts.iter().rev().find_map(|numbered| match numbered.fact {
        Fact::ZeroChecked { offset, .. } => Some(offset),
        _ => None,
    })
}

/// Long enough to take another zero; then it rests at this load.
fn asleep(driver: &mut Driver, back_at: f64) {
    silent(driver);
    driver.put(back_at);
}

fn silent(driver: &mut Driver) {
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
}

fn tared(driver: &Driver) -> Option<f64> {
    driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::Tared { gross, .. } => Some(gross.grams()),
        _ => None,
    })
}

/// The scale was set to nought with 400 g on it; nobody has seen the pan clear since a restart.
#[test]
fn nought_again_on_a_clear_pan_is_asked_about_and_no_dead_end() {
    let mut driver = Driver::oils_weighed();
    driver.put(-400.0);
    driver.kill_and_restart();
    driver.put(0.0);
    assert!(asks_whether_clear(&driver));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(tared(&driver), Some(CUP_G));
}

/// The maker presses the zero key, as the screen says: that is no vessel of 150 g.
#[test]
fn the_zero_key_on_a_clear_pan_is_no_vessel() {
    let mut driver = Driver::oils_weighed();
    driver.put(-150.0);
    driver.put(0.0);
    assert!(asks_whether_clear(&driver));
    driver.run(10.0);
    assert_ne!(tared(&driver), Some(0.0));
    // the cup put on without an answer is no content either
    driver.put(CUP_G);
    assert_ne!(tared(&driver), Some(0.0));
    driver.put(0.0);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.put(CUP_G);
    assert_eq!(tared(&driver), Some(CUP_G));
}

/// A scale whose books said −150 g yesterday, and whose empty pan reads nought today.
#[test]
fn a_pot_is_not_tared_before_it_is_there() {
    let mut driver = Driver::started();
    driver.put(-150.0);
    driver.put(0.0);
    assert!(asks_whether_clear(&driver));
    driver.put(400.0);
    driver.run(5.0);
    assert_ne!(tared(&driver), Some(0.0), "the pot would count as oil");
}

#[test]
fn between_batches_every_zero_is_forgotten() {
    let mut driver = Driver::new();
    driver.run(0.5);
    assert_eq!(driver.act(Act::start(batch_id(), Arc::new(control()))), Reply::Done);
    driver.put(-150.0);
    let batch = batch_id();
    driver.act(Act::Abandon { batch, reason: "no soap today".to_owned() });
    driver.kill_and_restart();
    assert!(driver.bench.state().zeros.is_empty());
}

#[test]
fn the_pot_at_nought_is_still_the_pot() {
    let mut driver = Driver::oils_weighed();
    // 700 g of pot and oils were on it when the scale was set to nought
    driver.put(-700.0);
    driver.kill_and_restart();
    driver.put(0.0);
    driver.run(10.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    assert!(!asks_whether_clear(&driver));
}

#[test]
fn a_pan_that_shows_its_known_offset_carries_nothing() {
    let mut driver = Driver::oils_weighed();
    driver.put(-400.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    driver.put(-399.0);
    driver.put(-400.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
}

#[test]
fn an_offset_above_nought_is_no_vessel() {
    let mut driver = Driver::started();
    driver.put(400.0);
    driver.pour_to(450.0);
    // asleep, and back with 6 g on the empty pan
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
    driver.put(456.0);
    driver.put(6.0);
    driver.put(456.0);
    driver.pour_to(506.0);
    driver.pour_to(706.0);
    driver.expect_step("weigh-naoh");
    driver.put(6.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    driver.put(6.0 + CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
}

#[test]
fn another_zero_after_sleep_is_recognised_and_checked() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 50.0);
    driver.run(2.0);
    driver.scale_talks = false;
    driver.run(200.0);
    // it slept, and calls what is on it zero
    driver.scale_talks = true;
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(-(POT_G + 50.0));
    assert!(driver.said("The empty pan is known again: put the same vessel back."));
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("50")));
    driver.pour_to(50.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}

#[test]
fn a_silence_with_the_same_load_after_it_needs_no_check() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 50.0);
    driver.run(2.0);
    driver.scale_talks = false;
    driver.run(200.0);
    driver.scale_talks = true;
    driver.run(3.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(doubts(&driver), 0, "nothing was said of it either");
}

#[test]
fn a_vessel_lifted_while_the_scale_was_away_comes_back_as_it_was() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 50.0);
    driver.run(2.0);
    driver.scale_talks = false;
    driver.run(20.0);
    driver.scale_talks = true;
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted, "it may call the pot zero");
    driver.put(POT_G + 50.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("50")));
}

#[test]
fn a_drifted_zero_does_not_keep_a_cup_waiting() {
    let mut driver = Driver::oils_weighed();
    driver.put(0.8);
    assert!(driver.view().batches[0].sentence.starts_with("Put the empty vessel"));
    driver.put(0.8 + CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// It slept with the pot on it while the weight stood; nobody was pouring, so nobody noticed.
#[test]
fn a_pan_lighter_than_empty_has_another_zero() {
    let mut driver = Driver::oils_weighed();
    driver.put(-(POT_G + 300.0));
    driver.put(CUP_G - (POT_G + 300.0));
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(Mass::ZERO));
    let guard = driver.guard().grams();
    driver.pour_to(CUP_G - (POT_G + 300.0) + guard + 2.0);
    assert!(driver.caustic_over(), "the guard counts from the new zero too");
}

// --- after a silence, by the number: 3 d (0.3 g) make the same load --------------------------------

#[test]
fn three_digits_off_the_books_are_the_same_load() {
    for (off, doubted) in [(0.3, false), (0.4, true), (-0.3, false), (-0.4, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 20.0);
        driver.run(3.0);
        asleep(&mut driver, CUP_G + 20.0 + off);
        assert_eq!(doubts(&driver) > 0, doubted, "{off} g");
    }
}

/// The pan is bare and the cup comes: a doubt that nothing speaks for must not fall upon the cup.
#[test]
fn a_bare_pan_that_rests_where_it_did_has_its_zero_still() {
    for (off, doubted) in [(0.3, false), (0.4, true)] {
        let mut driver = Driver::oils_weighed();
        asleep(&mut driver, off);
        driver.put(CUP_G + off);
        assert_eq!(tared(&driver), Some(CUP_G + off));
        assert_eq!(driver.phase() == Phase::ZeroDoubted, doubted, "{off} g");
    }
}

/// The pan is bare while the cup is away: nought is what it should read.
#[test]
fn a_bare_pan_at_nought_is_not_called_nought() {
    let mut driver = Driver::at_caustic();
    driver.put(0.0);
    asleep(&mut driver, 0.0);
    driver.run(2.0);
    assert_eq!((driver.phase(), doubts(&driver)), (Phase::Lifted, 0));
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// The cup is captured, and stands there in silence: its guard hears again at once.
#[test]
fn a_silence_after_the_capture_leaves_no_guard_deaf() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    assert!(driver.captured("naoh").is_some());
    let full = driver.load;
    asleep(&mut driver, full);
    let over = CUP_G + driver.guard().grams() + 1.0;
    driver.status = Status::InMotion;
    while driver.load < over {
        driver.load += 0.5;
        driver.tick();
    }
    driver.run(0.6);
    assert!(driver.caustic_over());
}

/// The cup is captured; after a silence it reads 10 g less. Who pours them back by the display
/// may pour 10 g too many: it is the zero that may have moved.
#[test]
fn a_captured_cup_that_reads_less_after_a_silence_is_not_poured_on() {
    let mut driver = Driver::at_caustic();
    let full = CUP_G + driver.target();
    driver.pour_to(full);
    asleep(&mut driver, full - 10.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, None);
    driver.put(-10.0);
    driver.put(full - 10.0);
    assert_eq!(driver.captured("naoh").map(Mass::grams), Some(full - CUP_G));
}

/// After a doubt: an empty pan within 0.3 g of what it read is no other zero.
#[test]
fn a_digit_of_drift_is_not_another_zero() {
    for (off, zero) in [(0.3, "0"), (0.4, "0.4"), (-0.3, "0"), (-0.4, "-0.4")] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 10.0);
        driver.run(3.0);
        asleep(&mut driver, CUP_G + 20.0);
        assert_eq!(driver.phase(), Phase::ZeroDoubted);
        driver.put(off);
        assert_eq!(checked(&driver), Some(g(zero)), "{off} g");
    }
}

fn sentence(driver: &Driver) -> String {
    driver.view().batches[0].sentence.clone()
}

fn said(driver: &Driver, words: &str) -> bool {
    let says = |cue: &Cue| matches!(cue, Cue::Say { words: said } if said.contains(words));
    driver.cues.iter().any(says)
}

const ZERO_KEY: &str =
    "If it is bare and shows a weight all the same, press the scale's own zero key.";

/// The pan is bare and reads 6 g after a sleep: counted as a vessel, 6 g of caustic would be missing
/// from whatever is weighed in the cup that comes later.
#[test]
fn another_zero_on_a_bare_pan_is_no_vessel_and_says_the_way_out() {
    for first_oil in [true, false] {
        let mut driver = if first_oil { Driver::started() } else { Driver::oils_weighed() };
        driver.run(3.0);
        let before = tared(&driver);
        let vessel = if first_oil { 400.0 } else { CUP_G };
        silent(&mut driver);
        driver.put(6.0);
        assert_eq!(tared(&driver), before, "nothing stands there");
        assert_eq!(driver.phase(), Phase::ZeroDoubted);
        assert!(sentence(&driver).contains(ZERO_KEY), "{}", sentence(&driver));
        assert!(said(&driver, ZERO_KEY), "{:?}", driver.cues);
        // the vessel on it does not help
        driver.put(vessel + 6.0);
        driver.put(6.0);
        assert_eq!(tared(&driver), before);
        driver.kill_and_restart();
        driver.run(3.0);
        assert!(sentence(&driver).contains(ZERO_KEY), "{}", sentence(&driver));
        // the zero key does
        driver.put(0.0);
        assert!(said(&driver, "The empty pan is known again: put the vessel on it."));
        assert!(sentence(&driver).starts_with("Put the "), "{}", sentence(&driver));
        driver.put(vessel);
        assert_eq!((driver.phase(), tared(&driver)), (Phase::Pouring, Some(vessel)));
        let target = driver.target();
        driver.pour_to(vessel + target);
        let weighed = if first_oil { "coconut" } else { "naoh" };
        assert_eq!(driver.captured(weighed).map(|mass| mass.grams()), Some(target));
    }
}

/// A vessel put down while the scale slept looks the same until everything is off.
#[test]
fn a_vessel_put_down_while_the_scale_slept_goes_off_and_on_again() {
    let mut driver = Driver::oils_weighed();
    silent(&mut driver);
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    driver.put(CUP_G);
    assert_eq!((driver.phase(), tared(&driver)), (Phase::Pouring, Some(CUP_G)));
}

/// The cup was taken off while the scale was away, which is back with 6 g more: the pan is bare
/// already, so there is nothing to take off.
#[test]
fn bare_already_the_vessel_goes_on_off_and_on() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + 10.0);
    silent(&mut driver);
    driver.put(6.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    assert!(sentence(&driver).contains("(If it was bare:"), "{}", sentence(&driver));
    driver.put(CUP_G + 16.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(6.0);
    // the alarm that it was blind goes two seconds later
    driver.run(3.0);
    assert_eq!(driver.phase(), Phase::Lifted);
    driver.put(CUP_G + 16.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("10")));
}
