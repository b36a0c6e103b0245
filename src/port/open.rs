use std::path::Path;

use serialport::{ClearBuffer, DataBits, ErrorKind, FlowControl, Parity, SerialPort, StopBits};
use thiserror::Error;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

use super::line::PortSettings;
use crate::wire::{Flow, LineParity};

/// Why a port cannot be opened, in words a maker can act on.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum OpenError {
    #[error("{0} is not there; plug it in")]
    Missing(String),
    #[error("{0} is in use by another program; close that program")]
    InUse(String),
    #[error("{0} may not be opened by this user; join its group, usually dialout")]
    NotAllowed(String),
    #[error("{0} is no serial port")]
    NoPort(String),
    #[error("{path} cannot be opened: {why}")]
    Other { path: String, why: String },
}

/// Opens exclusively, throws away what came before, and sets the lines as the sheet says.
pub fn open(settings: &PortSettings) -> Result<SerialStream, OpenError> {
    let shown = settings.path.display().to_string();
    let line = &settings.line;
    let mut port = tokio_serial::new(&shown, line.baud)
        .data_bits(if line.data_bits == 7 { DataBits::Seven } else { DataBits::Eight })
        .stop_bits(if line.stop_bits == 2 { StopBits::Two } else { StopBits::One })
        .parity(match line.parity {
            LineParity::None => Parity::None,
            LineParity::Even => Parity::Even,
            LineParity::Odd => Parity::Odd,
        })
        .flow_control(match line.flow {
            Flow::None => FlowControl::None,
            Flow::RtsCts => FlowControl::Hardware,
            Flow::XonXoff => FlowControl::Software,
        })
        .exclusive(true)
        .open_native_async()
        .map_err(|error| explain(&settings.path, shown.clone(), &error))?;
    // an adapter without these lines (and every pseudo-terminal) answers ENOTTY: go on without
    let _ = port.write_data_terminal_ready(line.dtr);
    let _ = port.write_request_to_send(line.rts);
    port.clear(ClearBuffer::Input)
        .map_err(|error| OpenError::Other { path: shown.clone(), why: error.to_string() })?;
    let set = port.data_bits().ok();
    if line.data_bits == 7 && set != Some(DataBits::Seven) {
        tracing::warn!("{shown} does not take seven data bits; parity is not checked there");
    }
    Ok(port)
}

fn explain(path: &Path, shown: String, error: &serialport::Error) -> OpenError {
    let words = error.to_string();
    match error.kind() {
        ErrorKind::NoDevice if words.contains("lock") && path.exists() => OpenError::InUse(shown),
        ErrorKind::NoDevice if path.exists() => OpenError::InUse(shown),
        ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => OpenError::NotAllowed(shown),
        ErrorKind::Io(std::io::ErrorKind::ResourceBusy) => OpenError::InUse(shown),
        _ if !path.exists() => OpenError::Missing(shown),
        _ if words.contains("typewriter") || words.contains("ioctl") => OpenError::NoPort(shown),
        _ => OpenError::Other { path: shown, why: words },
    }
}
