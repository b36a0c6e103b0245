use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use rustix::fs::{FlockOperation, flock};
use thiserror::Error;

/// Held for as long as a daemon lives; the system lets go of it however the daemon dies.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

#[derive(Debug, Error)]
pub enum LockError {
    #[error(
        "another panroom (process {holder}) uses {}; stop it, or name another folder with --data",
        folder.display()
    )]
    Held { holder: String, folder: PathBuf },
    #[error("lock file {} cannot be used: {source}", path.display())]
    Unusable { path: PathBuf, source: std::io::Error },
}

impl Lock {
    pub fn take(path: &Path) -> Result<Lock, LockError> {
        let unusable = |source| LockError::Unusable { path: path.to_owned(), source };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(unusable)?;
        if flock(&file, FlockOperation::NonBlockingLockExclusive).is_err() {
            let mut holder = String::new();
            let _ = file.read_to_string(&mut holder);
            let holder = if holder.trim().is_empty() { "unknown" } else { holder.trim() };
            let folder = path.parent().unwrap_or(path).to_owned();
            return Err(LockError::Held { holder: holder.to_owned(), folder });
        }
        file.set_len(0).map_err(unusable)?;
        file.seek(SeekFrom::Start(0)).map_err(unusable)?;
        writeln!(file, "{}", std::process::id()).map_err(unusable)?;
        Ok(Lock { _file: file })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_lock_names_the_first_holder() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("panroom.lock");
        let first = Lock::take(&path).unwrap();
        let refused = Lock::take(&path).unwrap_err().to_string();
        let holder = format!("another panroom (process {})", std::process::id());
        assert!(refused.starts_with(&holder), "{refused}");
        drop(first);
        Lock::take(&path).unwrap();
    }
}
