//! What a batch looked like: its temperatures, and each pour.

use maud::{Markup, html};

use crate::bench::{ProbeAt, Target};
use crate::plan::Units;
use crate::quantity::{Mass, Span, Temperature};
use crate::review::{Charts, HeatChart, PourChart, Review};
use crate::web::page::plot::{self, Band, Dot, Level, Mark, MarkKind, Plot, SMALL, WIDE};
use crate::web::page::trace::{band, degrees, least, level};

/// At least this part of the target is shown from bottom to top.
const LEAST_SHARE: f64 = 0.2;

pub fn temperatures(review: &Review, charts: &Charts) -> Markup {
    let drawn = charts.heat.iter().filter_map(|chart| Some((chart, heat(review, charts, chart)?)));
    let drawn: Vec<(&HeatChart, Markup)> = drawn.collect();
    html! {
        @if !drawn.is_empty() {
            h2 { "How warm it was" }
            @for (chart, svg) in drawn {
                figure class="chart" {
                    figcaption { (name(chart)) }
                    (svg)
                }
            }
            p class="soft" {
                "Below, the numbers of the steps. ▲ an alarm. Shaded: where it ought to be. Dashed: a
                 limit. ○ a hand-held probe, × typed by hand. Where the line is broken nothing was read."
            }
        }
    }
}

fn name(chart: &HeatChart) -> String {
    match (&chart.channel, chart.at) {
        (None, at) => format!("{}, single readings", at.words()),
        (Some(channel), ProbeAt::Hand) => format!("{channel}, hand-held"),
        (Some(channel), at) if channel.as_str() == at.words() => at.words().to_owned(),
        (Some(channel), at) => format!("{}, by {channel}", at.words()),
    }
}

fn heat(review: &Review, charts: &Charts, chart: &HeatChart) -> Option<Markup> {
    let unit = review.units.temperature;
    let at = place((charts.from, charts.until));
    let values = chart.points.iter().filter_map(|(_, value)| *value);
    let values: Vec<Temperature> =
        values.chain(chart.spots.iter().map(|spot| spot.temperature)).collect();
    let (low, high) = (values.iter().min()?, values.iter().max()?);
    let words = format!(
        "{} over the batch, {}: {} to {}",
        name(chart),
        lasted(charts.from, charts.until),
        low.show(unit, 0),
        high.show(unit, 0)
    );
    let dots = chart.spots.iter().map(|spot| Dot {
        at: at(spot.at),
        value: spot.temperature.in_unit(unit),
        by_hand: spot.by_hand,
        title: format!(
            "{}{}, {} after the start",
            spot.temperature.show(unit, 1),
            if spot.by_hand { " by hand" } else { "" },
            lasted(charts.from, spot.at)
        ),
    });
    let windows = chart.windows.iter();
    let limits = chart.limits.iter();
    plot::svg(&Plot {
        words,
        size: WIDE,
        line: chart
            .points
            .iter()
            .map(|(when, value)| (at(*when), value.map(|known| known.in_unit(unit))))
            .collect(),
        bands: windows.map(|w| band(w.what, (at(w.from), at(w.until)), unit)).collect(),
        levels: limits.map(|l| level(l.what, (at(l.from), at(l.until)), unit)).collect(),
        dots: dots.collect(),
        marks: marks(review, charts),
        ends: ("start".to_owned(), lasted(charts.from, charts.until)),
        least: least(unit),
        number: &degrees,
    })
}

fn marks(review: &Review, charts: &Charts) -> Vec<Mark> {
    let at = place((charts.from, charts.until));
    let title = |number: usize| {
        let step = review.steps.iter().find(|step| step.number == number);
        step.map_or_else(String::new, |step| format!("step {number}: {}", step.title))
    };
    let steps = charts.steps.iter().map(|&(when, number)| Mark {
        at: at(when),
        kind: MarkKind::Step(number),
        title: title(number),
    });
    let alarms = charts.alarms.iter().map(|(when, detail)| Mark {
        at: at(*when),
        kind: MarkKind::Alarm,
        title: format!("alarm, {} after the start: {detail}", lasted(charts.from, *when)),
    });
    steps.chain(alarms).collect()
}

pub fn pours(review: &Review, charts: &Charts) -> Markup {
    let drawn = charts.pours.iter().filter_map(|chart| Some((chart, pour(chart, &review.units)?)));
    let drawn: Vec<(&PourChart, Markup)> = drawn.collect();
    html! {
        @if !drawn.is_empty() {
            h2 { "How it was poured" }
            div class="pours-drawn" {
                @for (chart, svg) in drawn {
                    figure class="chart" {
                        figcaption { "Step " (chart.step) ": " (chart.title) }
                        (svg)
                    }
                }
            }
            p class="soft" {
                "Shaded: the tolerance. Dashed: the guard of the caustic. ○ where it was captured."
            }
        }
    }
}

fn pour(chart: &PourChart, units: &Units) -> Option<Markup> {
    let at = place((chart.from, chart.until));
    let show = |mass: Mass| mass.show(units.mass, units.mass_decimals);
    let Target { mass, low, high, guard } = chart.target;
    let mut words = format!("{}, poured in {}", chart.title, lasted(chart.from, chart.until));
    if let Some((_, captured)) = chart.captured {
        words += &format!(": {} of {}", show(captured), show(mass));
    }
    let guard = guard.map(|guard| Level {
        from: 0.0,
        until: 1.0,
        at: guard.mass.grams(),
        title: format!("never above {}", show(guard.mass)),
    });
    let captured = chart.captured.map(|(when, net)| Dot {
        at: at(when),
        value: net.grams(),
        by_hand: false,
        title: format!("captured: {}", show(net)),
    });
    plot::svg(&Plot {
        words,
        size: SMALL,
        line: chart.points.iter().map(|(when, net)| (at(*when), net.map(Mass::grams))).collect(),
        bands: vec![Band {
            from: 0.0,
            until: 1.0,
            low: low.grams(),
            high: high.grams(),
            title: format!("good between {} and {}", show(low), show(high)),
        }],
        levels: guard.into_iter().collect(),
        dots: captured.into_iter().collect(),
        marks: Vec::new(),
        ends: ("0 s".to_owned(), lasted(chart.from, chart.until)),
        least: mass.grams() * LEAST_SHARE,
        number: &|grams| {
            let decimals = units.mass_decimals.min(1);
            Mass::from_grams_rounded(grams).show_number(units.mass, decimals)
        },
    })
}

/// Where a time lies between two others, from 0 to 1.
fn place((from, until): (i64, i64)) -> impl Fn(i64) -> f64 {
    let whole = (until - from).max(1) as f64;
    move |when| (when - from) as f64 / whole
}

fn lasted(from: i64, until: i64) -> String {
    Span::from_nanos((until - from).max(0)).to_string()
}
