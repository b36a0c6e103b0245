//! Everything that is tested from outside, in one binary.
mod recipes;
