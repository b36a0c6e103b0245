use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
use std::path::{Path, PathBuf};

use anyhow::Context;

/// Where a daemon keeps what it must not lose.
#[derive(Clone, Debug)]
pub struct Folder(PathBuf);

/// The socket is as open as the folder: only its owner may enter.
const OWNER_ONLY: u32 = 0o700;

impl Folder {
    pub fn new(path: impl Into<PathBuf>) -> Folder {
        Folder(path.into())
    }

    /// `$XDG_DATA_HOME/panroom`, or `~/.local/share/panroom` (XDG Base Directory Specification).
    pub fn of_user() -> anyhow::Result<Folder> {
        let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty());
        let base = match (set("XDG_DATA_HOME").map(PathBuf::from), set("HOME")) {
            (Some(base), _) if base.is_absolute() => base,
            (_, Some(home)) => Path::new(&home).join(".local/share"),
            (_, None) => anyhow::bail!(
                "no data folder: neither XDG_DATA_HOME nor HOME is set; name one with --data DIR"
            ),
        };
        Ok(Folder(base.join("panroom")))
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn journal(&self) -> PathBuf {
        self.0.join("journal.db")
    }

    pub fn socket(&self) -> PathBuf {
        self.0.join("panroom.sock")
    }

    pub fn lock(&self) -> PathBuf {
        self.0.join("panroom.lock")
    }

    /// The bench file, where no other is named.
    pub fn bench_file(&self) -> PathBuf {
        self.0.join("bench.toml")
    }

    pub fn recipes(&self) -> PathBuf {
        self.0.join("recipes")
    }

    pub(super) fn create(&self) -> anyhow::Result<()> {
        let shown = self.0.display();
        std::fs::DirBuilder::new().recursive(true).mode(OWNER_ONLY).create(&self.0).with_context(
            || format!("data folder {shown} cannot be made; name another with --data DIR"),
        )?;
        let mode = std::fs::metadata(&self.0)?.permissions().mode();
        if mode & 0o077 != 0 {
            tracing::warn!(
                "data folder {shown} is open to others: anybody who can enter it can act"
            );
        }
        Ok(())
    }
}
