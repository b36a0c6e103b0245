//! The guide of the wire sheets: its worked case, and what goes wrong in it, by the real command.

use std::process::Command;
use std::sync::Arc;

use panroom::problem::Source;
use panroom::wire::{Sheet, check, lost_digit, unproved};

const GUIDE: &str = include_str!("../../devices/README.md");

/// The first block of a language.
fn block(language: &str) -> &'static str {
    let behind = GUIDE.split(&format!("```{language}\n")).nth(1).unwrap();
    behind.split("```").next().unwrap()
}

fn sheet(text: &str) -> Arc<Sheet> {
    Arc::new(Sheet::read(Source { file: "guide", text }).unwrap())
}

/// What `panroom sheet check` says of a sheet, and whether it holds.
fn told(text: &str) -> (String, bool) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("two-letter-header.toml");
    std::fs::write(&path, text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_panroom"));
    let output = command.args(["sheet", "check"]).arg(&path).output().unwrap();
    (String::from_utf8(output.stdout).unwrap(), output.status.success())
}

/// The worked case with one part written wrongly.
fn wrong(part: &str, instead: &str) -> String {
    let case = block("toml");
    assert!(case.contains(part), "the case has no `{part}` any more");
    let (words, holds) = told(&case.replacen(part, instead, 1));
    assert!(!holds, "{words}");
    words
}

#[test]
fn the_worked_case_proves_itself_and_refuses_a_lost_digit() {
    let sheet = sheet(block("toml"));
    let outcomes = check(&sheet);
    assert_eq!(outcomes.len(), 5);
    for outcome in outcomes {
        assert_eq!(outcome.fault, None, "{}", outcome.bytes);
    }
    assert_eq!(unproved(&sheet), Vec::<&str>::new());
    assert_eq!(lost_digit(&sheet), None);
    let (words, holds) = told(block("toml"));
    assert!(holds && words.ends_with("5 of 5 examples hold\n"), "{words}");
}

#[test]
fn the_fault_that_the_guide_shows_is_what_is_said() {
    let words = wrong("(?<status>SS|SD) (?<value>", "(?<status>SS|SD)(?<value>");
    assert!(words.starts_with(block("text")), "{words}");
}

#[test]
fn each_kind_of_fault_names_the_part_of_the_sheet() {
    let end = wrong("ends_with = '\\r\\n'", "ends_with = ';'");
    assert!(end.contains("found nothing; the frame does not end: `ends_with` is `;`"), "{end}");
    let unit = wrong("units = { g = \"g\", kg = \"kg\" }", "units = { kg = \"kg\" }");
    assert!(unit.contains("`g` is no unit the sheet knows; its `units` knows `kg`"), "{unit}");
    let status = wrong("SD = \"in-motion\"", "DS = \"in-motion\"");
    assert!(
        status.contains("`SD` is no status the sheet knows; its `status` knows `DS`, `SO`, `SS`")
    );
    let long = wrong("longest = 32", "longest = 12");
    assert!(long.contains("more bytes came without an end than a frame has; `longest` is 12"));
    let value = wrong("reads = [\"123.45 g stable\"]", "reads = [\"123.4 g stable\"]");
    assert!(value.contains("expected 123.4 g stable, found 123.45 g stable\n"), "{value}");
    assert_eq!(value.matches("FAULT").count(), 1, "one fault is told once: {value}");
}

/// 143.0 without its first digit is a believable 43.0.
#[test]
fn a_pattern_of_any_width_is_warned_of() {
    let case = block("toml").replacen("[ 0-9]{6}\\.[0-9]{2}", "[ 0-9]*\\.[0-9]+", 1);
    let (words, holds) = told(&case);
    assert!(holds, "{words}");
    assert!(
        words.contains("where a digit is lost, `SS +   23.45 g\\r\\n`, 23.45 g stable"),
        "{words}"
    );
}
