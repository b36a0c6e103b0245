//! Before anything of the page runs: who asks, from where, for whom, and how often.

use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::header::{COOKIE, HOST, ORIGIN, SET_COOKIE};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};

use super::access::Access;
use super::pair;
use crate::clock::Clock;
use crate::quantity::Moment;
use crate::web::refusal::Failure;

/// The gate of one page.
pub struct Gate {
    pub access: Access,
    /// Never faster than life: guessing must not be.
    pub clock: Clock,
    port: u16,
    shown: Vec<String>,
    /// Of the certificate, where the page is encrypted.
    fingerprint: Option<String>,
    budgets: Mutex<HashMap<IpAddr, Budget>>,
}

/// Where the page is.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Address {
    /// Best first; the first is on this machine.
    pub urls: Vec<String>,
    /// What a screen on another machine is asked for; `None` when only this machine is served.
    pub code: Option<String>,
    /// SHA-256 of the certificate; `None` when the page is not encrypted.
    #[serde(default)]
    pub fingerprint: Option<String>,
}

/// The two ends of a connection.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    pub peer: SocketAddr,
    pub local: SocketAddr,
}

/// Requests one machine may have made at once, and how many a second it gets back.
const BURST: f64 = 120.0;
const PER_SECOND: f64 = 40.0;
const MACHINES_MAX: usize = 256;
/// An answer takes milliseconds; a body that takes longer than this is being held back.
const ANSWER_WITHIN: Duration = Duration::from_secs(15);
/// Where a port is listened to before the answer is known: see `daemon::identify`.
const LISTENING: &str = "/instruments/setup";
const LISTENED_WITHIN: Duration = Duration::from_secs(60);

/// How a page is asked for, and the port that its addresses need not name.
#[derive(Clone, Copy)]
struct Scheme {
    name: &'static str,
    port: u16,
}

const HTTP: Scheme = Scheme { name: "http", port: 80 };
const HTTPS: Scheme = Scheme { name: "https", port: 443 };

struct Budget {
    left: f64,
    at: Moment,
}

impl Gate {
    pub fn new(access: Access, clock: Clock, port: u16, shown: Vec<String>) -> Gate {
        Gate { access, clock, port, shown, fingerprint: None, budgets: Mutex::default() }
    }

    /// Everything that passes is encrypted, with the certificate of this fingerprint.
    pub fn encrypted(self, fingerprint: String) -> Gate {
        Gate { fingerprint: Some(fingerprint), ..self }
    }

    const fn scheme(&self) -> Scheme {
        if self.fingerprint.is_some() { HTTPS } else { HTTP }
    }

    pub fn address(&self) -> Address {
        let far = self.shown.len() > 1;
        Address {
            urls: self.shown.clone(),
            code: far.then(|| self.access.code().to_owned()),
            fingerprint: self.fingerprint.clone(),
        }
    }

    /// Cookies know no ports: two daemons on one machine must not take each other's.
    pub fn cookie(&self, token: &str) -> String {
        format!(
            "{}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000{}",
            self.cookie_name(),
            if self.fingerprint.is_some() { "; Secure" } else { "" }
        )
    }

    fn cookie_name(&self) -> String {
        format!("panroom-{}", self.port)
    }

    fn is_known(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie_name();
        let cookies = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        cookies
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(key, value)| key == name && self.access.knows(value))
    }

    fn within_budget(&self, machine: IpAddr) -> bool {
        let now = self.clock.now();
        let mut budgets = self.budgets.lock().unwrap_or_else(PoisonError::into_inner);
        if budgets.len() >= MACHINES_MAX && !budgets.contains_key(&machine) {
            budgets.retain(|_, budget| now.since(budget.at).seconds() < BURST / PER_SECOND);
        }
        if budgets.len() >= MACHINES_MAX && !budgets.contains_key(&machine) {
            return false;
        }
        let budget = budgets.entry(machine).or_insert(Budget { left: BURST, at: now });
        let back = now.since(budget.at).seconds() * PER_SECOND;
        *budget = Budget { left: (budget.left + back).min(BURST), at: now };
        let may = budget.left >= 1.0;
        if may {
            budget.left -= 1.0;
        }
        may
    }
}

