//! Modbus RTU, reading registers only (Modbus Application Protocol V1.1b3 §6.3, §6.4; Modbus over
//! serial line V1.02 §2.5.1). Framed by length, CRC and time-out: pauses between bytes cannot be
//! measured through a USB adapter.

use super::checksum::crc16_modbus;
use super::decode::{ChannelMap, Refusal};
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

/// What an answer looks like, as far as it can be known before it comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Answer {
    pub unit_id: u8,
    pub function: u8,
    pub registers: u16,
}

impl Answer {
    pub fn of(value: &ModbusValue) -> Answer {
        let (unit_id, function) = (value.unit_id, value.function);
        Answer { unit_id, function, registers: value.form.registers() }
    }

    /// How long the whole answer is, if `held` can be its beginning: an exception has five bytes,
    /// a reading says its count of bytes.
    pub fn length(&self, held: &[u8]) -> Option<usize> {
        const EXCEPTION_BYTES: usize = 5;
        let data = usize::from(self.registers) * 2;
        match held {
            [unit, ..] if *unit != self.unit_id => None,
            [_, function, ..] if *function == self.function | EXCEPTION => Some(EXCEPTION_BYTES),
            [_, function, ..] if *function != self.function => None,
            [_, _, count, ..] if usize::from(*count) != data => None,
            _ => Some(data + EXCEPTION_BYTES),
        }
    }
}

/// The value an answer is of. It names its unit and function, not its register: if it is not known
/// which value was asked, several that look alike cannot be told apart.
pub fn answered<'a>(
    values: &'a [ModbusValue],
    asked: Option<Option<usize>>,
    answer: &[u8],
) -> Result<&'a ModbusValue, Refusal> {
    let fits = |value: &&ModbusValue| Answer::of(value).length(answer).is_some();
    match asked.ok_or(Refusal::NotAsked)? {
        Some(question) => values.get(question).filter(fits).ok_or(Refusal::NotAsked),
        None => {
            let mut alike = values.iter().filter(fits);
            match (alike.next(), alike.next()) {
                (Some(value), None) => Ok(value),
                _ => Err(Refusal::NotAsked),
            }
        }
    }
}

/// Reads the answer to the question for `value`, its check already taken off.
pub fn read(
    value: &ModbusValue,
    channels: &[ChannelMap],
    at: Moment,
    answer: &[u8],
    out: &mut Vec<Reading>,
) -> Result<(), Refusal> {
    let [_, function, count, data @ ..] = answer else { return Err(Refusal::TooShort) };
    if function & EXCEPTION != 0 {
        // an exception has its code where a reading has its count
        return Err(Refusal::Exception(*count));
    }
    if data.len() != usize::from(value.form.registers()) * 2 {
        return Err(Refusal::NotAsked);
    }
    let Some(map) = channels.iter().find(|map| map.source == value.source) else { return Ok(()) };
    let (read, status) = read_value(value, data)?;
    out.push(Reading { channel: map.channel.clone(), at, value: read, status });
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
