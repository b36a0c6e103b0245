//! Signals on made-up truth with noise, drift, knocks and drop-outs: how late, how often wrong, how
//! often silent. The table stands in `docs/signals.md`, and is made here.

use panroom::bench::Settings;
use panroom::quantity::{Mass, MassUnit, Moment, Span};
use panroom::reading::{Channel, Reading, Status, Value};
use panroom::signal::{JumpWindow, PressWindow, RateWindow, RestTest, RestWindow, UnsteadyWindow};
use panroom::sim::Chance;

const TRIALS: u64 = 200;
/// A tenth of a gram is one d; ten readings a second.
const PERIOD_MS: i64 = 100;
const LENGTH_S: f64 = 30.0;

/// What is really on the pan, in d, `t` seconds from the beginning.
type Truth = dyn Fn(f64) -> f64;

struct Disturbance {
    /// Standard deviation in d.
    noise: f64,
    drift_d_per_s: f64,
    /// Three knocks of 0.3 s somewhere.
    knocks: bool,
    /// One silence of 1.5 s, and one reading in fifty missing.
    drop_outs: bool,
}

const QUIET: Disturbance =
    Disturbance { noise: 0.3, drift_d_per_s: 0.0, knocks: false, drop_outs: false };
const NOISY: Disturbance = Disturbance { noise: 0.8, ..QUIET };
const DRIFTING: Disturbance = Disturbance { drift_d_per_s: 0.05, ..QUIET };
const KNOCKED: Disturbance = Disturbance { knocks: true, ..QUIET };
const GAPPED: Disturbance = Disturbance { drop_outs: true, ..QUIET };
const ALL: [(&str, Disturbance); 5] = [
    ("quiet, 0.3 d of noise", QUIET),
    ("0.8 d of noise", NOISY),
    ("drift of 3 d a minute", DRIFTING),
    ("three knocks of 30 d", KNOCKED),
    ("readings missing", GAPPED),
];

/// Seconds and d of each reading.
fn readings(truth: &Truth, by: &Disturbance, seed: u64) -> Vec<(f64, i64)> {
    let mut chance = Chance::new(seed).branch("signals");
    let knocks: Vec<f64> = (0..3).map(|_| chance.between(0.0, LENGTH_S)).collect();
    let silence = chance.between(0.0, LENGTH_S);
    let mut all = Vec::new();
    for tick in 0..(LENGTH_S * 1000.0) as i64 / PERIOD_MS {
        let t = (tick * PERIOD_MS) as f64 / 1000.0;
        let missing = (silence..silence + 1.5).contains(&t) || chance.happens(0.02);
        let knocked = knocks.iter().any(|&at| (at..at + 0.3).contains(&t));
        let noise = chance.noise() * by.noise;
        let knock = if knocked { chance.between(-30.0, 30.0) } else { 0.0 };
        if by.drop_outs && missing {
            continue;
        }
        let knock = if by.knocks { knock } else { 0.0 };
        all.push((t, (truth(t) + by.drift_d_per_s * t + noise + knock).round() as i64));
    }
    all
}

fn d() -> Mass {
    Mass::from_decimal(1, 1, MassUnit::Gram).unwrap()
}

fn moment(t: f64) -> Moment {
    Moment::from_nanos((t * 1e9).round() as i64)
}

fn reading(t: f64, counts: i64) -> Reading {
    let (unit, decimals) = (MassUnit::Gram, 1);
    let value = Value::Mass { mass: d() * counts, unit, decimals, unit_on_wire: true };
    let status = Status::Unstated;
    Reading { channel: Channel::new("scale"), at: moment(t), value: Some(value), status }
}

#[derive(Default)]
struct Row {
    delays: Vec<f64>,
    wrong: u64,
    missed: u64,
}

impl Row {
    fn line(mut self, signal: &str, truth: &str, disturbance: &str) -> String {
        self.delays.sort_by(f64::total_cmp);
        let at = |share: f64| match self.delays.len() {
            0 => "—".to_owned(),
            count => format!("{:.1} s", self.delays[((count - 1) as f64 * share) as usize]),
        };
        format!(
            "| {signal} | {truth} | {disturbance} | {} | {} | {} | {} |\n",
            at(0.5),
            at(1.0),
            self.wrong,
            self.missed
        )
    }
}

/// Feeds each trial to `step`, which says whether the signal holds at that reading. It should from
/// `due` on (never, if `None`); before, it is wrong.
fn measure(
    truth: &Truth,
    by: &Disturbance,
    due: Option<f64>,
    fresh: impl Fn() -> Box<dyn FnMut(f64, i64) -> bool>,
) -> Row {
    let mut row = Row::default();
    for seed in 1..=TRIALS {
        let mut step = fresh();
        let mut first = None;
        let mut wrong = false;
        for (t, counts) in readings(truth, by, seed) {
            if step(t, counts) {
                match due {
                    Some(due) if t >= due => first = first.or(Some(t - due)),
                    _ => wrong = true,
                }
            }
        }
        row.wrong += u64::from(wrong);
        row.missed += u64::from(due.is_some() && first.is_none());
        row.delays.extend(first);
    }
    row
}

fn rest(test: RestTest) -> impl Fn() -> Box<dyn FnMut(f64, i64) -> bool> {
    move || {
        let mut window = RestWindow::default();
        Box::new(move |t, counts| {
            window.push(&reading(t, counts), &test);
            window.at_rest(&test).is_some()
        })
    }
}

