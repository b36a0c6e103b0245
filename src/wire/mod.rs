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
mod examples;
mod explain;
mod fields;
mod frame;
#[cfg(test)]
mod hardship;
mod library;
mod modbus;
mod sheet;
mod talk;
mod verify;

pub use bytes::{escape, unescape};
pub use checksum::{Checksum, crc16_modbus};
pub use decode::{ChannelMap, Decoder, Item, Refusal};
pub use examples::{ExampleOutcome, check, unproved};
pub use library::{SheetLibrary, UnknownSheet};
pub use sheet::{Commands, Flow, Line, LineParity, Sheet, Talk};
pub use talk::{Question, Talker};
