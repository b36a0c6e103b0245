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

#[cfg(test)]
mod tests {
    use super::*;
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
