use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::process::Command;
use tokio::sync::Semaphore;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use tokio::task::{JoinHandle, JoinSet};

use crate::bench::Cue;

/// A command that hangs must not pile up: it is ended after this.
const LONGEST: Duration = Duration::from_secs(10);
/// So many run beside each other: three pots may call at once, and one command may hang.
const AT_ONCE: usize = 4;
/// So many more wait for their turn; beyond that an alarm is not passed on, and is tried again when
/// it sounds again.
const WAITING: usize = 32;

/// Runs the bench file's command for each alarm that sounds, with the alarm as JSON on its
/// standard input. Several beside each other, never waited for by the bench.
pub fn start(command: Vec<String>, cues: Receiver<Cue>) -> Option<JoinHandle<()>> {
    (!command.is_empty()).then(|| tokio::spawn(listen(command.into(), cues)))
}

async fn listen(command: Arc<[String]>, mut cues: Receiver<Cue>) {
    // dropped with this task, and every command with it
    let mut running = JoinSet::new();
    let turns = Arc::new(Semaphore::new(AT_ONCE));
    loop {
        let cue = tokio::select! {
            cue = cues.recv() => cue,
            Some(_) = running.join_next() => continue,
        };
        match cue {
            Ok(cue @ Cue::Sound { .. }) => {
                if running.len() >= AT_ONCE + WAITING {
                    tracing::warn!("the command of [alarm] is behind; an alarm is not passed on");
                    continue;
                }
                let (command, turns) = (Arc::clone(&command), Arc::clone(&turns));
                running.spawn(async move {
                    // the semaphore is never closed
                    let _turn = turns.acquire().await;
                    run(&command, &cue).await;
                });
            }
            Ok(_) => {}
            // the alarm sounds again until somebody acknowledges it
            Err(RecvError::Lagged(missed)) => tracing::warn!("{missed} cues came too fast"),
            Err(RecvError::Closed) => break,
        }
    }
    while running.join_next().await.is_some() {}
}

async fn run(command: &[String], cue: &Cue) {
    match tokio::time::timeout(LONGEST, try_run(command, cue)).await {
        Ok(Ok(())) => {}
        Ok(Err(error)) => tracing::warn!("the command of [alarm], {command:?}, failed: {error}"),
        Err(_) => {
            tracing::warn!("the command of [alarm], {command:?}, took more than 10 s and was ended")
        }
    }
}

async fn try_run(command: &[String], cue: &Cue) -> std::io::Result<()> {
    let mut child = Command::new(&command[0])
        .args(&command[1..])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .kill_on_drop(true)
        .spawn()?;
    if let Some(mut input) = child.stdin.take() {
        let alarm = serde_json::to_vec(cue)?;
        // a command that does not listen is none the worse
        let _ = input.write_all(&alarm).await;
    }
    let status = child.wait().await?;
    if status.success() { Ok(()) } else { Err(std::io::Error::other(status.to_string())) }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use tokio::sync::broadcast;

    use super::*;
    use crate::bench::{AlarmId, Priority};

    fn alarm(number: usize) -> Cue {
        let instrument = format!("probe {number}");
        let alarm = AlarmId::InstrumentLost { instrument };
        Cue::Sound { alarm, priority: Priority::Medium, words: format!("number {number}") }
    }

    fn shell(script: &str, folder: &std::path::Path) -> Vec<String> {
        ["sh", "-c", script, "sh", &folder.display().to_string()].map(str::to_owned).into()
    }

    /// Each command waits until the others have begun too: one after the other would never end.
    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn four_commands_run_beside_each_other() {
        let folder = tempfile::tempdir().unwrap();
        let script = "mktemp \"$1/XXXXXX\"; until [ $(ls $1 | wc -l) -ge 4 ]; do :; done";
        let (cues, heard) = broadcast::channel(64);
        let hook = start(shell(script, folder.path()), heard).unwrap();
        let began = Instant::now();
        for number in 0..4 {
            cues.send(alarm(number)).unwrap();
        }
        drop(cues);
        hook.await.unwrap();
        assert!(began.elapsed() < LONGEST, "one waited for another");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 4);
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn more_than_four_take_turns_and_each_gets_its_alarm() {
        let folder = tempfile::tempdir().unwrap();
        let (cues, heard) = broadcast::channel(64);
        let hook = start(shell("cat > $(mktemp \"$1/XXXXXX\")", folder.path()), heard).unwrap();
        cues.send(Cue::Hush).unwrap();
        for number in 0..12 {
            cues.send(alarm(number)).unwrap();
        }
        drop(cues);
        hook.await.unwrap();
        let mut told: Vec<Cue> = std::fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| std::fs::read(entry.unwrap().path()).unwrap())
            .map(|bytes| serde_json::from_slice(&bytes).unwrap())
            .collect();
        let mut sent: Vec<Cue> = (0..12).map(alarm).collect();
        told.sort_by_key(|cue| format!("{cue:?}"));
        sent.sort_by_key(|cue| format!("{cue:?}"));
        assert_eq!(told, sent);
    }
}
