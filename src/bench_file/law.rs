//! `[law]`: the figures of the bench law, where a maker wants others than the usual ones.
//!
//! Each may be moved only so far that no guard is disarmed by it; the ends are ours.

use crate::bench::Settings;
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Share, Span, TemperatureDelta};

struct SpanKey {
    key: &'static str,
    least_ms: i64,
    most_ms: i64,
    of: fn(&mut Settings) -> &mut Span,
}

const fn span(
    key: &'static str,
    [least_ms, most_ms]: [i64; 2],
    of: fn(&mut Settings) -> &mut Span,
) -> SpanKey {
    SpanKey { key, least_ms, most_ms, of }
}

const MIN: i64 = 60_000;
const SPANS: [SpanKey; 29] = [
    span("rest_window", [1000, 10_000], |s| &mut s.rest_window),
    span("guard_delay", [100, 1000], |s| &mut s.guard_delay),
    span("scale_silence_caustic", [500, 2000], |s| &mut s.scale_silence_caustic),
    span("scale_silence", [1000, 10_000], |s| &mut s.scale_silence),
    span("probe_silence", [2000, 30_000], |s| &mut s.probe_silence),
    span("lift_delay", [200, 3000], |s| &mut s.lift_delay),
    span("dwell", [1000, 30_000], |s| &mut s.dwell),
    span("short_after", [1000, MIN], |s| &mut s.short_after),
    span("temperature_on_delay", [1000, 30_000], |s| &mut s.temperature_on_delay),
    span("temperature_off_delay", [1000, MIN], |s| &mut s.temperature_off_delay),
    span("high_high_on_delay", [500, 10_000], |s| &mut s.high_high_on_delay),
    span("low_armed_after", [10_000, 10 * MIN], |s| &mut s.low_armed_after),
    span("shelf_time", [10_000, 5 * MIN], |s| &mut s.shelf_time),
    span("spot_hold", [30_000, 30 * MIN], |s| &mut s.spot_hold),
    span("spot_settle", [3000, MIN], |s| &mut s.spot_settle),
    span("spot_age", [30_000, 15 * MIN], |s| &mut s.spot_age),
    span("unknown_grace", [10_000, 10 * MIN], |s| &mut s.unknown_grace),
    span("put_on_grace", [200, 2000], |s| &mut s.put_on_grace),
    span("press_shortest", [100, 500], |s| &mut s.press_shortest),
    span("press_longest", [500, 2000], |s| &mut s.press_longest),
    span("press_within", [0, 6000], |s| &mut s.press_within),
    span("press_read", [500, 5000], |s| &mut s.press_read),
    span("unsteady_after", [3000, MIN], |s| &mut s.unsteady_after),
    span("look_grace", [10_000, 10 * MIN], |s| &mut s.look_grace),
    span("silence_max", [10_000, MIN], |s| &mut s.silence_max),
    span("sound_again_high", [2000, 30_000], |s| &mut s.sound_again_high),
    span("sound_again_medium", [5000, 2 * MIN], |s| &mut s.sound_again_medium),
    span("sound_again_low", [10_000, 10 * MIN], |s| &mut s.sound_again_low),
    span("sound_apart_min", [5000, 5 * MIN], |s| &mut s.sound_apart_min),
];

struct CountKey {
    key: &'static str,
    least: i64,
    most: i64,
    of: fn(&mut Settings) -> &mut u8,
}

const fn count(
    key: &'static str,
    [least, most]: [i64; 2],
    of: fn(&mut Settings) -> &mut u8,
) -> CountKey {
    CountKey { key, least, most, of }
}

/// Counts of readings, periods, or scale intervals.
const COUNTS: [CountKey; 12] = [
    count("rest_readings_min", [3, 50], |s| &mut s.rest_readings_min),
    count("rest_spread_caustic_d", [1, 2], |s| &mut s.rest_spread_caustic_d),
    count("rest_spread_d", [1, 5], |s| &mut s.rest_spread_d),
    count("probe_silence_periods", [2, 10], |s| &mut s.probe_silence_periods),
    count("vessel_match_d", [1, 10], |s| &mut s.vessel_match_d),
    count("vessel_known_d", [1, 20], |s| &mut s.vessel_known_d),
    count("pan_clear_d", [1, 20], |s| &mut s.pan_clear_d),
    count("vessel_min_d", [5, 200], |s| &mut s.vessel_min_d),
    count("put_on_min_d", [5, 200], |s| &mut s.put_on_min_d),
    count("press_min_d", [50, 250], |s| &mut s.press_min_d),
    count("press_back_d", [1, 5], |s| &mut s.press_back_d),
    count("unsteady_d", [2, 20], |s| &mut s.unsteady_d),
];

