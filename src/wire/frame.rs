use super::sheet::{Frame, Shape};
use crate::quantity::Moment;

/// Cuts a stream of bytes into frames. Holds no more than the sheet's longest frame.
#[derive(Clone, Debug)]
pub struct Framer {
    frame: Frame,
    held: Vec<u8>,
    /// Bytes are thrown away until a frame can begin.
    resync: bool,
    damaged: bool,
    last_at: Option<Moment>,
}

/// What came out of the stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cut {
    Frame(Vec<u8>),
    /// More bytes without an end than any frame has.
    TooLong(Vec<u8>),
    /// A byte came with a parity error: what is left of the frame is not what was sent.
    Damaged(Vec<u8>),
}

impl Framer {
    pub fn new(frame: &Frame) -> Framer {
        let mut framer = Framer {
            frame: frame.clone(),
            held: Vec::new(),
            resync: false,
            damaged: false,
            last_at: None,
        };
        framer.reset();
        framer
    }

    /// After the port was opened: what comes first may be the second half of a frame.
    pub fn reset(&mut self) {
        self.held.clear();
        self.damaged = false;
        self.last_at = None;
        self.resync = matches!(self.frame.shape, Shape::Ended { .. });
    }

    pub fn push(&mut self, at: Moment, bytes: &[u8], out: &mut Vec<Cut>) {
        if let Shape::Idle { pause } = self.frame.shape {
            let paused = self.last_at.is_some_and(|last| at.since(last) >= pause);
            if paused {
                self.finish(out);
            }
        }
        self.last_at = Some(at);
        for &byte in bytes {
            let byte = if self.frame.seven_bits { byte & 0x7f } else { byte };
            self.take(byte, out);
        }
    }

    /// Time has passed without bytes: a frame that a pause ends is over.
    pub fn idle(&mut self, now: Moment, out: &mut Vec<Cut>) {
        if let Shape::Idle { pause } = self.frame.shape
            && self.last_at.is_some_and(|last| now.since(last) >= pause)
        {
            self.finish(out);
        }
    }

    /// A Modbus answer is awaited anew: what is left of the one before is noise.
    pub fn discard(&mut self) {
        self.held.clear();
    }

    fn take(&mut self, byte: u8, out: &mut Vec<Cut>) {
        match self.frame.shape.clone() {
            Shape::Ended { by } => self.take_ended(byte, &by, out),
            Shape::Between { start, end, tail } => self.take_between(byte, start, end, tail, out),
            Shape::Fixed { length, start } => {
                if self.held.is_empty() && start.is_some_and(|start| byte != start) {
                    return;
                }
                self.held.push(byte);
                if self.held.len() == length {
                    self.finish(out);
                }
            }
            Shape::Idle { .. } => {
                self.held.push(byte);
                self.bound(out);
            }
            Shape::Modbus => {
                self.held.push(byte);
                if modbus_length(&self.held).is_some_and(|length| self.held.len() >= length) {
                    self.finish(out);
                }
                self.bound(out);
            }
        }
    }

    fn take_ended(&mut self, byte: u8, by: &[u8], out: &mut Vec<Cut>) {
        if by.contains(&byte) {
            let partial = std::mem::take(&mut self.resync);
            let damaged = std::mem::take(&mut self.damaged);
            if partial {
                self.held.clear();
            } else if damaged {
                out.push(Cut::Damaged(std::mem::take(&mut self.held)));
            }
            // a line that ends with two bytes has an empty one between them
            if !self.held.is_empty() {
                self.finish(out);
            }
        } else if !self.resync {
            // a byte with a parity error arrives as NUL; no text has one
            self.damaged |= byte == 0;
            self.held.push(byte);
            self.bound(out);
        }
    }

    fn take_between(&mut self, byte: u8, start: u8, end: u8, tail: usize, out: &mut Vec<Cut>) {
        let ended_at = self.held.iter().position(|&held| held == end);
        match ended_at {
            // a start byte inside means that the end of the one before was lost
            None if byte == start => {
                if !self.held.is_empty() {
                    out.push(Cut::TooLong(std::mem::take(&mut self.held)));
                }
                self.held.push(byte);
            }
            None if self.held.is_empty() => {}
            _ => {
                self.held.push(byte);
                let end_at = ended_at.or((byte == end).then_some(self.held.len() - 1));
                if end_at.is_some_and(|end_at| self.held.len() == end_at + 1 + tail) {
                    self.finish(out);
                }
                self.bound(out);
            }
        }
    }

