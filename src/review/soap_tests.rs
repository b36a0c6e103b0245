//! The tests of the soap: method, preparation, result, limits, attempt; and those never passed.

use serde::{Deserialize, Serialize};

use super::book::Book;
use super::model::At;
use crate::bench::Fact;
use crate::plan::{CookTest, StepKind, TestMethod};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoapTestReview {
    pub at: At,
    /// The key of the recipe's test, or the name of one of its own.
    pub test: String,
    pub name: String,
    pub method: TestMethod,
    pub sample: String,
    /// The result, in words: "pH 9.8".
    pub value: String,
    /// What would have passed, in words; `None` where nothing limits it.
    pub limit: Option<String>,
    pub passed: Option<bool>,
    pub attempt: u32,
}

pub fn soap_tests(book: &Book) -> Vec<SoapTestReview> {
    let tests = book.own.iter().filter_map(|dated| match &dated.numbered.fact {
        Fact::Tested { test, name, method, sample, value, limit, passed, attempt, .. } => {
            Some(SoapTestReview {
                at: book.at(dated),
                test: test.clone(),
                name: name.clone(),
                method: *method,
                sample: sample.clone(),
                value: value.words(),
                limit: limit.as_ref().map(|limit| limit.words()),
                passed: *passed,
                attempt: *attempt,
            })
        }
        _ => None,
    });
    tests.collect()
}

/// Tests the recipe declares for a cook that is over, and that did not pass, in words.
pub fn not_passed(book: &Book, taken: &[SoapTestReview]) -> Vec<String> {
    let over = book.control.steps.iter().filter(|step| {
        book.own.iter().any(|dated| {
            matches!(&dated.numbered.fact, Fact::StepDone { step: key, .. } if key == &step.key)
        })
    });
    let declared = over.filter_map(|step| match &step.kind {
        StepKind::Cook(cook) => Some(&cook.tests),
        _ => None,
    });
    let words = |test: &CookTest| {
        let newest = taken.iter().rev().find(|taken| taken.test == test.key);
        let limit = test.limit.words();
        match newest {
            Some(newest) if newest.passed == Some(true) => None,
            Some(newest) => Some(format!(
                "{} did not pass: {} in attempt {}, {limit} passes",
                test.name, newest.value, newest.attempt
            )),
            None => Some(format!("{} was never tested; {limit} passes", test.name)),
        }
    };
    declared.flatten().filter_map(words).collect()
}
