use std::sync::Arc;

use super::bytes::escape;
use super::decode::{ChannelMap, Decoder, Item};
use super::explain;
use super::sheet::{Example, Expected, Meaning, Quantity, Shape, Sheet};
use crate::quantity::{MassUnit, Moment, Span, TemperatureUnit};
use crate::reading::{Channel, Reading, Status, Value};

/// Examples begin on a line that has been quiet for so long.
const QUIET_SINCE: Moment = Moment::from_nanos(10_000_000_000);

/// What became of one example of a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExampleOutcome {
    /// Line in the file.
    pub line: usize,
    pub bytes: String,
    /// What went wrong, for a person; `None` if nothing did.
    pub fault: Option<String>,
}

/// Runs every example inside a sheet, each on a stream of its own: at once, byte by byte, and with
/// whole frames behind it. All three must tell the same.
pub fn check(sheet: &Arc<Sheet>) -> Vec<ExampleOutcome> {
    let run = |example: &Example| ExampleOutcome {
        line: example.line,
        bytes: escape(&example.bytes),
        fault: run(sheet, example),
    };
    sheet.examples.iter().map(run).collect()
}

/// What a sheet's examples leave unproved.
pub fn unproved(sheet: &Sheet) -> Vec<&'static str> {
    let any = |wanted: fn(&Expected) -> bool| {
        sheet.examples.iter().any(|example| wanted(&example.expected))
    };
    let mut missing = Vec::new();
    if !any(|expected| matches!(expected, Expected::Reads(_))) {
        missing.push("a frame and what it reads; copy one from the instrument");
    }
    if !any(|expected| *expected == Expected::Refused) {
        missing.push("a damaged frame that must be refused");
    }
    let has_state = sheet.fields.iter().any(|field| {
        let doubtful = |status: &Status| !status.is_trusted();
        field.statuses.values().chain(field.instead.values()).any(doubtful)
            || field.bits.iter().any(|bit| matches!(bit.means, Meaning::OverLimit | Meaning::Fault))
    });
    let odd =
        |words: &String| ["no value", "limit", "fault"].iter().any(|word| words.contains(word));
    let reads_odd = sheet.examples.iter().any(|example| match &example.expected {
        Expected::Reads(reads) => reads.iter().any(odd),
        Expected::Refused | Expected::Incomplete => false,
    });
    if has_state && !reads_odd {
        missing.push("what it sends above its capacity, or with its sensor open");
    }
    missing
}

/// A stream that begins where a frame begins.
pub(super) fn stream(sheet: &Arc<Sheet>, asked: Option<usize>) -> Decoder {
    let mut decoder = Decoder::new(Arc::clone(sheet), channels(sheet));
    // quiet since it was opened
    decoder.idle(Moment::from_nanos(0), &mut Vec::new());
    decoder.idle(QUIET_SINCE, &mut Vec::new());
    if let Some(question) = asked {
        decoder.asked(question);
    }
    decoder
}

fn run(sheet: &Arc<Sheet>, example: &Example) -> Option<String> {
    alone(sheet, example).or_else(|| behind(sheet, example))
}

/// At once and byte by byte.
fn alone(sheet: &Arc<Sheet>, example: &Example) -> Option<String> {
    let later = QUIET_SINCE + Span::from_minutes(1);
    let mut items = Vec::new();
    let mut decoder = stream(sheet, example.asked);
    decoder.push(QUIET_SINCE, &example.bytes, &mut items);
    let at_once = items.clone();
    decoder.idle(later, &mut items);
    if let Some(why) = fault(sheet, example, &items) {
        return Some(why);
    }
    if !matches!(sheet.frame.shape, Shape::Report { .. }) {
        let mut split = Vec::new();
        let mut decoder = stream(sheet, example.asked);
        for byte in &example.bytes {
            decoder.push(QUIET_SINCE, &[*byte], &mut split);
        }
        if split != at_once {
            let (split, whole) = (said(&split), said(&at_once));
            return Some(format!("byte by byte it gives {split}, at once {whole}"));
        }
    }
    None
}

