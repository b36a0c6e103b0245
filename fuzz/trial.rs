//! One trial of a decoder, for the fuzzer and for the test that replays its corpus.
//!
//! The first byte of the input chooses a shipped sheet. Then each byte goes down the line, but for:
//!
//! ```text
//! FB        a byte comes damaged
//! FC        the port is opened again
//! FD q      question q is asked
//! FE t      t times 10 ms without a byte
//! FF b      the byte b, whatever it is
//! ```

use std::sync::{Arc, LazyLock};

use panroom::quantity::{MassUnit, Moment, Span, TemperatureUnit};
use panroom::reading::Channel;
use panroom::wire::{ChannelMap, Decoder, Item, Sheet, SheetLibrary};

static SHEETS: LazyLock<Vec<Arc<Sheet>>> = LazyLock::new(|| {
    let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
    library.iter().map(|(_, _, sheet)| Arc::clone(sheet)).collect()
});

#[derive(Debug)]
enum Does {
    Damaged,
    Reset,
    Ask(usize),
    Wait(i64),
    Bytes(Vec<u8>),
}

/// Must not panic, must hold few bytes, and must say the same however the bytes are cut.
pub fn trial(data: &[u8]) {
    let Some((&which, data)) = data.split_first() else { return };
    let sheet = &SHEETS[usize::from(which) % SHEETS.len()];
    let doings = doings(data);
    let whole = run(sheet, &doings, usize::MAX);
    // one read of a report device is one report
    if sheet.name != "usb-weighing-report" {
        assert_eq!(run(sheet, &doings, 1), whole, "{}: split it says otherwise", sheet.name);
    }
}

fn doings(mut data: &[u8]) -> Vec<Does> {
    let mut doings: Vec<Does> = Vec::new();
    while let Some((&byte, rest)) = data.split_first() {
        let next = rest.first().copied();
        let (does, used) = match (byte, next) {
            (0xfb, _) => (Does::Damaged, 1),
            (0xfc, _) => (Does::Reset, 1),
            (0xfd, Some(question)) => (Does::Ask(usize::from(question)), 2),
            (0xfe, Some(time)) => (Does::Wait(i64::from(time) * 10), 2),
            (0xff, Some(byte)) => (Does::Bytes(vec![byte]), 2),
            (byte, _) => (Does::Bytes(vec![byte]), 1),
        };
        data = &data[used..];
        match (doings.last_mut(), does) {
            (Some(Does::Bytes(before)), Does::Bytes(more)) => before.extend(more),
            (_, does) => doings.push(does),
        }
    }
    doings
}

fn run(sheet: &Arc<Sheet>, doings: &[Does], piece: usize) -> Vec<Item> {
    let mut decoder = Decoder::new(Arc::clone(sheet), channels(sheet));
    let mut now = Moment::from_nanos(1_000_000_000);
    let mut items = Vec::new();
    for does in doings {
        match does {
            Does::Damaged => {
                let frames = decoder.damaged(now);
                frames.into_iter().for_each(|frame| frame.into_items(&mut items));
            }
            Does::Reset => decoder.reset(),
            Does::Ask(question) => decoder.asked(*question),
            Does::Wait(ms) => {
                now = now + Span::from_millis(*ms);
                decoder.idle(now, &mut items);
            }
            Does::Bytes(bytes) => {
                for part in bytes.chunks(piece.min(bytes.len())) {
                    decoder.push(now, part, &mut items);
                }
            }
        }
        assert!(decoder.held() <= 2 * sheet.frame.longest.max(64) + 2, "{}", decoder.held());
    }
    items
}

fn channels(sheet: &Sheet) -> Vec<ChannelMap> {
    let sources = sheet.fields.iter().map(|field| &field.source);
    let sources = sources.chain(sheet.modbus.iter().map(|value| &value.source));
    let map = |source: &String| ChannelMap {
        source: source.clone(),
        channel: Channel::new(source),
        mass_unit: Some(MassUnit::Gram),
        temperature_unit: Some(TemperatureUnit::Celsius),
    };
    sources.map(map).collect()
}
