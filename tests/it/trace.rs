//! The ten minutes behind a temperature, over a restart of the daemon: what the journal has is
//! shown again, and the time when nobody watched is a gap.

use std::sync::atomic::Ordering;

use panroom::bench::{TracePoint, View};
use panroom::quantity::{Span, Temperature};

use super::e2e::{Served, serving};

/// As fast as a pseudo-terminal goes: points are three seconds apart.
const SPEED: &str = "10";

fn trace(view: &View) -> &[TracePoint] {
    let pot = view.channels.iter().find(|channel| channel.channel.as_str() == "pot");
    pot.map_or(&[], |channel| &channel.trace)
}

#[test]
fn what_was_seen_before_a_restart_is_drawn_and_the_time_between_is_a_gap() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench) = serving(folder.path());
    let cold = Temperature::from_celsius(21);
    served.wait("some of the trace", |view| trace(view).len() >= 15);
    served.kill();
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    let again = Served::start_at(folder.path(), SPEED);
    let view = again.wait("the trace after the restart", |view| {
        trace(view).last().is_some_and(|last| last.temperature > Some(cold))
    });
    let points = trace(&view);
    let gap = points.iter().position(|point| point.temperature.is_none()).expect("a gap");
    // a block of readings a second is all that a kill may cost
    assert!(gap >= 2, "{points:#?}");
    assert!(points[..gap].iter().all(|point| point.temperature == Some(cold)), "{points:#?}");
    assert!(points.windows(2).all(|pair| pair[0].age >= pair[1].age), "oldest first: {points:#?}");
    let unseen = points[gap - 1].age - points[gap + 1].age;
    assert!(unseen > Span::from_millis(500), "{unseen}");
    again.kill();
}
