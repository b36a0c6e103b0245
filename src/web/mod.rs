//! The one door: a router served over the Unix socket in the data folder, where file permissions
//! are the authority, and over TCP for the page, behind its gate. The only room that speaks HTTP.

mod client;
mod live;
pub mod page;
mod pulse;
mod refusal;
mod router;

pub use client::{Client, ClientError, SILENT_AFTER};
pub use refusal::Refusal;
pub use router::{Door, Event, StartRequest, Started, router, socket_router};
