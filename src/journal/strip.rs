//! Strips of the byte tape: what happened to each instrument's decoder, and what the bench took.
//!
//! ```text
//! CRC-32 of all that follows, deflated: version, then pieces until the end
//! ```

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::sync::Arc;

use flate2::Compression;
use flate2::Crc;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;

use crate::bench::Input;
use crate::quantity::Moment;
use crate::replay::{Mark, Piece, Taken};

use super::JournalError;
use super::blocks::{put, put_signed, take, take_signed};

const VERSION: u64 = 1;
/// Inflated, no strip is larger than this. The writer begins a new one at a sixteenth of it.
pub const INFLATED_MAX: usize = 1 << 20;
/// A control recipe has some ten thousand bytes; no act of a person is larger than this.
const INPUT_MAX: usize = INFLATED_MAX / 4;

/// A strip under way: packed as it comes, deflated when it is written.
#[derive(Clone, Debug)]
pub struct Packer {
    plain: Vec<u8>,
    last_at: i64,
    first_ns: i64,
    last_ns: i64,
    /// Instruments named in this strip, in their order, each with its last item's number.
    named: Vec<(Arc<str>, u64)>,
}

impl Packer {
    pub fn new() -> Packer {
        let mut plain = Vec::new();
        put(&mut plain, VERSION);
        Packer { plain, last_at: 0, first_ns: i64::MAX, last_ns: i64::MIN, named: Vec::new() }
    }

    /// Bytes so far, not deflated.
    pub fn len(&self) -> usize {
        self.plain.len()
    }

    /// Its first and last moment.
    pub fn span(&self) -> (i64, i64) {
        if self.first_ns > self.last_ns { (0, 0) } else { (self.first_ns, self.last_ns) }
    }

    pub fn piece(&mut self, piece: &Piece) {
        let kind = match &piece.mark {
            Mark::Bytes(_) => 0,
            Mark::Opened => 1,
            Mark::Asked { .. } => 2,
            Mark::Quiet => 3,
            Mark::Missing => 4,
            Mark::Damaged => 5,
        };
        put(&mut self.plain, kind);
        self.at(piece.at);
        match &piece.mark {
            Mark::Bytes(bytes) => self.bytes(bytes),
            Mark::Asked { question } => put(&mut self.plain, *question as u64),
            Mark::Opened | Mark::Quiet | Mark::Missing | Mark::Damaged => {}
        }
    }

    /// # Errors
    /// When an input cannot be written as JSON, which is never so.
    pub fn taken(&mut self, taken: &Taken) -> Result<(), JournalError> {
        match taken {
            Taken::Item { instrument, number, at } => {
                put(&mut self.plain, u64::from(at.is_some()));
                self.item(instrument, *number);
                if let Some(at) = at {
                    self.at(*at);
                }
            }
            Taken::Input { at, input: Input::Tick } => {
                put(&mut self.plain, 2);
                self.at(*at);
            }
            Taken::Input { at, input } => {
                let body = serde_json::to_vec(input)
                    .map_err(|_| JournalError::UnreadableBlock("an input cannot be written"))?;
                if body.len() > INPUT_MAX {
                    return self.taken(&Taken::Missing { at: *at });
                }
                put(&mut self.plain, 3);
                self.at(*at);
                self.bytes(&body);
            }
            Taken::Missing { at } => {
                put(&mut self.plain, 4);
                self.at(*at);
            }
        }
        Ok(())
    }

    fn item(&mut self, instrument: &Arc<str>, number: u64) {
        let place = self.named.iter().position(|(name, _)| name == instrument);
        let place = place.unwrap_or_else(|| {
            self.named.push((Arc::clone(instrument), 0));
            self.named.len() - 1
        });
        let new = self.named[place].1 == 0;
        put(&mut self.plain, (place as u64) << 1 | u64::from(new));
        if new {
            let name = Arc::clone(instrument);
            self.bytes(name.as_bytes());
        }
        // counted from one here, so that zero stays free for "not named yet"
        let last = std::mem::replace(&mut self.named[place].1, number + 1);
        put_signed(&mut self.plain, (number + 1).wrapping_sub(last) as i64);
    }

