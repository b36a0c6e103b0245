//! `docs/bench-law.md` names, for each sentence of the law, the tests that hold its numbers; here the
//! list is held against the sources and the settings, so that it cannot rot.

use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

use panroom::bench::Settings;
use panroom::quantity::{Share, Span, TemperatureDelta};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn page() -> String {
    fs::read_to_string(root().join("docs/bench-law.md")).unwrap()
}

/// Everything between backticks of a line.
fn quoted(line: &str) -> impl Iterator<Item = &str> {
    line.split('`').skip(1).step_by(2)
}

/// `borders::the_spread_at_rest` lies in tests/it, `signal/jump::…` below src.
fn named_tests(text: &str) -> Vec<(String, String)> {
    let pairs = text.lines().flat_map(quoted).filter_map(|words| words.split_once("::"));
    pairs.map(|(file, test)| (file.to_owned(), test.to_owned())).collect()
}

fn sources_of(file: &str) -> String {
    let root = root();
    let places = if file.contains('/') {
        vec![root.join(format!("src/{file}.rs")), root.join(format!("src/{file}_tests.rs"))]
    } else {
        vec![root.join(format!("tests/it/{file}.rs"))]
    };
    places.iter().filter_map(|path| fs::read_to_string(path).ok()).collect()
}

/// A test of that name: marked as one, or inside `proptest!`.
fn is_test(source: &str, name: &str) -> bool {
    let needle = format!("fn {name}(");
    let Some(place) = source.find(&needle) else { return false };
    let before: Vec<&str> = source[..place].trim_end().lines().rev().take(4).collect();
    before.iter().any(|line| line.trim() == "#[test]")
}

#[test]
fn every_test_that_the_page_names_exists() {
    let tests = named_tests(&page());
    assert!(tests.len() > 60, "only {} tests are named", tests.len());
    let missing: Vec<String> = tests
        .iter()
        .filter(|(file, test)| !is_test(&sources_of(file), test))
        .map(|(file, test)| format!("{file}::{test}"))
        .collect();
    assert!(missing.is_empty(), "no such test: {missing:#?}");
}

#[test]
fn every_sentence_names_a_test() {
    let page = page();
    let law = page.split("## The figures").next().unwrap();
    let rows = law.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| law "));
    let mut count = 0;
    for row in rows {
        assert!(!named_tests(row).is_empty(), "no test holds this:\n{row}");
        count += 1;
    }
    assert!(count > 50, "{count} sentences");
}

/// Every setting once, with the value it has.
#[test]
fn the_figures_are_those_of_the_settings() {
    let page = page();
    let figures = page.split("## The figures").nth(1).expect("a table of figures");
    let settings = serde_json::to_value(Settings::default()).unwrap();
    let settings = settings.as_object().unwrap();
    let mut seen = BTreeSet::new();
    for row in figures.lines().filter(|line| line.starts_with("| `")) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let (name, shown) = (cells[1].trim_matches('`'), cells[2]);
        let value = settings.get(name).unwrap_or_else(|| panic!("no setting is called {name}"));
        let same = readings(shown).contains(value);
        assert!(same, "{name}: the page says {shown}, the settings {value}");
        assert!(cells[3].len() > 3, "{name} has no source:\n{row}");
        assert!(seen.insert(name.to_owned()), "{name} stands there twice");
    }
    let all: BTreeSet<String> = settings.keys().cloned().collect();
    assert_eq!(seen, all);
}

/// What a cell may mean: a time, a share, a difference, a count.
fn readings(shown: &str) -> Vec<serde_json::Value> {
    let mut values = Vec::new();
    values.extend(Span::parse(shown).ok().and_then(|span| serde_json::to_value(span).ok()));
    values.extend(Share::parse(shown).ok().and_then(|share| serde_json::to_value(share).ok()));
    let delta = TemperatureDelta::parse(shown).ok();
    values.extend(delta.and_then(|delta| serde_json::to_value(delta).ok()));
    let count = shown.split_whitespace().next().and_then(|word| word.parse::<i64>().ok());
    if shown.ends_with("mK/min") || shown.ends_with(" d") || shown.split_whitespace().count() == 1 {
        values.extend(count.map(serde_json::Value::from));
    }
    values
}

/// Where nothing but a name changes it: the list is of the law, not of a test run.
#[test]
fn a_missing_test_is_found() {
    assert!(is_test("#[test]\nfn it_is() {}", "it_is"));
    assert!(!is_test("fn it_is() {}", "it_is"));
    assert!(!is_test(&sources_of("borders"), "no_such_test"));
}
