//! What is wrong with a file a maker wrote: where, what was found, what is expected, what to do.
//!
//! Recipes, bench files and wire sheets are all read through [`read_toml`], so all of them refuse
//! in one voice and name the line.

use std::fmt;
use std::ops::Range;

use serde::de::DeserializeOwned;

mod form;
mod table;

pub use form::Form;
pub use table::{Placed, Table};

/// One thing wrong in one place of one file.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Problem {
    pub file: String,
    /// Counted from 1; `None` where the fault is that something is missing altogether.
    pub line: Option<usize>,
    /// The key as a maker would write it, like `oils[2].mass`.
    pub field: String,
    pub found: String,
    pub expected: String,
    /// What to do, in one clause.
    pub advice: String,
}

/// Everything found wrong in one reading: a maker mends a file once, not once a mistake.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Problems(pub Vec<Problem>);

/// A text with its name, to turn places into line numbers.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    pub file: &'a str,
    pub text: &'a str,
}

impl Source<'_> {
    pub fn line_at(&self, offset: usize) -> usize {
        let upto = offset.min(self.text.len());
        1 + self.text.as_bytes()[..upto].iter().filter(|&&byte| byte == b'\n').count()
    }

    pub fn problem(
        &self,
        place: Option<Range<usize>>,
        field: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
        advice: impl Into<String>,
    ) -> Problem {
        Problem {
            file: self.file.to_owned(),
            line: place.map(|span| self.line_at(span.start)),
            field: field.into(),
            found: found.into(),
            expected: expected.into(),
            advice: advice.into(),
        }
    }
}

/// Reads a TOML text into `T`; unknown keys (with `deny_unknown_fields`) get the nearest known one.
pub fn read_toml<T: DeserializeOwned>(source: Source<'_>) -> Result<T, Problems> {
    toml::from_str(source.text).map_err(|error| Problems(vec![explain(source, &error)]))
}

/// The known name nearest to a misspelt one, if any is near enough to be meant.
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    known
        .into_iter()
        .map(|name| (strsim::normalized_damerau_levenshtein(&found.to_lowercase(), name), name))
        .filter(|(likeness, _)| *likeness >= 0.5)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

fn explain(source: Source<'_>, error: &toml::de::Error) -> Problem {
    let words = error.message();
    let place = error.span();
    let line_text = place
        .clone()
        .and_then(|span| source.text.lines().nth(source.line_at(span.start) - 1))
        .unwrap_or("")
        .trim();
    let quoted: Vec<&str> = words.split('`').skip(1).step_by(2).collect();
    if words.starts_with("unknown field") && !quoted.is_empty() {
        let (field, known) = (quoted[0], &quoted[1..]);
        let advice = match nearest(field, known.iter().copied()) {
            Some(name) => format!("did you mean `{name}`?"),
            None => "remove it, or use one of the known keys".to_owned(),
        };
        let expected = format!("one of {}", known.join(", "));
        return source.problem(place, field, "an unknown key", expected, advice);
    }
    if words.starts_with("missing field") && !quoted.is_empty() {
        let expected = format!("the key `{}`", quoted[0]);
        return source.problem(place, quoted[0], "nothing", expected, "add it");
    }
    let words = match words {
        "duplicate key" => "each key once",
        other if other.starts_with("invalid basic string") => "both quotes about the text",
        other => other,
    };
    let field = line_text.split('=').next().unwrap_or("").trim();
    let field = if field.is_empty() { "(whole file)" } else { field };
    let advice = "correct this line; README, \"Your first recipe\", shows a whole file";
    source.problem(place, field, line_text, words.replace('\n', "; "), advice)
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        write!(f, ", `{}`: found {}; expected {}", self.field, self.found, self.expected)?;
        if !self.advice.is_empty() {
            write!(f, "; {}", self.advice)?;
        }
        Ok(())
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, problem) in self.0.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Problems {
        Problems(vec![problem])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Small {
        #[allow(dead_code)]
        superfat: String,
    }

    fn refusal(text: &str) -> String {
        read_toml::<Small>(Source { file: "bar.toml", text }).unwrap_err().to_string()
    }

    #[test]
    fn an_unknown_key_names_line_and_nearest() {
        assert_eq!(
            refusal("superfat = \"5 %\"\nsuperfatt = \"5 %\"\n"),
            "bar.toml, line 2, `superfatt`: found an unknown key; expected one of superfat; did you mean `superfat`?"
        );
    }

    #[test]
    fn a_missing_key_is_named() {
        assert!(refusal("").starts_with(
            "bar.toml, line 1, `superfat`: found nothing; expected the key `superfat`"
        ));
    }
}
