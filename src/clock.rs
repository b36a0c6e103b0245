//! The only room that reads time.

use std::time::Duration;

use rustix::time::{ClockId, clock_gettime};

use crate::quantity::{Moment, Span};

/// Boot-time and civil time, optionally running faster than life for a demonstration.
#[derive(Clone, Debug)]
pub struct Clock {
    origin: Moment,
    origin_utc_ns: i64,
    factor: u32,
}

/// Over real ports nothing may run faster than this: an instrument's bytes still take their time.
pub const FACTOR_MAX: u32 = 10;
const NANOS_PER_S: i64 = 1_000_000_000;
/// Moments are whole microseconds: finer than any serial line, and a third of the bytes to keep.
const NANOS_PER_US: i64 = 1_000;

impl Clock {
    pub fn new() -> Clock {
        Clock::faster(1)
    }

    /// Runs `factor` times as fast as life from now on, at most [`FACTOR_MAX`].
    pub fn faster(factor: u32) -> Clock {
        Clock {
            origin: boot_time(),
            origin_utc_ns: civil_time_ns(),
            factor: factor.clamp(1, FACTOR_MAX),
        }
    }

    /// Runs `factor` times as fast as life, counted from the machine's start: two runs of a daemon
    /// on one boot agree about the time between them.
    pub fn faster_since_boot(factor: u32) -> Clock {
        let booted_utc_ns = civil_time_ns() - boot_time().nanos();
        Clock {
            origin: Moment::from_nanos(0),
            origin_utc_ns: booted_utc_ns,
            factor: factor.clamp(1, FACTOR_MAX),
        }
    }

    pub fn now(&self) -> Moment {
        let passed = boot_time().since(self.origin).nanos() * i64::from(self.factor);
        let now = self.origin.nanos() + passed;
        Moment::from_nanos(now - now % NANOS_PER_US)
    }

    /// How long to wait, in life's time, until `moment`.
    pub fn until(&self, moment: Moment) -> Duration {
        let left = moment.since(self.now()).nanos() / i64::from(self.factor);
        // a whole microsecond later, so that the moment has come when the wait is over
        Duration::from_nanos(left.unsigned_abs()) + Duration::from_micros(1)
    }

    /// How long `span` lasts in life's time.
    pub fn real(&self, span: Span) -> Duration {
        Duration::from_nanos(span.nanos().unsigned_abs() / u64::from(self.factor))
    }

    /// Civil time, UTC nanoseconds since 1970: as the machine has it, or running ahead of it with
    /// a faster clock, so that lengths of time agree.
    pub fn utc_ns(&self) -> i64 {
        self.origin_utc_ns + (civil_time_ns() - self.origin_utc_ns) * i64::from(self.factor)
    }

    /// The date where the bench stands, like "2026-11-25".
    pub fn today(&self) -> String {
        jiff::ZonedDateTime::now().strftime("%Y-%m-%d").to_string()
    }
}

impl Default for Clock {
    fn default() -> Clock {
        Clock::new()
    }
}

/// One run of the machine: moments of two boots cannot be compared.
///
/// # Errors
/// When the system keeps no boot id, which Linux always does.
pub fn boot_id() -> std::io::Result<String> {
    Ok(std::fs::read_to_string("/proc/sys/kernel/random/boot_id")?.trim().to_owned())
}

/// A civil time as a person writes it, in the zone of the machine.
pub fn civil(utc_ns: i64) -> String {
    match jiff::Timestamp::from_nanosecond(i128::from(utc_ns)) {
        Ok(stamp) => {
            let zoned = stamp.to_zoned_datetime(jiff::tz::TimeZone::system());
            zoned.strftime("%Y-%m-%d %H:%M").to_string()
        }
        Err(_) => "at an unknown time".to_owned(),
    }
}

fn civil_time_ns() -> i64 {
    let time = clock_gettime(ClockId::Realtime);
    time.tv_sec * NANOS_PER_S + time.tv_nsec
}

fn boot_time() -> Moment {
    let time = clock_gettime(ClockId::Boottime);
    Moment::from_nanos(time.tv_sec * NANOS_PER_S + time.tv_nsec)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_never_go_back_and_are_whole_microseconds() {
        let clock = Clock::faster(7);
        let mut last = clock.now();
        for _ in 0..1000 {
            let now = clock.now();
            assert!(now >= last);
            assert_eq!(now.nanos() % 1000, 0);
            last = now;
        }
    }

    #[test]
    fn a_faster_clock_waits_less() {
        let clock = Clock::faster(10);
        let wait = clock.until(clock.now() + Span::from_secs(10));
        assert!(wait <= Duration::from_millis(1001), "{wait:?}");
        assert!(Clock::faster(1000).real(Span::from_secs(10)) == Duration::from_secs(1));
    }
}
