//! What an operator types at the bench: a temperature read off, what came out of a test. The keys
//! are on the page, for a gloved hand and a tablet without a keyboard.

use axum::extract::State;
use axum::routing::post;
use axum::{Json, Router};
use maud::{Markup, html};
use serde::Deserialize;

use crate::bench::{Act, BatchId, BatchView, ProbeAt, Reply, TestView};
use crate::plan::TestValue;
use crate::quantity::{Temperature, TemperatureUnit};
use crate::web::refusal::{Failure, Sent};
use crate::web::router::Door;

const TEMPERATURE: &str = "/bench/temperature";
const TEST: &str = "/bench/test";

pub fn routes() -> Router<Door> {
    Router::new().route(TEMPERATURE, post(measured)).route(TEST, post(tested))
}

// --- forms -------------------------------------------------------------------------------------

pub fn temperature(batch: &BatchView) -> Markup {
    let id = format!("{}-temperature", batch.batch);
    html! {
        form class="entry-form" data-say=(TEMPERATURE) data-key="temperature" {
            input type="hidden" name="batch" value=(batch.batch);
            @if let [only] = batch.places[..] {
                input type="hidden" name="at" value=(name(only));
            } @else {
                fieldset class="where-read" {
                    legend { "Where" }
                    @for (index, &at) in batch.places.iter().enumerate() {
                        label data-key=(at.words()) {
                            input type="radio" name="at" value=(name(at)) checked[index == 0];
                            span { (at.words()) }
                        }
                    }
                }
            }
            @let place = match batch.places[..] {
                [only] => format!("The {}", only.words()),
                _ => "Temperature".to_owned(),
            };
            (number_field(&id, &format!("{place}, in {}", batch.units.temperature.symbol())))
        }
    }
}

pub fn result(test: &TestView, batch: &BatchView) -> Markup {
    let id = format!("{}-{}", batch.batch, test.name.replace(char::is_whitespace, "-"));
    html! {
        form class="entry-form" data-say=(TEST) data-key="result" {
            input type="hidden" name="batch" value=(batch.batch);
            input type="hidden" name="test" value=(test.name);
            @if test.method.gives_ph() {
                (number_field(&id, "pH"))
            } @else {
                div class="field" {
                    label for=(id) { "Something else: what you see, in a word" }
                    input type="text" id=(id) name="value" autocomplete="off" maxlength="200";
                }
                (enter())
            }
        }
    }
}

const KEYS: [&str; 12] = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "⌫"];

fn number_field(id: &str, label: &str) -> Markup {
    html! {
        div class="field" {
            label for=(id) { (label) }
            input type="text" inputmode="decimal" id=(id) name="value" autocomplete="off"
                maxlength="20" class="typed";
        }
        // a keyboard has these keys already, so they are no stops on its way
        div class="keys" role="group" aria-label="Keys for the number" {
            @for key in KEYS {
                button type="button" tabindex="-1" data-type=(key)
                    aria-label=[(key == "⌫").then_some("take the last one away")] { (key) }
            }
        }
        (enter())
    }
}

fn enter() -> Markup {
    html! {
        button type="submit" class="main" { "Enter it" }
        p class="error said-here" role="status" data-own {}
    }
}

const fn name(at: ProbeAt) -> &'static str {
    // as serde writes it, and only places that are offered
    match at {
        ProbeAt::Hand => "hand",
        other => other.words(),
    }
}

// --- what comes back ---------------------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Measured {
    batch: BatchId,
    at: ProbeAt,
    value: String,
}

async fn measured(
    State(door): State<Door>,
    Sent(said): Sent<Measured>,
) -> Result<Json<Reply>, Failure> {
    let view = door.desk.view();
    let batch = view.batches.iter().find(|batch| batch.batch == said.batch);
    let batch =
        batch.ok_or_else(|| Failure::bad_request(format!("no batch {} is open", said.batch)))?;
    let temperature = typed(&said.value, batch.units.temperature).map_err(Failure::bad_request)?;
    let act = Act::Measured { batch: said.batch, at: said.at, temperature };
    door.desk.act(act).await.map(Json).map_err(Failure::unavailable)
}

/// A bare number is in the unit that stands beside the field.
fn typed(text: &str, unit: TemperatureUnit) -> Result<Temperature, String> {
    let text = text.trim();
    let bare = text.ends_with(|last: char| last.is_ascii_digit() || last == '.');
    let whole = if bare { format!("{text} {}", unit.symbol()) } else { text.to_owned() };
    Temperature::parse(&whole).map_err(|error| error.to_string())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Tested {
    batch: BatchId,
    test: String,
    value: String,
}

async fn tested(
    State(door): State<Door>,
    Sent(said): Sent<Tested>,
) -> Result<Json<Reply>, Failure> {
    if said.value.trim().is_empty() {
        return Err(Failure::bad_request("the result is empty; enter what the test gave"));
    }
    let value = TestValue::parse(&said.value);
    let act = Act::Test { batch: said.batch, test: said.test, method: None, sample: None, value };
    door.desk.act(act).await.map(Json).map_err(Failure::unavailable)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bare_number_has_the_unit_beside_the_field() {
        let read = |text: &str, unit| typed(text, unit).map(|read| read.show(unit, 1));
        let (celsius, fahrenheit) = (TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit);
        assert_eq!(read(" 183 ", fahrenheit), Ok("183.0 °F".to_owned()));
        assert_eq!(read("84.5", celsius), Ok("84.5 °C".to_owned()));
        assert_eq!(read("84.5 °C", fahrenheit), Ok("184.1 °F".to_owned()));
        for wrong in ["", "warm", "8x", "84 g"] {
            assert!(read(wrong, celsius).is_err(), "{wrong}");
        }
    }

    #[test]
    fn every_place_is_named_as_it_is_read_back() {
        for at in [ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot, ProbeAt::Room, ProbeAt::Hand] {
            assert_eq!(serde_json::to_value(at).unwrap(), name(at));
        }
    }
}
