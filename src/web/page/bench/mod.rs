//! The bench, live: drawn here as a whole, put into the page by its script.

mod big;
mod dip_rule;
mod entry;
mod picture;
mod screen;
mod soap_tests;
mod spoken;
mod warmth;

use axum::Router;
use axum::extract::State;
use axum::response::sse::Event;
use axum::routing::{get, post};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

use super::assets;
use super::layout::{self, View};
use crate::bench::Cue;
use crate::daemon::ScreenId;
use crate::web::live::{Events, Shown, beat, json, stream};
use crate::web::refusal::Sent;
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .route("/", get(bench))
        .route("/live", get(live))
        .route("/hearing", post(hearing))
        .merge(entry::routes())
}

async fn bench(State(door): State<Door>) -> Markup {
    let view = door.desk.view();
    let body = html! {
        h1 class="away" { "Bench" }
        div id="lost" role="alert" hidden {}
        div id="bench" { (picture::draw(&view)) }
        (screen::draw())
        noscript {
            p class="note wrong" {
                "This page shows the bench live by its scripts. Allow scripts for this address; until
                 then nothing here is live."
            }
        }
    };
    layout::page(View::Bench, "Bench", &["bench.css", "bench.js"], &body)
}

/// The first thing a stream says.
#[derive(Serialize)]
struct Hello {
    screen: u64,
    /// Of the page's files; a page of another version loads itself anew.
    version: &'static str,
}

/// A cue, and how its words are best spoken.
#[derive(Serialize)]
struct Spoken<'a> {
    cue: &'a Cue,
    spoken: Option<String>,
}

/// Server-sent events: `hello` once, `picture` with the newest whole bench, `cue`, `beat`.
async fn live(State(door): State<Door>) -> Events {
    let listener = door.desk.hearing().stream();
    stream(door, move |shown| {
        let event = match shown {
            Shown::First => {
                let hello = Hello { screen: listener.screen.0, version: assets::version() };
                json("hello", &hello)
            }
            Shown::View(view) => {
                Event::default().event("picture").data(picture::draw(view).into_string())
            }
            Shown::Cue(cue) => json("cue", &Spoken { cue, spoken: spoken::of(cue) }),
            Shown::Beat => {
                listener.sweep();
                beat()
            }
        };
        Some(event)
    })
}

/// What a screen says of its own sound.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Heard {
    screen: u64,
    audible: bool,
}

async fn hearing(State(door): State<Door>, Sent(heard): Sent<Heard>) {
    door.desk.hearing().say(ScreenId(heard.screen), heard.audible);
}
