use std::sync::atomic::{AtomicU64, Ordering};

use serde::{Deserialize, Serialize};

/// What a port has seen since the daemon started.
#[derive(Debug, Default)]
pub struct Counters {
    bytes: AtomicU64,
    readings: AtomicU64,
    refused: AtomicU64,
    opened: AtomicU64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    pub bytes: u64,
    pub readings: u64,
    /// Frames that could not be read.
    pub refused: u64,
    /// Times the port was opened.
    pub opened: u64,
}

impl Counters {
    pub fn counts(&self) -> Counts {
        let of = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
        Counts {
            bytes: of(&self.bytes),
            readings: of(&self.readings),
            refused: of(&self.refused),
            opened: of(&self.opened),
        }
    }

    pub(super) fn bytes(&self, count: usize) {
        self.bytes.fetch_add(count as u64, Ordering::Relaxed);
    }

    pub(super) fn reading(&self) {
        self.readings.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn refused(&self) {
        self.refused.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn opened(&self) {
        self.opened.fetch_add(1, Ordering::Relaxed);
    }
}
