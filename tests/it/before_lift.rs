//! A pour between capture and lift, too short ever to come to rest.

use panroom::bench::{Ask, Fact, Notice, Reply};
use panroom::quantity::Mass;
use panroom::reading::Status;

use crate::driver::{CUP_G, Driver, JUG_G, g};

/// Captured caustic, so much more of it poured at 5 g/s, and lifted at once.
fn poured_on(ticks: u32) -> (Driver, f64) {
    poured_on_at(ticks, 0.5)
}

fn poured_on_at(ticks: u32, grams_each: f64) -> (Driver, f64) {
    let mut driver = Driver::at_caustic();
    let full = CUP_G + driver.target();
    driver.pour_to(full);
    assert!(driver.captured("naoh").is_some());
    driver.status = Status::InMotion;
    for tick in 1..=ticks {
        driver.load = full + grams_each * f64::from(tick);
        driver.tick();
    }
    let really = driver.load;
    driver.status = Status::Stable;
    driver.put(0.0);
    (driver, really)
}

fn more_before_lift(driver: &Driver) -> Option<Mass> {
    driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::Noticed { notice: Notice::ChangedBeforeLift { by }, .. } => Some(*by),
        _ => None,
    })
}

#[test]
fn three_tenths_of_a_second_of_pouring_before_the_lift_are_seen() {
    let (driver, _) = poured_on(2);
    assert_eq!(more_before_lift(&driver), None, "0.2 s");
    driver.expect_step("weigh-water");
    let (driver, _) = poured_on(3);
    assert_eq!(more_before_lift(&driver), Some(g("1")), "0.5, 1.0 and 1.5 g: the middle one");
    driver.expect_step("weigh-naoh");
    let (driver, _) = poured_on(4);
    assert!(more_before_lift(&driver).is_some(), "0.4 s");
    driver.expect_step("weigh-naoh");
}

#[test]
fn the_cup_put_back_is_weighed_again() {
    let (mut driver, really) = poured_on(4);
    driver.run(30.0);
    driver.expect_step("weigh-naoh");
    driver.put(really);
    assert_eq!(driver.captured("naoh"), None, "reopened");
    // spooned back to the target, it is taken anew
    let target = driver.target();
    driver.put(CUP_G + target);
    driver.run(3.0);
    driver.put(0.0);
    driver.expect_step("weigh-water");
}

#[test]
fn a_hand_that_only_leant_on_it_puts_it_back_and_goes_on() {
    let (mut driver, _) = poured_on(4);
    let target = driver.target();
    driver.put(CUP_G + target);
    assert!(driver.captured("naoh").is_some());
    driver.put(0.0);
    driver.expect_step("weigh-water");
}

/// What would be above the guard is not taken by a yes.
#[test]
fn above_the_guard_only_the_cup_itself_settles_it() {
    // 0.3, 0.4, 0.5 and 0.6 g: the middle one is half a gram
    let (driver, _) = poured_on_at(6, 0.1);
    let more = more_before_lift(&driver).unwrap();
    assert!(driver.captured("naoh").unwrap() + more <= driver.guard());
    assert!(matches!(driver.asks(), Some(Ask::NothingAdded { .. })), "{:?}", driver.asks());
    let (driver, _) = poured_on(12);
    let more = more_before_lift(&driver).unwrap();
    assert!(driver.captured("naoh").unwrap() + more > driver.guard());
    assert_eq!(driver.asks(), None);
    driver.expect_step("weigh-naoh");
}

#[test]
fn water_may_be_said_to_be_unchanged() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target());
    driver.load += 3.0;
    driver.status = Status::InMotion;
    driver.run(0.4);
    driver.status = Status::Stable;
    driver.put(0.0);
    assert!(matches!(driver.asks(), Some(Ask::NothingAdded { .. })), "{:?}", driver.asks());
    driver.expect_step("weigh-water");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(0.5);
    driver.expect_step("dissolve");
}

#[test]
fn it_survives_a_restart() {
    let (mut driver, really) = poured_on(4);
    driver.kill_and_restart();
    driver.run(5.0);
    driver.expect_step("weigh-naoh");
    driver.put(really);
    assert_eq!(driver.captured("naoh"), None);
}
