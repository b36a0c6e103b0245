#![no_main]

#[path = "../trial.rs"]
mod trial;

libfuzzer_sys::fuzz_target!(|data: &[u8]| trial::trial(data));
