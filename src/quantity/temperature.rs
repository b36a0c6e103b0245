use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

use super::parse::{self, QuantityError};

/// A temperature as a whole number of 1/9000 K above 0 °C.
///
/// 0.001 °C is nine steps and 0.001 °F is five, so both are exact. Stored and sent in whichever
/// scale needs few decimals: "94.4 °C", "202.1 °F".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Temperature(i64);

/// A difference of two temperatures, in the same steps of 1/9000 K.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct TemperatureDelta(i64);

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum TemperatureUnit {
    #[default]
    #[serde(rename = "°C", alias = "C")]
    Celsius,
    #[serde(rename = "°F", alias = "F")]
    Fahrenheit,
}

const STEPS_PER_KELVIN: i64 = 9000;
const STEPS_PER_FAHRENHEIT: i64 = 5000;
const STEP_SUFFIX: &str = "K/9000";
/// 32 °F is 0 °C.
const ICE_POINT_FAHRENHEIT: i64 = 32;

impl TemperatureUnit {
    pub const fn symbol(self) -> &'static str {
        match self {
            TemperatureUnit::Celsius => "°C",
            TemperatureUnit::Fahrenheit => "°F",
        }
    }

    const fn steps(self) -> i64 {
        match self {
            TemperatureUnit::Celsius => STEPS_PER_KELVIN,
            TemperatureUnit::Fahrenheit => STEPS_PER_FAHRENHEIT,
        }
    }

    const fn offset_steps(self) -> i64 {
        match self {
            TemperatureUnit::Celsius => 0,
            TemperatureUnit::Fahrenheit => ICE_POINT_FAHRENHEIT * STEPS_PER_FAHRENHEIT,
        }
    }
}

impl fmt::Display for TemperatureUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl Temperature {
    /// The highest temperature a file or a frame may name; nothing on a bench is hotter.
    pub const HIGHEST: Temperature = Temperature(2000 * STEPS_PER_KELVIN);
    /// Absolute zero, −273.15 °C.
    pub const LOWEST: Temperature = Temperature(-27315 * (STEPS_PER_KELVIN / 100));

    pub const fn from_steps(steps: i64) -> Temperature {
        Temperature(steps)
    }

    pub const fn steps(self) -> i64 {
        self.0
    }

    /// Whole degrees Celsius, for constants.
    pub const fn from_celsius(celsius: i64) -> Temperature {
        Temperature(celsius * STEPS_PER_KELVIN)
    }

    /// Rounds to the nearest step. For results of physics only.
    pub fn from_celsius_rounded(celsius: f64) -> Temperature {
        Temperature((celsius * STEPS_PER_KELVIN as f64).round() as i64)
    }

    /// For physics and drawing; the exact value stays here.
    pub fn celsius(self) -> f64 {
        self.0 as f64 / STEPS_PER_KELVIN as f64
    }

    /// The value in `unit`, for drawing.
    pub fn in_unit(self, unit: TemperatureUnit) -> f64 {
        (self.0 + unit.offset_steps()) as f64 / unit.steps() as f64
    }

    /// `(417, 1, Celsius)` is 41.7 °C. `None` below absolute zero or above 2000 °C.
    pub fn from_decimal(digits: i64, decimals: u8, unit: TemperatureUnit) -> Option<Temperature> {
        let step = 10_i128.checked_pow(u32::from(decimals))?;
        let exact = i128::from(digits).checked_mul(i128::from(unit.steps()))?;
        let steps = i64::try_from(parse::div_round(exact, step)).ok()?;
        let temperature = Temperature(steps.checked_sub(unit.offset_steps())?);
        (Temperature::LOWEST..=Temperature::HIGHEST).contains(&temperature).then_some(temperature)
    }

    /// Reads "71 °C", "160 F", "160°F"; a unit is required.
    pub fn parse(text: &str) -> Result<Temperature, QuantityError> {
        parse::temperature(text)
    }

    pub fn show(self, unit: TemperatureUnit, decimals: u8) -> String {
        let scaled = i128::from(self.0 + unit.offset_steps()) * 10_i128.pow(u32::from(decimals));
        let digits = parse::div_round(scaled, i128::from(unit.steps())) as i64;
        format!("{} {}", parse::show_digits(digits, decimals), unit.symbol())
    }
}

impl TryFrom<String> for Temperature {
    type Error = QuantityError;
    fn try_from(text: String) -> Result<Temperature, QuantityError> {
        if let Some(steps) = text.strip_suffix(STEP_SUFFIX) {
            let steps = steps.trim().parse().map_err(|_| QuantityError::NotANumber {
                found: text.clone(),
                expected: "a whole number of steps of 1/9000 K",
            })?;
            return Ok(Temperature(steps));
        }
        Temperature::parse(&text)
    }
}

