use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::quantity::{Mass, MassUnit, QuantityError, Share};

/// How much liquid goes with the caustic. Written "2.7:1", "27 %" or "6.2 oz".
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LiquidRule {
    /// Parts of liquid to one part of caustic as weighed, in millionths: 2.7:1 is 2 700 000.
    Ratio(i64),
    /// Caustic as a share of caustic and liquid together.
    Concentration(Share),
    Mass(Mass),
}

/// Why a text is no rule for the liquid.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LiquidRuleError {
    #[error("`{found}` is no ratio; expected liquid to caustic, liquid first, like `2.7:1`")]
    Ratio { found: String },
    #[error(
        "`{found}` is {parts} parts of liquid to 1 of caustic; expected 0.9:1 to 20:1, with the \
         liquid first"
    )]
    RatioRange { found: String, parts: String },
    #[error(
        "`{found}` as a lye concentration lies outside 5 % to 52 %; expected caustic as a share \
         of caustic and liquid together, like `27 %`"
    )]
    ConcentrationRange { found: String },
    #[error("`{found}` of liquid is nothing; expected a mass above zero, like `6.2 oz`")]
    NoMass { found: String },
    #[error(
        "the liquid is written as `{found}`; expected a ratio of liquid to caustic (`2.7:1`), a \
         lye concentration (`27 %`) or a mass (`6.2 oz`)"
    )]
    NotUnderstood { found: String },
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

const MILLION: i64 = 1_000_000;
/// 0.9:1 is 52.6 % caustic, already beyond what water holds at 20 °C.
const RATIO_LEAST: i64 = 900_000;
const RATIO_MOST: i64 = 20 * MILLION;
const CONCENTRATION_LEAST: Share = Share::from_percent(5);
const CONCENTRATION_MOST: Share = Share::from_percent(52);

impl LiquidRule {
    /// Reads the one field a maker fills in.
    pub fn parse(text: &str) -> Result<LiquidRule, LiquidRuleError> {
        let text = text.trim();
        let found = || text.to_owned();
        if let Some((liquid, caustic)) = text.split_once(':') {
            return ratio(text, liquid, caustic);
        }
        if text.ends_with('%') {
            let share = Share::parse(text)?;
            if !(CONCENTRATION_LEAST..=CONCENTRATION_MOST).contains(&share) {
                return Err(LiquidRuleError::ConcentrationRange { found: found() });
            }
            return Ok(LiquidRule::Concentration(share));
        }
        match Mass::parse(text) {
            Ok(mass) if mass > Mass::ZERO => Ok(LiquidRule::Mass(mass)),
            Ok(_) => Err(LiquidRuleError::NoMass { found: found() }),
            Err(QuantityError::UnknownUnit { .. } | QuantityError::OutOfRange { .. }) => {
                Ok(LiquidRule::Mass(Mass::parse(text)?))
            }
            Err(_) => Err(LiquidRuleError::NotUnderstood { found: found() }),
        }
    }

    /// Parts of liquid to one of caustic; `None` when the rule is a mass.
    pub(super) fn parts_to_one(self) -> Option<f64> {
        match self {
            LiquidRule::Ratio(millionths) => Some(millionths as f64 / MILLION as f64),
            LiquidRule::Concentration(share) => Some((1.0 - share.fraction()) / share.fraction()),
            LiquidRule::Mass(_) => None,
        }
    }

    /// `None` when the rule is no mass.
    pub fn mass(self) -> Option<Mass> {
        match self {
            LiquidRule::Mass(mass) => Some(mass),
            LiquidRule::Ratio(_) | LiquidRule::Concentration(_) => None,
        }
    }
}

/// The ratio that two masses make, to one decimal: "2.7:1". "—" without caustic.
pub fn show_ratio(liquid: Mass, caustic: Mass) -> String {
    if caustic <= Mass::ZERO {
        return "—".to_owned();
    }
    let tenths = (liquid * 10).scaled(Mass::from_steps(1), caustic).steps();
    format!("{}.{}:1", tenths / 10, tenths.abs() % 10)
}

impl fmt::Display for LiquidRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let short = |text: String| text.trim_end_matches('0').trim_end_matches('.').to_owned();
        match self {
            LiquidRule::Ratio(millionths) => {
                let (whole, rest) = (millionths / MILLION, millionths.abs() % MILLION);
                write!(f, "{}:1", short(format!("{whole}.{rest:06}")))
            }
            LiquidRule::Concentration(share) => {
                let shown = share.show(4);
                write!(f, "{} %", short(shown.trim_end_matches(" %").to_owned()))
            }
            LiquidRule::Mass(mass) => f.write_str(&mass.show(MassUnit::Gram, 1)),
        }
    }
}

