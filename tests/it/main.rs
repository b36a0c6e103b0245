//! Everything that is tested from outside, in one binary.

mod bench_files;
mod chemistry_practice;
mod plans;
mod recipes;
