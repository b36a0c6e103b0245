use super::table::{Side, Table};
use super::text::outcome_words;
use crate::journal::BatchRow;

/// Wide enough that no line of the ledger breaks: one batch, one line.
const WIDTH: usize = usize::MAX;

/// The list of batches, one to a line. `civil` says a time of UTC nanoseconds as a person where
/// the bench stands would.
pub fn ledger_text(rows: &[BatchRow], civil: &dyn Fn(i64) -> String) -> String {
    let mut table = Table::new(&[
        ("batch", Side::Left),
        ("recipe", Side::Left),
        ("started", Side::Left),
        ("outcome", Side::Left),
        ("operator", Side::Left),
    ]);
    for row in rows {
        let named = row.operator.as_deref().map(str::trim).filter(|name| !name.is_empty());
        table.row(vec![
            row.batch.to_string(),
            row.recipe.clone(),
            civil(row.started_utc_ns),
            row.outcome.map_or("open", outcome_words).to_owned(),
            named.unwrap_or("not recorded").to_owned(),
        ]);
    }
    table.lines(WIDTH).iter().map(|line| format!("{}\n", line.trim())).collect()
}

/// The batches that every word of `asked` speaks of: number, recipe, operator, day, outcome, an
/// ingredient, a lot, a word of the note. Newest first. `civil` as for [`ledger_text`].
pub fn found<'a>(
    rows: &'a [BatchRow],
    asked: &str,
    civil: &dyn Fn(i64) -> String,
) -> Vec<&'a BatchRow> {
    let asked = asked.to_lowercase();
    let words: Vec<&str> = asked.split_whitespace().collect();
    let speaks_of = |row: &&BatchRow| {
        let mut said = vec![
            row.batch.to_string(),
            row.recipe.clone(),
            civil(row.started_utc_ns),
            row.outcome.map_or("open", outcome_words).to_owned(),
            row.operator.clone().unwrap_or_default(),
            row.note.clone(),
        ];
        for ingredient in &row.ingredients {
            said.push(ingredient.name.clone());
            said.extend(ingredient.lot.clone());
        }
        let said = said.join("\n").to_lowercase();
        words.iter().all(|word| said.contains(word))
    };
    let mut rows: Vec<&BatchRow> = rows.iter().filter(speaks_of).collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.started_utc_ns));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::IngredientRow;

    #[test]
    fn every_word_must_be_spoken_of() {
        let row =
            |batch: &str, recipe: &str, started_utc_ns, outcome, oil: &str, lot: &str| BatchRow {
                batch: BatchId(batch.to_owned()),
                recipe: recipe.to_owned(),
                started_utc_ns,
                ended_utc_ns: None,
                outcome,
                operator: None,
                head: String::new(),
                ingredients: vec![IngredientRow {
                    name: oil.to_owned(),
                    lot: Some(lot.to_owned()),
                }],
                note: String::new(),
            };
        let rows = [
            row("2026-11-25-a", "Plain Bar", 1, Some(Outcome::Finished), "olive oil", "OL-22"),
            row("2026-11-25-b", "Plain Bar", 2, Some(Outcome::Failed), "olive oil", "OL-23"),
            row("2026-11-26-a", "Harbour Bar", 3, None, "lard", "L 1"),
        ];
        let found = |asked: &str| -> Vec<String> {
            let civil = |utc_ns: i64| format!("day {utc_ns}");
            super::found(&rows, asked, &civil).iter().map(|row| row.batch.to_string()).collect()
        };
        assert_eq!(found(" "), ["2026-11-26-a", "2026-11-25-b", "2026-11-25-a"]);
        assert_eq!(found("OLIVE failed"), ["2026-11-25-b"]);
        assert_eq!(found("ol-22"), ["2026-11-25-a"]);
        assert_eq!(found("plain 2026-11-25"), ["2026-11-25-b", "2026-11-25-a"]);
        assert_eq!(found("open"), ["2026-11-26-a"]);
        assert_eq!(found("day"), ["2026-11-26-a", "2026-11-25-b", "2026-11-25-a"]);
        assert!(found("olive lard").is_empty());
    }
    use crate::bench::{BatchId, Outcome};

    #[test]
    fn one_batch_one_line() {
        let row = |batch: &str, outcome, operator: Option<&str>| BatchRow {
            batch: BatchId(batch.to_owned()),
            recipe: "hard bar".to_owned(),
            started_utc_ns: 5,
            ended_utc_ns: None,
            outcome,
            operator: operator.map(str::to_owned),
            head: String::new(),
            ingredients: Vec::new(),
            note: String::new(),
        };
        let rows = [
            row("2026-11-25-a", Some(Outcome::Finished), Some("the operator")),
            row("2026-11-25-b", None, Some(" ")),
        ];
        let text = ledger_text(&rows, &|utc_ns| format!("day {utc_ns}"));
        let expected = "batch         recipe    started  outcome   operator\n\
                        2026-11-25-a  hard bar  day 5    finished  the operator\n\
                        2026-11-25-b  hard bar  day 5    open      not recorded\n";
        assert_eq!(text, expected);
    }
}
