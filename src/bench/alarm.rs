//! The one alarm machine, for mass, temperature, instrument and disk.
//!
//! Terms of ISA-18.2 / IEC 62682: an alarm remembers two things, whether its condition is active
//! and whether somebody has acknowledged it; the state shown is derived from the two. Silencing,
//! acknowledging and resetting are three different things.

use serde::{Deserialize, Serialize};

use super::fact::BatchId;
use super::setup::ProbeAt;

/// Which alarm: its kind and what it watches.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "alarm", rename_all = "kebab-case")]
pub enum AlarmId {
    /// More caustic on the pan than the guard allows. Latches.
    CausticOver {
        batch: BatchId,
        step: String,
    },
    /// Caustic is being poured and the scale is silent.
    PouringBlind {
        batch: BatchId,
        step: String,
    },
    /// An instrument that the present step needs says nothing, or nothing usable.
    InstrumentLost {
        instrument: String,
    },
    TemperatureHigh {
        batch: BatchId,
        at: ProbeAt,
    },
    TemperatureHighHigh {
        batch: BatchId,
        at: ProbeAt,
    },
    /// The journal cannot be written.
    NotRecording,
    /// Nobody has looked at the pot though it was due.
    LookMissed {
        batch: BatchId,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    Low,
    Medium,
    High,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmChange {
    /// Normal → active, unacknowledged.
    Raised,
    Acknowledged,
    /// The condition has gone; stays shown until acknowledged, and while it latches.
    ReturnedToNormal,
    /// A latched alarm was let go by the act or the reading that alone may do so.
    Reset,
    /// Back in the operator's face after being left alone.
    Reannunciated,
}

impl AlarmId {
    pub fn batch(&self) -> Option<&BatchId> {
        match self {
            AlarmId::CausticOver { batch, .. }
            | AlarmId::PouringBlind { batch, .. }
            | AlarmId::TemperatureHigh { batch, .. }
            | AlarmId::TemperatureHighHigh { batch, .. }
            | AlarmId::LookMissed { batch } => Some(batch),
            AlarmId::InstrumentLost { .. } | AlarmId::NotRecording => None,
        }
    }

    pub const fn priority(&self) -> Priority {
        match self {
            AlarmId::CausticOver { .. }
            | AlarmId::PouringBlind { .. }
            | AlarmId::TemperatureHighHigh { .. } => Priority::High,
            AlarmId::InstrumentLost { .. }
            | AlarmId::TemperatureHigh { .. }
            | AlarmId::NotRecording => Priority::Medium,
            AlarmId::LookMissed { .. } => Priority::Low,
        }
    }

    /// Stays until reset even when its condition has gone.
    pub const fn latches(&self) -> bool {
        matches!(self, AlarmId::CausticOver { .. })
    }
}
