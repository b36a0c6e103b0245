//! Everything that is tested from outside, in one binary.

mod bench;
mod chemistry_practice;
mod driver;
mod journal;
mod recipes;
mod review;
mod scenarios;
