use std::collections::VecDeque;

use crate::quantity::{Mass, Moment, Span};
use crate::reading::Reading;

/// The last few seconds of one scale, to tell rest from a thin thread still running.
///
/// Delay: at rest no earlier than [`RestTest::window`] after the last change.
#[derive(Clone, Debug, Default)]
pub struct RestWindow {
    samples: VecDeque<(Moment, Mass)>,
    /// The newest reading's own flag; an instrument without one never denies.
    flag_allows: bool,
}

/// Our own test of rest, beside the instrument's flag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RestTest {
    pub window: Span,
    pub readings_min: usize,
    pub spread_max: Mass,
    /// A slope that amounts to this much over the window is still a pour.
    pub creep_max: Mass,
    /// Readings further apart than this do not belong to one rest.
    pub gap_max: Span,
}

/// A stream faster than this is thinned by dropping the oldest; 100 readings/s fill it in 10 s.
const SAMPLES_MAX: usize = 1024;

impl RestWindow {
    /// Takes the next reading. One that cannot be trusted, or one after a silence, empties the
    /// window: what came before says nothing about what comes after.
    pub fn push(&mut self, reading: &Reading, test: &RestTest) {
        let Some(mass) = reading.mass().filter(|_| reading.status.is_trusted()) else {
            self.clear();
            return;
        };
        if let Some(&(last, _)) = self.samples.back()
            && (reading.at < last || reading.at.since(last) > test.gap_max)
        {
            self.clear();
        }
        self.flag_allows = reading.status.allows_rest();
        self.samples.push_back((reading.at, mass));
        while self.samples.len() > SAMPLES_MAX || self.covers_without_oldest(test.window) {
            self.samples.pop_front();
        }
    }

    pub fn clear(&mut self) {
        self.samples.clear();
        self.flag_allows = false;
    }

    /// The mass at rest, if it is at rest: the newest reading.
    pub fn at_rest(&self, test: &RestTest) -> Option<Mass> {
        let (&(first, _), &(last, mass)) = (self.samples.front()?, self.samples.back()?);
        let long_enough = last.since(first) >= test.window;
        let enough = self.samples.len() >= test.readings_min;
        let (low, high) = self.extent()?;
        let still = high - low <= test.spread_max && self.creep() < test.creep_max.grams();
        (self.flag_allows && long_enough && enough && still).then_some(mass)
    }

    /// Lowest and highest mass of the window.
    pub fn extent(&self) -> Option<(Mass, Mass)> {
        let masses = || self.samples.iter().map(|&(_, mass)| mass);
        Some((masses().min()?, masses().max()?))
    }

    fn covers_without_oldest(&self, window: Span) -> bool {
        match (self.samples.get(1), self.samples.back()) {
            (Some(&(second, _)), Some(&(last, _))) => last.since(second) >= window,
            _ => false,
        }
    }

    /// How far the least-squares line through the window moves over it, in grams, without sign.
    fn creep(&self) -> f64 {
        let Some(&(first, base)) = self.samples.front() else { return f64::INFINITY };
        let points: Vec<(f64, f64)> = self
            .samples
            .iter()
            .map(|&(at, mass)| (at.since(first).seconds(), (mass - base).grams()))
            .collect();
        let count = points.len() as f64;
        let mean_t = points.iter().map(|p| p.0).sum::<f64>() / count;
        let mean_m = points.iter().map(|p| p.1).sum::<f64>() / count;
        let spread_t: f64 = points.iter().map(|p| (p.0 - mean_t).powi(2)).sum();
        if spread_t == 0.0 {
            return f64::INFINITY;
        }
        let slope = points.iter().map(|p| (p.0 - mean_t) * (p.1 - mean_m)).sum::<f64>() / spread_t;
        let length = points.last().map_or(0.0, |p| p.0);
        (slope * length).abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;
    use crate::reading::{Channel, Status, Value};

    const STEP_MS: i64 = 100;

    fn test() -> RestTest {
        RestTest {
            window: Span::from_secs(2),
            readings_min: 5,
            spread_max: tenths(1),
            creep_max: Mass::parse("0.05 g").unwrap(),
            gap_max: Span::from_secs(1),
        }
    }

    fn tenths(count: i64) -> Mass {
        Mass::from_decimal(count, 1, MassUnit::Gram).unwrap()
    }

    fn reading(at_ms: i64, count: i64, status: Status) -> Reading {
        let value = Value::Mass {
            mass: tenths(count),
            unit: MassUnit::Gram,
            decimals: 1,
            unit_on_wire: true,
        };
        let at = Moment::from_nanos(0) + Span::from_millis(at_ms);
        Reading { channel: Channel::new("scale"), at, value: Some(value), status }
    }

    /// Tenths of a gram, one every `STEP_MS`.
    fn window_of(counts: &[i64]) -> RestWindow {
        let mut window = RestWindow::default();
        for (index, &count) in counts.iter().enumerate() {
            window.push(&reading(index as i64 * STEP_MS, count, Status::Stable), &test());
        }
        window
    }

    #[test]
    fn rest_takes_two_whole_seconds() {
        assert_eq!(window_of(&[50; 20]).at_rest(&test()), None);
        assert_eq!(window_of(&[50; 21]).at_rest(&test()), Some(tenths(50)));
    }

    #[test]
    fn slow_instruments_need_five_readings() {
        let mut window = RestWindow::default();
        for index in 0..5 {
            assert_eq!(window.at_rest(&test()), None);
            window.push(&reading(index * 900, 50, Status::Unstated), &test());
        }
        // the window keeps what covers two seconds: four readings 900 ms apart are too few
        assert_eq!(window.at_rest(&test()), None);
        let mut window = RestWindow::default();
        (0..5).for_each(|i| window.push(&reading(i * 500, 50, Status::Unstated), &test()));
        assert_eq!(window.at_rest(&test()), Some(tenths(50)));
    }

    #[test]
    fn a_thin_thread_is_not_rest() {
        // 0.1 g in two seconds: the spread alone would pass
        let thread: Vec<i64> = (0..21).map(|i| if i < 10 { 50 } else { 51 }).collect();
        assert_eq!(window_of(&thread).at_rest(&test()), None);
        let flicker: Vec<i64> = (0..21).map(|i| 50 + i % 2).collect();
        assert!(window_of(&flicker).at_rest(&test()).is_some());
    }

    #[test]
    fn the_flag_of_the_instrument_can_deny() {
        let mut window = window_of(&[50; 30]);
        window.push(&reading(3000, 50, Status::InMotion), &test());
        assert_eq!(window.at_rest(&test()), None);
    }

    #[test]
    fn doubt_and_silence_empty_the_window() {
        for status in [Status::Fault, Status::OverLimit, Status::NeedsCalibration] {
            let mut window = window_of(&[50; 30]);
            window.push(&reading(3000, 50, status), &test());
            window.push(&reading(3100, 50, Status::Stable), &test());
            assert_eq!(window.at_rest(&test()), None, "{status:?}");
        }
        let mut window = window_of(&[50; 30]);
        window.push(&reading(2900 + 1001, 50, Status::Stable), &test());
        assert_eq!(window.at_rest(&test()), None);
    }

    #[test]
    fn a_fast_stream_stays_bounded() {
        let mut window = RestWindow::default();
        for index in 0..10_000 {
            window.push(&reading(index, 50, Status::Stable), &test());
        }
        assert!(window.samples.len() <= SAMPLES_MAX);
    }
}
