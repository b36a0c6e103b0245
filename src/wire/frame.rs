use std::collections::VecDeque;

use super::modbus::Answer;
use super::sheet::{Check, Frame, LineParity, Shape};
use super::verify;
use crate::quantity::{Moment, Span};

/// Cuts a stream of bytes into frames. Holds no more than the sheet's longest frame.
#[derive(Clone, Debug)]
pub struct Framer {
    frame: Frame,
    check: Option<Check>,
    /// Modbus answers that may come now.
    due: Vec<Answer>,
    /// One of them comes, and no more.
    once: bool,
    held: Vec<u8>,
    /// Bytes before the one a frame could begin with.
    skipped: Vec<u8>,
    /// Bytes are thrown away until a frame can begin.
    resync: bool,
    /// How often in a row a frame of fixed length was not where it was looked for.
    sought: usize,
    /// When the last byte came; at first when the line was first looked at.
    last_at: Option<Moment>,
}

/// What came out of the stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cut {
    /// Arrival of its last byte.
    pub at: Moment,
    pub bytes: Vec<u8>,
    pub kind: CutKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CutKind {
    Frame,
    /// More bytes without an end than any frame has.
    TooLong,
    /// It stopped before its end, or another began inside it.
    Broken,
    /// No answer to what was asked.
    Unasked,
    /// A byte of it came with a wrong parity or stop bit.
    Damaged,
}

/// After so long without a byte no frame is under way: at 1200 bit/s a byte takes 9 ms.
const QUIET: Span = Span::from_millis(100);

impl Framer {
    pub fn new(frame: &Frame, check: Option<Check>, due: Vec<Answer>) -> Framer {
        let mut framer = Framer {
            frame: frame.clone(),
            check,
            due,
            once: false,
            held: Vec::new(),
            skipped: Vec::new(),
            resync: false,
            sought: 0,
            last_at: None,
        };
        framer.reset();
        framer
    }

    /// After the port was opened: what comes first may be the second half of a frame.
    pub fn reset(&mut self) {
        self.held.clear();
        self.skipped.clear();
        self.sought = 0;
        self.last_at = None;
        self.resync = self.begins_by_waiting();
    }

    /// Nothing but the end of one frame shows where the next begins.
    fn begins_by_waiting(&self) -> bool {
        match self.frame.shape {
            Shape::Ended { .. } | Shape::Idle { .. } => true,
            Shape::Fixed { start, pause, .. } => start.is_none() && pause.is_some(),
            Shape::Between { .. } | Shape::Report { .. } | Shape::Modbus => false,
        }
    }

    pub fn held(&self) -> usize {
        self.held.len() + self.skipped.len()
    }

    pub fn push(&mut self, at: Moment, bytes: &[u8], out: &mut Vec<Cut>) {
        self.pause_until(at, out);
        self.last_at = Some(at);
        if let Shape::Report { length, start } = self.frame.shape {
            let whole = bytes.first() == Some(&start) && bytes.len() >= length;
            let kind = if whole { CutKind::Frame } else { CutKind::Broken };
            let shown = bytes[..bytes.len().min(length)].to_vec();
            self.cut(at, shown, kind, out);
            return;
        }
        let mut waiting: VecDeque<u8> = bytes.iter().copied().collect();
        while let Some(byte) = waiting.pop_front() {
            let Some(byte) = self.seven_bits(byte) else {
                self.spoil(at, out);
                continue;
            };
            if byte == 0 && self.frame.skip_nul {
                continue;
            }
            // what a broken frame swallowed may hold the beginning of a whole one
            for byte in self.take(at, byte, out).into_iter().rev() {
                waiting.push_front(byte);
            }
        }
    }

    /// Time has passed without bytes: a frame that a pause ends is over. Whether anything changed.
    pub fn idle(&mut self, now: Moment, out: &mut Vec<Cut>) -> bool {
        let seen = |framer: &Framer| {
            (framer.resync, framer.held.len(), framer.skipped.len(), framer.last_at)
        };
        let before = seen(self);
        self.pause_until(now, out);
        self.last_at.get_or_insert(now);
        if self.held.is_empty() && !self.skipped.is_empty() && self.silent(now) >= QUIET {
            let bytes = std::mem::take(&mut self.skipped);
            self.cut(self.last_at.unwrap_or(now), bytes, CutKind::Unasked, out);
        }
        seen(self) != before
    }

