//! Scripts, styles and pictures, inside the program: no other host is ever asked.

use axum::Router;
use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use sha2::{Digest, Sha256};

use crate::web::refusal::Failure;
use crate::web::router::Door;

macro_rules! assets {
    ($($name:literal),+ $(,)?) => {
        &[$(($name, include_str!(concat!("assets/", $name)))),+]
    };
}

/// A file below `assets/` is served when it stands here.
const ASSETS: &[(&str, &str)] = assets![
    "act.js",
    "bench.css",
    "bench.js",
    "icon.svg",
    "morph.js",
    "office.css",
    "office.js",
    "page.css",
    "pedal.js",
    "screen.js",
    "sound.js",
    "theme.js",
];

pub fn routes() -> Router<Door> {
    Router::new().route("/assets/{name}", get(asset))
}

/// Asked for anew each time, and answered with "not modified" while it is: a page and its scripts
/// are always of one version.
async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Result<Response, Failure> {
    let (name, text) = ASSETS
        .iter()
        .find(|(known, _)| *known == name)
        .ok_or_else(|| Failure::not_found("nothing of that name is here"))?;
    let tag = format!("\"{:.16}\"", hex(&Sha256::digest(text.as_bytes())));
    let facts = [(CONTENT_TYPE, kind(name)), (CACHE_CONTROL, "no-cache"), (ETAG, tag.as_str())];
    if headers.get(IF_NONE_MATCH).is_some_and(|known| known.as_bytes() == tag.as_bytes()) {
        return Ok((StatusCode::NOT_MODIFIED, facts).into_response());
    }
    Ok((facts, *text).into_response())
}

/// Of all of them: a page that was loaded from another version loads itself anew.
pub fn version() -> &'static str {
    static VERSION: std::sync::LazyLock<String> = std::sync::LazyLock::new(|| {
        let mut all = Sha256::new();
        for (name, text) in ASSETS {
            all.update(name.as_bytes());
            all.update(text.as_bytes());
        }
        hex(&all.finalize()[..8])
    });
    &VERSION
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn kind(name: &str) -> &'static str {
    match name.rsplit('.').next() {
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    }
}
