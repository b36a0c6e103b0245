use super::recent::Recent;
use crate::quantity::{Mass, Moment, Span};

/// Tells a load put on (or taken off) at once from a pour.
///
/// Delay: 0.3 s after the load has come to stand. At fewer than ten readings a second it sees
/// nothing, which errs towards "a pour".
#[derive(Clone, Debug, Default)]
pub struct JumpWindow {
    samples: Recent,
}

/// A load that comes within this time came at once.
const RISE_MAX: Span = Span::from_millis(500);
/// It must have stood this long before and after.
const PLATEAU: Span = Span::from_millis(300);
/// Flicker allowed on a plateau, in scale intervals.
const FLICKER_D: i64 = 3;
const KEPT: Span = Span::from_millis(1500);

impl JumpWindow {
    /// Takes the next load; the difference, if more than `least` came or went at once.
    pub fn push(&mut self, at: Moment, load: Mass, d: Mass, least: Mass) -> Option<Mass> {
        self.samples.push(at, load, KEPT);
        let flicker = d * FLICKER_D;
        let after = self.plateau_ending(self.samples.loads().len() - 1, flicker)?;
        let (stood, _) = self.samples.loads()[after];
        let before = (0..after).rev().find(|&index| {
            self.plateau_ending(index, flicker).is_some()
                && (self.samples.loads()[index].1 - load).abs() > flicker
        })?;
        let (left, base) = self.samples.loads()[before];
        let jump = load - base;
        if stood.since(left) > RISE_MAX || jump.abs() <= least {
            return None;
        }
        self.samples.forget_before(after);
        Some(jump)
    }

    /// More than half of the loads of the last half second lie above `limit`, and there are enough
    /// of them to tell.
    pub fn mostly_above(&self, limit: Mass) -> bool {
        let Some(&(newest, _)) = self.samples.loads().back() else { return false };
        let lately =
            || self.samples.loads().iter().filter(|&&(at, _)| newest.since(at) <= RISE_MAX);
        let above = lately().filter(|&&(_, load)| load > limit).count();
        lately().count() >= 3 && above * 2 > lately().count()
    }

    pub fn clear(&mut self) {
        self.samples.clear();
    }

    /// Where the plateau that ends at `index` begins, if it is one.
    fn plateau_ending(&self, index: usize, flicker: Mass) -> Option<usize> {
        let (end, level) = self.samples.loads()[index];
        let mut first = index;
        while first > 0 && (self.samples.loads()[first - 1].1 - level).abs() <= flicker {
            first -= 1;
        }
        (end.since(self.samples.loads()[first].0) >= PLATEAU).then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    fn jumps(tenths: &[i64]) -> Vec<Mass> {
        let d = Mass::from_decimal(1, 1, MassUnit::Gram).unwrap();
        let mut window = JumpWindow::default();
        let pushed = tenths.iter().enumerate().filter_map(|(index, &count)| {
            let at = Moment::from_nanos(index as i64 * 100_000_000);
            window.push(at, d * count, d, d * 20)
        });
        pushed.collect()
    }

    #[test]
    fn a_load_put_on_is_seen_once() {
        let mut loads = vec![0; 10];
        loads.extend([400, 840]);
        loads.extend([840; 20]);
        assert_eq!(jumps(&loads), [Mass::parse("84 g").unwrap()]);
    }

    #[test]
    fn twenty_intervals_are_not_yet_a_load() {
        let step = |count: i64| [vec![0; 10], vec![count; 10]].concat();
        assert_eq!(jumps(&step(20)), []);
        assert_eq!(jumps(&step(21)), [Mass::parse("2.1 g").unwrap()]);
    }

    #[test]
    fn a_pour_is_not_a_load() {
        let pour: Vec<i64> = (0..60).map(|i: i64| (i - 10).clamp(0, 30) * 20).collect();
        assert_eq!(jumps(&pour), []);
    }
}
