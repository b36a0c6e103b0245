//! A scale that has taken another zero, while the bench waits for an empty vessel.

use std::sync::Arc;

use panroom::bench::{Act, Ask, Cue, Fact, Phase, Reply};

use crate::driver::{CUP_G, Driver, batch_id, control, g};

fn phase(driver: &Driver) -> Phase {
    driver.view().batches[0].weighing.as_ref().unwrap().phase
}

/// Nought before the silence and nought after it, with a cup on the pan: twice called nought.
#[test]
fn nought_under_a_load_is_never_believed_after_a_silence() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + 10.0);
    let asleep = |driver: &mut Driver| {
        driver.scale_talks = false;
        driver.run(10.0);
        driver.scale_talks = true;
    };
    asleep(&mut driver);
    driver.put(0.0);
    assert_eq!(phase(&driver), Phase::ZeroDoubted);
    driver.put(-CUP_G - 10.0);
    driver.put(0.0);
    assert_eq!(phase(&driver), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("10")));
    asleep(&mut driver);
    // another 30 g were poured while it slept
    driver.put(0.0);
    assert_eq!(phase(&driver), Phase::ZeroDoubted);
    driver.put(-CUP_G - 40.0);
    driver.put(0.0);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("40")));
}

fn asks_whether_clear(driver: &Driver) -> bool {
    driver.view().batches[0].prompt.as_ref().is_some_and(|prompt| prompt.asks == Ask::PanClear)
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
    assert_eq!(phase(&driver), Phase::Pouring);
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
    assert_eq!(phase(&driver), Phase::AwaitingVessel);
    assert!(!asks_whether_clear(&driver));
}

#[test]
fn a_pan_that_shows_its_known_offset_carries_nothing() {
    let mut driver = Driver::oils_weighed();
    driver.put(-400.0);
    assert_eq!(phase(&driver), Phase::AwaitingVessel);
    driver.put(-399.0);
    driver.put(-400.0);
    assert_eq!(phase(&driver), Phase::AwaitingVessel);
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
    assert_eq!(phase(&driver), Phase::AwaitingVessel);
    driver.put(6.0 + CUP_G);
    assert_eq!(phase(&driver), Phase::Pouring);
}

fn sentence(driver: &Driver) -> String {
    driver.view().batches[0].sentence.clone()
}

fn said(driver: &Driver, words: &str) -> bool {
    let says = |cue: &Cue| matches!(cue, Cue::Say { words: said } if said.contains(words));
    driver.cues.iter().any(says)
}

fn asleep(driver: &mut Driver) {
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
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
        asleep(&mut driver);
        driver.put(6.0);
        assert_eq!(tared(&driver), before, "nothing stands there");
        assert_eq!(phase(&driver), Phase::ZeroDoubted);
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
        assert_eq!((phase(&driver), tared(&driver)), (Phase::Pouring, Some(vessel)));
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
    asleep(&mut driver);
    driver.put(CUP_G);
    assert_eq!(phase(&driver), Phase::ZeroDoubted);
    driver.put(0.0);
    assert_eq!(phase(&driver), Phase::AwaitingVessel);
    driver.put(CUP_G);
    assert_eq!((phase(&driver), tared(&driver)), (Phase::Pouring, Some(CUP_G)));
}

/// The cup was taken off while the scale was away, which is back with 6 g more: the pan is bare
/// already, so there is nothing to take off.
#[test]
fn bare_already_the_vessel_goes_on_off_and_on() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + 10.0);
    asleep(&mut driver);
    driver.put(6.0);
    assert_eq!(phase(&driver), Phase::ZeroDoubted);
    assert!(sentence(&driver).contains("(If it was bare:"), "{}", sentence(&driver));
    driver.put(CUP_G + 16.0);
    assert_eq!(phase(&driver), Phase::ZeroDoubted);
    driver.put(6.0);
    // the alarm that it was blind goes two seconds later
    driver.run(3.0);
    assert_eq!(phase(&driver), Phase::Lifted);
    driver.put(CUP_G + 16.0);
    assert_eq!(phase(&driver), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("10")));
}
