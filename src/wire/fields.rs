//! From the text of a frame to a number with its unit and status.

use regex::bytes::Captures;

use super::decode::Refusal;
use super::sheet::{Field, Meaning, Quantity};
use crate::quantity::{Mass, MassUnit, Temperature, TemperatureUnit};
use crate::reading::{Status, Value};

/// Units a bench file supplies where the wire has none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DefaultUnit {
    pub mass: Option<MassUnit>,
    pub temperature: Option<TemperatureUnit>,
}

/// Reads one field; `None` if its pattern does not fit the frame.
pub fn read(
    field: &Field,
    frame: &[u8],
    default: DefaultUnit,
) -> Option<Result<(Option<Value>, Status), Refusal>> {
    let found = field.pattern.captures(frame)?;
    Some(read_found(field, &found, default))
}

fn read_found(
    field: &Field,
    found: &Captures<'_>,
    default: DefaultUnit,
) -> Result<(Option<Value>, Status), Refusal> {
    let text = |name: &str| found.name(name).map(|part| trimmed(part.as_bytes()));
    let (mut status, negative) = status(field, found)?;
    if let Some(value) = text("value") {
        if let Some(instead) = field.instead.get(value.as_str()) {
            return Ok((None, *instead));
        }
        if value.is_empty() && field.instead.is_empty() {
            return Ok((None, status));
        }
    }
    if let (Some(pounds), Some(ounces)) = (text("pounds"), text("ounces")) {
        return composite(field, &pounds, &ounces, negative).map(|value| (Some(value), status));
    }
    let Some(value) = text("value") else {
        // a status alone is a reading too: "over the limit" has no number
        return Ok((None, status));
    };
    if let Some(status) = no_number(&value) {
        return Ok((None, status));
    }
    let sign = text("sign").is_some_and(|sign| sign.contains('-'));
    let number = number(&value, field, negative || sign).ok_or(Refusal::NotANumber(value))?;
    let value = match field.quantity {
        Quantity::Mass => {
            let (unit, unit_on_wire) = match text("unit").filter(|unit| !unit.is_empty()) {
                Some(unit) => {
                    (*field.mass_units.get(&unit).ok_or(Refusal::UnknownUnit(unit))?, true)
                }
                None => (default.mass.ok_or(Refusal::NoUnit)?, false),
            };
            let mass = Mass::from_decimal(number.digits, number.decimals, unit)
                .ok_or(Refusal::OutOfRange)?;
            Value::Mass { mass, unit, decimals: number.decimals, unit_on_wire }
        }
        Quantity::Temperature => {
            let unit = match text("unit").filter(|unit| !unit.is_empty()) {
                Some(unit) => {
                    *field.temperature_units.get(&unit).ok_or(Refusal::UnknownUnit(unit))?
                }
                None => default.temperature.ok_or(Refusal::NoUnit)?,
            };
            let temperature = Temperature::from_decimal(number.digits, number.decimals, unit)
                .ok_or(Refusal::OutOfRange)?;
            Value::Temperature { temperature, unit, decimals: number.decimals }
        }
    };
    if status == Status::Unstated && number.blanked {
        // a last digit left blank is how some scales say that they move
        status = Status::InMotion;
    }
    Ok((Some(value), status))
}

/// What the status word or byte says, and whether it makes the number negative.
fn status(field: &Field, found: &Captures<'_>) -> Result<(Status, bool), Refusal> {
    let Some(part) = found.name("status") else { return Ok((Status::Unstated, false)) };
    if field.bits.is_empty() {
        let word = trimmed(part.as_bytes());
        if word.is_empty() && !field.statuses.contains_key("") {
            return Ok((Status::Unstated, false));
        }
        let status = field.statuses.get(&word).copied();
        return status.map(|status| (status, false)).ok_or(Refusal::UnknownStatus(word));
    }
    let byte = part.as_bytes().first().copied().unwrap_or(0);
    let mut status = Status::Unstated;
    let mut negative = false;
    for bit in &field.bits {
        if byte & bit.mask != bit.is.unwrap_or(bit.mask) {
            continue;
        }
        // the first that holds is the one that is told; list the gravest first
        let named = match bit.means {
            Meaning::Negative => {
                negative = true;
                continue;
            }
            Meaning::StableAtZero => Status::StableAtZero,
            Meaning::InMotion => Status::InMotion,
            Meaning::Stable => Status::Stable,
            Meaning::UnderZero => Status::UnderZero,
            Meaning::OverLimit => Status::OverLimit,
            Meaning::NeedsCalibration => Status::NeedsCalibration,
            Meaning::NeedsReZeroing => Status::NeedsReZeroing,
            Meaning::Fault => Status::Fault,
        };
        if status == Status::Unstated {
            status = named;
        }
    }
    Ok((status, negative))
}

