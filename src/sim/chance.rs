//! Chance that is the same for the same seed, for ever.

/// SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014).
///
/// Our own ten lines and not a crate: a seed in a bug report must give the same run after every
/// update of every dependency.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    pub const fn new(seed: u64) -> Chance {
        Chance(seed)
    }

    /// Another stream of the same seed: what one user draws does not shift what another gets.
    pub fn branch(&self, name: &str) -> Chance {
        // FNV-1a over the name
        let mix =
            |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        Chance(name.bytes().fold(self.0 ^ 0xcbf2_9ce4_8422_2325, mix))
    }

    pub fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Evenly between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.draw() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    /// About normal with mean 0 and standard deviation 1: the sum of twelve even draws, less six.
    /// Never beyond ±6, as no instrument's noise is.
    pub fn noise(&mut self) -> f64 {
        (0..12).map(|_| self.between(0.0, 1.0)).sum::<f64>() - 6.0
    }

    pub fn happens(&mut self, probability: f64) -> bool {
        self.between(0.0, 1.0) < probability
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for seed 1234567, the reference values that implementations of SplitMix64
    /// are commonly checked against.
    #[test]
    fn reference_values() {
        let mut chance = Chance::new(1_234_567);
        let drawn: Vec<u64> = (0..3).map(|_| chance.draw()).collect();
        assert_eq!(
            drawn,
            [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]
        );
    }

    #[test]
    fn noise_has_mean_zero_and_deviation_one() {
        let mut chance = Chance::new(7);
        let drawn: Vec<f64> = (0..20_000).map(|_| chance.noise()).collect();
        let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
        let variance = drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / drawn.len() as f64;
        assert!(mean.abs() < 0.03, "{mean}");
        assert!((variance - 1.0).abs() < 0.05, "{variance}");
    }

    #[test]
    fn branches_are_apart() {
        let root = Chance::new(7);
        assert_ne!(root.branch("scale").draw(), root.branch("hand").draw());
        assert_eq!(root.branch("scale").draw(), root.branch("scale").draw());
    }
}
