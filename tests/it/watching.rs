//! Several pots from the command line, and what a watcher is told when the daemon hangs or dies.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use rustix::process::Signal;

use crate::e2e::{panroom, run, serving, succeed};

/// What `panroom watch` prints to a pipe, each line with its moment.
struct Watcher {
    child: Child,
    lines: Receiver<(Instant, String)>,
}

impl Watcher {
    fn start(folder: &Path) -> Watcher {
        let mut child = panroom(folder)
            .arg("watch")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let (sender, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                if sender.send((Instant::now(), line)).is_err() {
                    return;
                }
            }
        });
        Watcher { child, lines }
    }

    fn line_with(&self, words: &str) -> Instant {
        let began = Instant::now();
        while let Ok((at, line)) = self.lines.recv_timeout(Duration::from_secs(20)) {
            if line.contains(words) {
                return at;
            }
            assert!(began.elapsed() < Duration::from_secs(60), "`{words}` does not come");
        }
        panic!("`{words}` does not come");
    }
}

impl Drop for Watcher {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn refused(folder: &Path, args: &[&str]) -> String {
    let output = run(folder, args);
    assert!(!output.status.success(), "{args:?} was not refused");
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn a_watcher_is_told_when_the_daemon_hangs_and_when_it_is_gone() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (served, _bench) = serving(folder);
    let recipe = folder.join("plain-bar.toml");
    succeed(folder, &["start", recipe.to_str().unwrap()]);
    let mut watcher = Watcher::start(folder);
    watcher.line_with("Put the pot on the pan");
    served.signal(Signal::STOP);
    let hung = Instant::now();
    let told = watcher.line_with("NOT WATCHED: the daemon has not been heard for");
    assert!(told.duration_since(hung) < Duration::from_secs(2), "{:?}", told.duration_since(hung));
    served.signal(Signal::CONT);
    watcher.line_with("Put the pot on the pan");
    served.kill();
    let gone = Instant::now();
    let told = watcher.line_with("NOT WATCHED: the daemon is gone.");
    assert!(told.duration_since(gone) < Duration::from_secs(2), "{:?}", told.duration_since(gone));
    assert!(!watcher.child.wait().unwrap().success());
}

#[test]
fn every_act_names_its_batch() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (served, _bench) = serving(folder);
    let recipe = folder.join("plain-bar.toml");
    for _ in 0..2 {
        succeed(folder, &["start", recipe.to_str().unwrap()]);
    }
    for args in [
        &["abandon", "no time"][..],
        &["close", "failed"],
        &["next"],
        &["observe", "trace"],
        &["declare", "olive", "200 g"],
        &["probe-out"],
        &["probe", "pot"],
    ] {
        let words = refused(folder, args);
        assert!(
            words.contains("several batches are open; name one with --batch: pot A"),
            "{words}"
        );
    }
    assert!(
        refused(folder, &["confirm", "--batch", "b"]).contains("nothing of that kind is asked")
    );
    assert!(
        refused(folder, &["scale", "z"]).contains("no open batch is called z; open are: pot A")
    );
    assert_eq!(succeed(folder, &["scale", "b"]), "done\n");
    assert_eq!(succeed(folder, &["scale", "b"]), "already done\n");
    assert_eq!(succeed(folder, &["observe", "trace", "light", "--batch", "B"]), "done\n");
    let shown = succeed(folder, &["watch", "--once"]);
    assert!(shown.contains("Pot A: The scale is with pot B"), "{shown}");
    assert_eq!(succeed(folder, &["abandon", "no time", "--batch", "b"]), "done\n");
    assert_eq!(succeed(folder, &["observe", "trace", "light"]), "done\n");
    served.kill();
}
