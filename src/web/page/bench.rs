use axum::Router;
use axum::extract::State;
use axum::routing::get;
use maud::{Markup, html};

use super::layout::{self, View};
use crate::web::router::Door;

/// The bench, live.
pub fn routes() -> Router<Door> {
    Router::new().route("/", get(bench))
}

async fn bench(State(door): State<Door>) -> Markup {
    let view = door.desk.view();
    let body = html! {
        h1 { "Bench" }
        @for batch in &view.batches { p { (batch.sentence) } }
    };
    layout::page(View::Bench, "Bench", &["bench.js"], &body)
}
