//! What decoders must bear, tried on every shipped sheet: random bytes, damaged frames, splits,
//! glue, noise. The frames are those of the sheets' own examples.

use std::sync::Arc;

use proptest::prelude::*;
use proptest::sample::Index;

use super::bytes::escape;
use super::decode::{Decoder, Item};
use super::examples::{channels, stream};
use super::library::SheetLibrary;
use super::sheet::{Example, Expected, Shape, Sheet};
use crate::quantity::{Moment, Span};
use crate::reading::Reading;

/// Longer than any pause that ends a frame, and than any patience for an answer.
const ROUND: Span = Span::from_secs(3);
const BEGAN: Moment = Moment::from_nanos(10_000_000_000);

/// A sheet that shows itself by its name.
#[derive(Clone)]
struct Shipped(Arc<Sheet>);

impl std::fmt::Debug for Shipped {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.name)
    }
}

fn sheets() -> Vec<Shipped> {
    let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
    library.iter().map(|(_, _, sheet)| Shipped(Arc::clone(sheet))).collect()
}

fn any_sheet() -> impl Strategy<Value = Shipped> {
    prop::sample::select(sheets())
}

/// Examples that are one frame, and read something.
fn good(sheet: &Arc<Sheet>) -> Vec<&Example> {
    let one = |example: &&Example| {
        matches!(&example.expected, Expected::Reads(_)) && frames(sheet, example) == 1
    };
    sheet.examples.iter().filter(one).collect()
}

/// How many frames of an example read something.
fn frames(sheet: &Arc<Sheet>, example: &Example) -> usize {
    if by_report(sheet) {
        return 1;
    }
    let mut decoder = stream(sheet, example.asked);
    let mut items = Vec::new();
    let mut ends = Vec::new();
    for byte in &example.bytes {
        decoder.push(BEGAN, &[*byte], &mut items);
        ends.push(readings(&items).len());
    }
    decoder.idle(BEGAN + Span::from_millis(1500), &mut items);
    ends.push(readings(&items).len());
    ends.dedup();
    ends.iter().filter(|&&count| count > 0).count()
}

fn by_report(sheet: &Sheet) -> bool {
    matches!(sheet.frame.shape, Shape::Report { .. })
}

fn readings(items: &[Item]) -> Vec<Reading> {
    let reading = |item: &Item| match item {
        Item::Reading(reading) => Some(reading.clone()),
        Item::Refused { .. } => None,
    };
    items.iter().filter_map(reading).collect()
}

/// What was read, whenever it was.
fn values(items: &[Item]) -> Vec<String> {
    let value =
        |reading: Reading| format!("{} {:?} {:?}", reading.channel, reading.value, reading.status);
    readings(items).into_iter().map(value).collect()
}

/// One round of the line: a question where one is asked, bytes, and a long pause.
fn round(decoder: &mut Decoder, at: Moment, asked: Option<usize>, bytes: &[u8]) -> Vec<Item> {
    let mut items = Vec::new();
    if let Some(question) = asked {
        decoder.asked(question);
    }
    decoder.push(at, bytes, &mut items);
    decoder.idle(at + Span::from_millis(1500), &mut items);
    items
}

/// Held bytes are bounded by the longest frame, held and skipped.
fn assert_bounded(sheet: &Sheet, decoder: &Decoder) {
    let longest = sheet.frame.longest.max(match sheet.frame.shape {
        Shape::Fixed { length, .. } | Shape::Report { length, .. } => length,
        _ => 0,
    });
    let bound = 2 * longest + 2;
    assert!(decoder.held() <= bound, "{}: {} bytes are held", sheet.name, decoder.held());
}

#[derive(Clone, Debug)]
enum Does {
    Push(Vec<u8>),
    Wait(i64),
    Ask(usize),
    Reset,
}