    /// A byte came whose parity or stop bit was wrong. Nobody knows what it was: what it stood in
    /// is given up, for a line without one of its digits may read as a smaller load.
    pub fn damaged(&mut self, at: Moment, out: &mut Vec<Cut>) {
        self.pause_until(at, out);
        self.last_at = Some(at);
        self.spoil(at, out);
    }

    fn spoil(&mut self, at: Moment, out: &mut Vec<Cut>) {
        // without a start byte any byte stands in a frame
        let open = matches!(self.frame.shape, Shape::Ended { .. } | Shape::Idle { .. });
        if !self.resync && (open || !self.held.is_empty()) {
            let mut bytes = std::mem::take(&mut self.held);
            bytes.push(0);
            self.cut(at, bytes, CutKind::Damaged, out);
        }
        self.held.clear();
        self.skipped.clear();
        self.resync = self.begins_by_waiting();
    }

    /// A Modbus question was asked: one of these answers may come now, and what is left of the one
    /// before is noise.
    pub fn expect(&mut self, due: Vec<Answer>) {
        self.held.clear();
        self.skipped.clear();
        self.due = due;
        self.once = true;
    }

    /// `None` for a byte whose parity is wrong.
    fn seven_bits(&self, byte: u8) -> Option<u8> {
        let odd = byte.count_ones() % 2 == 1;
        match self.frame.bit_parity {
            LineParity::Even if odd => None,
            LineParity::Odd if !odd => None,
            _ if self.frame.seven_bits => Some(byte & 0x7f),
            _ => Some(byte),
        }
    }

    fn silent(&self, now: Moment) -> Span {
        self.last_at.map_or(Span::ZERO, |last| now.since(last))
    }

    fn pause_until(&mut self, now: Moment, out: &mut Vec<Cut>) {
        let (silent, last_at) = (self.silent(now), self.last_at.unwrap_or(now));
        match self.frame.shape {
            Shape::Idle { pause } if silent >= pause => {
                let whole = !std::mem::take(&mut self.resync);
                let bytes = std::mem::take(&mut self.held);
                if whole {
                    self.cut(last_at, bytes, CutKind::Frame, out);
                }
            }
            Shape::Fixed { pause: Some(pause), .. } if silent >= pause => {
                self.resync = false;
                let bytes = std::mem::take(&mut self.held);
                self.cut(last_at, bytes, CutKind::Broken, out);
            }
            // the line was quiet since it was opened: its first frame is whole
            Shape::Ended { .. } if self.held.is_empty() && silent >= QUIET => self.resync = false,
            _ => {}
        }
    }

    /// Takes one byte; gives back those that must be looked at again.
    fn take(&mut self, at: Moment, byte: u8, out: &mut Vec<Cut>) -> Vec<u8> {
        match self.frame.shape {
            Shape::Ended { .. } => {
                self.take_ended(at, byte, out);
                Vec::new()
            }
            Shape::Between { start, end, tail } => {
                self.take_between(at, byte, [start, end], tail, out)
            }
            Shape::Fixed { length, start, .. } => self.take_fixed(at, byte, length, start, out),
            Shape::Idle { .. } => {
                if !self.resync {
                    self.held.push(byte);
                    self.bound(at, out);
                }
                Vec::new()
            }
            // taken whole
            Shape::Report { .. } => Vec::new(),
            Shape::Modbus => self.take_modbus(at, byte, out),
        }
    }

    fn take_ended(&mut self, at: Moment, byte: u8, out: &mut Vec<Cut>) {
        let ends = matches!(&self.frame.shape, Shape::Ended { by } if by.contains(&byte));
        if ends {
            let partial = std::mem::take(&mut self.resync);
            if partial {
                self.held.clear();
            }
            // a line that ends with two bytes has an empty one between them
            let bytes = std::mem::take(&mut self.held);
            self.cut(at, bytes, CutKind::Frame, out);
        } else if !self.resync {
            self.held.push(byte);
            self.bound(at, out);
        }
    }

