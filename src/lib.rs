//! panroom watches the scale and the thermometer of a soap maker's bench.
#![forbid(unsafe_code)]

pub mod quantity;
pub mod reading;
