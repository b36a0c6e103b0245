//! Alarms as they came and went.

use super::book::{Book, between};
use super::evidence::Dated;
use super::model::{AlarmEnd, AlarmReview};
use crate::bench::{AlarmChange, AlarmId, Fact, ProbeAt};
use crate::quantity::Temperature;

/// How the bench records the end of an alarm whose step has gone on.
const NO_LONGER_WATCHED: &str = "no longer watched";

pub fn alarms(book: &Book) -> Vec<AlarmReview> {
    let mut alarms: Vec<AlarmReview> = Vec::new();
    for dated in book.with_before() {
        let Fact::AlarmChanged { alarm, change, detail } = &dated.numbered.fact else { continue };
        if *change == AlarmChange::Raised {
            alarms.push(raised(book, dated, alarm, detail));
            continue;
        }
        let newest = alarms.iter().rposition(|review| &review.alarm == alarm);
        let Some(index) = newest else { continue };
        change_of(book, &mut alarms[index], dated, *change, detail);
        if book.is_before(dated) && alarms[index].ended.is_some() {
            alarms.remove(index);
        }
    }
    for alarm in &mut alarms {
        alarm.peak = peak(book, alarm);
    }
    alarms
}

fn raised(book: &Book, dated: &Dated, alarm: &AlarmId, detail: &str) -> AlarmReview {
    AlarmReview {
        alarm: alarm.clone(),
        priority: alarm.priority(),
        raised: book.at(dated),
        detail: detail.to_owned(),
        end: AlarmEnd::StillRaised,
        ended: None,
        lasted: None,
        acknowledged_after: None,
        peak: None,
    }
}

fn change_of(
    book: &Book,
    review: &mut AlarmReview,
    dated: &Dated,
    change: AlarmChange,
    detail: &str,
) {
    let after = between(review.raised.utc_ns, dated.utc_ns);
    let end = match change {
        AlarmChange::Acknowledged if book.is_of_close(dated) => return,
        AlarmChange::Acknowledged => {
            review.acknowledged_after = review.acknowledged_after.or(after);
            return;
        }
        // closing a batch also resets what had returned long before
        _ if review.ended.is_some() => return,
        AlarmChange::Reset if book.is_of_close(dated) => AlarmEnd::BatchClosed,
        AlarmChange::Reset => AlarmEnd::Reset,
        AlarmChange::ReturnedToNormal if detail == NO_LONGER_WATCHED => AlarmEnd::NoLongerWatched,
        _ => AlarmEnd::ReturnedToNormal,
    };
    review.end = end;
    review.ended = Some(book.at(dated));
    review.lasted = after;
}

/// The furthest that any probe at the place went while the alarm was raised.
fn peak(book: &Book, alarm: &AlarmReview) -> Option<Temperature> {
    let (place, low) = match &alarm.alarm {
        AlarmId::TemperatureHigh { at, .. }
        | AlarmId::TemperatureHighHigh { at, .. }
        | AlarmId::HeatingFast { at, .. } => (*at, false),
        AlarmId::TemperatureLow { at, .. } => (*at, true),
        _ => return None,
    };
    let until = alarm.ended.map_or(book.end_utc_ns(), |ended| ended.utc_ns);
    let seen = readings_at(book, place)
        .filter(|(utc_ns, _)| (alarm.raised.utc_ns..=until).contains(utc_ns))
        .map(|(_, temperature)| temperature);
    if low { seen.min() } else { seen.max() }
}

fn readings_at<'a>(
    book: &'a Book,
    place: ProbeAt,
) -> impl Iterator<Item = (i64, Temperature)> + 'a {
    let traces = book.evidence.temperatures.iter().filter(move |trace| trace.at == place);
    traces.flat_map(|trace| trace.readings.iter().copied())
}
