use std::collections::VecDeque;

use crate::quantity::{Mass, Moment, Span};

/// The newest loads of a pan, each with when it was read.
#[derive(Clone, Debug, Default)]
pub struct Recent {
    loads: VecDeque<(Moment, Mass)>,
}

/// However fast an instrument speaks, no more than these are kept.
const MOST: usize = 512;

impl Recent {
    /// Takes the next load, and forgets those older than `kept`.
    pub fn push(&mut self, at: Moment, load: Mass, kept: Span) {
        self.loads.push_back((at, load));
        while self.loads.len() > MOST
            || self.loads.front().is_some_and(|&(first, _)| at.since(first) > kept)
        {
            self.loads.pop_front();
        }
    }

    pub fn clear(&mut self) {
        self.loads.clear();
    }

    pub fn forget_before(&mut self, index: usize) {
        self.loads.drain(..index);
    }

    /// Oldest first.
    pub const fn loads(&self) -> &VecDeque<(Moment, Mass)> {
        &self.loads
    }
}
