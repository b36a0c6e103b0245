//! Rules of the house that a reader cannot be trusted to check: what each room must not know.

use std::fs;
use std::path::{Path, PathBuf};

/// Rooms without clock, file, port, thread, socket, database or runtime.
const PURE: &[&str] = &[
    "quantity",
    "reading.rs",
    "problem",
    "edit",
    "chemistry",
    "recipe",
    "bench_file",
    "plan",
    "wire",
    "signal",
    "bench",
    "sim",
    "review",
    "replay",
];
const IMPURE_WORDS: &[&str] = &[
    "std::time",
    "std::fs",
    "std::net",
    "std::thread",
    "std::process",
    "std::env",
    "Instant::now",
    "SystemTime",
    "tokio",
    "rusqlite",
    "serialport",
    "rustix",
    "axum",
    "hyper",
    "tracing::",
    "rand::rng",
];
/// Words that only the rooms named may use.
const KEPT_IN: &[(&str, &[&str])] = &[
    ("rusqlite", &["journal"]),
    ("serialport", &["port"]),
    ("tokio_serial", &["port"]),
    ("axum", &["web", "daemon"]),
    ("hyper", &["web"]),
    ("SystemTime", &["clock.rs"]),
    ("Instant::now", &["clock.rs"]),
    ("clock_gettime", &["clock.rs"]),
];
/// Layers above a room, which it must not know.
const NOT_FROM: &[(&str, &[&str])] = &[
    ("quantity", &["crate::reading", "crate::chemistry", "crate::bench", "crate::wire"]),
    ("reading.rs", &["crate::bench", "crate::wire", "crate::plan"]),
    ("chemistry", &["crate::bench", "crate::plan", "crate::recipe", "crate::wire"]),
    ("wire", &["crate::bench", "crate::plan", "crate::port", "crate::sim"]),
    ("replay", &["crate::journal", "crate::daemon", "crate::port"]),
    ("sim", &["crate::port", "crate::journal", "crate::daemon"]),
    ("bench", &["crate::wire", "crate::sim", "crate::journal", "crate::web", "crate::daemon"]),
];
const LEFT_OVER: &[&str] = &["todo!", "unimplemented!", "dbg!(", "FIXME", "TODO", "#[ignore"];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files_below(path: &Path, ending: &str) -> Vec<PathBuf> {
    if path.is_file() {
        return vec![path.to_owned()];
    }
    let mut files: Vec<PathBuf> = fs::read_dir(path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()))
        .flat_map(|entry| {
            let path = entry.unwrap().path();
            if path.is_dir() { files_below(&path, ending) } else { vec![path] }
        })
        .filter(|path| path.to_string_lossy().ends_with(ending))
        .collect();
    files.sort();
    files
}

/// Lines of code: comments and inline tests may say what code may not.
fn code_lines(path: &Path) -> Vec<(usize, String)> {
    let text = fs::read_to_string(path).unwrap();
    let code = text.split("#[cfg(test)]\nmod ").next().unwrap();
    code.lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line.split("//").next().unwrap().to_owned()))
        .collect()
}

fn offences(room: &str, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for path in files_below(&root().join("src").join(room), ".rs") {
        for (number, line) in code_lines(&path) {
            for word in words.iter().filter(|word| line.contains(*word)) {
                found.push(format!("{}:{number}: {word}", path.display()));
            }
        }
    }
    found
}

#[test]
fn pure_rooms_have_no_clock_file_port_thread_or_runtime() {
    let found: Vec<String> = PURE.iter().flat_map(|room| offences(room, IMPURE_WORDS)).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn words_stay_in_the_rooms_that_own_them() {
    let mut found = Vec::new();
    for path in files_below(&root().join("src"), ".rs") {
        let place = path.strip_prefix(root().join("src")).unwrap();
        let room = place.iter().next().unwrap().to_string_lossy().into_owned();
        for (word, rooms) in KEPT_IN.iter().filter(|(_, rooms)| !rooms.contains(&&*room)) {
            for (number, line) in code_lines(&path) {
                if line.contains(word) {
                    found.push(format!("{}:{number}: {word} (kept in {rooms:?})", place.display()));
                }
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn rooms_know_only_what_lies_below_them() {
    let found: Vec<String> =
        NOT_FROM.iter().flat_map(|(room, above)| offences(room, above)).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn nothing_is_left_over() {
    let mut found = Vec::new();
    for path in files_below(&root().join("src"), ".rs") {
        let text = fs::read_to_string(&path).unwrap();
        for (number, line) in text.lines().enumerate() {
            for mark in LEFT_OVER.iter().filter(|mark| line.contains(*mark)) {
                found.push(format!("{}:{}: {mark}", path.display(), number + 1));
            }
        }
    }
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn tests_never_sleep() {
    let sleep = ["thread::", "sleep"].concat();
    let nap = ["time::", "sleep"].concat();
    for path in files_below(&root().join("tests"), ".rs") {
        let text = fs::read_to_string(&path).unwrap();
        assert!(!text.contains(&sleep) && !text.contains(&nap), "{} sleeps", path.display());
    }
}

#[test]
fn every_room_is_on_the_map() {
    let map = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    for entry in fs::read_dir(root().join("src")).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        let room = name.trim_end_matches(".rs");
        if !["lib", "main"].contains(&room) {
            assert!(map.contains(&format!("`{room}`")), "DEVELOPERS.md has no line for `{room}`");
        }
    }
}
