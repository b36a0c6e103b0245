use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use axum::Router;
use axum::response::Redirect;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;

use super::access::Access;
use super::gate::{Ends, Gate};
use super::tls::Tls;
use crate::clock::Clock;
use crate::web::router::Door;

/// Connections at once; a screen holds one or two.
const CONNECTIONS_MAX: usize = 128;
/// A head that takes longer is being held back on purpose.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// After a failure to accept, for instance when the process may open no more files.
const ACCEPT_AGAIN: Duration = Duration::from_millis(100);
/// The first byte of an encrypted connection (RFC 8446, 5.1: content type handshake).
const HANDSHAKE: u8 = 22;

/// A page's open port, before anything is served on it.
pub struct Listening {
    listener: std::net::TcpListener,
    tls: Option<TlsAcceptor>,
    pub gate: Arc<Gate>,
}

/// Opens the port. With `anywhere`, another port is taken when this one is not free: a bench must
/// be guarded even when its page must move. With the data folder as `secret`, all is encrypted by a
/// certificate that is kept there.
///
/// # Errors
/// When the address cannot be used or the data folder cannot be written.
pub fn listen(
    address: SocketAddr,
    anywhere: bool,
    access: Access,
    secret: Option<&Path>,
) -> anyhow::Result<Listening> {
    let opened = std::net::TcpListener::bind(address).or_else(|error| {
        if !anywhere {
            return Err(error);
        }
        tracing::warn!("the page cannot be served on {address}: {error}; taking another port");
        std::net::TcpListener::bind(SocketAddr::new(address.ip(), 0))
    });
    let listener = opened.with_context(|| {
        format!("the page cannot be served on {address}; name another address with --page")
    })?;
    listener.set_nonblocking(true)?;
    let bound = listener.local_addr()?;
    let clock = Clock::new();
    let tls = secret.map(|folder| Tls::open(folder, &addresses(bound), clock.utc_ns()));
    let tls = tls.transpose()?;
    let shown = urls(bound, if tls.is_some() { "https" } else { "http" });
    let gate = Gate::new(access, clock, bound.port(), shown);
    let (gate, tls) = match tls {
        Some(tls) => (gate.encrypted(tls.fingerprint), Some(tls.acceptor)),
        None => (gate, None),
    };
    Ok(Listening { listener, tls, gate: Arc::new(gate) })
}

impl Listening {
    /// Serves the page until the handle is aborted.
    ///
    /// # Errors
    /// When the runtime cannot take the port over.
    pub fn serve(self, door: &Door) -> anyhow::Result<JoinHandle<()>> {
        let router = super::router(door, &self.gate);
        let listener = TcpListener::from_std(self.listener)?;
        Ok(tokio::spawn(accept(listener, router, self.tls)))
    }
}

async fn accept(listener: TcpListener, router: Router, tls: Option<TlsAcceptor>) {
    let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    let mut open = tokio::task::JoinSet::new();
    loop {
        while open.try_join_next().is_some() {}
        let Ok(place) = Arc::clone(&room).acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, peer)) => {
                let (router, tls) = (router.clone(), tls.clone());
                open.spawn(async move {
                    serve(stream, peer, router, tls).await;
                    drop(place);
                });
            }
            Err(error) => {
                tracing::warn!("the page's port: {error}");
                tokio::time::sleep(ACCEPT_AGAIN).await;
            }
        }
    }
}

async fn serve(stream: TcpStream, peer: SocketAddr, router: Router, tls: Option<TlsAcceptor>) {
    let Ok(local) = stream.local_addr() else { return };
    // a picture of the bench is worth more now than packed with the next
    let _ = stream.set_nodelay(true);
    let ends = Ends { peer, local };
    let router = router.layer(axum::Extension(ends));
    let Some(tls) = tls else { return speak(stream, ends, router).await };
    let mut first = [0];
    match timeout(HEAD_WITHIN, stream.peek(&mut first)).await {
        Ok(Ok(1)) if first[0] == HANDSHAKE => {}
        // typed without "https": shown the way, and nothing else
        Ok(Ok(1)) => return speak(stream, ends, the_way(local)).await,
        _ => return,
    }
    match timeout(HEAD_WITHIN, tls.accept(stream)).await {
        Ok(Ok(stream)) => speak(stream, ends, router).await,
        Ok(Err(error)) => tracing::debug!("a connection of {peer} was not encrypted: {error}"),
        Err(_) => tracing::debug!("a connection of {peer} was held back"),
    }
}

fn the_way(local: SocketAddr) -> Router {
    let url = format!("https://{}/", SocketAddr::new(local.ip().to_canonical(), local.port()));
    Router::new().fallback(move || std::future::ready(Redirect::temporary(&url)))
}

async fn speak<S>(stream: S, ends: Ends, router: Router)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    if let Err(error) = connection.await {
        tracing::debug!("a connection of {} ended: {error}", ends.peer);
    }
}

/// Where a browser finds the page: on this machine first, then from others if they are served.
fn urls(bound: SocketAddr, scheme: &str) -> Vec<String> {
    let port = bound.port();
    let url = |ip: IpAddr| format!("{scheme}://{}/", SocketAddr::new(ip, port));
    let here = format!("{scheme}://localhost:{port}/");
    match bound.ip() {
        ip if ip.is_loopback() => vec![if ip.is_ipv4() { here } else { url(ip) }],
        ip if ip.is_unspecified() => {
            std::iter::once(here).chain(outward(bound.is_ipv6()).map(url)).collect()
        }
        // the far one twice: first for this machine, then for the others
        ip => vec![url(ip), url(ip)],
    }
}

/// What stands in those, beside `localhost`.
fn addresses(bound: SocketAddr) -> Vec<IpAddr> {
    let loopback = |v6: bool| -> IpAddr {
        if v6 { Ipv6Addr::LOCALHOST.into() } else { Ipv4Addr::LOCALHOST.into() }
    };
    match bound.ip() {
        ip if ip.is_unspecified() => {
            std::iter::once(loopback(ip.is_ipv6())).chain(outward(ip.is_ipv6())).collect()
        }
        ip => vec![ip],
    }
}

/// The address by which this machine speaks to others. Nothing is sent: the system is only asked
/// which way it would be (addresses for documentation, RFC 5737 and RFC 3849).
fn outward(v6: bool) -> Option<IpAddr> {
    let (any, far) = if v6 { ("[::]:0", "[2001:db8::1]:9") } else { ("0.0.0.0:0", "192.0.2.1:9") };
    let socket = UdpSocket::bind(any).ok()?;
    socket.connect(far).ok()?;
    Some(socket.local_addr().ok()?.ip())
}
