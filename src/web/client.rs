use std::path::{Path, PathBuf};

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
}

#[derive(Debug, Error)]
pub enum ClientError {
    /// Nobody listens: no daemon runs on this data folder.
    #[error("no daemon runs on {}; start one with `panroom serve`", .0.display())]
    NoDaemon(PathBuf),
    /// The daemon said no, in its own words.
    #[error("{0}")]
    Refused(String),
    #[error("the daemon on {} gave no usable answer: {why}", socket.display())]
    Broken { socket: PathBuf, why: String },
}

impl Client {
    pub fn new(socket: &Path) -> Client {
        Client { socket: socket.to_owned() }
    }

    pub async fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, ClientError> {
        let response = self.send(Method::GET, path, Bytes::new()).await?;
        self.read(response).await
    }

    pub async fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, ClientError> {
        let body = serde_json::to_vec(body).map_err(|error| self.broken(error))?;
        let response = self.send(Method::POST, path, Bytes::from(body)).await?;
        self.read(response).await
    }

    /// Calls `each` with every event of the live stream until it says stop or the daemon is gone.
    pub async fn live(&self, mut each: impl FnMut(Event) -> bool) -> Result<(), ClientError> {
        let response = self.send(Method::GET, "/live", Bytes::new()).await?;
        let mut body = response.into_body();
        let mut text = Vec::new();
        while let Some(frame) = body.frame().await {
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
        Ok(())
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

/// One block of the stream; beats and unknown kinds are no events.
fn event(block: &str) -> Option<Event> {
    let field = |name: &str| {
        block.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':')).map(str::trim)
    };
    match field("event")? {
        "view" => Some(Event::View(serde_json::from_str(field("data")?).ok()?)),
        "cue" => Some(Event::Cue(serde_json::from_str(field("data")?).ok()?)),
        _ => None,
    }
}
