//! Everything that is tested from outside, in one binary.

mod bench;
mod driver;
mod scenarios;
