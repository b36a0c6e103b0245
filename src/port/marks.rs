/// Takes the driver's marks out of what a port delivers (termios(3), PARMRK).
///
/// With marks on, a byte with a wrong parity or stop bit arrives as `FF 00` and the byte, a break
/// as `FF 00 00`, and an `FF` that was really sent as `FF FF`. Without them a driver would slip in a
/// NUL, or, where no parity is set, leave the byte out without a word: 143.0 would read as 43.0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Marks {
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// The driver takes no marks, or the port is no line.
    Off,
    Plain,
    /// After `FF`.
    Marked,
    /// After `FF 00`.
    Damage,
}

/// A part of what came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Piece {
    Bytes(Vec<u8>),
    /// One byte that came with a wrong parity or stop bit; nobody knows what it was.
    Damaged,
}

const MARK: u8 = 0xff;

impl Marks {
    pub const fn new(on: bool) -> Marks {
        Marks { state: if on { State::Plain } else { State::Off } }
    }

    /// A mark may be cut in two by the end of a read; the rest comes with the next.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<Piece> {
        if self.state == State::Off {
            return vec![Piece::Bytes(bytes.to_vec())];
        }
        let mut pieces = Vec::new();
        let mut plain = Vec::with_capacity(bytes.len());
        for &byte in bytes {
            self.state = match (self.state, byte) {
                (State::Plain | State::Off, MARK) => State::Marked,
                (State::Plain | State::Off, _) => {
                    plain.push(byte);
                    State::Plain
                }
                (State::Marked, 0) => State::Damage,
                // `FF FF` is one `FF`; anything else after `FF` no driver sends
                (State::Marked, _) => {
                    plain.push(byte);
                    State::Plain
                }
                (State::Damage, _) => {
                    if !plain.is_empty() {
                        pieces.push(Piece::Bytes(std::mem::take(&mut plain)));
                    }
                    pieces.push(Piece::Damaged);
                    State::Plain
                }
            };
        }
        if !plain.is_empty() {
            pieces.push(Piece::Bytes(plain));
        }
        pieces
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(bytes: &[u8]) -> Piece {
        Piece::Bytes(bytes.to_vec())
    }

    /// The three cases of termios(3), PARMRK.
    #[test]
    fn damage_breaks_and_real_bytes_are_told_apart() {
        let mut marks = Marks::new(true);
        let came = b"+00\xff\x00\x3143.0\xff\xff\xff\x00\x00.";
        let parts =
            [bytes(b"+00"), Piece::Damaged, bytes(b"43.0\xff"), Piece::Damaged, bytes(b".")];
        assert_eq!(marks.take(came), parts);
    }

    #[test]
    fn a_mark_may_be_cut_anywhere() {
        let came = b"1\xff\x00\x312\xff\xff3";
        for first in 0..came.len() {
            for second in first..came.len() {
                let mut marks = Marks::new(true);
                let cuts = [&came[..first], &came[first..second], &came[second..]];
                let mut plain = Vec::new();
                for piece in cuts.into_iter().flat_map(|cut| marks.take(cut)) {
                    match piece {
                        Piece::Bytes(bytes) => plain.extend(bytes),
                        Piece::Damaged => plain.push(b'?'),
                    }
                }
                assert_eq!(plain, b"1?2\xff3");
            }
        }
    }

    #[test]
    fn without_marks_every_byte_is_itself() {
        assert_eq!(Marks::new(false).take(b"\xff\x00\x31"), [bytes(b"\xff\x00\x31")]);
    }
}
