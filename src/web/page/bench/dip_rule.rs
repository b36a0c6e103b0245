//! The dip rule: an upright rule as one dips into a vat. Left the whole pour, right its last tenth
//! magnified, with the tolerance and the guard drawn to scale, and one pointer through both.

use maud::{Markup, html};

use crate::bench::{Target, WeighingView};
use crate::plan::Units;
use crate::quantity::Mass;

const HEIGHT: f64 = 420.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 400.0;
/// The whole pour.
const STICK: f64 = 34.0;
/// Its last tenth.
const GLASS: f64 = 96.0;
const GLASS_WIDTH: f64 = 46.0;
/// The magnified part begins here.
const LAST_TENTH: f64 = 0.9;
/// And ends here, or a little above the guard.
const BEYOND: f64 = 1.1;
const OVER_GUARD: f64 = 1.02;
/// The stick goes on a little above the target, so that too much is seen.
const STICK_TO: f64 = 1.1;
/// A band thinner than this cannot be seen from two metres.
const BAND_MIN: f64 = 6.0;

/// Shares of the target, and where they lie.
struct Scale {
    target: Mass,
    glass_to: f64,
}

impl Scale {
    fn of(target: &Target) -> Scale {
        let mut scale = Scale { target: target.mass, glass_to: BEYOND };
        let guard = target.guard.map_or(0.0, |guard| scale.share(guard.mass));
        scale.glass_to = BEYOND.max(guard * OVER_GUARD).max(scale.share(target.high) * OVER_GUARD);
        scale
    }

    fn share(&self, mass: Mass) -> f64 {
        mass.grams() / self.target.grams().max(f64::MIN_POSITIVE)
    }

    fn on_stick(&self, mass: Mass) -> f64 {
        let part = (self.share(mass) / STICK_TO).clamp(0.0, 1.0);
        round(BOTTOM - part * (BOTTOM - TOP))
    }

    fn on_glass(&self, mass: Mass) -> f64 {
        let part = (self.share(mass) - LAST_TENTH) / (self.glass_to - LAST_TENTH);
        round(BOTTOM - part.clamp(0.0, 1.0) * (BOTTOM - TOP))
    }

    fn of_target(&self, share: f64) -> Mass {
        Mass::from_grams_rounded(self.target.grams() * share)
    }
}

pub fn svg(weighing: &WeighingView, units: &Units) -> Markup {
    let scale = Scale::of(&weighing.target);
    html! {
        svg class="dip" viewBox={ "0 0 150 " (HEIGHT) } role="img" aria-label=(words(weighing, units)) {
            (stick(&scale))
            (glass(&scale, &weighing.target))
            @if let Some(net) = weighing.net { (pointer(&scale, net)) }
        }
    }
}

fn stick(scale: &Scale) -> Markup {
    let from = scale.on_stick(scale.of_target(LAST_TENTH));
    let to = scale.on_stick(scale.target);
    html! {
        path class="edge" d=(format!("M{STICK} {TOP}V{BOTTOM}")) {}
        @for tenth in 0..=10_u8 {
            @let y = scale.on_stick(scale.of_target(f64::from(tenth) / 10.0));
            @let long = if tenth % 5 == 0 { 14.0 } else { 8.0 };
            path class="tick" d=(format!("M{STICK} {y}h-{long}")) {}
        }
        // the last tenth of the stick is what the glass shows
        path class="lens" d=(format!("M{STICK} {from}L{GLASS} {BOTTOM}M{STICK} {to}L{GLASS} {}",
            scale.on_glass(scale.target))) {}
        path class="part" d=(format!("M{STICK} {from}V{to}")) {}
    }
}

fn glass(scale: &Scale, target: &Target) -> Markup {
    let (low, high) = (scale.on_glass(target.low), scale.on_glass(target.high));
    let thin = (BAND_MIN - (low - high)).max(0.0) / 2.0;
    let right = GLASS + GLASS_WIDTH;
    let middle = scale.on_glass(target.mass);
    html! {
        rect class="glass" x=(GLASS) y=(TOP) width=(GLASS_WIDTH) height=(BOTTOM - TOP) {}
        rect class="band" x=(GLASS) y=(round(high - thin)) width=(GLASS_WIDTH)
            height=(round(low - high + 2.0 * thin)) {}
        path class="target" d=(format!("M{GLASS} {middle}H{right}")) {}
        @for hundredth in 90..=110_u8 {
            @let y = scale.on_glass(scale.of_target(f64::from(hundredth) / 100.0));
            @if y > TOP { path class="tick" d=(format!("M{GLASS} {y}h5")) {} }
        }
        @if let Some(guard) = target.guard {
            @let y = scale.on_glass(guard.mass);
            // barbs, so that it is no line like the others
            path class="guard" d=(format!("M{GLASS} {y}H{right}m-8 -7l8 7l-8 7m-{0} -14l-8 7l8 7",
                GLASS_WIDTH - 16.0)) {}
        }
    }
}

