use serde::{Deserialize, Serialize};

use crate::quantity::{Temperature, TemperatureDelta, TemperatureUnit};

/// The peak to expect while the caustic dissolves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExpectedLye {
    /// `None` where only "at most" can be said: cold bath, portions, potassium hydroxide.
    pub low: Option<Temperature>,
    /// Without any loss, at the working purity.
    pub lossless: Temperature,
    /// Without any loss, at the highest credible purity.
    pub high: Temperature,
}

/// What a measured peak says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DissolveVerdict {
    AsExpected,
    TooCool,
    TooHot,
}

impl ExpectedLye {
    /// Judges the highest temperature seen while dissolving, with a thermometer that may be wrong
    /// by ± `limits`. `None` where a cool lye proves nothing and it was not too hot.
    pub fn judge(&self, peak: Temperature, limits: TemperatureDelta) -> Option<DissolveVerdict> {
        if peak > self.high + limits {
            return Some(DissolveVerdict::TooHot);
        }
        let low = self.low?;
        let cool = peak < low - limits;
        Some(if cool { DissolveVerdict::TooCool } else { DissolveVerdict::AsExpected })
    }

    /// Words where the caustic may boil the water around it and spatter, although the lye itself
    /// does not boil. `None` well below water's boiling point.
    pub fn spatter(&self, water_boils: Temperature, unit: TemperatureUnit) -> Option<String> {
        (self.high >= water_boils).then(|| {
            format!(
                "the lye may reach {}, and water boils at {} here: it can boil where the caustic \
                 lies and spatter; add the caustic in small portions, stir, keep your face away",
                self.high.show(unit, 0),
                water_boils.show(unit, 0)
            )
        })
    }

    /// Words where the lye as a whole may boil. `None` below its boiling point; of potassium
    /// hydroxide lye that point is not known, only that it lies above water's.
    pub fn boils(&self, lye_boils: Temperature, unit: TemperatureUnit) -> Option<String> {
        (self.high >= lye_boils).then(|| {
            format!(
                "the lye may boil, at {}: cool it, use ice or more liquid, and add the caustic in \
                 small portions",
                lye_boils.show(unit, 0)
            )
        })
    }

    /// The range as it is shown: "82 °C to 98 °C", "at most 98 °C".
    pub fn words(&self, unit: TemperatureUnit) -> String {
        let high = self.high.show(unit, 0);
        match self.low {
            Some(low) => format!("{} to {high}", low.show(unit, 0)),
            None => format!("at most {high}"),
        }
    }
}

impl DissolveVerdict {
    pub const fn words(self) -> &'static str {
        match self {
            DissolveVerdict::AsExpected => "the lye warmed as its caustic should",
            DissolveVerdict::TooCool => {
                "the lye stayed cooler than its caustic should make it: damp or carbonated \
                 caustic, the wrong caustic, not all of it tipped in or dissolved, or a colder \
                 start than declared"
            }
            DissolveVerdict::TooHot => {
                "the lye became hotter than its caustic can make it: more caustic or less liquid \
                 than weighed, another caustic than named, or a warmer start than declared"
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_is_judged_against_the_range() {
        let [low, lossless, high] = [75, 92, 93].map(Temperature::from_celsius);
        let expected = ExpectedLye { low: Some(low), lossless, high };
        let limits = TemperatureDelta::from_kelvin(2);
        let judged = |celsius| expected.judge(Temperature::from_celsius(celsius), limits);
        assert_eq!(judged(72), Some(DissolveVerdict::TooCool));
        // the thermometer may be wrong by 2 K, to either side
        assert_eq!(judged(74), Some(DissolveVerdict::AsExpected));
        assert_eq!(judged(95), Some(DissolveVerdict::AsExpected));
        assert_eq!(judged(90), Some(DissolveVerdict::AsExpected));
        assert_eq!(judged(96), Some(DissolveVerdict::TooHot));
        let bath = ExpectedLye { low: None, ..expected };
        assert_eq!(bath.judge(Temperature::from_celsius(60), limits), None);
        assert_eq!(
            bath.judge(Temperature::from_celsius(100), limits),
            Some(DissolveVerdict::TooHot)
        );
        assert_eq!(expected.words(TemperatureUnit::Celsius), "75 °C to 93 °C");
        assert_eq!(bath.words(TemperatureUnit::Fahrenheit), "at most 199 °F");
        let [far, near] = [110, 93].map(Temperature::from_celsius);
        assert_eq!(expected.boils(far, TemperatureUnit::Celsius), None);
        let words = expected.boils(near, TemperatureUnit::Celsius).unwrap();
        assert!(words.starts_with("the lye may boil, at 93 °C"), "{words}");
        let water = Temperature::from_celsius(90);
        assert!(expected.spatter(water, TemperatureUnit::Celsius).unwrap().contains("93 °C"));
        assert_eq!(expected.spatter(Temperature::from_celsius(99), TemperatureUnit::Celsius), None);
    }
}
