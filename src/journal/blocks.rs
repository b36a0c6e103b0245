//! Readings of one channel, packed: columns of small differences. Every reading comes back exactly.
//!
//! ```text
//! version, time unit (ns), count, t0, differences of differences of time,
//! step, v0, differences of value ÷ step, runs of (length, shape)
//! ```
//! `step` is the greatest common divisor of all differences of value, so a scale that shows tenths
//! of a gram costs one byte a reading. A shape is what rarely changes: status, kind, unit, decimals.

use crate::quantity::{Mass, MassUnit, Moment, Temperature, TemperatureUnit};
use crate::reading::{Channel, Reading, Status, Value};

use super::JournalError;

const VERSION: u64 = 1;
/// A block claims no more readings than this, whatever its bytes say.
const COUNT_MAX: u64 = 100_000;

pub fn pack(readings: &[Reading]) -> Vec<u8> {
    let mut out = Vec::with_capacity(readings.len() * 3 + 32);
    let times: Vec<i64> = readings.iter().map(|reading| reading.at.nanos()).collect();
    let unit = if times.iter().all(|time| time % 1000 == 0) { 1000 } else { 1 };
    put(&mut out, VERSION);
    put(&mut out, unit as u64);
    put(&mut out, readings.len() as u64);
    let (mut last, mut step) = (0, 0);
    for time in times.iter().map(|time| time / unit) {
        let difference = time.wrapping_sub(last);
        put_signed(&mut out, difference.wrapping_sub(step));
        (last, step) = (time, difference);
    }
    let values: Vec<i64> = readings.iter().map(value_steps).collect();
    let differences: Vec<i64> =
        values.windows(2).map(|pair| pair[1].wrapping_sub(pair[0])).collect();
    let divisor = differences.iter().fold(0, |divisor, &d| gcd(divisor, d.unsigned_abs())).max(1);
    put(&mut out, divisor);
    put_signed(&mut out, values.first().copied().unwrap_or(0));
    for difference in differences {
        // exact: the divisor divides every difference
        let magnitude = (difference.unsigned_abs() / divisor) as i64;
        put_signed(&mut out, if difference < 0 { magnitude.wrapping_neg() } else { magnitude });
    }
    let mut rest = readings;
    while let Some(first) = rest.first() {
        let shape = shape(first);
        let run = rest.iter().take_while(|reading| self::shape(reading) == shape).count();
        put(&mut out, run as u64);
        out.extend(shape);
        rest = &rest[run..];
    }
    out
}

/// # Errors
/// When the bytes are no block of ours; nothing in them can make this panic or grow without bound.
pub fn unpack(channel: &Channel, mut bytes: &[u8]) -> Result<Vec<Reading>, JournalError> {
    let input = &mut bytes;
    if take(input)? != VERSION {
        return Err(JournalError::UnreadableBlock("unknown version"));
    }
    let unit = take(input)? as i64;
    let count = take(input)?;
    if count > COUNT_MAX || count > input.len() as u64 {
        return Err(JournalError::UnreadableBlock("more readings than bytes"));
    }
    let mut times = Vec::with_capacity(count as usize);
    let (mut last, mut step) = (0_i64, 0_i64);
    for _ in 0..count {
        step = step.wrapping_add(take_signed(input)?);
        last = last.wrapping_add(step);
        times.push(last.wrapping_mul(unit));
    }
    let divisor = take(input)? as i64;
    let mut value = take_signed(input)?;
    let mut values = vec![value; (count > 0).into()];
    for _ in 1..count {
        value = value.wrapping_add(take_signed(input)?.wrapping_mul(divisor));
        values.push(value);
    }
    let mut readings = Vec::with_capacity(count as usize);
    while (readings.len() as u64) < count {
        let run = take(input)?;
        let shape: [u8; SHAPE] = take_bytes(input)?;
        if run == 0 || run > count - readings.len() as u64 {
            return Err(JournalError::UnreadableBlock("runs do not add up"));
        }
        for _ in 0..run {
            let index = readings.len();
            readings.push(reading(channel, times[index], values[index], shape)?);
        }
    }
    Ok(readings)
}

/// Status, kind of value, unit, decimals.
const SHAPE: usize = 4;

fn shape(reading: &Reading) -> [u8; SHAPE] {
    let status = STATUSES.iter().position(|status| *status == reading.status).unwrap_or(0) as u8;
    match reading.value {
        None => [status, 0, 0, 0],
        Some(Value::Mass { unit, decimals, unit_on_wire, .. }) => {
            let unit = MASS_UNITS.iter().position(|known| *known == unit).unwrap_or(0) as u8;
            [status, if unit_on_wire { 1 } else { 2 }, unit, decimals]
        }
        Some(Value::Temperature { unit, decimals, .. }) => {
            let unit = u8::from(unit == TemperatureUnit::Fahrenheit);
            [status, 3, unit, decimals]
        }
    }
}

