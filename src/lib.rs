//! panroom watches the scale and the thermometer of a soap maker's bench.
#![forbid(unsafe_code)]

pub mod bench;
pub mod bench_file;
pub mod chemistry;
pub mod cli;
pub mod clock;
pub mod daemon;
pub mod demo;
pub mod edit;
pub mod journal;
pub mod plan;
pub mod port;
pub mod problem;
pub mod quantity;
pub mod reading;
pub mod recipe;
pub mod replay;
pub mod review;
pub mod signal;
pub mod sim;
pub mod web;
pub mod wire;
