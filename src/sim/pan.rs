//! A scale: how a load becomes a number on its display.

use super::chance::Chance;

/// The load cell and pan as a damped spring, then the instrument's own filter. Ours, chosen to
/// look like a small kitchen or workshop scale: it rings a little and settles within a second.
const RING_HZ: f64 = 2.5;
const DAMPING: f64 = 0.5;
const FILTER_S: f64 = 0.15;
/// What a good scale comes with.
const NOISE_D: f64 = 0.2;
/// No number is shown above capacity and nine intervals (OIML R 76-1).
const ABOVE_CAPACITY_D: f64 = 9.0;
/// The instrument calls itself stable when so many readings lie within one interval.
const STABLE_READINGS: usize = 8;
/// A bump of the table throws the pan at so many grams a second.
const KNOCK_G_PER_S: f64 = 900.0;

#[derive(Clone, Debug)]
pub struct Scale {
    pub d_g: f64,
    pub capacity_g: f64,
    /// What the instrument takes for nought.
    zero_g: f64,
    pub drift_g_per_s: f64,
    /// Noise of one reading, in scale intervals.
    pub noise_d: f64,
    position_g: f64,
    speed_g_per_s: f64,
    filtered_g: f64,
    recent: [i64; STABLE_READINGS],
    chance: Chance,
}

/// One number on the display, counted in scale intervals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    Stable(i64),
    Moving(i64),
    Over,
}

impl Scale {
    pub fn new(d_g: f64, capacity_g: f64, chance: Chance) -> Scale {
        Scale {
            d_g,
            capacity_g,
            zero_g: 0.0,
            drift_g_per_s: 0.0,
            noise_d: NOISE_D,
            position_g: 0.0,
            speed_g_per_s: 0.0,
            filtered_g: 0.0,
            recent: [0; STABLE_READINGS],
            chance,
        }
    }

    /// Lets `dt_s` (at most 20 ms) go by under a load.
    pub fn step(&mut self, load_g: f64, dt_s: f64) {
        let omega = std::f64::consts::TAU * RING_HZ;
        let pull = omega * omega * (load_g - self.position_g);
        self.speed_g_per_s += dt_s * (pull - 2.0 * DAMPING * omega * self.speed_g_per_s);
        self.position_g += dt_s * self.speed_g_per_s;
        let part = 1.0 - (-dt_s / FILTER_S).exp();
        self.filtered_g += (self.position_g - self.filtered_g) * part;
        self.zero_g -= self.drift_g_per_s * dt_s;
    }

    /// Somebody bumps the table.
    pub fn knock(&mut self) {
        self.knock_by(KNOCK_G_PER_S);
    }

    pub fn knock_by(&mut self, g_per_s: f64) {
        self.speed_g_per_s -= g_per_s;
    }

    /// A foot of the scale moves, and with it the zero.
    pub fn slip(&mut self, by_g: f64) {
        self.zero_g -= by_g;
    }

    /// Takes the present load for nought, as some instruments do when they wake.
    pub fn zero_here(&mut self) {
        self.zero_g = self.filtered_g;
    }

    /// The next reading.
    pub fn read(&mut self) -> Shown {
        let noisy = self.filtered_g - self.zero_g + self.chance.noise() * self.noise_d * self.d_g;
        let count = (noisy / self.d_g).round() as i64;
        self.recent.rotate_left(1);
        self.recent[STABLE_READINGS - 1] = count;
        if noisy > self.capacity_g + ABOVE_CAPACITY_D * self.d_g {
            return Shown::Over;
        }
        let (low, high) = self
            .recent
            .iter()
            .fold((i64::MAX, i64::MIN), |(low, high), &one| (low.min(one), high.max(one)));
        if high - low <= 1 { Shown::Stable(count) } else { Shown::Moving(count) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scale() -> Scale {
        Scale::new(0.1, 3000.0, Chance::new(3))
    }

    /// Readings of a tenth of a second each.
    fn readings(scale: &mut Scale, load_g: f64, count: usize) -> Vec<Shown> {
        let mut shown = Vec::new();
        for _ in 0..count {
            (0..10).for_each(|_| scale.step(load_g, 0.01));
            shown.push(scale.read());
        }
        shown
    }

    #[test]
    fn a_load_settles_to_its_mass() {
        let mut scale = scale();
        let mut highest = 0.0_f64;
        for _ in 0..100 {
            scale.step(812.4, 0.01);
            highest = highest.max(scale.position_g);
        }
        // overshoot of a damped second-order system:
        // exp(−πζ/√(1−ζ²)) = 16.3 % at ζ = 0.5
        let over = (highest - 812.4) / 812.4;
        assert!((over - 0.163).abs() < 0.03, "{over}");
        assert!(matches!(readings(&mut scale, 812.4, 40)[39], Shown::Stable(8123..=8125)));
        let shown = readings(&mut scale, 0.0, 40);
        assert!(matches!(shown[0], Shown::Moving(_)) && matches!(shown[39], Shown::Stable(-1..=1)));
    }

    #[test]
    fn overload_begins_nine_intervals_above_capacity() {
        let mut scale = scale();
        assert!(matches!(readings(&mut scale, 3000.5, 40)[39], Shown::Stable(_)));
        assert_eq!(readings(&mut scale, 3001.5, 40)[39], Shown::Over);
    }

    #[test]
    fn a_steady_pour_reads_late_by_ring_and_filter() {
        // a second-order system follows a ramp late by 2ζ/ω, a filter by its time constant
        let mut scale = scale();
        let pace = 20.0;
        for step in 0..1000 {
            scale.step(pace * f64::from(step) * 0.01, 0.01);
        }
        let late_s = (pace * 9.99 - scale.filtered_g) / pace;
        let expected = 2.0 * DAMPING / (std::f64::consts::TAU * RING_HZ) + FILTER_S;
        assert!((late_s - expected).abs() < 0.015, "{late_s} s, expected {expected} s");
    }

    #[test]
    fn a_knock_moves_it_and_it_comes_back() {
        let mut scale = scale();
        readings(&mut scale, 100.0, 40);
        scale.knock();
        let shown = readings(&mut scale, 100.0, 40);
        assert!(shown.iter().any(|one| matches!(one, Shown::Moving(count) if *count < 900)));
        assert!(matches!(shown[39], Shown::Stable(999..=1001)));
    }
}
