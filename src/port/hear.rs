use std::sync::Arc;

use tokio::sync::mpsc::unbounded_channel;

use super::counters::Counters;
use super::line::PortSettings;
use super::orders::Orders;
use super::task::{Event, run};
use crate::clock::Clock;
use crate::quantity::Span;
use crate::wire::{Decoder, Heard, Recording, Sheet, Talk};

/// Bytes enough for any judgement; a port that floods is heard no longer.
const BYTES_MAX: usize = 32 * 1024;
/// How often a recording is looked at to see whether it is enough.
const GLANCE: Span = Span::from_millis(250);

/// Opens a port as the sheet says, listens for at most `long`, and asks the sheet's questions if it
/// has some. What comes within `settle` is thrown away: after a change of speed an adapter
/// delivers what it took at the one before. Ends early once `enough` says so.
///
/// # Errors
/// Why the port cannot be opened, or was lost.
pub async fn hear(
    settings: PortSettings,
    sheet: &Arc<Sheet>,
    clock: &Clock,
    [settle, long]: [Span; 2],
    mut enough: impl FnMut(&Recording) -> bool,
) -> Result<Recording, String> {
    let (sender, mut events) = unbounded_channel();
    let tell = move |event| drop(sender.send(event));
    let decoder = Decoder::new(Arc::clone(sheet), Vec::new());
    let (counters, orders) = (Arc::new(Counters::default()), Arc::new(Orders::default()));
    let task = run(settings, decoder, clock.clone(), counters, orders, tell);
    tokio::pin!(task);
    let mut recording = Recording::default();
    if matches!(sheet.talk, Talk::Answers { .. }) {
        recording.asked_by = Some(sheet.name.clone());
    }
    let began = clock.now();
    recording.heard.push(Heard::Quiet { at: began });
    let (ends, mut look) = (began + long, began + GLANCE);
    loop {
        let now = clock.now();
        if now >= ends || recording.byte_count() > BYTES_MAX {
            break;
        }
        if now >= look {
            recording.heard.push(Heard::Quiet { at: now });
            if enough(&recording) {
                break;
            }
            look = now + GLANCE;
        }
        let event = tokio::select! {
            event = events.recv() => event,
            () = &mut task => None,
            () = tokio::time::sleep(clock.until(look.min(ends))) => continue,
        };
        let settled = |at| at >= began + settle;
        match event {
            None => return Err("its reader has ended".to_owned()),
            Some(Event::Lost { why }) => return Err(why),
            Some(Event::Bytes { at, bytes }) if settled(at) => {
                recording.heard.push(Heard::Bytes { at, bytes });
            }
            Some(Event::Damaged { at }) if settled(at) => {
                recording.heard.push(Heard::Damaged { at });
            }
            Some(Event::Asked { at, question, .. }) => {
                recording.heard.push(Heard::Asked { at, question });
            }
            Some(_) => {}
        }
    }
    recording.heard.push(Heard::Quiet { at: clock.now() });
    Ok(recording)
}
