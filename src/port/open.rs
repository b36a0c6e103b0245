use std::fs::{File, OpenOptions};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use rustix::fs::{FlockOperation, OFlags, flock};
use rustix::io::Errno;
use rustix::termios::{InputModes, OptionalActions, isatty, tcgetattr, tcsetattr};
use serialport::{ClearBuffer, DataBits, ErrorKind, FlowControl, Parity, SerialPort, StopBits};
use thiserror::Error;
use tokio::net::unix::pipe;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

use super::holder;
use super::line::PortSettings;
use super::link::Link;
use super::marks::Marks;
use crate::wire::{Flow, LineParity};

/// Why a port cannot be opened, in words a maker can act on.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum OpenError {
    #[error("{0} is not there; plug it in")]
    Missing(String),
    #[error("{path} is in use by another program{by}; close that program")]
    InUse { path: String, by: String },
    #[error("{0} may not be opened by this user; join its group, usually dialout")]
    NotAllowed(String),
    #[error("{0} is no serial port")]
    NoPort(String),
    #[error("{0} has a name, but nothing is behind it; pull its plug and put it in again")]
    Hollow(String),
    #[error("{path} cannot be opened: {why}")]
    Other { path: String, why: String },
}

/// Opens exclusively, throws away what came before, and sets the lines as the sheet says. With
/// `reports` it is no line but a USB device by its hidraw file.
pub fn open(settings: &PortSettings, reports: bool) -> Result<Link, OpenError> {
    let path = &settings.path;
    // opened by ourselves first: the error is the system's own, and the descriptor is ours to set
    let device = OpenOptions::new()
        .read(true)
        .write(!reports)
        .custom_flags((OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC).bits() as i32)
        .open(path)
        .map_err(|error| explain(path, &error))?;
    if reports {
        return report_device(path, device);
    }
    if !isatty(&device) {
        return Err(OpenError::NoPort(path.display().to_string()));
    }
    let port = serial(settings)?;
    let marks = Marks::new(mark_damage(&device));
    let clear = port.clear(ClearBuffer::Input);
    clear.map_err(|error| other(path, &error.to_string()))?;
    Ok(Link::Serial { stream: port, marks })
}

fn serial(settings: &PortSettings) -> Result<SerialStream, OpenError> {
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
        // the path was opened a moment ago: this kind is now only its lock
        .map_err(|error| match error.kind() {
            ErrorKind::NoDevice => in_use(&settings.path),
            _ => other(&settings.path, &error.to_string()),
        })?;
    // an adapter without these lines (and every pseudo-terminal) answers ENOTTY: go on without
    let _ = port.write_data_terminal_ready(line.dtr);
    let _ = port.write_request_to_send(line.rts);
    let set = port.data_bits().ok();
    if line.data_bits == 7 && set != Some(DataBits::Seven) {
        tracing::warn!("{shown} does not take seven data bits; parity is not checked there");
    }
    Ok(port)
}

/// A USB device by its hidraw file. No other of us reads it; what else does is not kept off.
fn report_device(path: &Path, device: File) -> Result<Link, OpenError> {
    match flock(&device, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => {}
        Err(Errno::WOULDBLOCK) => return Err(in_use(path)),
        Err(error) => return Err(other(path, &error.to_string())),
    }
    let device = pipe::Receiver::from_file_unchecked(device);
    device.map(Link::Reports).map_err(|error| other(path, &error.to_string()))
}

/// Asks the driver to mark bytes with a wrong parity or stop bit; whether it does.
fn mark_damage(device: &File) -> bool {
    let set = || -> Result<bool, Errno> {
        let mut settings = tcgetattr(device)?;
        let dropped =
            InputModes::IGNPAR | InputModes::IGNBRK | InputModes::BRKINT | InputModes::ISTRIP;
        settings.input_modes.remove(dropped);
        settings.input_modes.insert(InputModes::INPCK | InputModes::PARMRK);
        tcsetattr(device, OptionalActions::Now, &settings)?;
        // a driver may take less than it was asked, without a word
        Ok(tcgetattr(device)?.input_modes.contains(InputModes::INPCK | InputModes::PARMRK))
    };
    set().unwrap_or(false)
}

fn explain(path: &Path, error: &std::io::Error) -> OpenError {
    let shown = path.display().to_string();
    match error.raw_os_error().map(Errno::from_raw_os_error) {
        Some(Errno::NOENT | Errno::NOTDIR) => OpenError::Missing(shown),
        Some(Errno::ACCESS | Errno::PERM) => OpenError::NotAllowed(shown),
        Some(Errno::BUSY) => in_use(path),
        Some(Errno::NXIO | Errno::NODEV | Errno::IO) => OpenError::Hollow(shown),
        Some(Errno::ISDIR) => OpenError::NoPort(shown),
        _ => other(path, &error.to_string()),
    }
}

fn in_use(path: &Path) -> OpenError {
    let by = holder::of(path).map_or_else(String::new, |by| format!(" ({by})"));
    OpenError::InUse { path: path.display().to_string(), by }
}

fn other(path: &Path, why: &str) -> OpenError {
    OpenError::Other { path: path.display().to_string(), why: why.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What open(2) and the tty drivers answer, and what a maker is told to do.
    #[test]
    fn each_refusal_of_the_system_says_what_to_do() {
        let told = |errno: Errno| {
            let error = std::io::Error::from_raw_os_error(errno.raw_os_error());
            explain(Path::new("/dev/scale"), &error).to_string()
        };
        assert_eq!(told(Errno::NOENT), "/dev/scale is not there; plug it in");
        assert_eq!(
            told(Errno::ACCESS),
            "/dev/scale may not be opened by this user; join its group, usually dialout"
        );
        assert_eq!(
            told(Errno::BUSY),
            "/dev/scale is in use by another program; close that program"
        );
        assert_eq!(
            told(Errno::IO),
            "/dev/scale has a name, but nothing is behind it; pull its plug and put it in again"
        );
        assert!(told(Errno::NOMEM).starts_with("/dev/scale cannot be opened: "));
    }
}
