//! The one number of a step, as large as the screen allows.

use super::warmth::{self, Warm, range};
use crate::bench::{BatchView, ChannelView, CookView, Pace, Phase, ProbeAt, WeighingView};
use crate::plan::Units;
use crate::quantity::{Mass, MassUnit};

/// What is shown for a number that is not known, or too old to be shown.
pub const UNKNOWN: &str = "—";

/// A number with what it is and what lies beneath it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Big {
    pub number: String,
    pub unit: String,
    /// What the number is: "left to pour".
    pub label: String,
    pub beneath: Option<String>,
    /// Where it comes from, when no instrument says it now.
    pub source: Option<String>,
}

impl Big {
    /// About how many wide letters it takes, for the size it is written in.
    pub fn letters(&self) -> usize {
        let unit = self.unit.chars().count();
        // the unit is written at less than half the size
        (self.number.chars().count() + unit.div_ceil(2)).clamp(1, 16)
    }
}

/// `None` where no number matters more than the sentence.
pub fn of(batch: &BatchView, channels: &[ChannelView]) -> Option<Big> {
    if let Some(weighing) = &batch.weighing {
        return Some(weighed(weighing, &batch.units));
    }
    if let Some(cook) = &batch.cook {
        let label = format!("pot, keep {}", range(cook.window, batch.units.temperature));
        return Some(warm(cook.at, label, Some(cooked(cook)), batch, channels));
    }
    if let Some(cool) = &batch.cool {
        let unit = batch.units.temperature;
        let label = format!("pot, wait until it is at most {}", cool.below.show(unit, 0));
        // the hottest of what is known counts, wherever it comes from
        let warm = cool.now.map(|now| warmth::counts(now, ProbeAt::Pot, batch));
        return Some(warm_is(warm, label, None, batch));
    }
    let lye = batch.lye.as_ref()?;
    let unit = batch.units.temperature;
    let peak = lye.peak.map_or_else(|| UNKNOWN.to_owned(), |peak| peak.show(unit, 0));
    let beneath = format!("should peak at {} · highest so far {peak}", lye.expected.words(unit));
    Some(warm(ProbeAt::Lye, "lye".to_owned(), Some(beneath), batch, channels))
}

fn cooked(cook: &CookView) -> String {
    let look = match cook.next_look {
        Some(left) => format!("next look in {left}"),
        None => "a look is due".to_owned(),
    };
    let why = cook.standing.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
    let out = match cook.shelved {
        Some(left) => format!(" · probe out for stirring, for another {left}"),
        None => String::new(),
    };
    format!("cooked {} of {}{why} · {look}{out}", cook.watched, cook.duration)
}

fn weighed(weighing: &WeighingView, units: &Units) -> Big {
    let target = weighing.target.mass;
    let show = |mass: Mass| mass.show(units.mass, units.mass_decimals);
    let beneath = |net: Mass| Some(format!("{} in, of {}", show(net), show(target)));
    let (mass, label, beneath) = match (weighing.phase, weighing.left, weighing.net) {
        // nothing is on the pan yet, so the number is what is wanted, not what is there
        (Phase::AwaitingVessel | Phase::Taring, _, _) => {
            (Some(target), format!("of {} to add", weighing.name), None)
        }
        (Phase::TakingOut, Some(left), Some(net)) => {
            let label = format!("of {} to take out", weighing.name);
            (Some((Mass::ZERO - left).max(Mass::ZERO)), label, Some(format!("{} in it", show(net))))
        }
        (_, Some(left), Some(net)) if left.is_negative() => {
            (Some(left.abs()), format!("too much {}", weighing.name), beneath(net))
        }
        (Phase::Captured, Some(_), Some(net)) => (
            Some(net),
            format!("of {} weighed", weighing.name),
            Some(format!("of {}", show(target))),
        ),
        (_, Some(left), Some(net)) => {
            let how = match weighing.pace {
                Pace::Free => "left to add",
                Pace::Slow => "left: slowly",
                Pace::Stop => "left: stop",
            };
            (Some(left), format!("of {} {how}", weighing.name), beneath(net))
        }
        _ => (
            None,
            format!("{}: weight not known", weighing.name),
            Some(format!("of {}", show(target))),
        ),
    };
    let (number, unit) = match mass {
        Some(mass) => split_mass(mass, units),
        None => (UNKNOWN.to_owned(), String::new()),
    };
    Big { number, unit, label, beneath, source: None }
}

fn split_mass(mass: Mass, units: &Units) -> (String, String) {
    if units.mass == MassUnit::PoundOunce {
        return (mass.show(units.mass, units.mass_decimals), String::new());
    }
    (mass.show_number(units.mass, units.mass_decimals), units.mass.symbol().to_owned())
}

fn warm(
    at: ProbeAt,
    label: String,
    beneath: Option<String>,
    batch: &BatchView,
    channels: &[ChannelView],
) -> Big {
    warm_is(warmth::of(at, batch, channels), label, beneath, batch)
}

fn warm_is(warm: Option<Warm>, label: String, beneath: Option<String>, batch: &BatchView) -> Big {
    let (number, source) = match warm {
        Some(warm) => (warm.number, warm.source),
        None => (UNKNOWN.to_owned(), None),
    };
    Big { number, unit: batch.units.temperature.symbol().to_owned(), label, beneath, source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Target;
    use crate::plan::Vessel;

    fn view(phase: Phase, net: Option<&str>) -> WeighingView {
        let g = |text: &str| Mass::parse(text).unwrap();
        let target = Target { mass: g("4 oz"), low: g("3.9 oz"), high: g("4.1 oz"), guard: None };
        let net = net.map(g);
        WeighingView {
            ingredient: "olive".into(),
            name: "olive oil".to_owned(),
            into: Vessel::Pot,
            phase,
            target,
            net,
            left: net.map(|net| target.mass - net),
            pace: Pace::Free,
            vessel: None,
            room: None,
        }
    }

    fn shown(phase: Phase, net: Option<&str>) -> (String, String) {
        let units = Units { mass: MassUnit::Ounce, mass_decimals: 2, ..Units::default() };
        let big = weighed(&view(phase, net), &units);
        (format!("{} {}", big.number, big.unit), big.label)
    }

    #[test]
    fn the_number_is_what_is_left_until_it_is_too_much() {
        let is = |phase, net, number: &str, label: &str| {
            assert_eq!(shown(phase, net), (number.to_owned(), label.to_owned()));
        };
        is(Phase::AwaitingVessel, None, "4.00 oz", "of olive oil to add");
        is(Phase::Pouring, Some("1.5 oz"), "2.50 oz", "of olive oil left to add");
        is(Phase::Pouring, Some("4.5 oz"), "0.50 oz", "too much olive oil");
        is(Phase::TakingOut, Some("4.5 oz"), "0.50 oz", "of olive oil to take out");
        is(Phase::Captured, Some("3.98 oz"), "3.98 oz", "of olive oil weighed");
    }

    #[test]
    fn what_is_not_known_is_no_number() {
        for phase in [Phase::Lifted, Phase::Blind, Phase::ZeroDoubted, Phase::Over] {
            assert!(shown(phase, None).0.starts_with(UNKNOWN), "{phase:?}");
        }
    }
}