    fn take_between(
        &mut self,
        at: Moment,
        byte: u8,
        [start, end]: [u8; 2],
        tail: usize,
        out: &mut Vec<Cut>,
    ) -> Vec<u8> {
        let ended_at = self.held.iter().skip(1).position(|&held| held == end).map(|at| at + 1);
        if ended_at.is_none() && self.held.is_empty() && byte != start {
            return Vec::new();
        }
        if ended_at.is_none() && !self.held.is_empty() && byte == start && start != end {
            // the end of the one before was lost
            let bytes = std::mem::take(&mut self.held);
            self.cut(at, bytes, CutKind::Broken, out);
        }
        self.held.push(byte);
        let last = self.held.len() - 1;
        let end_at = ended_at.or((last > 0 && byte == end).then_some(last));
        if end_at.is_some_and(|end_at| last == end_at + tail) {
            return self.finish(at, out);
        }
        self.bound(at, out);
        Vec::new()
    }

    fn take_fixed(
        &mut self,
        at: Moment,
        byte: u8,
        length: usize,
        start: Option<u8>,
        out: &mut Vec<Cut>,
    ) -> Vec<u8> {
        if self.resync || (self.held.is_empty() && start.is_some_and(|start| byte != start)) {
            return Vec::new();
        }
        // without a check the start byte is the only proof of a beginning
        if self.check.is_none() && start == Some(byte) && !self.held.is_empty() {
            let bytes = std::mem::take(&mut self.held);
            self.cut(at, bytes, CutKind::Broken, out);
        }
        self.held.push(byte);
        if self.held.len() == length { self.finish(at, out) } else { Vec::new() }
    }

    fn take_modbus(&mut self, at: Moment, byte: u8, out: &mut Vec<Cut>) -> Vec<u8> {
        self.held.push(byte);
        let fits: Vec<usize> = self.due.iter().filter_map(|due| due.length(&self.held)).collect();
        if fits.is_empty() {
            // a driver that turns round leaves a stray byte; some adapters hear their own question
            let mut again = std::mem::take(&mut self.held);
            self.skipped.push(again.remove(0));
            if self.skipped.len() >= self.frame.longest {
                let bytes = std::mem::take(&mut self.skipped);
                self.cut(at, bytes, CutKind::Unasked, out);
            }
            return again;
        }
        if fits.contains(&self.held.len()) {
            self.skipped.clear();
            return self.finish(at, out);
        }
        Vec::new()
    }

    /// The frame has all its bytes. If its check fails, a whole one may have begun inside it.
    fn finish(&mut self, at: Moment, out: &mut Vec<Cut>) -> Vec<u8> {
        let bytes = std::mem::take(&mut self.held);
        let whole = verify::text(&self.frame.shape, self.check.as_ref(), &bytes).is_ok();
        let again = if whole { Vec::new() } else { bytes[1..].to_vec() };
        if whole && self.once {
            // here and not by whoever reads the frame: what came with it must not be told otherwise
            self.due.clear();
        }
        // a frame without a start is sought byte by byte: of each length one refusal is told
        let sought = matches!(self.frame.shape, Shape::Fixed { .. }) && !whole;
        let told = sought && !self.sought.is_multiple_of(bytes.len());
        self.sought = if sought { self.sought + 1 } else { 0 };
        if !told {
            self.cut(at, bytes, CutKind::Frame, out);
        }
        again
    }

    fn cut(&mut self, at: Moment, bytes: Vec<u8>, kind: CutKind, out: &mut Vec<Cut>) {
        if !bytes.is_empty() {
            out.push(Cut { at, bytes, kind });
        }
    }

