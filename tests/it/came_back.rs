//! The vessel leaves the pan and something comes back: heavier, lighter, another, or nothing but
//! the scale's own key.

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, BatchId, Fact, Notice, Phase, Reply};
use panroom::chemistry::IngredientId;
use panroom::quantity::Mass;
use panroom::reading::Status;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};

fn poured_in(driver: &Driver) -> Option<Mass> {
    match driver.asks()? {
        Ask::PouredIn { more } => Some(more),
        _ => None,
    }
}

fn doubted(driver: &Driver) -> bool {
    driver.facts.iter().any(|numbered| matches!(numbered.fact, Fact::ZeroDoubted { .. }))
}

/// Whatever another cup holds, it opens no latch before somebody has said that it is the same.
#[test]
fn no_other_cup_opens_the_latch_unasked() {
    for holds in [0.0, 5.0, 22.0, 30.0, 43.0, 44.0] {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + 50.0);
        driver.put(0.0);
        driver.put(CUP_G + holds);
        driver.run(5.0);
        assert!(driver.caustic_over(), "{holds} g");
        assert!(matches!(driver.asks(), Some(Ask::SameCup { .. })), "{holds} g");
        let (batch, ingredient) = (batch_id(), IngredientId::from("naoh"));
        let declared = driver.act(Act::Declare { batch, ingredient, mass: g("43") });
        assert!(matches!(declared, Reply::Refused { .. }), "{declared:?}");
    }
}

/// Twenty intervals more are off its centre; beyond that it is asked whether it was poured in.
#[test]
fn more_than_twenty_intervals_more_are_asked_about() {
    for (more, asked) in [(1.9, false), (2.0, false), (2.1, true)] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.put(0.0);
        driver.put(POT_G + more);
        assert_eq!(poured_in(&driver).is_some(), asked, "{more} g");
    }
}

#[test]
fn another_pot_is_not_counted_as_oil() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.put(0.0);
    driver.put(POT_G + 100.0);
    driver.run(5.0);
    assert_eq!(driver.captured("coconut"), None);
    assert_eq!(poured_in(&driver), Some(g("100")));
    assert!(driver.view().batches[0].sentence.starts_with("Pour nothing"));
    // it is: so it counts
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(5.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}

/// The spoon in the pot is asked about, and taken out it is the pot as it was.
#[test]
fn a_spoon_in_the_pot_is_not_counted_as_oil() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.expect_step("weigh-olive");
    driver.put(0.0);
    driver.put(POT_G + 135.0);
    assert_eq!(poured_in(&driver), Some(g("35")));
    driver.put(0.0);
    driver.put(POT_G + 100.0);
    assert_eq!(driver.asks(), None);
    driver.pour_to(POT_G + 300.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

/// The next oil poured into the pot that stands there is begun early, and counts unasked.
#[test]
fn what_is_poured_into_the_pot_early_counts() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

#[test]
fn the_pot_of_another_batch_does_not_come_back() {
    let mut driver = Driver::started();
    let other = BatchId("2026-11-25-b".to_owned());
    assert_eq!(driver.act(Act::start(other.clone(), Arc::new(control()))), Reply::Done);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.put(0.0);
    assert_eq!(driver.act(Act::Scale { batch: other }), Reply::Done);
    driver.run(3.0);
    driver.put(600.0);
    driver.pour_to(700.0);
    driver.put(0.0);
    assert_eq!(driver.act(Act::Scale { batch: batch_id() }), Reply::Done);
    driver.run(3.0);
    driver.put(POT_G + 100.0);
    driver.put(0.0);
    driver.put(700.0);
    driver.run(5.0);
    assert_eq!(driver.captured("olive"), None);
    assert_eq!(poured_in(&driver), None);
    assert_eq!(driver.phase(), Phase::Lifted);
}

#[test]
fn the_pot_of_another_batch_is_no_lighter_pot() {
    let mut driver = Driver::started();
    let other = BatchId("2026-11-25-b".to_owned());
    assert_eq!(driver.act(Act::start(other.clone(), Arc::new(control()))), Reply::Done);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.put(0.0);
    assert_eq!(driver.act(Act::Scale { batch: other }), Reply::Done);
    driver.run(3.0);
    driver.put(POT_G - 30.0);
    driver.pour_to(POT_G + 70.0);
    driver.put(0.0);
    assert_eq!(driver.act(Act::Scale { batch: batch_id() }), Reply::Done);
    driver.run(3.0);
    driver.put(POT_G + 70.0);
    assert_eq!(driver.asks(), None);
}

/// A drip wiped off the pot, or a spatula gone, is no dead end; another pot does not pass.
#[test]
fn a_pot_a_little_lighter_is_asked_about() {
    for (lighter, asked) in [(0.3, false), (0.4, true), (40.0, true), (40.1, false)] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.put(0.0);
        driver.put(POT_G - lighter);
        let asks = driver.asks();
        assert_eq!(matches!(asks, Some(Ask::LighterPot { .. })), asked, "{lighter} g: {asks:?}");
        if asked {
            assert_eq!(driver.confirm(), Reply::Done);
            driver.pour_to(POT_G - lighter + 100.0);
            assert_eq!(driver.captured("coconut"), Some(g("100")), "{lighter} g");
        }
    }
}

