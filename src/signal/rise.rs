use super::recent::Recent;
use crate::quantity::{Mass, Moment, Span};

/// Tells that something is poured onto the pan just now: the load has risen in each of the last
/// four half-seconds. A vessel put down has come to stand sooner, however gently.
///
/// Delay: 2 s.
#[derive(Clone, Debug, Default)]
pub struct RiseWindow {
    samples: Recent,
}

/// The parts of the window.
const PARTS: i64 = 4;
const PART: Span = Span::from_millis(500);
/// Each part has risen by so many intervals at least.
const RISE_D: i64 = 2;
/// No part has risen by more than so many times the newest.
const SLOWING: i64 = 2;
const KEPT: Span = Span::from_millis(2500);

impl RiseWindow {
    pub fn push(&mut self, at: Moment, load: Mass) {
        self.samples.push(at, load, KEPT);
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// It rises in each part, and never falls by one `d` from one reading to
    /// the next. What slows down by much is a slow scale coming to rest.
    pub fn is_pour(&self, d: Mass) -> bool {
        let Some(&(newest, _)) = self.samples.loads().back() else { return false };
        let part = |n: i64| self.load_at(newest - Span::from_nanos(PART.nanos() * n));
        let Some(loads) = (0..=PARTS).map(part).collect::<Option<Vec<Mass>>>() else {
            return false;
        };
        let rises: Vec<Mass> = loads.windows(2).map(|pair| pair[0] - pair[1]).collect();
        let mut pairs = self.samples.loads().iter().zip(self.samples.loads().iter().skip(1));
        rises.iter().all(|&rise| rise >= d * RISE_D && rise <= rises[0] * SLOWING)
            && pairs.all(|(before, after)| after.1 > before.1 - d)
    }

    /// The newest load that was there by then.
    fn load_at(&self, at: Moment) -> Option<Mass> {
        self.samples.loads().iter().rev().find(|&&(then, _)| then <= at).map(|&(_, load)| load)
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
    fn two_intervals_in_half_a_second_are_a_pour() {
        let thread = |per_half: i64| (0..=25).map(|n| n / 5 * per_half).collect::<Vec<i64>>();
        assert!(is_pour(&thread(2)));
        assert!(!is_pour(&thread(1)));
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

    /// The first order lag of a slow scale, of 0.5 s and of 1 s.
    #[test]
    fn a_slow_scale_coming_to_rest_is_no_pour() {
        for lag in [5.0, 10.0] {
            let mut loads = vec![0; 25];
            loads.extend((1..80).map(|n| (500.0 * (1.0 - f64::exp(-f64::from(n) / lag))) as i64));
            for end in 21..loads.len() {
                assert!(!is_pour(&loads[..end]), "{lag}, {end}");
            }
        }
    }

    /// Noise rises and falls.
    #[test]
    fn noise_is_no_pour() {
        let noise: Vec<i64> = (0..40).map(|n| n / 5 + if n % 2 == 0 { 2 } else { 0 }).collect();
        assert!(!is_pour(&noise));
    }
}
