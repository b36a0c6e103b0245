use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::table::{describe, number_text};
use super::{Placed, Problem, Problems, Source, Table, nearest};
use crate::quantity::QuantityError;

/// Reads a maker's file key by key and keeps every problem, so that a file is mended once.
///
/// Keys are taken out of their table; what is left when the table is closed is unknown, and the
/// keys that were asked for are the known ones.
pub struct Form<'a> {
    source: Source<'a>,
    problems: Vec<Problem>,
}

/// No file a maker writes by hand comes near this; a larger one is not read at all.
const FILE_BYTES_MAX: usize = 256 * 1024;
/// A name or a sentence; longer ones do not fit on a sheet.
const TEXT_CHARS_MAX: usize = 400;
/// Rows of one kind in one file.
const ROWS_MAX: usize = 60;

impl<'a> Form<'a> {
    /// Fails at once where the text is no TOML: what follows a broken line cannot be trusted.
    pub fn open(source: Source<'a>) -> Result<(Form<'a>, Table<'a>), Problems> {
        if source.text.len() > FILE_BYTES_MAX {
            let found = format!("{} bytes", source.text.len());
            let expected = format!("at most {FILE_BYTES_MAX}");
            let advice = "this is hardly a file written by hand; is it the right one?";
            return Err(source.problem(None, "(whole file)", found, expected, advice).into());
        }
        let (document, errors) = DeTable::parse_recoverable(source.text);
        if !errors.is_empty() {
            return Err(Problems(errors.iter().map(|e| super::explain(source, e)).collect()));
        }
        let place = document.span();
        let form = Form { source, problems: Vec::new() };
        Ok((form, Table::new(String::new(), place, document.into_inner())))
    }

    /// Every problem found, in the order of the file.
    pub fn finish(self) -> Result<(), Problems> {
        let mut problems = self.problems;
        problems.sort_by_key(|problem| problem.line.unwrap_or(usize::MAX));
        problems.dedup();
        if problems.is_empty() { Ok(()) } else { Err(Problems(problems)) }
    }

    pub fn line(&self, place: &Range<usize>) -> usize {
        self.source.line_at(place.start)
    }

    pub fn refuse<T>(
        &mut self,
        at: &Placed<T>,
        found: impl Into<String>,
        expected: impl Into<String>,
        advice: impl Into<String>,
    ) {
        let (place, field) = (Some(at.place.clone()), at.field.clone());
        self.problems.push(self.source.problem(place, field, found, expected, advice));
    }

    /// Something is wrong with the file as a whole, or with what is not in it.
    pub fn refuse_whole(
        &mut self,
        field: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
        advice: impl Into<String>,
    ) {
        self.problems.push(self.source.problem(None, field, found, expected, advice));
    }

    /// Complains if `key` does not stand in `table` at all, not even misspelt: the unknown key is
    /// then told once, when the table is closed.
    pub fn need(&mut self, table: &Table<'_>, key: &'static str, expected: &str, advice: &str) {
        if table.has(key) || table.has_misspelt(key) {
            return;
        }
        if table.path.is_empty() {
            self.refuse_whole(key, "nothing", expected, advice);
        } else {
            self.refuse(&table.missing(key), "nothing", expected, advice);
        }
    }

    pub fn text(&mut self, table: &mut Table<'a>, key: &'static str) -> Option<Placed<String>> {
        let value = table.take(key)?;
        let Some(text) = value.value.as_str().map(|text| text.trim().to_owned()) else {
            let found = describe(&value.value);
            self.refuse(&value, found, "words in quotes", "put it in quotes, like \"…\"");
            return None;
        };
        let placed = value.with(text);
        if placed.value.is_empty() {
            self.refuse(&placed, "empty quotes", "words", "write them, or remove the line");
            return None;
        }
        let count = placed.value.chars().count();
        if count > TEXT_CHARS_MAX {
            let expected = format!("at most {TEXT_CHARS_MAX} characters");
            self.refuse(&placed, format!("{count} characters"), expected, "shorten it");
            return None;
        }
        Some(placed)
    }

    /// A quantity in quotes: "120 g". A bare number is refused for want of its unit.
    pub fn quantity<T>(
        &mut self,
        table: &mut Table<'a>,
        key: &'static str,
        parse: impl Fn(&str) -> Result<T, QuantityError>,
    ) -> Option<Placed<T>> {
        let value = table.take(key)?;
        let text = number_text(&value.value).or_else(|| value.value.as_str().map(str::to_owned));
        let Some(text) = text else {
            let found = describe(&value.value);
            self.refuse(&value, found, "a number with its unit, in quotes", "see the example");
            return None;
        };
        match parse(&text) {
            Ok(quantity) => Some(value.with(quantity)),
            Err(error) => {
                self.refuse_quantity(&value, &text, &error);
                None
            }
        }
    }