/// The same before the pot has been counted for the next oil.
#[test]
fn a_pot_lighter_than_its_capture_is_asked_about() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    // lifted before the next is announced, and put back wiped
    driver.put(0.0);
    driver.put(POT_G + 90.0);
    driver.run(3.0);
    assert_eq!(driver.asks(), Some(Ask::LighterPot { lighter_by: g("10") }));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.pour_to(POT_G + 290.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

/// The cup is captured, and the jug stands there before the scale has come to rest on a bare pan.
#[test]
fn the_next_vessel_put_down_quickly_is_no_over_pour() {
    for off in [0.6, 1.0, 1.5, 2.0] {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + driver.target());
        driver.load = 0.0;
        driver.run(off);
        driver.put(JUG_G);
        driver.run(3.0);
        assert!(!driver.caustic_over(), "{off} s");
        assert!(driver.captured("naoh").is_some(), "{off} s");
        driver.put(0.0);
        driver.expect_step("weigh-water");
        driver.put(JUG_G);
        driver.pour_to(JUG_G + driver.target());
        assert!(driver.captured("water").is_some(), "{off} s");
    }
}

/// A bottle parked on the pan is no caustic, but what is poured onto it is.
#[test]
fn what_is_poured_onto_the_vessel_in_question_alarms() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(900.0);
    driver.run(5.0);
    assert!(!driver.caustic_over());
    assert!(poured_in(&driver).is_some());
    driver.pour_without_rest(910.0);
    driver.run(1.0);
    assert!(driver.caustic_over());
}

/// Caustic scooped in beside the pan, above its guard, alarms with the yes.
#[test]
fn too_much_scooped_in_elsewhere_alarms_once_it_is_said() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(CUP_G + 50.0);
    assert_eq!(poured_in(&driver), Some(g("30")));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(0.1);
    assert!(driver.caustic_over());
}

/// The scale's own tare key hides the cup with 30 g in it: who pours on by its display is stopped.
#[test]
fn a_pour_onto_a_pan_that_should_be_bare_doubts_its_zero() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 30.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.status = Status::InMotion;
    while driver.load < 12.0 {
        driver.load += 0.5;
        driver.tick();
    }
    assert!(doubted(&driver));
    assert!(driver.is_active(|alarm| matches!(alarm, AlarmId::PouringBlind { .. })));
    // all off, and the cup back: what it holds is known
    driver.status = Status::Stable;
    driver.put(-CUP_G - 30.0);
    driver.put(12.0);
    let net = driver.view().batches[0].weighing.as_ref().unwrap().net;
    assert_eq!(net, Some(g("42")));
}

#[test]
fn a_vessel_put_down_gently_is_no_pour() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 30.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.status = Status::InMotion;
    for part in 1..=10 {
        driver.load = (CUP_G + 30.0) * f64::from(part) / 10.0;
        driver.tick();
    }
    driver.status = Status::Stable;
    driver.run(3.0);
    assert!(!doubted(&driver));
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// The plate of the scale is taken off and wiped while the vessel is away.
#[test]
fn the_plate_taken_off_and_put_back_is_asked_about() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 30.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(-70.0);
    driver.put(0.0);
    assert_eq!(driver.asks(), Some(Ask::PanClear));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.put(POT_G + 30.0);
    driver.run(5.0);
    assert_eq!(driver.captured("coconut"), None);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("30")));
}

