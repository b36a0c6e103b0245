use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use serde::{Deserialize, Serialize};

use super::health::Health;

/// What a port has seen since the daemon started, and how it does now.
#[derive(Debug, Default)]
pub struct Counters {
    bytes: AtomicU64,
    readings: AtomicU64,
    refused: AtomicU64,
    damaged: AtomicU64,
    opened: AtomicU64,
    is_open: AtomicBool,
    health: Mutex<Health>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    pub bytes: u64,
    pub readings: u64,
    /// Frames that could not be read.
    pub refused: u64,
    /// Bytes that came with a wrong parity or stop bit, and breaks: the driver marks them alike.
    #[serde(default)]
    pub damaged: u64,
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
            damaged: of(&self.damaged),
            opened: of(&self.opened),
        }
    }

    pub fn is_open(&self) -> bool {
        self.is_open.load(Ordering::Relaxed)
    }

    /// Of an open port.
    pub fn health(&self) -> Health {
        self.health.lock().map_or_else(|held| held.into_inner().clone(), |health| health.clone())
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

    pub(super) fn damaged(&self) {
        self.damaged.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn opened(&self) {
        self.opened.fetch_add(1, Ordering::Relaxed);
        self.is_open.store(true, Ordering::Relaxed);
    }

    pub(super) fn lost(&self) {
        self.is_open.store(false, Ordering::Relaxed);
        self.does(&Health::Good);
    }

    pub(super) fn does(&self, health: &Health) {
        match self.health.lock() {
            Ok(mut held) => held.clone_from(health),
            Err(held) => held.into_inner().clone_from(health),
        }
    }
}
