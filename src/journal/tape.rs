//! The byte tape as the first layout of the journal had it: bytes and their arrival, no more. It is
//! still read; what is written today stands in `strip`.

use std::io::Read;

use flate2::read::DeflateDecoder;

use crate::quantity::Moment;

use super::JournalError;
use super::blocks::{take, take_signed};

/// Bytes that came at one moment. None at all stand for one that came with a wrong parity or stop
/// bit: a decoder is told of it by `Decoder::damaged`.
pub type Piece = (Moment, Vec<u8>);

const VERSION: u64 = 1;
/// Inflated, no block is larger than this: many times what the writer put into one.
const INFLATED_MAX: u64 = 1 << 20;

pub fn unpack(body: &[u8]) -> Result<Vec<Piece>, JournalError> {
    let mut plain = Vec::new();
    DeflateDecoder::new(body)
        .take(INFLATED_MAX)
        .read_to_end(&mut plain)
        .map_err(|_| JournalError::UnreadableBlock("the tape cannot be inflated"))?;
    let input = &mut plain.as_slice();
    if take(input)? != VERSION {
        return Err(JournalError::UnreadableBlock("unknown version of tape"));
    }
    let count = take(input)?;
    let mut pieces = Vec::new();
    let mut at = 0_i64;
    for _ in 0..count {
        at = at.wrapping_add(take_signed(input)?);
        let length = usize::try_from(take(input)?).unwrap_or(usize::MAX);
        let (bytes, rest) = input
            .split_at_checked(length)
            .ok_or(JournalError::UnreadableBlock("the tape ends too early"))?;
        *input = rest;
        pieces.push((Moment::from_nanos(at), bytes.to_vec()));
    }
    Ok(pieces)
}

#[cfg(test)]
mod tests {
    use super::super::blocks::{put, put_signed};
    use super::*;
    use flate2::Compression;
    use flate2::write::DeflateEncoder;
    use proptest::prelude::*;
    use std::io::Write;

    /// As it was written.
    fn pack(pieces: &[Piece]) -> std::io::Result<Vec<u8>> {
        let mut plain = Vec::new();
        put(&mut plain, VERSION);
        put(&mut plain, pieces.len() as u64);
        let mut last = 0;
        for (at, bytes) in pieces {
            put_signed(&mut plain, at.nanos().wrapping_sub(last));
            last = at.nanos();
            put(&mut plain, bytes.len() as u64);
            plain.extend_from_slice(bytes);
        }
        let mut deflate = DeflateEncoder::new(Vec::new(), Compression::default());
        deflate.write_all(&plain)?;
        deflate.finish()
    }

    proptest! {
        #[test]
        fn every_byte_comes_back(pieces in prop::collection::vec(
            (any::<i64>(), prop::collection::vec(any::<u8>(), 0..40)), 0..40)
        ) {
            let pieces: Vec<Piece> =
                pieces.into_iter().map(|(at, bytes)| (Moment::from_nanos(at), bytes)).collect();
            prop_assert_eq!(unpack(&pack(&pieces).unwrap()).unwrap(), pieces);
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = unpack(&bytes);
        }
    }
}
