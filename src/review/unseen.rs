//! What nobody saw: instruments lost, time unwatched, time not recorded.

use std::collections::BTreeMap;

use super::book::{Book, between};
use super::evidence::Dated;
use super::model::{LostReview, Unseen, UnseenKind};
use crate::bench::{AlarmChange, AlarmId, Fact, SessionOpened};
use crate::quantity::Span;

pub fn lost(book: &Book) -> Vec<LostReview> {
    let mut lost: Vec<LostReview> = Vec::new();
    // a port that is gone and a silent channel overlap; the loss lasts while either does
    let mut open: BTreeMap<&str, Loss> = BTreeMap::new();
    for dated in book.with_before() {
        let (instrument, begins, is_port, why) = match &dated.numbered.fact {
            Fact::InstrumentLost { instrument, why } => (instrument, true, true, why.as_str()),
            Fact::InstrumentBack { instrument } => (instrument, false, true, ""),
            Fact::AlarmChanged {
                alarm: AlarmId::InstrumentLost { instrument },
                change,
                detail,
            } => match change {
                AlarmChange::Raised => (instrument, true, false, detail.as_str()),
                AlarmChange::Acknowledged => continue,
                _ => (instrument, false, false, ""),
            },
            // ports are opened anew; whether they are heard is for the alarm to say
            Fact::SessionOpened(_) => {
                for loss in open.values_mut() {
                    loss.port = false;
                }
                close_ended(book, dated, &mut open, &mut lost);
                continue;
            }
            _ => continue,
        };
        let loss = open.entry(instrument).or_default();
        *if is_port { &mut loss.port } else { &mut loss.silent } = begins;
        if begins && loss.index.is_none() {
            loss.index = Some(lost.len());
            lost.push(LostReview {
                instrument: instrument.clone(),
                from: book.at(dated),
                until: None,
                lasted: None,
                why: why.to_owned(),
            });
        }
        close_ended(book, dated, &mut open, &mut lost);
    }
    let start = book.started.utc_ns;
    lost.retain(|loss| loss.until.is_none_or(|until| until.utc_ns >= start));
    lost
}

#[derive(Default)]
struct Loss {
    port: bool,
    silent: bool,
    /// Its line in the list, while it lasts.
    index: Option<usize>,
}

fn close_ended(
    book: &Book,
    dated: &Dated,
    open: &mut BTreeMap<&str, Loss>,
    lost: &mut [LostReview],
) {
    for loss in open.values_mut().filter(|loss| !loss.port && !loss.silent) {
        if let Some(line) = loss.index.take().and_then(|index| lost.get_mut(index)) {
            line.until = Some(book.at(dated));
            line.lasted = between(line.from.utc_ns, dated.utc_ns);
        }
    }
}

pub fn unseen(book: &Book) -> Vec<Unseen> {
    let mut unseen = Vec::new();
    let mut journal: Option<Unseen> = None;
    for dated in book.with_before() {
        match &dated.numbered.fact {
            Fact::SessionOpened(session)
                if dated.numbered.number > book.started.numbered.number =>
            {
                unseen.push(unwatched(book, dated, session));
            }
            Fact::JournalLost { why } => {
                journal.get_or_insert_with(|| Unseen {
                    kind: UnseenKind::NotRecorded,
                    from: Some(book.at(dated)),
                    until: None,
                    lasted: None,
                    why: why.clone(),
                });
            }
            Fact::JournalBack { away } => {
                let begun = journal.take();
                unseen.push(Unseen {
                    kind: UnseenKind::NotRecorded,
                    from: begun.as_ref().and_then(|begun| begun.from),
                    until: Some(book.at(dated)),
                    lasted: Some(*away),
                    why: begun.map(|begun| begun.why).unwrap_or_default(),
                });
            }
            _ => {}
        }
    }
    unseen.extend(journal);
    let (start, end) = (book.started.utc_ns, book.end_utc_ns());
    unseen.retain(|unseen| unseen.until.is_none_or(|until| until.utc_ns >= start));
    let gaps = book.evidence.gaps.iter();
    let gaps = gaps.filter(|gap| gap.to_utc_ns >= start && gap.from_utc_ns <= end);
    unseen.extend(gaps.map(|gap| Unseen {
        kind: UnseenKind::NotRecorded,
        from: Some(book.at_utc(gap.from_utc_ns)),
        until: Some(book.at_utc(gap.to_utc_ns)),
        lasted: between(gap.from_utc_ns, gap.to_utc_ns),
        why: gap.why.clone(),
    }));
    unseen.sort_by_key(|unseen| unseen.from.or(unseen.until).map(|at| at.utc_ns));
    unseen
}

fn unwatched(book: &Book, dated: &Dated, session: &SessionOpened) -> Unseen {
    let from = |span: Span| book.at_utc(dated.utc_ns.saturating_sub(span.nanos()));
    Unseen {
        kind: UnseenKind::Unwatched,
        from: session.unwatched.map(from),
        until: Some(book.at(dated)),
        lasted: session.unwatched,
        why: "panroom did not run".to_owned(),
    }
}
