//! The last minutes of a temperature, live on the bench.

use maud::{Markup, html};

use super::plot::{self, Band, Level, Plot, SMALL};
use crate::bench::TracePoint;
use crate::plan::Window;
use crate::quantity::{Span, Temperature, TemperatureUnit};

/// What is drawn.
pub struct Trace<'a> {
    /// What it is, as the picture is named to somebody who does not see it.
    pub label: &'a str,
    pub unit: TemperatureUnit,
    /// How far back it goes.
    pub reach: Span,
    pub points: &'a [TracePoint],
    pub window: Option<Window>,
    /// Lines that are warned or alarmed above.
    pub limits: &'a [Temperature],
}

/// At least so many kelvin are shown from bottom to top.
const LEAST_K: f64 = 6.0;

pub fn svg(trace: &Trace) -> Markup {
    let at = |age: Span| 1.0 - age.seconds() / trace.reach.seconds();
    let line = trace
        .points
        .iter()
        .map(|point| (at(point.age), point.temperature.map(Temperature::celsius)));
    let whole = (0.0, 1.0);
    let drawn = plot::svg(&Plot {
        words: words(trace),
        size: SMALL,
        line: line.collect(),
        bands: trace.window.iter().map(|&window| band(window, whole, trace.unit)).collect(),
        levels: trace.limits.iter().map(|&limit| level(limit, whole, trace.unit)).collect(),
        dots: Vec::new(),
        marks: Vec::new(),
        ends: (format!("−{} min", trace.reach.seconds() / 60.0), "now".to_owned()),
        least: least(trace.unit),
        number: &degrees,
    });
    let has_line = trace.points.iter().any(|point| point.temperature.is_some());
    drawn.filter(|_| has_line).unwrap_or_else(|| {
        html! { p class="trace-none soft" { "No trace yet." } }
    })
}

/// In the maker's unit.
pub fn least(unit: TemperatureUnit) -> f64 {
    match unit {
        TemperatureUnit::Celsius => LEAST_K,
        TemperatureUnit::Fahrenheit => LEAST_K * 9.0 / 5.0,
    }
}

/// A number of the upright axis.
pub fn degrees(shown: f64) -> String {
    format!("{shown:.0}°").replace('-', "−")
}

pub fn band(window: Window, (from, until): (f64, f64), unit: TemperatureUnit) -> Band {
    Band {
        from,
        until,
        low: window.low.in_unit(unit),
        high: window.high.in_unit(unit),
        title: format!("wanted: {} to {}", window.low.show(unit, 0), window.high.show(unit, 0)),
    }
}

pub fn level(limit: Temperature, (from, until): (f64, f64), unit: TemperatureUnit) -> Level {
    let title = format!("limit: {}", limit.show(unit, 0));
    Level { from, until, at: limit.in_unit(unit), title }
}

fn words(trace: &Trace) -> String {
    let known: Vec<Temperature> = trace.points.iter().filter_map(|p| p.temperature).collect();
    let (Some(low), Some(high)) = (known.iter().min(), known.iter().max()) else {
        return format!("{}: nothing is known of the last {}", trace.label, trace.reach);
    };
    let show = |temperature: &Temperature| temperature.show(trace.unit, 0);
    format!("{}, the last {}: {} to {}", trace.label, trace.reach, show(low), show(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(points: &[TracePoint]) -> String {
        let trace = Trace {
            label: "pot <1>",
            unit: TemperatureUnit::Fahrenheit,
            reach: Span::from_minutes(10),
            points,
            window: None,
            limits: &[],
        };
        svg(&trace).into_string()
    }

    #[test]
    fn it_is_named_in_words_and_in_the_makers_unit() {
        let point = |age, celsius| TracePoint {
            age: Span::from_secs(age),
            temperature: Some(Temperature::from_celsius(celsius)),
        };
        let svg = drawn(&[point(20, 70), point(0, 80)]);
        assert!(svg.contains("pot &lt;1&gt;, the last 10 min 00 s: 158 °F to 176 °F"), "{svg}");
        assert!(drawn(&[]).contains("No trace yet"));
    }
}
