use super::bytes::escape;
use super::sheet::{Commands, Flow};
use super::sheet::{Frame, Line, LineParity, Shape, Sheet, Talk};
use crate::quantity::{Moment, Span};

/// What was heard on a port at one setting of its line, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    pub heard: Vec<Heard>,
    /// The sheet whose questions were asked.
    pub asked_by: Option<String>,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Heard {
    Bytes {
        at: Moment,
        bytes: Vec<u8>,
    },
    /// A byte with a wrong parity or stop bit.
    Damaged {
        at: Moment,
    },
    Asked {
        at: Moment,
        question: usize,
    },
    /// Nothing had come until then.
    Quiet {
        at: Moment,
    },
}

/// What was heard, in numbers and words that help to choose a line setting or to write a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Impression {
    pub bytes: usize,
    pub damaged: usize,
    /// Of the bytes, those that are printable text, CR, LF or TAB. Percent.
    pub text_percent: usize,
    /// As much, when the eighth bit is cleared: high where that of seven bits is read as eight.
    pub text_percent_of_seven_bits: usize,
    /// The bytes that end the lines; empty when there are none.
    pub ending: String,
    /// A few whole lines, or the first bytes where there are no lines.
    pub samples: Vec<String>,
}

const SAMPLES: usize = 4;
/// Bytes shown of something without lines.
const SAMPLE_BYTES: usize = 32;

impl Recording {
    pub fn began(&self) -> Option<Moment> {
        self.heard.first().map(|heard| match heard {
            Heard::Bytes { at, .. }
            | Heard::Damaged { at }
            | Heard::Asked { at, .. }
            | Heard::Quiet { at } => *at,
        })
    }

    pub fn byte_count(&self) -> usize {
        let count = |heard: &Heard| match heard {
            Heard::Bytes { bytes, .. } => bytes.len(),
            _ => 0,
        };
        self.heard.iter().map(count).sum()
    }

    pub fn damaged_count(&self) -> usize {
        self.heard.iter().filter(|heard| matches!(heard, Heard::Damaged { .. })).count()
    }

    fn bytes(&self) -> Vec<u8> {
        let bytes = self.heard.iter().filter_map(|heard| match heard {
            Heard::Bytes { bytes, .. } => Some(bytes.as_slice()),
            _ => None,
        });
        bytes.collect::<Vec<_>>().concat()
    }

    /// The bytes that end its lines; empty when there are none.
    pub(super) fn line_end(&self) -> &'static [u8] {
        ending(&self.bytes())
    }

    /// Whole lines, without their ends: neither the first, which may have begun before, nor the
    /// last.
    pub(super) fn lines(&self) -> Vec<Vec<u8>> {
        let (bytes, end) = (self.bytes(), self.line_end());
        let mut lines: Vec<&[u8]> = bytes.split(|byte| end.contains(byte)).skip(1).collect();
        lines.pop();
        lines.into_iter().filter(|line| !line.is_empty()).map(<[u8]>::to_vec).collect()
    }

    pub fn impression(&self) -> Impression {
        let bytes = self.bytes();
        let percent = |count: usize| (count * 100).checked_div(bytes.len()).unwrap_or(0);
        let is_text = |byte: u8| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t');
        let ending = ending(&bytes);
        let samples = if ending.is_empty() {
            bytes.chunks(SAMPLE_BYTES).take(1).map(escape).collect()
        } else {
            let lines = self.lines().into_iter().filter(|line| line.len() <= 2 * SAMPLE_BYTES);
            lines.take(SAMPLES).map(|line| escape(&line)).collect()
        };
        Impression {
            bytes: bytes.len(),
            damaged: self.damaged_count(),
            text_percent: percent(bytes.iter().filter(|&&byte| is_text(byte)).count()),
            text_percent_of_seven_bits: percent(
                bytes.iter().filter(|&&byte| is_text(byte & 0x7f)).count(),
            ),
            ending: escape(ending),
            samples,
        }
    }
}

