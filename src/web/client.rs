use std::future::Future;
use std::path::{Path, PathBuf};
use std::time::Duration;

use http_body_util::{BodyExt, Full};
use hyper::body::{Bytes, Incoming};
use hyper::{Method, Request, Response};
use hyper_util::rt::TokioIo;
use serde::Serialize;
use serde::de::DeserializeOwned;
use thiserror::Error;
use tokio::net::UnixStream;

use super::refusal::Refusal;
use super::router::Event;

/// Speaks to the daemon over its socket.
#[derive(Clone, Debug)]
pub struct Client {
    socket: PathBuf,
    /// How long an answer may take.
    patience: Duration,
}

/// The daemon answers an act after a second at the latest, disk or no disk; a review of a long
/// batch may take a few on a small machine.
const PATIENCE: Duration = Duration::from_secs(10);
/// Beats come every 500 ms: after this long without one nothing on a screen is of the moment. With
/// what drawing takes it stays below two seconds.
pub const SILENT_AFTER: Duration = Duration::from_millis(1750);

#[derive(Debug, Error)]
pub enum ClientError {
    /// Nobody listens: no daemon runs on this data folder.
    #[error("no daemon runs on {}; start one with `panroom serve`", .0.display())]
    NoDaemon(PathBuf),
    /// The daemon said no, in its own words.
    #[error("{0}")]
    Refused(String),
    /// It took the request and says nothing: what has become of it is not known.
    #[error(
        "the daemon on {} has not answered for {} s; it may hang. Whether this was done is not \
         known: look at `panroom watch`, and watch the bench yourself",
        socket.display(),
        waited.as_secs()
    )]
    Silent { socket: PathBuf, waited: Duration },
    #[error("the daemon on {} gave no usable answer: {why}", socket.display())]
    Broken { socket: PathBuf, why: String },
}

impl Client {
    pub fn new(socket: &Path) -> Client {
        Client { socket: socket.to_owned(), patience: PATIENCE }
    }

    pub async fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, ClientError> {
        self.in_time(async {
            let response = self.send(Method::GET, path, Bytes::new()).await?;
            self.read(response).await
        })
        .await
    }

    pub async fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, ClientError> {
        let body = serde_json::to_vec(body).map_err(|error| self.broken(error))?;
        self.in_time(async {
            let response = self.send(Method::POST, path, Bytes::from(body)).await?;
            self.read(response).await
        })
        .await
    }

    /// A daemon that hangs must not hang whoever asks it.
    async fn in_time<T>(
        &self,
        answer: impl Future<Output = Result<T, ClientError>>,
    ) -> Result<T, ClientError> {
        let silent = |_| ClientError::Silent { socket: self.socket.clone(), waited: self.patience };
        tokio::time::timeout(self.patience, answer).await.map_err(silent)?
    }

    /// Calls `each` with every event of the live stream until it says stop or the daemon is gone;
    /// with [`Event::Silent`] whenever the bench has not been heard for [`SILENT_AFTER`].
    pub async fn live(&self, mut each: impl FnMut(Event) -> bool) -> Result<(), ClientError> {
        let opening = self.send(Method::GET, "/live", Bytes::new());
        let response = self.in_time(opening).await?;
        let mut body = response.into_body();
        let mut text = Vec::new();
        loop {
            let Ok(frame) = tokio::time::timeout(SILENT_AFTER, body.frame()).await else {
                if each(Event::Silent) {
                    continue;
                }
                return Ok(());
            };
            let Some(frame) = frame else { return Ok(()) };
            let frame = frame.map_err(|error| self.broken(error))?;
            text.extend_from_slice(frame.data_ref().map_or(&[][..], |data| data));
            while let Some(end) = text.windows(2).position(|pair| pair == b"\n\n") {
                let block: Vec<u8> = text.drain(..end + 2).collect();
                if let Some(event) = event(&String::from_utf8_lossy(&block))
                    && !each(event)
                {
                    return Ok(());
                }
            }
        }
    }

