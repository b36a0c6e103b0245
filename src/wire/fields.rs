//! From the text of a frame to a number with its unit and status.

use regex::bytes::Captures;

use super::bytes::escape;
use super::decode::Refusal;
use super::sheet::{Field, Meaning, NumberForm, Quantity};
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
    let Told { mut status, negative, unit: told_unit } = told(field, found)?;
    if field.form != NumberForm::Text {
        let number = binary(field, found, negative)?;
        return number_value(field, number, text("unit"), told_unit, default)
            .map(|value| (value, status));
    }
    if let Some(value) = text("value") {
        if let Some(instead) = field.instead.get(value.as_str()) {
            return Ok((None, *instead));
        }
        if value.is_empty() && field.instead.is_empty() {
            return Ok((None, status));
        }
    }
    if let (Some(pounds), Some(ounces)) = (text("pounds"), text("ounces")) {
        let negative = negative || text("sign").is_some_and(|sign| sign.contains(is_minus));
        return composite(field, &pounds, &ounces, negative).map(|value| (Some(value), status));
    }
    let Some(value) = text("value") else {
        // a status alone is a reading too: "over the limit" has no number
        return Ok((None, status));
    };
    if let Some(status) = no_number(&value) {
        return Ok((None, status));
    }
    let sign = text("sign").is_some_and(|sign| sign.contains(is_minus));
    let whole = found.name("value").map_or(&[][..], |part| part.as_bytes());
    let number = number(&latin(whole), field, negative || sign);
    let number = number.ok_or(Refusal::NotANumber(value))?;
    let number = pointed(field, found, number)?;
    if status == Status::Unstated && number.blanked {
        // a last digit left blank is how some scales say that they move
        status = Status::InMotion;
    }
    number_value(field, number, text("unit"), told_unit, default).map(|value| (value, status))
}

