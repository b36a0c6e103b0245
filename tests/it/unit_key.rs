//! Invariant 14: a unit or decimals that change are an event; a ratio of two units on a resting pan
//! without a unit on the wire is a fault that bars capture.

use panroom::bench::{Act, AlarmId, Fact, Notice, Phase};
use panroom::quantity::{Mass, MassUnit, Span};
use panroom::reading::{Channel, Reading, Status, Value};

use panroom::bench::Input;

use crate::driver::{CUP_G, Driver, batch_id, g};

/// For so long the scale says this number, with no unit beside it.
fn says(driver: &mut Driver, number: &str, seconds: f64) {
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let decimals = part.len() as u8;
    let digits: i64 = format!("{whole}{part}").parse().unwrap();
    let unit = MassUnit::Gram;
    let mass = Mass::from_decimal(digits, decimals, unit).unwrap();
    let value = Some(Value::Mass { mass, unit, decimals, unit_on_wire: false });
    for _ in 0..(seconds * 10.0) as u32 {
        driver.now = driver.now + Span::from_millis(100);
        let (channel, at, status) = (Channel::new("scale"), driver.now, Status::Stable);
        driver.input(&Input::Reading(Reading { channel, at, value, status }));
    }
}

fn pours(driver: &mut Driver, from: f64, to: f64) {
    let mut load = from;
    while load < to {
        load = (load + 2.0).min(to);
        says(driver, &format!("{load:.1}"), 0.1);
    }
}

/// The oils are declared, the caustic's cup of 50 g is tared.
fn at_caustic() -> Driver {
    let mut driver = Driver::started();
    for (ingredient, mass) in [("coconut", "100"), ("olive", "200")] {
        let (batch, ingredient) = (batch_id(), ingredient.into());
        driver.act(Act::Declare { batch, ingredient, mass: g(mass) });
        says(&mut driver, "0.0", 2.5);
    }
    driver.expect_step("weigh-naoh");
    says(&mut driver, &format!("{CUP_G:.1}"), 3.0);
    driver
}

fn noticed(driver: &Driver, wanted: impl Fn(&Notice) -> bool) -> bool {
    driver
        .facts
        .iter()
        .any(|numbered| matches!(&numbered.fact, Fact::Noticed { notice, .. } if wanted(notice)))
}

/// 90 g rest on the pan; the key is pressed; 3.17 oz and then more are poured by the display.
#[test]
fn invariant_14_the_unit_key_bars_capture() {
    let mut driver = at_caustic();
    pours(&mut driver, CUP_G, CUP_G + 40.0);
    says(&mut driver, "90.0", 3.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    says(&mut driver, "3.2", 1.0);
    assert!(noticed(&driver, |notice| matches!(notice, Notice::UnitSuspected { .. })));
    // as far as the target by the display, and a rest there
    pours(&mut driver, 3.2, 12.0);
    says(&mut driver, "12.0", 10.0);
    assert_eq!(driver.captured("naoh"), None);
    let blind = |alarm: &AlarmId| matches!(alarm, AlarmId::PouringBlind { .. });
    assert!(driver.is_active(blind), "a number in another unit is no number");
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, None);
    // back to grams: 12 oz were 340 g
    says(&mut driver, "340.2", 5.0);
    assert_eq!(driver.captured("naoh"), None);
    assert_eq!(driver.phase(), Phase::ZeroDoubted, "nobody saw what happened meanwhile");
}

#[test]
fn invariant_14_pressed_and_pressed_back_goes_on() {
    let mut driver = at_caustic();
    pours(&mut driver, CUP_G, CUP_G + 40.0);
    says(&mut driver, "90.0", 3.0);
    says(&mut driver, "3.17", 3.0);
    assert!(noticed(&driver, |n| matches!(n, Notice::DecimalsChanged { from: 1, to: 2 })));
    says(&mut driver, "90.0", 5.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    pours(&mut driver, 90.0, 93.0);
    says(&mut driver, "93.0", 5.0);
    assert_eq!(driver.captured("naoh"), Some(g("43")));
}

/// On an empty pan no ratio tells, but decimals do: what follows would be ounces taken for grams.
#[test]
fn invariant_14_decimals_that_change_on_an_empty_pan_bar_the_tare() {
    let mut driver = Driver::started();
    says(&mut driver, "0.0", 3.0);
    says(&mut driver, "0.00", 3.0);
    says(&mut driver, "14.11", 3.0);
    assert_ne!(driver.phase(), Phase::Pouring, "400 g of pot are no 14 g");
    for number in ["20.00", "60.00", "114.00"] {
        says(&mut driver, number, 1.0);
    }
    says(&mut driver, "114.00", 5.0);
    assert_eq!(driver.captured("coconut"), None);
    // back to grams; nobody saw what happened meanwhile, so the pot comes off once more and goes back
    says(&mut driver, "0.0", 6.0);
    says(&mut driver, "400.0", 4.0);
    says(&mut driver, "0.0", 4.0);
    says(&mut driver, "400.0", 4.0);
    assert_eq!(driver.phase(), Phase::Pouring);
    assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, Some(Mass::ZERO));
}

/// With the unit on the wire nothing is lost, and the change is kept.
#[test]
fn invariant_14_a_unit_on_the_wire_is_an_event() {
    let mut driver = Driver::at_caustic();
    let value = Value::Mass {
        mass: Mass::parse("1.76 oz").unwrap(),
        unit: MassUnit::Ounce,
        decimals: 2,
        unit_on_wire: true,
    };
    driver.now = driver.now + Span::from_millis(100);
    let (channel, at, status) = (Channel::new("scale"), driver.now, Status::Stable);
    driver.input(&Input::Reading(Reading { channel, at, value: Some(value), status }));
    let (from, to) = (MassUnit::Gram, MassUnit::Ounce);
    assert!(noticed(&driver, |notice| *notice == Notice::UnitChanged { from, to }));
    assert_eq!(driver.phase(), Phase::Pouring);
}
