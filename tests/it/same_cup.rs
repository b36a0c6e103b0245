//! The caustic's cup comes back lighter than it left: some was taken out of it, or it is another
//! cup. Weight does not tell which.

use panroom::bench::{Ask, Fact, Phase, Reply};

use crate::driver::{CUP_G, Driver, POT_G, g};

/// What was found lighter when the cup came back.
fn asked(driver: &Driver) -> Option<panroom::quantity::Mass> {
    match driver.view().batches[0].prompt.as_ref()?.asks {
        Ask::SameCup { lighter_by } => Some(lighter_by),
        _ => None,
    }
}

fn half_full() -> (Driver, f64) {
    let mut driver = Driver::at_caustic();
    let half = CUP_G + 14.0;
    driver.pour_to(half);
    driver.put(0.0);
    (driver, half)
}

#[test]
fn three_intervals_lighter_is_the_cup_put_down_again() {
    for (lighter, doubted) in [(0.2, false), (0.3, false), (0.4, true)] {
        let (mut driver, half) = half_full();
        driver.put(half - lighter);
        assert_eq!(asked(&driver).is_some(), doubted, "{lighter} g lighter");
    }
}

#[test]
fn a_lighter_cup_is_asked_about_and_nothing_captured_before_a_yes() {
    let (mut driver, half) = half_full();
    driver.put(half - 5.0);
    assert_eq!(asked(&driver), Some(g("5")));
    driver.pour_to(CUP_G + driver.target());
    assert_eq!(driver.captured("naoh"), None);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(5.0);
    assert!(driver.captured("naoh").is_some());
}

#[test]
fn the_wrong_cup_taken_away_takes_the_question_along() {
    let (mut driver, half) = half_full();
    driver.put(CUP_G + 2.0);
    assert_eq!(asked(&driver), Some(g("12")));
    driver.put(0.0);
    assert_eq!(asked(&driver), None);
    // the wrong one once more is still the wrong one, compared with what left first
    driver.put(CUP_G + 2.0);
    assert_eq!(asked(&driver), Some(g("12")));
    driver.put(0.0);
    driver.put(half);
    assert_eq!(asked(&driver), None);
    driver.pour_to(CUP_G + driver.target());
    assert!(driver.captured("naoh").is_some());
}

#[test]
fn a_cup_lifted_out_of_the_pour_is_known_by_what_it_last_held() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 24.0);
    driver.put(0.0);
    driver.put(CUP_G + 3.0);
    assert!(asked(&driver).is_some());
}

#[test]
fn another_cup_does_not_open_the_latch() {
    let mut driver = Driver::at_caustic();
    let over = CUP_G + driver.guard().grams() + 6.0;
    driver.pour_to(over);
    assert!(driver.caustic_over());
    driver.put(0.0);
    driver.put(CUP_G + 20.0);
    driver.run(10.0);
    assert!(driver.caustic_over(), "another cup with less in it");
    assert!(asked(&driver).is_some());
    driver.put(0.0);
    driver.put(over);
    assert!(driver.caustic_over());
    driver.put(0.0);
    // spooned out, and said so
    driver.put(CUP_G + driver.target());
    assert!(asked(&driver).is_some());
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(3.0);
    assert!(!driver.caustic_over());
}

#[test]
fn the_pot_is_no_cup_for_caustic() {
    let mut driver = Driver::oils_weighed();
    let pot = POT_G + 300.0;
    for off in [0.0, 0.3] {
        driver.put(pot - off);
        driver.run(5.0);
        let tared = |fact: &Fact| matches!(fact, Fact::Tared { step, .. } if step == "weigh-naoh");
        assert!(!driver.facts.iter().any(|numbered| tared(&numbered.fact)), "{off} g lighter");
        driver.put(0.0);
    }
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// The scale's own tare key while the cup stands there: what it held is still known.
#[test]
fn a_zero_that_moved_meanwhile_hides_no_other_cup() {
    let (mut driver, half) = half_full();
    driver.put(half);
    driver.put(0.0);
    driver.put(-half);
    // an empty twin
    driver.put(CUP_G - half);
    assert_eq!(asked(&driver), Some(g("14")));
    driver.put(-half);
    driver.put(0.0);
    assert_eq!(asked(&driver), None, "the cup itself reads nought");
}

/// A twin that slides onto the pan is first taken for a scale that has been tared; the check of the
/// zero does not make it the cup.
#[test]
fn a_doubt_about_the_zero_hides_no_other_cup() {
    let (mut driver, half) = half_full();
    driver.load = 0.0;
    driver.pour_without_rest(half - 5.0);
    driver.run(3.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(0.0);
    driver.put(half - 5.0);
    assert_eq!(asked(&driver), Some(g("5")));
}

/// During a silence 15 g more came into the cup, so the zero was doubted. The cup that comes back
/// without them is another, or some was taken out of it: what was doubted counts.
#[test]
fn a_cup_lighter_than_what_was_doubted_is_asked_about() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(3.0);
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
    driver.put(CUP_G + 35.0);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    driver.put(0.0);
    driver.put(CUP_G + 20.0);
    driver.run(1.0);
    assert!(matches!(driver.asks(), Some(Ask::SameCup { .. })), "{:?}", driver.asks());
    assert_eq!(driver.captured("naoh"), None);
}