    fn at(&mut self, at: Moment) {
        let at = at.nanos();
        put_signed(&mut self.plain, at.wrapping_sub(self.last_at));
        self.last_at = at;
        self.first_ns = self.first_ns.min(at);
        self.last_ns = self.last_ns.max(at);
    }

    fn bytes(&mut self, bytes: &[u8]) {
        put(&mut self.plain, bytes.len() as u64);
        self.plain.extend_from_slice(bytes);
    }

    /// As it is stored.
    pub fn body(&self) -> std::io::Result<Vec<u8>> {
        let mut deflate = DeflateEncoder::new(vec![0; 4], Compression::default());
        deflate.write_all(&self.plain)?;
        let mut body = deflate.finish()?;
        let check = crc32(&body[4..]).to_be_bytes();
        body[..4].copy_from_slice(&check);
        Ok(body)
    }
}

/// The pieces of a stored strip of an instrument.
pub fn pieces(body: &[u8]) -> Result<Vec<Piece>, JournalError> {
    let plain = inflate(body)?;
    let input = &mut plain.as_slice();
    let (mut pieces, mut at) = (Vec::new(), 0_i64);
    while !input.is_empty() {
        let kind = take(input)?;
        at = at.wrapping_add(take_signed(input)?);
        let mark = match kind {
            0 => Mark::Bytes(take_slice(input)?.to_vec()),
            1 => Mark::Opened,
            2 => Mark::Asked { question: usize::try_from(take(input)?).unwrap_or(usize::MAX) },
            3 => Mark::Quiet,
            4 => Mark::Missing,
            5 => Mark::Damaged,
            _ => return Err(JournalError::UnreadableBlock("unknown piece of tape")),
        };
        pieces.push(Piece { at: Moment::from_nanos(at), mark });
    }
    Ok(pieces)
}

/// What the bench took, as a stored strip has it.
pub fn taken(body: &[u8]) -> Result<Vec<Taken>, JournalError> {
    let plain = inflate(body)?;
    let input = &mut plain.as_slice();
    let (mut all, mut at) = (Vec::new(), 0_i64);
    let mut named: BTreeMap<u64, (Arc<str>, u64)> = BTreeMap::new();
    while !input.is_empty() {
        let kind = take(input)?;
        let item = if kind < 2 { Some(take_item(input, &mut named)?) } else { None };
        let moment = if kind == 0 {
            None
        } else {
            at = at.wrapping_add(take_signed(input)?);
            Some(Moment::from_nanos(at))
        };
        all.push(match (kind, item, moment) {
            (_, Some((instrument, number)), at) => Taken::Item { instrument, number, at },
            (2, _, Some(at)) => Taken::Input { at, input: Input::Tick },
            (3, _, Some(at)) => {
                let input = serde_json::from_slice(take_slice(input)?)
                    .map_err(|_| JournalError::UnreadableBlock("unknown input"))?;
                Taken::Input { at, input }
            }
            (4, _, Some(at)) => Taken::Missing { at },
            _ => return Err(JournalError::UnreadableBlock("unknown piece of tape")),
        });
    }
    Ok(all)
}

fn take_item(
    input: &mut &[u8],
    named: &mut BTreeMap<u64, (Arc<str>, u64)>,
) -> Result<(Arc<str>, u64), JournalError> {
    let place = take(input)?;
    if place & 1 == 1 {
        let name = std::str::from_utf8(take_slice(input)?)
            .map_err(|_| JournalError::UnreadableBlock("a name is no text"))?;
        named.insert(place >> 1, (Arc::from(name), 0));
    }
    let (name, last) = named
        .get_mut(&(place >> 1))
        .ok_or(JournalError::UnreadableBlock("an instrument without a name"))?;
    *last = last.wrapping_add(take_signed(input)? as u64);
    Ok((Arc::clone(name), last.wrapping_sub(1)))
}

