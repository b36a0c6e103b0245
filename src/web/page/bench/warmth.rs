//! Temperatures of one pot: by the probe that stands there, by one that was held there, by hand.

use maud::{Markup, html};

use super::big::UNKNOWN;
use super::entry;
use super::picture::{answer, whole};
use crate::bench::{
    BatchView, ChannelView, CombineView, HeldView, KnownView, ProbeAt, Role, Source, View,
};
use crate::plan::Window;
use crate::quantity::{Span, Temperature, TemperatureUnit};
use crate::reading::Value;

/// What may be shown of a place now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warm {
    /// The number alone.
    pub number: String,
    /// Where it comes from and how old it is; `None`: a probe that stands there says it now.
    pub source: Option<String>,
}

/// A probe that stands there, before what else is known of the place.
pub fn of(at: ProbeAt, batch: &BatchView, channels: &[ChannelView]) -> Option<Warm> {
    let unit = batch.units.temperature;
    // a probe in the air tells nothing of the pot
    let is_out =
        at == ProbeAt::Pot && batch.cook.as_ref().is_some_and(|cook| cook.shelved.is_some());
    let stands = |channel: &&ChannelView| {
        let here = matches!(channel.role, Role::Probe { at: place, .. } if place == at);
        here && !is_out && (at == ProbeAt::Room || channel.holder.as_ref() == Some(&batch.batch))
    };
    let fixed = channels.iter().filter(stands).find_map(|channel| number(channel, unit));
    if let Some(number) = fixed {
        return Some(Warm { number, source: None });
    }
    let known = batch.temperatures.iter().find(|known| known.at == at)?;
    let shown = known.temperature.show(unit, 1);
    Some(Warm { number: without(&shown, unit), source: Some(source(known)) })
}

/// A temperature that the law goes by, with its source if no probe says it now.
pub fn counts(temperature: Temperature, at: ProbeAt, batch: &BatchView) -> Warm {
    let unit = batch.units.temperature;
    let is_it = |known: &&KnownView| known.at == at && known.temperature == temperature;
    let source = batch.temperatures.iter().find(is_it).map(source);
    Warm { number: without(&temperature.show(unit, 1), unit), source }
}

/// The number alone; `None` when it may not be shown.
pub fn number(channel: &ChannelView, unit: TemperatureUnit) -> Option<String> {
    match channel.value {
        Some(Value::Temperature { temperature, decimals, .. }) => {
            Some(without(&temperature.show(unit, decimals.min(1)), unit))
        }
        _ => None,
    }
}

fn without(shown: &str, unit: TemperatureUnit) -> String {
    shown.trim_end_matches(unit.symbol()).trim_end().to_owned()
}

fn source(known: &KnownView) -> String {
    let how = match known.source {
        Source::Probe => "by its probe",
        Source::HandHeld => "by the hand-held probe",
        Source::Spot => "by the hand-held probe, which is elsewhere now",
        Source::ByHand => "by hand",
    };
    format!("{how}, {}", age(known.age))
}

/// Younger than two seconds is now.
pub fn age(age: Span) -> String {
    if age < Span::from_secs(2) { "now".to_owned() } else { format!("{} ago", whole(age)) }
}

/// What no fixed probe shows, and what an operator can do about it.
pub fn section(batch: &BatchView) -> Markup {
    if batch.temperatures.is_empty() && batch.probes.is_empty() && batch.places.is_empty() {
        return html! {};
    }
    html! {
        section class="spots" data-key="spots"
            aria-label={ "Temperatures without a fixed probe, " (batch.batch) } {
            @for known in batch.temperatures.iter().filter(|known| is_shown(known, batch)) {
                (spot(known, batch.units.temperature))
            }
            @if !batch.probes.is_empty() {
                div class="answers places" { @for each in &batch.probes { (answer(each, false)) } }
            }
            @if !batch.places.is_empty() {
                details data-key="by-hand" {
                    summary { "Type a temperature you read yourself" }
                    (entry::temperature(batch))
                }
            }
        }
    }
}

/// Not what stands large above already, and not what was of use only before.
fn is_shown(known: &KnownView, batch: &BatchView) -> bool {
    let matters = known.at == ProbeAt::Room || batch.places.contains(&known.at);
    batch.combine.is_none() && matters
}

fn spot(known: &KnownView, unit: TemperatureUnit) -> Markup {
    // a hand for what a hand held, a pen for what a hand wrote
    let mark = match known.source {
        Source::Probe | Source::HandHeld => "☞",
        Source::Spot => "☜",
        Source::ByHand => "✎",
    };
    html! {
        div class="instrument spot" data-key=(known.at.words()) {
            p class="role" { (known.at.words()) }
            p class="reading number" {
                span data-live { (without(&known.temperature.show(unit, 1), unit)) }
                span class="unit" { " " (unit.symbol()) }
            }
            p class="age" {
                span aria-hidden="true" { (mark) " " }
                span data-live { (source(known)) }
            }
        }
    }
}

