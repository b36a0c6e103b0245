//! The beginning of a wire sheet, drafted from lines that no sheet explains: the number where it
//! stands, with the width it had, and everything around it as it was. It proves itself on the lines
//! it was drafted from, or it is not given.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::bytes::escape;
use super::decode::Decoder;
use super::examples::{channels, check, reading_words};
use super::heard::Recording;
use super::sheet::{Line, LineParity, Sheet, mass_unit, temperature_unit};
use crate::problem::Source;
use crate::quantity::Moment;

/// Fewer whole lines of one length say nothing about what changes and what stays.
const LINES_LEAST: usize = 3;
/// Different texts before or behind the number; more are no words of a status.
const WORDS_MOST: usize = 6;
/// Lines shown as examples.
const EXAMPLES: usize = 3;

/// A sheet as text, to be completed by the maker. `None` where there are no lines of text with a
/// number at one place.
pub fn draft(recording: &Recording, line: Line) -> Option<String> {
    let lines = recording.lines();
    let ending = escape(recording.line_end());
    // the length that most lines have
    let length = lines
        .iter()
        .map(Vec::len)
        .max_by_key(|&length| (lines.iter().filter(|line| line.len() == length).count(), length))?;
    let lines: Vec<String> = lines
        .into_iter()
        .filter(|line| line.len() == length && line.iter().all(|byte| (b' '..=b'~').contains(byte)))
        .filter_map(|line| String::from_utf8(line).ok())
        .collect();
    if lines.len() < LINES_LEAST {
        return None;
    }
    let place = number(&lines)?;
    let before = words(lines.iter().map(|line| &line[..place.begin]))?;
    let behind: Vec<&str> = lines.iter().map(|line| &line[place.end..]).collect();
    let (behind, units, quantity) = unit(&behind)?;
    let pattern = format!("^{before}(?<value>{}){behind}$", place.class);
    let shown: BTreeSet<&String> = lines.iter().collect();
    let shown: Vec<&String> = shown.into_iter().take(EXAMPLES).collect();
    let text = |examples: &str| {
        format!(
            "name = \"my-instrument\"\nabout = \"Drafted from what was heard.\"\n\n{}\n[frame]\n\
             ends_with = '{ending}'\nlongest = {}\n\n[[value]]\nquantity = \"{quantity}\"\n\
             pattern = '{pattern}'\n{units}{examples}",
            settings(line),
            length * 2
        )
    };
    let sheet = |text: &str| Sheet::read(Source { file: "draft", text }).ok().map(Arc::new);
    let bare = sheet(&text(""))?;
    let mut examples = String::new();
    for shown in &shown {
        let reads = read(&bare, shown, recording.line_end())?;
        let bytes = escape(shown.as_bytes());
        examples += &format!("\n[[example]]\nbytes = '{bytes}{ending}'\nreads = [\"{reads}\"]\n");
    }
    let damaged = shown[0].replacen(|it: char| it.is_ascii_digit(), "x", 1);
    examples += &format!("\n[[example]]\nbytes = '{damaged}{ending}'\nrefused = true\n");
    let text = text(&examples);
    let good = check(&sheet(&text)?).iter().all(|outcome| outcome.fault.is_none());
    good.then_some(text)
}

/// Where the number stands in every line, and how it may be written there.
struct Place {
    begin: usize,
    end: usize,
    class: String,
}

/// The number that changes, else the first with a decimal point: at one place in all lines.
fn number(lines: &[String]) -> Option<Place> {
    let first = lines[0].as_bytes();
    let mut best: Option<(bool, bool, Place)> = None;
    for point in 0..first.len() {
        if !matches!(first[point], b'.' | b',') {
            continue;
        }
        let digit = |line: &String, at: usize| line.as_bytes()[at].is_ascii_digit();
        let all = |at: usize, fits: &dyn Fn(u8) -> bool| {
            lines.iter().all(|line| line.as_bytes().get(at).is_some_and(|&byte| fits(byte)))
        };
        if point == 0 || !all(point, &|byte| byte == first[point]) {
            continue;
        }
        let mut begin = point;
        while begin > 0 && all(begin - 1, &|byte| byte.is_ascii_digit() || byte == b' ') {
            begin -= 1;
        }
        let decimals = (point + 1..first.len()).take_while(|&at| all(at, &|b| b.is_ascii_digit()));
        let end = point + 1 + decimals.count();
        if end == point + 1 || !lines.iter().all(|line| digit(line, point - 1)) {
            continue;
        }
        // a blank that no digit ever takes stands between a word and the number
        while begin < point - 1 && all(begin, &|byte| byte == b' ') {
            begin += 1;
        }
        let signed = begin > 0
            && all(begin - 1, &|byte| matches!(byte, b'+' | b'-' | b' '))
            && !all(begin - 1, &|byte| byte == b' ');
        let sign = if signed { "[+ -]" } else { "" };
        let mark = if first[point] == b'.' { "\\." } else { "," };
        let class = format!("{sign}[ 0-9]{{{}}}{mark}[0-9]{{{}}}", point - begin, end - point - 1);
        let begin = begin - usize::from(signed);
        let changes = lines.iter().any(|line| line[begin..end] != lines[0][begin..end]);
        let place = Place { begin, end, class };
        let better = best
            .as_ref()
            .is_none_or(|(change, dot, _)| (changes, first[point] == b'.') > (*change, *dot));
        if better {
            best = Some((changes, first[point] == b'.', place));
        }
    }
    best.map(|(_, _, place)| place)
}

/// One text, or each of a few.
fn words<'a>(texts: impl Iterator<Item = &'a str>) -> Option<String> {
    let different: BTreeSet<String> = texts.map(regex::escape).collect();
    let different: Vec<String> = different.into_iter().collect();
    match different.as_slice() {
        [one] => Some(one.clone()),
        several if several.len() <= WORDS_MOST => Some(format!("(?:{})", several.join("|"))),
        _ => None,
    }
}

