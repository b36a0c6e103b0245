//! Random batches with random trouble, judged against what is really in the cup, and against the
//! invariants after each input.
//!
//! `PANROOM_CAMPAIGN_HOURS=10000 cargo test --release --test it campaign -- --nocapture` runs so
//! many simulated bench-hours on all cores; the tests run a short one. A failing seed is printed,
//! and `PANROOM_CAMPAIGN_SEED=n` with the same command plays it alone and tells what was done and decided.

mod checks;
mod play;
mod trouble;

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use panroom::bench::BatchId;

use play::Play;
use trouble::Trouble;

const SHORT_HOURS: f64 = 0.7;

/// The batch of every campaign.
pub fn batch_id() -> BatchId {
    BatchId("campaign".to_owned())
}

/// What a campaign came to.
#[derive(Default)]
pub struct Tally {
    hours: f64,
    batches: u32,
    finished: u32,
    abandoned: u32,
    faults: BTreeMap<&'static str, u32>,
    inputs: u64,
    over_pours: u32,
    captures: u32,
    caustic_alarms: u32,
    restarts: u32,
    /// Over the guard by what is really in the cup, on a scale that did not say so.
    lied_to: u32,
    /// Batches that were waiting for something when their time was over, and what for.
    stuck: Vec<String>,
    broken: Vec<String>,
}

impl Tally {
    fn add(&mut self, other: Tally) {
        self.hours += other.hours;
        self.batches += other.batches;
        self.finished += other.finished;
        self.abandoned += other.abandoned;
        self.inputs += other.inputs;
        self.over_pours += other.over_pours;
        self.captures += other.captures;
        self.caustic_alarms += other.caustic_alarms;
        self.restarts += other.restarts;
        self.lied_to += other.lied_to;
        self.stuck.extend(other.stuck);
        self.broken.extend(other.broken);
        for (kind, count) in other.faults {
            *self.faults.entry(kind).or_default() += count;
        }
    }

    fn report(&self, took_s: f64) {
        println!(
            "{:.1} simulated bench-hours in {took_s:.0} s, {} batches ({} finished, {} discarded, \
             {} waiting at their end), {} inputs, {} over-pours of caustic, {} caustic alarms, {} \
             captures, {} restarts, {} times over by more than a lying scale showed",
            self.hours,
            self.batches,
            self.finished,
            self.abandoned,
            self.stuck.len(),
            self.inputs,
            self.over_pours,
            self.caustic_alarms,
            self.captures,
            self.restarts,
            self.lied_to,
        );
        let faults: Vec<String> =
            self.faults.iter().map(|(kind, count)| format!("{kind} {count}")).collect();
        println!("trouble: {}", faults.join(", "));
        for stuck in self.stuck.iter().take(40) {
            println!("{stuck}");
        }
    }
}

#[test]
fn campaign() {
    let number = |name: &str| std::env::var(name).ok();
    if let Some(seed) = number("PANROOM_CAMPAIGN_SEED") {
        let tally = one(seed.parse().expect("a seed is a number"), true);
        tally.report(0.0);
        assert!(tally.broken.is_empty(), "{}", tally.broken.join("\n"));
        return;
    }
    let hours = number("PANROOM_CAMPAIGN_HOURS")
        .map_or(SHORT_HOURS, |hours| hours.parse().expect("hours are a number"));
    let first: u64 = number("PANROOM_CAMPAIGN_FIRST").map_or(1, |n| n.parse().expect("a number"));
    let began = Instant::now();
    let whole = Mutex::new(Tally::default());
    let next = AtomicU64::new(first);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while whole.lock().expect("no thread panics with it").hours < hours {
                    let tally = one(next.fetch_add(1, Ordering::Relaxed), false);
                    for broken in &tally.broken {
                        println!("{broken}");
                    }
                    whole.lock().expect("no thread panics with it").add(tally);
                }
            });
        }
    });
    let whole = whole.into_inner().expect("all threads have ended");
    whole.report(began.elapsed().as_secs_f64());
    assert!(whole.broken.is_empty(), "{} seeds broke an invariant", whole.broken.len());
    assert!(whole.over_pours > 0 && !whole.faults.is_empty(), "without trouble it proves nothing");
}

/// One batch; a panic in it is a broken seed, with what it said.
fn one(seed: u64, aloud: bool) -> Tally {
    let played = catch_unwind(AssertUnwindSafe(|| {
        let trouble = Trouble::of(seed);
        let play = Play::new(seed, &trouble);
        if aloud {
            println!("{trouble:?}");
            return play.aloud().run();
        }
        play.run()
    }));
    played.unwrap_or_else(|panic| {
        let said = panic.downcast_ref::<String>().cloned();
        let said = said.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        let told = said.unwrap_or_default();
        let broken = format!("seed {seed} (PANROOM_CAMPAIGN_SEED={seed}): {told}");
        Tally { broken: vec![broken], ..Tally::default() }
    })
}
