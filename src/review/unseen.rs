//! What nobody saw: instruments lost, time unwatched, time not recorded.

use std::collections::BTreeMap;

use super::book::{Book, between};
use super::evidence::Dated;
use super::model::{LostReview, Unseen, UnseenKind};
use crate::bench::{AlarmChange, AlarmId, Fact, SessionOpened};
use crate::quantity::Span;

pub fn lost(book: &Book) -> Vec<LostReview> {
    let mut losses = Losses { book, open: BTreeMap::new(), over: Vec::new() };
    for dated in book.with_before() {
        match &dated.numbered.fact {
            Fact::InstrumentLost { instrument, why } => {
                losses.begins(dated, instrument, why).port = true;
            }
            Fact::InstrumentBack { instrument } => {
                losses.ends(dated, |name, loss| loss.port &= name != instrument);
            }
            Fact::AlarmChanged {
                alarm: AlarmId::InstrumentLost { instrument },
                change,
                detail,
            } => match change {
                AlarmChange::Raised => losses.begins(dated, instrument, detail).silent = true,
                AlarmChange::Acknowledged => {}
                AlarmChange::ReturnedToNormal | AlarmChange::Reset => {
                    losses.ends(dated, |name, loss| loss.silent &= name != instrument);
                }
            },
            // ports are opened anew; whether they are heard is for the alarm to say
            Fact::SessionOpened(_) => losses.ends(dated, |_, loss| loss.port = false),
            _ => {}
        }
    }
    let Losses { open, mut over, .. } = losses;
    over.extend(open.into_values().map(|loss| loss.line));
    over.sort_by_key(|line| line.from.utc_ns);
    over
}

struct Losses<'a> {
    book: &'a Book<'a>,
    open: BTreeMap<String, Loss>,
    over: Vec<LostReview>,
}

/// A port that is gone and a silent channel overlap; the loss lasts while either does.
struct Loss {
    port: bool,
    silent: bool,
    line: LostReview,
}

impl Losses<'_> {
    fn begins(&mut self, dated: &Dated, instrument: &str, why: &str) -> &mut Loss {
        let from = self.book.at(dated);
        self.open.entry(instrument.to_owned()).or_insert_with(|| {
            let (instrument, why) = (instrument.to_owned(), why.to_owned());
            let line = LostReview { instrument, from, until: None, lasted: None, why };
            Loss { port: false, silent: false, line }
        })
    }

    fn ends(&mut self, dated: &Dated, change: impl Fn(&str, &mut Loss)) {
        for (name, loss) in &mut self.open {
            change(name, loss);
        }
        let over = self.open.extract_if(.., |_, loss| !loss.port && !loss.silent);
        for (_, Loss { mut line, .. }) in over {
            line.until = Some(self.book.at(dated));
            line.lasted = between(line.from.utc_ns, dated.utc_ns);
            // what was back before the batch began is none of its business
            if !self.book.is_before(dated) {
                self.over.push(line);
            }
        }
    }
}

pub fn unseen(book: &Book) -> Vec<Unseen> {
    let mut unseen = Vec::new();
    let mut journal: Option<Unseen> = None;
    for dated in book.with_before() {
        match &dated.numbered.fact {
            Fact::SessionOpened(session) if !book.is_before(dated) => {
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
                if book.is_before(dated) {
                    continue;
                }
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