fn composite(field: &Field, pounds: &str, ounces: &str, negative: bool) -> Result<Value, Refusal> {
    let refuse = || Refusal::NotANumber(format!("{pounds}:{ounces}"));
    let lb = number(pounds, field, negative).ok_or_else(refuse)?;
    let minus = lb.digits < 0 || pounds.trim_start().starts_with('-');
    let oz = number(ounces, field, minus).ok_or_else(refuse)?;
    let whole = Mass::from_decimal(lb.digits, lb.decimals, MassUnit::Pound);
    let rest = Mass::from_decimal(oz.digits, oz.decimals, MassUnit::Ounce);
    let (Some(whole), Some(rest)) = (whole, rest) else { return Err(Refusal::OutOfRange) };
    Ok(Value::Mass {
        mass: whole + rest,
        unit: MassUnit::PoundOunce,
        decimals: oz.decimals,
        unit_on_wire: true,
    })
}

/// Digits and where the point stands.
pub(super) struct Number {
    pub digits: i64,
    pub decimals: u8,
    /// The last digit was left blank.
    pub blanked: bool,
}

/// Numbers that stand for none, in whatever spelling: 9.91E37 is "not a number", ±9.9E37 are
/// "beyond the range" (SCPI-1999 vol. 1 §7.2.1, from memory). No bench is that hot or heavy.
fn no_number(text: &str) -> Option<Status> {
    const NOT_A_NUMBER: f64 = 9.91e37;
    const INFINITE: f64 = 9.9e37;
    let number: f64 = text.trim().parse().ok()?;
    if number == NOT_A_NUMBER {
        Some(Status::Fault)
    } else if number >= INFINITE {
        Some(Status::OverLimit)
    } else if number <= -INFINITE {
        Some(Status::UnderZero)
    } else {
        None
    }
}

/// More digits than any instrument shows.
const DIGITS_MAX: usize = 12;
const DECIMALS_MAX: usize = 9;
const EXPONENT_MAX: i32 = 12;

/// Reads `+0012.50`, `-   12.3`, `12,5`, `1.25E+01`, `12.3 ` with its last digit blank.
fn number(text: &str, field: &Field, negative: bool) -> Option<Number> {
    let mut body = text.trim();
    let mut minus = negative;
    if let Some(rest) = body.strip_prefix(['-', '−', '–']) {
        minus = true;
        body = rest;
    } else if let Some(rest) = body.strip_prefix('+') {
        body = rest;
    }
    let body = body.trim_start();
    let (mantissa, exponent) = match body.split_once(['E', 'e']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
        None => (body, 0),
    };
    let point = char::from(field.decimal);
    let (whole, fraction) = mantissa.split_once(point).unwrap_or((mantissa, ""));
    // a blank in place of the last digit: the instrument shows no digit it is not sure of
    let shown = fraction.trim_end();
    let blanked = fraction.len() > shown.len();
    let digits_only = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.len() + shown.len() > DIGITS_MAX || shown.len() > DECIMALS_MAX {
        return None;
    }
    if (whole.is_empty() && shown.is_empty()) || !digits_only(whole) || !digits_only(shown) {
        return None;
    }
    let digits: i64 = format!("{whole}{shown}").parse().ok()?;
    let digits = if minus { -digits } else { digits };
    let decimals = field.implied_decimals.map_or(shown.len() as i32, i32::from);
    scaled(digits, decimals - exponent, blanked)
}

/// Moves the point so that the count of decimals is none too few and none too many.
fn scaled(digits: i64, decimals: i32, blanked: bool) -> Option<Number> {
    if decimals.abs() > EXPONENT_MAX {
        return None;
    }
    if decimals < 0 {
        let digits = digits.checked_mul(10_i64.checked_pow(decimals.unsigned_abs())?)?;
        return Some(Number { digits, decimals: 0, blanked });
    }
    Some(Number { digits, decimals: decimals as u8, blanked })
}

fn trimmed(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).trim_matches([' ', '\t']).to_owned()
}
