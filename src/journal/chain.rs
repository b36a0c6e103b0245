use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// A SHA-256 digest, shown in hex.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Digest([u8; 32]);

/// Whether a batch's stored bytes are what its chain says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verified {
    /// Unbroken up to this head. It proves something only against a head printed elsewhere.
    Unbroken { head: String, facts: u64 },
    /// The stored bytes of this fact, or something before it, are not those that were linked.
    BrokenAt { fact: u64 },
    /// Sealed readings are not those that were linked, behind this fact.
    ReadingsBrokenAfter { fact: u64 },
}

/// The beginning of a batch's chain: the frozen control recipe as stored.
pub fn genesis(control: &[u8]) -> Digest {
    digest(&[b"panroom genesis", control])
}

/// The next link: the chain so far and the stored bytes of a fact.
pub fn link(chain: Digest, number: u64, body: &[u8]) -> Digest {
    digest(&[&chain.0, b"fact", &number.to_be_bytes(), body])
}

/// The next link: the chain so far and the stored bytes of all blocks sealed here.
pub fn seal(chain: Digest, blocks: impl Iterator<Item = (i64, Vec<u8>)>) -> Digest {
    let mut hash = Sha256::new();
    hash.update(chain.0);
    hash.update(b"blocks");
    for (id, body) in blocks {
        hash.update(id.to_be_bytes());
        hash.update((body.len() as u64).to_be_bytes());
        hash.update(body);
    }
    Digest(hash.finalize().into())
}

/// The digest of a text by itself.
pub fn digest_of_text(text: &str) -> Digest {
    digest(&[text.as_bytes()])
}

fn digest(parts: &[&[u8]]) -> Digest {
    let mut hash = Sha256::new();
    parts.iter().for_each(|part| hash.update(part));
    Digest(hash.finalize().into())
}

impl Digest {
    pub fn from_bytes(bytes: &[u8]) -> Option<Digest> {
        bytes.try_into().ok().map(Digest)
    }

    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4, the example of the empty message and of "abc" (from memory).
    #[test]
    fn sha_256_is_sha_256() {
        assert_eq!(
            digest(&[b"a", b"bc"]).to_string(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
