use std::sync::Arc;

use super::modbus;
use super::sheet::{Sheet, Talk};
use crate::quantity::{Moment, Span};

/// When to ask an instrument, and what. Pure: the port task writes what comes out.
#[derive(Clone, Debug)]
pub struct Talker {
    queries: Vec<Vec<u8>>,
    every: Span,
    timeout: Span,
    next: usize,
    due: Option<Moment>,
    waiting_since: Option<Moment>,
}

impl Talker {
    /// `None` for an instrument that is not asked.
    pub fn new(sheet: &Arc<Sheet>) -> Option<Talker> {
        let Talk::Answers { queries, every, timeout } = &sheet.talk else { return None };
        let queries = if sheet.modbus.is_empty() {
            queries.clone()
        } else {
            sheet.modbus.iter().map(modbus::query).collect()
        };
        (!queries.is_empty()).then_some(Talker {
            queries,
            every: *every,
            timeout: *timeout,
            next: 0,
            due: None,
            waiting_since: None,
        })
    }

    /// The question to write now, if one is due: the next round has come, and the last answer is
    /// there or will not come.
    pub fn query(&mut self, now: Moment) -> Option<Vec<u8>> {
        if self.due.is_some_and(|due| now < due) {
            return None;
        }
        if self.waiting_since.is_some_and(|since| now.since(since) < self.timeout) {
            return None;
        }
        let query = self.queries.get(self.next).cloned()?;
        self.next = (self.next + 1) % self.queries.len();
        self.waiting_since = Some(now);
        let apart = self.every.nanos() / self.queries.len() as i64;
        self.due = Some(now + Span::from_nanos(apart));
        Some(query)
    }

    /// An answer came, whatever it said.
    pub fn answered(&mut self) {
        self.waiting_since = None;
    }

    /// When to look again.
    pub fn wakeup(&self, now: Moment) -> Moment {
        let due = self.due.unwrap_or(now);
        match self.waiting_since {
            Some(since) => due.max(since + self.timeout),
            None => due,
        }
    }
}
