//! Serial ports: open, lose, reopen. The only room that names serialport.
//!
//! A port that is gone is tried again for as long as the daemon runs. What the kernel and the
//! crates do, as measured, and what follows from it:
//!
//! - After a hang-up `read` gives `Ok(0)` at once and for ever: the port is dropped at once, else a
//!   core spins and a replugged adapter gets another name.
//! - `flush` and `shutdown` wait for the line to drain, perhaps for ever, and hide their errors:
//!   neither is ever called.
//! - A port held by another program and a port that is not there give the same kind of error: the
//!   words tell them apart.
//! - Bytes from before the port was opened are delivered at the next open: they are cleared, and
//!   the first partial frame is dropped.
//! - Left to itself a driver slips in a NUL for a byte with a wrong parity, and where no parity is
//!   set leaves a byte with a wrong stop bit out: it is asked to mark both. Marks are counted; a
//!   driver's own counters (TIOCGICOUNT), which also know of overruns, have no safe binding, and
//!   an overrun shows as a frame that is refused.
//! - A pseudo-terminal takes 7E1 and stays at 8N1 without a word; a real adapter obeys.

mod counters;
mod found;
mod health;
mod hear;
mod holder;
mod line;
mod link;
mod marks;
mod open;
mod orders;
mod task;

pub use counters::{Counters, Counts};
pub use found::{Access, FoundPort, Kind, NoRule, System, Usb, rule};
pub use health::Health;
pub use hear::hear;
pub use line::PortSettings;
pub use open::OpenError;
pub use orders::Orders;
pub use task::{Event, run};
