//! The emptied cup on the pan says what is left in it only where the zero is known that it is
//! counted from.

use panroom::bench::{Ask, BackVerdict, Fact, Reply};

use crate::driver::{CUP_G, Driver, JUG_G};

/// All is weighed, and the caustic is being dissolved.
fn dissolving() -> Driver {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target());
    driver.put(0.0);
    driver.expect_step("dissolve");
    driver
}

fn asked_back(driver: &mut Driver) {
    assert_eq!(driver.confirm(), Reply::Done);
    let asks = driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks);
    assert!(matches!(asks, Some(Ask::VesselBack { .. })), "{asks:?}");
}

fn verdicts(driver: &Driver) -> Vec<BackVerdict> {
    let verdicts = driver.facts.iter().filter_map(|numbered| match &numbered.fact {
        Fact::VesselBack { verdict, .. } => Some(*verdict),
        _ => None,
    });
    verdicts.collect()
}

fn words(driver: &Driver) -> String {
    driver.view().batches[0].prompt.clone().expect("something is asked").words
}

fn sentence(driver: &Driver) -> String {
    driver.view().batches[0].sentence.clone()
}

/// The scale was silent for so long, and counts from another zero since.
fn slept(driver: &mut Driver, seconds: f64, zero: f64) {
    driver.scale_talks = false;
    driver.run(seconds);
    driver.scale_talks = true;
    driver.put(zero);
}

#[test]
fn a_cup_counted_from_a_zero_in_doubt_tells_nothing() {
    let mut driver = dissolving();
    slept(&mut driver, 300.0, -4.0);
    asked_back(&mut driver);
    assert!(sentence(&driver).starts_with("The scale may have another zero"));
    // four grams of caustic are left in it
    driver.put(CUP_G + 4.0 - 4.0);
    assert_eq!(verdicts(&driver), []);
    assert!(!words(&driver).contains("still in it"), "{}", words(&driver));
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(verdicts(&driver), [BackVerdict::Unknown]);
}

#[test]
fn taken_off_again_it_tells_what_is_left_in_it() {
    for (left, verdict) in [(4.0, BackVerdict::Residue), (0.0, BackVerdict::Whole)] {
        let mut driver = dissolving();
        slept(&mut driver, 300.0, -4.0);
        asked_back(&mut driver);
        driver.put(CUP_G + left - 4.0);
        driver.put(-4.0);
        assert_eq!(
            sentence(&driver),
            "Put the emptied vessel of sodium hydroxide back on the pan."
        );
        driver.put(CUP_G + left - 4.0);
        if verdict == BackVerdict::Residue {
            assert!(words(&driver).ends_with("4.0 g of sodium hydroxide is still in it."));
            assert_eq!(driver.confirm(), Reply::Done);
        }
        assert_eq!(verdicts(&driver), [verdict]);
    }
}

#[test]
fn a_silence_that_left_the_zero_alone_is_settled_by_the_bare_pan() {
    let mut driver = dissolving();
    slept(&mut driver, 300.0, 0.0);
    asked_back(&mut driver);
    driver.put(CUP_G);
    assert_eq!(verdicts(&driver), [BackVerdict::Whole]);
}

#[test]
fn after_a_restart_the_bare_pan_must_have_been_seen() {
    // the scale was switched off meanwhile, and counts from another zero
    let mut driver = dissolving();
    driver.kill_and_restart();
    driver.put(-3.0);
    asked_back(&mut driver);
    driver.put(CUP_G + 3.0 - 3.0);
    assert_eq!(verdicts(&driver), []);
    driver.put(-3.0);
    driver.put(CUP_G + 3.0 - 3.0);
    assert!(words(&driver).ends_with("3.0 g of sodium hydroxide is still in it."));
    // and where it stands there already, nobody knows what the pan reads without it
    let mut driver = dissolving();
    driver.kill_and_restart();
    driver.put(CUP_G);
    asked_back(&mut driver);
    driver.run(5.0);
    assert_eq!(verdicts(&driver), []);
    assert_eq!(
        sentence(&driver),
        "Take everything off the pan, then put the emptied vessel of sodium hydroxide back on it."
    );
    driver.put(0.0);
    driver.put(CUP_G);
    assert_eq!(verdicts(&driver), [BackVerdict::Whole]);
}

/// Its zero key, pressed with something on the pan that is gone since.
#[test]
fn a_pan_lighter_than_empty_is_another_zero() {
    let mut driver = dissolving();
    driver.put(2.0);
    driver.put(0.0);
    driver.put(-2.0);
    asked_back(&mut driver);
    driver.put(CUP_G + 2.0 - 2.0);
    assert_eq!(verdicts(&driver), []);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(verdicts(&driver), [BackVerdict::Unknown]);
}
