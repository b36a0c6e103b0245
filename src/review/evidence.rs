use crate::bench::{BatchId, Numbered, ProbeAt};
use crate::quantity::Temperature;
use crate::reading::Channel;

/// All that is on record of one batch.
#[derive(Clone, Debug)]
pub struct Evidence<'a> {
    pub batch: &'a BatchId,
    /// The facts of the batch and those of the bench, with the opening of the session in which it
    /// started. Facts of other batches, or from before and after, do no harm.
    pub facts: Vec<Dated>,
    /// Temperatures while it was open, in the order they came.
    pub temperatures: Vec<Trace>,
    /// What the journal knows that it did not keep.
    pub gaps: Vec<Gap>,
    /// Over everything stored of the batch, in hex.
    pub head: Option<String>,
    /// Whether the stored chain leads to that head; `None` when nobody has tried.
    pub verified: Option<bool>,
}

/// A fact with its civil time, by which facts of different sessions can be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Dated {
    /// UTC nanoseconds since 1970: the session's anchor and the moment put together.
    pub utc_ns: i64,
    pub session: u32,
    pub numbered: Numbered,
}

/// The temperatures of one channel, with their UTC nanoseconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    pub channel: Channel,
    pub at: ProbeAt,
    pub readings: Vec<(i64, Temperature)>,
}

/// Readings that are missing, from and to in UTC nanoseconds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gap {
    pub from_utc_ns: i64,
    pub to_utc_ns: i64,
    pub why: String,
}