fn inflate(body: &[u8]) -> Result<Vec<u8>, JournalError> {
    let damaged = JournalError::UnreadableBlock("its bytes are not those that were written");
    let Some((check, deflated)) = body.split_first_chunk::<4>() else { return Err(damaged) };
    if crc32(deflated).to_be_bytes() != *check {
        return Err(damaged);
    }
    let mut plain = Vec::new();
    DeflateDecoder::new(deflated)
        .take(INFLATED_MAX as u64)
        .read_to_end(&mut plain)
        .map_err(|_| JournalError::UnreadableBlock("the tape cannot be inflated"))?;
    let input = &mut plain.as_slice();
    if take(input)? != VERSION {
        return Err(JournalError::UnreadableBlock("unknown version of tape"));
    }
    Ok(input.to_vec())
}

fn take_slice<'a>(input: &mut &'a [u8]) -> Result<&'a [u8], JournalError> {
    let length = usize::try_from(take(input)?).unwrap_or(usize::MAX);
    let (bytes, rest) = input
        .split_at_checked(length)
        .ok_or(JournalError::UnreadableBlock("the tape ends too early"))?;
    *input = rest;
    Ok(bytes)
}

fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = Crc::new();
    crc.update(bytes);
    crc.sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Act, JournalStatus};
    use proptest::prelude::*;

    fn any_mark() -> impl Strategy<Value = Mark> {
        prop_oneof![
            prop::collection::vec(any::<u8>(), 0..40).prop_map(Mark::Bytes),
            Just(Mark::Opened),
            Just(Mark::Quiet),
            Just(Mark::Missing),
            Just(Mark::Damaged),
            (0_usize..9).prop_map(|question| Mark::Asked { question }),
        ]
    }

    fn any_taken() -> impl Strategy<Value = Taken> {
        let at = || any::<i64>().prop_map(Moment::from_nanos);
        let input = prop_oneof![
            Just(Input::Tick),
            Just(Input::Act(Act::Silence)),
            any::<u64>().prop_map(|up_to| Input::Journal(JournalStatus::Committed { up_to })),
        ];
        let name = prop_oneof![Just("scale"), Just("probe"), Just("ä")];
        prop_oneof![
            (name, 0..u64::MAX - 1, proptest::option::of(at()))
                .prop_map(|(n, number, at)| Taken::Item { instrument: n.into(), number, at }),
            (at(), input).prop_map(|(at, input)| Taken::Input { at, input }),
            at().prop_map(|at| Taken::Missing { at }),
        ]
    }

    proptest! {
        #[test]
        fn every_piece_comes_back(marks in prop::collection::vec((any::<i64>(), any_mark()), 0..40)) {
            let of = |(at, mark)| Piece { at: Moment::from_nanos(at), mark };
            let all: Vec<Piece> = marks.into_iter().map(of).collect();
            let mut packer = Packer::new();
            all.iter().for_each(|piece| packer.piece(piece));
            prop_assert_eq!(pieces(&packer.body().unwrap()).unwrap(), all);
        }

        #[test]
        fn everything_taken_comes_back(all in prop::collection::vec(any_taken(), 0..40)) {
            let mut packer = Packer::new();
            all.iter().for_each(|one| packer.taken(one).unwrap());
            prop_assert_eq!(taken(&packer.body().unwrap()).unwrap(), all);
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = (pieces(&bytes), taken(&bytes));
            // behind a check that agrees
            let mut packer = Packer::new();
            packer.plain.extend(&bytes);
            let body = packer.body().unwrap();
            let _ = (pieces(&body), taken(&body));
        }

        #[test]
        fn a_flipped_bit_is_noticed(at in any::<prop::sample::Index>(), bit in 0..8) {
            let mut packer = Packer::new();
            for number in 0..50 {
                let mark = Mark::Bytes(format!("ST,+{number:06}  g\r\n").into_bytes());
                packer.piece(&Piece { at: Moment::from_nanos(number), mark });
            }
            let mut body = packer.body().unwrap();
            let at = at.index(body.len());
            body[at] ^= 1_u8 << bit;
            prop_assert!(pieces(&body).is_err());
        }
    }
}
