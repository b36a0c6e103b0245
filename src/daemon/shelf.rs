//! The folder of recipes: what is in it, and how a recipe gets in.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::files::{self, Expected, Kept, SaveError};
use crate::chemistry::FatTable;
use crate::problem::{Problems, Source};
use crate::recipe::Recipe;

/// The recipes of one bench: `NAME.toml` files, edited here or by hand.
#[derive(Clone, Debug)]
pub struct Shelf(PathBuf);

/// The name of a recipe's file without its ending: one plain name, never a path.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct FileName(String);

#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[error("`{0}` is no name of a recipe's file; expected one plain name without `/`")]
pub struct BadName(String);

/// One recipe of the folder.
#[derive(Clone, Debug)]
pub struct Shelved {
    pub file: FileName,
    pub kept: Kept,
    pub recipe: Result<Box<Recipe>, Problems>,
}

/// The length of a file's name that any file system takes, with room for our endings.
const NAME_BYTES_MAX: usize = 100;
/// More are not listed; a bench has dozens.
const LISTED_MAX: usize = 1000;
const ENDING: &str = ".toml";

impl FileName {
    /// # Errors
    /// When it is a path, hidden, too long, or holds what no name should.
    pub fn new(name: &str) -> Result<FileName, BadName> {
        let plain = |c: char| !c.is_control() && !matches!(c, '/' | '\\');
        let good = !name.is_empty()
            && name.len() <= NAME_BYTES_MAX
            && !name.starts_with('.')
            && name.trim() == name
            && name.chars().all(plain);
        if good { Ok(FileName(name.to_owned())) } else { Err(BadName(name.to_owned())) }
    }

    /// From what a soap is called: "Harbour Bar, No. 2" is `harbour-bar-no-2`.
    pub fn for_recipe(name: &str) -> FileName {
        let spaced: String = name
            .to_lowercase()
            .chars()
            .map(|c| if c.is_alphanumeric() { c } else { ' ' })
            .collect();
        let mut words = String::new();
        for word in spaced.split_whitespace() {
            // room for a number behind it
            if words.len() + word.len() + 1 > NAME_BYTES_MAX - 8 {
                break;
            }
            if !words.is_empty() {
                words.push('-');
            }
            words.push_str(word);
        }
        FileName(if words.is_empty() { "recipe".to_owned() } else { words })
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }

    fn numbered(&self, number: usize) -> FileName {
        FileName(format!("{}-{number}", self.0))
    }
}

impl TryFrom<String> for FileName {
    type Error = BadName;

    fn try_from(name: String) -> Result<FileName, BadName> {
        FileName::new(&name)
    }
}

impl From<FileName> for String {
    fn from(name: FileName) -> String {
        name.0
    }
}

impl Shelf {
    pub fn new(folder: PathBuf) -> Shelf {
        Shelf(folder)
    }

    pub fn folder(&self) -> &Path {
        &self.0
    }

    fn path(&self, file: &FileName) -> PathBuf {
        self.0.join(format!("{}{ENDING}", file.0))
    }

    /// Every recipe, good or not, by the name of its file. A file that cannot even be read is left
    /// out and told in the log.
    ///
    /// # Errors
    /// When the folder is there and cannot be read.
    pub fn list(&self) -> std::io::Result<Vec<Shelved>> {
        let entries = match std::fs::read_dir(&self.0) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            entries => entries?,
        };
        let mut names = Vec::new();
        for entry in entries.take(LISTED_MAX) {
            let name = entry?.file_name();
            let stem = name.to_str().and_then(|name| name.strip_suffix(ENDING));
            names.extend(stem.and_then(|stem| FileName::new(stem).ok()));
        }
        names.sort();
        let read = |file: FileName| match self.get(&file) {
            Ok(found) => found,
            Err(error) => {
                tracing::warn!("recipe {} cannot be read: {error}", self.path(&file).display());
                None
            }
        };
        Ok(names.into_iter().filter_map(read).collect())
    }

    /// `None` where there is no such recipe.
    ///
    /// # Errors
    /// When its file cannot be read.
    pub fn get(&self, file: &FileName) -> std::io::Result<Option<Shelved>> {
        let Some(kept) = files::read(&self.path(file))? else { return Ok(None) };
        let shown = format!("{}{ENDING}", file.0);
        let source = Source { file: &shown, text: &kept.text };
        let recipe = Recipe::read(source, FatTable::built_in()).map(Box::new);
        Ok(Some(Shelved { file: file.clone(), kept, recipe }))
    }

    /// Saves over the file that was opened.
    ///
    /// # Errors
    /// When it was changed since, or the disk refuses.
    pub fn save(&self, file: &FileName, text: &str, opened: &str) -> Result<Kept, SaveError> {
        files::save(&self.path(file), text, &Expected::Digest(opened.to_owned()))
    }

    /// Saves as a new file, named for the soap; a number is put behind a name that is taken.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn add(&self, soap: &str, text: &str) -> Result<FileName, SaveError> {
        let io = |source| SaveError::Io { path: self.0.clone(), source };
        std::fs::create_dir_all(&self.0).map_err(io)?;
        let first = FileName::for_recipe(soap);
        let mut file = first.clone();
        for number in 2.. {
            match files::save(&self.path(&file), text, &Expected::Nothing) {
                Err(SaveError::Exists(_)) if number <= LISTED_MAX => file = first.numbered(number),
                Err(error) => return Err(error),
                Ok(_) => break,
            }
        }
        Ok(file)
    }
}

