use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::sse::{Event, Sse};
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::mpsc;
use tokio::time::MissedTickBehavior;
use tokio_stream::Stream;
use tokio_stream::wrappers::ReceiverStream;

use super::pulse::Pulse;
use super::router::Door;
use crate::bench::{Cue, View};

/// A screen hears at least this often, so that it can tell a quiet bench from a lost daemon.
const BEAT: Duration = Duration::from_millis(500);
/// No eye follows more pictures than this.
const VIEW_APART: Duration = Duration::from_millis(100);
/// Events waiting for one slow screen; beyond that it waits, and gets the newest view next.
const QUEUE: usize = 16;
/// A screen that takes nothing for this long is gone, whatever its connection says.
const GONE_AFTER: Duration = Duration::from_secs(10);

/// What a screen is sent, before it is drawn for that kind of screen.
pub enum Shown<'a> {
    First,
    View(&'a View),
    Cue(&'a Cue),
    Beat,
}

/// A stream of events.
pub type Events = Sse<Feed>;
pub type Feed = ReceiverStream<Result<Event, Infallible>>;

/// Server-sent events: `view` with the newest whole view, `cue` as cues come, `beat` as long as the
/// bench itself works.
pub async fn live(State(door): State<Door>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    stream(door, |shown| match shown {
        Shown::First => None,
        Shown::View(view) => Some(json("view", view)),
        Shown::Cue(cue) => Some(json("cue", cue)),
        Shown::Beat => Some(beat()),
    })
}

/// Begins a stream; `draw` makes an event of each thing to be shown, and is dropped with the stream.
pub fn stream(door: Door, draw: impl FnMut(Shown<'_>) -> Option<Event> + Send + 'static) -> Events {
    let (sender, receiver) = mpsc::channel(QUEUE);
    tokio::spawn(feed(door, sender, draw));
    Sse::new(ReceiverStream::new(receiver))
}

pub fn json(name: &str, value: &impl serde::Serialize) -> Event {
    let event = Event::default().event(name).json_data(value);
    event.unwrap_or_else(|error| Event::default().event("fault").data(error.to_string()))
}

pub fn beat() -> Event {
    Event::default().event("beat").data("")
}

async fn feed(
    door: Door,
    sender: mpsc::Sender<Result<Event, Infallible>>,
    mut draw: impl FnMut(Shown<'_>) -> Option<Event>,
) {
    let mut views = door.desk.views();
    let mut cues = door.desk.cues();
    let mut pulse = Pulse::new(door.desk.views());
    let mut beat = tokio::time::interval(BEAT);
    let mut pace = tokio::time::interval(VIEW_APART);
    pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut rested = false;
    views.mark_changed();
    let mut next = draw(Shown::First);
    loop {
        if let Some(event) = next.take() {
            let sent = tokio::time::timeout(GONE_AFTER, sender.send(Ok(event))).await;
            if !matches!(sent, Ok(Ok(()))) {
                return;
            }
        }
        next = tokio::select! {
            biased;
            cue = cues.recv() => match cue {
                Ok(cue) => draw(Shown::Cue(&cue)),
                // a screen too slow for cues still gets the view, which holds what matters
                Err(RecvError::Lagged(_)) => None,
                Err(RecvError::Closed) => return,
            },
            _ = beat.tick() => pulse.beats().then(|| draw(Shown::Beat)).flatten(),
            _ = pace.tick(), if !rested => {
                rested = true;
                None
            }
            changed = views.changed(), if rested => {
                if changed.is_err() {
                    return;
                }
                rested = false;
                let view = door.desk.view();
                draw(Shown::View(&view))
            }
        };
    }
}
