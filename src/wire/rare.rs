//! What no shipped sheet says and a maker's own may: small sheets that must prove themselves.

use std::sync::Arc;

use super::examples::check;
use super::{
    ChannelMap, Decoder, Item, Refusal, Sheet, SheetLibrary, Talker, crc16_modbus, modbus,
};
use crate::problem::Source;
use crate::quantity::Moment;
use crate::reading::Channel;

fn proves_itself(rules: &str, examples: &[(&str, &str)]) {
    let mut text = format!("name = \"rare\"\nabout = \"rare\"\n{rules}\n");
    for (bytes, expected) in examples {
        let expected = match *expected {
            "refused" => "refused = true".to_owned(),
            reads => format!("reads = [\"{reads}\"]"),
        };
        text += &format!("[[example]]\nbytes = '{bytes}'\n{expected}\n");
    }
    let sheet = Sheet::read(Source { file: "rare.toml", text: &text });
    let sheet = Arc::new(sheet.unwrap_or_else(|problems| panic!("{problems}\n{text}")));
    let faults: Vec<_> = check(&sheet).into_iter().filter_map(|outcome| outcome.fault).collect();
    assert!(faults.is_empty(), "{faults:#?}\n{text}");
}

const LINES: &str = "[frame]\nends_with = '\\r\\n'\n[[value]]\nquantity = \"mass\"\n";

/// Some scales blank the digit they are not sure of while they move.
#[test]
fn a_blank_in_place_of_the_last_digit_moves() {
    let rules = format!("{LINES}pattern = '^(?<value>[ 0-9]{{4}}\\.[0-9 ]{{2}}) g$'\nunits = {{}}");
    let examples = [
        (r" 123.45 g\r\n", "123.45 g"),
        (r" 123.4  g\r\n", "123.4 g in motion"),
        (r" 123.   g\r\n", "123 g"),
    ];
    proves_itself(&rules, &examples);
}

#[test]
fn numbers_of_every_make() {
    let rules = format!("{LINES}pattern = '^=(?<value>.*)$'");
    let examples = [
        (r"=1.25E+03\r\n", "1250 g"),
        (r"=+1.25e-1 \r\n", "0.125 g"),
        (r"=  -  .5\r\n", "-0.5 g"),
        (r"=\x96 3\r\n", "-3 g"),
        (r"=1x\r\n", "refused"),
        (r"=1.x\r\n", "refused"),
        (r"=.\r\n", "refused"),
        // longer than any display, finer than any scale, and beyond any bench
        (r"=1234567890123\r\n", "refused"),
        (r"=0.1234567890\r\n", "refused"),
        (r"=1E13\r\n", "refused"),
        (r"=1E-13\r\n", "refused"),
        (r"=9E12\r\n", "refused"),
        (r"=1Eg\r\n", "refused"),
        (r"=  \r\n", "no value"),
    ];
    proves_itself(&rules, &examples);
    let rules = format!("{LINES}pattern = '^=(?<value>.*)$'\ninstead = {{ OL = \"over-limit\" }}");
    proves_itself(&rules, &[(r"=OL\r\n", "no value over the limit"), (r"= \r\n", "refused")]);
}

#[test]
fn a_status_that_is_not_there_says_nothing_unless_the_sheet_says_what() {
    let pattern = r"pattern = '^(?<status>[A-Z ]{2})(?<value>[0-9.]+)$'";
    let rules = format!("{LINES}{pattern}\nstatus = {{ MO = \"in-motion\" }}");
    let examples = [
        (r"  12.3\r\n", "12.3 g"),
        (r"MO12.3\r\n", "12.3 g in motion"),
        (r"XX12.3\r\n", "refused"),
    ];
    proves_itself(&rules, &examples);
    let rules = format!("{LINES}{pattern}\nstatus = {{ MO = \"in-motion\", \"\" = \"stable\" }}");
    proves_itself(&rules, &[(r"  12.3\r\n", "12.3 g stable")]);
}

#[test]
fn pounds_and_ounces_with_a_sign_of_their_own() {
    let pattern = r"pattern = '^(?<sign>[ -])(?<pounds>-?[0-9]+):(?<ounces>[0-9.x]+)$'";
    let rules = format!("{LINES}{pattern}");
    let examples = [
        (r" 1:02.5\r\n", "1 lb 2.5 oz"),
        (r"-1:02.5\r\n", "-1 lb 2.5 oz"),
        (r" -1:02.5\r\n", "-1 lb 2.5 oz"),
        (r" 1:x\r\n", "refused"),
        (r" 999999999999:1\r\n", "refused"),
        (r" 1:999999999999\r\n", "refused"),
    ];
    proves_itself(&rules, &examples);
}

