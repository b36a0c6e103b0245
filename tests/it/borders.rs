//! Numbers of the bench law at, just below and just above: those that no other test stands at.
//!
//! Elsewhere: rest of two seconds and five readings (`signal::rest`), the tolerance of oils, half a
//! second over the guard, silence of one, three and five seconds, 60 s of silence (`bench`), a load
//! of 20 d at once (`signal::jump`), residue, off-centre (`bench`), unit key (`unit_key`), the last
//! moment before a lift (`before_lift`).

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, Fact, Notice, Phase, Settings, allowed_age};
use panroom::chemistry::IngredientId;
use panroom::quantity::{Mass, Moment, Span};
use panroom::reading::{Channel, Reading, Status, Value};
use panroom::signal::{RestTest, RestWindow};

use crate::driver::{CUP_G, Driver, POT_G, batch_id, control, g, setup};

/// At rest but for a last digit that flickers by so much, for ten seconds.
fn flickering(mut driver: Driver, load: f64, flicker_g: f64) -> Driver {
    driver.status = Status::Stable;
    for tick in 0..100 {
        driver.load = load + if tick % 2 == 0 { 0.0 } else { flicker_g };
        driver.tick();
    }
    driver
}

/// Rest: a spread of at most 1 d for caustic, 2 d for the rest.
#[test]
fn the_spread_at_rest() {
    for (flicker, taken) in [(0.1, true), (0.2, false)] {
        let mut driver = Driver::at_caustic();
        let full = CUP_G + driver.target();
        driver.pour_without_rest(full - 0.2);
        let driver = flickering(driver, full - 0.2, flicker);
        assert_eq!(driver.captured("naoh").is_some(), taken, "caustic, {flicker} g");
    }
    for (flicker, taken) in [(0.2, true), (0.3, false)] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.pour_without_rest(POT_G + 99.8);
        let driver = flickering(driver, POT_G + 99.8, flicker);
        assert_eq!(driver.captured("coconut").is_some(), taken, "oil, {flicker} g");
    }
}

/// Rest: a slope that comes to less than half an interval over the window.
#[test]
fn the_slope_at_rest() {
    let test = RestTest {
        window: Span::from_secs(2),
        readings_min: 5,
        spread_max: g("0.1"),
        creep_max: g("0.05"),
        gap_max: Span::from_secs(1),
    };
    for (creep_mg, rests) in [(48, true), (52, false)] {
        let mut window = RestWindow::default();
        for tick in 0..=20 {
            let mass = g("43") + Mass::from_steps(g("0.001").steps() * creep_mg * tick / 20);
            let unit = panroom::quantity::MassUnit::Gram;
            let value = Some(Value::Mass { mass, unit, decimals: 3, unit_on_wire: true });
            let at = Moment::from_nanos(tick * 100_000_000);
            let channel = Channel::new("scale");
            window.push(&Reading { channel, at, value, status: Status::Stable }, &test);
        }
        assert_eq!(window.at_rest(&test).is_some(), rests, "{creep_mg} mg in two seconds");
    }
}

/// A capture takes two seconds of rest inside the tolerance.
#[test]
fn two_seconds_inside_the_tolerance() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 97.0);
    driver.load = POT_G + 100.0;
    driver.tick();
    driver.run(1.9);
    assert_eq!(driver.captured("coconut"), None, "1.9 s");
    driver.tick();
    assert_eq!(driver.captured("coconut"), Some(g("100")), "2.0 s");
}

/// Caustic: from 1 % below its target to one interval above it. Of 43.0 g: 42.57 to 43.1 g.
#[test]
fn the_tolerance_of_caustic() {
    for (net, taken) in [(42.5, false), (42.6, true), (43.1, true), (43.2, false)] {
        let mut driver = Driver::at_caustic();
        assert_eq!(driver.weighing_target(), g("43"));
        driver.pour_to(CUP_G + net);
        assert_eq!(driver.captured("naoh").is_some(), taken, "{net} g");
    }
}

/// A capture is reopened by more than two intervals, not by two.
#[test]
fn two_intervals_do_not_reopen() {
    for (change, reopened) in [(0.2, false), (0.3, true), (-0.2, false), (-0.3, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + 42.8);
        assert!(driver.captured("naoh").is_some());
        driver.load += change;
        driver.run(2.5);
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::Reopened { .. }));
        assert_eq!(told, reopened, "{change} g");
    }
}