fn pouring_faster_than(limit: f64) -> impl Fn() -> Box<dyn FnMut(f64, i64) -> bool> {
    move || {
        let mut window = RateWindow::new(Span::from_secs(1));
        Box::new(move |t, counts| {
            window.push(moment(t), counts as f64);
            window.rate().is_some_and(|rate| rate.per_second > limit)
        })
    }
}

fn put_on() -> Box<dyn FnMut(f64, i64) -> bool> {
    let mut window = JumpWindow::default();
    Box::new(move |t, counts| window.push(moment(t), d() * counts, d(), d() * 20).is_some())
}

fn unsteady() -> Box<dyn FnMut(f64, i64) -> bool> {
    let mut window = UnsteadyWindow::default();
    let span = Span::from_secs(10);
    Box::new(move |t, counts| {
        window.push(moment(t), d() * counts, span);
        window.is_unsteady(span, d() * 3)
    })
}

fn pressed() -> Box<dyn FnMut(f64, i64) -> bool> {
    let (mut rest, mut window) = (RestWindow::default(), PressWindow::default());
    let (test, press) =
        (Settings::default().rest_test(d(), false), Settings::default().press_test(d()));
    Box::new(move |t, counts| {
        rest.push(&reading(t, counts), &test);
        window.push(moment(t), d() * counts, rest.at_rest(&test), &press).is_some()
    })
}

fn table() -> String {
    let settings = Settings::default();
    let (caustic, other) = (settings.rest_test(d(), true), settings.rest_test(d(), false));
    let pour = |t: f64| 500.0 + 100.0 * t.min(5.0);
    let thread = |t: f64| 500.0 + 0.5 * t;
    let beginning = |t: f64| 500.0 + 100.0 * (t - 5.0).max(0.0);
    let cup = |t: f64| if t < 5.0 { 0.0 } else { 840.0 * ((t - 5.0) / 0.2).min(1.0) };
    let still = |_: f64| 500.0;
    let blender = |t: f64| {
        // beats against the readings, so that no two neighbours agree
        if t < 5.0 { 500.0 } else { 500.0 + 6.0 * (t * 9.7).sin() }
    };
    // 0.4 s each, as heavy as 300 g and never quite as heavy as a moment ago
    let is_twice = |t: f64, s: f64| (4.5..4.5 + s).contains(&t) || (5.4..5.4 + s).contains(&t);
    let hand = move |t: f64| {
        if is_twice(t, 0.4) { 3500.0 + 200.0 * (t * 23.0).sin() } else { 500.0 }
    };
    let bottle = move |t: f64| if is_twice(t, 0.6) { 3500.0 } else { 500.0 };
    let mut text = String::new();
    for (words, by) in &ALL {
        let row = measure(&pour, by, Some(5.0), rest(caustic));
        text += &row.line("rest (caustic)", "a pour of 10 g/s ends", words);
        text += &measure(&pour, by, Some(5.0), rest(other)).line("rest", "the same", words);
        let row = measure(&thread, by, None, rest(caustic));
        text += &row.line("rest (caustic)", "a thread of 0.05 g/s", words);
        let row = measure(&beginning, by, Some(5.0), pouring_faster_than(50.0));
        text += &row.line("rate, above half", "a pour of 10 g/s begins", words);
        text += &measure(&cup, by, Some(5.0), put_on).line("put on", "84 g in 0.2 s", words);
        text += &measure(&beginning, by, None, put_on).line("put on", "a pour of 10 g/s", words);
        text += &measure(&blender, by, Some(5.0), unsteady).line("unsteady", "±6 d", words);
        text += &measure(&still, by, None, unsteady).line("unsteady", "still", words);
        let row = measure(&hand, by, Some(5.8), pressed);
        text += &row.line("pressed", "a hand, twice 0.4 s", words);
        let row = measure(&bottle, by, None, pressed);
        text += &row.line("pressed", "a bottle, twice 0.6 s", words);
        text += &measure(&beginning, by, None, pressed).line("pressed", "a pour of 10 g/s", words);
    }
    text
}

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/signals.md");
const BEGIN: &str = "<!-- made by tests/it/signals.rs -->\n";
const END: &str = "<!-- end -->\n";

#[test]
fn the_page_says_how_late_and_how_often_wrong() {
    let table = table();
    let page = std::fs::read_to_string(PAGE).unwrap();
    let (before, rest) = page.split_once(BEGIN).expect("the page has the table's place");
    let (shown, after) = rest.split_once(END).expect("the table ends");
    let head = "\n| signal | truth | disturbance | delay, median | worst | wrong | missed |\n\
                |---|---|---|---|---|---|---|\n";
    let due = format!("{head}{table}\n");
    if std::env::var_os("PANROOM_BLESS").is_some() {
        std::fs::write(PAGE, format!("{before}{BEGIN}{due}{END}{after}")).unwrap();
        return;
    }
    assert_eq!(shown, due);
}

/// What a capture rests on must not be wrong: rest while caustic still runs.
#[test]
fn nothing_poured_is_ever_rest() {
    let test = Settings::default().rest_test(d(), true);
    for slope in [1.5, 2.0, 5.0, 50.0] {
        for (words, by) in &ALL {
            let truth = move |t: f64| 500.0 + slope * t;
            let row = measure(&truth, by, None, rest(test));
            assert_eq!(row.wrong, 0, "{} g/s, {words}", slope / 10.0);
        }
    }
}
