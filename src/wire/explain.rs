//! Why an example of a sheet does not hold: which byte, which value, what was expected.

use std::collections::BTreeSet;

use regex::bytes::Regex;
use regex_automata::hybrid::dfa::DFA;
use regex_automata::util::syntax;
use regex_automata::{Anchored, Input};

use super::bytes::escape;
use super::decode::Refusal;
use super::sheet::{Field, Shape, Sheet};
use super::verify;

/// The readings one by one: where the lists differ, and in which part.
pub fn difference(wanted: &[String], found: &[String]) -> String {
    if wanted.len() != found.len() {
        let found = if found.is_empty() { "nothing".to_owned() } else { found.join(" and ") };
        return format!("expected {}, found {found}", wanted.join(" and "));
    }
    let pairs = wanted.iter().zip(found).enumerate().filter(|(_, (wanted, found))| wanted != found);
    let told = pairs.map(|(index, (wanted, found))| {
        let which = if found.len() > 1 && index > 0 {
            format!("reading {}: ", index + 1)
        } else {
            String::new()
        };
        format!("{which}expected {wanted}, found {found}")
    });
    told.collect::<Vec<_>>().join("; ")
}

/// Nothing at all came out: which mark of a frame did not come.
pub fn silence(sheet: &Sheet, bytes: &[u8]) -> String {
    let shown = |byte: u8| escape(&[byte]);
    match &sheet.frame.shape {
        Shape::Ended { by } if !bytes.iter().any(|byte| by.contains(byte)) => {
            format!("; the frame does not end: `ends_with` is `{}`", escape(by))
        }
        Shape::Between { start, .. } | Shape::Fixed { start: Some(start), .. }
            if !bytes.contains(start) =>
        {
            format!("; no frame begins: `starts_with` is `{}`", shown(*start))
        }
        Shape::Between { start, end, tail } => {
            let body = bytes.iter().position(|byte| byte == start).map_or(0, |at| at + 1);
            match bytes[body..].iter().position(|byte| byte == end) {
                None => format!("; the frame does not end: `ends_with` is `{}`", shown(*end)),
                Some(at) => format!(
                    "; behind the end byte come {} bytes, `check_bytes` is {tail}",
                    bytes.len() - body - at - 1
                ),
            }
        }
        Shape::Fixed { length, .. } => {
            format!("; there are {} bytes, `length` is {length}", bytes.len())
        }
        Shape::Modbus => "; it is no answer to the question, or it is not complete".to_owned(),
        Shape::Ended { .. } | Shape::Idle { .. } | Shape::Report { .. } => {
            "; the frame is known by `ignore`, or it is empty".to_owned()
        }
    }
}

/// More of a refused frame than its reason: for a frame that no pattern fits, the byte at which
/// the pattern that went farthest stops to fit; else what the sheet has in that place.
pub fn refusal(sheet: &Sheet, asked: Option<usize>, frame: &[u8], why: &Refusal) -> String {
    let known = |what: &str, words: Vec<String>| match words.as_slice() {
        [] => format!("; the sheet has no {what}"),
        words => format!("; its {what} knows {}", words.join(", ")),
    };
    let keys = |pick: fn(&Field) -> Vec<&String>| {
        let all: BTreeSet<&String> = sheet.fields.iter().flat_map(pick).collect();
        all.into_iter().map(|key| format!("`{}`", escape(key.as_bytes()))).collect()
    };
    match why {
        Refusal::NoPatternFits => farthest(sheet, asked, frame),
        Refusal::UnknownUnit(_) => known(
            "`units`",
            keys(|field| field.mass_units.keys().chain(field.temperature_units.keys()).collect()),
        ),
        Refusal::UnknownStatus(_) => known("`status`", keys(|it| it.statuses.keys().collect())),
        Refusal::TooLong => format!("; `longest` is {}", sheet.frame.longest),
        Refusal::BadChecksum { .. } => {
            let Some(check) = &sheet.check else { return String::new() };
            let written = if check.hex { " in hex digits" } else { "" };
            let skip = match check.skip {
                0 => String::new(),
                skip => format!(", the first {skip} bytes left out"),
            };
            format!("; reckoned as {}{written}{skip}", check.kind.words())
        }
        _ => String::new(),
    }
}

fn farthest(sheet: &Sheet, asked: Option<usize>, frame: &[u8]) -> String {
    let Ok(text) = verify::text(&sheet.frame.shape, sheet.check.as_ref(), frame) else {
        return String::new();
    };
    let begins = frame.len() - frame.len().min(text.len()) - tail(frame, text);
    let tried = sheet
        .fields
        .iter()
        .filter(|field| field.answer_to.is_none() || field.answer_to == asked)
        .filter_map(|field| Some((field, stop(field, text)?)));
    let Some((field, stop)) = tried.max_by_key(|(_, stop)| stop.at) else { return String::new() };
    let which = if field.source.is_empty() {
        format!("the pattern of line {}", field.line)
    } else {
        format!("the pattern of `{}` in line {}", field.source, field.line)
    };
    let found = match text.get(stop.at) {
        Some(b' ') => "a blank".to_owned(),
        Some(byte) => format!("`{}`", escape(&[*byte])),
        None => "the end of the frame".to_owned(),
    };
    format!(
        "; {which} fits up to `{}`; byte {} is {found}, expected {}",
        escape(&text[..stop.at.min(text.len())]),
        begins + stop.at + 1,
        stop.expected
    )
}

