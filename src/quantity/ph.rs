use std::fmt;

use serde::{Deserialize, Serialize};

use super::QuantityError;
use super::parse::show_digits;

/// pH, in hundredths: finer than any bench meter. From 0 to 14, the range a glass electrode in
/// water is calibrated for (ISO 10523).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Ph(u16);

const EXPECTED: &str = "a pH from 0 to 14, like `9.8`";
const HIGHEST: u16 = 1400;

impl Ph {
    /// `105` is pH 10.5 in tenths, for constants.
    pub const fn from_tenths(tenths: u16) -> Ph {
        Ph(tenths * 10)
    }

    /// Reads "9.8" and "pH 9.8"; at most two decimals.
    pub fn parse(text: &str) -> Result<Ph, QuantityError> {
        let bare = text.trim();
        let bare = bare.strip_prefix("pH").unwrap_or(bare).trim();
        let wrong = || QuantityError::NotANumber { found: text.to_owned(), expected: EXPECTED };
        let (whole, part) = bare.split_once('.').unwrap_or((bare, "0"));
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        if !digits(whole) || !digits(part) || part.len() > 2 || whole.len() > 3 {
            return Err(wrong());
        }
        let whole: u16 = whole.parse().map_err(|_| wrong())?;
        let hundredths: u16 = format!("{part:0<2}").parse().map_err(|_| wrong())?;
        let ph = whole * 100 + hundredths;
        if ph > HIGHEST {
            let found = text.to_owned();
            return Err(QuantityError::OutOfRange { found, expected: EXPECTED });
        }
        Ok(Ph(ph))
    }

    fn show(self) -> String {
        let decimals = if self.0.is_multiple_of(10) { 1 } else { 2 };
        let digits = if decimals == 1 { self.0 / 10 } else { self.0 };
        show_digits(i64::from(digits), decimals)
    }
}

impl fmt::Display for Ph {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.show())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_what_is_shown() {
        for (text, shown) in [
            ("9.8", "9.8"),
            ("pH 10.25", "10.25"),
            ("pH7", "7.0"),
            ("0", "0.0"),
            ("14", "14.0"),
            ("10.05", "10.05"),
        ] {
            assert_eq!(Ph::parse(text).map(|ph| ph.to_string()).as_deref(), Ok(shown), "{text}");
        }
    }

    #[test]
    fn nonsense_is_refused() {
        for text in ["", "pH", "14.01", "15", "-1", "9,8", "9.855", "ten", "9.", ".5", "99999"] {
            assert!(Ph::parse(text).is_err(), "{text}");
        }
    }
}