fn any_doing() -> impl Strategy<Value = Does> {
    prop_oneof![
        8 => prop::collection::vec(any::<u8>(), 0..200).prop_map(Does::Push),
        // bytes that make frames
        8 => prop::collection::vec(prop::sample::select(b"\x02\x03\r\n$*=ST,+-0123456789.g\x05\x04".to_vec()), 0..200)
            .prop_map(Does::Push),
        2 => (0_i64..3000).prop_map(Does::Wait),
        1 => (0_usize..3).prop_map(Does::Ask),
        1 => Just(Does::Reset),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn no_bytes_panic_and_few_are_held(
        Shipped(sheet) in any_sheet(),
        doings in prop::collection::vec(any_doing(), 0..20),
    ) {
        let mut decoder = Decoder::new(Arc::clone(&sheet), channels(&sheet));
        let mut now = BEGAN;
        let mut given = 0;
        let mut items = Vec::new();
        for does in doings {
            match does {
                Does::Push(bytes) => {
                    given += bytes.len();
                    decoder.push(now, &bytes, &mut items);
                }
                Does::Wait(ms) => {
                    now = now + Span::from_millis(ms);
                    decoder.idle(now, &mut items);
                }
                Does::Ask(question) => decoder.asked(question),
                Does::Reset => decoder.reset(),
            }
            assert_bounded(&sheet, &decoder);
        }
        // every frame has a byte of its own to end it, and names each value once
        let values = sheet.fields.len().max(sheet.modbus.len()).max(1);
        prop_assert!(items.len() <= (given + 1) * values);
    }

    /// One bit of a checked frame is wrong: what comes out is what was meant, or nothing. Sums,
    /// exclusive ors and CRCs all find a single bit.
    #[test]
    fn a_checked_frame_with_a_wrong_bit_is_never_another_reading(
        Shipped(sheet) in prop::sample::select(checked()),
        which in any::<Index>(), at in any::<Index>(), bit in 0..8,
    ) {
        let example = *which.get(&good(&sheet));
        let meant = values(&round(&mut stream(&sheet, None), BEGAN, example.asked, &example.bytes));
        prop_assert!(!meant.is_empty());
        let mut bytes = example.bytes.clone();
        let at = at.index(bytes.len());
        bytes[at] ^= 1_u8 << bit;
        let got = values(&round(&mut stream(&sheet, None), BEGAN, example.asked, &bytes));
        prop_assert!(got.is_empty() || got == meant, "{}: {:?} read {:?}", sheet.name, bytes, got);
    }

    /// Whatever happens to a checked frame, no reading comes of it unless a frame whose check
    /// agrees stands in the bytes; that is looked for here by another way than the decoder's.
    #[test]
    fn no_reading_without_a_check_that_agrees(
        Shipped(sheet) in prop::sample::select(checked()),
        which in any::<Index>(),
        changes in prop::collection::vec((any::<Index>(), any::<u8>()), 1..4),
        cut in any::<Index>(),
    ) {
        let example = *which.get(&good(&sheet));
        let mut bytes = example.bytes.clone();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        let removed = cut.index(bytes.len() + 1);
        if removed < bytes.len() {
            bytes.remove(removed);
        }
        let got = readings(&round(&mut stream(&sheet, None), BEGAN, example.asked, &bytes));
        if !oracle::holds_a_checked_frame(&sheet.name, &bytes) {
            prop_assert!(got.is_empty(), "{}: {:?} read {:?}", sheet.name, bytes, got);
        }
    }

    /// Frames one behind the other, cut into pieces anywhere, give the same as each by itself.
    #[test]
    fn glue_and_splits_change_nothing(
        Shipped(sheet) in prop::sample::select(streaming()),
        which in prop::collection::vec(any::<Index>(), 1..5),
        cuts in prop::collection::vec(any::<Index>(), 0..8),
    ) {
        let good = good(&sheet);
        let chosen: Vec<&Example> = which.iter().map(|which| *which.get(&good)).collect();
        let bytes: Vec<u8> = chosen.iter().flat_map(|example| example.bytes.clone()).collect();
        let mut each = Vec::new();
        for example in &chosen {
            each.extend(values(&round(&mut stream(&sheet, None), BEGAN, None, &example.bytes)));
        }
        let mut places: Vec<usize> = cuts.iter().map(|cut| cut.index(bytes.len() + 1)).collect();
        places.extend([0, bytes.len()]);
        places.sort_unstable();
        let mut decoder = stream(&sheet, None);
        let mut items = Vec::new();
        for pair in places.windows(2) {
            decoder.push(BEGAN, &bytes[pair[0]..pair[1]], &mut items);
        }
        prop_assert_eq!(values(&items), each, "{}: {}", sheet.name, escape(&bytes));
    }

    /// Behind any noise, the third frame is read whole.
    #[test]
    fn two_frames_behind_noise_it_reads_again(
        Shipped(sheet) in any_sheet(),
        which in any::<Index>(),
        noise in prop::collection::vec(any::<u8>(), 0..300),
        glued in any::<bool>(),
    ) {
        let example = *which.get(&good(&sheet));
        let meant = values(&round(&mut stream(&sheet, None), BEGAN, example.asked, &example.bytes));
        let mut decoder = stream(&sheet, None);
        if let Some(question) = example.asked {
            decoder.asked(question);
        }
        let mut junk = Vec::new();
        decoder.push(BEGAN, &noise, &mut junk);
        let at = |count: i64| BEGAN + Span::from_nanos(ROUND.nanos() * count);
        // noise right before the first, or a pause between; and a pause between the frames, since
        // not all shapes are found without
        let first = if glued { BEGAN } else { at(1) };
        round(&mut decoder, first, example.asked, &example.bytes);
        round(&mut decoder, at(2), example.asked, &example.bytes);
        let third = round(&mut decoder, at(3), example.asked, &example.bytes);
        prop_assert_eq!(values(&third), meant, "{}: {}", sheet.name, escape(&example.bytes));
    }
}

fn checked() -> Vec<Shipped> {
    let checked: Vec<_> = sheets()
        .into_iter()
        .filter(|Shipped(s)| s.check.is_some() || !s.modbus.is_empty())
        .collect();
    assert!(checked.len() >= 7, "{}", checked.len());
    checked
}

/// Sheets whose frames may follow each other without a pause, and need no question.
fn streaming() -> Vec<Shipped> {
    let fits = |Shipped(sheet): &Shipped| {
        let paused = matches!(
            sheet.frame.shape,
            Shape::Idle { .. } | Shape::Fixed { pause: Some(_), .. } | Shape::Modbus
        );
        !paused && !by_report(sheet) && sheet.fields.iter().all(|field| field.answer_to.is_none())
    };
    let streaming: Vec<_> = sheets().into_iter().filter(fits).collect();
    assert!(streaming.len() >= 14, "{}", streaming.len());
    streaming
}

/// Every position, not only chance ones: each frame in two pieces.
#[test]
fn a_frame_in_two_pieces_at_every_position_is_the_same_frame() {
    let mut count = 0;
    for Shipped(sheet) in sheets().iter().filter(|Shipped(sheet)| !by_report(sheet)) {
        for example in &sheet.examples {
            let whole = round(&mut stream(sheet, None), BEGAN, example.asked, &example.bytes);
            for at in 0..=example.bytes.len() {
                let mut decoder = stream(sheet, example.asked);
                let mut items = Vec::new();
                decoder.push(BEGAN, &example.bytes[..at], &mut items);
                decoder.push(BEGAN, &example.bytes[at..], &mut items);
                decoder.idle(BEGAN + Span::from_millis(1500), &mut items);
                assert_eq!(items, whole, "{}, line {}, at {at}", sheet.name, example.line);
                count += 1;
            }
        }
    }
    assert!(count > 1000, "{count}");
}

/// Finds checked frames in bytes by trying every stretch, written apart from the decoder.
mod oracle {
    pub fn holds_a_checked_frame(sheet: &str, bytes: &[u8]) -> bool {
        let ends = 0..=bytes.len();
        ends.clone()
            .any(|from| ends.clone().any(|to| from < to && checked(sheet, &bytes[from..to])))
    }

    fn checked(sheet: &str, part: &[u8]) -> bool {
        let sum = |bytes: &[u8]| bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
        let xor = |bytes: &[u8]| bytes.iter().fold(0_u8, |sum, byte| sum ^ byte);
        let hex = |written: &[u8]| {
            std::str::from_utf8(written).ok().and_then(|text| u8::from_str_radix(text, 16).ok())
        };
        match (sheet, part) {
            ("binary-sum-frame", [0xaa, body @ .., check]) => {
                part.len() == 6 && sum(body).wrapping_add(0xaa) == *check
            }
            ("checked-line", [body @ .., high, low]) => hex(&[*high, *low]) == Some(sum(body)),
            ("marked-check-line" | "marked-check-probes", [b'$', body @ .., b'*', high, low]) => {
                hex(&[*high, *low]) == Some(xor(body))
            }
            ("status-bytes-frame", [0x02, .., 0x0d, _]) => sum(part) == 0,
            ("stx-fixed-width", [0x02, body @ .., 0x03, high, low]) => {
                hex(&[*high, *low]) == Some(xor(body))
            }
            ("modbus-probes" | "modbus-scale", [body @ .., low, high]) => {
                // bit by bit, as Modbus over serial line V1.02 §6.2.2 has it
                let mut crc = 0xffff_u16;
                for byte in body {
                    crc ^= u16::from(*byte);
                    for _ in 0..8 {
                        crc = if crc & 1 == 1 { crc >> 1 ^ 0xa001 } else { crc >> 1 };
                    }
                }
                crc == u16::from_le_bytes([*low, *high])
            }
            _ => false,
        }
    }

    /// The oracle itself knows each sheet's good frames.
    #[test]
    fn it_finds_the_good_ones() {
        for super::Shipped(sheet) in super::checked() {
            for example in super::good(&sheet) {
                assert!(holds_a_checked_frame(&sheet.name, &example.bytes), "{}", sheet.name);
            }
        }
    }
}
