use serde::{Deserialize, Serialize};

use crate::quantity::{Mass, Share, Span, TemperatureDelta};
use crate::signal::{PressTest, RestTest};

/// The figures of the bench law. All are ours unless a source is named; each can be changed in the
/// bench file, and the ones in force are frozen into the session. A journal may name one that is
/// gone: it is passed over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// A capture needs rest over this long.
    pub rest_window: Span,
    /// And at least this many readings in it.
    pub rest_readings_min: u8,
    /// Spread allowed at rest, in scale intervals: caustic, and everything else.
    pub rest_spread_caustic_d: u8,
    pub rest_spread_d: u8,
    /// Caustic above its guard this long alarms.
    pub guard_delay: Span,
    /// Silence of a scale that counts as blind, and that may have hidden another zero: while
    /// caustic is weighed (two and a half of its periods if longer), and otherwise.
    pub scale_silence_caustic: Span,
    pub scale_silence: Span,
    /// Silence of a probe that counts as lost: this, or so many of its periods if longer.
    pub probe_silence: Span,
    pub probe_silence_periods: u8,
    /// The same vessel is back when its gross is no lower than its tare less so many d.
    pub vessel_match_d: u8,
    /// A vessel of the register is known by its tare within so many d; of two that lie within
    /// so many d of one another it is asked which. Ours: a rinsed cup is seldom drier than that.
    pub vessel_known_d: u8,
    /// An empty pan reads within so many d of zero.
    pub pan_clear_d: u8,
    /// Anything lighter than so many d on the pan is no vessel.
    pub vessel_min_d: u8,
    /// A vessel is gone when the pan has read below its tare this long.
    pub lift_delay: Span,
    /// A capture stands this long before the next ingredient is announced.
    pub dwell: Span,
    /// Rest below the target this long asks whether it is to stay so.
    pub short_after: Span,
    /// A scale or probe that is back must have been back this long: one that speaks now and then
    /// is not.
    pub instrument_off_delay: Span,
    /// A temperature beyond its limit this long alarms, and this long within it returns.
    pub temperature_on_delay: Span,
    pub temperature_off_delay: Span,
    /// Beyond high-high there is less time to act.
    pub high_high_on_delay: Span,
    /// An alarm returns only this far inside its limit. About 1 % of a 0–100 °C span, the usual
    /// starting value for temperature in alarm management practice (ISA-18.2 guidance).
    pub temperature_deadband: TemperatureDelta,
    /// A low temperature is watched only after this long inside the window.
    pub low_armed_after: Span,
    /// Heating faster than this alarms, in millikelvin a minute; heat-up at 3 to 5 K/min is normal
    /// (common practice, no source), so it is watched only near or inside the window.
    pub heating_max_mk_per_min: i32,
    /// "Near" is this far below the window.
    pub heating_watch_below: TemperatureDelta,
    /// A probe taken out for stirring is left alone this long.
    pub shelf_time: Span,
    /// A hand-held probe counts for where it was said to be this long, unless said otherwise.
    pub spot_hold: Span,
    /// It has settled when its readings of this long lie within this of each other. A probe of 4 s
    /// time constant is then at most about 0.4 K behind, one of 15 s about 2.5 K.
    pub spot_settle: Span,
    pub spot_spread: TemperatureDelta,
    /// Fallen this far below where it last stood settled, it has been taken out.
    pub spot_fall: TemperatureDelta,
    /// What was read at one spot, or by hand, may be used this long.
    pub spot_age: Span,
    /// A value by hand this far from what the probe says is worth a word.
    pub by_hand_apart: TemperatureDelta,
    /// In a cook nobody may be without the temperature of the pot for longer than this.
    pub unknown_grace: Span,
    /// Residue in an emptied vessel that counts as nothing: the larger of one d and this.
    pub residue_share: Share,
    /// How wrong a thermometer may be: type K, class 2 (IEC 60584-1), ± 2.5 K.
    pub thermometer_limits: TemperatureDelta,
    /// A load that comes at once is at least so many d.
    pub put_on_min_d: u8,
    /// Right after it no over-pour is raised for this long: the pan is still ringing.
    pub put_on_grace: Span,
    /// A hand that presses the pan weighs more than so many d, and leaves the pan as it was within
    /// so many.
    pub press_min_d: u8,
    pub press_back_d: u8,
    /// A knock is shorter than a press, and what is put down stays longer.
    pub press_shortest: Span,
    pub press_longest: Span,
    /// Two presses within this are a yes; nought: the pan is never asked.
    pub press_within: Span,
    /// A hand on its way to the pan has not read a question younger than this.
    pub press_read: Span,
    /// Noise beyond so many d for this long is no rest to be had.
    pub unsteady_d: u8,
    pub unsteady_after: Span,
    /// Caustic that gains more than this each minute, untouched, draws moisture.
    pub moisture_per_min: Share,
    /// A look that is due and not made alarms after this.
    pub look_grace: Span,
    /// Silence lasts no longer than this.
    pub silence_max: Span,
    /// An unacknowledged alarm sounds again after this: high, medium, low priority.
    pub sound_again_high: Span,
    pub sound_again_medium: Span,
    pub sound_again_low: Span,
    /// A temperature wandering about its limit is announced at most once in this time.
    pub sound_apart_min: Span,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            rest_window: Span::from_secs(2),
            rest_readings_min: 5,
            rest_spread_caustic_d: 1,
            rest_spread_d: 2,
            guard_delay: Span::from_millis(500),
            scale_silence_caustic: Span::from_secs(1),
            scale_silence: Span::from_secs(3),
            probe_silence: Span::from_secs(5),
            probe_silence_periods: 3,
            vessel_match_d: 3,
            vessel_known_d: 10,
            pan_clear_d: 5,
            vessel_min_d: 20,
            lift_delay: Span::from_millis(500),
            dwell: Span::from_secs(2),
            short_after: Span::from_secs(4),
            instrument_off_delay: Span::from_secs(2),
            temperature_on_delay: Span::from_secs(5),
            temperature_off_delay: Span::from_secs(10),
            high_high_on_delay: Span::from_secs(2),
            temperature_deadband: TemperatureDelta::from_kelvin(1),
            low_armed_after: Span::from_secs(60),
            heating_max_mk_per_min: 2500,
            heating_watch_below: TemperatureDelta::from_kelvin(5),
            shelf_time: Span::from_secs(90),
            spot_hold: Span::from_minutes(5),
            spot_settle: Span::from_secs(5),
            spot_spread: TemperatureDelta::from_kelvin(1),
            spot_fall: TemperatureDelta::from_kelvin(5),
            spot_age: Span::from_minutes(5),
            by_hand_apart: TemperatureDelta::from_kelvin(10),
            unknown_grace: Span::from_minutes(2),
            residue_share: Share::from_millionths(5_000),
            thermometer_limits: TemperatureDelta::from_kelvin_tenths(25),
            put_on_min_d: 20,
            put_on_grace: Span::from_secs(1),
            press_min_d: 200,
            press_back_d: 2,
            press_shortest: Span::from_millis(200),
            press_longest: Span::from_secs(1),
            press_within: Span::from_secs(3),
            press_read: Span::from_millis(500),
            unsteady_d: 3,
            unsteady_after: Span::from_secs(10),
            moisture_per_min: Share::from_millionths(5_000),
            look_grace: Span::from_minutes(2),
            silence_max: Span::from_secs(60),
            sound_again_high: Span::from_secs(10),
            sound_again_medium: Span::from_secs(30),
            sound_again_low: Span::from_secs(120),
            sound_apart_min: Span::from_secs(60),
        }
    }
}