    async fn send(
        &self,
        method: Method,
        path: &str,
        body: Bytes,
    ) -> Result<Response<Incoming>, ClientError> {
        let stream = UnixStream::connect(&self.socket)
            .await
            .map_err(|_| ClientError::NoDaemon(self.socket.clone()))?;
        let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream))
            .await
            .map_err(|error| self.broken(error))?;
        tokio::spawn(connection);
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "panroom")
            .header("content-type", "application/json")
            .body(Full::new(body))
            .map_err(|error| self.broken(error))?;
        sender.send_request(request).await.map_err(|error| self.broken(error))
    }

    async fn read<T: DeserializeOwned>(
        &self,
        response: Response<Incoming>,
    ) -> Result<T, ClientError> {
        let status = response.status();
        let body = response.into_body().collect().await.map_err(|error| self.broken(error))?;
        let body = body.to_bytes();
        if !status.is_success() {
            return Err(match serde_json::from_slice::<Refusal>(&body) {
                Ok(refusal) => ClientError::Refused(refusal.words),
                Err(_) => self.broken(format!("{status}: {}", String::from_utf8_lossy(&body))),
            });
        }
        serde_json::from_slice(&body).map_err(|error| self.broken(error))
    }

    fn broken(&self, why: impl std::fmt::Display) -> ClientError {
        ClientError::Broken { socket: self.socket.clone(), why: why.to_string() }
    }
}

/// One block of the stream; unknown kinds are no events.
fn event(block: &str) -> Option<Event> {
    let field = |name: &str| {
        block.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':')).map(str::trim)
    };
    match field("event")? {
        "view" => Some(Event::View(serde_json::from_str(field("data")?).ok()?)),
        "beat" => Some(Event::Beat),
        "cue" => Some(Event::Cue(serde_json::from_str(field("data")?).ok()?)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::net::UnixListener;

    use super::*;
    use crate::bench::View;

    /// A daemon that takes every request and answers none.
    #[tokio::test]
    async fn a_daemon_that_hangs_is_not_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        let socket = folder.path().join("panroom.sock");
        let _listener = UnixListener::bind(&socket).unwrap();
        let client = Client { socket, patience: Duration::from_millis(50) };
        for error in [
            client.get::<View>("/view").await.unwrap_err(),
            client.post::<View>("/act", &"silence").await.unwrap_err(),
            client.live(|_| true).await.unwrap_err(),
        ] {
            assert!(matches!(error, ClientError::Silent { .. }), "{error:?}");
            assert!(error.to_string().contains("has not answered for 0 s; it may hang"), "{error}");
        }
    }

    /// A stream that begins, beats once and falls silent.
    #[tokio::test]
    async fn a_stream_that_falls_silent_is_told_within_two_seconds() {
        use std::io::{Read, Write};
        let folder = tempfile::tempdir().unwrap();
        let socket = folder.path().join("panroom.sock");
        let listener = UnixListener::bind(&socket).unwrap();
        let served = std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let head = "HTTP/1.1 200 OK\r\ncontent-type: text/event-stream\r\n\r\n";
            stream.write_all(head.as_bytes()).unwrap();
            stream.write_all(b"event: beat\ndata:\n\n").unwrap();
            // held open until the client hangs up
            let _ = stream.read_to_end(&mut Vec::new());
        });
        let client = Client::new(&socket);
        let mut heard = Vec::new();
        let began = std::time::Instant::now();
        client
            .live(|event| {
                let silent = matches!(event, Event::Silent);
                heard.push((silent, began.elapsed()));
                !silent
            })
            .await
            .unwrap();
        let silent: Vec<bool> = heard.iter().map(|(silent, _)| *silent).collect();
        assert_eq!(silent, [false, true]);
        let waited = heard[1].1 - heard[0].1;
        assert!(waited >= SILENT_AFTER && waited < Duration::from_secs(2), "{waited:?}");
        // the connection closes only while the runtime runs
        tokio::task::spawn_blocking(move || served.join().unwrap()).await.unwrap();
    }
}