impl Impression {
    /// A line each.
    pub fn words(&self) -> Vec<String> {
        /// Less text than this is no text. Percent; ours.
        const TEXT_FROM: usize = 90;
        let mut lines = Vec::new();
        if self.damaged * 10 > self.bytes {
            lines.push(format!(
                "{} bytes came with a wrong parity or stop bit: the speed, the bits or the parity is \
                 wrong",
                self.damaged
            ));
        }
        let text = self.text_percent;
        lines.push(if text >= TEXT_FROM && !self.ending.is_empty() {
            format!("{text} % of it is text, in lines that end with `{}`", self.ending)
        } else if text >= TEXT_FROM {
            format!("{text} % of it is text, without line ends")
        } else if self.text_percent_of_seven_bits >= TEXT_FROM {
            format!(
                "{text} % of it is text, {} % with the eighth bit cleared: it has seven data bits \
                 and a parity",
                self.text_percent_of_seven_bits
            )
        } else {
            format!("{text} % of it is text: it is binary, or the speed is wrong")
        });
        lines.extend(self.samples.iter().map(|sample| format!("`{sample}`")));
        lines
    }
}

/// The line ends in use: those that occur more than once.
fn ending(bytes: &[u8]) -> &'static [u8] {
    let pairs = bytes.windows(2).filter(|pair| pair == b"\r\n").count();
    let count = |end: u8| bytes.iter().filter(|&&byte| byte == end).count();
    match (pairs, count(b'\r'), count(b'\n')) {
        (2.., _, _) => b"\r\n",
        (_, _, 2..) => b"\n",
        (_, 2.., _) => b"\r",
        _ => b"",
    }
}

impl Line {
    /// "9600 baud, 8 bits, no parity, 1 stop bit".
    pub fn words(&self) -> String {
        let parity = match self.parity {
            LineParity::None => "no parity",
            LineParity::Even => "even parity",
            LineParity::Odd => "odd parity",
        };
        let stop = if self.stop_bits == 1 { "1 stop bit" } else { "2 stop bits" };
        format!("{} baud, {} bits, {parity}, {stop}", self.baud, self.data_bits)
    }
}

impl Sheet {
    /// Reads nothing: for a port of which only the bytes are wanted.
    pub fn of_nothing(line: Line, reports: bool) -> Sheet {
        const PAUSE: Span = Span::from_millis(50);
        let shape = if reports {
            Shape::Report { length: 1, start: 0 }
        } else {
            Shape::Idle { pause: PAUSE }
        };
        let (seven_bits, skip_nul) = (false, false);
        let bit_parity = LineParity::None;
        Sheet {
            name: "nothing".to_owned(),
            about: String::new(),
            line: Line { flow: Flow::None, ..line },
            talk: Talk::OnKey,
            frame: Frame {
                shape,
                longest: super::sheet::LONGEST_MAX,
                seven_bits,
                skip_nul,
                bit_parity,
            },
            check: None,
            fields: Vec::new(),
            modbus: Vec::new(),
            ignore: Vec::new(),
            commands: Commands::default(),
            examples: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn impression(bytes: &[u8]) -> Impression {
        let heard = vec![Heard::Bytes { at: Moment::from_nanos(0), bytes: bytes.to_vec() }];
        Recording { heard, asked_by: None }.impression()
    }

    #[test]
    fn text_binary_and_seven_bits_are_told_apart() {
        let lines = impression(b"5 g\r\nGROSS 12.5 g\r\nGROSS 12.6 g\r\nGR");
        assert_eq!(lines.ending, "\\r\\n");
        let words = ["100 % of it is text, in lines that end with `\\r\\n`", "`GROSS 12.5 g`"];
        assert_eq!(lines.words()[..2], words);
        let seven = impression(&[0xd3, 0xd4, 0x2c, 0xb1, 0xb2, 0x8d, 0x0a]);
        assert!(seven.words()[0].ends_with("it has seven data bits and a parity"));
        let binary = impression(&[0x81, 0x00, 0xfe, 0x07, 0x93, 0x11]);
        assert!(binary.words()[0].ends_with("it is binary, or the speed is wrong"));
        assert_eq!(binary.samples, ["\\x81\\x00\\xFE\\x07\\x93\\x11"]);
    }

    #[test]
    fn much_damage_is_said_first() {
        let damaged = Heard::Damaged { at: Moment::from_nanos(0) };
        let recording = Recording { heard: vec![damaged; 7], asked_by: None };
        assert!(recording.impression().words()[0].starts_with("7 bytes came with a wrong parity"));
    }
}