    fn bound(&mut self, at: Moment, out: &mut Vec<Cut>) {
        if self.held.len() > self.frame.longest {
            let bytes = std::mem::take(&mut self.held);
            self.cut(at, bytes, CutKind::TooLong, out);
            self.resync = matches!(self.frame.shape, Shape::Ended { .. } | Shape::Idle { .. });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn framer(shape: Shape) -> Framer {
        let bit_parity = LineParity::None;
        let frame = Frame { shape, longest: 12, seven_bits: false, skip_nul: false, bit_parity };
        Framer::new(&frame, None, vec![Answer { unit_id: 5, function: 4, registers: 1 }])
    }

    fn cut(shape: Shape, pieces: &[&[u8]]) -> Vec<(CutKind, Vec<u8>)> {
        let mut framer = framer(shape);
        let mut out = Vec::new();
        for (index, piece) in pieces.iter().enumerate() {
            framer.push(Moment::from_nanos(index as i64 * 1_000_000), piece, &mut out);
        }
        out.into_iter().map(|cut| (cut.kind, cut.bytes)).collect()
    }

    fn frame(bytes: &[u8]) -> (CutKind, Vec<u8>) {
        (CutKind::Frame, bytes.to_vec())
    }

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    #[test]
    fn the_first_partial_line_is_dropped() {
        let shape = Shape::Ended { by: b"\r\n".to_vec() };
        assert_eq!(cut(shape.clone(), &[b"23.4\r\n12", b"3.4\r\n"]), [frame(b"123.4")]);
        assert_eq!(cut(shape, &[b"no end at all"]), []);
    }

    #[test]
    fn the_first_line_after_a_quiet_opening_is_whole() {
        let mut framer = framer(Shape::Ended { by: b"\r\n".to_vec() });
        let mut out = Vec::new();
        framer.idle(at(0), &mut out);
        framer.push(at(110), b"123.4\r\n", &mut out);
        assert_eq!(out, [Cut { at: at(110), bytes: b"123.4".to_vec(), kind: CutKind::Frame }]);
    }

    #[test]
    fn a_damaged_byte_stays_in_its_line() {
        // a parity error arrives as NUL; without it 123.4 would be 13.4
        let shape = Shape::Ended { by: b"\n".to_vec() };
        assert_eq!(cut(shape, &[b"\n1\x003.4\n"]), [frame(b"1\x003.4")]);
    }

    /// Whatever the shape, no frame is made of what lies on both sides of a damaged byte.
    #[test]
    fn a_frame_with_a_damaged_byte_is_given_up_and_the_next_is_read() {
        let ended = Shape::Ended { by: b"\n".to_vec() };
        let idle = Shape::Idle { pause: Span::from_millis(30) };
        let between = Shape::Between { start: 2, end: 3, tail: 0 };
        let fixed = Shape::Fixed { length: 6, start: Some(b'='), pause: None };
        let paused = Shape::Fixed { length: 3, start: None, pause: Some(Span::from_millis(30)) };
        let cases: [(Shape, [&[u8]; 4]); 5] = [
            (ended, [b"1", b"3.4\n", b"143.4\n", b"143.4"]),
            (idle, [b"1", b"3.4", b"143.4", b"143.4"]),
            (between, [b"\x021", b"3.4\x03", b"\x02143.4\x03", b"\x02143.4\x03"]),
            (fixed, [b"=1", b"3.4", b"=143.4", b"=143.4"]),
            (paused, [b"1", b"34", b"134", b"134"]),
        ];
        for (shape, [before, behind, next, whole]) in cases {
            let mut framer = framer(shape.clone());
            let mut out = Vec::new();
            framer.idle(at(0), &mut out);
            framer.idle(at(200), &mut out);
            framer.push(at(200), before, &mut out);
            framer.damaged(at(201), &mut out);
            framer.push(at(202), behind, &mut out);
            framer.push(at(300), next, &mut out);
            framer.idle(at(400), &mut out);
            let kinds: Vec<CutKind> = out.iter().map(|cut| cut.kind).collect();
            assert_eq!(kinds, [CutKind::Damaged, CutKind::Frame], "{shape:?}: {out:?}");
            assert_eq!(out[1].bytes, whole, "{shape:?}");
        }
    }

    #[test]
    fn a_line_without_end_is_bounded_and_the_next_is_read() {
        let shape = Shape::Ended { by: b"\n".to_vec() };
        let cuts = cut(shape, &[b"\n0123456789abcdefgh\n5.0\n"]);
        assert_eq!(cuts, [(CutKind::TooLong, b"0123456789abc".to_vec()), frame(b"5.0")]);
    }

    #[test]
    fn frames_between_bytes_carry_their_check() {
        let shape = Shape::Between { start: 2, end: 3, tail: 2 };
        let cuts = cut(shape.clone(), &[b"x\x02ab\x036", b"6\x02cd\x0366"]);
        assert_eq!(cuts, [frame(b"\x02ab\x0366"), frame(b"\x02cd\x0366")]);
        let cuts = cut(shape, &[b"\x02ab\x02cd\x0366"]);
        assert_eq!(cuts, [(CutKind::Broken, b"\x02ab".to_vec()), frame(b"\x02cd\x0366")]);
    }

    #[test]
    fn a_pause_ends_a_frame_and_the_first_is_dropped() {
        let mut framer = framer(Shape::Idle { pause: Span::from_millis(30) });
        let mut out = Vec::new();
        framer.push(at(0), b"9", &mut out);
        framer.push(at(40), b"12", &mut out);
        framer.push(at(60), b"34", &mut out);
        framer.idle(at(89), &mut out);
        assert_eq!(out, []);
        framer.idle(at(90), &mut out);
        // the reading is as old as its last byte, not as its pause
        assert_eq!(out, [Cut { at: at(60), bytes: b"1234".to_vec(), kind: CutKind::Frame }]);
    }

    #[test]
    fn a_fixed_frame_is_found_by_its_start() {
        let shape = Shape::Fixed { length: 4, start: Some(b'='), pause: None };
        let cuts = cut(shape, &[b"23=1.2=3=4.5"]);
        assert_eq!(cuts, [frame(b"=1.2"), (CutKind::Broken, b"=3".to_vec()), frame(b"=4.5")]);
    }

    #[test]
    fn a_modbus_answer_is_found_behind_noise_and_behind_the_question_itself() {
        let question = [0x05, 0x04, 0x00, 0x00, 0x00, 0x01, 0x30, 0x4e];
        let answer = [0x05, 0x04, 0x02, 0x00, 0xd9, 0x89, 0x6a];
        assert_eq!(cut(Shape::Modbus, &[&answer[..3], &answer[3..]]), [frame(&answer)]);
        assert_eq!(cut(Shape::Modbus, &[&[0, 0xff], &answer]), [frame(&answer)]);
        assert_eq!(cut(Shape::Modbus, &[&question, &answer]), [frame(&answer)]);
        let exception = [0x05, 0x84, 0x04, 0x03, 0x02];
        assert_eq!(cut(Shape::Modbus, &[&exception]), [frame(&exception)]);
    }

    /// Found by the fuzzer: noise in the same read as the answer was forgotten, and in a read of its
    /// own refused.
    #[test]
    fn noise_behind_a_modbus_answer_is_the_same_however_it_comes() {
        let answer = [0x05, 0x04, 0x02, 0x00, 0xd9, 0x89, 0x6a];
        let noise = [0x32, 0, 0, 0];
        let together = [&answer[..], &noise].concat();
        for pieces in [vec![&together[..]], vec![&answer[..], &noise]] {
            let mut framer = framer(Shape::Modbus);
            framer.expect(vec![Answer { unit_id: 5, function: 4, registers: 1 }]);
            let mut out = Vec::new();
            pieces.iter().for_each(|piece| framer.push(at(0), piece, &mut out));
            framer.idle(at(200), &mut out);
            let cuts: Vec<_> = out.into_iter().map(|cut| (cut.kind, cut.bytes)).collect();
            assert_eq!(cuts, [frame(&answer), (CutKind::Unasked, noise.to_vec())]);
            // and the answer to one question comes once
            let mut out = Vec::new();
            framer.push(at(300), &answer, &mut out);
            assert_eq!(out, []);
        }
    }
}
