//! What one batch came to.

use maud::{Markup, html};

use super::{charts, note, part};
use crate::bench::Outcome;
use crate::clock::civil;
use crate::review::{Charts, Grade, Review, Side, Table, told};
use crate::web::page::form::{Field, choice, text_area};
use crate::web::page::layout::{self, View, sentence};

/// Told from the findings themselves, with their weight.
const STANDS_OUT: &str = "What stands out";

pub fn view(review: &Review, drawn: &Charts, refused: Option<&str>) -> Markup {
    let told = told(review, &civil);
    let body = html! {
        div class="heading" {
            h1 { (told.title) }
            button type="button" data-print { "Print" }
        }
        @if let Some(words) = refused { (note("wrong", words)) }
        (table("", &told.head))
        h2 { (STANDS_OUT) }
        @for finding in &review.findings {
            @match finding.grade {
                Grade::Danger => div class="note wrong" { p { strong { "Danger: " } (finding.words) } },
                Grade::Warning => div class="note careful" { p { strong { "Mind: " } (finding.words) } },
                Grade::Note => p { (sentence(&finding.words)) },
            }
        }
        @if review.findings.is_empty() { p { "Nothing." } }
        (charts::temperatures(review, drawn))
        (charts::pours(review, drawn))
        @for (heading, section) in told.sections.iter().filter(|(heading, _)| *heading != STANDS_OUT) {
            h2 { (heading) }
            (table(heading, section))
        }
        @if review.outcome.is_none() { (closing(review)) }
    };
    layout::page(View::Ledger, &told.title, &["office.js"], &body)
}

fn table(heading: &str, table: &Table) -> Markup {
    let headed = table.heads().iter().any(|(head, _)| !head.is_empty());
    let side = |column: usize| {
        let right = table.heads().get(column).is_some_and(|(_, side)| *side == Side::Right);
        right.then_some("number")
    };
    let label = if heading.is_empty() { "The batch" } else { heading };
    html! {
        div class="wide" tabindex="0" role="region" aria-label=(label) { table {
            @if headed { thead { tr {
                @for (column, (head, _)) in table.heads().iter().enumerate() {
                    @if head.is_empty() { td class=[side(column)] {} }
                    @else { th scope="col" class=[side(column)] { (head) } }
                }
            } } }
            tbody { @for row in table.rows() { tr {
                @for (column, cell) in row.iter().enumerate() {
                    @if column == 0 && !cell.is_empty() { th scope="row" class=[side(column)] { (cell) } }
                    @else { td class=[side(column)] { (cell) } }
                }
            } } }
        } }
    }
}

fn closing(review: &Review) -> Markup {
    let options = [
        ("finished", "finished: it came out as it should"),
        ("failed", "failed"),
        ("abandoned", "abandoned before its end"),
    ];
    html! {
        section class="not-printed" {
            h2 { "Close this batch" }
            p { "Closed is not released: cure it, test it, and let it go only then." }
            form method="post" action={ "/ledger/" (part(&review.batch.0)) "/close" } {
                (choice(&Field { name: "outcome", label: "Outcome", value: outcome_value(review.outcome), ..Field::default() }, &options))
                (text_area(&Field { name: "note", label: "Notes", hint: Some("What you saw, and why."), ..Field::default() }, 4))
                button type="submit" class="main" { "Close it" }
            }
        }
    }
}

const fn outcome_value(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::Failed) => "failed",
        Some(Outcome::Abandoned) => "abandoned",
        Some(Outcome::Finished) | None => "finished",
    }
}