/// The same cup is back at its tare less three intervals, not less four.
#[test]
fn the_same_cup_is_three_intervals_off_at_most() {
    for (below, back) in [(0.3, true), (0.4, false)] {
        let mut driver = Driver::at_caustic();
        driver.put(0.0);
        driver.put(CUP_G - below);
        let phase = driver.phase();
        assert_eq!(phase == Phase::Pouring, back, "{below} g below");
    }
}

/// A vessel is gone after half a second below its tare.
#[test]
fn half_a_second_is_a_lift() {
    let mut driver = Driver::at_caustic();
    driver.load = 0.0;
    let lifted =
        |driver: &Driver| driver.facts.iter().any(|n| matches!(n.fact, Fact::Lifted { .. }));
    driver.run(0.5);
    assert!(!lifted(&driver), "0.4 s since the first reading below");
    driver.tick();
    assert!(lifted(&driver));
}

/// Twenty intervals are a vessel, nineteen are not.
#[test]
fn the_lightest_vessel() {
    for (vessel, tared) in [(1.9, false), (2.0, true)] {
        let mut driver = Driver::oils_weighed();
        driver.put(vessel);
        let phase = driver.phase();
        assert_eq!(phase == Phase::Pouring, tared, "{vessel} g");
    }
}

/// Resting short for four seconds asks whether it is to stay so.
#[test]
fn four_seconds_short_ask() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 60.0);
    // the last of the pour, two seconds to rest, and not yet four
    driver.run(5.9);
    assert_eq!(driver.asks(), None);
    driver.run(0.2);
    assert!(matches!(driver.asks(), Some(Ask::TakeShort { .. })), "{:?}", driver.asks());
}

/// Noise of more than three intervals for ten seconds is unsteady.
#[test]
fn ten_seconds_of_noise() {
    let said = |driver: &Driver| {
        driver
            .facts
            .iter()
            .any(|n| matches!(n.fact, Fact::Noticed { notice: Notice::Unsteady, .. }))
    };
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(11.0);
    for tick in 0..110 {
        driver.load = CUP_G + 20.0 + if tick % 2 == 0 { 0.0 } else { 0.4 };
        driver.tick();
        // each of five pieces of the window must be noisy
        assert!(tick >= 80 || !said(&driver), "{tick} tenths of a second");
    }
    assert!(said(&driver));
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    let driver = flickering(flickering(driver, CUP_G + 20.0, 0.3), CUP_G + 20.0, 0.3);
    assert!(!said(&driver), "three intervals");
}

/// A probe is lost after five seconds, or three of its periods if that is longer.
#[test]
fn three_periods_of_a_slow_probe() {
    let lost = |alarm: &AlarmId| matches!(alarm, AlarmId::InstrumentLost { instrument } if instrument == "pot");
    for (period_s, silent_s) in [(1, 5.0), (2, 6.0), (4, 12.0)] {
        let mut driver = Driver::new();
        driver.setup = setup();
        driver.setup.channels[1].period = Span::from_secs(period_s);
        driver.open_session(2, None);
        driver.run(1.0);
        driver.probe_talks = false;
        driver.run(silent_s);
        assert!(!driver.is_active(lost), "{silent_s} s at {period_s} s");
        driver.run(0.1);
        assert!(driver.is_active(lost), "{silent_s} s and more at {period_s} s");
    }
}

/// Silence of the scale for three seconds may have hidden another zero.
#[test]
fn three_seconds_of_silence_doubt_the_zero() {
    for (silent, doubted) in [(2.9, false), (3.0, true)] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.pour_without_rest(POT_G + 50.0);
        driver.run(2.0);
        driver.scale_talks = false;
        driver.run(silent);
        driver.scale_talks = true;
        // the next reading comes a tenth later
        driver.load = 10.0;
        driver.run(4.0);
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::ZeroDoubted { .. }));
        assert_eq!(told, doubted, "{silent} s and a tenth");
    }
}

/// While caustic is weighed, one second: what was poured meanwhile on another zero would be missed.
#[test]
fn with_caustic_one_second_of_silence_doubts_it() {
    for (silent, doubted) in [(0.9, false), (1.0, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 20.0);
        driver.run(2.0);
        driver.scale_talks = false;
        driver.run(silent);
        driver.scale_talks = true;
        // the next reading comes a tenth later, and counts from the load itself
        driver.load = 10.0;
        driver.run(4.0);
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::ZeroDoubted { .. }));
        assert_eq!(told, doubted, "{silent} s and a tenth");
    }
}