/// Of whole frames behind an example the last must be read: no example may deafen the decoder.
fn behind(sheet: &Arc<Sheet>, example: &Example) -> Option<String> {
    const FRAMES: i64 = 3;
    let good = sheet
        .examples
        .iter()
        .filter(|good| matches!(good.expected, Expected::Reads(_)) && good.expected_alone())
        // one that does not hold by itself is told once, in its own place
        .find(|good| alone(sheet, good).is_none())?;
    let mut decoder = stream(sheet, example.asked);
    decoder.push(QUIET_SINCE, &example.bytes, &mut Vec::new());
    let mut items = Vec::new();
    for round in 1..=FRAMES {
        let at = QUIET_SINCE + Span::from_secs(round);
        if let Some(question) = good.asked {
            decoder.asked(question);
        }
        items.clear();
        decoder.push(at, &good.bytes, &mut items);
        decoder.idle(at + Span::from_millis(900), &mut items);
    }
    let why = fault(sheet, good, &items)?;
    Some(format!("the frame of line {} is not read behind it: {why}", good.line))
}

fn fault(sheet: &Sheet, example: &Example, items: &[Item]) -> Option<String> {
    let found: Vec<String> = items.iter().map(words).collect();
    match &example.expected {
        Expected::Incomplete if items.is_empty() => None,
        Expected::Incomplete => Some(format!("expected nothing yet, found {}", said(items))),
        Expected::Refused => refusal_fault(example, items),
        Expected::Reads(wanted) if *wanted == found => None,
        Expected::Reads(wanted) => {
            let why = explain::difference(wanted, &found);
            let refused = items.iter().find_map(|item| match item {
                Item::Refused { frame, why } => Some((frame, why)),
                Item::Reading(_) => None,
            });
            let more = refused
                .map(|(frame, why)| explain::refusal(sheet, example.asked, frame, why))
                .unwrap_or_default();
            let silent = items.is_empty().then(|| explain::silence(sheet, &example.bytes));
            Some(format!("{why}{more}{}", silent.unwrap_or_default()))
        }
    }
}

fn refusal_fault(example: &Example, items: &[Item]) -> Option<String> {
    let reasons: Vec<String> = items
        .iter()
        .filter_map(|item| match item {
            Item::Refused { why, .. } => Some(why.to_string()),
            Item::Reading(_) => None,
        })
        .collect();
    let because = example.because.as_deref().unwrap_or("");
    if reasons.is_empty() || (because.is_empty() && reasons.len() < items.len()) {
        return Some(format!("expected a refusal, found {}", said(items)));
    }
    if reasons.iter().any(|reason| reason.contains(because)) {
        return None;
    }
    Some(format!("refused, but not because of `{because}`: {}", said(items)))
}

fn said(items: &[Item]) -> String {
    let found: Vec<String> = items.iter().map(words).collect();
    if found.is_empty() { "nothing".to_owned() } else { found.join(" and ") }
}

fn words(item: &Item) -> String {
    match item {
        Item::Reading(reading) => reading_words(reading),
        Item::Refused { frame, why } => format!("`{}` refused: {why}", escape(frame)),
    }
}

/// `weight 123.45 g stable`; a field without a name is called by nothing.
pub fn reading_words(reading: &Reading) -> String {
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
pub fn channels(sheet: &Sheet) -> Vec<ChannelMap> {
    let map = |source: &str, quantity: Quantity| ChannelMap {
        source: source.to_owned(),
        channel: Channel::new(source),
        mass_unit: (quantity == Quantity::Mass).then_some(MassUnit::Gram),
        temperature_unit: (quantity == Quantity::Temperature).then_some(TemperatureUnit::Celsius),
    };
    let fields = sheet.fields.iter().map(|field| map(&field.source, field.quantity));
    fields.chain(sheet.modbus.iter().map(|value| map(&value.source, value.quantity))).collect()
}
