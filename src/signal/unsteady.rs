use std::collections::VecDeque;

use crate::quantity::{Mass, Moment, Span};

/// Tells a pan that never rests (draught, blender, soft table) from one whose load changes.
///
/// Delay: the whole window.
#[derive(Clone, Debug, Default)]
pub struct UnsteadyWindow {
    samples: VecDeque<(Moment, Mass)>,
}

/// The window is looked at in so many pieces, each of which must be noisy.
const PIECES: i64 = 5;
const SAMPLES_MAX: usize = 2048;

impl UnsteadyWindow {
    pub fn push(&mut self, at: Moment, load: Mass, window: Span) {
        self.samples.push_back((at, load));
        while self.samples.len() > SAMPLES_MAX
            || self.samples.get(1).is_some_and(|&(second, _)| at.since(second) >= window)
        {
            self.samples.pop_front();
        }
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// Every piece of the window spreads by more than `noise`, and the load is the same at both
    /// ends.
    pub fn is_unsteady(&self, window: Span, noise: Mass) -> bool {
        let (Some(&(first, _)), Some(&(last, _))) = (self.samples.front(), self.samples.back())
        else {
            return false;
        };
        if last.since(first) < window {
            return false;
        }
        let piece = Span::from_nanos(last.since(first).nanos() / PIECES);
        let mut means = Vec::new();
        for index in 0..PIECES {
            let from = first + Span::from_nanos(piece.nanos() * index);
            let loads: Vec<Mass> = self
                .samples
                .iter()
                .filter(|&&(at, _)| at >= from && at <= from + piece)
                .map(|&(_, load)| load)
                .collect();
            let (Some(low), Some(high)) = (loads.iter().min(), loads.iter().max()) else {
                return false;
            };
            if *high - *low <= noise {
                return false;
            }
            let sum: Mass = loads.iter().copied().sum();
            means.push(Mass::from_steps(sum.steps() / loads.len() as i64));
        }
        (means[means.len() - 1] - means[0]).abs() <= noise
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    const WINDOW: Span = Span::from_secs(10);

    fn unsteady(load: impl Fn(i64) -> i64) -> bool {
        let d = Mass::from_decimal(1, 1, MassUnit::Gram).unwrap();
        let mut window = UnsteadyWindow::default();
        for tick in 0..120 {
            window.push(Moment::from_nanos(tick * 100_000_000), d * load(tick), WINDOW);
        }
        window.is_unsteady(WINDOW, d * 3)
    }

    #[test]
    fn noise_beyond_three_intervals_is_unsteady() {
        assert!(!unsteady(|tick| 500 + tick % 4), "a spread of three intervals");
        assert!(unsteady(|tick| 500 + tick % 5), "a spread of four");
    }

    #[test]
    fn a_pour_and_a_single_knock_are_not() {
        assert!(!unsteady(|tick| tick * 10));
        assert!(!unsteady(|tick| if tick == 60 { 900 } else { 500 }));
    }
}
