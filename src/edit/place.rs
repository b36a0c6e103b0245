use std::collections::BTreeMap;

use toml_edit::{Document, Item, TableLike};

use super::Part;
use crate::problem::{Problem, Problems};

/// Problems by the field of the form beside which each is shown. Under the empty name stands what
/// is wrong with the file as a whole; under that of a part (`oil`, `oil[2]`) what is wrong with it.
///
/// `text` is the file that was refused: a problem that names only its line is traced to its row.
pub fn beside(part: &Part, text: &str, problems: &Problems) -> BTreeMap<String, Vec<String>> {
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for problem in &problems.0 {
        let field = field(part, &problem.field)
            .or_else(|| {
                let row = problem.line.and_then(|line| row_at(part, text, line))?;
                self::field(part, &format!("{row}.{}", problem.field)).or(Some(row))
            })
            .unwrap_or_default();
        let words = if field.is_empty() { whole(problem) } else { words_of(problem) };
        found.entry(field).or_default().push(words);
    }
    found
}

/// A problem without its place, which the form shows: "missing: a mass like `120 g`".
pub fn words_of(problem: &Problem) -> String {
    let mut words = match problem.found.as_str() {
        "nothing" => format!("missing: {}", problem.expected),
        found => format!("found {found}; expected {}", problem.expected),
    };
    // "add it" goes without saying beside an empty field
    let plain = problem.found == "nothing" && problem.advice.starts_with("add it");
    if !problem.advice.is_empty() && !plain {
        words.push_str("; ");
        words.push_str(&problem.advice);
    }
    words
}

fn whole(problem: &Problem) -> String {
    format!("{}: {}", problem.field, words_of(problem))
}

/// The field of the form for the name a problem gives: `oil[2].mass` is `oil[2].amount`.
fn field(part: &Part, name: &str) -> Option<String> {
    let Some((head, rest)) = name.split_once('.') else {
        if let Some(key) = part.field_for(name) {
            return Some(key.key.to_owned());
        }
        let bare = name.split('[').next()?;
        return part.part(bare).map(|_| name.to_owned());
    };
    let inner = part.part(head.split('[').next()?)?;
    field(inner, rest).map(|field| format!("{head}.{field}"))
}

/// The innermost row whose heading is the last at or before a line, counted from 1.
fn row_at(part: &Part, text: &str, line: usize) -> Option<String> {
    let document = Document::parse(text).ok()?;
    let mut starts = Vec::new();
    headings(part, document.as_table(), "", &mut starts);
    let line_of = |offset: usize| 1 + text[..offset].matches('\n').count();
    let before = starts.into_iter().filter(|(offset, _)| line_of(*offset) <= line);
    before.max_by_key(|(offset, _)| *offset).map(|(_, name)| name)
}

fn headings(part: &Part, table: &dyn TableLike, above: &str, starts: &mut Vec<(usize, String)>) {
    for inner in part.parts {
        let base = format!("{above}{}", inner.key);
        match table.get(inner.key) {
            Some(Item::ArrayOfTables(rows)) => {
                for (index, row) in rows.iter().enumerate() {
                    let name = format!("{base}[{}]", index + 1);
                    headings(inner, row, &format!("{name}."), starts);
                    starts.extend(row.span().map(|span| (span.start, name)));
                }
            }
            Some(Item::Table(row)) => {
                headings(inner, row, &format!("{base}."), starts);
                starts.extend(row.span().map(|span| (span.start, base)));
            }
            _ => {}
        }
    }
}
