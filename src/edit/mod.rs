//! Between the fields of a form and the TOML a hand would write.
//!
//! A maker's file is edited in place: what the form does not touch stays to the last blank and
//! remark. Fields are named as problems name them (`oil[2].mass`), so that whatever refuses a file
//! says beside which field of the form it goes.

mod entry;
mod place;
mod write;

pub use entry::{Entry, FormError};
pub use place::{beside, words_of};
pub use write::{EditError, write};

/// One part of a file: the keys it may have, and the parts within it.
#[derive(Debug)]
pub struct Part {
    /// As in the heading; empty for the file itself.
    pub key: &'static str,
    /// `[[key]]` instead of `[key]`.
    pub many: bool,
    pub keys: &'static [Key],
    pub parts: &'static [Part],
}

#[derive(Debug)]
pub struct Key {
    pub key: &'static str,
    pub kind: Kind,
}

/// How a field stands in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// In quotes: words, and quantities with their unit.
    Words,
    /// A bare number; what is none is put in quotes, for the reader of the file to refuse.
    Number,
    /// A list of words; in the form with semicolons between.
    List,
    /// One field for two keys: with a percent sign it is the `share`, else the `mass`.
    ShareOrMass,
}

/// The keys that a field of kind [`Kind::ShareOrMass`] stands for.
const SHARE: &str = "share";
const MASS: &str = "mass";

impl Part {
    fn part(&self, key: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.key == key)
    }

    fn key(&self, key: &str) -> Option<&Key> {
        self.keys.iter().find(|known| known.key == key)
    }

    /// The field of the form for a key of the file.
    fn field_for(&self, file_key: &str) -> Option<&Key> {
        self.key(file_key).or_else(|| {
            let either = |key: &&Key| key.kind == Kind::ShareOrMass;
            self.keys.iter().find(either).filter(|_| [SHARE, MASS].contains(&file_key))
        })
    }
}

pub const fn words(key: &'static str) -> Key {
    Key { key, kind: Kind::Words }
}

pub const fn number(key: &'static str) -> Key {
    Key { key, kind: Kind::Number }
}

pub const fn list(key: &'static str) -> Key {
    Key { key, kind: Kind::List }
}

pub const fn share_or_mass(key: &'static str) -> Key {
    Key { key, kind: Kind::ShareOrMass }
}
