//! How the door says no: always in our own words, as JSON for programs.

use axum::Json;
use axum::extract::rejection::{FormRejection, JsonRejection};
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

/// What could not be done and why, in words for the person who asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refusal {
    pub words: String,
}

/// A refusal with the status that goes with it.
#[derive(Debug)]
pub struct Failure {
    pub status: StatusCode,
    pub words: String,
}

impl Failure {
    pub fn new(status: StatusCode, words: impl Into<String>) -> Failure {
        Failure { status, words: words.into() }
    }

    pub fn bad_request(words: impl Into<String>) -> Failure {
        Failure::new(StatusCode::BAD_REQUEST, words)
    }

    pub fn not_found(words: impl Into<String>) -> Failure {
        Failure::new(StatusCode::NOT_FOUND, words)
    }

    pub fn unavailable(words: impl Into<String>) -> Failure {
        Failure::new(StatusCode::SERVICE_UNAVAILABLE, words)
    }

    pub fn internal(error: anyhow::Error) -> Failure {
        tracing::error!("{error:#}");
        Failure::new(StatusCode::INTERNAL_SERVER_ERROR, format!("{error:#}"))
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        (self.status, Json(Refusal { words: self.words })).into_response()
    }
}

/// A JSON body; what does not fit is refused in our words, not the framework's.
pub struct Sent<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Sent<T> {
    type Rejection = Failure;

    async fn from_request(request: Request, state: &S) -> Result<Self, Failure> {
        match Json::from_request(request, state).await {
            Ok(Json(body)) => Ok(Sent(body)),
            Err(rejection) => Err(json_refused(&rejection)),
        }
    }
}

fn json_refused(rejection: &JsonRejection) -> Failure {
    let words = match rejection {
        JsonRejection::MissingJsonContentType(_) => {
            "send JSON, with the header content-type: application/json"
        }
        JsonRejection::JsonSyntaxError(_) => "this is no JSON; nothing was done",
        JsonRejection::JsonDataError(_) => {
            "this JSON does not say what to do in a way known here; nothing was done"
        }
        _ if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE => TOO_LARGE,
        _ => "the request did not arrive whole; nothing was done",
    };
    Failure::new(rejection.status(), words)
}

const TOO_LARGE: &str = "this is larger than anything that is sent here; nothing was done";

/// The fields of an HTML form.
pub struct Filled<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Filled<T> {
    type Rejection = Failure;

    async fn from_request(request: Request, state: &S) -> Result<Self, Failure> {
        match axum::Form::from_request(request, state).await {
            Ok(axum::Form(body)) => Ok(Filled(body)),
            Err(rejection) => Err(form_refused(&rejection)),
        }
    }
}

fn form_refused(rejection: &FormRejection) -> Failure {
    let words = match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => TOO_LARGE,
        StatusCode::UNSUPPORTED_MEDIA_TYPE => "send a form; nothing was done",
        _ => "this form lacks a field or has one that is not known; nothing was done",
    };
    Failure::new(rejection.status(), words)
}
