use std::collections::VecDeque;

use crate::quantity::{Mass, Moment, Span};

/// Tells that something is poured onto the pan just now: the load has risen in each of the last
/// four half-seconds. A vessel put down has come to stand sooner, however gently.
///
/// Delay: 2 s.
#[derive(Clone, Debug, Default)]
pub struct RiseWindow {
    samples: VecDeque<(Moment, Mass)>,
}

/// The parts of the window, each of which must have risen by one scale interval at least.
const PARTS: i64 = 4;
const PART: Span = Span::from_millis(500);
const KEPT: Span = Span::from_millis(2500);
const SAMPLES_MAX: usize = 512;

impl RiseWindow {
    pub fn push(&mut self, at: Moment, load: Mass) {
        self.samples.push_back((at, load));
        while self.samples.len() > SAMPLES_MAX
            || self.samples.front().is_some_and(|&(first, _)| at.since(first) > KEPT)
        {
            self.samples.pop_front();
        }
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// It rises by at least one `d` in each part, and never falls by as much from one reading to
    /// the next.
    pub fn is_pour(&self, d: Mass) -> bool {
        let Some(&(newest, _)) = self.samples.back() else { return false };
        let marks: Option<Vec<Mass>> = (0..=PARTS)
            .map(|part| self.load_at(newest - Span::from_nanos(PART.nanos() * part)))
            .collect();
        let mut pairs = self.samples.iter().zip(self.samples.iter().skip(1));
        marks.is_some_and(|marks| marks.windows(2).all(|pair| pair[0] - pair[1] >= d))
            && pairs.all(|(before, after)| after.1 > before.1 - d)
    }

    /// The newest load that was there by then.
    fn load_at(&self, at: Moment) -> Option<Mass> {
        self.samples.iter().rev().find(|&&(then, _)| then <= at).map(|&(_, load)| load)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    fn is_pour(tenths: &[i64]) -> bool {
        let d = Mass::from_decimal(1, 1, MassUnit::Gram).unwrap();
        let mut window = RiseWindow::default();
        for (index, &count) in tenths.iter().enumerate() {
            window.push(Moment::from_nanos(index as i64 * 100_000_000), d * count);
        }
        window.is_pour(d)
    }

    #[test]
    fn two_seconds_of_rising_are_a_pour() {
        let rising = |ticks: i64| (0..=ticks).map(|n| 10 * n).collect::<Vec<i64>>();
        assert!(!is_pour(&rising(19)), "1.9 s");
        assert!(is_pour(&rising(20)), "2 s");
    }

    #[test]
    fn one_second_of_rising_is_none_however_it_falls_into_the_window() {
        let mut loads = vec![0; 25];
        loads.extend((1..=10).map(|n| 80 * n));
        loads.extend([800; 25]);
        for end in 21..loads.len() {
            assert!(!is_pour(&loads[..end]), "{end}");
        }
    }

    #[test]
    fn one_interval_in_half_a_second_is_enough() {
        let thread = |per_half: i64| (0..=25).map(|n| n / 5 * per_half).collect::<Vec<i64>>();
        assert!(is_pour(&thread(1)));
        assert!(!is_pour(&thread(0)));
    }

    #[test]
    fn what_is_put_down_is_no_pour() {
        let mut loads = vec![0; 10];
        loads.extend([100, 250, 400, 480, 500]);
        loads.extend([500; 12]);
        for end in 10..loads.len() {
            assert!(!is_pour(&loads[..end]), "{end}");
        }
    }

    /// Noise rises and falls.
    #[test]
    fn noise_is_no_pour() {
        let noise: Vec<i64> = (0..40).map(|n| n / 5 + if n % 2 == 0 { 2 } else { 0 }).collect();
        assert!(!is_pour(&noise));
    }
}
