//! Exact quantities: what a maker writes and what an instrument shows, without rounding.
//!
//! Every value is an integer count of a step so small that 0.001 g, 0.001 oz, 0.001 °C and
//! 0.001 °F are all whole numbers of steps. Readings and targets therefore compare exactly,
//! whichever unit each came in. Arithmetic that cannot stay exact (a share of a mass, a
//! chemical factor) says how it rounds.

mod mass;
mod parse;
mod ph;
mod share;
mod span;
mod temperature;
mod volume;

pub use mass::{Mass, MassUnit};
pub use parse::QuantityError;
pub use ph::Ph;
pub use share::Share;
pub use span::{Moment, Span};
pub use temperature::{Temperature, TemperatureDelta, TemperatureUnit};
pub use volume::{Volume, VolumeUnit};
