//! How the soap is made: hot or cold, windows, looks, and the steps in the maker's own words.

use crate::plan::Window;
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Span, Temperature, TemperatureDelta};

use super::{Combine, CookPlan, When, Work, amounts, tests_of_cook};

// The usual windows. All of them are common practice, no source, and each can be set in the file.
pub(super) const COOK_WINDOW: Window =
    Window { low: Temperature::from_celsius(71), high: Temperature::from_celsius(93) };
pub(super) const COOK_HIGH: Temperature = Temperature::from_celsius(95);
pub(super) const COOK_HIGH_HIGH: Temperature = Temperature::from_celsius(98);
const COOK_DURATION: Span = Span::from_minutes(60);
const LOOK_EVERY: Span = Span::from_minutes(10);
const SOFT_OILS: Window =
    Window { low: Temperature::from_celsius(32), high: Temperature::from_celsius(54) };
const APART_MAX: TemperatureDelta = TemperatureDelta::from_kelvin(11);
/// Longer than any cook; a mistake in the unit.
const COOK_LONGEST: Span = Span::from_minutes(24 * 60);

pub(super) fn combine<'a>(form: &mut Form<'a>, table: Option<Table<'a>>) -> Combine {
    let Some(mut table) = table else {
        return Combine {
            oils: Some(SOFT_OILS),
            lye: Some(SOFT_OILS),
            difference_max: Some(APART_MAX),
            stated: false,
        };
    };
    let oils = form.quantity(&mut table, "oils", amounts::window);
    let lye = form.quantity(&mut table, "lye", amounts::window);
    let apart = form.quantity(&mut table, "no_further_apart_than", TemperatureDelta::parse);
    form.close(table);
    let apart = apart.filter(|apart| {
        let good = apart.value > TemperatureDelta::ZERO;
        if !good {
            form.refuse(apart, "nothing or less", "more than 0 K", "check sign and digits");
        }
        good
    });
    Combine {
        oils: oils.map(|window| window.value),
        lye: lye.map(|window| window.value),
        difference_max: apart.map(|apart| apart.value),
        stated: true,
    }
}

pub(super) fn cook<'a>(form: &mut Form<'a>, table: Option<Table<'a>>) -> CookPlan {
    let usual = CookPlan {
        window: COOK_WINDOW,
        high: COOK_HIGH,
        high_high: COOK_HIGH_HIGH,
        duration: COOK_DURATION,
        look_every: LOOK_EVERY,
        tests: Vec::new(),
        stated: false,
    };
    let Some(mut table) = table else { return usual };
    let window = form.quantity(&mut table, "keep", amounts::window);
    let high = form.quantity(&mut table, "warn_above", Temperature::parse);
    let high_high = form.quantity(&mut table, "alarm_above", Temperature::parse);
    let duration = form.quantity(&mut table, "for", Span::parse);
    let look_every = form.quantity(&mut table, "look_every", Span::parse);
    let rows = form.tables(&mut table, "test");
    let at = table.placed();
    let stated = ["keep", "warn_above", "alarm_above"].iter().any(|key| table.has(key));
    form.close(table);
    let tests = tests_of_cook::tests(form, rows);
    let duration = duration.filter(|span| credible_span(form, span));
    let look_every = look_every.filter(|span| credible_span(form, span));
    let cook = CookPlan {
        window: window.map_or(usual.window, |window| window.value),
        high: high.as_ref().map_or(usual.high, |high| high.value),
        high_high: high_high.as_ref().map_or(usual.high_high, |high| high.value),
        duration: duration.map_or(usual.duration, |span| span.value),
        look_every: look_every.map_or(usual.look_every, |span| span.value),
        tests,
        stated,
    };
    let ordered = cook.window.high <= cook.high && cook.high < cook.high_high;
    if !ordered {
        let found = format!(
            "keep up to {}, warn above {}, alarm above {}",
            show(cook.window.high),
            show(cook.high),
            show(cook.high_high)
        );
        let expected = "the window's end, `warn_above` and `alarm_above` in this order";
        let advice = "set all three; those left out are the usual 93 °C, 95 °C and 98 °C";
        form.refuse(&at, found, expected, advice);
    }
    cook
}

pub(super) fn work<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<Work> {
    let say = form.text(&mut table, "say");
    form.need(&table, "say", "what to do, in a sentence", "add it");
    let when = form.word(&mut table, "when", &When::WORDS);
    let words = When::WORDS.map(|(word, _)| word).join(", ");
    form.need(&table, "when", &format!("one of {words}"), "add it");
    let hazards = form.texts(&mut table, "hazards");
    form.close(table);
    Some(Work { say: say?.value, when: when?.value, hazards })
}

fn credible_span(form: &mut Form<'_>, span: &Placed<Span>) -> bool {
    let good = span.value > Span::ZERO && span.value <= COOK_LONGEST;
    if !good {
        form.refuse(span, span.value.to_string(), "more than 0 s, at most 24 h", "check the unit");
    }
    good
}

fn show(temperature: Temperature) -> String {
    temperature.to_string()
}
