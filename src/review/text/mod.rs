//! A review as lines of a terminal. Everything is in the review; nothing is worked out here.

mod course;
mod weighed;
pub mod words;

use super::model::{Grade, Review};
use super::table::{Side, Table};
use crate::bench::Outcome;

/// The whole review, no wider than `width` cells where words allow. `civil` says a time of UTC
/// nanoseconds as a person where the bench stands would.
pub fn text(review: &Review, width: usize, civil: &dyn Fn(i64) -> String) -> String {
    let told = told(review, civil);
    let mut lines = vec![super::table::plain(&told.title)];
    lines.extend(told.head.lines(width));
    for (heading, table) in &told.sections {
        lines.push(String::new());
        lines.push((*heading).to_owned());
        lines.extend(table.lines(width));
    }
    let mut text = lines.join("\n");
    text.push('\n');
    text
}

/// A review in words, section by section, for whatever shows it.
pub struct Told {
    pub title: String,
    /// Names and what they are: operator, start, end.
    pub head: Table,
    /// Headings with their tables, none of them empty.
    pub sections: Vec<(&'static str, Table)>,
}

/// The whole review in words. `civil` as for [`text`].
pub fn told(review: &Review, civil: &dyn Fn(i64) -> String) -> Told {
    let head = head(review, civil);
    let mut page = Page { sections: Vec::new() };
    findings(&mut page, review);
    weighed::weighed(&mut page, review);
    weighed::balance(&mut page, review);
    course::course(&mut page, review);
    seal(&mut page, review);
    Told {
        title: format!("{}, batch {}", review.recipe, review.batch),
        head,
        sections: page.sections,
    }
}

struct Page {
    sections: Vec<(&'static str, Table)>,
}

impl Page {
    /// A heading and a table under it, unless the table is empty.
    fn section(&mut self, heading: &'static str, table: &Table) {
        if !table.is_empty() {
            self.sections.push((heading, table.clone()));
        }
    }
}

/// Names and what they are.
fn pairs() -> Table {
    Table::new(&[("", Side::Left), ("", Side::Left)])
}

fn pair(table: &mut Table, name: &str, value: impl Into<String>) {
    table.row(vec![name.to_owned(), value.into()]);
}

fn head(review: &Review, civil: &dyn Fn(i64) -> String) -> Table {
    let mut table = pairs();
    let operator = review.operator.as_deref().unwrap_or("not recorded");
    pair(&mut table, "operator", operator);
    pair(&mut table, "started", civil(review.started.utc_ns));
    let outcome = review.outcome.map_or("still open", outcome_words);
    match review.ended {
        Some(ended) => {
            let after = ended.after_start.map_or_else(words::unknown, |after| after.to_string());
            let ended = civil(ended.utc_ns);
            pair(&mut table, "ended", format!("{ended}, {after} later: {outcome}"));
        }
        None => pair(&mut table, "ended", outcome),
    }
    if !review.note.trim().is_empty() {
        pair(&mut table, "note", review.note.trim());
    }
    table
}

fn findings(page: &mut Page, review: &Review) {
    let mut table = pairs();
    for finding in &review.findings {
        let mark = match finding.grade {
            Grade::Danger => "!!",
            Grade::Warning => "!",
            Grade::Note => "·",
        };
        pair(&mut table, mark, finding.words.as_str());
    }
    if table.is_empty() {
        pair(&mut table, "·", "nothing");
    }
    page.section("What stands out", &table);
}

fn seal(page: &mut Page, review: &Review) {
    let mut table = pairs();
    pair(&mut table, "head", review.head.clone().unwrap_or_else(words::unknown));
    let verified = match review.verified {
        Some(true) => "the stored record leads to this head",
        Some(false) => "the stored record does NOT lead to this head: it was changed",
        None => "not checked",
    };
    pair(&mut table, "chain", verified);
    page.section("Seal", &table);
}

pub const fn outcome_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Finished => "finished",
        Outcome::Failed => "failed",
        Outcome::Abandoned => "abandoned",
    }
}