fn ratio(text: &str, liquid: &str, caustic: &str) -> Result<LiquidRule, LiquidRuleError> {
    let no_ratio = || LiquidRuleError::Ratio { found: text.to_owned() };
    let [liquid, caustic] =
        [liquid, caustic].map(|part| plain_number(part.trim()).ok_or_else(no_ratio));
    let (liquid, caustic) = (liquid?, caustic?);
    if caustic == 0 {
        return Err(no_ratio());
    }
    let exact = i128::from(liquid) * i128::from(MILLION);
    let parts = i64::try_from((exact + i128::from(caustic) / 2) / i128::from(caustic));
    match parts {
        Ok(parts) if (RATIO_LEAST..=RATIO_MOST).contains(&parts) => Ok(LiquidRule::Ratio(parts)),
        _ => {
            let parts = format!("{:.2}", liquid as f64 / caustic as f64);
            Err(LiquidRuleError::RatioRange { found: text.to_owned(), parts })
        }
    }
}

/// A positive decimal number in millionths, at most six decimals and six digits before.
fn plain_number(text: &str) -> Option<i64> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.len() <= 6 && part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(fraction) {
        return None;
    }
    format!("{whole}{fraction:0<6}").parse().ok()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn one_field_takes_ratio_concentration_or_mass() {
        for (text, rule, shown) in [
            ("2.7:1", LiquidRule::Ratio(2_700_000), "2.7:1"),
            (" 2.7 : 1 ", LiquidRule::Ratio(2_700_000), "2.7:1"),
            ("5.4:2", LiquidRule::Ratio(2_700_000), "2.7:1"),
            ("3:1", LiquidRule::Ratio(3_000_000), "3:1"),
            ("27 %", LiquidRule::Concentration(Share::from_percent(27)), "27 %"),
            ("27.5%", LiquidRule::Concentration(Share::from_millionths(275_000)), "27.5 %"),
            ("30 %", LiquidRule::Concentration(Share::from_percent(30)), "30 %"),
            ("6.2 oz", LiquidRule::Mass(Mass::parse("6.2 oz").unwrap()), "175.8 g"),
        ] {
            let parsed = LiquidRule::parse(text).unwrap();
            assert_eq!((parsed, parsed.to_string().as_str()), (rule, shown), "{text}");
        }
    }

    #[test]
    fn a_field_that_cannot_be_meant_is_refused() {
        for (text, words) in [
            (
                "1:2.7",
                "`1:2.7` is 0.37 parts of liquid to 1 of caustic; expected 0.9:1 to 20:1, with \
                 the liquid first",
            ),
            ("2.7:", "`2.7:` is no ratio; expected liquid to caustic, liquid first, like `2.7:1`"),
            (
                "2.7:0",
                "`2.7:0` is no ratio; expected liquid to caustic, liquid first, like `2.7:1`",
            ),
            (
                "73 %",
                "`73 %` as a lye concentration lies outside 5 % to 52 %; expected caustic as a \
                 share of caustic and liquid together, like `27 %`",
            ),
            (
                "2.7",
                "the liquid is written as `2.7`; expected a ratio of liquid to caustic \
                 (`2.7:1`), a lye concentration (`27 %`) or a mass (`6.2 oz`)",
            ),
            ("0 g", "`0 g` of liquid is nothing; expected a mass above zero, like `6.2 oz`"),
            (
                "6 cups",
                "`cups` is not a unit known here; expected a mass with its unit, like `120 g`, \
                 `4.5 oz` or `1 lb 4 oz`",
            ),
        ] {
            assert_eq!(LiquidRule::parse(text).unwrap_err().to_string(), words, "{text}");
        }
    }

    #[test]
    fn two_masses_show_their_ratio() {
        let oz = |text: &str| Mass::parse(text).unwrap();
        assert_eq!(show_ratio(oz("6.2 oz"), oz("2.26 oz")), "2.7:1");
        assert_eq!(show_ratio(oz("6.2 oz"), Mass::ZERO), "—");
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,30}") {
            let _ = LiquidRule::parse(&text);
        }

        #[test]
        fn a_shown_ratio_reads_back(millionths in RATIO_LEAST..=RATIO_MOST) {
            let rule = LiquidRule::Ratio(millionths);
            prop_assert_eq!(LiquidRule::parse(&rule.to_string()).unwrap(), rule);
        }
    }
}
