//! One reader of decimal text for all quantities, so that all refuse the same way.

use thiserror::Error;

use super::{
    Mass, MassUnit, Share, Span, Temperature, TemperatureDelta, TemperatureUnit, Volume, VolumeUnit,
};

/// Why a text is no quantity. The words name what was found, then what is expected.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum QuantityError {
    #[error("`{found}` has no unit; expected {expected}")]
    NoUnit { found: String, expected: &'static str },
    #[error("`{found}` is not a unit known here; expected {expected}")]
    UnknownUnit { found: String, expected: &'static str },
    #[error("`{found}` is not a number; expected {expected}")]
    NotANumber { found: String, expected: &'static str },
    #[error("`{found}` is out of range; expected {expected}")]
    OutOfRange { found: String, expected: &'static str },
}

const MASS_EXPECTED: &str = "a mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`";
const TEMPERATURE_EXPECTED: &str = "a temperature with its unit, like `71 °C` or `160 °F`";
const DELTA_EXPECTED: &str = "a difference of temperature, like `11 K` or `20 °F`";
const SHARE_EXPECTED: &str = "a share in percent, like `5 %`";
const SPAN_EXPECTED: &str = "a length of time with its unit, like `90 s`, `45 min` or `1 h 30 min`";
const VOLUME_EXPECTED: &str = "a volume with its unit, like `4 l`, `750 ml` or `2 qt`";
/// More digits than this say nothing about a bench and would overflow.
const DIGITS_MAX: usize = 18;

/// Nearest integer to `numerator ÷ denominator` (> 0), halves away from zero.
pub(super) fn div_round(numerator: i128, denominator: i128) -> i128 {
    let half = denominator / 2;
    if numerator >= 0 { (numerator + half) / denominator } else { (numerator - half) / denominator }
}

/// A count of decimal steps as text, with one minus sign.
pub(super) fn show_digits(digits: i64, decimals: u8) -> String {
    let sign = if digits < 0 { "−" } else { "" };
    let magnitude = digits.unsigned_abs();
    if decimals == 0 {
        return format!("{sign}{magnitude}");
    }
    let step = 10_u64.pow(u32::from(decimals));
    let width = usize::from(decimals);
    format!("{sign}{}.{:0width$}", magnitude / step, magnitude % step)
}

pub(super) fn mass(text: &str) -> Result<Mass, QuantityError> {
    mass_with_unit(text).map(|(mass, _)| mass)
}

pub(super) fn mass_with_unit(text: &str) -> Result<(Mass, MassUnit), QuantityError> {
    let parts = numbers_with_units(text, MASS_EXPECTED)?;
    let mut total = Mass::ZERO;
    let mut units = Vec::new();
    for part in &parts {
        let unit = mass_unit(&part.unit).ok_or_else(|| QuantityError::UnknownUnit {
            found: part.unit.clone(),
            expected: MASS_EXPECTED,
        })?;
        total += Mass::from_decimal(part.digits, part.decimals, unit)
            .ok_or_else(|| out_of_range(text, "a mass of at most one tonne"))?;
        units.push(unit);
    }
    match units.as_slice() {
        [unit] => Ok((total, *unit)),
        [MassUnit::Pound, MassUnit::Ounce] if parts[1].digits >= 0 && parts[0].digits >= 0 => {
            Ok((total, MassUnit::PoundOunce))
        }
        _ => Err(not_a_number(text, MASS_EXPECTED)),
    }
}

pub(super) fn temperature(text: &str) -> Result<Temperature, QuantityError> {
    let part = single(text, TEMPERATURE_EXPECTED)?;
    let unit = match part.unit.as_str() {
        "°C" | "C" | "℃" => TemperatureUnit::Celsius,
        "°F" | "F" | "℉" => TemperatureUnit::Fahrenheit,
        _ => return Err(unknown_unit(&part.unit, TEMPERATURE_EXPECTED)),
    };
    Temperature::from_decimal(part.digits, part.decimals, unit)
        .ok_or_else(|| out_of_range(text, "a temperature between −273.15 °C and 2000 °C"))
}

pub(super) fn temperature_delta(text: &str) -> Result<TemperatureDelta, QuantityError> {
    let part = single(text, DELTA_EXPECTED)?;
    let steps = match part.unit.as_str() {
        "K" | "°C" | "C" => 9000,
        "°F" | "F" => 5000,
        _ => return Err(unknown_unit(&part.unit, DELTA_EXPECTED)),
    };
    TemperatureDelta::from_decimal(part.digits, part.decimals, steps)
        .ok_or_else(|| out_of_range(text, "a difference of at most 2000 K"))
}

pub(super) fn volume(text: &str) -> Result<Volume, QuantityError> {
    // the one unit of two words
    let joined = text.replace("fl. oz", "floz").replace("fl oz", "floz");
    let part = single(&joined, VOLUME_EXPECTED)?;
    let unit = match part.unit.as_str() {
        "ml" | "mL" => VolumeUnit::Millilitre,
        "l" | "L" => VolumeUnit::Litre,
        "floz" => VolumeUnit::FluidOunce,
        "qt" => VolumeUnit::Quart,
        "gal" => VolumeUnit::Gallon,
        _ => return Err(unknown_unit(&part.unit, VOLUME_EXPECTED)),
    };
    Volume::from_decimal(part.digits, part.decimals, unit)
        .ok_or_else(|| out_of_range(text, "a volume of at most 1000 l"))
}

pub(super) fn share(text: &str) -> Result<Share, QuantityError> {
    let part = single(text, SHARE_EXPECTED)?;
    if part.unit != "%" {
        return Err(unknown_unit(&part.unit, SHARE_EXPECTED));
    }
    if part.decimals > 4 {
        return Err(out_of_range(text, "at most four decimals of a percent"));
    }
    let millionths = part.digits.checked_mul(10_i64.pow(u32::from(4 - part.decimals)));
    millionths
        .filter(|m| m.abs() <= 100 * Share::WHOLE.millionths())
        .map(Share::from_millionths)
        .ok_or_else(|| out_of_range(text, SHARE_EXPECTED))
}

pub(super) fn span(text: &str) -> Result<Span, QuantityError> {
    let mut total = Span::ZERO;
    for part in numbers_with_units(text, SPAN_EXPECTED)? {
        let unit: i128 = match part.unit.as_str() {
            "ms" => 1_000_000,
            "s" | "sec" => 1_000_000_000,
            "min" => 60_000_000_000,
            "h" => 3_600_000_000_000,
            "d" => 86_400_000_000_000,
            _ => return Err(unknown_unit(&part.unit, SPAN_EXPECTED)),
        };
        let nanos = i128::from(part.digits) * unit / 10_i128.pow(u32::from(part.decimals));
        let nanos = i64::try_from(nanos).map_err(|_| out_of_range(text, SPAN_EXPECTED))?;
        total = total + Span::from_nanos(nanos);
    }
    Ok(total)
}

fn mass_unit(text: &str) -> Option<MassUnit> {
    Some(match text {
        "mg" => MassUnit::Milligram,
        "g" => MassUnit::Gram,
        "kg" => MassUnit::Kilogram,
        "oz" => MassUnit::Ounce,
        "lb" | "lbs" => MassUnit::Pound,
        _ => return None,
    })
}

struct Part {
    digits: i64,
    decimals: u8,
    unit: String,
}

fn single(text: &str, expected: &'static str) -> Result<Part, QuantityError> {
    let mut parts = numbers_with_units(text, expected)?;
    match (parts.pop(), parts.is_empty()) {
        (Some(part), true) => Ok(part),
        _ => Err(not_a_number(text, expected)),
    }
}

/// Splits "1 lb 4.25 oz" into numbers, each with the unit behind it.
fn numbers_with_units(text: &str, expected: &'static str) -> Result<Vec<Part>, QuantityError> {
    let mut parts = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let number_end = rest
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '−')))
            .unwrap_or(rest.len());
        let (digits, decimals) = decimal(&rest[..number_end])
            .ok_or_else(|| not_a_number(rest_or(text, &rest[..number_end]), expected))?;
        rest = rest[number_end..].trim_start();
        let unit_end = rest
            .find(|c: char| c.is_ascii_digit() || c.is_whitespace() || matches!(c, '+' | '-' | '−'))
            .unwrap_or(rest.len());
        if unit_end == 0 {
            return Err(QuantityError::NoUnit { found: text.trim().to_owned(), expected });
        }
        parts.push(Part { digits, decimals, unit: rest[..unit_end].to_owned() });
        rest = rest[unit_end..].trim_start();
    }
    if parts.is_empty() {
        return Err(not_a_number(text, expected));
    }
    Ok(parts)
}

