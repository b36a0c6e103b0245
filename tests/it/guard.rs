//! Caustic above its guard, and when that alarms: invariant 2. What lets the alarm go is in
//! `latch.rs`.

use panroom::bench::{AlarmChange, AlarmId, Cue, Input, Phase};
use panroom::reading::Status;

use crate::driver::{CUP_G, Driver, g};

#[test]
fn invariant_2_over_the_guard_for_half_a_second_alarms() {
    let mut driver = Driver::at_caustic();
    let over = CUP_G + driver.guard().grams() + 0.1;
    driver.pour_without_rest(over - 2.0);
    driver.status = Status::InMotion;
    driver.load = over;
    driver.tick();
    for _ in 0..4 {
        driver.tick();
        assert!(!driver.caustic_over(), "0.4 s are not yet half a second");
    }
    driver.tick();
    assert!(driver.caustic_over());
    assert!(driver.cues.iter().any(|cue| matches!(cue, Cue::Sound { .. })));
    assert_eq!(driver.phase(), Phase::Over);
}

/// A load put down rings: its first second is no pour, what stands after it is.
#[test]
fn invariant_2_a_load_put_on_has_a_second() {
    let mut driver = Driver::at_caustic();
    driver.load = CUP_G + driver.guard().grams() + 10.0;
    driver.status = Status::InMotion;
    driver.run(1.0);
    assert!(!driver.caustic_over());
    driver.run(0.5);
    assert!(driver.caustic_over());
}

#[test]
fn invariant_2_at_the_guard_does_not_alarm() {
    let mut driver = Driver::at_caustic();
    let guard = driver.guard().floor_to(g("0.1"));
    driver.pour_to(CUP_G + guard.grams());
    driver.run(30.0);
    assert!(!driver.caustic_over());
}

#[test]
fn invariant_2_half_a_second_passes_without_readings() {
    let mut driver = Driver::at_caustic();
    driver.status = Status::InMotion;
    driver.load = CUP_G + driver.guard().grams() + 5.0;
    driver.tick();
    driver.scale_talks = false;
    driver.run(0.6);
    assert!(driver.caustic_over(), "unknown is never safe");
}

#[test]
fn invariant_2_overload_counts_as_over() {
    let mut driver = Driver::at_caustic();
    driver.status = Status::OverLimit;
    driver.run(0.7);
    assert!(driver.caustic_over());
}

#[test]
fn invariant_2_silence_means_pouring_blind() {
    let blind = |alarm: &AlarmId| matches!(alarm, AlarmId::PouringBlind { .. });
    let mut driver = Driver::at_caustic();
    driver.scale_talks = false;
    driver.run(1.0);
    assert!(!driver.is_active(blind));
    driver.run(0.1);
    assert!(driver.is_active(blind));
    assert_eq!(driver.view().batches[0].sentence, "Stop pouring: the scale is silent.");
    driver.scale_talks = true;
    driver.run(2.0);
    assert!(driver.is_active(blind), "the pan has not come to rest at what the books say");
    driver.run(2.0);
    assert!(driver.is_active(blind), "one that speaks now and then is not back");
    driver.run(0.2);
    assert!(!driver.is_active(blind));
}

#[test]
fn invariant_2_a_digit_flickering_about_the_guard_does_not_chatter() {
    let mut driver = Driver::over_poured();
    let guard = driver.guard().floor_to(g("0.1")).grams();
    for _ in 0..100 {
        driver.load = CUP_G + guard;
        driver.tick();
        driver.load = CUP_G + guard + 0.1;
        driver.tick();
    }
    let over = |alarm: &AlarmId| matches!(alarm, AlarmId::CausticOver { .. });
    assert_eq!(driver.changes_of(over), [AlarmChange::Raised]);
}

#[test]
fn invariant_2_noise_does_not_hide_a_lasting_over_pour() {
    let mut driver = Driver::at_caustic();
    let guard = driver.guard().floor_to(g("0.1")).grams();
    driver.status = Status::InMotion;
    driver.pour_without_rest(CUP_G + guard - 1.0);
    driver.status = Status::InMotion;
    for tick in 0..50 {
        driver.load = CUP_G + guard + if tick % 5 == 0 { 0.0 } else { 8.0 };
        driver.tick();
    }
    assert!(driver.caustic_over());
}

/// After a silence in which the scale may have slept nothing is shown, and pouring stays blind,
/// until the load has rested and agrees with the books.
#[test]
fn invariant_2_a_scale_that_slept_does_not_guide_the_pour() {
    let blind = |alarm: &AlarmId| matches!(alarm, AlarmId::PouringBlind { .. });
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.run(2.0);
    driver.scale_talks = false;
    driver.run(20.0);
    driver.scale_talks = true;
    // it woke with the load as its zero, and somebody pours
    driver.load = 0.0;
    driver.pour_without_rest(60.0);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, None);
    assert!(driver.is_active(blind));
}

#[test]
fn invariant_2_more_after_the_capture_alarms_and_reopens() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    assert!(driver.captured("naoh").is_some());
    driver.pour_to(CUP_G + driver.guard().grams() + 3.0);
    assert!(driver.caustic_over());
    assert_eq!(driver.captured("naoh"), None);
    driver.put(0.0);
    driver.expect_step("weigh-naoh");
}

#[test]
fn invariant_2_what_is_poured_before_the_tare_is_no_tare() {
    let mut driver = Driver::oils_weighed();
    driver.load = CUP_G;
    driver.run(0.8);
    driver.pour_to(CUP_G + 10.0);
    driver.run(10.0);
    assert_ne!(driver.phase(), Phase::Pouring);
    driver.put(0.0);
    driver.put(CUP_G);
    assert_eq!(driver.phase(), Phase::Pouring);
}

/// A light cup is tared, somebody presses the scale's own tare key and pours by its display.
#[test]
fn invariant_2_the_scales_own_tare_key_hides_no_cup() {
    let mut driver = Driver::oils_weighed();
    driver.put(10.0);
    driver.put(0.0);
    assert_eq!(driver.phase(), Phase::Lifted);
    driver.pour_to(43.0);
    driver.run(5.0);
    assert_eq!(driver.captured("naoh"), None);
    assert_eq!(driver.phase(), Phase::ZeroDoubted);
    // off, the empty pan is 10 g lighter than the tare key made it; back, 43 g are 43 g
    driver.put(-10.0);
    driver.put(43.0);
    driver.run(3.0);
    assert_eq!(driver.captured("naoh"), Some(g("43")));
}

#[test]
fn nobody_in_earshot_is_said_in_caustic_and_cook() {
    let driver = Driver::started();
    assert!(!driver.view().nobody_hears);
    let mut driver = Driver::at_caustic();
    assert!(driver.view().nobody_hears);
    driver.input(&Input::Hearing { audible: 1 });
    assert!(!driver.view().nobody_hears);
}