impl Shelf {
    /// Moves a recipe into a folder beside; a number is put behind a name that is taken there.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn put_away(&self, file: &FileName) -> Result<(), SaveError> {
        let io = |source| SaveError::Io { path: self.path(file), source };
        let away = Shelf(self.0.join("put-away"));
        std::fs::create_dir_all(&away.0).map_err(io)?;
        let names = std::iter::once(file.clone()).chain((2..).map(|number| file.numbered(number)));
        let free = names.take(LISTED_MAX).find(|name| !away.path(name).exists());
        let to = free.ok_or_else(|| SaveError::Exists(away.path(file)))?;
        std::fs::rename(self.path(file), away.path(&to)).map_err(io)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recipe::EXAMPLE;

    #[test]
    fn a_name_is_never_a_path() {
        for bad in ["", ".", "..", "../etc/passwd", "a/b", "/etc", ".hidden", "a\\b", "a\nb", " a"]
        {
            assert!(FileName::new(bad).is_err(), "{bad:?}");
        }
        assert!(FileName::new(&"a".repeat(101)).is_err());
        for good in ["harbour-bar", "My Soap", "Seife Nº 2", "..."] {
            assert_eq!(FileName::new(good).is_ok(), !good.starts_with('.'), "{good:?}");
        }
        for (soap, name) in [
            ("Harbour Bar, No. 2", "harbour-bar-no-2"),
            ("../../etc/passwd", "etc-passwd"),
            ("<script>alert(1)</script>", "script-alert-1-script"),
            ("…", "recipe"),
        ] {
            let file = FileName::for_recipe(soap);
            assert_eq!(file.as_str(), name);
            assert_eq!(FileName::new(name), Ok(file));
        }
        let long = FileName::for_recipe(&"word ".repeat(100));
        assert!(FileName::new(long.numbered(1000).as_str()).is_ok());
    }

    #[test]
    fn good_and_broken_recipes_are_both_on_the_shelf() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::new(folder.path().join("recipes"));
        assert!(shelf.list().unwrap().is_empty());
        let file = shelf.add("Harbour Bar", EXAMPLE).unwrap();
        let twin = shelf.add("Harbour Bar", EXAMPLE).unwrap();
        assert_eq!((file.as_str(), twin.as_str()), ("harbour-bar", "harbour-bar-2"));
        std::fs::write(shelf.folder().join("By Hand.toml"), "name = 1").unwrap();
        std::fs::write(shelf.folder().join("notes.txt"), "not a recipe").unwrap();
        std::fs::write(shelf.folder().join(".harbour-bar.toml.new"), "left over").unwrap();
        let listed = shelf.list().unwrap();
        let names: Vec<&str> = listed.iter().map(|shelved| shelved.file.as_str()).collect();
        assert_eq!(names, ["By Hand", "harbour-bar", "harbour-bar-2"]);
        assert!(listed[0].recipe.is_err());
        assert_eq!(listed[1].recipe.as_ref().unwrap().name, "Harbour Bar");
        let opened = &listed[1].kept.digest;
        shelf.save(&file, "name = \"B\"", opened).unwrap();
        assert!(matches!(shelf.save(&file, "x", opened), Err(SaveError::Changed(_))));
        shelf.put_away(&file).unwrap();
        let again = shelf.add("Harbour Bar", EXAMPLE).unwrap();
        shelf.put_away(&again).unwrap();
        assert_eq!(shelf.list().unwrap().len(), 2);
        let away = shelf.folder().join("put-away/harbour-bar.toml");
        assert_eq!(std::fs::read_to_string(away).unwrap(), "name = \"B\"");
        assert!(shelf.folder().join("put-away/harbour-bar-2.toml").exists());
    }
}
