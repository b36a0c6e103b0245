//! Tests of the soap while it is made: method, preparation, value, limits, attempt.

use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::{Bench, Reply};
use super::progress::cooking;
use super::refusals;
use super::view::TestView;
use super::words;
use crate::plan::{Cook, CookTest, StepKind, TestLimit, TestMethod, TestValue};

/// A result longer than this is a story, not a result.
const TEXT_MAX: usize = 200;

/// What the operator tested, and how. For a test that the recipe declares, method and sample are
/// those of the recipe unless they were others.
pub struct Taken<'a> {
    pub name: &'a str,
    pub method: Option<TestMethod>,
    pub sample: Option<&'a str>,
    pub value: &'a TestValue,
}

pub fn record(bench: &mut Bench, id: &BatchId, taken: &Taken<'_>) -> Result<Reply, String> {
    let Some(batch) = bench.batch(id) else { return Err(refusals::no_such_batch(id)) };
    let declared = declared(batch, taken.name);
    let Some(method) = taken.method.or(declared.map(|test| test.method)) else {
        return Err(refusals::test_how(batch, taken.name));
    };
    let sample = taken.sample.or(declared.map(|test| test.sample.as_str())).unwrap_or("");
    let name = declared.map_or(taken.name, |test| test.name.as_str());
    if sample.trim().is_empty() && method != TestMethod::Zap {
        return Err(refusals::test_of_what());
    }
    let word = match taken.value {
        TestValue::Word(word) => word.as_str(),
        TestValue::Ph(_) => "",
    };
    if [name, sample, word].iter().any(|text| text.len() > TEXT_MAX) || name.trim().is_empty() {
        return Err(refusals::test_too_long(TEXT_MAX));
    }
    if method == TestMethod::Zap && batch.over_poured {
        return Err(refusals::no_zap_after_an_over_pour());
    }
    if method.gives_ph() != matches!(taken.value, TestValue::Ph(_)) {
        return Err(refusals::test_value(method));
    }
    // another method than the declared one does not pass the declared test
    let as_declared = declared.filter(|test| test.method == method);
    let passed = as_declared.and_then(|test| test.limit.passes(taken.value));
    let test = declared.map_or_else(|| name.to_owned(), |test| test.key.clone());
    let attempt = batch.tests.get(&test).map_or(1, |test| test.attempts + 1);
    let fact = Fact::Tested {
        batch: id.clone(),
        step: bench.step_key(id),
        test,
        name: name.to_owned(),
        method,
        sample: sample.to_owned(),
        value: taken.value.clone(),
        limit: as_declared.map(|test| test.limit.clone()),
        passed,
        attempt,
    };
    bench.emit(fact);
    Ok(Reply::Done)
}

/// What still has to be passed before the cook may end, in words.
pub fn missing(batch: &Batch) -> Vec<String> {
    let Some((cook, _)) = cooking(batch) else { return Vec::new() };
    let open = cook.tests.iter().filter(|test| !has_passed(batch, test));
    open.map(|test| words::test_missing(test, is_offered(batch, test), attempts(batch, test)))
        .collect()
}

pub fn views(batch: &Batch) -> Vec<TestView> {
    let Some((cook, _)) = cooking(batch) else { return Vec::new() };
    let view = |test: &CookTest| TestView {
        name: test.name.clone(),
        method: test.method,
        sample: test.sample.clone(),
        limit: test.limit.words(),
        passes: match &test.limit {
            TestLimit::Words(pass) => pass.clone(),
            TestLimit::Ph { .. } => Vec::new(),
        },
        attempts: attempts(batch, test),
        passed: batch.tests.get(&test.key).and_then(|test| test.passed),
        offered: is_offered(batch, test),
        note: test.method.note().map(str::to_owned),
    };
    cook.tests.iter().map(view).collect()
}

/// A tongue is not put on what may hold too much caustic.
fn is_offered(batch: &Batch, test: &CookTest) -> bool {
    test.method != TestMethod::Zap || !batch.over_poured
}

fn has_passed(batch: &Batch, test: &CookTest) -> bool {
    let newest = batch.tests.get(&test.key).and_then(|test| test.passed);
    is_offered(batch, test) && newest == Some(true)
}

fn attempts(batch: &Batch, test: &CookTest) -> u32 {
    batch.tests.get(&test.key).map_or(0, |test| test.attempts)
}

/// The test of the recipe's cook with this name or key, whichever step is under way.
fn declared<'a>(batch: &'a Batch, name: &str) -> Option<&'a CookTest> {
    let cooks = batch.control.steps.iter().filter_map(|step| match &step.kind {
        StepKind::Cook(cook) => Some(cook),
        _ => None,
    });
    let tests = cooks.flat_map(|cook: &Cook| &cook.tests);
    let named = |test: &&CookTest| test.key == name || test.name.eq_ignore_ascii_case(name.trim());
    tests.into_iter().find(named)
}
