//! Where pours end that follow "slow" and "stop": the aims of the lead law, over operators, rates
//! and scales.
//!
//! `PANROOM_POURS=1000 cargo test --release --test it pours -- --nocapture` pours so many of each
//! kind and prints the table of docs/bench-figures.md; the tests pour a few of each.

use panroom::quantity::{Mass, Share};
use panroom::sim::pours::{End, Intent, PourSession, Poured, Terms};

/// Pours of one operator at one scale, one after the other.
const SESSION: u32 = 8;
const RATES: [f64; 6] = [2.0, 5.0, 10.0, 20.0, 30.0, 40.0];
/// Interval and readings a second.
const SCALES: [(f64, f64); 6] =
    [(0.01, 5.0), (0.1, 10.0), (0.1, 5.0), (0.1, 2.0), (1.0, 10.0), (1.0, 2.0)];
const NOISE_D: f64 = 0.2;

#[derive(Default)]
struct Tally {
    pours: Vec<(Poured, bool)>,
}

fn terms(caustic: bool, rate: f64, (d, per_second): (f64, f64)) -> Terms {
    Terms {
        caustic,
        rate_g_per_s: rate,
        d_g: d,
        per_second,
        noise_d: NOISE_D,
        drift_d_per_min: 0.0,
        superfat: Share::from_percent(5),
    }
}

impl Tally {
    /// So many pours, in sessions, with seeds of their own.
    fn pour(&mut self, terms: Terms, pours: u32, seed: u64) {
        for session in 0..pours.div_ceil(SESSION) {
            let mut session = PourSession::new(terms, seed * 1_000_003 + u64::from(session));
            for nth in 0..SESSION {
                self.pours.push((session.pour(Intent::Well), nth == 0));
            }
        }
    }

    fn share(&self, wanted: impl Fn(&Poured, bool) -> bool) -> f64 {
        let found = self.pours.iter().filter(|(pour, first)| wanted(pour, *first)).count();
        100.0 * found as f64 / self.pours.len().max(1) as f64
    }

    /// First stop against the target in % of it, at this share of all pours.
    fn first_stop(&self, share: f64) -> f64 {
        let of =
            |(poured, _): &(Poured, bool)| 100.0 * (poured.first_g / poured.target.grams() - 1.0);
        let mut errors: Vec<f64> = self.pours.iter().map(of).collect();
        errors.sort_by(f64::total_cmp);
        errors.get(((errors.len() - 1) as f64 * share) as usize).copied().unwrap_or_default()
    }

    fn mean(&self, of: impl Fn(&Poured) -> f64) -> f64 {
        self.pours.iter().map(|(poured, _)| of(poured)).sum::<f64>() / self.pours.len() as f64
    }

    /// Captures above the guard, by what is really in the cup and more than the scale can show.
    fn above_guard(&self, d_g: f64) -> usize {
        let above = |poured: &Poured| {
            let guard = poured.guard.map_or(f64::INFINITY, Mass::grams);
            poured.captured.is_some_and(|net| net.grams() > guard || poured.really_g > guard + d_g)
        };
        self.pours.iter().filter(|(poured, _)| above(poured)).count()
    }

    fn row(&self, name: &str, d_g: f64) {
        let first = self.pours.iter().filter(|(_, first)| *first).count().max(1);
        let firsts = self.share(|poured, first| first && poured.end == End::InTolerance);
        println!(
            "| {name} | {} | {:.1} % | {:.1} % | {:.1} % | {:.1} % | {:.1} % | {} | {:+.1} / {:+.1} / {:+.1} % | {:.1} | {:.0} s |",
            self.pours.len(),
            self.share(|poured, _| poured.end == End::InTolerance),
            firsts * self.pours.len() as f64 / first as f64,
            self.share(|poured, _| poured.end == End::Above),
            self.share(|poured, _| poured.end == End::Alarmed),
            self.share(|poured, _| poured.end == End::Unfinished),
            self.above_guard(d_g),
            self.first_stop(0.05),
            self.first_stop(0.5),
            self.first_stop(0.95),
            self.mean(|poured| f64::from(poured.top_ups)),
            self.mean(|poured| poured.took.seconds()),
        );
    }
}

fn heading(by: &str) {
    println!(
        "\n| {by} | pours | in tolerance | the operator's first | above it | alarmed \
         | unfinished | captured above guard | first stop: 5 % / median / 95 % | top-ups | took |\n\
         |---|---|---|---|---|---|---|---|---|---|---|"
    );
}

/// The share of all pours that ends in tolerance; none may be captured above its guard.
fn figures(caustic: bool, each: u32) -> f64 {
    let name = if caustic { "caustic" } else { "liquid" };
    let mut all = Tally::default();
    heading(&format!("{name}, by rate"));
    for rate in RATES {
        let mut tally = Tally::default();
        for (index, scale) in SCALES.into_iter().enumerate() {
            tally.pour(terms(caustic, rate, scale), each, index as u64 + rate as u64 * 10);
        }
        tally.row(&format!("{rate} g/s"), 1.0);
        all.pours.extend(tally.pours);
    }
    heading(&format!("{name}, by scale"));
    for scale in SCALES {
        let mut tally = Tally::default();
        for (index, rate) in RATES.into_iter().enumerate() {
            tally.pour(terms(caustic, rate, scale), each, index as u64 + 1000);
        }
        tally.row(&format!("d {} g, {} readings/s", scale.0, scale.1), scale.0);
        all.pours.extend(tally.pours);
    }
    all.row("all", 1.0);
    judged(&all)
}

/// The short run of the tests: each rate at one scale.
fn short(caustic: bool) -> f64 {
    let mut all = Tally::default();
    for (index, (rate, scale)) in RATES.into_iter().zip(SCALES).enumerate() {
        all.pour(terms(caustic, rate, scale), SESSION, 7 + index as u64);
    }
    judged(&all)
}

fn judged(all: &Tally) -> f64 {
    assert_eq!(all.above_guard(1.0), 0, "caustic is captured above its guard");
    all.share(|poured, _| poured.end == End::InTolerance)
}

#[test]
fn pours() {
    let asked = std::env::var("PANROOM_POURS").ok();
    let asked: Option<u32> = asked.map(|pours| pours.parse().expect("a number of pours"));
    for (caustic, name) in [(false, "liquid"), (true, "caustic")] {
        let share = match asked {
            // rates and scales are poured at twice, by one and by the other
            Some(pours) => figures(caustic, pours.div_ceil(72)),
            None => short(caustic),
        };
        assert!(share >= 95.0, "{name}: only {share:.1} % end in tolerance");
    }
}