    fn finish(&mut self, out: &mut Vec<Cut>) {
        if !self.held.is_empty() {
            out.push(Cut::Frame(std::mem::take(&mut self.held)));
        }
    }

    fn bound(&mut self, out: &mut Vec<Cut>) {
        if self.held.len() > self.frame.longest {
            out.push(Cut::TooLong(std::mem::take(&mut self.held)));
            self.resync = matches!(self.frame.shape, Shape::Ended { .. });
        }
    }
}

/// How long a Modbus RTU answer is, once enough of it is there to tell: exceptions have five
/// bytes, readings say their byte count.
fn modbus_length(held: &[u8]) -> Option<usize> {
    match held {
        [_, function, ..] if function & 0x80 != 0 => Some(5),
        [_, _, count, ..] => Some(usize::from(*count) + 5),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Span;

    fn cut(shape: Shape, pieces: &[&[u8]]) -> Vec<Cut> {
        let mut framer = Framer::new(&Frame { shape, longest: 12, seven_bits: false });
        let mut out = Vec::new();
        for (index, piece) in pieces.iter().enumerate() {
            framer.push(Moment::from_nanos(index as i64 * 1_000_000), piece, &mut out);
        }
        out
    }

    fn frame(bytes: &[u8]) -> Cut {
        Cut::Frame(bytes.to_vec())
    }

    #[test]
    fn the_first_partial_line_is_dropped() {
        let shape = Shape::Ended { by: b"\r\n".to_vec() };
        assert_eq!(cut(shape.clone(), &[b"23.4\r\n12", b"3.4\r\n"]), [frame(b"123.4")]);
        assert_eq!(cut(shape, &[b"no end at all"]), []);
    }

    #[test]
    fn a_line_without_end_is_bounded_and_the_next_is_read() {
        let shape = Shape::Ended { by: b"\n".to_vec() };
        let cuts = cut(shape, &[b"\n0123456789abcdefgh\n5.0\n"]);
        assert_eq!(cuts, [Cut::TooLong(b"0123456789abc".to_vec()), frame(b"5.0")]);
    }

    #[test]
    fn frames_between_bytes_carry_their_check() {
        let shape = Shape::Between { start: 2, end: 3, tail: 2 };
        let cuts = cut(shape.clone(), &[b"x\x02ab\x036", b"6\x02cd\x0366"]);
        assert_eq!(cuts, [frame(b"\x02ab\x0366"), frame(b"\x02cd\x0366")]);
        let cuts = cut(shape, &[b"\x02ab\x02cd\x0366"]);
        assert_eq!(cuts, [Cut::TooLong(b"\x02ab".to_vec()), frame(b"\x02cd\x0366")]);
    }

    /// Without the digit that was lost, 143.0 would read as 43.0.
    #[test]
    fn a_frame_with_a_lost_byte_is_damaged() {
        let shape = Shape::Ended { by: b"\r\n".to_vec() };
        let cuts = cut(shape, &[b"\r\n+00\x0043.0\r\n+00143.0\r\n"]);
        assert_eq!(cuts, [Cut::Damaged(b"+00\x0043.0".to_vec()), frame(b"+00143.0")]);
    }

    #[test]
    fn a_pause_ends_a_frame() {
        let shape = Shape::Idle { pause: Span::from_millis(30) };
        let mut framer = Framer::new(&Frame { shape, longest: 12, seven_bits: false });
        let at = |ms| Moment::from_nanos(0) + Span::from_millis(ms);
        let mut out = Vec::new();
        framer.push(at(0), b"12", &mut out);
        framer.push(at(20), b"34", &mut out);
        framer.idle(at(49), &mut out);
        assert_eq!(out, []);
        framer.idle(at(50), &mut out);
        assert_eq!(out, [frame(b"1234")]);
    }

    #[test]
    fn modbus_answers_say_how_long_they_are() {
        let answer = [0x05, 0x04, 0x02, 0x00, 0xd9, 0x89, 0x6a];
        assert_eq!(cut(Shape::Modbus, &[&answer[..3], &answer[3..]]), [frame(&answer)]);
        let exception = [0x05, 0x83, 0x02, 0x81, 0x30];
        assert_eq!(cut(Shape::Modbus, &[&exception]), [frame(&exception)]);
    }
}
