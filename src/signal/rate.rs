use std::collections::VecDeque;

use crate::quantity::{Moment, Span};

/// How fast a signal changes, as the slope of the least-squares line through its last readings.
///
/// Delay: half of the window. A steady pour of 10 g/s is known after one window; a pour that has
/// just stopped still counts as half as fast half a window later.
#[derive(Clone, Debug)]
pub struct RateWindow {
    window: Span,
    samples: VecDeque<(Moment, f64)>,
}

/// A change for each second of time, in the unit the samples came in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    pub per_second: f64,
}

/// Two readings are a difference, three are a trend.
const READINGS_MIN: usize = 3;
const SAMPLES_MAX: usize = 512;

impl RateWindow {
    pub fn new(window: Span) -> RateWindow {
        RateWindow { window, samples: VecDeque::new() }
    }

    /// Takes the next sample; one that is older than the last, or comes after more than a window
    /// of silence, begins anew.
    pub fn push(&mut self, at: Moment, value: f64) {
        if let Some(&(last, _)) = self.samples.back()
            && (at < last || at.since(last) > self.window)
        {
            self.samples.clear();
        }
        self.samples.push_back((at, value));
        while self.samples.len() > SAMPLES_MAX
            || self.samples.front().is_some_and(|&(first, _)| at.since(first) > self.window)
        {
            self.samples.pop_front();
        }
    }

    /// How much time the window holds.
    pub fn covers(&self) -> Span {
        match (self.samples.front(), self.samples.back()) {
            (Some(&(first, _)), Some(&(last, _))) => last.since(first),
            _ => Span::ZERO,
        }
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// `None` while the window holds too little to tell.
    pub fn rate(&self) -> Option<Rate> {
        let &(first, base) = self.samples.front()?;
        let count = self.samples.len();
        if count < READINGS_MIN {
            return None;
        }
        let points = || self.samples.iter().map(|&(at, v)| (at.since(first).seconds(), v - base));
        let mean_t = points().map(|p| p.0).sum::<f64>() / count as f64;
        let mean_v = points().map(|p| p.1).sum::<f64>() / count as f64;
        let spread: f64 = points().map(|p| (p.0 - mean_t).powi(2)).sum();
        let shared: f64 = points().map(|p| (p.0 - mean_t) * (p.1 - mean_v)).sum();
        (spread > 0.0).then(|| Rate { per_second: shared / spread })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fed(values: impl Iterator<Item = f64>) -> RateWindow {
        let mut window = RateWindow::new(Span::from_millis(800));
        for (index, value) in values.enumerate() {
            window.push(Moment::from_nanos(index as i64 * 100_000_000), value);
        }
        window
    }

    #[test]
    fn a_steady_pour_is_known_exactly() {
        let rate = fed((0..20).map(|i| i as f64 * 1.25)).rate().unwrap();
        assert!((rate.per_second - 12.5).abs() < 1e-9);
    }

    #[test]
    fn too_little_says_nothing() {
        assert_eq!(fed([1.0, 2.0].into_iter()).rate(), None);
        let mut window = fed((0..20).map(f64::from));
        window.push(Moment::from_nanos(10_000_000_000), 5.0);
        assert_eq!(window.rate(), None, "what came before a silence is forgotten");
    }

    #[test]
    fn noise_of_one_digit_is_no_pour() {
        // ±0.1 g flicker, no load change: the slope stays below half a gram a second
        let rate = fed((0..40).map(|i| f64::from(i % 2) * 0.1)).rate().unwrap();
        assert!(rate.per_second.abs() < 0.1, "{rate:?}");
    }
}
