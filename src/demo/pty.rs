use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{InputModes, OptionalActions, tcgetattr, tcsetattr};

/// A serial port that a simulated instrument sits on: a pseudo-terminal behind a link of our own,
/// so that the port has the same name after it has been unplugged and plugged in again.
pub struct SimPort {
    link: PathBuf,
    master: Option<OwnedFd>,
}

/// More than an instrument says between two looks at it.
const READ_MAX: usize = 4096;

impl SimPort {
    /// Not plugged in yet.
    pub fn new(link: PathBuf) -> SimPort {
        SimPort { link, master: None }
    }

    pub fn link(&self) -> &Path {
        &self.link
    }

    /// # Errors
    /// When the system has no pseudo-terminal to give, or the link cannot be made.
    pub fn plug(&mut self) -> io::Result<()> {
        self.unplug()?;
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let mut settings = tcgetattr(&master)?;
        settings.make_raw();
        tcsetattr(&master, OptionalActions::Now, &settings)?;
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        let slave = ptsname(&master, Vec::new())?;
        let slave = slave.to_str().map_err(|_| io::Error::other("unusable name of a terminal"))?;
        std::os::unix::fs::symlink(slave, &self.link)?;
        self.master = Some(master);
        Ok(())
    }

    /// The cable is pulled: whoever reads the port sees it hang up.
    pub fn unplug(&mut self) -> io::Result<()> {
        self.master = None;
        match std::fs::remove_file(&self.link) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        }
    }

    /// What a full line cannot take is lost, as on a wire.
    pub fn write(&self, bytes: &[u8]) -> io::Result<()> {
        let Some(master) = &self.master else { return Ok(()) };
        match rustix::io::write(master, bytes) {
            Ok(_) | Err(Errno::AGAIN) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    /// From now on `FF 00` and a byte are delivered as written: what a driver that is asked to mark
    /// damaged bytes makes of one. A pseudo-terminal damages none by itself.
    ///
    /// # Errors
    /// When nothing is plugged in, or the other side has not been opened yet.
    pub fn damage(&self) -> io::Result<()> {
        let master = self.master.as_ref().ok_or(io::ErrorKind::NotConnected)?;
        let mut settings = tcgetattr(master)?;
        if !settings.input_modes.contains(InputModes::PARMRK) {
            return Err(io::Error::other("nobody has asked for marks"));
        }
        settings.input_modes.remove(InputModes::PARMRK);
        tcsetattr(master, OptionalActions::Now, &settings)?;
        Ok(())
    }

    /// What the daemon has sent since the last look, perhaps nothing.
    pub fn read(&self) -> io::Result<Vec<u8>> {
        let Some(master) = &self.master else { return Ok(Vec::new()) };
        let mut bytes = vec![0; READ_MAX];
        match rustix::io::read(master, &mut bytes) {
            Ok(count) => {
                bytes.truncate(count);
                Ok(bytes)
            }
            // nobody has the other side open just now
            Err(Errno::AGAIN | Errno::IO) => Ok(Vec::new()),
            Err(error) => Err(error.into()),
        }
    }
}

impl Drop for SimPort {
    fn drop(&mut self) {
        let _ = self.unplug();
    }
}
