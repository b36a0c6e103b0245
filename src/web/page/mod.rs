//! The bench page: the same door as the socket's, over TCP, behind a gate.
//!
//! A view is a file here with `pub fn routes() -> Router<Door>`, merged in `router` below, and a
//! line in [`layout::View`]. It answers GET with [`layout::page`] and takes HTML forms by POST
//! (`refusal::Filled`, fields from [`form`]); everything else a screen does goes to
//! `/api`, which is the socket's own router. The gate has checked Host, Origin and session before any
//! of it runs. No script or style is inline: a view's own script is a file below `assets/`, named in
//! `assets.rs`.

mod access;
mod assets;
mod bench;
pub mod form;
mod gate;
pub mod layout;
mod office;
mod pair;
mod plot;
mod server;
mod tls;
pub mod trace;

use std::net::SocketAddr;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;

use super::router::{BODY_MAX, Door, router as api, unknown};

pub use access::Access;
pub use gate::{Address, Gate};
pub use server::{Listening, listen};

/// Where the page is served when nothing else is said.
pub const DEFAULT_ADDRESS: SocketAddr =
    SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 7267);

/// All of the page, with the gate before it.
fn router(door: &Door, gate: &std::sync::Arc<Gate>) -> Router {
    Router::new()
        .merge(assets::routes())
        .merge(pair::routes())
        .merge(bench::routes())
        .merge(office::routes())
        .fallback(unknown)
        .method_not_allowed_fallback(unknown)
        .with_state(door.clone())
        .nest("/api", api(door.clone()))
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .layer(middleware::from_fn_with_state(gate.clone(), gate::pass))
}

#[cfg(test)]
mod tests;
