//! The byte tape of real batches, made over pseudo-terminals, played again.

use std::path::Path;
use std::process::Command;

use panroom::bench::{BatchId, Fact, Numbered};
use panroom::journal::Reader;
use panroom::replay::{Mark, Piece, Player, Recording, Verdict, compare};
use rusqlite::Connection;

use crate::e2e::{only_batch, succeed};

/// A batch of the demonstration: a scale that streams, a thermometer of three probes, and a probe
/// that must be asked.
fn made(folder: &Path, story: &str) -> BatchId {
    succeed(folder, &["demo", "--story", story, "--speed", "10"]);
    only_batch(folder)
}

fn recording(folder: &Path) -> Recording {
    Reader::open(&folder.join("journal.db")).unwrap().recording(1).unwrap()
}

fn judged(recording: Recording) -> Verdict {
    let (mut player, facts) = Player::new(recording).unwrap();
    compare(|| player.step(), &facts, None, |_| Ok::<(), ()>(())).unwrap()
}

fn refused(folder: &Path, args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_panroom"))
        .arg("--data")
        .arg(folder)
        .args(args)
        .output()
        .unwrap();
    assert!(!output.status.success());
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

#[test]
fn a_batch_with_an_over_pour_comes_out_again_and_tampering_is_noticed() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let batch = made(folder, "caustic-over");
    let facts: Vec<Numbered> = recording(folder).facts;
    let said = succeed(folder, &["replay", &batch.0]);
    let so_far = facts.iter().rposition(|fact| fact.fact.batch() == Some(&batch)).unwrap() + 1;
    assert_eq!(said, format!("session 1: {so_far} facts come out again, all the same\n"));
    let said = succeed(folder, &["replay", "--session", "1"]);
    assert_eq!(said, format!("session 1: {} facts come out again, all the same\n", facts.len()));

    another_digit_is_another_capture(folder, &facts);
    a_corrected_sheet_is_shown_beside(folder, &batch);

    // bytes of the file itself
    let file = Connection::open(folder.join("journal.db")).unwrap();
    let scale = "instrument = (SELECT id FROM channel WHERE name = 'scale') AND ordinal = 0";
    let mut body: Vec<u8> = file
        .query_row(&format!("SELECT body FROM strip WHERE {scale}"), [], |row| row.get(0))
        .unwrap();
    let middle = body.len() / 2;
    body[middle] ^= 1;
    file.execute(&format!("UPDATE strip SET body = ?1 WHERE {scale}"), [&body]).unwrap();
    let said = refused(folder, &["replay", &batch.0]);
    assert!(said.contains("its bytes are not those that were written"), "{said}");

    // a fact
    body[middle] ^= 1;
    file.execute(&format!("UPDATE strip SET body = ?1 WHERE {scale}"), [&body]).unwrap();
    let changed = "UPDATE fact SET body = replace(body, '\"spoon-out\"', '\"discard\"')
                   WHERE kind = 'remedy-chosen'";
    assert_eq!(file.execute(changed, []).unwrap(), 1);
    let said = refused(folder, &["replay", &batch.0]);
    assert!(said.contains("recorded") && said.contains("discard"), "{said}");
    assert!(said.contains("replayed") && said.contains("spoon-out"), "{said}");
}

/// One digit of the line that was captured from, changed as somebody would who knows the format.
fn another_digit_is_another_capture(folder: &Path, facts: &[Numbered]) {
    let captured =
        facts.iter().find(|fact| matches!(fact.fact, Fact::Captured { .. })).unwrap().clone();
    let mut changed = recording(folder);
    let scale = changed.tracks.iter_mut().find(|t| &*t.instrument.name == "scale").unwrap();
    let pieces = std::mem::replace(&mut scale.pieces, Box::new(std::iter::empty()));
    scale.pieces = Box::new(pieces.map(move |piece| {
        piece.map(|piece| if piece.at <= captured.at { heavier(piece) } else { piece })
    }));
    match judged(changed) {
        Verdict::Differs { recorded: Some(recorded), replayed: Some(replayed), .. } => {
            assert_eq!(recorded.number, replayed.number);
            assert_ne!(recorded.fact, replayed.fact);
        }
        other => panic!("it went unnoticed: {other:?}"),
    }
    assert!(matches!(judged(recording(folder)), Verdict::Same { .. }));
}

/// "ST,+00812.0  g" becomes "ST,+01812.0  g".
fn heavier(mut piece: Piece) -> Piece {
    if let Mark::Bytes(bytes) = &mut piece.mark
        && let Some(at) = bytes.windows(2).position(|pair| pair == b"+0")
        && let Some(digit) = bytes.get_mut(at + 2)
    {
        *digit = digit.saturating_add(1);
    }
    piece
}