/// 20 g are in the cup on a scale of two readings a second; the next comes so late, and counts from
/// another zero.
fn late_by(millis: i64) -> Driver {
    let mut driver = Driver::new();
    driver.setup.channels[0].period = Span::from_millis(500);
    driver.open_session(2, None);
    driver.run(0.5);
    driver.act(Act::start(batch_id(), Arc::new(control())));
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.0);
    for (gap, load) in [(500, 70.0), (millis, 10.0)] {
        driver.now = driver.now + Span::from_millis(gap);
        driver.scale_reads(load, Status::Stable);
    }
    driver.load = 10.0;
    driver.run(4.0);
    driver
}

/// One that speaks twice a second may lose one line: two and a half of its periods.
#[test]
fn a_slow_scale_may_lose_one_reading_while_caustic_is_weighed() {
    for (millis, doubted) in [(1010, false), (1250, false), (1251, true)] {
        let driver = late_by(millis);
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::ZeroDoubted { .. }));
        let blind = driver.changes_of(|alarm| matches!(alarm, AlarmId::PouringBlind { .. }));
        assert_eq!((told, !blind.is_empty()), (doubted, doubted), "{millis} ms");
    }
}

#[test]
fn a_slower_one_is_waited_for_no_longer() {
    let mut scale = setup().channels[0].clone();
    for (period, allowed) in [(100, 1000), (400, 1000), (440, 1100), (500, 1250), (2000, 1250)] {
        scale.period = Span::from_millis(period);
        let age = allowed_age(&scale, &Settings::default(), true);
        assert_eq!(age, Span::from_millis(allowed), "{period} ms");
    }
}

/// A scale that says that it is overloaded has not slept.
#[test]
fn an_overload_is_no_silence() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.0);
    let load = driver.load;
    driver.status = Status::OverLimit;
    driver.run(5.0);
    driver.status = Status::Stable;
    driver.load = load + 1.0;
    driver.run(4.0);
    let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::ZeroDoubted { .. }));
    assert!(!told, "5 s over the limit");
}

/// A declared mass lies between half and twice what is wanted.
#[test]
fn half_and_twice_may_be_declared() {
    use panroom::bench::{Act, Reply};
    for (mass, done) in [("49.9", false), ("50", true), ("200", true), ("200.1", false)] {
        let mut driver = Driver::started();
        let (batch, ingredient) = (crate::driver::batch_id(), IngredientId::from("coconut"));
        let reply = driver.act(Act::Declare { batch, ingredient, mass: g(mass) });
        assert_eq!(reply == Reply::Done, done, "{mass} g");
    }
}

/// The zero is in doubt, and the pan has been cleared before anybody looked: what the books expect
/// settles it when it comes back, and where the zero has moved, taking it off again does.
#[test]
fn a_doubt_that_begins_on_an_empty_pan_is_no_dead_end() {
    for moved in [0.0, 7.0] {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.pour_without_rest(POT_G + 50.0);
        driver.run(2.0);
        driver.scale_talks = false;
        driver.run(20.0);
        driver.scale_talks = true;
        // lifted off while it was silent
        driver.put(moved);
        driver.put(POT_G + 50.0 + moved);
        driver.put(moved);
        driver.put(POT_G + 50.0 + moved);
        let weighing = driver.view().batches[0].weighing.clone().unwrap();
        assert_eq!(weighing.phase, Phase::Pouring, "{moved} g");
        assert_eq!(weighing.net, Some(g("50")), "{moved} g");
    }
}

/// In doubt, less than the empty vessel taken off is no empty pan: 50.0 g less the 3 d of a match.
#[test]
fn a_spoonful_taken_out_in_doubt_is_no_empty_pan() {
    for (left, known) in [(37.0, false), (5.4, false), (5.3, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 20.0);
        driver.run(2.0);
        driver.scale_talks = false;
        driver.run(20.0);
        driver.scale_talks = true;
        // woken with 15 g too little
        driver.put(CUP_G + 5.0);
        driver.put(left);
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::ZeroChecked { .. }));
        assert_eq!(told, known, "{left} g left on the pan");
    }
}
