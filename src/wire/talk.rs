use std::sync::Arc;

use super::modbus;
use super::sheet::{Sheet, Talk};
use crate::quantity::{Moment, Span};

/// From the opening of the port to the first question.
const SETTLE: Span = Span::from_millis(150);

/// What to write, and which question that is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// Counted as the sheet lists its queries, or its Modbus values.
    pub index: usize,
    pub bytes: Vec<u8>,
}

/// When to ask an instrument, and what. Pure: the port task writes what comes out.
#[derive(Clone, Debug)]
pub struct Talker {
    queries: Vec<Vec<u8>>,
    every: Span,
    /// Until then an answer may come; then it is not coming.
    patience: Span,
    next: usize,
    due: Option<Moment>,
    waiting_since: Option<Moment>,
    /// What it waits for is the answer to a command.
    told: bool,
}

impl Talker {
    /// `None` for an instrument that is not asked. The first question waits a little: what was
    /// under way when the port was opened must have passed.
    pub fn new(sheet: &Arc<Sheet>, opened: Moment) -> Option<Talker> {
        let Talk::Answers { queries, every, timeout } = &sheet.talk else { return None };
        let queries = if sheet.modbus.is_empty() {
            queries.clone()
        } else {
            sheet.modbus.iter().map(modbus::query).collect()
        };
        (!queries.is_empty()).then_some(Talker {
            queries,
            every: *every,
            patience: patience(sheet, *timeout),
            next: 0,
            due: Some(opened + SETTLE),
            waiting_since: None,
            told: false,
        })
    }

    /// The question to write now, if one is due: the next round has come, and the last answer is
    /// there or will not come.
    pub fn query(&mut self, now: Moment) -> Option<Question> {
        if self.due.is_some_and(|due| now < due) {
            return None;
        }
        if self.is_waiting(now) {
            return None;
        }
        let index = self.next;
        let bytes = self.queries.get(index).cloned()?;
        self.next = (self.next + 1) % self.queries.len();
        self.waiting_since = Some(now);
        self.told = false;
        let apart = self.every.nanos() / self.queries.len() as i64;
        self.due = Some(now + Span::from_nanos(apart));
        Some(Question { index, bytes })
    }

    /// An answer may still come: nothing else is written meanwhile.
    pub fn is_waiting(&self, now: Moment) -> bool {
        self.waiting_since.is_some_and(|since| now.since(since) < self.patience)
    }

    /// A command was written: it may be answered too, and that must not be taken for the answer to
    /// a question.
    pub fn told(&mut self, now: Moment) {
        self.waiting_since = Some(now);
        self.told = true;
    }

    /// A frame came that reads nothing: the heading of a ticket, or what answers a command.
    pub fn heard_nothing_of_use(&mut self) {
        if self.told {
            self.answered();
        }
    }

    /// An answer came, whatever it said.
    pub fn answered(&mut self) {
        self.waiting_since = None;
        self.told = false;
    }

    /// When to look again.
    pub fn wakeup(&self, now: Moment) -> Moment {
        let due = self.due.unwrap_or(now);
        match self.waiting_since {
            Some(since) => due.max(since + self.patience),
            None => due,
        }
    }
}

/// Where the answer does not say what it answers, a late one would be taken for that of the next
/// question, one probe's temperature for another's: the line is left alone for twice as long.
fn patience(sheet: &Sheet, timeout: Span) -> Span {
    let questions = sheet.talk.questions().max(sheet.modbus.len());
    if questions > 1 { timeout + timeout } else { timeout }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::SheetLibrary;

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    fn talker(sheet: &str) -> Talker {
        let library = SheetLibrary::built_in().unwrap();
        Talker::new(library.find(sheet).unwrap(), at(0)).unwrap()
    }

    #[test]
    fn one_question_at_a_time_and_the_next_when_its_round_comes() {
        let mut talker = talker("letter-answer");
        assert_eq!(talker.query(at(149)), None);
        assert_eq!(talker.query(at(150)).unwrap().bytes, b"W\r\n");
        assert_eq!(talker.query(at(400)), None, "it has not answered");
        talker.answered();
        assert!(talker.query(at(400)).is_some());
        assert_eq!(talker.wakeup(at(400)), at(1400));
        assert!(talker.query(at(1400)).is_some(), "an answer that is not coming is given up");
    }

    #[test]
    fn a_command_has_its_answer_before_the_next_question() {
        let mut talker = talker("letter-answer");
        assert!(talker.query(at(150)).is_some());
        assert!(talker.is_waiting(at(151)));
        talker.heard_nothing_of_use();
        assert!(talker.is_waiting(at(152)), "the answer to the question is still due");
        talker.answered();
        talker.told(at(200));
        assert_eq!(talker.query(at(400)), None, "the answer to the command is due");
        talker.heard_nothing_of_use();
        assert!(talker.query(at(400)).is_some());
        talker.answered();
        talker.told(at(500));
        assert_eq!(talker.query(at(1499)), None);
        assert!(talker.query(at(1500)).is_some(), "it does not answer commands");
    }

    #[test]
    fn several_values_are_asked_in_turn_and_a_late_answer_gets_its_time() {
        let mut talker = talker("modbus-probes");
        let asked = |talker: &mut Talker, ms| talker.query(at(ms)).map(|question| question.index);
        assert_eq!(asked(&mut talker, 150), Some(0));
        talker.answered();
        assert_eq!(asked(&mut talker, 2000), Some(1));
        // time-out 300 ms, and as long again
        assert_eq!(asked(&mut talker, 2500), None);
        assert_eq!(asked(&mut talker, 2600), Some(2));
    }
}
