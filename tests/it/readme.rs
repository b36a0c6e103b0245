//! Every command of the README is run, here or by the script that calls the tests.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use panroom::demo::SimPort;

use crate::instruments::until_it_ends;

const PATIENCE: Duration = Duration::from_secs(30);
/// Run by `.ci/run`, which calls these tests.
const BY_CI: &[&str] = &["cargo run --release -- demo", "tests/run"];
/// These need a batch at the right step: the batch by hand runs them.
const BY_HAND: &[&str] = &[
    "confirm",
    "choose",
    "vessel",
    "acknowledge",
    "close",
    "hold",
    "measured",
    "test",
    "remedy",
    "correct",
    "lot",
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn readme() -> String {
    fs::read_to_string(root().join("README.md")).unwrap()
}

/// The fenced blocks of one language, with the indent of a list taken off.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let mut blocks = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.trim() != format!("```{language}") {
            continue;
        }
        let indent = line.len() - line.trim_start().len();
        let block = lines.by_ref().take_while(|line| line.trim() != "```");
        let block: Vec<&str> = block.map(|line| line.get(indent..).unwrap_or("")).collect();
        blocks.push(block.join("\n"));
    }
    blocks
}

/// Commands of the fenced blocks, then those of the table.
fn commands() -> Vec<String> {
    let text = readme();
    let fenced = blocks(&text, "sh").join("\n");
    let table = text.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next());
    fenced.lines().chain(table).map(str::to_owned).collect()
}

struct Serving(Child);

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Runs a line as a shell would, with our own program first on the path.
fn shell(folder: &Path, line: &str) -> Command {
    let program = Path::new(env!("CARGO_BIN_EXE_panroom")).parent().unwrap();
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap());
    let mut command = Command::new("sh");
    command
        .args(["-c", line])
        .current_dir(folder)
        .env("PATH", path)
        .env("XDG_DATA_HOME", folder.join("data"));
    command
}

fn succeed(folder: &Path, line: &str) -> String {
    let output = shell(folder, line).output().unwrap();
    let out = String::from_utf8_lossy(&output.stdout).into_owned();
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{line}\n{out}{err}");
    out
}

fn until_it_answers(folder: &Path) {
    let began = Instant::now();
    while !shell(folder, "panroom watch --once").output().unwrap().status.success() {
        assert!(began.elapsed() < PATIENCE, "the daemon does not answer");
    }
}

#[test]
fn every_command_of_the_readme_runs() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    for block in blocks(&readme(), "toml") {
        let name = block.lines().next().unwrap().trim_start_matches("# ").to_owned();
        fs::write(folder.join(name), &block).unwrap();
    }
    let sheet = root().join("devices/comma-status-line.toml");
    fs::copy(sheet, folder.join("my-scale.toml")).unwrap();
    let by_hand = fs::read_to_string(root().join("tests/it/e2e.rs")).unwrap();
    let mut serving = None;
    for command in commands() {
        let words: Vec<&str> = command.split_whitespace().collect();
        match words.as_slice() {
            _ if BY_CI.contains(&command.as_str()) => {
                let ci = fs::read_to_string(root().join(".ci/run")).unwrap();
                assert!(ci.lines().any(|line| line.trim() == command), "CI does not run {command}");
            }
            ["cargo", "install", ..] => {
                assert_eq!(command, "cargo install --path .", "the build itself is the test");
            }
            ["panroom", "example", _, ">", file] => {
                let short = fs::read_to_string(folder.join(file)).unwrap();
                succeed(folder, &command);
                // the whole file is proved by the tests of its room; the batch uses the short one
                fs::write(folder.join(file), short).unwrap();
            }
            ["panroom", "serve", ..] => {
                let child = shell(folder, &format!("exec {command}"))
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .unwrap();
                serving = Some(Serving(child));
                until_it_answers(folder);
            }
            ["panroom", "listen" | "identify", ..] => {
                let port = "/dev/serial/by-id/my-scale";
                assert!(command.contains(port), "on which port is {command}?");
                let mut scale = SimPort::new(folder.join("port"));
                scale.plug().unwrap();
                let line = command.replace(port, scale.link().to_str().unwrap());
                let child = shell(folder, &format!("exec {line}"))
                    .stdout(Stdio::piped())
                    .stderr(Stdio::piped())
                    .spawn()
                    .unwrap();
                let output = until_it_ends(&scale, child, |_| b"ST,+00018.75 oz\r\n".to_vec());
                let words = String::from_utf8(output.stdout).unwrap();
                assert!(output.status.success(), "{command}\n{words}");
                let wanted = if command.contains("identify") {
                    "It speaks like `comma-status-line`"
                } else if command.contains("--sheet") {
                    "reads 18.75 oz stable"
                } else {
                    "53 54 2C 2B"
                };
                assert!(words.contains(wanted), "{command}\n{words}");
            }
            ["panroom", "watch"] => drop(succeed(folder, "panroom watch --once")),
            ["panroom", act, ..] if BY_HAND.contains(act) => {
                assert!(by_hand.contains(&format!("\"{act}\"")), "no test runs {command}");
            }
            // the README's scale has no such command
            ["panroom", "scale", "zero"] => {
                let tested = include_str!("zeroing.rs").contains("&[\"scale\", \"zero\"]");
                assert!(tested, "no test runs {command}");
            }
            ["panroom", "next"] => assert!(by_hand.contains("\"next\""), "no test runs {command}"),
            ["panroom", show @ ("review" | "replay"), _] => {
                let ledger = succeed(folder, "panroom ledger --json");
                let rows: serde_json::Value = serde_json::from_str(&ledger).unwrap();
                let batch = rows[0]["batch"].as_str().unwrap();
                succeed(folder, &format!("panroom {show} {batch}"));
            }
            ["panroom", ..] => drop(succeed(folder, &command)),
            _ => panic!("nobody runs `{command}`"),
        }
    }
    assert!(serving.is_some(), "the README starts no daemon");
}