/// The sheet took ounces for grams, say: a corrected one shows what the pan really carried.
fn a_corrected_sheet_is_shown_beside(folder: &Path, batch: &BatchId) {
    let shipped = concat!(env!("CARGO_MANIFEST_DIR"), "/devices/comma-status-line.toml");
    let text = std::fs::read_to_string(shipped).unwrap();
    let corrected = folder.join("corrected.toml");
    let corrected = corrected.to_str().unwrap();
    std::fs::write(corrected, &text).unwrap();
    let said = succeed(folder, &["replay", &batch.0, "--sheet", corrected]);
    assert!(said.contains("every reading is the same"), "{said}");

    let (rule, examples) = text.split_once("[[example]]").unwrap();
    let rule = rule.replace("g = \"g\"", "g = \"oz\"");
    let example = "[[example]]\nbytes = 'ST,+00123.45  g\\r\\n'\nreads = [\"123.45 oz stable\"]\n";
    assert!(!examples.is_empty());
    std::fs::write(corrected, rule + example).unwrap();
    let json = succeed(folder, &["replay", &batch.0, "--sheet", corrected, "--json"]);
    let all: serde_json::Value = serde_json::from_str(&json).unwrap();
    let captures = all[0]["captures"].as_array().unwrap();
    assert!(captures.len() >= 5, "{captures:?}");
    for captured in captures {
        let steps = |field: &str| captured[field].as_i64().unwrap() as f64;
        // 28.349523125 g to the avoirdupois ounce (international pound, 1959)
        let ratio = steps("would_be") / steps("was");
        assert!((ratio - 28.349_523_125).abs() < 1e-6, "{captured}");
    }
    assert_eq!(all[0]["was"], all[0]["would_be"], "the same lines are read");
    let said = succeed(folder, &["replay", &batch.0, "--sheet", corrected]);
    assert!(said.contains("readings differ; the first 20"), "{said}");
    assert!(said.contains(" oz, stable"), "{said}");
    let unknown = ["replay", &batch.0, "--sheet", corrected, "--instrument", "balance"];
    let why = refused(folder, &unknown);
    assert!(why.contains("it has scale (comma-status-line)"), "{why}");
}

/// Lost and plugged in again in mid-pour; and what is small stays small.
#[test]
fn a_batch_with_an_unplugged_scale_comes_out_again() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let batch = made(folder, "scale-unplugged");
    let said = succeed(folder, &["replay", &batch.0, "--json"]);
    let all: serde_json::Value = serde_json::from_str(&said).unwrap();
    assert!(all[0]["same"]["facts"].as_u64().unwrap() > 40, "{said}");
    let file = Connection::open(folder.join("journal.db")).unwrap();
    let sum = |sql: &str| -> f64 { file.query_row(sql, [], |row| row.get(0)).unwrap() };
    let taken = sum("SELECT cast(sum(length(body)) AS REAL) FROM strip WHERE instrument IS NULL");
    let readings = sum("SELECT cast(sum(count) AS REAL) FROM block");
    assert!(taken / readings < 8.0, "{} bytes a reading", taken / readings);
    what_has_lost_its_beginning_is_read_and_not_played(folder, &batch, &file);
}

/// As if one more strip had lain before the first of the scale, and been dropped.
fn what_has_lost_its_beginning_is_read_and_not_played(
    folder: &Path,
    batch: &BatchId,
    file: &Connection,
) {
    let scale = "instrument = (SELECT id FROM channel WHERE name = 'scale')";
    file.execute(&format!("UPDATE strip SET ordinal = ordinal + 1 WHERE {scale}"), []).unwrap();
    let kept: i64 = file
        .query_row(&format!("SELECT min(first_ns) FROM strip WHERE {scale}"), [], |row| row.get(0))
        .unwrap();
    let said = refused(folder, &["replay", &batch.0]);
    assert!(said.starts_with("session 1: of its tape nothing is kept from "), "{said}");
    assert!(said.contains("its facts cannot come out again"), "{said}");
    let json = refused(folder, &["replay", &batch.0, "--json"]);
    let all: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(all[0]["dropped"]["to"], kept, "{json}");
    assert!(all[0]["dropped"]["from"].as_i64().unwrap() <= kept, "{json}");
    // by a sheet what is left is read all the same
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/devices/comma-status-line.toml");
    let said = succeed(folder, &["replay", &batch.0, "--sheet", sheet]);
    assert!(said.starts_with("session 1: of its tape nothing is kept from "), "{said}");
    assert!(said.contains("what is left:\nsession 1\n"), "{said}");
    assert!(said.contains("every reading is the same"), "{said}");
    // nothing at all is left of it
    file.execute("DELETE FROM strip", []).unwrap();
    let json = refused(folder, &["replay", &batch.0, "--json"]);
    let all: serde_json::Value = serde_json::from_str(&json).unwrap();
    let last = recorded_last(folder);
    assert_eq!(all[0]["dropped"]["to"], last, "{json}");
}

fn recorded_last(folder: &Path) -> i64 {
    let reader = Reader::open(&folder.join("journal.db")).unwrap();
    reader.all_facts().unwrap().last().unwrap().numbered.at.nanos()
}

#[test]
fn what_cannot_be_replayed_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    assert!(refused(folder, &["replay", "2026-11-25-a"]).contains("nothing has been recorded"));
    let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/old-db/layout-1.db");
    std::fs::copy(kept, folder.join("journal.db")).unwrap();
    let why = refused(folder, &["replay", "2026-11-25-a"]);
    assert!(why.contains("session 1 cannot be replayed: an earlier panroom"), "{why}");
    assert!(refused(folder, &["replay", "1999-01-01-a"]).contains("no batch has the number"));
    assert!(refused(folder, &["replay", "--session", "7"]).contains("there is no such session"));
}
