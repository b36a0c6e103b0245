use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Path, State};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};

use super::live;
use super::page::{Address, Gate};
use super::refusal::{Failure, Sent};
use crate::bench::{Act, BatchId, Cue, Reply, View};
use crate::daemon::Desk;
use crate::journal::BatchRow;
use crate::plan::Alterations;
use crate::review::Review;

/// All that a request may reach.
#[derive(Clone)]
pub struct Door {
    pub desk: Arc<Desk>,
    /// Who may come in by the page; `None` when no page is served.
    pub gate: Option<Arc<Gate>>,
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
    /// Oils that are in the pot already, by name or key: "400 g ± 10 g".
    #[serde(default)]
    pub in_pot: BTreeMap<String, String>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Started {
    pub batch: BatchId,
}

/// A recipe is a few kilobytes; nothing sent here is larger than this.
pub const BODY_MAX: usize = 256 * 1024;

/// What any screen may ask, by the socket or by the page.
pub fn router(door: Door) -> Router {
    Router::new()
        .route("/view", get(view))
        .route("/live", get(live::live))
        .route("/act", post(act))
        .route("/start", post(start))
        .route("/ledger", get(ledger))
        .route("/review/{batch}", get(review))
        .fallback(unknown)
        .method_not_allowed_fallback(unknown)
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .with_state(door)
}

/// The same, and what only the owner of the data folder may know.
pub fn socket_router(door: Door) -> Router {
    let own = Router::new().route("/page", get(page_address)).with_state(door.clone());
    router(door).merge(own)
}

pub async fn unknown() -> Failure {
    Failure::not_found("nothing of that name is here")
}

/// Where the page is, and the code that lets a screen in.
async fn page_address(State(door): State<Door>) -> Result<Json<Address>, Failure> {
    let gate = door.gate.ok_or_else(|| Failure::not_found("this daemon serves no page"))?;
    Ok(Json(gate.address()))
}

async fn view(State(door): State<Door>) -> Json<Arc<View>> {
    Json(door.desk.view())
}

async fn act(State(door): State<Door>, Sent(act): Sent<Act>) -> Result<Json<Reply>, Failure> {
    // a start comes with its recipe and is planned here, never from what a client worked out
    if matches!(act, Act::Start { .. }) {
        return Err(Failure::bad_request("start a batch with its recipe"));
    }
    door.desk.act(act).await.map(Json).map_err(Failure::unavailable)
}

async fn start(
    State(door): State<Door>,
    Sent(request): Sent<StartRequest>,
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
        None => Err(Failure::not_found(format!("no batch has the number {batch}"))),
    }
}

/// One event of the live stream, as a client reads it.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    View(Box<View>),
    Cue(Cue),
    /// The bench works.
    Beat,
    /// The bench has not been heard for a while.
    Silent,
}