/// After a restart nobody knows how the cup left: back at nought, on a scale that slept under it, it
/// is asked about as any vessel that nobody watched, and is no dead end.
#[test]
fn a_cup_back_at_nought_after_a_restart_is_no_dead_end() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.5);
    driver.scale_talks = false;
    driver.run(10.0);
    driver.kill_and_restart();
    driver.scale_talks = true;
    driver.put(0.0);
    driver.put(-CUP_G - 20.0);
    driver.put(0.0);
    assert_eq!(driver.asks(), Some(Ask::StillThere));
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(g("20")));
}

/// Each scoop comes at once, as a vessel does; that does not make it part of the vessel.
#[test]
fn what_is_scooped_onto_the_vessel_in_question_alarms() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 10.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(CUP_G + 13.0);
    assert_eq!(poured_in(&driver), Some(g("3")));
    for _ in 0..12 {
        driver.load += 5.0;
        driver.run(1.5);
    }
    assert!(driver.caustic_over());
    // before it has come to rest at all
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 38.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.load = CUP_G + 41.0;
    driver.run(1.0);
    for _ in 0..6 {
        driver.load += 5.0;
        driver.run(1.5);
    }
    assert!(driver.caustic_over());
}

/// The wrong pot is the wrong pot the second time too, and the spoon in the right one.
#[test]
fn the_wrong_pot_lifted_and_put_back_is_asked_about_again() {
    for more in [200.0, 35.0] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.pour_without_rest(POT_G + 100.0);
        driver.run(2.6);
        driver.put(0.0);
        for _ in 0..2 {
            driver.put(POT_G + 100.0 + more);
            driver.run(5.0);
            assert!(poured_in(&driver).is_some(), "{more} g");
            driver.put(0.0);
        }
        assert_eq!(driver.captured("olive"), None, "{more} g");
    }
}

#[test]
fn a_replug_lets_no_other_cup_open_the_latch() {
    for holds in [22.0, 30.0, 43.0] {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + 50.0);
        driver.put(0.0);
        driver.lose_scale();
        driver.run(5.0);
        driver.put(CUP_G + holds);
        driver.run(5.0);
        assert!(driver.caustic_over(), "{holds} g");
    }
}

/// What was put back after a lighter pot was asked about is its own question.
#[test]
fn the_question_of_a_lighter_pot_goes_with_it() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.put(0.0);
    driver.put(POT_G - 35.0);
    assert!(matches!(driver.asks(), Some(Ask::LighterPot { .. })));
    driver.put(POT_G + 50.0);
    driver.run(3.0);
    assert_eq!(poured_in(&driver), Some(g("50")));
    assert_eq!(driver.confirm(), Reply::Done);

    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 30.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(POT_G - 35.0);
    driver.put(POT_G + 30.0);
    driver.pour_to(POT_G + 100.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
    assert_eq!(driver.asks(), None);
}

#[test]
fn what_was_heavier_is_settled_by_a_new_tare() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.put(0.0);
    driver.put(POT_G + 100.0);
    driver.put(0.0);
    driver.put(POT_G - 5.0);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(3.0);
    assert_eq!(driver.asks(), None);
    driver.pour_to(POT_G + 95.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}

/// Nobody knows after a restart how it left; that it was in question is on record.
#[test]
fn a_restart_forgets_no_question_about_what_came_back() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.put(0.0);
    driver.put(POT_G + 100.0);
    driver.kill_and_restart();
    driver.run(5.0);
    driver.put(0.0);
    driver.put(POT_G + 100.0);
    driver.run(5.0);
    assert_eq!(driver.confirm(), Reply::Done, "nothing was touched");
    driver.run(5.0);
    assert_eq!(driver.captured("coconut"), None);
    assert_eq!(poured_in(&driver), Some(g("100")));
}

