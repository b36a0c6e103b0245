use std::net::{IpAddr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use axum::Router;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinHandle;

use super::access::Access;
use super::gate::{Ends, Gate};
use crate::clock::Clock;
use crate::web::router::Door;

/// Connections at once; a screen holds one or two.
const CONNECTIONS_MAX: usize = 128;
/// A head that takes longer is being held back on purpose.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// After a failure to accept, for instance when the process may open no more files.
const ACCEPT_AGAIN: Duration = Duration::from_millis(100);

/// A page's open port, before anything is served on it.
pub struct Listening {
    listener: std::net::TcpListener,
    pub gate: Arc<Gate>,
}

/// Opens the port. With `anywhere`, another port is taken when this one is not free: a bench must
/// be guarded even when its page must move.
///
/// # Errors
/// When the address cannot be used or the data folder cannot be written.
pub fn listen(address: SocketAddr, anywhere: bool, access: Access) -> anyhow::Result<Listening> {
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
    let gate = Gate::new(access, Clock::new(), bound.port(), urls(bound));
    Ok(Listening { listener, gate: Arc::new(gate) })
}

impl Listening {
    /// Serves the page until the handle is aborted.
    ///
    /// # Errors
    /// When the runtime cannot take the port over.
    pub fn serve(self, door: &Door) -> anyhow::Result<JoinHandle<()>> {
        let router = super::router(door, &self.gate);
        let listener = TcpListener::from_std(self.listener)?;
        Ok(tokio::spawn(accept(listener, router)))
    }
}

async fn accept(listener: TcpListener, router: Router) {
    let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    let mut open = tokio::task::JoinSet::new();
    loop {
        while open.try_join_next().is_some() {}
        let Ok(place) = Arc::clone(&room).acquire_owned().await else { return };
        match listener.accept().await {
            Ok((stream, peer)) => {
                let router = router.clone();
                open.spawn(async move {
                    serve(stream, peer, router).await;
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

async fn serve(stream: TcpStream, peer: SocketAddr, router: Router) {
    let Ok(local) = stream.local_addr() else { return };
    // a picture of the bench is worth more now than packed with the next
    let _ = stream.set_nodelay(true);
    let router = router.layer(axum::Extension(Ends { peer, local }));
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    if let Err(error) = connection.await {
        tracing::debug!("a connection of {peer} ended: {error}");
    }
}

/// Where a browser finds the page: on this machine first, then from others if they are served.
fn urls(bound: SocketAddr) -> Vec<String> {
    let port = bound.port();
    let url = |ip: IpAddr| format!("http://{}/", SocketAddr::new(ip, port));
    let here = format!("http://localhost:{port}/");
    match bound.ip() {
        ip if ip.is_loopback() => vec![if ip.is_ipv4() { here } else { url(ip) }],
        ip if ip.is_unspecified() => {
            std::iter::once(here).chain(outward(bound.is_ipv6()).map(url)).collect()
        }
        // the far one twice: first for this machine, then for the others
        ip => vec![url(ip), url(ip)],
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