/// A decimal number as digits and a count of decimals. A comma is refused: "1,250 g" means two
/// different masses on two sides of an ocean.
fn decimal(text: &str) -> Option<(i64, u8)> {
    let (negative, unsigned) = match text.strip_prefix(['-', '−']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !all_digits(whole) || !all_digits(fraction) {
        return None;
    }
    if whole.len() + fraction.len() > DIGITS_MAX {
        return None;
    }
    let digits: i64 = format!("{whole}{fraction}").parse().ok()?;
    Some((if negative { -digits } else { digits }, fraction.len() as u8))
}

fn rest_or<'a>(text: &'a str, part: &'a str) -> &'a str {
    if part.is_empty() { text } else { part }
}

fn not_a_number(found: &str, expected: &'static str) -> QuantityError {
    QuantityError::NotANumber { found: found.trim().to_owned(), expected }
}

fn unknown_unit(found: &str, expected: &'static str) -> QuantityError {
    QuantityError::UnknownUnit { found: found.to_owned(), expected }
}

fn out_of_range(found: &str, expected: &'static str) -> QuantityError {
    QuantityError::OutOfRange { found: found.trim().to_owned(), expected }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refusals_say_what_was_found_and_expected() {
        for (text, words) in [
            (
                "12",
                "`12` has no unit; expected a mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`",
            ),
            (
                "12 stone",
                "`stone` is not a unit known here; expected a mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`",
            ),
            (
                "1,250 g",
                "`1,250` is not a number; expected a mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`",
            ),
            (
                "",
                "`` is not a number; expected a mass with its unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`",
            ),
            ("2000 kg", "`2000 kg` is out of range; expected a mass of at most one tonne"),
        ] {
            assert_eq!(mass(text).unwrap_err().to_string(), words);
        }
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,40}") {
            let _ = (mass(&text), temperature(&text), share(&text), span(&text));
            let _ = temperature_delta(&text);
        }
    }
}
