//! Whether a temperature typed by hand can be what it says.

use super::fact::{BatchId, Notice};
use super::law::Bench;
use super::refusals;
use super::setup::ProbeAt;
use super::spot::{self, Known};
use crate::plan::Window;
use crate::quantity::{Temperature, TemperatureDelta, TemperatureUnit};

/// The same number in the other unit lies this near to what was known a moment ago.
const SLIP_NEAR: TemperatureDelta = TemperatureDelta::from_kelvin(5);
/// And what was typed this far from it.
const SLIP_FAR: TemperatureDelta = TemperatureDelta::from_kelvin(15);

/// What each place can be at all. Oils smoke before 180 °C, a lye of equal parts boils below 145 °C
/// and a pot of soap not far above 100 °C (from memory, wide on purpose).
const fn possible(at: ProbeAt) -> Window {
    let celsius = Temperature::from_celsius;
    match at {
        ProbeAt::Oils => Window { low: celsius(-5), high: celsius(180) },
        ProbeAt::Lye => Window { low: celsius(-20), high: celsius(145) },
        ProbeAt::Pot => Window { low: celsius(-5), high: celsius(130) },
        ProbeAt::Room | ProbeAt::Hand => Window { low: celsius(-20), high: celsius(60) },
    }
}

pub fn check(
    bench: &Bench,
    id: &BatchId,
    at: ProbeAt,
    typed: Temperature,
    before: Option<&Known>,
) -> Result<(), String> {
    if at == ProbeAt::Hand {
        return Err(refusals::no_place());
    }
    let units = bench.batch(id).map(|batch| batch.control.units).unwrap_or_default();
    let possible = possible(at);
    if !(possible.low..=possible.high).contains(&typed) {
        return Err(refusals::not_possible(&units, at, typed, possible));
    }
    if let Some(before) = before
        && let Some(meant) = slip(typed, before.temperature)
    {
        return Err(refusals::wrong_unit(&units, at, typed, before.temperature, meant));
    }
    Ok(())
}

/// The typed number with the other unit is what was known before, and with its own is far off.
fn slip(typed: Temperature, before: Temperature) -> Option<TemperatureUnit> {
    if (typed - before).abs() <= SLIP_FAR {
        return None;
    }
    let as_number = |from: TemperatureUnit, to: TemperatureUnit| {
        let milli = (typed.in_unit(from) * 1000.0).round() as i64;
        Temperature::from_decimal(milli, 3, to)
    };
    let (celsius, fahrenheit) = (TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit);
    let near =
        |other: Option<Temperature>| other.is_some_and(|other| (other - before).abs() <= SLIP_NEAR);
    if near(as_number(celsius, fahrenheit)) {
        Some(fahrenheit)
    } else if near(as_number(fahrenheit, celsius)) {
        Some(celsius)
    } else {
        None
    }
}

/// A probe that stands in the same place says something else.
pub fn apart(bench: &Bench, id: &BatchId, at: ProbeAt, by_hand: Temperature) -> Option<Notice> {
    let probe = spot::live(bench, id, at)?.temperature;
    let apart = (by_hand - probe).abs() > bench.settings().by_hand_apart;
    apart.then_some(Notice::TemperaturesApart { at, by_hand, probe })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn t(text: &str) -> Temperature {
        Temperature::parse(text).unwrap()
    }

    /// 100 °F is 37.8 °C (exactly 340/9): the number without its unit is the commonest slip.
    #[test]
    fn the_other_unit_is_noticed() {
        let (celsius, fahrenheit) = (TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit);
        assert_eq!(slip(t("100 °C"), t("38 °C")), Some(fahrenheit));
        assert_eq!(slip(t("38 °F"), t("100 °F")), Some(celsius));
        assert_eq!(slip(t("100 °F"), t("38 °C")), None);
    }

    #[test]
    fn near_and_far_have_edges() {
        let fahrenheit = Some(TemperatureUnit::Fahrenheit);
        // 104 typed as °C, meant as °F: 40 °C
        assert_eq!(slip(t("104 °C"), t("45 °C")), fahrenheit);
        assert_eq!(slip(t("104 °C"), t("45.1 °C")), None);
        // both units read alike at −40, so near −40 nothing is a slip
        assert_eq!(slip(t("-40 °C"), t("-40 °C")), None);
        // 20 typed as °C, meant as °F: −6.7 °C
        assert_eq!(slip(t("20 °C"), t("5 °C")), None);
        assert_eq!(slip(t("20 °C"), t("-2 °C")), fahrenheit);
    }
}
