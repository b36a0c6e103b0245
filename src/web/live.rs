use std::convert::Infallible;
use std::pin::pin;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, Sse};
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::mpsc;
use tokio_stream::Stream;
use tokio_stream::wrappers::ReceiverStream;

use super::pulse::Pulse;
use super::router::Door;

/// A screen hears at least this often, so that it can tell a quiet bench from a lost daemon.
const BEAT: Duration = Duration::from_millis(500);
/// No eye follows more pictures than this.
const VIEW_APART: Duration = Duration::from_millis(100);
/// Events waiting for one slow screen; beyond that it waits, and gets the newest view next.
const QUEUE: usize = 16;

/// Server-sent events: `view` with the newest whole view, `cue` as cues come, `beat` as long as the
/// bench itself works.
pub async fn live(State(door): State<Door>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let (sender, receiver) = mpsc::channel(QUEUE);
    tokio::spawn(feed(door, sender));
    Sse::new(ReceiverStream::new(receiver))
}

async fn feed(door: Door, sender: mpsc::Sender<Result<Event, Infallible>>) {
    let mut views = door.desk.views();
    let mut cues = door.desk.cues();
    let mut pulse = Pulse::new(door.desk.views());
    let mut beat = tokio::time::interval(BEAT);
    let mut pace = tokio::time::interval(VIEW_APART);
    views.mark_changed();
    loop {
        let event = tokio::select! {
            biased;
            cue = cues.recv() => match cue {
                Ok(cue) => Event::default().event("cue").json_data(&cue),
                // a screen too slow for cues still gets the view, which holds what matters
                Err(RecvError::Lagged(_)) => continue,
                Err(RecvError::Closed) => return,
            },
            _ = beat.tick() => match pulse.beats() {
                true => Ok(Event::default().event("beat").data("")),
                false => continue,
            },
            changed = next_view(&mut views, &mut pace) => {
                if !changed {
                    return;
                }
                Event::default().event("view").json_data(door.desk.view().as_ref())
            }
        };
        let event =
            event.unwrap_or_else(|error| Event::default().event("fault").data(error.to_string()));
        if pin!(sender.send(Ok(event))).await.is_err() {
            return;
        }
    }
}

async fn next_view(
    views: &mut tokio::sync::watch::Receiver<std::sync::Arc<crate::bench::View>>,
    pace: &mut tokio::time::Interval,
) -> bool {
    pace.tick().await;
    views.changed().await.is_ok()
}
