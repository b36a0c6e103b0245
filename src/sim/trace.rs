//! What came out of a story, in the same text in which it is expected.

use super::story::{Expect, Shows};
use crate::bench::Numbered;
use crate::chemistry::IngredientId;
use crate::quantity::{Mass, Span};

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    pub entries: Vec<Entry>,
    /// What the journal would hold at the end, and what waits for it.
    pub facts: Vec<Numbered>,
    /// Checks that were not so, each with its line.
    pub failed: Vec<String>,
    /// For each capture in a story with a hand: what was taken, and what really was there.
    pub truths: Vec<Truth>,
    /// When the story ended.
    pub ended: Span,
    /// Inputs handed to the bench.
    pub inputs: u64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    pub ingredient: IngredientId,
    pub captured: Mass,
    pub really: Mass,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    pub at: Span,
    pub kind: EntryKind,
    pub text: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EntryKind {
    Fact,
    Cue,
    /// What the simulated world does, for people who read along; never compared.
    Note,
}

impl Trace {
    /// One line an entry: seconds after the start, then the short form.
    pub fn lines(&self, shows: Shows) -> Vec<String> {
        let shown = |kind: EntryKind| match kind {
            EntryKind::Fact => true,
            EntryKind::Cue => shows == Shows::FactsAndCues,
            EntryKind::Note => false,
        };
        let entries = self.entries.iter().filter(|entry| shown(entry.kind));
        entries.map(|entry| format!("{:8.2}  {}", entry.at.seconds(), entry.text)).collect()
    }

    pub fn seen(&self, begins: &str) -> bool {
        self.entries.iter().any(|entry| entry.text.starts_with(begins))
    }

    /// The first difference from what is expected, as a person would look for it.
    pub fn differs(&self, expect: &Expect) -> Option<String> {
        let plain = |line: &String| line.split_whitespace().collect::<Vec<_>>().join(" ");
        let came: Vec<String> = self.lines(expect.shows).iter().map(plain).collect();
        let wanted: Vec<String> = expect.lines.iter().map(plain).collect();
        let place = (0..came.len().max(wanted.len())).find(|&i| came.get(i) != wanted.get(i))?;
        let line = |lines: &[String]| lines.get(place).cloned().unwrap_or("nothing more".into());
        Some(format!(
            "line {}: expected {}; came {}",
            expect.number + 1 + place,
            line(&wanted),
            line(&came)
        ))
    }

    /// The text of the story with its expected lines written anew; everything else stays.
    pub fn blessed(&self, text: &str, expect: &Expect) -> String {
        let mut kept: String =
            text.lines().take(expect.number).map(|line| format!("{line}\n")).collect();
        for line in self.lines(expect.shows) {
            kept.push_str(&line);
            kept.push('\n');
        }
        kept
    }
}