fn number_value(
    field: &Field,
    number: Number,
    unit: Option<String>,
    told_unit: Option<MassUnit>,
    default: DefaultUnit,
) -> Result<Option<Value>, Refusal> {
    let unit = unit.filter(|unit| !unit.is_empty());
    let value = match field.quantity {
        Quantity::Mass => {
            let (unit, unit_on_wire) = match (unit, told_unit) {
                (Some(unit), _) => {
                    (*field.mass_units.get(&unit).ok_or(Refusal::UnknownUnit(unit))?, true)
                }
                (None, Some(unit)) => (unit, true),
                (None, None) => (default.mass.ok_or(Refusal::NoUnit)?, false),
            };
            let mass = Mass::from_decimal(number.digits, number.decimals, unit)
                .ok_or(Refusal::OutOfRange)?;
            Value::Mass { mass, unit, decimals: number.decimals, unit_on_wire }
        }
        Quantity::Temperature => {
            let unit = match unit {
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
    Ok(Some(value))
}

/// What the status part says beside the state.
struct Told {
    status: Status,
    negative: bool,
    unit: Option<MassUnit>,
}

/// What the status word or byte says, and whether it makes the number negative.
fn told(field: &Field, found: &Captures<'_>) -> Result<Told, Refusal> {
    let say = |status| Told { status, negative: false, unit: None };
    let Some(part) = found.name("status") else { return Ok(say(Status::Unstated)) };
    if field.bits.is_empty() {
        let word = trimmed(part.as_bytes());
        if word.is_empty() && !field.statuses.contains_key("") {
            return Ok(say(Status::Unstated));
        }
        let status = field.statuses.get(&word).copied();
        return status.map(say).ok_or(Refusal::UnknownStatus(word));
    }
    let mut told = say(Status::Unstated);
    for bit in &field.bits {
        let byte = part.as_bytes().get(bit.byte).copied().unwrap_or(0);
        if byte & bit.mask != bit.is.unwrap_or(bit.mask) {
            continue;
        }
        // the first that holds is the one that is told; list the gravest first
        let named = match bit.means {
            Meaning::Negative => {
                told.negative = true;
                continue;
            }
            Meaning::Grams | Meaning::Kilograms | Meaning::Ounces | Meaning::Pounds => {
                told.unit = bit.means.unit();
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
        if told.status == Status::Unstated {
            told.status = named;
        }
    }
    Ok(told)
}

fn composite(field: &Field, pounds: &str, ounces: &str, negative: bool) -> Result<Value, Refusal> {
    let refuse = || Refusal::NotANumber(format!("{pounds}:{ounces}"));
    let lb = number(pounds, field, negative).ok_or_else(refuse)?;
    let minus = negative || pounds.trim_start().starts_with(is_minus);
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
    let mut body = text.trim_start();
    let mut minus = negative;
    if let Some(rest) = body.strip_prefix(is_minus) {
        minus = true;
        body = rest;
    } else if let Some(rest) = body.strip_prefix('+') {
        body = rest;
    }
    let body = body.trim_start();
    let (mantissa, exponent) = match body.split_once(['E', 'e']) {
        Some((mantissa, exponent)) => (mantissa, exponent.trim_end().parse::<i32>().ok()?),
        None => (body, 0),
    };
    let point = char::from(field.decimal);
    let (whole, fraction) = mantissa.split_once(point).unwrap_or((mantissa, ""));
    let whole = whole.trim_end();
    // one blank in place of the last digit: the instrument shows no digit it is not sure of
    let shown = fraction.trim_end();
    let blanked = !shown.is_empty() && fraction.len() == shown.len() + 1;
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
    latin(bytes).trim_matches([' ', '\t']).to_owned()
}

/// Bytes that are no UTF-8 are taken one for one, as Latin-1 has them.
fn latin(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    }
}

/// Hyphens, dashes and the minus sign, and the bytes that stand for a dash in one-byte codes.
fn is_minus(glyph: char) -> bool {
    matches!(glyph, '-' | '\u{2010}'..='\u{2014}' | '\u{2212}' | '\u{96}' | '\u{97}' | '\u{ad}')
}

/// A number written as bytes.
fn binary(field: &Field, found: &Captures<'_>, negative: bool) -> Result<Number, Refusal> {
    const BYTES_MAX: usize = 4;
    let bytes = found.name("value").map_or(&[][..], |part| part.as_bytes());
    if bytes.is_empty() || bytes.len() > BYTES_MAX {
        return Err(Refusal::NotANumber(escape(bytes)));
    }
    let low_first = matches!(field.form, NumberForm::UnsignedLowFirst | NumberForm::SignedLowFirst);
    let add = |number: i64, byte: &u8| number << 8 | i64::from(*byte);
    let mut digits =
        if low_first { bytes.iter().rev().fold(0, add) } else { bytes.iter().fold(0, add) };
    let signed = matches!(field.form, NumberForm::Signed | NumberForm::SignedLowFirst);
    let over = 1_i64 << (bytes.len() * 8);
    if signed && digits >= over / 2 {
        digits -= over;
    }
    let digits = if negative { -digits } else { digits };
    let decimals = field.implied_decimals.unwrap_or(0);
    pointed(field, found, Number { digits, decimals, blanked: false })
}

/// Moves the decimal point to where a status byte or an exponent says it stands.
fn pointed(field: &Field, found: &Captures<'_>, number: Number) -> Result<Number, Refusal> {
    let Number { digits, decimals, blanked } = number;
    if let Some(exponent) = found.name("exponent") {
        let exponent = exponent.as_bytes().first().map_or(0, |&byte| i32::from(byte as i8));
        return scaled(digits, i32::from(decimals) - exponent, blanked).ok_or(Refusal::OutOfRange);
    }
    let Some(point) = &field.point else { return Ok(number) };
    let part = found.name("point").or_else(|| found.name("status"));
    let byte = part.and_then(|part| part.as_bytes().get(point.byte).copied()).unwrap_or(0);
    let index = usize::from((byte & point.mask) >> point.mask.trailing_zeros().min(7));
    let unknown = || Refusal::UnknownStatus(escape(&[byte]));
    let decimals = *point.decimals.get(index).ok_or_else(unknown)?;
    scaled(digits, i32::from(decimals), blanked).ok_or(Refusal::OutOfRange)
}
