//! The decoders and what lies below them, without the rest of the program: built in a minute, and
//! what the fuzzer counts is decoders.

#[cfg(test)]
extern crate self as panroom;

#[cfg(test)]
#[path = "../tests/it/corpus.rs"]
mod corpus;
#[path = "../src/problem/mod.rs"]
pub mod problem;
#[path = "../src/quantity/mod.rs"]
pub mod quantity;
#[path = "../src/reading.rs"]
pub mod reading;
#[path = "../src/wire/mod.rs"]
pub mod wire;