/// The layer before the page.
pub async fn pass(State(gate): State<Arc<Gate>>, request: Request, next: Next) -> Response {
    let wants_page = wants_page(request.headers());
    let answer = admit(&gate, request, next, wants_page).await;
    let mut response = match answer {
        Ok(response) => response,
        Err(failure) if wants_page => pair::refused_page(&failure),
        Err(failure) => failure.into_response(),
    };
    let headers = response.headers_mut();
    for (name, value) in GUARDS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// No script, style or frame but our own files; nothing is told to others.
const GUARDS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
         connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; \
         frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

async fn admit(
    gate: &Arc<Gate>,
    request: Request,
    next: Next,
    wants_page: bool,
) -> Result<Response, Failure> {
    let ends = *request.extensions().get::<Ends>().ok_or_else(|| {
        Failure::new(StatusCode::FORBIDDEN, "it is not known where this request comes from")
    })?;
    if !gate.within_budget(ends.peer.ip()) {
        let words = "too many requests from this machine; wait a few seconds";
        return Err(Failure::new(StatusCode::TOO_MANY_REQUESTS, words));
    }
    check_host(request.headers(), &ends, gate.scheme())?;
    check_origin(request.method(), request.headers(), gate.scheme())?;
    let path = request.uri().path();
    let open = path.starts_with("/assets/") || path == pair::PATH;
    let mut give = None;
    if !open && !gate.is_known(request.headers()) {
        let here = ends.peer.ip().to_canonical().is_loopback();
        if here && wants_page && request.method() == Method::GET {
            give = Some(gate.cookie(&gate.access.local()));
        } else if wants_page && request.method() == Method::GET {
            return Ok(Redirect::to(pair::PATH).into_response());
        } else {
            let words = "this screen is not paired with the bench; open the page anew";
            return Err(Failure::new(StatusCode::UNAUTHORIZED, words));
        }
    }
    let within = if path == LISTENING { LISTENED_WITHIN } else { ANSWER_WITHIN };
    let answer = tokio::time::timeout(within, next.run(request)).await;
    let mut response = answer.map_err(|_| {
        Failure::new(StatusCode::REQUEST_TIMEOUT, "the request took too long; nothing was done")
    })?;
    if let Some(cookie) = give.and_then(|cookie| HeaderValue::from_str(&cookie).ok()) {
        response.headers_mut().insert(SET_COOKIE, cookie);
    }
    Ok(response)
}

/// A browser that opens a page, not a script that fetches.
fn wants_page(headers: &HeaderMap) -> bool {
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    text(header::ACCEPT).is_some_and(|accept| accept.contains("text/html"))
}

/// A name that somebody else can point at this machine is no name of ours: only addresses, the one
/// this connection came in by, and `localhost`.
fn check_host(headers: &HeaderMap, ends: &Ends, scheme: Scheme) -> Result<(), Failure> {
    let mut hosts = headers.get_all(HOST).iter();
    let host = hosts.next().and_then(|host| host.to_str().ok()).unwrap_or_default();
    let single = hosts.next().is_none();
    let local = SocketAddr::new(ends.local.ip().to_canonical(), ends.local.port());
    let by_address = host.parse::<SocketAddr>() == Ok(local)
        || (local.port() == scheme.port && host.parse::<IpAddr>() == Ok(local.ip()));
    let by_name = local.ip().is_loopback()
        && (host == format!("localhost:{}", local.port())
            || (local.port() == scheme.port && host == "localhost"));
    if single && (by_address || by_name) {
        return Ok(());
    }
    let words =
        "the page is not served under that name; use the address that `panroom page` prints";
    Err(Failure::new(StatusCode::MISDIRECTED_REQUEST, words))
}

/// Whatever changes something must say that it comes from our own page; and no other page may read.
fn check_origin(method: &Method, headers: &HeaderMap, scheme: Scheme) -> Result<(), Failure> {
    let foreign =
        || Failure::new(StatusCode::FORBIDDEN, "this request comes from another page; refused");
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    let site = text(HeaderName::from_static("sec-fetch-site"));
    if site.is_some_and(|site| !["same-origin", "none"].contains(&site)) {
        return Err(foreign());
    }
    let own = text(HOST).map(|host| format!("{}://{host}", scheme.name));
    match headers.get(ORIGIN) {
        Some(origin) if own.is_some_and(|own| origin.as_bytes() == own.as_bytes()) => Ok(()),
        Some(_) => Err(foreign()),
        None if [Method::GET, Method::HEAD].contains(method) => Ok(()),
        None => Err(foreign()),
    }
}
