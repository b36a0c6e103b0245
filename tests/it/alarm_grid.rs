//! False and missed alarms of the caustic guard, over noise, interval, readings a second and drift.
//!
//! `PANROOM_ALARM_POURS=1000 cargo test --release --test it alarm_grid -- --nocapture` pours so many
//! in each cell, half of them well and half of them over the guard, and prints the tables of
//! docs/bench-figures.md; the tests pour a few in some cells.
//!
//! What is really in the cup is the judge. Over: more than the guard and what the scale cannot show
//! (an interval of rounding and two deviations of noise). False: an alarm though the cup never held
//! more than its guard.

use std::collections::BTreeMap;

use panroom::quantity::{Share, Span};
use panroom::sim::Chance;
use panroom::sim::pours::{End, Intent, PourSession, Terms};

const INTERVALS_G: [f64; 3] = [0.01, 0.1, 1.0];
const READINGS: [f64; 4] = [2.0, 5.0, 10.0, 20.0];
const NOISE_D: [f64; 4] = [0.0, 0.2, 0.5, 1.0];
const DRIFT_D_PER_MIN: [f64; 2] = [0.0, 2.0];
const SESSION: u32 = 10;
/// The law's half second, the lag of the scale, and a reading of the slowest scale allowed; and a
/// second more where the load came at once.
const ALARMED_WITHIN: Span = Span::from_millis(2400);
/// A scale within its specification repeats within an interval (OIML R 76-1, 3.6.1): two deviations.
const NOISE_IN_SPECIFICATION_D: f64 = 0.5;

#[derive(Clone, Copy, Default)]
struct Cell {
    well: u32,
    over: u32,
    falsely: u32,
    missed: u32,
    /// The scale never came to rest under the empty cup, and nothing was poured.
    not_begun: u32,
    latest: Span,
}

impl Cell {
    fn pour(&mut self, terms: Terms, pours: u32, seed: u64) {
        let mut chance = Chance::new(seed).branch("over");
        for number in 0..pours.div_ceil(SESSION) {
            // half of the recipes have a superfat that proves a margin, half have next to none
            let superfat = Share::from_percent(if number % 2 == 0 { 5 } else { 1 });
            let terms = Terms { superfat, ..terms };
            let mut session = PourSession::new(terms, seed * 1_000_003 + u64::from(number));
            for nth in 0..SESSION.min(pours) {
                if nth % 2 == 0 {
                    let poured = session.pour(Intent::Well);
                    self.not_begun += u32::from(poured.end == End::NotBegun);
                    self.well += u32::from(poured.end != End::NotBegun);
                    self.falsely += u32::from(poured.false_alarm);
                    self.missed += u32::from(poured.unalarmed > ALARMED_WITHIN);
                } else {
                    let blur = 1.0 + 2.0 * terms.noise_d;
                    let by = terms.d_g * (blur + chance.between(1.0, 30.0));
                    let poured = session.pour(Intent::Over(by));
                    if poured.end == End::NotBegun {
                        self.not_begun += 1;
                        continue;
                    }
                    if poured.alarmed_after.is_none() {
                        println!("unalarmed, {terms:?} by {by:.3} g: {poured:?}");
                    }
                    self.over += 1;
                    self.missed += u32::from(poured.alarmed_after.is_none());
                    self.latest = self.latest.max(poured.alarmed_after.unwrap_or(poured.unalarmed));
                }
            }
        }
    }
}

fn terms(d_g: f64, per_second: f64, noise_d: f64, drift_d_per_min: f64) -> Terms {
    let superfat = Share::from_percent(5);
    Terms { caustic: true, rate_g_per_s: 5.0, d_g, per_second, noise_d, drift_d_per_min, superfat }
}

fn key(of: [f64; 4]) -> [u64; 4] {
    of.map(f64::to_bits)
}

fn print(cells: &BTreeMap<[u64; 4], Cell>) {
    for drift in DRIFT_D_PER_MIN {
        println!(
            "\nZero drifting by {drift} d a minute: false / missed of 1,000, the latest alarm\n"
        );
        let noises: Vec<String> = NOISE_D.iter().map(|n| format!("noise {n} d")).collect();
        println!("| d | readings/s | {} |\n|---|---|---|---|---|---|", noises.join(" | "));
        for d in INTERVALS_G {
            for readings in READINGS {
                let shown: Vec<String> = NOISE_D
                    .iter()
                    .filter_map(|&noise| cells.get(&key([d, readings, noise, drift])))
                    .map(|cell| {
                        let all = cell.well + cell.over + cell.not_begun;
                        if cell.not_begun * 2 > all {
                            return "never at rest".to_owned();
                        }
                        let of = |count: u32, all: u32| 1000.0 * f64::from(count) / f64::from(all);
                        let (falsely, missed) =
                            (of(cell.falsely, cell.well), of(cell.missed, cell.well + cell.over));
                        format!("{falsely:.0} / {missed:.0}, {:.1} s", cell.latest.seconds())
                    })
                    .collect();
                println!("| {d} g | {readings} | {} |", shown.join(" | "));
            }
        }
    }
}

#[test]
fn alarm_grid() {
    let asked = std::env::var("PANROOM_ALARM_POURS").ok();
    let asked: Option<u32> = asked.map(|pours| pours.parse().expect("a number of pours"));
    let mut cells = BTreeMap::new();
    let (mut index, mut wrong) = (0, Vec::new());
    for drift in DRIFT_D_PER_MIN {
        for d in INTERVALS_G {
            for readings in READINGS {
                for noise in NOISE_D {
                    index += 1;
                    // the tests pour a little in a seventh of the cells
                    let pours = asked.unwrap_or(if index % 7 == 0 { 4 } else { 0 });
                    let cell: &mut Cell =
                        cells.entry(key([d, readings, noise, drift])).or_default();
                    cell.pour(terms(d, readings, noise, drift), pours, index);
                    let name = format!("d {d}, {readings}/s, noise {noise} d, drift {drift} d/min");
                    if cell.missed > 0 {
                        wrong.push(format!("{name}: {} unalarmed", cell.missed));
                    }
                    let good = noise <= NOISE_IN_SPECIFICATION_D && drift == 0.0;
                    if good && cell.falsely > 0 {
                        wrong.push(format!("{name}: {} alarmed for nothing", cell.falsely));
                    }
                }
            }
        }
    }
    if asked.is_some() {
        print(&cells);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
