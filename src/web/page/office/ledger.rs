//! The batches there have been, one of them looked at, one of them closed.

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::{Markup, html};
use serde::Deserialize;

use super::part;
use super::review::view;
use crate::bench::{Act, BatchId, Outcome, Reply};
use crate::clock::civil;
use crate::journal::BatchRow;
use crate::review::{found, outcome_words};
use crate::web::page::form::{Field, field};
use crate::web::page::layout::{self, View};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .route("/ledger", get(list))
        .route("/ledger/{batch}", get(one))
        .route("/ledger/{batch}/close", post(close))
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct Asked {
    q: String,
}

/// More are found by asking for less.
const SHOWN_MAX: usize = 200;

async fn list(State(door): State<Door>, Query(asked): Query<Asked>) -> Result<Markup, Failure> {
    let rows = door.desk.ledger().await.map_err(Failure::internal)?;
    let hits = found(&rows, &asked.q, &civil);
    let count = match (hits.len(), asked.q.trim().is_empty()) {
        (0, true) => "No batch has been started yet.".to_owned(),
        (0, false) => "No batch speaks of all these words.".to_owned(),
        (1, _) => "1 batch".to_owned(),
        (count, _) if count > SHOWN_MAX => {
            format!("{count} batches, the newest {SHOWN_MAX} of them here")
        }
        (count, _) => format!("{count} batches"),
    };
    let body = html! {
        h1 { "Ledger" }
        form method="get" action="/ledger" role="search" class="search" {
            (field(&Field {
                name: "q",
                label: "Find",
                hint: Some("Words of a name, a lot, a day like 2026-11-25, an outcome, an ingredient."),
                value: &asked.q,
                ..Field::default()
            }))
            button type="submit" { "Find" }
        }
        p role="status" { (count) }
        @if !hits.is_empty() { div class="wide" tabindex="0" role="region" aria-label="Batches" { table class="stack" {
            thead { tr {
                th scope="col" { "Batch" } th scope="col" { "Recipe" } th scope="col" { "Started" }
                th scope="col" { "Outcome" } th scope="col" { "Operator" }
            } }
            tbody { @for row in hits.iter().take(SHOWN_MAX) { (line(row)) } }
        } } }
    };
    Ok(layout::page(View::Ledger, "Ledger", &[], &body))
}

fn line(row: &BatchRow) -> Markup {
    let operator = row.operator.as_deref().map(str::trim).filter(|name| !name.is_empty());
    html! {
        tr {
            th scope="row" class="number" { a href={ "/ledger/" (part(&row.batch.0)) } { (row.batch.0) } }
            td { (row.recipe) }
            td class="time" { (civil(row.started_utc_ns)) }
            td { (row.outcome.map_or("open", outcome_words)) }
            td { (operator.unwrap_or("not recorded")) }
        }
    }
}

async fn one(State(door): State<Door>, Path(batch): Path<String>) -> Result<Response, Failure> {
    shown(&door, &BatchId(batch), None).await
}

#[derive(Deserialize)]
struct Closing {
    outcome: String,
    #[serde(default)]
    note: String,
}

async fn close(
    State(door): State<Door>,
    Path(batch): Path<String>,
    Filled(closing): Filled<Closing>,
) -> Result<Response, Failure> {
    let batch = BatchId(batch);
    let note = closing.note.trim().replace("\r\n", "\n");
    let act = match closing.outcome.as_str() {
        "finished" => Act::Close { batch: batch.clone(), outcome: Outcome::Finished, note },
        "failed" => Act::Close { batch: batch.clone(), outcome: Outcome::Failed, note },
        "abandoned" => Act::Abandon { batch: batch.clone(), reason: note },
        _ => return Err(Failure::bad_request("an outcome is finished, failed or abandoned")),
    };
    match door.desk.act(act).await.map_err(Failure::unavailable)? {
        Reply::Done | Reply::AlreadyDone => {
            Ok(Redirect::to(&format!("/ledger/{}", part(&batch.0))).into_response())
        }
        Reply::Refused { words, .. } => shown(&door, &batch, Some(&words)).await,
    }
}

async fn shown(door: &Door, batch: &BatchId, refused: Option<&str>) -> Result<Response, Failure> {
    let found = door.desk.charted(batch).await.map_err(Failure::internal)?;
    let (review, charts) =
        found.ok_or_else(|| Failure::not_found(format!("no batch has the number {batch}")))?;
    Ok(view(&review, &charts, refused).into_response())
}
