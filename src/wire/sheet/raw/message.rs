//! Who speaks, where a message begins and ends, and how it proves itself.

use serde::Deserialize;

use super::super::super::bytes::unescape;
use super::super::super::checksum::Checksum;
use super::super::{Check, Frame, LONGEST_MAX, LineParity, Shape, Talk};
use crate::problem::{Problem, Source};
use crate::quantity::Span;

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct RawTalk {
    style: RawStyle,
    query: Vec<String>,
    every: Option<toml::Spanned<String>>,
    timeout: Option<toml::Spanned<String>>,
}

#[derive(Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum RawStyle {
    #[default]
    Streams,
    Answers,
    OnKey,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawFrame {
    ends_with: Option<String>,
    starts_with: Option<String>,
    length: Option<usize>,
    pause: Option<String>,
    #[serde(default)]
    modbus: bool,
    #[serde(default)]
    check_bytes: usize,
    longest: Option<usize>,
    #[serde(default)]
    seven_bits: bool,
    #[serde(default)]
    skip_nul: bool,
    #[serde(default)]
    bit_parity: LineParity,
    /// One read of the device is one frame, as with USB reports.
    #[serde(default)]
    report: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawCheck {
    kind: Checksum,
    #[serde(default)]
    hex: bool,
    #[serde(default)]
    skip: usize,
    mark: Option<String>,
    #[serde(default)]
    marks: bool,
}

impl RawCheck {
    pub(super) fn checked(self) -> Check {
        Check {
            kind: self.kind,
            hex: self.hex,
            skip: self.skip,
            mark: self.mark.and_then(|mark| mark.bytes().next()),
            marks: self.marks,
        }
    }
}

impl RawTalk {
    pub(super) fn check(&self, source: Source<'_>, problems: &mut Vec<Problem>) -> Option<Talk> {
        let mut span = |value: &Option<toml::Spanned<String>>, field: &str, default: Span| {
            let Some(value) = value else { return Some(default) };
            match Span::parse(value.get_ref()) {
                Ok(span) if span >= Span::from_millis(20) && span <= Span::from_minutes(10) => {
                    Some(span)
                }
                Ok(_) => {
                    let found = format!("`{}`", value.get_ref());
                    let expected = "20 ms to 10 min";
                    problems.push(source.problem(Some(value.span()), field, found, expected, ""));
                    None
                }
                Err(error) => {
                    let found = error.to_string();
                    let expected = "a length of time, like `250 ms`";
                    problems.push(source.problem(Some(value.span()), field, found, expected, ""));
                    None
                }
            }
        };
        let every = span(&self.every, "talk.every", Span::from_millis(250));
        let timeout = span(&self.timeout, "talk.timeout", Span::from_secs(1));
        Some(match self.style {
            RawStyle::Streams => Talk::Streams,
            RawStyle::OnKey => Talk::OnKey,
            RawStyle::Answers => {
                let queries: Result<Vec<_>, _> = self.query.iter().map(|q| unescape(q)).collect();
                match queries {
                    Ok(queries) => Talk::Answers { queries, every: every?, timeout: timeout? },
                    Err(why) => {
                        let advice = "write bytes like `W\\r\\n` or `\\x05`";
                        problems.push(source.problem(None, "talk.query", why, "bytes", advice));
                        return None;
                    }
                }
            }
        })
    }
}

impl RawFrame {
    pub(super) fn check(
        &self,
        source: Source<'_>,
        place: std::ops::Range<usize>,
        problems: &mut Vec<Problem>,
    ) -> Option<Frame> {
        let bytes = |text: &Option<String>| text.as_deref().map(unescape).transpose();
        let mut refuse = |field: &str, found: String, expected: &str| {
            problems.push(source.problem(Some(place.clone()), field, found, expected, ""));
        };
        let (ends, starts) = match (bytes(&self.ends_with), bytes(&self.starts_with)) {
            (Ok(ends), Ok(starts)) => (ends, starts),
            (Err(why), _) | (_, Err(why)) => {
                refuse("frame", why, "bytes like `\\r\\n` or `\\x02`");
                return None;
            }
        };
        let pause = match self.pause.as_deref().map(Span::parse).transpose() {
            Ok(pause) => pause,
            Err(error) => {
                refuse("frame.pause", error.to_string(), "a length of time, like `30 ms`");
                return None;
            }
        };
        let start = starts.as_deref().and_then(|bytes| bytes.first().copied());
        let shape = match (self.modbus, ends.as_deref(), start, self.length, pause) {
            (true, None, None, None, None) => Shape::Modbus,
            (false, Some([end]), Some(start), None, None) => {
                Shape::Between { start, end: *end, tail: self.check_bytes }
            }
            (false, Some(by), None, None, None) if !by.is_empty() => {
                Shape::Ended { by: by.to_vec() }
            }
            (false, None, Some(start), Some(length @ 1..=LONGEST_MAX), None) if self.report => {
                Shape::Report { length, start }
            }
            (false, None, start, Some(length), pause) if (1..=LONGEST_MAX).contains(&length) => {
                Shape::Fixed { length, start, pause }
            }
            (false, None, None, None, Some(pause)) => Shape::Idle { pause },
            _ => {
                let expected = "one of: ends_with; starts_with and a single byte ends_with; \
                                length (and starts_with, pause); pause; modbus = true";
                refuse("frame", "another combination".to_owned(), expected);
                return None;
            }
        };
        if self.bit_parity != LineParity::None && !self.seven_bits {
            refuse("frame.bit_parity", "eight bits".to_owned(), "seven_bits = true");
        }
        let longest = self.longest.unwrap_or(96);
        if !(1..=LONGEST_MAX).contains(&longest) {
            refuse("frame.longest", longest.to_string(), "1 to 1024 bytes");
            return None;
        }
        let longest = match shape {
            Shape::Modbus => 256,
            Shape::Fixed { length, .. } | Shape::Report { length, .. } => length,
            _ => longest,
        };
        Some(Frame {
            shape,
            longest,
            seven_bits: self.seven_bits,
            skip_nul: self.skip_nul,
            bit_parity: self.bit_parity,
        })
    }
}
