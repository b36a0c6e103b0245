use std::collections::VecDeque;

use crate::quantity::{Moment, Span, Temperature, TemperatureDelta};

/// Whether a probe that was put somewhere else has come to show that place.
///
/// Settled: its readings of at least `window` lie within `spread` of each other. Delay: a probe
/// follows a jump with its time constant τ, so what it still lacks when it passes for settled is
/// at most spread ÷ (e^(window/τ) − 1): with 5 s and 1 K that is 0.4 K for τ = 4 s, and 2.5 K for
/// τ = 15 s.
#[derive(Clone, Debug, Default)]
pub struct SettleWindow {
    readings: VecDeque<(Moment, Temperature)>,
    settled: Option<(Moment, Temperature)>,
}

/// More readings than this in a window tell nothing new.
const READINGS_MAX: usize = 512;

impl SettleWindow {
    /// It is somewhere else now: what it said before says nothing.
    pub fn clear(&mut self) {
        *self = SettleWindow::default();
    }

    /// A break in the readings: it has to settle anew, but what it had settled at is not forgotten.
    pub fn interrupt(&mut self) {
        self.readings.clear();
    }

    pub fn push(&mut self, at: Moment, value: Temperature, window: Span, spread: TemperatureDelta) {
        self.readings.push_back((at, value));
        // one reading that old is kept, so that the others can cover the whole window
        while self.readings.len() > READINGS_MAX
            || self.readings.get(1).is_some_and(|&(second, _)| at.since(second) >= window)
        {
            self.readings.pop_front();
        }
        if self.is_level(at, window, spread) {
            self.settled = Some((at, value));
        }
    }

    /// The newest reading, if it stands settled.
    pub fn now(&self) -> Option<(Moment, Temperature)> {
        self.settled.filter(|settled| self.readings.back() == Some(settled))
    }

    /// The last reading at which it stood settled in this place.
    pub fn last(&self) -> Option<(Moment, Temperature)> {
        self.settled
    }

    /// It has fallen so far below its last settled reading.
    pub fn has_fallen(&self, by: TemperatureDelta) -> bool {
        match (self.settled, self.readings.back()) {
            (Some((_, settled)), Some(&(_, newest))) => settled - newest > by,
            _ => false,
        }
    }

    fn is_level(&self, at: Moment, window: Span, spread: TemperatureDelta) -> bool {
        let covered = self.readings.front().is_some_and(|&(first, _)| at.since(first) >= window);
        let values = || self.readings.iter().map(|&(_, value)| value);
        let range = values().min().zip(values().max());
        covered && range.is_some_and(|(low, high)| high - low <= spread)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDOW: Span = Span::from_secs(5);
    const SPREAD: TemperatureDelta = TemperatureDelta::from_kelvin(1);

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    fn fed(celsius: impl Fn(f64) -> f64, from_ms: i64, until_ms: i64) -> SettleWindow {
        let mut window = SettleWindow::default();
        for ms in (from_ms..=until_ms).step_by(500) {
            let value = Temperature::from_celsius_rounded(celsius(ms as f64 / 1000.0));
            window.push(at(ms), value, WINDOW, SPREAD);
        }
        window
    }

    #[test]
    fn five_seconds_and_not_less() {
        assert!(fed(|_| 40.0, 0, 4500).now().is_none());
        assert!(fed(|_| 40.0, 0, 5000).now().is_some());
    }

    #[test]
    fn one_kelvin_and_not_more() {
        let steps = |high: f64| move |t: f64| if (t * 2.0) as i64 % 2 == 0 { 40.0 } else { high };
        assert!(fed(steps(41.0), 0, 6000).now().is_some());
        assert!(fed(steps(41.001), 0, 6000).now().is_none());
    }

    /// A first-order probe (the usual model of a sheathed thermometer, IEC 60751 response time)
    /// goes from 20 to 60 °C: when it passes for settled it lacks no more than the doc says.
    #[test]
    fn what_it_lacks_when_settled_is_bounded() {
        for (constant, lacks) in [(4.0, 0.45), (15.0, 2.6)] {
            let real = |t: f64| 60.0 - 40.0 * (-t / constant).exp();
            let settled = (0..200)
                .map(|half| fed(real, 0, half * 500))
                .find_map(|window| window.now())
                .unwrap();
            let lacking = 60.0 - settled.1.celsius();
            assert!((0.0..lacks).contains(&lacking), "time constant {constant} s: {lacking} K");
        }
    }

    #[test]
    fn taken_out_it_has_fallen_and_keeps_what_it_had() {
        let mut window = fed(|_| 60.0, 0, 6000);
        let five = TemperatureDelta::from_kelvin(5);
        window.push(at(6500), Temperature::from_celsius(55), WINDOW, SPREAD);
        assert!(!window.has_fallen(five), "5 K are not more than 5 K");
        assert_eq!(window.now(), None);
        window.push(at(7000), Temperature::from_celsius_rounded(54.9), WINDOW, SPREAD);
        assert!(window.has_fallen(five));
        assert_eq!(window.last(), Some((at(6000), Temperature::from_celsius(60))));
        window.clear();
        assert_eq!(window.last(), None);
    }

    /// One reading in ten seconds still covers the window.
    #[test]
    fn a_slow_instrument_settles_too() {
        let mut window = SettleWindow::default();
        window.push(at(0), Temperature::from_celsius(40), WINDOW, SPREAD);
        assert!(window.now().is_none(), "one reading is no level");
        window.push(at(10_000), Temperature::from_celsius(40), WINDOW, SPREAD);
        assert!(window.now().is_some());
    }
}
