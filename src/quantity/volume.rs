use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

use super::parse::{self, QuantityError};

/// A volume as a whole number of microlitres; stored and sent as "1.25 l".
///
/// United States customary units round to the nearest microlitre when read: the gallon is 231
/// cubic inches, 3.785 411 784 l exactly (NIST Handbook 44, appendix C), the fluid ounce 1/128 of
/// it.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(try_from = "String", into = "String")]
pub struct Volume(i64);

/// A unit a vessel is measured in. Quart, gallon and fluid ounce are those of the United States.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum VolumeUnit {
    #[serde(rename = "ml")]
    Millilitre,
    #[default]
    #[serde(rename = "l")]
    Litre,
    #[serde(rename = "fl oz")]
    FluidOunce,
    #[serde(rename = "qt")]
    Quart,
    #[serde(rename = "gal")]
    Gallon,
}

/// Picolitres, in which all of the units are whole numbers.
const PICOLITRES_PER_MICROLITRE: i128 = 1_000_000;

impl VolumeUnit {
    pub const fn symbol(self) -> &'static str {
        match self {
            VolumeUnit::Millilitre => "ml",
            VolumeUnit::Litre => "l",
            VolumeUnit::FluidOunce => "fl oz",
            VolumeUnit::Quart => "qt",
            VolumeUnit::Gallon => "gal",
        }
    }

    pub(super) const fn picolitres(self) -> i128 {
        match self {
            VolumeUnit::Millilitre => 1_000_000_000,
            VolumeUnit::Litre => 1_000_000_000_000,
            VolumeUnit::FluidOunce => 3_785_411_784_000 / 128,
            VolumeUnit::Quart => 3_785_411_784_000 / 4,
            VolumeUnit::Gallon => 3_785_411_784_000,
        }
    }
}

impl Volume {
    pub const ZERO: Volume = Volume(0);
    /// The largest volume a file may name: one cubic metre.
    pub const LARGEST: Volume = Volume(1_000_000_000);

    pub const fn from_microlitres(microlitres: i64) -> Volume {
        Volume(microlitres)
    }

    pub const fn microlitres(self) -> i64 {
        self.0
    }

    pub const fn from_millilitres(millilitres: i64) -> Volume {
        Volume(millilitres * 1000)
    }

    /// Rounds to the nearest microlitre. For masses over a density only.
    pub fn from_millilitres_rounded(millilitres: f64) -> Volume {
        Volume((millilitres * 1000.0).round() as i64)
    }

    /// For densities and drawing; the exact value stays here.
    pub fn millilitres(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// `(25, 1, Litre)` is 2.5 l, rounded to the nearest microlitre. `None` out of range.
    pub fn from_decimal(digits: i64, decimals: u8, unit: VolumeUnit) -> Option<Volume> {
        let step = 10_i128.checked_pow(u32::from(decimals))?;
        let exact = i128::from(digits).checked_mul(unit.picolitres())?;
        let microlitres = parse::div_round(exact, step.checked_mul(PICOLITRES_PER_MICROLITRE)?);
        let volume = i64::try_from(microlitres).ok().map(Volume)?;
        (volume.0.abs() <= Volume::LARGEST.0).then_some(volume)
    }

    /// Reads "4 l", "750 ml", "12 fl oz", "2 qt", "1 gal"; a unit is required.
    pub fn parse(text: &str) -> Result<Volume, QuantityError> {
        parse::volume(text)
    }

    pub fn show(self, unit: VolumeUnit, decimals: u8) -> String {
        let scaled =
            i128::from(self.0) * PICOLITRES_PER_MICROLITRE * 10_i128.pow(u32::from(decimals));
        let digits = parse::div_round(scaled, unit.picolitres()) as i64;
        format!("{} {}", parse::show_digits(digits, decimals), unit.symbol())
    }
}

impl TryFrom<String> for Volume {
    type Error = QuantityError;
    fn try_from(text: String) -> Result<Volume, QuantityError> {
        Volume::parse(&text)
    }
}

impl From<Volume> for String {
    fn from(volume: Volume) -> String {
        let digits = parse::show_digits(volume.0, 6).replace('−', "-");
        format!("{} l", digits.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl Add for Volume {
    type Output = Volume;
    fn add(self, other: Volume) -> Volume {
        Volume(self.0.saturating_add(other.0))
    }
}

impl Sub for Volume {
    type Output = Volume;
    fn sub(self, other: Volume) -> Volume {
        Volume(self.0.saturating_sub(other.0))
    }
}

impl fmt::Display for Volume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.show(VolumeUnit::Litre, 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn customary_units_are_parts_of_231_cubic_inches() {
        // 1 in = 25.4 mm exactly, so 231 cubic inches are 3 785 411.784 µl
        let gallon = (231.0 * 25.4_f64.powi(3)).round() as i64;
        assert_eq!(Volume::parse("1 gal").unwrap().microlitres(), gallon);
        assert_eq!(Volume::parse("4 qt").unwrap(), Volume::parse("1 gal").unwrap());
        assert_eq!(Volume::parse("128 fl oz").unwrap(), Volume::parse("1 gal").unwrap());
        assert_eq!(Volume::parse("12 fl. oz").unwrap(), Volume::parse("12 floz").unwrap());
        assert_eq!(Volume::parse("1 fl oz").unwrap().microlitres(), 29_574);
    }

    #[test]
    fn a_volume_shows_as_it_was_written() {
        for (text, unit, decimals) in [
            ("4.00 l", VolumeUnit::Litre, 2),
            ("750 ml", VolumeUnit::Millilitre, 0),
            ("12.5 fl oz", VolumeUnit::FluidOunce, 1),
            ("2.00 qt", VolumeUnit::Quart, 2),
            ("0.250 gal", VolumeUnit::Gallon, 3),
        ] {
            assert_eq!(Volume::parse(text).unwrap().show(unit, decimals), text);
        }
    }

    #[test]
    fn refusals_say_what_is_expected() {
        for (text, words) in [
            (
                "4",
                "`4` has no unit; expected a volume with its unit, like `4 l`, `750 ml` or `2 qt`",
            ),
            (
                "3 cups",
                "`cups` is not a unit known here; expected a volume with its unit, like `4 l`, \
                 `750 ml` or `2 qt`",
            ),
            ("2000 l", "`2000 l` is out of range; expected a volume of at most 1000 l"),
        ] {
            assert_eq!(Volume::parse(text).unwrap_err().to_string(), words);
        }
    }

    proptest! {
        #[test]
        fn every_microlitre_is_stored_exactly(microlitres in -999_999_999_i64..999_999_999) {
            let text = String::from(Volume(microlitres));
            prop_assert_eq!(Volume::try_from(text.clone()), Ok(Volume(microlitres)), "{}", text);
        }

        #[test]
        fn no_text_panics(text in "\\PC{0,40}") {
            let _ = Volume::parse(&text);
        }
    }
}
