use axum::Router;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use maud::{Markup, html};
use serde::Deserialize;

use super::access::Turned;
use super::form::{Field, field};
use super::layout;
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub const PATH: &str = "/pair";

/// Where a screen on another machine shows the code of the terminal.
pub fn routes() -> Router<Door> {
    Router::new().route(PATH, get(ask).post(pair))
}

#[derive(Default, Deserialize)]
struct Code {
    #[serde(default)]
    code: String,
}

async fn ask(Query(shown): Query<Code>) -> Markup {
    form(&shown.code, None)
}

async fn pair(State(door): State<Door>, Filled(shown): Filled<Code>) -> Result<Response, Failure> {
    let gate = door.gate.ok_or_else(|| Failure::not_found("this daemon serves no page"))?;
    let paired = gate.access.pair(&shown.code, gate.clock.now()).map_err(Failure::internal)?;
    Ok(match paired {
        Ok(token) => ([(SET_COOKIE, gate.cookie(&token))], Redirect::to("/")).into_response(),
        Err(Turned::WrongCode) => {
            let words = "This is not the code that the daemon shows. It changes when the daemon \
                         starts anew: `panroom page` prints it.";
            (StatusCode::FORBIDDEN, form("", Some(words))).into_response()
        }
        Err(Turned::TooManyTries) => {
            let words = "Too many wrong codes. Wait a minute, then try again.";
            (StatusCode::TOO_MANY_REQUESTS, form("", Some(words))).into_response()
        }
    })
}

fn form(code: &str, error: Option<&str>) -> Markup {
    let body = html! {
        main id="main" class="narrow" {
            h1 { "Pair this screen" }
            p { "Whoever holds a paired screen can answer for the bench. Type the code that stands in
                 the terminal of the daemon, or scan the picture there." }
            form method="post" action=(PATH) {
                (field(&Field {
                    name: "code",
                    label: "Code",
                    hint: Some("Eight letters and digits."),
                    value: code,
                    error,
                    autocomplete: "one-time-code",
                    ..Field::default()
                }))
                button type="submit" class="main" { "Pair this screen" }
            }
        }
    };
    layout::bare("Pair this screen", &body)
}

/// A refusal for somebody who looks at a browser.
pub fn refused_page(failure: &Failure) -> Response {
    let body = html! {
        main id="main" class="narrow" {
            h1 { "Refused" }
            p { (layout::sentence(&failure.words)) }
            p { a href="/" { "To the bench" } }
        }
    };
    (failure.status, layout::bare("Refused", &body)).into_response()
}
