//! Everything that is tested from outside, in one binary.

mod bench;
mod bench_files;
#[allow(dead_code)] // the views to come use the rest of it
mod browser;
mod campaign;
mod chemistry_practice;
mod driver;
mod e2e;
mod instruments;
mod invariants;
mod journal;
mod lye_first;
mod office;
mod office_page;
mod page;
mod plans;
mod port_task;
mod pots;
mod readme;
mod recipes;
mod remedies;
mod review;
mod scenarios;
mod tidy;
mod watching;
