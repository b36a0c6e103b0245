//! The one door: a router served over the Unix socket in the data folder, where file permissions
//! are the authority. The only room that speaks HTTP.

mod client;
mod live;
mod pulse;
mod router;

pub use client::{Client, ClientError, SILENT_AFTER};
pub use router::{Door, Event, Refusal, StartRequest, Started, router};