/// Bytes of the frame behind its text.
fn tail(frame: &[u8], text: &[u8]) -> usize {
    (0..=frame.len().saturating_sub(text.len()))
        .find(|&behind| frame[..frame.len() - behind].ends_with(text))
        .unwrap_or(0)
}

struct Stop {
    /// Bytes that fit.
    at: usize,
    /// What could have come there.
    expected: String,
}

/// Where a pattern stops to fit; `None` if it does not, or is too large to be stepped through.
fn stop(field: &Field, text: &[u8]) -> Option<Stop> {
    let dfa = stepper(&field.pattern)?;
    let mut cache = dfa.create_cache();
    let input = Input::new(text).anchored(Anchored::Yes);
    let mut state = dfa.start_state_forward(&mut cache, &input).ok()?;
    for (at, &byte) in text.iter().enumerate() {
        let next = dfa.next_state(&mut cache, state, byte).ok()?;
        if next.is_dead() {
            let allowed: Vec<bool> = (0..=u8::MAX)
                .map(|byte| {
                    dfa.next_state(&mut cache, state, byte).is_ok_and(|next| !next.is_dead())
                })
                .collect();
            let end = ends(&dfa, &mut cache, state);
            return Some(Stop { at, expected: bytes_words(&allowed, end) });
        }
        state = next;
    }
    if ends(&dfa, &mut cache, state) {
        return None;
    }
    let allowed: Vec<bool> = (0..=u8::MAX)
        .map(|byte| dfa.next_state(&mut cache, state, byte).is_ok_and(|next| !next.is_dead()))
        .collect();
    Some(Stop { at: text.len(), expected: bytes_words(&allowed, false) })
}

/// A pattern that can be stepped through byte by byte.
fn stepper(pattern: &Regex) -> Option<DFA> {
    DFA::builder()
        .syntax(syntax::Config::new().unicode(false).utf8(false).dot_matches_new_line(true))
        .thompson(regex_automata::nfa::thompson::Config::new().utf8(false))
        .build(pattern.as_str())
        .ok()
}

/// How much of a text that fits the pattern foretells, in bits: at each byte eight, less the
/// logarithm of how many others could have come there.
pub fn foretold(pattern: &Regex, text: &[u8]) -> f64 {
    let walk = || -> Option<f64> {
        let dfa = stepper(pattern)?;
        let mut cache = dfa.create_cache();
        let input = Input::new(text).anchored(Anchored::Yes);
        let mut state = dfa.start_state_forward(&mut cache, &input).ok()?;
        let mut bits = 0.0;
        for &byte in text {
            let mut allowed = 0_u32;
            for byte in 0..=u8::MAX {
                let next = dfa.next_state(&mut cache, state, byte).ok()?;
                allowed += u32::from(!next.is_dead());
            }
            state = dfa.next_state(&mut cache, state, byte).ok()?;
            if state.is_dead() {
                // matched before here: what follows is not foretold
                return Some(bits);
            }
            bits += 8.0 - f64::from(allowed.max(1)).log2();
        }
        Some(bits)
    };
    walk().unwrap_or(0.0)
}

/// The frame may end here.
fn ends(
    dfa: &DFA,
    cache: &mut regex_automata::hybrid::dfa::Cache,
    state: regex_automata::hybrid::LazyStateID,
) -> bool {
    dfa.next_eoi_state(cache, state).is_ok_and(|next| next.is_match())
}

/// `a digit, a blank, `.` or the end of the frame`.
fn bytes_words(allowed: &[bool], end: bool) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut rest: Vec<u8> = (0..=u8::MAX).filter(|&byte| allowed[usize::from(byte)]).collect();
    let mut class = |bytes: std::ops::RangeInclusive<u8>, name: &str| {
        if bytes.clone().all(|byte| rest.contains(&byte)) {
            rest.retain(|byte| !bytes.contains(byte));
            words.push(name.to_owned());
        }
    };
    class(0..=255, "any byte");
    class(b'0'..=b'9', "a digit");
    class(b'A'..=b'Z', "a capital letter");
    class(b'a'..=b'z', "a small letter");
    class(b' '..=b' ', "a blank");
    const SHOWN: usize = 12;
    words.extend(rest.iter().take(SHOWN).map(|&byte| format!("`{}`", escape(&[byte]))));
    if rest.len() > SHOWN {
        words.push("some others".to_owned());
    }
    if end {
        words.push("the end of the frame".to_owned());
    }
    match words.split_last() {
        None => "nothing more".to_owned(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
