//! Modbus RTU beside a library that knows nothing of ours, and beside the published example.

use std::sync::Arc;

use panroom::problem::Source;
use panroom::quantity::{Moment, Span};
use panroom::reading::{Channel, Value};
use panroom::wire::{ChannelMap, Decoder, Item, Sheet, Talker, crc16_modbus};
use proptest::prelude::*;
use rmodbus::ModbusProto;
use rmodbus::client::ModbusRequest;

fn sheet(unit_id: u8, function: u8, register: u16, form: &str) -> Arc<Sheet> {
    let text = format!(
        "name = \"beside\"\nabout = \"beside\"\n[talk]\nstyle = \"answers\"\n[frame]\n\
         modbus = true\n[[modbus]]\nquantity = \"mass\"\nunit_id = {unit_id}\n\
         function = {function}\nregister = {register}\nform = \"{form}\"\nunit = \"g\"\n\
         decimals = 3\n"
    );
    let sheet = Sheet::read(Source { file: "beside.toml", text: &text });
    Arc::new(sheet.unwrap_or_else(|problems| panic!("{problems}")))
}

/// What is read of an answer, in thousandths of a gram.
fn read(sheet: &Arc<Sheet>, answer: &[u8]) -> Vec<Item> {
    let map = ChannelMap {
        source: String::new(),
        channel: Channel::new("scale"),
        mass_unit: None,
        temperature_unit: None,
    };
    let mut decoder = Decoder::new(Arc::clone(sheet), vec![map]);
    decoder.asked(0);
    let mut items = Vec::new();
    decoder.push(Moment::from_nanos(0), answer, &mut items);
    items
}

fn thousandths(items: &[Item]) -> Option<i64> {
    let [Item::Reading(reading)] = items else { return None };
    match reading.value? {
        Value::Mass { mass, .. } => Some((mass.grams() * 1000.0).round() as i64),
        Value::Temperature { .. } => None,
    }
}

fn framed(mut frame: Vec<u8>) -> Vec<u8> {
    frame.extend(crc16_modbus(&frame).to_le_bytes());
    frame
}

fn question(sheet: &Arc<Sheet>) -> Vec<u8> {
    let opened = Moment::from_nanos(0);
    let mut talker = Talker::new(sheet, opened).unwrap();
    talker.query(opened + Span::from_secs(1)).unwrap().bytes
}

/// Modbus Application Protocol V1.1b3, §6.3: registers 108 to 110 are read, and hold 555, 0 and
/// 100: `03 00 6B 00 03`, answered `03 06 02 2B 00 00 00 64`. As quoted by others.
#[test]
fn the_published_example_of_function_3() {
    let mut asks = ModbusRequest::new(0x11, ModbusProto::Rtu);
    let mut theirs = Vec::new();
    asks.generate_get_holdings(0x6b, 3, &mut theirs).unwrap();
    assert_eq!(theirs[1..6], [0x03, 0x00, 0x6b, 0x00, 0x03], "the oracle asks as published");
    let ours = question(&sheet(0x11, 3, 0x6b, "u16"));
    assert_eq!(ours[..5], theirs[..5], "as far as the count of registers");
    let answer = framed(vec![0x11, 0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64]);
    let mut held = Vec::new();
    asks.parse_u16(&answer, &mut held).unwrap();
    assert_eq!(held, [555, 0, 100], "our check is theirs");
    // one register a question is what a wire sheet asks for
    for (index, holds) in [555, 0, 100].into_iter().enumerate() {
        let words = [answer[3 + 2 * index], answer[4 + 2 * index]];
        let one = framed(vec![0x11, 0x03, 0x02, words[0], words[1]]);
        assert_eq!(thousandths(&read(&sheet(0x11, 3, 0x6b, "u16"), &one)), Some(holds));
    }
    assert_eq!(thousandths(&read(&sheet(0x11, 3, 0x6b, "u16"), &answer)), None, "three for one");
}

proptest! {
    /// Asked in the same bytes, and read alike; one flipped bit, and neither reads it.
    #[test]
    fn questions_and_answers_are_those_of_an_independent_library(
        unit_id in 1_u8..=247,
        inputs: bool,
        register: u16,
        form in prop::sample::select(vec!["u16", "i16", "u32", "i32", "u32-low-first", "f32"]),
        data: [u8; 4],
        flipped in prop::option::of(any::<prop::sample::Index>()),
        bit in 0..8,
    ) {
        let function = if inputs { 4 } else { 3 };
        let count: u16 = if form.ends_with("16") { 1 } else { 2 };
        prop_assume!(register < u16::MAX);
        let sheet = sheet(unit_id, function, register, form);
        let mut theirs = ModbusRequest::new(unit_id, ModbusProto::Rtu);
        let mut asked = Vec::new();
        if inputs {
            theirs.generate_get_inputs(register, count, &mut asked).unwrap();
        } else {
            theirs.generate_get_holdings(register, count, &mut asked).unwrap();
        }
        prop_assert_eq!(question(&sheet), asked);

        let bytes = &data[..usize::from(count) * 2];
        let mut answer = vec![unit_id, function, bytes.len() as u8];
        answer.extend(bytes);
        let mut answer = framed(answer);
        if let Some(flipped) = &flipped {
            let at = flipped.index(answer.len());
            answer[at] ^= 1_u8 << bit;
        }
        let mut words = Vec::new();
        let sound = theirs.parse_u16(&answer, &mut words).is_ok();
        let ours = read(&sheet, &answer);
        prop_assert_eq!(sound, flipped.is_none());
        if !sound {
            prop_assert!(!ours.iter().any(|item| matches!(item, Item::Reading(_))), "{:?}", ours);
            return Ok(());
        }
        let pair = |high: u16, low: u16| u32::from(high) << 16 | u32::from(low);
        let expected = match form {
            "u16" => Some(i64::from(words[0])),
            "i16" => Some(i64::from(words[0] as i16)),
            "u32" => Some(i64::from(pair(words[0], words[1]))),
            "i32" => Some(i64::from(pair(words[0], words[1]) as i32)),
            "u32-low-first" => Some(i64::from(pair(words[1], words[0]))),
            _ => {
                let number = f64::from(f32::from_bits(pair(words[0], words[1])));
                // a float is taken to the thousandth, and one of any size is no mass on a bench
                (number.abs() < 1e8).then(|| number.round() as i64)
            }
        };
        match expected {
            // a tonne is the most that anything weighs here
            Some(expected) if expected.abs() < 1_000_000_000 => {
                prop_assert_eq!(thousandths(&ours), Some(expected), "{} {:?}", form, ours);
            }
            _ => {}
        }
    }
}