/// A hand's pointer: a notch at the stick, and a line through the glass once it has come so far.
fn pointer(scale: &Scale, net: Mass) -> Markup {
    let y = scale.on_stick(net);
    let share = scale.share(net);
    let in_glass = (LAST_TENTH..=scale.glass_to).contains(&share);
    let at = scale.on_glass(net);
    let right = GLASS + GLASS_WIDTH;
    html! {
        path class="pointer" d=(format!("M{STICK} {y}l-20 -9v18z")) {}
        @if in_glass {
            path class="level" d=(format!("M{} {at}H{right}", GLASS - 6.0)) {}
            path class="pointer" d=(format!("M{} {at}l-14 -8v16z", GLASS + 2.0)) {}
        } @else if share > scale.glass_to {
            // off the rule
            path class="pointer" d=(format!("M{} {}l-12 12h24z", GLASS + GLASS_WIDTH / 2.0, TOP - 18.0)) {}
        }
    }
}

/// The same in words.
pub fn words(weighing: &WeighingView, units: &Units) -> String {
    let show = |mass: Mass| mass.show(units.mass, units.mass_decimals);
    let target = &weighing.target;
    let mut words = format!("Good between {} and {}", show(target.low), show(target.high));
    if let Some(guard) = target.guard {
        words += &format!("; never above {}", show(guard.mass));
    }
    words
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Pace, Phase};
    use crate::chemistry::Guard;
    use crate::plan::Vessel;
    use crate::quantity::MassUnit;

    fn g(text: &str) -> Mass {
        Mass::parse(&format!("{text} g")).unwrap()
    }

    fn pour(net: Option<&str>) -> WeighingView {
        let guard = Some(Guard { mass: g("103"), proven: true });
        let target = Target { mass: g("100"), low: g("99"), high: g("101"), guard };
        WeighingView {
            ingredient: "naoh".into(),
            name: "NaOH".to_owned(),
            into: Vessel::Own,
            phase: Phase::Pouring,
            target,
            net: net.map(g),
            left: None,
            pace: Pace::Free,
            vessel: None,
            room: None,
        }
    }

    #[test]
    fn tolerance_and_guard_are_drawn_to_scale() {
        let scale = Scale::of(&pour(None).target);
        let per_percent = (BOTTOM - TOP) / 20.0;
        let near = |a: f64, b: f64| (a - b).abs() < 0.11;
        assert!(near(scale.on_glass(g("99")) - scale.on_glass(g("101")), 2.0 * per_percent));
        assert!(near(scale.on_glass(g("100")) - scale.on_glass(g("103")), 3.0 * per_percent));
        assert!(near(scale.on_glass(g("90")), BOTTOM) && near(scale.on_glass(g("110")), TOP));
        assert!(near(scale.on_stick(g("0")), BOTTOM) && near(scale.on_stick(g("110")), TOP));
    }

    #[test]
    fn without_a_net_there_is_no_pointer_and_far_over_it_points_off_the_rule() {
        let units = Units { mass: MassUnit::Gram, mass_decimals: 1, ..Units::default() };
        let drawn = |net| svg(&pour(net), &units).into_string();
        let pointers = |net| drawn(net).matches(r#"class="pointer""#).count();
        assert_eq!(pointers(None), 0);
        assert_eq!(pointers(Some("40")), 1);
        assert_eq!(pointers(Some("99.5")), 2);
        assert_eq!(pointers(Some("300")), 2);
        assert_eq!(drawn(Some("99.5")).matches(r#"class="level""#).count(), 1);
        assert_eq!(drawn(Some("300")).matches(r#"class="level""#).count(), 0);
        assert!(drawn(None).contains("Good between 99.0 g and 101.0 g; never above 103.0 g"));
    }
}
