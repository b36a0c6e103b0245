//! One value from one channel at one instant: what lies below both the wire and the bench.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::quantity::{Mass, MassUnit, Moment, Temperature, TemperatureUnit};

/// The name a bench file gives to one stream of values: "scale", "pot", "lye".
///
/// One instrument may feed several channels; a channel is fed by one instrument.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Channel(Arc<str>);

/// What an instrument said, whether or not it can be trusted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    pub channel: Channel,
    /// Arrival of the last byte of the frame.
    pub at: Moment,
    /// `None` when the instrument reported a condition instead of a number.
    pub value: Option<Value>,
    pub status: Status,
}

/// A number with the unit and the decimals it had on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Value {
    Mass {
        mass: Mass,
        unit: MassUnit,
        decimals: u8,
        /// The unit stood in the frame; otherwise the bench file or the sheet supplied it.
        unit_on_wire: bool,
    },
    Temperature {
        temperature: Temperature,
        unit: TemperatureUnit,
        decimals: u8,
    },
}

/// The state of the instrument, in the terms of the open USB weighing-device status set
/// (HID usage page 8D, usages 71 to 78), whatever the wire says. Thermometers use `Unstated`,
/// `Fault`, `UnderZero` (below range) and `OverLimit` (above range).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// The wire carries no status; only our own tests can tell.
    Unstated,
    StableAtZero,
    InMotion,
    Stable,
    UnderZero,
    OverLimit,
    NeedsCalibration,
    NeedsReZeroing,
    /// Instrument error, open sensor, or a frame that speaks of a fault.
    Fault,
}

impl Channel {
    pub fn new(name: &str) -> Channel {
        Channel(Arc::from(name))
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Reading {
    pub fn mass(&self) -> Option<Mass> {
        match self.value {
            Some(Value::Mass { mass, .. }) => Some(mass),
            _ => None,
        }
    }

    pub fn temperature(&self) -> Option<Temperature> {
        match self.value {
            Some(Value::Temperature { temperature, .. }) => Some(temperature),
            _ => None,
        }
    }
}

impl Status {
    /// The value may be used. Doubtful readings stay data, but nothing is captured from them.
    pub const fn is_trusted(self) -> bool {
        match self {
            Status::Unstated
            | Status::StableAtZero
            | Status::InMotion
            | Status::Stable
            | Status::UnderZero => true,
            Status::OverLimit
            | Status::NeedsCalibration
            | Status::NeedsReZeroing
            | Status::Fault => false,
        }
    }

    /// The instrument itself does not deny rest.
    pub const fn allows_rest(self) -> bool {
        self.is_trusted() && !matches!(self, Status::InMotion)
    }

    pub const fn words(self) -> &'static str {
        match self {
            Status::Unstated => "no status",
            Status::StableAtZero => "stable at zero",
            Status::InMotion => "in motion",
            Status::Stable => "stable",
            Status::UnderZero => "under zero",
            Status::OverLimit => "over the limit",
            Status::NeedsCalibration => "needs calibration",
            Status::NeedsReZeroing => "needs re-zeroing",
            Status::Fault => "fault",
        }
    }
}
