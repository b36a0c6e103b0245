use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

use serde::{Deserialize, Serialize};

use super::parse::{self, QuantityError};

/// A mass as a whole number of picograms.
///
/// The international avoirdupois ounce is 28.349 523 125 g by definition (international yard and
/// pound agreement of 1959), so 0.001 oz is 28 349 523 125 pg exactly. The range is ±9 tonnes.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Mass(i64);

/// A unit a maker weighs in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum MassUnit {
    #[serde(rename = "mg")]
    Milligram,
    #[default]
    #[serde(rename = "g")]
    Gram,
    #[serde(rename = "kg")]
    Kilogram,
    #[serde(rename = "oz")]
    Ounce,
    #[serde(rename = "lb")]
    Pound,
    /// Pounds and ounces together, as in "1 lb 4.25 oz".
    #[serde(rename = "lb+oz")]
    PoundOunce,
}

const STEPS_PER_G: i64 = 1_600_000_000;
const STEPS_PER_OZ: i64 = 45_359_237_000;
/// Decimals of a gram that show every step: 625 pg is 0.000 000 000 625 g.
const EXACT_DECIMALS: u8 = 12;

impl MassUnit {
    /// One of this unit. For pounds and ounces together: one ounce.
    pub const fn one(self) -> Mass {
        Mass(match self {
            MassUnit::Milligram => STEPS_PER_G / 1000,
            MassUnit::Gram => STEPS_PER_G,
            MassUnit::Kilogram => STEPS_PER_G * 1000,
            MassUnit::Ounce | MassUnit::PoundOunce => STEPS_PER_OZ,
            MassUnit::Pound => STEPS_PER_OZ * 16,
        })
    }

    /// The sign written behind a number.
    pub const fn symbol(self) -> &'static str {
        match self {
            MassUnit::Milligram => "mg",
            MassUnit::Gram => "g",
            MassUnit::Kilogram => "kg",
            MassUnit::Ounce | MassUnit::PoundOunce => "oz",
            MassUnit::Pound => "lb",
        }
    }

    /// Decimals that suit a bench when nothing better is known.
    pub const fn bench_decimals(self) -> u8 {
        match self {
            MassUnit::Milligram => 0,
            MassUnit::Gram => 1,
            MassUnit::Kilogram | MassUnit::Pound => 3,
            MassUnit::Ounce | MassUnit::PoundOunce => 2,
        }
    }
}

impl fmt::Display for MassUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            MassUnit::PoundOunce => "lb+oz",
            unit => unit.symbol(),
        })
    }
}

impl Mass {
    pub const ZERO: Mass = Mass(0);
    /// The largest mass a file may name: one tonne. Sums of a few thousand stay in range.
    pub const LARGEST: Mass = Mass(1_000_000 * STEPS_PER_G);

    pub const fn from_steps(steps: i64) -> Mass {
        Mass(steps)
    }

    pub const fn steps(self) -> i64 {
        self.0
    }

    /// Rounds to the nearest step; not-a-number becomes zero. For results of chemistry only.
    pub fn from_grams_rounded(grams: f64) -> Mass {
        Mass((grams * STEPS_PER_G as f64).round() as i64)
    }

    /// For chemistry and for drawing; the exact value stays here.
    pub fn grams(self) -> f64 {
        self.0 as f64 / STEPS_PER_G as f64
    }

    /// The value in `unit`, for drawing and for the model of chemistry.
    pub fn in_unit(self, unit: MassUnit) -> f64 {
        self.0 as f64 / unit.one().0 as f64
    }

    /// A count of decimal steps of a unit: `(12345, 2, Gram)` is 123.45 g. `None` out of range.
    pub fn from_decimal(digits: i64, decimals: u8, unit: MassUnit) -> Option<Mass> {
        let step = 10_i128.checked_pow(u32::from(decimals))?;
        let exact = i128::from(digits).checked_mul(i128::from(unit.one().0))?;
        let mass = i64::try_from(parse::div_round(exact, step)).ok().map(Mass)?;
        (mass.abs() <= Mass::LARGEST).then_some(mass)
    }

    /// Reads "12.5 g", "0.25 oz", "1.2 kg", "1 lb 4 oz"; a unit is required.
    pub fn parse(text: &str) -> Result<Mass, QuantityError> {
        parse::mass(text)
    }

    /// The unit a text names, so that an answer can be given in the same one.
    pub fn parse_with_unit(text: &str) -> Result<(Mass, MassUnit), QuantityError> {
        parse::mass_with_unit(text)
    }

    pub const fn abs(self) -> Mass {
        Mass(self.0.saturating_abs())
    }

    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// The largest multiple of `step` not above this mass (toward minus infinity).
    pub const fn floor_to(self, step: Mass) -> Mass {
        Mass(self.0.div_euclid(step.0) * step.0)
    }

    /// The multiple of `step` nearest to this mass, halves away from zero.
    pub fn round_to(self, step: Mass) -> Mass {
        let steps = parse::div_round(i128::from(self.0), i128::from(step.0));
        Mass(steps as i64 * step.0)
    }

    /// `self × numerator ÷ denominator`, rounded to the nearest step.
    pub fn scaled(self, numerator: Mass, denominator: Mass) -> Mass {
        let exact = i128::from(self.0) * i128::from(numerator.0);
        Mass(parse::div_round(exact, i128::from(denominator.0)) as i64)
    }

