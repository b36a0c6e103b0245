use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use anyhow::Context;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::quantity::{Moment, Span};

/// Who may come in: screens on this machine by a token that lies in the owner's folder, other
/// screens by a code that only somebody who sees the daemon's terminal can know.
pub struct Access {
    file: PathBuf,
    kept: Mutex<Kept>,
    code: String,
    tries: Mutex<Vec<Moment>>,
}

/// What lies in the data folder, so that a tablet beside the pot stays let in after a restart.
#[derive(Default, Serialize, Deserialize)]
struct Kept {
    /// Of screens on this machine.
    local: String,
    /// SHA-256 of the tokens given to other screens, oldest first.
    paired: Vec<String>,
}

/// Letters and digits that nobody mistakes for one another, from RFC 4648 base 32 without those.
const LETTERS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// 40 bits: at [`TRIES`] a minute a guess takes longer than a bench stands.
const CODE_LETTERS: usize = 8;
const TRIES: usize = 5;
const TRIES_IN: Span = Span::from_minutes(1);
/// A bench has a few screens; beyond that the one paired longest ago must pair again.
const SCREENS_MAX: usize = 32;
const OWNER_ONLY: u32 = 0o600;

/// Why a screen is not let in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turned {
    WrongCode,
    TooManyTries,
}

impl Access {
    /// # Errors
    /// When the folder cannot be written or the system gives no random bytes.
    pub fn open(folder: &Path) -> anyhow::Result<Access> {
        let file = folder.join("page-access.json");
        let kept = match fs::read(&file) {
            Ok(bytes) => serde_json::from_slice(&bytes).with_context(|| {
                format!("{} is damaged; delete it and pair again", file.display())
            })?,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                Kept { local: token()?, paired: Vec::new() }
            }
            Err(error) => {
                return Err(error).with_context(|| format!("{} cannot be read", file.display()));
            }
        };
        let access =
            Access { file, kept: Mutex::new(kept), code: code()?, tries: Mutex::new(Vec::new()) };
        access.keep(&access.kept())?;
        Ok(access)
    }

    /// The code a new screen must show, as it is drawn in the terminal.
    pub fn code(&self) -> &str {
        &self.code
    }

    /// The token of screens on this machine.
    pub fn local(&self) -> String {
        self.kept().local.clone()
    }

    pub fn knows(&self, token: &str) -> bool {
        let kept = self.kept();
        let digest = digest(token);
        same(token, &kept.local) || kept.paired.iter().any(|known| same(known, &digest))
    }

    /// A token for a screen that shows the code.
    pub fn pair(&self, shown: &str, now: Moment) -> anyhow::Result<Result<String, Turned>> {
        {
            let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
            tries.retain(|&at| now.since(at) < TRIES_IN);
            if tries.len() >= TRIES {
                return Ok(Err(Turned::TooManyTries));
            }
            if !same(&plain(shown), &self.code) {
                tries.push(now);
                return Ok(Err(Turned::WrongCode));
            }
        }
        let token = token()?;
        let mut kept = self.kept();
        kept.paired.push(digest(&token));
        let over = kept.paired.len().saturating_sub(SCREENS_MAX);
        kept.paired.drain(..over);
        self.keep(&kept)?;
        Ok(Ok(token))
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn keep(&self, kept: &Kept) -> anyhow::Result<()> {
        keep_private(&self.file, &serde_json::to_vec(kept)?)
    }
}

/// Written beside and renamed: a crash leaves the old one whole. Only the owner may read it.
pub(super) fn keep_private(file: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let new = file.with_extension("new");
    let write = || -> std::io::Result<()> {
        let mut options = fs::OpenOptions::new();
        options.write(true).create(true).truncate(true).mode(OWNER_ONLY);
        let mut out = options.open(&new)?;
        out.write_all(bytes)?;
        out.sync_all()?;
        fs::rename(&new, file)
    };
    write().with_context(|| format!("{} cannot be written", file.display()))
}

/// As typed by a person: in any case, with or without spaces and dashes.
fn plain(shown: &str) -> String {
    shown.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect()
}

/// Takes as long for a near guess as for a far one.
fn same(left: &str, right: &str) -> bool {
    left.len() == right.len()
        && left.bytes().zip(right.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}

fn digest(token: &str) -> String {
    hex(&Sha256::digest(token.as_bytes()))
}

fn token() -> anyhow::Result<String> {
    Ok(hex(&random::<32>()?))
}

fn code() -> anyhow::Result<String> {
    let bytes = random::<CODE_LETTERS>()?;
    Ok(bytes.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn random<const N: usize>() -> anyhow::Result<[u8; N]> {
    let mut bytes = [0; N];
    let got = rustix::rand::getrandom(&mut bytes[..], rustix::rand::GetRandomFlags::empty())
        .context("the system gives no random bytes")?;
    anyhow::ensure!(got == N, "the system gives too few random bytes");
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_secs(seconds)
    }

    #[test]
    fn a_paired_screen_stays_paired_after_a_restart() {
        let folder = tempfile::tempdir().unwrap();
        let access = Access::open(folder.path()).unwrap();
        let spaced = format!("{} {}", &access.code()[..4], access.code()[4..].to_lowercase());
        let token = access.pair(&spaced, at(0)).unwrap().unwrap();
        let again = Access::open(folder.path()).unwrap();
        assert!(again.knows(&token) && again.knows(&access.local()));
        assert_ne!(again.code(), access.code());
        assert!(!again.knows("") && !again.knows(&digest(&token)));
        let kept = fs::read_to_string(folder.path().join("page-access.json")).unwrap();
        assert!(!kept.contains(&token), "the token of another screen lies in the open");
    }

    #[test]
    fn guessing_is_slow_even_with_the_right_code_at_last() {
        let folder = tempfile::tempdir().unwrap();
        let access = Access::open(folder.path()).unwrap();
        for _ in 0..TRIES {
            assert_eq!(access.pair("AAAAAAAA", at(0)).unwrap(), Err(Turned::WrongCode));
        }
        let code = access.code().to_owned();
        assert_eq!(access.pair(&code, at(59)).unwrap(), Err(Turned::TooManyTries));
        assert!(access.pair(&code, at(60)).unwrap().is_ok());
    }

    #[test]
    fn the_screen_paired_longest_ago_gives_way() {
        let folder = tempfile::tempdir().unwrap();
        let access = Access::open(folder.path()).unwrap();
        let pair = || access.pair(access.code(), at(0)).unwrap().unwrap();
        let (first, second) = (pair(), pair());
        for _ in 1..SCREENS_MAX {
            pair();
        }
        assert!(!access.knows(&first) && access.knows(&second));
    }
}