/// Where a hand-held probe is, under its number.
pub fn held(channel: &ChannelView, view: &View) -> Markup {
    if !matches!(channel.role, Role::Probe { at: ProbeAt::Hand, .. }) {
        return html! {};
    }
    html! {
        p class="held" data-live {
            @match &channel.held {
                Some(held) => (place(held, view)),
                None => "In nobody's pot: it counts for nothing until you say where it is.",
            }
        }
    }
}

fn place(held: &HeldView, view: &View) -> String {
    let pot = view.batches.iter().find(|batch| batch.batch == held.batch);
    let of = match pot {
        Some(batch) if view.batches.len() > 1 => format!(" of {}", batch.pot),
        _ => String::new(),
    };
    let settled = if held.settled { "" } else { ", settling" };
    let left = held.left.map_or_else(String::new, |left| format!(", for another {}", whole(left)));
    format!("In the {}{of}{settled}{left}.", held.at.words())
}

/// Oils and lye beside each other, each with what it is to be.
pub fn pair(combine: &CombineView, batch: &BatchView, channels: &[ChannelView]) -> Markup {
    let unit = batch.units.temperature;
    let wanted = |window: Option<Window>| match window {
        Some(window) => format!("wanted: {}", range(window, unit)),
        None => "no window in the recipe".to_owned(),
    };
    let sides = [(ProbeAt::Oils, combine.oils), (ProbeAt::Lye, combine.lye)];
    html! {
        div class="pair" {
            @for (at, window) in sides {
                @let warm = of(at, batch, channels);
                div data-key=(at.words()) {
                    p class="label" { (at.words()) }
                    p class="half number" {
                        span data-live { (warm.as_ref().map_or(UNKNOWN, |warm| &warm.number)) }
                        span class="unit" { " " (unit.symbol()) }
                    }
                    p class="beneath" { (wanted(window)) }
                    @if let Some(source) = warm.and_then(|warm| warm.source) {
                        p class="soft" data-live { (source) }
                    }
                }
            }
        }
        @if let Some(most) = combine.difference_max {
            p class="soft" { "No further apart than " (most.show(unit, 0)) "." }
        }
    }
}

/// "71 to 93 °C".
pub fn range(window: Window, unit: TemperatureUnit) -> String {
    format!("{} to {}", without(&window.low.show(unit, 0), unit), window.high.show(unit, 0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{BatchId, CookView};
    use crate::plan::Units;
    use crate::reading::{Channel, Status};

    fn probe(at: ProbeAt, holder: &str, celsius: Option<i64>) -> ChannelView {
        let unit = TemperatureUnit::Celsius;
        let value = celsius.map(|celsius| Value::Temperature {
            temperature: Temperature::from_celsius(celsius),
            decimals: 1,
            unit,
        });
        ChannelView {
            channel: Channel::new("probe"),
            instrument: "probe".to_owned(),
            role: Role::Probe { at, unit },
            value,
            status: Some(Status::Stable),
            stable: true,
            age: Some(Span::ZERO),
            lost: None,
            trace: Vec::new(),
            held: None,
            holder: Some(BatchId(holder.to_owned())),
            zero: None,
            zeroes: false,
        }
    }

    fn pot(shelved: bool) -> BatchView {
        let window =
            Window { low: Temperature::from_celsius(71), high: Temperature::from_celsius(93) };
        let by_hand = KnownView {
            at: ProbeAt::Pot,
            temperature: Temperature::from_celsius(84),
            source: Source::ByHand,
            age: Span::from_secs(130),
        };
        let cook = CookView {
            at: ProbeAt::Pot,
            window,
            limits: None,
            watched: Span::ZERO,
            standing: None,
            duration: Span::from_minutes(30),
            next_look: None,
            shelved: shelved.then_some(Span::from_secs(40)),
            tests: Vec::new(),
        };
        let view = serde_json::json!({
            "batch": "a", "recipe": "Plain Bar", "units": Units::default(), "step": "cook",
            "step_number": 7, "step_count": 9, "title": "Cook", "sentence": "Keep it warm.",
            "hazards": [], "captures": [], "temperatures": [by_hand], "cook": cook,
        });
        serde_json::from_value(view).unwrap()
    }

    #[test]
    fn a_probe_of_this_pot_goes_before_what_was_typed_and_no_other_does() {
        let shown = |probe: ChannelView, shelved| {
            let warm = of(ProbeAt::Pot, &pot(shelved), &[probe]).unwrap();
            (warm.number, warm.source)
        };
        let by_hand = ("84.0".to_owned(), Some("by hand, 2 min 10 s ago".to_owned()));
        let own = probe(ProbeAt::Pot, "a", Some(90));
        assert_eq!(shown(own.clone(), false), ("90.0".to_owned(), None));
        assert_eq!(shown(own, true), by_hand, "the probe is out for stirring");
        assert_eq!(shown(probe(ProbeAt::Pot, "b", Some(90)), false), by_hand, "another's pot");
        assert_eq!(shown(probe(ProbeAt::Pot, "a", None), false), by_hand, "too old");
        assert_eq!(of(ProbeAt::Lye, &pot(false), &[]), None);
    }
}
