//! From bytes to readings, by wire sheets: data files that say how an instrument speaks.
//!
//! ```text
//! bytes ─► Framer ─► frame ─► check ─► fields ─► Reading
//! ```
//! "Not complete yet" and "refused" are answers here, not errors. No port and no clock: the moment
//! at which bytes arrived comes in with them. Whatever comes in, nothing panics and memory stays
//! bounded by the sheet's longest frame.

mod bytes;
mod checksum;
mod decode;
mod draft;
mod examples;
mod explain;
mod fields;
mod frame;
#[cfg(test)]
mod hardship;
mod heard;
mod library;
mod lost_digit;
mod modbus;
mod rank;
#[cfg(test)]
mod rare;
mod sheet;
mod talk;
mod verify;

pub use bytes::{escape, unescape};
pub use checksum::{Checksum, crc16_modbus};
pub use decode::{ChannelMap, Decoder, FrameRead, Item, Refusal};
pub use draft::draft;
pub use examples::{ExampleOutcome, channels as plain_channels, check, reading_words, unproved};
pub use heard::{Heard, Impression, Recording};
pub use library::{SheetLibrary, UnknownSheet};
pub use lost_digit::{LostDigit, lost_digit, lost_digit_of_shipped};
pub use rank::{Fit, ValueSeen, rank};
pub use sheet::{Command, Commands, Flow, Line, LineParity, Quantity, Sheet, Talk};
pub use talk::{Question, Talker};
