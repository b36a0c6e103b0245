//! Amounts as makers write them: "2.7:1", "4–6 %", "71 °C to 93 °C".

use crate::plan::{Tolerance, Window};
use crate::quantity::{Mass, Ph, QuantityError, Share, Temperature};

use super::AdditionAmount;

const TOLERANCE_EXPECTED: &str = "a mass like `0.5 g` or a share like `1 %`";
const AMOUNT_EXPECTED: &str =
    "a mass like `12 g`, a share of the oils like `5 %`, or a range like `4–6 %`";
const PH_EXPECTED: &str = "two pH, low and high, like `9 to 10.5`";
const WINDOW_EXPECTED: &str = "two temperatures, low and high, like `71 °C to 93 °C`";

pub(super) fn addition(text: &str) -> Result<AdditionAmount, QuantityError> {
    if let Some((low, high)) = range(text) {
        let (low, high) = (Share::parse(&low)?, Share::parse(&high)?);
        if low >= high {
            return Err(not_understood(text, AMOUNT_EXPECTED));
        }
        return Ok(AdditionAmount::Between(low, high));
    }
    if text.contains('%') {
        return Share::parse(text).map(AdditionAmount::OfOils);
    }
    Mass::parse(text)
        .map(AdditionAmount::Mass)
        .map_err(|error| with_expected(error, AMOUNT_EXPECTED))
}

pub(super) fn tolerance(text: &str) -> Result<Tolerance, QuantityError> {
    let text = text.trim_start_matches('±').trim();
    if text.contains('%') {
        return Share::parse(text).map(Tolerance::Share);
    }
    Mass::parse(text).map(Tolerance::Mass).map_err(|error| with_expected(error, TOLERANCE_EXPECTED))
}

pub(super) fn window(text: &str) -> Result<Window, QuantityError> {
    let (low, high) = range(text).ok_or_else(|| not_understood(text, WINDOW_EXPECTED))?;
    let window = Window { low: Temperature::parse(&low)?, high: Temperature::parse(&high)? };
    if window.low >= window.high {
        return Err(not_understood(text, WINDOW_EXPECTED));
    }
    Ok(window)
}

pub(super) fn ph_range(text: &str) -> Result<(Ph, Ph), QuantityError> {
    let (low, high) = text
        .split_once(" to ")
        .or_else(|| text.split_once('–'))
        .or_else(|| text.split_once('-'))
        .ok_or_else(|| not_understood(text, PH_EXPECTED))?;
    let (low, high) = (Ph::parse(low)?, Ph::parse(high)?);
    if low >= high {
        return Err(not_understood(text, PH_EXPECTED));
    }
    Ok((low, high))
}

/// "4–6 %" as "4 %" and "6 %"; a unit written once holds for both ends.
fn range(text: &str) -> Option<(String, String)> {
    let text = text.trim();
    let (low, high) = text
        .split_once(" to ")
        .or_else(|| text.split_once('–'))
        .or_else(|| (!text.starts_with('-')).then(|| text.split_once('-')).flatten())?;
    let (low, high) = (low.trim(), high.trim());
    let number_end = high.find(|c: char| !(c.is_ascii_digit() || c == '.'))?;
    let bare = low.chars().all(|c| c.is_ascii_digit() || c == '.');
    let unit = if bare { &high[number_end..] } else { "" };
    Some((format!("{low}{unit}"), high.to_owned()))
}

fn not_understood(text: &str, expected: &'static str) -> QuantityError {
    QuantityError::NotANumber { found: text.to_owned(), expected }
}

/// The same refusal, expecting what this place takes and not only a mass.
fn with_expected(error: QuantityError, expected: &'static str) -> QuantityError {
    match error {
        QuantityError::NoUnit { found, .. } => QuantityError::NoUnit { found, expected },
        QuantityError::UnknownUnit { found, .. } => QuantityError::UnknownUnit { found, expected },
        QuantityError::NotANumber { found, .. } => QuantityError::NotANumber { found, expected },
        out_of_range @ QuantityError::OutOfRange { .. } => out_of_range,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_range_takes_its_unit_from_its_end() {
        let between = |low, high| {
            AdditionAmount::Between(Share::from_percent(low), Share::from_percent(high))
        };
        for text in ["4–6 %", "4-6 %", "4 % to 6 %", "4 to 6 %"] {
            assert_eq!(addition(text), Ok(between(4, 6)), "{text}");
        }
        assert!(addition("6–4 %").is_err());
        let hot = window("71–93 °C").unwrap();
        assert_eq!(hot.low, Temperature::from_celsius(71));
        assert_eq!(window("160 °F to 200 °F").unwrap().high, Temperature::parse("200 F").unwrap());
        assert!(window("93 °C").is_err());
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,30}", near in "[0-9.:% –toCg°-]{0,14}") {
            for text in [&text, &near] {
                let _ = (addition(text), tolerance(text), window(text));
            }
        }
    }
}
