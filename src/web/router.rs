use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};

use super::live;
use crate::bench::{Act, BatchId, Cue, Reply, View};
use crate::daemon::Desk;
use crate::journal::BatchRow;
use crate::plan::Alterations;
use crate::review::Review;

/// All that a request may reach.
#[derive(Clone)]
pub struct Door {
    pub desk: Arc<Desk>,
}

/// A recipe to start a batch from, as text, so that the daemon needs no leave to read the maker's
/// files.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StartRequest {
    pub file: String,
    pub text: String,
    pub operator: Option<String>,
    /// What is to be different from the text.
    #[serde(default)]
    pub altered: Alterations,
    /// Which lot of each ingredient stands on the bench, where it is another than the recipe's.
    #[serde(default)]
    pub lots: BTreeMap<String, String>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Started {
    pub batch: BatchId,
}

/// What could not be done and why, in words for the person who asked.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Refusal {
    pub words: String,
}

/// A recipe is a few kilobytes; nothing sent here is larger than this.
const BODY_MAX: usize = 256 * 1024;

pub fn router(door: Door) -> Router {
    Router::new()
        .route("/view", get(view))
        .route("/live", get(live::live))
        .route("/act", post(act))
        .route("/start", post(start))
        .route("/ledger", get(ledger))
        .route("/review/{batch}", get(review))
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .with_state(door)
}

async fn view(State(door): State<Door>) -> Json<Arc<View>> {
    Json(door.desk.view())
}

async fn act(State(door): State<Door>, Json(act): Json<Act>) -> Result<Json<Reply>, Failure> {
    // a start comes with its recipe and is planned here, never from what a client worked out
    if matches!(act, Act::Start { .. }) {
        return Err(Failure::bad_request("start a batch with its recipe"));
    }
    door.desk.act(act).await.map(Json).map_err(Failure::unavailable)
}

async fn start(
    State(door): State<Door>,
    Json(request): Json<StartRequest>,
) -> Result<Json<Started>, Failure> {
    let batch = door.desk.start(request).await.map_err(Failure::bad_request)?;
    Ok(Json(Started { batch }))
}

async fn ledger(State(door): State<Door>) -> Result<Json<Vec<BatchRow>>, Failure> {
    door.desk.ledger().await.map(Json).map_err(Failure::internal)
}

async fn review(
    State(door): State<Door>,
    Path(batch): Path<String>,
) -> Result<Json<Review>, Failure> {
    match door.desk.review(&BatchId(batch.clone())).await.map_err(Failure::internal)? {
        Some(review) => Ok(Json(review)),
        None => Err(Failure {
            status: StatusCode::NOT_FOUND,
            words: format!("no batch has the number {batch}"),
        }),
    }
}

/// A refusal with the status that goes with it.
struct Failure {
    status: StatusCode,
    words: String,
}

impl Failure {
    fn bad_request(words: impl Into<String>) -> Failure {
        Failure { status: StatusCode::BAD_REQUEST, words: words.into() }
    }

    fn unavailable(words: impl Into<String>) -> Failure {
        Failure { status: StatusCode::SERVICE_UNAVAILABLE, words: words.into() }
    }

    fn internal(error: anyhow::Error) -> Failure {
        tracing::error!("{error:#}");
        Failure { status: StatusCode::INTERNAL_SERVER_ERROR, words: format!("{error:#}") }
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        (self.status, Json(Refusal { words: self.words })).into_response()
    }
}

/// One event of the live stream, as a client reads it.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    View(Box<View>),
    Cue(Cue),
}
