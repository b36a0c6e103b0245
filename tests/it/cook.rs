//! The cook: its temperatures, its looks, the probe.

use panroom::bench::{Act, AlarmId, Ask, Cue, Fact, Observation, ProbeAt, Reply};

use crate::driver::{Driver, batch_id};

fn high(alarm: &AlarmId) -> bool {
    matches!(alarm, AlarmId::TemperatureHigh { .. })
}

#[test]
fn high_temperature_has_delay_and_deadband() {
    let mut driver = Driver::cooking();
    driver.celsius = 95.0;
    driver.run(60.0);
    assert!(!driver.is_active(high), "at the limit is not above it");
    driver.celsius = 95.1;
    driver.run(5.0);
    assert!(!driver.is_active(high));
    driver.run(2.0);
    assert!(driver.is_active(high));
    driver.celsius = 94.1;
    driver.run(60.0);
    assert!(driver.is_active(high), "inside the deadband of 1 K");
    driver.celsius = 94.0;
    driver.run(12.0);
    assert!(!driver.is_active(high));
}

#[test]
fn a_wandering_temperature_sounds_once_a_minute_at_most() {
    let mut driver = Driver::cooking();
    driver.cues.clear();
    for _ in 0..10 {
        driver.celsius = 96.0;
        driver.run(15.0);
        driver.celsius = 93.0;
        driver.run(15.0);
    }
    let of_high = |cue: &&Cue| matches!(cue, Cue::Sound { alarm, .. } if high(alarm));
    let sounds = driver.cues.iter().filter(of_high).count();
    assert!((2..=6).contains(&sounds), "{sounds} sounds in five minutes");
}

#[test]
fn high_high_takes_two_seconds_and_sounds_above_high() {
    let mut driver = Driver::cooking();
    driver.celsius = 98.1;
    driver.run(4.0);
    let alarms = driver.view().alarms;
    assert!(matches!(alarms[0].alarm, AlarmId::TemperatureHighHigh { .. }), "{alarms:?}");
}

#[test]
fn low_is_watched_only_after_a_minute_in_the_window() {
    let low = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureLow { .. });
    for (inside_s, watched) in [(57.0, false), (63.0, true)] {
        let mut driver = Driver::cooking();
        driver.celsius = 60.0;
        driver.run(3.0);
        driver.celsius = 75.0;
        driver.run(inside_s);
        driver.celsius = 65.0;
        driver.run(10.0);
        assert_eq!(driver.is_active(low), watched, "{inside_s} s");
    }
}

#[test]
fn heating_is_judged_only_near_the_window() {
    let fast = |alarm: &AlarmId| matches!(alarm, AlarmId::HeatingFast { .. });
    for (from, per_minute, alarmed) in
        [(40.0, 4.0, false), (70.0, 4.0, true), (70.0, 2.4, false), (70.0, 2.6, true)]
    {
        let mut driver = Driver::cooking();
        driver.celsius = from;
        driver.run(61.0);
        for _ in 0..100 {
            driver.run(1.0);
            driver.celsius += per_minute / 60.0;
        }
        assert_eq!(driver.is_active(fast), alarmed, "{per_minute} K/min from {from} °C");
    }
}

#[test]
fn a_probe_out_for_stirring_comes_back_by_itself() {
    let lost = |alarm: &AlarmId| matches!(alarm, AlarmId::InstrumentLost { .. });
    let mut driver = Driver::cooking();
    let act = Act::ProbeOut { batch: batch_id(), at: ProbeAt::Pot };
    assert_eq!(driver.act(act), Reply::Done);
    driver.probe_talks = false;
    driver.run(89.0);
    assert!(!driver.is_active(lost));
    driver.run(2.0);
    assert!(driver.is_active(lost), "90 s are over");
}

#[test]
fn a_missed_look_climbs_after_two_minutes() {
    let missed = |alarm: &AlarmId| matches!(alarm, AlarmId::LookMissed { .. });
    let mut driver = Driver::cooking();
    driver.run(600.0);
    assert_eq!(driver.asks(), Some(Ask::Look));
    driver.run(119.0);
    assert!(!driver.is_active(missed));
    driver.run(2.0);
    assert!(driver.is_active(missed));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(0.1);
    assert!(!driver.is_active(missed));
}

#[test]
fn the_emergency_card_is_logged_and_timers_go_on() {
    let mut driver = Driver::cooking();
    driver.run(60.0);
    assert_eq!(driver.act(Act::Emergency), Reply::Done);
    assert!(driver.cues.contains(&Cue::Emergency));
    assert!(driver.facts.iter().any(|f| matches!(f.fact, Fact::EmergencyOpened { .. })));
    driver.run(60.0);
    let watched = driver.view().batches[0].cook.as_ref().unwrap().watched;
    assert!((watched.seconds() - 120.0).abs() < 1.0);
}

#[test]
fn observations_are_kept() {
    let mut driver = Driver::cooking();
    let observe = Act::Observe {
        batch: batch_id(),
        observation: Observation::Trace,
        note: "light".to_owned(),
    };
    assert_eq!(driver.act(observe), Reply::Done);
    let kept = driver
        .facts
        .iter()
        .any(|f| matches!(&f.fact, Fact::Observed { note, .. } if note == "light"));
    assert!(kept);
}