pub(super) fn settings<'a>(form: &mut Form<'a>, table: Option<Table<'a>>) -> Settings {
    let mut settings = Settings::default();
    let Some(mut table) = table else { return settings };
    for SpanKey { key, least_ms, most_ms, of } in SPANS {
        let (least, most) = (Span::from_millis(least_ms), Span::from_millis(most_ms));
        if let Some(span) = form.quantity(&mut table, key, Span::parse)
            && within(form, &span, least, most)
        {
            *of(&mut settings) = span.value;
        }
    }
    for CountKey { key, least, most, of } in COUNTS {
        if let Some(count) = form.whole(&mut table, key, least..most + 1) {
            // the range above lies within a byte
            *of(&mut settings) = count.value as u8;
        }
    }
    temperatures_and_shares(form, &mut table, &mut settings);
    form.close(table);
    settings
}

fn temperatures_and_shares<'a>(
    form: &mut Form<'a>,
    table: &mut Table<'a>,
    settings: &mut Settings,
) {
    let kelvin = TemperatureDelta::from_kelvin;
    let fifth = TemperatureDelta::from_kelvin_rounded(0.2);
    let deadband = form.quantity(table, "temperature_deadband", TemperatureDelta::parse);
    if let Some(delta) = deadband.filter(|delta| within(form, delta, fifth, kelvin(5))) {
        settings.temperature_deadband = delta.value;
    }
    let below = form.quantity(table, "heating_watch_below", TemperatureDelta::parse);
    if let Some(delta) = below.filter(|delta| within(form, delta, kelvin(0), kelvin(30))) {
        settings.heating_watch_below = delta.value;
    }
    let rate = form.quantity(table, "heating_max_per_minute", TemperatureDelta::parse);
    if let Some(delta) = rate.filter(|delta| within(form, delta, fifth, kelvin(10))) {
        settings.heating_max_mk_per_min = (delta.value.kelvin() * 1000.0).round() as i32;
    }
    let spread = form.quantity(table, "spot_spread", TemperatureDelta::parse);
    if let Some(delta) = spread.filter(|delta| within(form, delta, fifth, kelvin(3))) {
        settings.spot_spread = delta.value;
    }
    let fall = form.quantity(table, "spot_fall", TemperatureDelta::parse);
    if let Some(delta) = fall.filter(|delta| within(form, delta, kelvin(2), kelvin(20))) {
        settings.spot_fall = delta.value;
    }
    let apart = form.quantity(table, "by_hand_apart", TemperatureDelta::parse);
    if let Some(delta) = apart.filter(|delta| within(form, delta, kelvin(2), kelvin(30))) {
        settings.by_hand_apart = delta.value;
    }
    let (least, most) = (Share::from_millionths(500), Share::from_percent(5));
    let residue = form.quantity(table, "residue_share", Share::parse);
    if let Some(share) = residue.filter(|share| within(form, share, least, most)) {
        settings.residue_share = share.value;
    }
    let moisture = form.quantity(table, "moisture_per_minute", Share::parse);
    if let Some(share) = moisture.filter(|share| within(form, share, least, most)) {
        settings.moisture_per_min = share.value;
    }
}

trait Shown {
    fn shown(&self) -> String;
}

impl Shown for Span {
    fn shown(&self) -> String {
        self.to_string()
    }
}

impl Shown for Share {
    fn shown(&self) -> String {
        self.show(2)
    }
}

impl Shown for TemperatureDelta {
    fn shown(&self) -> String {
        format!("{:.1} K", self.kelvin())
    }
}

fn within<T: PartialOrd + Shown>(form: &mut Form<'_>, at: &Placed<T>, least: T, most: T) -> bool {
    let good = (&least..=&most).contains(&&at.value);
    if !good {
        let expected = format!("{} to {}", least.shown(), most.shown());
        let advice = "further than that a guard would sleep, or cry wolf";
        form.refuse(at, at.value.shown(), expected, advice);
    }
    good
}