/// What stands behind the number, with the unit taken out of it where it is one that is known.
fn unit(behind: &[&str]) -> Option<(String, String, &'static str)> {
    let first = behind[0].trim_start();
    let word: String = first.chars().take_while(char::is_ascii_alphabetic).collect();
    let everywhere = behind.iter().all(|text| {
        let rest = text.trim_start().strip_prefix(&word);
        rest.is_some_and(|rest| !rest.starts_with(|it: char| it.is_ascii_alphanumeric()))
    });
    let key = word.to_ascii_lowercase();
    let quantity = match (mass_unit(&key), temperature_unit(&word)) {
        (Some(_), _) => "mass",
        (None, Some(_)) => "temperature",
        (None, None) => return Some((words(behind.iter().copied())?, String::new(), "mass")),
    };
    if !everywhere {
        return Some((words(behind.iter().copied())?, String::new(), quantity));
    }
    let blanks = words(behind.iter().map(|text| &text[..text.len() - text.trim_start().len()]))?;
    let rest = words(behind.iter().map(|text| &text.trim_start()[word.len()..]))?;
    let meant = if quantity == "mass" { key } else { word.clone() };
    let units = format!("units = {{ {word} = \"{meant}\" }}\n");
    Some((format!("{blanks}(?<unit>{word}){rest}"), units, quantity))
}

fn settings(line: Line) -> String {
    let parity = match line.parity {
        LineParity::None => "none",
        LineParity::Even => "even",
        LineParity::Odd => "odd",
    };
    format!(
        "[line]\nbaud = {}\ndata_bits = {}\nparity = \"{parity}\"\nstop_bits = {}\n",
        line.baud, line.data_bits, line.stop_bits
    )
}

/// What the draft reads of one line.
fn read(sheet: &Arc<Sheet>, line: &str, end: &[u8]) -> Option<String> {
    let mut decoder = Decoder::new(Arc::clone(sheet), channels(sheet));
    let frames = decoder.push_frames(Moment::from_nanos(0), &[end, line.as_bytes(), end].concat());
    let readings = frames.into_iter().find_map(|frame| frame.read.ok())?;
    readings.first().map(reading_words)
}

#[cfg(test)]
mod tests {
    use std::sync::LazyLock;

    use proptest::prelude::*;

    use super::*;
    use crate::wire::{Heard, SheetLibrary, lost_digit, rank};

    static LIBRARY: LazyLock<SheetLibrary> =
        LazyLock::new(|| SheetLibrary::built_in().unwrap_or_default());

    proptest! {
        /// Letters of which a line is made come often enough to reach the inner parts.
        #[test]
        fn no_bytes_panic(lines in prop::collection::vec("[0-9 .,+-gkST'\\[(\u{80}-\u{ff}]{0,9}", 0..9)) {
            let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
            let recording = recording(&lines);
            let _ = draft(&recording, Line::default());
            let _ = recording.impression().words();
        }

        #[test]
        fn no_recording_panics(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let heard = vec![Heard::Bytes { at: Moment::from_nanos(0), bytes }];
            let recording = Recording { heard, asked_by: None };
            let _ = rank(&recording, &LIBRARY);
            let _ = draft(&recording, Line::default());
        }
    }

    fn recording(lines: &[&str]) -> Recording {
        let text: String = lines.iter().map(|line| format!("{line}\r\n")).collect();
        let bytes = format!("half a line\r\n{text}").into_bytes();
        let at = Moment::from_nanos(0);
        Recording { heard: vec![Heard::Bytes { at, bytes }], asked_by: None }
    }

    fn drafted(lines: &[&str]) -> Option<Arc<Sheet>> {
        let text = draft(&recording(lines), Line { baud: 4800, ..Line::default() })?;
        Some(Arc::new(Sheet::read(Source { file: "draft", text: &text }).unwrap()))
    }

    #[test]
    fn a_draft_reads_the_lines_it_came_from_and_is_of_fixed_width() {
        let lines = ["GROSS:  100.5 g stable", "GROSS:   99.5 g moving", "GROSS: 1100.5 g stable"];
        let sheet = drafted(&lines).unwrap();
        assert_eq!(sheet.line.baud, 4800);
        assert!(check(&sheet).iter().all(|outcome| outcome.fault.is_none()));
        assert_eq!(check(&sheet).len(), 4);
        assert_eq!(lost_digit(&sheet), None);
        let reads = |line: &str| read(&sheet, line, b"\r\n");
        assert_eq!(reads("GROSS:   12.3 g moving").unwrap(), "12.3 g");
        assert_eq!(reads("GROSS:  12.3 g moving"), None);
    }

    #[test]
    fn signs_commas_words_and_probes_are_taken_as_they_came() {
        let sheet = drafted(&["K1 +041.7 C", "K1 -041.8 C", "K1 +041.9 C"]).unwrap();
        assert_eq!(read(&sheet, "K1 -004.5 C", b"\r\n").unwrap(), "-4.5 °C");
        // what the number means in a unit nobody knows is the maker's to say
        let text = draft(&recording(&["A 1.0 gr", "A 2.0 gr", "B 3.0 gr"]), Line::default());
        assert!(text.unwrap().contains("(?:A |B )(?<value>[ 0-9]{1}\\.[0-9]{1}) gr$"));
    }

    #[test]
    fn what_has_no_number_at_one_place_gives_no_draft() {
        assert!(drafted(&["hello there", "hello where", "hello where"]).is_none());
        assert!(drafted(&["1.5 g", "22.5 g"]).is_none());
        assert!(drafted(&[]).is_none());
    }
}
