//! What readings say together: rest, rate, jumps, presses, unrest. Each type states its delay.
//!
//! A window is empty after a restart and after any silence. Empty means "unknown", and unknown
//! is never rest.

mod jump;
mod press;
mod rate;
mod recent;
mod rest;
mod rise;
mod settle;
mod trace;
mod unsteady;

pub use jump::JumpWindow;
pub use press::{PressTest, PressWindow, Pressed};
pub use rate::{Rate, RateWindow};
pub use recent::Recent;
pub use rest::{RestTest, RestWindow};
pub use rise::RiseWindow;
pub use settle::SettleWindow;
pub use trace::{TRACE_REACH, TraceWindow};
pub use unsteady::UnsteadyWindow;