    pub fn refuse_quantity<T>(&mut self, at: &Placed<T>, text: &str, error: &QuantityError) {
        let text = text.trim();
        let (found, expected, advice) = match error {
            QuantityError::NoUnit { expected, .. } => {
                (format!("`{text}` without a unit"), expected, "write the unit behind the number")
            }
            QuantityError::UnknownUnit { found, expected } => {
                (format!("`{text}`, and `{found}` is no unit here"), expected, "correct the unit")
            }
            QuantityError::NotANumber { expected, .. } => (
                format!("`{text}`"),
                expected,
                "write it like that; a point for decimals, no comma",
            ),
            QuantityError::OutOfRange { expected, .. } => {
                (format!("`{text}`, which is out of range"), expected, "check the digits")
            }
        };
        self.refuse(at, found, *expected, advice);
    }

    /// One word out of a closed set; the nearest is suggested for any other.
    pub fn word<T: Clone>(
        &mut self,
        table: &mut Table<'a>,
        key: &'static str,
        words: &[(&str, T)],
    ) -> Option<Placed<T>> {
        let text = self.text(table, key)?;
        let asked = text.value.to_lowercase();
        if let Some((_, value)) = words.iter().find(|(word, _)| word.to_lowercase() == asked) {
            return Some(text.with(value.clone()));
        }
        let list: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let advice = match nearest(&text.value, list.iter().copied()) {
            Some(word) => format!("did you mean `{word}`?"),
            None => "use one of these words".to_owned(),
        };
        let expected = format!("one of {}", list.join(", "));
        self.refuse(&text, format!("`{}`", text.value), expected, advice);
        None
    }

    pub fn whole(
        &mut self,
        table: &mut Table<'a>,
        key: &'static str,
        range: Range<i64>,
    ) -> Option<Placed<i64>> {
        let value = table.take(key)?;
        let number = number_text(&value.value).and_then(|text| text.parse::<i64>().ok());
        match number.filter(|number| range.contains(number)) {
            Some(number) => Some(value.with(number)),
            None => {
                let expected = format!("a whole number from {} to {}", range.start, range.end - 1);
                let found = describe(&value.value);
                self.refuse(&value, found, expected, "correct it, without quotes");
                None
            }
        }
    }

    /// A number that has no unit of its own, or whose unit the key names.
    pub fn number(
        &mut self,
        table: &mut Table<'a>,
        key: &'static str,
        range: Range<f64>,
        unit: &str,
    ) -> Option<Placed<f64>> {
        let value = table.take(key)?;
        let number = number_text(&value.value).and_then(|text| text.parse::<f64>().ok());
        // not-a-number lies in no range
        match number.filter(|number| range.contains(number)) {
            Some(number) => Some(value.with(number)),
            None => {
                let expected = format!("a number from {} to {} {unit}", range.start, range.end);
                let found = describe(&value.value);
                self.refuse(&value, found, expected, "correct it, without quotes");
                None
            }
        }
    }

    pub fn texts(&mut self, table: &mut Table<'a>, key: &'static str) -> Vec<String> {
        let Some(value) = table.take(key) else { return Vec::new() };
        let items = value.value.as_array().map(|items| {
            items.iter().map(|item| item.get_ref().as_str().map(str::to_owned)).collect()
        });
        match items {
            Some(Some(texts)) => texts,
            _ => {
                let found = describe(&value.value);
                let expected = "a list of words in quotes, like [\"…\", \"…\"]";
                self.refuse(&value, found, expected, "put each in quotes, with commas between");
                Vec::new()
            }
        }
    }