fn reading(
    channel: &Channel,
    at: i64,
    value: i64,
    [status, kind, unit, decimals]: [u8; SHAPE],
) -> Result<Reading, JournalError> {
    let unknown = JournalError::UnreadableBlock("unknown shape");
    let status = STATUSES.get(usize::from(status)).copied();
    let value = match kind {
        0 => None,
        1 | 2 => Some(Value::Mass {
            mass: Mass::from_steps(value),
            unit: *MASS_UNITS
                .get(usize::from(unit))
                .ok_or(JournalError::UnreadableBlock("unknown unit"))?,
            decimals,
            unit_on_wire: kind == 1,
        }),
        3 => Some(Value::Temperature {
            temperature: Temperature::from_steps(value),
            unit: if unit == 1 { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius },
            decimals,
        }),
        _ => return Err(unknown),
    };
    let at = Moment::from_nanos(at);
    Ok(Reading { channel: channel.clone(), at, value, status: status.ok_or(unknown)? })
}

/// The order is the format: only ever append.
const STATUSES: [Status; 9] = [
    Status::Unstated,
    Status::StableAtZero,
    Status::InMotion,
    Status::Stable,
    Status::UnderZero,
    Status::OverLimit,
    Status::NeedsCalibration,
    Status::NeedsReZeroing,
    Status::Fault,
];
/// The order is the format: only ever append.
const MASS_UNITS: [MassUnit; 6] = [
    MassUnit::Milligram,
    MassUnit::Gram,
    MassUnit::Kilogram,
    MassUnit::Ounce,
    MassUnit::Pound,
    MassUnit::PoundOunce,
];

fn value_steps(reading: &Reading) -> i64 {
    match reading.value {
        Some(Value::Mass { mass, .. }) => mass.steps(),
        Some(Value::Temperature { temperature, .. }) => temperature.steps(),
        None => 0,
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Seven bits a byte, lowest first; the top bit says that more follow.
pub(super) fn put(out: &mut Vec<u8>, mut value: u64) {
    while value >= 0x80 {
        out.push(value as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

/// Small magnitudes of either sign stay small.
pub(super) fn put_signed(out: &mut Vec<u8>, value: i64) {
    put(out, ((value << 1) ^ (value >> 63)) as u64);
}

pub(super) fn take(input: &mut &[u8]) -> Result<u64, JournalError> {
    let mut value = 0_u64;
    for shift in (0..64).step_by(7) {
        let (&byte, rest) =
            input.split_first().ok_or(JournalError::UnreadableBlock("it ends too early"))?;
        *input = rest;
        value |= u64::from(byte & 0x7f) << shift;
        if byte & 0x80 == 0 {
            return Ok(value);
        }
    }
    Err(JournalError::UnreadableBlock("a number is too long"))
}

pub(super) fn take_signed(input: &mut &[u8]) -> Result<i64, JournalError> {
    let value = take(input)?;
    Ok((value >> 1) as i64 ^ -((value & 1) as i64))
}

fn take_bytes<const N: usize>(input: &mut &[u8]) -> Result<[u8; N], JournalError> {
    let (bytes, rest) =
        input.split_first_chunk::<N>().ok_or(JournalError::UnreadableBlock("it ends too early"))?;
    *input = rest;
    Ok(*bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_reading() -> impl Strategy<Value = Reading> {
        let value = prop_oneof![
            Just(None),
            (any::<i64>(), 0_usize..6, 0_u8..5, any::<bool>()).prop_map(|(m, u, d, wire)| {
                Some(Value::Mass {
                    mass: Mass::from_steps(m),
                    unit: MASS_UNITS[u],
                    decimals: d,
                    unit_on_wire: wire,
                })
            }),
            (any::<i64>(), any::<bool>(), 0_u8..5).prop_map(|(t, f, d)| {
                let unit = if f { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
                let temperature = Temperature::from_steps(t);
                Some(Value::Temperature { temperature, unit, decimals: d })
            }),
        ];
        (any::<i64>(), value, 0_usize..9).prop_map(|(at, value, status)| Reading {
            channel: Channel::new("scale"),
            at: Moment::from_nanos(at),
            value,
            status: STATUSES[status],
        })
    }

    proptest! {
        #[test]
        fn every_reading_comes_back_exactly(readings in prop::collection::vec(any_reading(), 0..80)) {
            let channel = Channel::new("scale");
            prop_assert_eq!(unpack(&channel, &pack(&readings)).unwrap(), readings);
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = unpack(&Channel::new("scale"), &bytes);
        }
    }

    /// A stream like a bench's: ten readings a second with a jitter of a millisecond or two, tenths
    /// of a gram, mostly at rest.
    #[test]
    fn a_minute_of_a_scale_is_small() {
        let mut noise = 1_u64;
        let readings: Vec<Reading> = (0..600)
            .map(|index: i64| {
                noise = noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                let jitter_us = (noise >> 53) as i64;
                let poured = (index % 200).min(100);
                Reading {
                    channel: Channel::new("scale"),
                    at: Moment::from_nanos((index * 100_000 + jitter_us) * 1000),
                    value: Some(Value::Mass {
                        mass: Mass::from_decimal(4000 + poured * 7, 1, MassUnit::Gram).unwrap(),
                        unit: MassUnit::Gram,
                        decimals: 1,
                        unit_on_wire: true,
                    }),
                    status: if index % 200 < 100 { Status::InMotion } else { Status::Stable },
                }
            })
            .collect();
        let per_reading = pack(&readings).len() as f64 / readings.len() as f64;
        assert!(per_reading < 3.4, "{per_reading} bytes a reading");
    }
}
