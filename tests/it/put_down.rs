//! What is put down on the pan, and how it stands there.

use panroom::bench::Phase;
use panroom::quantity::Mass;

use crate::driver::{CUP_G, Driver, POT_G};

#[test]
fn the_cup_is_not_the_pot() {
    let mut driver = Driver::oils_weighed();
    // the pot goes back on a pan that was seen clear: it is heavier than a cup, but a vessel
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    driver.put(1.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel, "1 g is no vessel");
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(Mass::ZERO));
}

#[test]
fn the_pot_left_on_the_pan_is_not_taken_for_the_cup() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.expect_step("weigh-naoh");
    driver.run(60.0);
    assert_eq!(driver.phase(), Phase::AwaitingVessel);
    assert!(driver.view().batches[0].sentence.starts_with("Clear the pan"));
}

#[test]
fn the_cup_of_caustic_is_not_the_jug() {
    let mut driver = Driver::at_caustic();
    let full = CUP_G + driver.target();
    driver.pour_to(full);
    driver.put(0.0);
    driver.expect_step("weigh-water");
    driver.put(full);
    driver.run(5.0);
    assert_ne!(driver.phase(), Phase::Pouring, "water must not go onto caustic");
}

#[test]
fn an_off_centre_cup_is_put_down_again() {
    let words = "It weighs differently each time: centre it on the pan, again.";
    for (off, told) in [(0.2, false), (0.3, true)] {
        let mut driver = Driver::at_caustic();
        driver.put(0.0);
        driver.put(CUP_G + off);
        assert_eq!(driver.said(words), told, "{off} g");
    }
}

#[test]
fn caustic_that_gains_by_itself_wants_its_lid() {
    let words = "The caustic is drawing moisture: close the lid.";
    // of 43 g, 0.5 % is 0.215 g a minute
    for (per_minute, told) in [(0.15, false), (0.3, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 40.0);
        for _ in 0..130 {
            driver.run(1.0);
            driver.load += per_minute / 60.0;
        }
        assert_eq!(driver.said(words), told, "{per_minute} g/min");
    }
}
