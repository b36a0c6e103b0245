//! Caustic dissolves: the peak of the lye judges what was weighed.

use panroom::bench::{Act, Fact, ProbeAt, Role};
use panroom::chemistry::{DissolveVerdict, StartState};
use panroom::quantity::{Share, Temperature, TemperatureUnit};

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id};

/// About 43 g of sodium hydroxide and 107 g of water, dissolving, with a probe in the lye.
fn dissolving(declared: bool) -> Driver {
    dissolving_with(ProbeAt::Lye, declared)
}

/// The same with the one probe somewhere else.
pub fn dissolving_with(at: ProbeAt, declared: bool) -> Driver {
    let mut driver = Driver::new();
    driver.setup.channels[1].role = Role::Probe { at, unit: TemperatureUnit::Celsius };
    driver.open_session(2, Some(driver.now));
    driver.run(0.5);
    let mut control = crate::driver::control();
    control.lye_start = declared.then_some(StartState {
        liquid: Temperature::from_celsius(21),
        ice: Share::ZERO,
        bath: false,
        portions: false,
        jug: None,
    });
    let control = std::sync::Arc::new(control);
    driver.act(Act::start(batch_id(), control));
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    for vessel in [CUP_G, JUG_G] {
        driver.weigh_into(vessel);
    }
    driver.expect_step("dissolve");
    driver
}

pub fn judged(driver: &Driver) -> Option<DissolveVerdict> {
    driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::LyeJudged { verdict, .. } => Some(*verdict),
        _ => None,
    })
}

/// The forecast itself is checked against published heats in the chemistry room; here its range is
/// read off the view, and the verdict must turn just outside it.
#[test]
fn the_peak_of_the_lye_judges_its_caustic() {
    let expected = dissolving(true).view().batches[0].lye.clone().unwrap().expected;
    let (low, high) = (expected.low.unwrap().celsius(), expected.high.celsius());
    assert!(low > 60.0 && high < 110.0, "{expected:?}");
    for (peak, verdict) in [
        (low - 2.6, DissolveVerdict::TooCool),
        (low - 2.4, DissolveVerdict::AsExpected),
        (high + 2.4, DissolveVerdict::AsExpected),
        (high + 2.6, DissolveVerdict::TooHot),
    ] {
        let mut driver = dissolving(true);
        driver.celsius = peak;
        driver.run(5.0);
        let told_at_once = judged(&driver) == Some(DissolveVerdict::TooHot);
        assert_eq!(told_at_once, verdict == DissolveVerdict::TooHot, "{peak} °C");
        driver.celsius = 50.0;
        driver.run(5.0);
        driver.confirm();
        assert_eq!(judged(&driver), Some(verdict), "{peak} °C");
    }
}

#[test]
fn a_lye_whose_start_is_not_declared_is_not_judged() {
    let mut driver = dissolving(false);
    assert_eq!(driver.view().batches[0].lye, None);
    driver.celsius = 130.0;
    driver.run(5.0);
    driver.confirm();
    assert_eq!(judged(&driver), None);
}

#[test]
fn a_peak_that_may_have_passed_unseen_proves_nothing() {
    let mut driver = dissolving(true);
    driver.celsius = 85.0;
    driver.run(5.0);
    driver.kill_and_restart();
    driver.celsius = 40.0;
    driver.run(5.0);
    driver.confirm();
    assert_eq!(judged(&driver), None);
}
