//! A pure simulated bench: physics, a hand, faults, a seed.
//!
//! A [`Story`] says what happens; [`run()`] plays it through the bench in one thread and gives the
//! facts and cues that came out. [`World`] is the same bench for a shell that owns real ports:
//! bytes out, bytes in. Its encoders are written apart from the decoders of the wire room, so
//! that the two cannot agree by sharing a mistake.

mod chance;
mod encode;
mod eyes;
pub mod fixture;
mod hand;
mod heat;
mod instrument;
mod judgement;
mod pan;
mod parse;
mod parse_inputs;
mod play;
mod pour;
pub mod pours;
mod print;
mod run;
mod scene;
mod script;
pub mod short;
mod story;
mod trace;
mod world;

pub use chance::Chance;
pub use instrument::Instrument;
pub use parse::parse;
pub use print::input_line;
pub use run::{BATCH, run, run_with};
pub use story::{
    At, Check, Does, Expect, Fault, FaultKind, Level, Line, Mark, Orders, Shows, Story, Term, When,
};
pub use trace::{Entry, EntryKind, Trace, Truth};
pub use world::{Event, World};