    /// A single `[key]`.
    pub fn table(&mut self, table: &mut Table<'a>, key: &'static str) -> Option<Table<'a>> {
        let value = table.take(key)?;
        match value.value {
            DeValue::Table(inner) => Some(Table::new(value.field, value.place, inner)),
            ref other => {
                let (found, at) = (describe(other), value.with(()));
                let expected = format!("a part of its own, headed [{}]", at.field);
                self.refuse(&at, found, expected, "write the heading, and the keys below it");
                None
            }
        }
    }

    /// Every `[[key]]`, in the order of the file.
    pub fn tables(&mut self, table: &mut Table<'a>, key: &'static str) -> Vec<Table<'a>> {
        let Some(value) = table.take(key) else { return Vec::new() };
        let at = value.with(());
        let DeValue::Array(items) = value.value else {
            let found = describe(&value.value);
            let expected = format!("one heading [[{}]] for each", at.field);
            self.refuse(&at, found, expected, "write the heading with two brackets on each side");
            return Vec::new();
        };
        if items.len() > ROWS_MAX {
            let found = format!("{} of them", items.len());
            self.refuse(&at, found, format!("at most {ROWS_MAX}"), "split the file");
            return Vec::new();
        }
        let mut tables = Vec::new();
        for (index, item) in items.into_iter().enumerate() {
            let field = format!("{}[{}]", at.field, index + 1);
            let place = item.span();
            match item.into_inner() {
                DeValue::Table(inner) => tables.push(Table::new(field, place, inner)),
                other => {
                    let found = describe(&other);
                    let expected = format!("a part of its own, headed [[{}]]", at.field);
                    let at = Placed { value: (), place, field };
                    self.refuse(&at, found, expected, "write the heading and the keys below it");
                }
            }
        }
        tables
    }

    /// Every key still in the table is unknown.
    pub fn close(&mut self, table: Table<'a>) {
        for entry in &table.entries {
            let advice = match nearest(&entry.key, table.asked.iter().copied()) {
                Some(name) => format!("did you mean `{name}`?"),
                None => "remove it, or use one of the known keys".to_owned(),
            };
            let expected = format!("one of {}", table.asked.join(", "));
            let field = table.field(&entry.key);
            let at = Placed { value: (), place: entry.place.clone(), field };
            self.refuse(&at, "an unknown key", expected, advice);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Mass;
    use proptest::prelude::*;

    fn read(text: &str) -> String {
        let source = Source { file: "f.toml", text };
        let (mut form, mut table) = match Form::open(source) {
            Ok(opened) => opened,
            Err(problems) => return problems.to_string(),
        };
        form.text(&mut table, "name");
        form.need(&table, "name", "the name of it", "add it");
        form.quantity(&mut table, "mass", Mass::parse);
        form.word(&mut table, "way", &[("hot", 1), ("cold", 2)]);
        form.whole(&mut table, "baud", 300..115_201);
        for mut row in form.tables(&mut table, "row") {
            form.text(&mut row, "name");
            form.close(row);
        }
        form.close(table);
        form.finish().err().map(|problems| problems.to_string()).unwrap_or_default()
    }

    #[test]
    fn every_problem_is_kept_in_the_order_of_the_file() {
        let text = "mas = 1\nmass = 120\nway = \"hott\"\nbaud = 1\n[[row]]\nnam = \"x\"\n";
        let words = read(text);
        let lines: Vec<&str> = words.lines().collect();
        assert_eq!(
            lines,
            [
                "f.toml, line 1, `mas`: found an unknown key; expected one of name, mass, way, \
                 baud, row; did you mean `mass`?",
                "f.toml, line 2, `mass`: found `120` without a unit; expected a mass with its \
                 unit, like `120 g`, `4.5 oz` or `1 lb 4 oz`; write the unit behind the number",
                "f.toml, line 3, `way`: found `hott`; expected one of hot, cold; did you mean \
                 `hot`?",
                "f.toml, line 4, `baud`: found the bare number 1; expected a whole number from \
                 300 to 115200; correct it, without quotes",
                "f.toml, line 6, `row[1].nam`: found an unknown key; expected one of name; did \
                 you mean `name`?",
                "f.toml, `name`: found nothing; expected the name of it; add it",
            ]
        );
    }

    #[test]
    fn not_a_number_is_refused_as_a_mass() {
        assert!(read("name = \"x\"\nmass = nan\n").contains("found `nan`; expected a mass"));
        assert!(read("name = \"x\"\nmass = inf\n").contains("found `inf`; expected a mass"));
    }

    #[test]
    fn a_file_beyond_all_measure_is_not_read() {
        let text = "#".repeat(FILE_BYTES_MAX + 1);
        assert!(read(&text).starts_with("f.toml, `(whole file)`: found 262145 bytes"));
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,80}", key in "[a-z.\\[\\]\" =\n0-9]{0,60}") {
            let _ = (read(&text), read(&key));
        }
    }
}