    /// With `decimals` digits behind the point; one sign, `−`, for below zero.
    pub fn show(self, unit: MassUnit, decimals: u8) -> String {
        if unit == MassUnit::PoundOunce {
            return self.show_pounds_and_ounces(decimals);
        }
        let digits = self.digits(unit, decimals);
        format!("{} {}", parse::show_digits(digits, decimals), unit.symbol())
    }

    /// The number alone, for a column that names its unit once.
    pub fn show_number(self, unit: MassUnit, decimals: u8) -> String {
        parse::show_digits(self.digits(unit, decimals), decimals)
    }

    /// Exact, without padding: what is stored.
    fn exact(self) -> String {
        let digits =
            parse::show_digits(self.digits(MassUnit::Gram, EXACT_DECIMALS), EXACT_DECIMALS);
        let trimmed = digits.trim_end_matches('0').trim_end_matches('.').replace('−', "-");
        format!("{trimmed} g")
    }

    fn digits(self, unit: MassUnit, decimals: u8) -> i64 {
        let scaled = i128::from(self.0) * 10_i128.pow(u32::from(decimals));
        parse::div_round(scaled, i128::from(unit.one().0)) as i64
    }

    fn show_pounds_and_ounces(self, decimals: u8) -> String {
        let step = 10_i64.pow(u32::from(decimals));
        let digits = self.digits(MassUnit::Ounce, decimals);
        let (pounds, rest) = (digits.abs() / (16 * step), digits.abs() % (16 * step));
        let sign = if digits < 0 { "−" } else { "" };
        let ounces = parse::show_digits(rest, decimals);
        if pounds == 0 {
            return format!("{sign}{ounces} oz");
        }
        format!("{sign}{pounds} lb {ounces} oz")
    }
}

impl TryFrom<String> for Mass {
    type Error = QuantityError;
    fn try_from(text: String) -> Result<Mass, QuantityError> {
        Mass::parse(&text)
    }
}

impl From<Mass> for String {
    fn from(mass: Mass) -> String {
        mass.exact()
    }
}

impl Add for Mass {
    type Output = Mass;
    fn add(self, other: Mass) -> Mass {
        Mass(self.0.saturating_add(other.0))
    }
}

impl Sub for Mass {
    type Output = Mass;
    fn sub(self, other: Mass) -> Mass {
        Mass(self.0.saturating_sub(other.0))
    }
}

impl AddAssign for Mass {
    fn add_assign(&mut self, other: Mass) {
        *self = *self + other;
    }
}

impl SubAssign for Mass {
    fn sub_assign(&mut self, other: Mass) {
        *self = *self - other;
    }
}

impl Neg for Mass {
    type Output = Mass;
    fn neg(self) -> Mass {
        Mass(self.0.saturating_neg())
    }
}

impl Mul<i64> for Mass {
    type Output = Mass;
    fn mul(self, times: i64) -> Mass {
        Mass(self.0.saturating_mul(times))
    }
}

impl Sum for Mass {
    fn sum<I: Iterator<Item = Mass>>(masses: I) -> Mass {
        masses.fold(Mass::ZERO, Add::add)
    }
}

impl fmt::Display for Mass {
    /// Milligrams of a gram: for logs and messages where no maker's unit is known.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.show(MassUnit::Gram, 3))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn thousandths_of_gram_and_ounce_are_exact() {
        assert_eq!(Mass::from_decimal(1, 3, MassUnit::Gram), Some(Mass(1_600_000)));
        assert_eq!(Mass::from_decimal(1, 3, MassUnit::Ounce), Some(Mass(45_359_237)));
        // 1 lb = 453.592 37 g: international yard and pound agreement, 1959
        assert_eq!(Mass::parse("1 lb").unwrap(), Mass::parse("453.59237 g").unwrap());
    }

    #[test]
    fn pounds_and_ounces_show_and_read_back() {
        let mass = Mass::parse("1 lb 4.25 oz").unwrap();
        assert_eq!(mass, Mass::parse("20.25 oz").unwrap());
        assert_eq!(mass.show(MassUnit::PoundOunce, 2), "1 lb 4.25 oz");
        assert_eq!((-mass).show(MassUnit::PoundOunce, 2), "−1 lb 4.25 oz");
        assert_eq!(Mass::parse("15.999 oz").unwrap().show(MassUnit::PoundOunce, 2), "1 lb 0.00 oz");
    }

    #[test]
    fn flooring_goes_down_on_both_sides_of_zero() {
        let d = Mass::parse("0.1 g").unwrap();
        let floor = |text| Mass::parse(text).unwrap().floor_to(d);
        assert_eq!(floor("1.29 g"), Mass::parse("1.2 g").unwrap());
        assert_eq!((-Mass::parse("1.29 g").unwrap()).floor_to(d), -Mass::parse("1.3 g").unwrap());
    }

    proptest! {
        #[test]
        fn every_step_is_stored_exactly(steps in -1_600_000_000_000_000_i64..1_600_000_000_000_000) {
            let text = serde_json::to_string(&Mass(steps)).unwrap();
            prop_assert_eq!(serde_json::from_str::<Mass>(&text).unwrap(), Mass(steps), "{}", text);
        }

        #[test]
        fn a_shown_mass_reads_back(digits in -9_999_999_i64..9_999_999, decimals in 0_u8..4) {
            for unit in [MassUnit::Gram, MassUnit::Kilogram, MassUnit::Ounce, MassUnit::Pound] {
                let Some(mass) = Mass::from_decimal(digits, decimals, unit) else { continue };
                let shown = mass.show(unit, decimals);
                prop_assert_eq!(Mass::parse(&shown).unwrap(), mass, "{}", shown);
            }
        }
    }
}
