//! A maker's files, read whole and saved whole: never half a file, never over somebody's change.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::recipe::digest;

/// A file as it lies on the disk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    pub text: String,
    /// SHA-256 in hex.
    pub digest: String,
}

/// What a save expects to find in its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expected {
    Nothing,
    /// The file that was opened.
    Digest(String),
}

#[derive(Debug, Error)]
pub enum SaveError {
    #[error("{} was changed on the disk since it was opened; nothing is overwritten", .0.display())]
    Changed(PathBuf),
    #[error("{} is there already; nothing is overwritten", .0.display())]
    Exists(PathBuf),
    #[error("{} is gone from the disk since it was opened", .0.display())]
    Gone(PathBuf),
    #[error("{} cannot be saved: {source}", path.display())]
    Io { path: PathBuf, source: std::io::Error },
}

/// No file a maker writes comes near this.
const BYTES_MAX: u64 = 256 * 1024;

/// `None` where there is no such file.
///
/// # Errors
/// When it cannot be read, is no text, or is larger than any file of a maker.
pub fn read(path: &Path) -> std::io::Result<Option<Kept>> {
    let file = match File::open(path) {
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        opened => opened?,
    };
    let mut text = String::new();
    file.take(BYTES_MAX + 1).read_to_string(&mut text)?;
    if text.len() as u64 > BYTES_MAX {
        return Err(std::io::Error::other(format!("larger than {BYTES_MAX} bytes")));
    }
    Ok(Some(Kept { digest: digest(&text), text }))
}

/// Writes beside the file, brings it to the disk, then takes its place in one step. What another
/// program saves within the instant between looking and taking the place is the one thing that
/// could be lost; two saves of this daemon are kept apart by its lock.
///
/// # Errors
/// When what lies there is not what was expected, or the disk refuses.
pub fn save(path: &Path, text: &str, expected: &Expected) -> Result<Kept, SaveError> {
    // a link stays a link: what it points to is replaced
    let path = &std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let io = |source| SaveError::Io { path: path.clone(), source };
    let found = read(path).map_err(io)?;
    match (expected, found) {
        (Expected::Nothing, Some(_)) => return Err(SaveError::Exists(path.clone())),
        (Expected::Digest(_), None) => return Err(SaveError::Gone(path.clone())),
        (Expected::Digest(digest), Some(found)) if &found.digest != digest => {
            return Err(SaveError::Changed(path.clone()));
        }
        _ => {}
    }
    let beside = beside(path);
    let written = write_beside(&beside, text).and_then(|()| match expected {
        // fails where somebody was quicker
        Expected::Nothing => {
            std::fs::hard_link(&beside, path).and_then(|()| std::fs::remove_file(&beside))
        }
        Expected::Digest(_) => std::fs::rename(&beside, path),
    });
    if let Err(error) = written {
        let _ = std::fs::remove_file(&beside);
        let exists = error.kind() == ErrorKind::AlreadyExists;
        return Err(if exists { SaveError::Exists(path.clone()) } else { io(error) });
    }
    if let Some(folder) = path.parent() {
        File::open(folder).and_then(|folder| folder.sync_all()).map_err(io)?;
    }
    Ok(Kept { text: text.to_owned(), digest: digest(text) })
}

fn write_beside(beside: &Path, text: &str) -> std::io::Result<()> {
    // left over from a daemon that died while saving
    match std::fs::remove_file(beside) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut file = OpenOptions::new().write(true).create_new(true).open(beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

fn beside(path: &Path) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.new"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_on_the_disk_is_never_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("bar.toml");
        let first = save(&path, "one", &Expected::Nothing).unwrap();
        assert_eq!(read(&path).unwrap(), Some(first.clone()));
        assert!(matches!(save(&path, "x", &Expected::Nothing), Err(SaveError::Exists(_))));
        let opened = Expected::Digest(first.digest);
        std::fs::write(&path, "by hand").unwrap();
        assert!(matches!(save(&path, "two", &opened), Err(SaveError::Changed(_))));
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "by hand");
        let opened = Expected::Digest(digest("by hand"));
        save(&path, "two", &opened).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "two");
        std::fs::remove_file(&path).unwrap();
        let opened = Expected::Digest(digest("two"));
        assert!(matches!(save(&path, "three", &opened), Err(SaveError::Gone(_))));
        let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
        assert!(left.is_empty(), "{left:?}");
    }

    #[test]
    fn a_link_stays_a_link() {
        let folder = tempfile::tempdir().unwrap();
        let (real, link) = (folder.path().join("real.toml"), folder.path().join("link.toml"));
        std::fs::write(&real, "one").unwrap();
        std::os::unix::fs::symlink(&real, &link).unwrap();
        save(&link, "two", &Expected::Digest(digest("one"))).unwrap();
        assert_eq!(std::fs::read_to_string(&real).unwrap(), "two");
        assert!(std::fs::symlink_metadata(&link).unwrap().is_symlink());
    }

    #[test]
    fn what_cannot_be_written_says_so_and_leaves_the_old() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("missing").join("bar.toml");
        let refused = save(&path, "one", &Expected::Nothing).unwrap_err();
        assert!(matches!(refused, SaveError::Io { .. }), "{refused}");
        let large = folder.path().join("large.toml");
        std::fs::write(&large, vec![b' '; BYTES_MAX as usize + 1]).unwrap();
        assert!(read(&large).is_err());
    }
}
