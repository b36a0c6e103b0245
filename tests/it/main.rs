//! Everything that is tested from outside, in one binary.

mod bench;
mod bench_files;
mod browser;
mod campaign;
mod chemistry_practice;
mod driver;
mod e2e;
mod instruments;
mod invariants;
mod journal;
mod lye_first;
mod page;
mod page_gate;
mod page_latency;
mod plans;
mod port_task;
mod pots;
mod readme;
mod recipes;
mod remedies;
mod replay;
mod review;
mod scenarios;
mod tidy;
mod watching;
