//! A lost instrument is an alarm, never a frozen number: invariant 4.

use panroom::bench::{AlarmId, Input};
use panroom::quantity::Span;

use crate::driver::{Driver, POT_G};

#[test]
fn invariant_4_a_silent_scale_shows_nothing() {
    let lost = |alarm: &AlarmId| matches!(alarm, AlarmId::InstrumentLost { instrument } if instrument == "scale");
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.scale_talks = false;
    driver.run(3.0);
    assert!(driver.view().channels[0].value.is_some());
    assert!(!driver.is_active(lost));
    driver.run(0.1);
    let view = driver.view();
    assert_eq!(view.channels[0].value, None);
    assert_eq!(view.batches[0].weighing.as_ref().unwrap().net, None);
    assert!(driver.is_active(lost));
}

#[test]
fn invariant_4_caustic_allows_one_second_and_probes_five() {
    let mut driver = Driver::at_caustic();
    driver.scale_talks = false;
    driver.run(1.1);
    assert_eq!(driver.view().channels[0].value, None);
    driver.scale_talks = true;
    driver.run(1.0);
    driver.probe_talks = false;
    driver.run(4.0);
    assert!(driver.view().channels[1].value.is_some());
    driver.run(2.1);
    assert_eq!(driver.view().channels[1].value, None);
}

#[test]
fn invariant_4_a_lost_port_blanks_at_once() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
    driver.input(&Input::InstrumentLost { instrument: instrument.clone(), why });
    assert_eq!(driver.view().channels[0].value, None);
    assert_eq!(
        driver.view().alarms[0].words,
        "Scale is lost: unplugged. Check its cable; it is tried again all the time."
    );
    driver.input(&Input::InstrumentBack { instrument });
    driver.run(2.2);
    assert!(driver.view().channels[0].value.is_some());
    assert!(!driver.is_active(|alarm| matches!(alarm, AlarmId::InstrumentLost { .. })));
}

#[test]
fn invariant_4_a_view_taken_later_is_older() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    let later = driver.now + Span::from_secs(4);
    assert_eq!(driver.bench.view(later).channels[0].value, None);
}

#[test]
fn a_reading_says_that_an_instrument_is_back() {
    let mut driver = Driver::started();
    driver.lose_scale();
    driver.run(3.0);
    assert!(driver.view().channels[0].value.is_some());
}
