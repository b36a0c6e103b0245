//! Tests of the soap that the cook waits for: what, how, what passes, and how it went so far.

use maud::{Markup, html};

use super::entry;
use super::picture::answer;
use crate::bench::{Act, AnswerView, BatchView, TestView};
use crate::plan::TestValue;

pub fn section(batch: &BatchView) -> Markup {
    let tests = batch.cook.as_ref().map_or(&[][..], |cook| &cook.tests);
    if tests.is_empty() {
        return html! {};
    }
    html! {
        section class="soap-tests" data-key="soap-tests"
            aria-label={ "Tests of the soap, " (batch.batch) } {
            h3 { "To be tested before the cook ends" }
            ul { @for test in tests { (one(test, batch)) } }
        }
    }
}

/// A mark and a word for how it stands; a colour only helps.
fn standing(test: &TestView) -> (&'static str, &'static str, String) {
    match (test.offered, test.passed) {
        (false, _) => ("barred", "⊘", "Not after too much caustic".to_owned()),
        (true, Some(true)) => ("passed", "✓", "Passed".to_owned()),
        (true, Some(false)) => ("failed", "✗", format!("Not passed, {}", tries(test.attempts))),
        (true, None) if test.attempts > 0 => {
            ("open", "?", format!("Says nothing of the limit, {}", tries(test.attempts)))
        }
        (true, None) => ("open", "○", "Not tested yet".to_owned()),
    }
}

fn tries(attempts: u32) -> String {
    if attempts == 1 { "1 try so far".to_owned() } else { format!("{attempts} tries so far") }
}

fn one(test: &TestView, batch: &BatchView) -> Markup {
    let (class, mark, words) = standing(test);
    html! {
        li class={ "soap-test " (class) } data-key=(test.name) {
            p class="test-name" {
                span class="mark" aria-hidden="true" { (mark) " " }
                strong { (test.name) } ": " (words) "."
            }
            p { "By " (test.method.words()) ". Sample: " (test.sample) ". Passes: "
                strong { (test.limit) } "." }
            @if let Some(note) = &test.note {
                p class="hazard-line" { span aria-hidden="true" { "⚠ " } (note) "." }
            }
            @if test.offered { details data-key="result" {
                summary { "Enter the result" }
                @if !test.passes.is_empty() {
                    div class="answers" { @for word in &test.passes { (said(test, word, batch)) } }
                }
                (entry::result(test, batch))
            } }
        }
    }
}

fn said(test: &TestView, word: &str, batch: &BatchView) -> Markup {
    let act = Act::Test {
        batch: batch.batch.clone(),
        test: test.name.clone(),
        method: None,
        sample: None,
        value: TestValue::Word(word.to_owned()),
    };
    answer(&AnswerView { words: format!("It is {word}"), act, hold: false }, false)
}
