//! Everything that is tested from outside, in one binary.

mod alarm_grid;
mod before_lift;
mod bench;
mod bench_files;
mod borders;
mod campaign;
mod chemistry_practice;
mod driver;
mod e2e;
mod instruments;
mod invariants;
mod journal;
mod lye_first;
mod plans;
mod port_task;
mod pots;
mod pours;
mod readme;
mod recipes;
mod remedies;
mod review;
mod scenarios;
mod tidy;
mod unit_key;
mod watching;
