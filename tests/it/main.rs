//! Everything that is tested from outside, in one binary.

mod bench;
mod bench_files;
mod campaign;
mod chemistry_practice;
mod driver;
mod e2e;
mod heat_law;
mod instruments;
mod invariants;
mod journal;
mod late_and_tests;
mod lye_first;
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
