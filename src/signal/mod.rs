//! What readings say together: rest and rate. Each type states its delay.
//!
//! A window is empty after a restart and after any silence. Empty means "unknown", and unknown
//! is never rest.

mod rest;

pub use rest::{RestTest, RestWindow};
