//! What probes said before this bench began, for their traces: the law starts with empty senses, and
//! a screen should not.

use std::collections::BTreeMap;
use std::path::Path;

use crate::bench::{ChannelSetup, Role, Setup, TracePoint, View, allowed_age};
use crate::clock::Clock;
use crate::journal::{JournalError, Reader};
use crate::quantity::{Moment, Span};
use crate::reading::Channel;
use crate::signal::{TRACE_REACH, TraceWindow};

/// The last ten minutes before a session, by the journal. Only shown; nothing is decided by it.
pub struct Past {
    traces: BTreeMap<Channel, TraceWindow>,
    /// Nobody watched from the last of it until then.
    until: Moment,
}

impl Past {
    /// # Errors
    /// When the journal cannot be read.
    pub fn read(journal: &Path, setup: &Setup, clock: &Clock) -> Result<Past, JournalError> {
        let reader = Reader::open(journal)?;
        let until = clock.now();
        let mut traces = BTreeMap::new();
        for channel in &setup.channels {
            if !matches!(channel.role, Role::Probe { .. }) {
                continue;
            }
            let trace = trace(&reader, channel, setup, until, clock.utc_ns())?;
            traces.insert(channel.channel.clone(), trace);
        }
        Ok(Past { traces, until })
    }

    pub fn nothing(clock: &Clock) -> Past {
        Past { traces: BTreeMap::new(), until: clock.now() }
    }

    /// Puts what was seen then before what has been seen since, with a gap between.
    pub fn fill(&self, view: &mut View, now: Moment) {
        if now.since(self.until) > TRACE_REACH {
            return;
        }
        for channel in &mut view.channels {
            let Some(trace) = self.traces.get(&channel.channel) else { continue };
            let points = trace.points(now);
            let mut whole: Vec<TracePoint> =
                points.map(|(age, temperature)| TracePoint { age, temperature }).collect();
            if whole.is_empty() {
                continue;
            }
            whole.push(TracePoint { age: now.since(self.until), temperature: None });
            whole.append(&mut channel.trace);
            channel.trace = whole;
        }
    }
}

fn trace(
    reader: &Reader,
    channel: &ChannelSetup,
    setup: &Setup,
    now: Moment,
    utc_ns: i64,
) -> Result<TraceWindow, JournalError> {
    let gap_after: Span = allowed_age(channel, &setup.settings, false);
    let mut trace = TraceWindow::default();
    for reading in reader.recent(&channel.channel, TRACE_REACH, now, utc_ns)? {
        let usable = reading.temperature().filter(|_| reading.status.is_trusted());
        trace.push(reading.at, usable, gap_after);
    }
    Ok(trace)
}
