use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

use super::parse::{self, QuantityError};

/// A part of a whole, in millionths: 5 % is 50 000. Stored and sent as "5 %".
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(try_from = "String", into = "String")]
pub struct Share(i64);

impl Share {
    pub const ZERO: Share = Share(0);
    pub const WHOLE: Share = Share(1_000_000);

    pub const fn from_millionths(millionths: i64) -> Share {
        Share(millionths)
    }

    pub const fn millionths(self) -> i64 {
        self.0
    }

    pub const fn from_percent(percent: i64) -> Share {
        Share(percent * 10_000)
    }

    /// Rounds to the nearest millionth. For results of chemistry only.
    pub fn from_fraction_rounded(fraction: f64) -> Share {
        Share((fraction * 1e6).round() as i64)
    }

    pub fn fraction(self) -> f64 {
        self.0 as f64 / 1e6
    }

    pub fn percent(self) -> f64 {
        self.0 as f64 / 1e4
    }

    pub const fn abs(self) -> Share {
        Share(self.0.abs())
    }

    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }

    /// Reads "5 %" or "0.5 %"; the sign % is required.
    pub fn parse(text: &str) -> Result<Share, QuantityError> {
        parse::share(text)
    }

    pub fn show(self, decimals: u8) -> String {
        let scaled = i128::from(self.0) * 10_i128.pow(u32::from(decimals));
        format!("{} %", parse::show_digits(parse::div_round(scaled, 10_000) as i64, decimals))
    }
}

impl TryFrom<String> for Share {
    type Error = QuantityError;
    fn try_from(text: String) -> Result<Share, QuantityError> {
        Share::parse(&text)
    }
}

impl From<Share> for String {
    fn from(share: Share) -> String {
        let digits = parse::show_digits(share.0, 4).replace('−', "-");
        format!("{} %", digits.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl Add for Share {
    type Output = Share;
    fn add(self, other: Share) -> Share {
        Share(self.0.saturating_add(other.0))
    }
}

impl Sub for Share {
    type Output = Share;
    fn sub(self, other: Share) -> Share {
        Share(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Share {
    fn sum<I: Iterator<Item = Share>>(shares: I) -> Share {
        shares.fold(Share::ZERO, Add::add)
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.show(2))
    }
}
