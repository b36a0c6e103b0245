//! Modbus RTU, reading registers only (Modbus Application Protocol V1.1b3 §6.3, §6.4; Modbus over
//! serial line V1.02 §2.5.1). Framed by length, CRC and time-out: pauses between bytes cannot be
//! measured through a USB adapter.

use super::checksum::crc16_modbus;
use super::decode::{ChannelMap, Item, Refusal};
use super::sheet::{self, ModbusValue, Quantity, RegisterForm};
use crate::quantity::{Mass, Moment, Temperature};
use crate::reading::{Reading, Status, Value};

const EXCEPTION: u8 = 0x80;

/// The question for one value.
pub fn query(value: &ModbusValue) -> Vec<u8> {
    let [register_high, register_low] = value.register.to_be_bytes();
    let [count_high, count_low] = value.form.registers().to_be_bytes();
    let mut frame =
        vec![value.unit_id, value.function, register_high, register_low, count_high, count_low];
    frame.extend(crc16_modbus(&frame).to_le_bytes());
    frame
}

/// Reads an answer, its check already taken off. An answer does not say which register it is of:
/// values of one unit are told apart by being asked one at a time, so a sheet lists for each
/// unit and function one value.
pub fn read(
    values: &[ModbusValue],
    channels: &[ChannelMap],
    at: Moment,
    frame: &[u8],
    out: &mut Vec<Item>,
) -> Result<(), Refusal> {
    let [unit_id, function, rest @ ..] = frame else { return Err(Refusal::TooShort) };
    let of_unit = |value: &&ModbusValue| value.unit_id == *unit_id;
    if function & EXCEPTION != 0 {
        let code = rest.first().copied().unwrap_or(0);
        return Err(Refusal::Exception(code));
    }
    let [count, data @ ..] = rest else { return Err(Refusal::TooShort) };
    let value = values
        .iter()
        .filter(of_unit)
        .find(|value| value.function == *function)
        .ok_or(Refusal::NotAsked)?;
    let due = usize::from(value.form.registers()) * 2;
    if usize::from(*count) != due || data.len() != due {
        return Err(Refusal::NotAsked);
    }
    let Some(map) = channels.iter().find(|map| map.source == value.source) else { return Ok(()) };
    let (read, status) = read_value(value, data)?;
    out.push(Item::Reading(Reading { channel: map.channel.clone(), at, value: read, status }));
    Ok(())
}

fn read_value(value: &ModbusValue, data: &[u8]) -> Result<(Option<Value>, Status), Refusal> {
    let word = |index: usize| -> [u8; 2] { [data[index * 2], data[index * 2 + 1]] };
    let low_first = matches!(
        value.form,
        RegisterForm::I32LowFirst | RegisterForm::U32LowFirst | RegisterForm::F32LowFirst
    );
    let four = || -> [u8; 4] {
        let (high, low) = if low_first { (word(1), word(0)) } else { (word(0), word(1)) };
        [high[0], high[1], low[0], low[1]]
    };
    let digits = match value.form {
        RegisterForm::I16 => i64::from(i16::from_be_bytes(word(0))),
        RegisterForm::U16 => i64::from(u16::from_be_bytes(word(0))),
        RegisterForm::I32 | RegisterForm::I32LowFirst => i64::from(i32::from_be_bytes(four())),
        RegisterForm::U32 | RegisterForm::U32LowFirst => i64::from(u32::from_be_bytes(four())),
        RegisterForm::F32 | RegisterForm::F32LowFirst => {
            return float(value, f32::from_be_bytes(four()));
        }
    };
    if let Some(status) = value.instead.get(&digits.to_string()) {
        return Ok((None, *status));
    }
    number(value, digits, value.decimals).map(|read| (Some(read), Status::Unstated))
}

/// A float is taken to the thousandth: finer than any bench instrument is true.
fn float(value: &ModbusValue, read: f32) -> Result<(Option<Value>, Status), Refusal> {
    const DECIMALS: u8 = 3;
    if read.is_nan() {
        return Ok((None, Status::Fault));
    }
    let scaled = f64::from(read) / 10_f64.powi(i32::from(value.decimals)) * 1000.0;
    if scaled.abs() > 1e12 {
        return Err(Refusal::OutOfRange);
    }
    number(value, scaled.round() as i64, DECIMALS).map(|read| (Some(read), Status::Unstated))
}

fn number(value: &ModbusValue, digits: i64, decimals: u8) -> Result<Value, Refusal> {
    match value.quantity {
        Quantity::Mass => {
            let unit = sheet::mass_unit(&value.unit).ok_or(Refusal::NoUnit)?;
            let mass = Mass::from_decimal(digits, decimals, unit).ok_or(Refusal::OutOfRange)?;
            Ok(Value::Mass { mass, unit, decimals, unit_on_wire: false })
        }
        Quantity::Temperature => {
            let unit = sheet::temperature_unit(&value.unit).ok_or(Refusal::NoUnit)?;
            let temperature =
                Temperature::from_decimal(digits, decimals, unit).ok_or(Refusal::OutOfRange)?;
            Ok(Value::Temperature { temperature, unit, decimals })
        }
    }
}
