use std::sync::Arc;

use thiserror::Error;

use crate::bench::{Input, Numbered};
use crate::quantity::Moment;
use crate::wire::ChannelMap;

/// One thing that happened to the decoder of an instrument. All of them in their order, and the
/// decoder says the same again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    pub at: Moment,
    pub mark: Mark,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Mark {
    /// The port was opened: the decoder begins anew.
    Opened,
    /// A question was written, counted as the sheet lists them: Modbus answers do not say what they
    /// answer.
    Asked { question: usize },
    /// Bytes came; the moment is that of the last one.
    Bytes(Vec<u8>),
    /// A byte came whose parity or stop bit was wrong.
    Damaged,
    /// A pause that told the decoder something: a frame ended, or the next one begins whole.
    Quiet,
    /// From here to the next piece something was not kept.
    Missing,
}

/// What the bench took, in the order it took it.
#[derive(Clone, Debug, PartialEq)]
pub enum Taken {
    /// What the decoder of an instrument made of its bytes, counted from the session's beginning.
    /// Numbers left out are of items that a full queue dropped.
    Item {
        instrument: Arc<str>,
        number: u64,
        /// `None` for a reading, which carries its own moment.
        at: Option<Moment>,
    },
    /// Anything else: session, acts, ports lost and back, journal status, ticks.
    Input { at: Moment, input: Input },
    /// From here to the next something was not kept.
    Missing { at: Moment },
}

/// How the bytes of one instrument are to be read, frozen into each session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instrument {
    pub name: Arc<str>,
    /// The name of its wire sheet.
    pub sheet: String,
    /// The whole wire sheet, as it was at the time.
    pub sheet_text: Arc<str>,
    pub channels: Vec<ChannelMap>,
}

/// A tape cannot be played on.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("{0}")]
pub struct Broken(pub String);

/// A tape, unpacked as it is played.
pub type Strip<T> = Box<dyn Iterator<Item = Result<T, Broken>>>;

/// One instrument's own tape.
pub struct Track {
    pub instrument: Instrument,
    pub pieces: Strip<Piece>,
}

/// Everything recorded of one session.
pub struct Recording {
    pub session: u32,
    /// The facts from before it: where the bench began.
    pub before: Vec<Numbered>,
    /// The facts of the session, to be compared with what comes out.
    pub facts: Vec<Numbered>,
    pub taken: Strip<Taken>,
    pub tracks: Vec<Track>,
}
