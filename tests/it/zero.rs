//! A scale that has taken another zero, while the bench waits for an empty vessel.

use panroom::bench::{Fact, Phase};

use crate::driver::{CUP_G, Driver, g};

fn phase(driver: &Driver) -> Phase {
    driver.view().batches[0].weighing.as_ref().unwrap().phase
}

/// The scale was set to nought with 400 g on it; nobody has seen the pan clear since a restart.
fn nought_with_a_load() -> Driver {
    let mut driver = Driver::oils_weighed();
    driver.put(-400.0);
    driver.kill_and_restart();
    driver
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

#[test]
fn nought_again_on_a_clear_pan_is_no_dead_end() {
    let mut driver = nought_with_a_load();
    driver.put(0.0);
    driver.put(CUP_G);
    assert_eq!(phase(&driver), Phase::Pouring);
    assert!(matches!(
        driver.facts.last().map(|numbered| &numbered.fact),
        Some(Fact::Tared { gross, .. }) if gross.grams() == CUP_G
    ));
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
    let checked =
        |fact: &Fact| matches!(fact, Fact::ZeroChecked { offset, .. } if offset.grams() == 0.0);
    assert!(!driver.facts.iter().any(|numbered| checked(&numbered.fact)));
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
