//! Everything that is tested from outside, in one binary.

mod bench;
mod bench_files;
mod campaign;
mod chemistry_practice;
mod corpus;
mod driver;
mod e2e;
mod invariants;
mod journal;
mod plans;
mod port_task;
mod readme;
mod recipes;
mod replay;
mod replug;
mod review;
mod scenarios;
mod signals;
mod tidy;