/// Slower than two readings a second is too slow to stop a pour of caustic. Ours.
pub const CAUSTIC_PERIOD_MAX: Span = Span::from_millis(500);

/// Caustic is taken this far below its target by itself; short caustic only raises the superfat.
pub const CAUSTIC_SHORT: Share = Share::from_percent(1);

/// What is counted in intervals of a scale, as masses on one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Marks {
    /// The same load, put down again, reads no further off than this.
    pub same: Mass,
    /// A pan within this of its zero is clear.
    pub clear: Mass,
    /// The lightest vessel.
    pub vessel: Mass,
}

/// Weighed caustic may have drawn so much moisture in its cup: ours.
pub const MOISTURE_MOST: Share = Share::from_percent(5);

impl Settings {
    /// The test of rest for a scale of interval `d`.
    pub fn rest_test(&self, d: Mass, caustic: bool) -> RestTest {
        let spread = if caustic { self.rest_spread_caustic_d } else { self.rest_spread_d };
        RestTest {
            window: self.rest_window,
            readings_min: usize::from(self.rest_readings_min),
            spread_max: d * i64::from(spread),
            creep_max: Mass::from_steps(d.steps() / 2),
            gap_max: Span::from_secs(1),
        }
    }

    /// What counts as the same, clear and a vessel on a scale of interval `d`.
    pub fn marks(&self, d: Mass) -> Marks {
        Marks {
            same: d * i64::from(self.vessel_match_d),
            clear: d * i64::from(self.pan_clear_d),
            vessel: d * i64::from(self.vessel_min_d),
        }
    }

    /// What counts as a press of the pan of a scale of interval `d`.
    pub fn press_test(&self, d: Mass) -> PressTest {
        PressTest {
            least: d * i64::from(self.press_min_d),
            back: d * i64::from(self.press_back_d),
            shortest: self.press_shortest,
            longest: self.press_longest,
            within: self.press_within,
        }
    }
}
