//! The byte tape played again: what instruments sent goes through the decoders, what they said and
//! everything else goes to a bench in the order the first bench took it, and the same facts must
//! come out.
//!
//! Pure: it takes what was recorded and gives what follows from it. The journal keeps the tape, the
//! command line shows what comes out.

mod compare;
mod other_sheet;
mod player;
mod tape;

pub use compare::{Verdict, compare};
pub use other_sheet::{Captured, Count, OtherSheet, Pair, other_sheet};
pub use player::{Player, Step};
pub use tape::{Broken, Instrument, Mark, Piece, Recording, Strip, Taken, Track};
