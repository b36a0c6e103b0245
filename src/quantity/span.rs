use std::fmt;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

use super::parse::{self, QuantityError};

/// An instant of one session: nanoseconds on the boot-time clock.
///
/// Only moments of the same session may be compared. The clock goes on while the machine sleeps
/// and never steps, whatever is done to the civil time.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Moment(i64);

/// A length of time in nanoseconds; may be negative as the difference of two moments.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Span(i64);

const NANOS_PER_MS: i64 = 1_000_000;
const NANOS_PER_S: i64 = 1_000_000_000;

impl Moment {
    pub const fn from_nanos(nanos: i64) -> Moment {
        Moment(nanos)
    }

    pub const fn nanos(self) -> i64 {
        self.0
    }

    /// How long ago `earlier` was; zero if it lies ahead.
    pub const fn since(self, earlier: Moment) -> Span {
        let nanos = self.0.saturating_sub(earlier.0);
        Span(if nanos < 0 { 0 } else { nanos })
    }
}

impl Span {
    pub const ZERO: Span = Span(0);

    pub const fn from_nanos(nanos: i64) -> Span {
        Span(nanos)
    }

    pub const fn from_millis(millis: i64) -> Span {
        Span(millis * NANOS_PER_MS)
    }

    pub const fn from_secs(seconds: i64) -> Span {
        Span(seconds * NANOS_PER_S)
    }

    pub const fn from_minutes(minutes: i64) -> Span {
        Span::from_secs(minutes * 60)
    }

    pub const fn nanos(self) -> i64 {
        self.0
    }

    pub const fn millis(self) -> i64 {
        self.0 / NANOS_PER_MS
    }

    pub fn seconds(self) -> f64 {
        self.0 as f64 / NANOS_PER_S as f64
    }

    /// Reads "90 s", "45 min", "1 h 30 min"; a unit is required.
    pub fn parse(text: &str) -> Result<Span, QuantityError> {
        parse::span(text)
    }
}

impl Add for Span {
    type Output = Span;
    fn add(self, other: Span) -> Span {
        Span(self.0.saturating_add(other.0))
    }
}

impl Sub for Span {
    type Output = Span;
    fn sub(self, other: Span) -> Span {
        Span(self.0.saturating_sub(other.0))
    }
}

impl Add<Span> for Moment {
    type Output = Moment;
    fn add(self, span: Span) -> Moment {
        Moment(self.0.saturating_add(span.0))
    }
}

impl Sub<Span> for Moment {
    type Output = Moment;
    fn sub(self, span: Span) -> Moment {
        Moment(self.0.saturating_sub(span.0))
    }
}

impl Sub for Moment {
    type Output = Span;
    fn sub(self, other: Moment) -> Span {
        Span(self.0.saturating_sub(other.0))
    }
}

impl fmt::Display for Span {
    /// As a maker says it: "4.2 s", "1 min 05 s", "1 h 02 min".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "−" } else { "" };
        let tenths = (self.0.unsigned_abs() + 50_000_000) / 100_000_000;
        let seconds = tenths / 10;
        match seconds {
            0..10 => write!(f, "{sign}{}.{} s", seconds, tenths % 10),
            10..60 => write!(f, "{sign}{seconds} s"),
            60..3600 => write!(f, "{sign}{} min {:02} s", seconds / 60, seconds % 60),
            _ => write!(f, "{sign}{} h {:02} min", seconds / 3600, seconds % 3600 / 60),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_read_as_makers_say_them() {
        for (span, said) in [
            (Span::from_millis(4240), "4.2 s"),
            (Span::from_millis(9960), "10 s"),
            (Span::from_secs(65), "1 min 05 s"),
            (Span::from_minutes(62), "1 h 02 min"),
        ] {
            assert_eq!(span.to_string(), said);
        }
        assert_eq!(Span::parse("1 h 30 min").unwrap(), Span::from_minutes(90));
        assert!(Span::parse("45").is_err());
    }

    #[test]
    fn a_moment_ahead_is_zero_ago() {
        let now = Moment::from_nanos(5);
        assert_eq!(now.since(Moment::from_nanos(9)), Span::ZERO);
    }
}
