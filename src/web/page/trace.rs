//! A temperature over time, as SVG: live on the bench, and wherever a record is shown. Colours come
//! from the page's classes, so that it follows dark and print; what it shows is also said in words.

use maud::{Markup, html};

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

const WIDTH: f64 = 320.0;
const HEIGHT: f64 = 96.0;
/// Room for the numbers of the upright axis.
const LEFT: f64 = 40.0;
const RIGHT: f64 = WIDTH - 8.0;
const TOP: f64 = 8.0;
const BOTTOM: f64 = HEIGHT - 18.0;
/// A quiet line must not look wild: at least so many kelvin are shown.
const LEAST_K: f64 = 6.0;

pub fn svg(trace: &Trace) -> Markup {
    let known = trace.points.iter().filter_map(|point| point.temperature);
    let marks = trace.window.iter().flat_map(|window| [window.low, window.high]);
    let all: Vec<f64> = known.chain(marks).map(Temperature::celsius).collect();
    let Some((low, high)) = extent(&all) else {
        return html! {
            p class="trace-none soft" { "No trace yet." }
        };
    };
    let y = |temperature: Temperature| {
        let part = (temperature.celsius() - low) / (high - low);
        (BOTTOM - part * (BOTTOM - TOP)).clamp(TOP, BOTTOM)
    };
    let x = |age: Span| RIGHT - age.seconds() / trace.reach.seconds() * (RIGHT - LEFT);
    let degrees = |celsius: f64| {
        Temperature::from_celsius_rounded(celsius).in_unit(trace.unit).round().to_string()
    };
    html! {
        svg class="trace" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
            aria-label=(words(trace)) {
            @if let Some(window) = trace.window {
                rect class="window" x=(LEFT) width=(RIGHT - LEFT) y=(round(y(window.high)))
                    height=(round(y(window.low) - y(window.high))) {}
            }
            @for &limit in trace.limits.iter().filter(|limit| limit.celsius() < high) {
                path class="limit" d=(format!("M{LEFT} {0:.1}H{RIGHT}", y(limit))) {}
            }
            path class="axis" d=(format!("M{LEFT} {TOP}V{BOTTOM}H{RIGHT}")) {}
            text x=(LEFT - 5.0) y=(TOP + 8.0) text-anchor="end" { (degrees(high)) "°" }
            text x=(LEFT - 5.0) y=(BOTTOM) text-anchor="end" { (degrees(low)) "°" }
            text x=(LEFT) y=(HEIGHT - 4.0) { "−" (trace.reach.seconds() / 60.0) " min" }
            text x=(RIGHT) y=(HEIGHT - 4.0) text-anchor="end" { "now" }
            path class="line" d=(line(trace.points, &x, &y)) {}
            @if let Some(TracePoint { age, temperature: Some(last) }) = trace.points.last() {
                circle class="end" cx=(round(x(*age))) cy=(round(y(*last))) r="3.5" {}
            }
        }
    }
}

/// Broken at every gap: what was not seen is not drawn.
fn line(
    points: &[TracePoint],
    x: &impl Fn(Span) -> f64,
    y: &impl Fn(Temperature) -> f64,
) -> String {
    let mut path = String::new();
    let mut pen = 'M';
    for point in points {
        match point.temperature {
            Some(temperature) => {
                path += &format!("{pen}{:.1} {:.1}", x(point.age), y(temperature));
                pen = 'L';
            }
            None => pen = 'M',
        }
    }
    path
}

fn extent(values: &[f64]) -> Option<(f64, f64)> {
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    let spare = ((LEAST_K - (high - low)) / 2.0).max(1.0);
    Some((low - spare, high + spare))
}

fn words(trace: &Trace) -> String {
    let known: Vec<Temperature> = trace.points.iter().filter_map(|p| p.temperature).collect();
    let (Some(low), Some(high)) = (known.iter().min(), known.iter().max()) else {
        return format!("{}: nothing is known of the last {}", trace.label, trace.reach);
    };
    let show = |temperature: &Temperature| temperature.show(trace.unit, 0);
    format!("{}, the last {}: {} to {}", trace.label, trace.reach, show(low), show(high))
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(age: i64, celsius: Option<i64>) -> TracePoint {
        let temperature = celsius.map(Temperature::from_celsius);
        TracePoint { age: Span::from_secs(age), temperature }
    }

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
    fn a_gap_breaks_the_line() {
        let whole = drawn(&[point(20, Some(70)), point(10, Some(75)), point(0, Some(80))]);
        let broken = drawn(&[point(20, Some(70)), point(10, None), point(0, Some(80))]);
        let strokes = |svg: &str| {
            let path = svg.split(r#"class="line" d=""#).nth(1).unwrap().split('"').next().unwrap();
            path.matches('M').count()
        };
        assert_eq!((strokes(&whole), strokes(&broken)), (1, 2));
    }

    #[test]
    fn it_is_named_in_words_and_in_the_makers_unit() {
        let svg = drawn(&[point(20, Some(70)), point(0, Some(80))]);
        assert!(svg.contains("pot &lt;1&gt;, the last 10 min 00 s: 158 °F to 176 °F"), "{svg}");
        assert!(drawn(&[]).contains("No trace yet"));
    }
}
