//! Everything that is tested from outside, in one binary.

mod bench_files;
mod recipes;
