use std::process::Stdio;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::process::Command;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use tokio::task::JoinHandle;

use crate::bench::Cue;

/// A command that hangs must not pile up: it is ended after this.
const LONGEST: Duration = Duration::from_secs(10);

/// Runs the bench file's command for each alarm that sounds, with the alarm as JSON on its
/// standard input. One at a time, never waited for by the bench.
pub fn start(command: Vec<String>, cues: Receiver<Cue>) -> Option<JoinHandle<()>> {
    (!command.is_empty()).then(|| tokio::spawn(listen(command, cues)))
}

async fn listen(command: Vec<String>, mut cues: Receiver<Cue>) {
    loop {
        match cues.recv().await {
            Ok(cue @ Cue::Sound { .. }) => run(&command, &cue).await,
            Ok(_) => {}
            // the alarm sounds again until somebody acknowledges it
            Err(RecvError::Lagged(missed)) => tracing::warn!("{missed} cues came too fast"),
            Err(RecvError::Closed) => return,
        }
    }
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
