use std::path::PathBuf;

use crate::bench_file::{Parity, SerialOverrides, StopBits};
use crate::wire::{Line, LineParity};

/// A port and how its line is set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortSettings {
    pub path: PathBuf,
    pub line: Line,
}

impl PortSettings {
    /// The sheet's settings, with what differs on this bench.
    pub fn new(path: impl Into<PathBuf>, line: Line, differs: SerialOverrides) -> PortSettings {
        let parity = differs.parity.map(|parity| match parity {
            Parity::None => LineParity::None,
            Parity::Even => LineParity::Even,
            Parity::Odd => LineParity::Odd,
        });
        let stop_bits = differs.stop_bits.map(|bits| match bits {
            StopBits::One => 1,
            StopBits::Two => 2,
        });
        let line = Line {
            baud: differs.baud.unwrap_or(line.baud),
            data_bits: differs.data_bits.unwrap_or(line.data_bits),
            parity: parity.unwrap_or(line.parity),
            stop_bits: stop_bits.unwrap_or(line.stop_bits),
            ..line
        };
        PortSettings { path: path.into(), line }
    }
}
