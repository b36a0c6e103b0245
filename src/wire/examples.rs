use std::sync::Arc;

use super::bytes::escape;
use super::decode::{ChannelMap, Decoder, Item};
use super::sheet::{Example, Expected, Quantity, Shape, Sheet};
use crate::quantity::{MassUnit, Moment, Span, TemperatureUnit};
use crate::reading::{Channel, Reading, Status, Value};

/// What became of one example of a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExampleOutcome {
    /// Line in the file.
    pub line: usize,
    pub bytes: String,
    /// What went wrong, for a person; `None` if nothing did.
    pub fault: Option<String>,
}

/// Runs every example inside a sheet, each on a stream of its own.
pub fn check(sheet: &Arc<Sheet>) -> Vec<ExampleOutcome> {
    sheet.examples.iter().map(|example| run(sheet, example)).collect()
}

fn run(sheet: &Arc<Sheet>, example: &Example) -> ExampleOutcome {
    let mut decoder = Decoder::new(Arc::clone(sheet), channels(sheet));
    let (mut at, mut items) = (Moment::from_nanos(0), Vec::new());
    if let Shape::Ended { by } = &sheet.frame.shape {
        // an example begins where a frame begins
        decoder.push(at, &by[..1], &mut items);
    }
    decoder.push(at, &example.bytes, &mut items);
    at = at + Span::from_minutes(1);
    decoder.idle(at, &mut items);
    ExampleOutcome {
        line: example.line,
        bytes: escape(&example.bytes),
        fault: fault(&example.expected, &items),
    }
}

fn fault(expected: &Expected, items: &[Item]) -> Option<String> {
    let found: Vec<String> = items.iter().map(words).collect();
    let found_words = if found.is_empty() { "nothing".to_owned() } else { found.join(" and ") };
    match expected {
        Expected::Incomplete if items.is_empty() => None,
        Expected::Incomplete => Some(format!("expected nothing yet, found {found_words}")),
        Expected::Refused => {
            let refused = items.iter().any(|item| matches!(item, Item::Refused { .. }))
                && !items.iter().any(|item| matches!(item, Item::Reading(_)));
            (!refused).then(|| format!("expected a refusal, found {found_words}"))
        }
        Expected::Reads(wanted) if *wanted == found => None,
        Expected::Reads(wanted) => {
            Some(format!("expected {}, found {found_words}", wanted.join(" and ")))
        }
    }
}

fn words(item: &Item) -> String {
    match item {
        Item::Reading(reading) => reading_words(reading),
        Item::Refused { frame, why } => format!("`{}` refused: {why}", escape(frame)),
    }
}

/// `weight 123.45 g stable`; a field without a name is called by nothing.
fn reading_words(reading: &Reading) -> String {
    let value = match reading.value {
        Some(Value::Mass { mass, unit, decimals, .. }) => mass.show(unit, decimals),
        Some(Value::Temperature { temperature, unit, decimals }) => {
            temperature.show(unit, decimals)
        }
        None => "no value".to_owned(),
    };
    let value = value.replace('−', "-");
    let status = match reading.status {
        Status::Unstated => String::new(),
        status => format!(" {}", status.words()),
    };
    let channel = reading.channel.as_str();
    let apart = if channel.is_empty() { "" } else { " " };
    format!("{channel}{apart}{value}{status}")
}

/// Every value goes to a channel of its own name; units the wire leaves out are g and °C.
fn channels(sheet: &Sheet) -> Vec<ChannelMap> {
    let map = |source: &str, quantity: Quantity| ChannelMap {
        source: source.to_owned(),
        channel: Channel::new(source),
        mass_unit: (quantity == Quantity::Mass).then_some(MassUnit::Gram),
        temperature_unit: (quantity == Quantity::Temperature).then_some(TemperatureUnit::Celsius),
    };
    let fields = sheet.fields.iter().map(|field| map(&field.source, field.quantity));
    fields.chain(sheet.modbus.iter().map(|value| map(&value.source, value.quantity))).collect()
}