#[test]
fn a_number_in_bytes_has_one_to_four_of_them() {
    let rules = format!("{LINES}pattern = '^=(?<value>[^=]*)$'\nform = \"signed-low-first\"");
    let examples = [
        (r"=\x01\r\n", "1 g"),
        (r"=\xfe\xff\r\n", "-2 g"),
        (r"=\xff\x7f\r\n", "32767 g"),
        (r"=\x10\x00\x00\x00\r\n", "16 g"),
        (r"=\r\n", "refused"),
        (r"=\x01\x00\x00\x00\x00\r\n", "refused"),
    ];
    proves_itself(&rules.replace("ends_with", "skip_nul = false\nends_with"), &examples);
}

#[test]
fn padding_and_odd_parity_are_taken_off_where_the_sheet_says_so() {
    let value = "[[value]]\nquantity = \"mass\"\npattern = '^=(?<value>[0-9.]+)$'";
    let rules = format!("[frame]\nends_with = '\\r'\nskip_nul = true\n{value}");
    proves_itself(&rules, &[(r"=\x001\x00.5\r", "1.5 g")]);
    // 7 data bits with odd parity: of `=`, `1`, CR the eighth bit is 0, 0, 0; of `3`, `5` it is 1
    let rules =
        format!("[frame]\nends_with = '\\r'\nseven_bits = true\nbit_parity = \"odd\"\n{value}");
    let examples = [(r"=1\r", "1 g"), (r"=\xb3\xb5\r", "35 g"), (r"=1\xb1\r", "refused")];
    proves_itself(&rules, &examples);
}

#[test]
fn one_byte_may_stand_at_both_ends() {
    let rules = "[frame]\nstarts_with = '|'\nends_with = '|'\n[[value]]\nquantity = \"mass\"\n\
                 pattern = '(?<value>[0-9.]+)'";
    proves_itself(rules, &[(r"|1.5|", "1.5 g"), (r"|x|", "refused")]);
}

#[test]
fn a_value_that_no_channel_takes_is_no_error() {
    let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
    let probes = library.find("comma-probes").unwrap();
    let mut decoder = Decoder::new(Arc::clone(probes), Vec::new());
    let mut items = Vec::new();
    decoder.push(Moment::from_nanos(0), &probes.examples[0].bytes, &mut items);
    // what came before the first end is no frame
    decoder.push(Moment::from_nanos(0), &probes.examples[0].bytes, &mut items);
    assert_eq!(items, []);
    let mut decoder = Decoder::new(Arc::clone(library.find("modbus-scale").unwrap()), Vec::new());
    decoder.asked(0);
    let mut answer = modbus_answer(&decoder, &[0, 0, 0, 1]);
    decoder.push(Moment::from_nanos(0), &answer, &mut items);
    assert_eq!(items, []);
    // and one that never comes is not asked for
    answer.clear();
    let streams = library.find("comma-status-line").unwrap();
    assert!(Talker::new(streams, Moment::from_nanos(0)).is_none());
}

fn modbus_answer(decoder: &Decoder, data: &[u8]) -> Vec<u8> {
    let value = &decoder.sheet().modbus[0];
    let mut frame = vec![value.unit_id, value.function, data.len() as u8];
    frame.extend(data);
    frame.extend(crc16_modbus(&frame).to_le_bytes());
    frame
}

/// A float may be anything: infinite, no number, larger than the world.
#[test]
fn a_float_beyond_any_bench_is_refused() {
    let text = "name = \"rare\"\nabout = \"rare\"\n[talk]\nstyle = \"answers\"\n[frame]\n\
                modbus = true\n[[modbus]]\nquantity = \"mass\"\nunit_id = 1\nfunction = 3\n\
                register = 0\nform = \"f32\"\nunit = \"g\"\n";
    let sheet = Sheet::read(Source { file: "rare.toml", text });
    let sheet = Arc::new(sheet.unwrap_or_else(|problems| panic!("{problems}")));
    let map = ChannelMap {
        source: String::new(),
        channel: Channel::new("scale"),
        mass_unit: None,
        temperature_unit: None,
    };
    for number in [f32::INFINITY, f32::NEG_INFINITY, 1e30, f32::MAX] {
        let mut decoder = Decoder::new(Arc::clone(&sheet), vec![map.clone()]);
        decoder.asked(0);
        let mut items = Vec::new();
        let answer = modbus_answer(&decoder, &number.to_be_bytes());
        decoder.push(Moment::from_nanos(0), &answer, &mut items);
        let refused = matches!(items[..], [Item::Refused { why: Refusal::OutOfRange, .. }]);
        assert!(refused, "{number}: {items:?}");
    }
}

/// Nothing of the kind reaches it through the framer; it must not depend on that.
#[test]
fn a_modbus_answer_that_is_not_whole_is_refused() {
    let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
    let value = &library.find("modbus-scale").unwrap().modbus[0];
    let mut out = Vec::new();
    for (answer, why) in [
        (&[1, 3][..], Refusal::TooShort),
        (&[1, 3, 4, 0, 0, 1], Refusal::NotAsked),
        (&[1, 0x83, 2], Refusal::Exception(2)),
    ] {
        let read = modbus::read(value, &[], Moment::from_nanos(0), answer, &mut out);
        assert_eq!(read, Err(why), "{answer:?}");
    }
    assert_eq!(out, []);
}
