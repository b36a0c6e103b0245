use std::io;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::unix::pipe;
use tokio_serial::SerialStream;

use super::marks::{Marks, Piece};

/// An open port: a serial line, or a device whose every read is one report.
pub enum Link {
    Serial {
        stream: SerialStream,
        marks: Marks,
    },
    /// A USB device by its hidraw file: one read gives one report, however much room there is. The
    /// runtime has no type for it and does not mind that it is no pipe.
    Reports(pipe::Receiver),
}

/// The longest line between two looks, and longer than any report.
const READ_MAX: usize = 4096;

impl Link {
    /// What came since, at least one piece; nothing when the device is gone. May be given up at any
    /// moment without losing a byte.
    pub async fn read(&mut self) -> io::Result<Vec<Piece>> {
        let mut buffer = [0; READ_MAX];
        match self {
            Link::Serial { stream, marks } => loop {
                let count = AsyncReadExt::read(stream, &mut buffer).await?;
                let pieces = marks.take(&buffer[..count]);
                // the first half of a mark is nothing yet
                if count == 0 || !pieces.is_empty() {
                    return Ok(pieces);
                }
            },
            Link::Reports(device) => loop {
                device.readable().await?;
                match device.try_read(&mut buffer) {
                    Ok(0) => return Ok(Vec::new()),
                    Ok(count) => return Ok(vec![Piece::Bytes(buffer[..count].to_vec())]),
                    Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                    Err(error) => return Err(error),
                }
            },
        }
    }

    pub async fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Link::Serial { stream, .. } => AsyncWriteExt::write_all(stream, bytes).await,
            Link::Reports(_) => Err(io::Error::other("a device that reports is not asked")),
        }
    }
}