impl From<Temperature> for String {
    fn from(temperature: Temperature) -> String {
        for unit in [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit] {
            let from_zero = temperature.0 + unit.offset_steps();
            for decimals in 0..=3_u8 {
                if (from_zero * 10_i64.pow(u32::from(decimals))) % unit.steps() == 0 {
                    return temperature.show(unit, decimals).replace('−', "-");
                }
            }
        }
        // only a computed temperature falls between the thousandths of both scales
        format!("{} {STEP_SUFFIX}", temperature.0)
    }
}

impl TemperatureDelta {
    pub const ZERO: TemperatureDelta = TemperatureDelta(0);

    pub const fn from_kelvin(kelvin: i64) -> TemperatureDelta {
        TemperatureDelta(kelvin * STEPS_PER_KELVIN)
    }

    /// `25` is 2.5 K, for constants.
    pub const fn from_kelvin_tenths(tenths: i64) -> TemperatureDelta {
        TemperatureDelta(tenths * (STEPS_PER_KELVIN / 10))
    }

    pub fn from_kelvin_rounded(kelvin: f64) -> TemperatureDelta {
        TemperatureDelta((kelvin * STEPS_PER_KELVIN as f64).round() as i64)
    }

    pub fn kelvin(self) -> f64 {
        self.0 as f64 / STEPS_PER_KELVIN as f64
    }

    pub const fn abs(self) -> TemperatureDelta {
        TemperatureDelta(self.0.abs())
    }

    /// Reads "11 K", "11 °C", "20 °F" as a difference: no offset is applied.
    pub fn parse(text: &str) -> Result<TemperatureDelta, QuantityError> {
        parse::temperature_delta(text)
    }

    /// A difference, without the offset of the scale.
    pub fn show(self, unit: TemperatureUnit, decimals: u8) -> String {
        let scaled = i128::from(self.0) * 10_i128.pow(u32::from(decimals));
        let digits = parse::div_round(scaled, i128::from(unit.steps())) as i64;
        format!("{} {}", parse::show_digits(digits, decimals), unit.symbol())
    }

    pub(super) fn from_decimal(digits: i64, decimals: u8, steps: i64) -> Option<TemperatureDelta> {
        let step = 10_i128.checked_pow(u32::from(decimals))?;
        let exact = i128::from(digits).checked_mul(i128::from(steps))?;
        let delta = TemperatureDelta(i64::try_from(parse::div_round(exact, step)).ok()?);
        (delta.abs() <= TemperatureDelta::from_kelvin(2000)).then_some(delta)
    }
}

impl Sub for Temperature {
    type Output = TemperatureDelta;
    fn sub(self, other: Temperature) -> TemperatureDelta {
        TemperatureDelta(self.0.saturating_sub(other.0))
    }
}

impl Add<TemperatureDelta> for Temperature {
    type Output = Temperature;
    fn add(self, delta: TemperatureDelta) -> Temperature {
        Temperature(self.0.saturating_add(delta.0))
    }
}

impl Sub<TemperatureDelta> for Temperature {
    type Output = Temperature;
    fn sub(self, delta: TemperatureDelta) -> Temperature {
        Temperature(self.0.saturating_sub(delta.0))
    }
}

impl fmt::Display for Temperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.show(TemperatureUnit::Celsius, 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousandths_of_both_scales_are_exact() {
        let c = Temperature::from_decimal(94_444, 3, TemperatureUnit::Celsius).unwrap();
        let f = Temperature::from_decimal(202_001, 3, TemperatureUnit::Fahrenheit).unwrap();
        assert_eq!(c.show(TemperatureUnit::Celsius, 3), "94.444 °C");
        assert_eq!(f.show(TemperatureUnit::Fahrenheit, 3), "202.001 °F");
        // 32 °F = 0 °C and 212 °F = 100 °C: definition of the Fahrenheit scale
        assert_eq!(Temperature::parse("212 °F").unwrap(), Temperature::from_celsius(100));
        assert_eq!(Temperature::parse("-40 F").unwrap(), Temperature::parse("-40 C").unwrap());
    }

    #[test]
    fn below_absolute_zero_is_refused() {
        assert_eq!(Temperature::from_decimal(-27_316, 2, TemperatureUnit::Celsius), None);
        assert!(Temperature::from_decimal(-27_315, 2, TemperatureUnit::Celsius).is_some());
    }

    #[test]
    fn every_step_is_stored_exactly() {
        for steps in (-2_000_000..18_000_000).step_by(997) {
            let text = String::from(Temperature(steps));
            assert_eq!(Temperature::try_from(text.clone()), Ok(Temperature(steps)), "{text}");
        }
        assert_eq!(String::from(Temperature::parse("202.3 °F").unwrap()), "202.3 °F");
    }

    #[test]
    fn a_difference_has_no_offset() {
        assert_eq!(
            TemperatureDelta::parse("20 °F").unwrap(),
            Temperature::parse("52 °F").unwrap() - Temperature::parse("32 °F").unwrap()
        );
        assert_eq!(TemperatureDelta::parse("11 K").unwrap(), TemperatureDelta::from_kelvin(11));
    }
}