/// The next vessel comes down before the pan was seen bare, slowly or on a slow scale, where no jump
/// is seen: no over-pour, and no end of facts.
#[test]
fn the_next_vessel_put_down_slowly_is_no_over_pour_either() {
    for (every, ramp) in [(1, 0), (1, 3), (1, 5), (1, 6), (1, 8), (1, 12), (5, 0), (5, 3), (5, 8)] {
        for to in [JUG_G, CUP_G + 44.0, 600.0] {
            let mut driver = Driver::at_caustic();
            driver.pour_to(CUP_G + driver.target());
            assert!(driver.captured("naoh").is_some());
            driver.scale_talks = false;
            for tick in 0..60 {
                driver.load = match tick {
                    0..10 => 0.0,
                    _ if ramp == 0 => to,
                    _ => to * (f64::from(tick - 9) / f64::from(ramp)).min(1.0),
                };
                driver.tick();
                if tick % every == 0 {
                    let still = !(10..10 + ramp).contains(&tick);
                    let status = if still { Status::Stable } else { Status::InMotion };
                    driver.scale_reads(driver.load, status);
                }
                assert!(!driver.caustic_over(), "every {every}, in {ramp}, {to} g, at {tick}");
            }
        }
    }
}

/// Off for a zero in doubt, a cup of caustic is the same within 3 d: a twin may hold as much.
#[test]
fn in_doubt_a_cup_of_caustic_is_the_same_within_three_intervals() {
    for (more, asked) in [(0.3, false), (0.4, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 20.0);
        driver.run(2.5);
        driver.scale_talks = false;
        driver.run(10.0);
        driver.scale_talks = true;
        driver.put(CUP_G + 24.0);
        assert_eq!(driver.phase(), Phase::ZeroDoubted);
        driver.put(0.0);
        driver.put(CUP_G + 24.0 + more);
        assert_eq!(poured_in(&driver).is_some(), asked, "{more} g");
    }
}

/// Less caustic than would be noticed as put on, in the cup before it is tared.
#[test]
fn a_little_caustic_poured_before_the_tare_is_not_swallowed() {
    for (early, tared) in [(0.4, true), (0.6, false), (1.5, false), (1.9, false), (2.1, false)] {
        let mut driver = Driver::oils_weighed();
        driver.load = CUP_G;
        driver.status = Status::InMotion;
        driver.run(1.0);
        while driver.load < CUP_G + early - 0.01 {
            driver.load += 0.2;
            driver.tick();
        }
        driver.load = CUP_G + early;
        driver.status = Status::Stable;
        driver.run(6.0);
        assert_eq!(driver.phase() == Phase::Pouring, tared, "{early} g");
        if !tared {
            // emptied, it is taken
            driver.put(0.0);
            driver.put(CUP_G);
            assert_eq!(driver.phase(), Phase::Pouring, "{early} g");
        }
    }
}

/// A declared mass does not end the step with the cup on the pan, where more may be poured unseen.
#[test]
fn caustic_on_the_pan_is_weighed_not_declared() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 30.0);
    driver.run(2.5);
    let declare = || Act::Declare {
        batch: batch_id(),
        ingredient: IngredientId::from("naoh"),
        mass: g("43"),
    };
    let refused = driver.act(declare());
    assert!(matches!(refused, Reply::Refused { .. }), "{refused:?}");
    driver.put(0.0);
    assert_eq!(driver.act(declare()), Reply::Done);
}

/// Caustic draws moisture; its cup is its cup for all that, up to a twentieth more.
#[test]
fn the_cup_of_caustic_is_no_jug_however_moist() {
    for (gain, tared) in [(-0.4, true), (-0.3, false), (0.4, false), (2.1, false), (2.2, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + driver.target());
        let full = driver.load;
        driver.put(0.0);
        driver.expect_step("weigh-water");
        driver.put(full + gain);
        driver.run(3.0);
        assert_eq!(driver.phase() == Phase::Pouring, tared, "{gain} g");
        let sentence = driver.view().batches[0].sentence.clone();
        assert_eq!(sentence.starts_with("That weighs what the cup"), !tared, "{sentence}");
    }
}

/// Off its centre by a little it is said, not asked.
#[test]
fn a_vessel_off_its_centre_is_no_question() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.5);
    driver.put(0.0);
    driver.put(CUP_G + 21.0);
    assert_eq!(driver.asks(), None);
    let said = |fact: &Fact| matches!(fact, Fact::Noticed { notice: Notice::OffCentre, .. });
    assert!(driver.facts.iter().any(|numbered| said(&numbered.fact)));
}
