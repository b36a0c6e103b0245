//! The facts of one batch in order, and what every part of a review asks of them.

use super::evidence::{Dated, Evidence};
use super::model::At;
use crate::bench::{Fact, Outcome, Setup};
use crate::chemistry::IngredientId;
use crate::plan::{ControlRecipe, Step};
use crate::quantity::Span;

pub struct Book<'a> {
    pub evidence: &'a Evidence<'a>,
    pub control: &'a ControlRecipe,
    pub started: &'a Dated,
    pub closed: Option<&'a Dated>,
    /// Every fact handed over, by number.
    all: Vec<&'a Dated>,
    /// From the start to the close, of this batch or of the bench.
    pub own: Vec<&'a Dated>,
}

impl<'a> Book<'a> {
    pub fn open(evidence: &'a Evidence<'a>) -> Option<Book<'a>> {
        let mut all: Vec<&Dated> = evidence.facts.iter().collect();
        all.sort_by_key(|dated| dated.numbered.number);
        let (started, control) = all.iter().find_map(|dated| match &dated.numbered.fact {
            Fact::BatchStarted { batch, control, .. } if batch == evidence.batch => {
                Some((*dated, control.as_ref()))
            }
            _ => None,
        })?;
        let closed = all.iter().copied().find(|dated| {
            matches!(&dated.numbered.fact,
                Fact::BatchClosed { batch, .. } if batch == evidence.batch)
        });
        let first = started.numbered.number;
        let last = closed.map_or(u64::MAX, |closed| closed.numbered.number);
        let own = all.iter().copied().filter(|dated| {
            let theirs = dated.numbered.fact.batch().is_some_and(|batch| batch != evidence.batch);
            (first..=last).contains(&dated.numbered.number) && !theirs
        });
        let own = own.collect();
        Some(Book { evidence, control, started, closed, all, own })
    }

    pub fn at(&self, dated: &Dated) -> At {
        self.at_utc(dated.utc_ns)
    }

    pub fn at_utc(&self, utc_ns: i64) -> At {
        At { utc_ns, after_start: between(self.started.utc_ns, utc_ns) }
    }

    /// Facts of the bench from before the start too: what was so then may still be so.
    pub fn with_before(&self) -> impl Iterator<Item = &'a Dated> + '_ {
        let before = self.all.iter().copied().take_while(|dated| self.is_before(dated));
        let bench = before.filter(|dated| dated.numbered.fact.batch().is_none());
        bench.chain(self.own.iter().copied())
    }

    /// All there is, of other batches too, in the order of the journal.
    pub fn all(&self) -> impl Iterator<Item = &'a Dated> + '_ {
        self.all.iter().copied()
    }

    /// By number: a civil clock that was set back must not hide what came later.
    pub fn is_before(&self, dated: &Dated) -> bool {
        dated.numbered.number < self.started.numbered.number
    }

    /// The end of what is known: the close, or the newest fact or temperature.
    pub fn end_utc_ns(&self) -> i64 {
        if let Some(closed) = self.closed {
            return closed.utc_ns;
        }
        let facts = self.own.iter().map(|dated| dated.utc_ns);
        let traces = self.evidence.temperatures.iter();
        let readings = traces.filter_map(|trace| trace.readings.last()).map(|(utc_ns, _)| *utc_ns);
        facts.chain(readings).max().unwrap_or(self.started.utc_ns)
    }

    /// The setup in force when the fact of this number was decided.
    pub fn setup_at(&self, number: u64) -> Option<&'a Setup> {
        let before = self.all.iter().take_while(|dated| dated.numbered.number <= number);
        let setups = before.filter_map(|dated| match &dated.numbered.fact {
            Fact::SessionOpened(session) => Some(&session.setup),
            _ => None,
        });
        setups.last()
    }

    pub fn operator(&self) -> Option<String> {
        match &self.started.numbered.fact {
            Fact::BatchStarted { operator, .. } => {
                operator.clone().filter(|name| !name.trim().is_empty())
            }
            _ => None,
        }
    }

    pub fn outcome(&self) -> Option<Outcome> {
        match &self.closed?.numbered.fact {
            Fact::BatchClosed { outcome, .. } => Some(*outcome),
            _ => None,
        }
    }

    pub fn note(&self) -> String {
        match self.closed.map(|closed| &closed.numbered.fact) {
            Some(Fact::BatchClosed { note, .. }) => note.clone(),
            _ => String::new(),
        }
    }

    /// The steps of the control recipe, then those that remedies put in between.
    pub fn steps(&self) -> impl Iterator<Item = &'a Step> + '_ {
        let added = self.own.iter().filter_map(|dated| match &dated.numbered.fact {
            Fact::RemedyChosen { steps, .. } => Some(steps),
            _ => None,
        });
        self.control.steps.iter().chain(added.flatten())
    }

    pub fn step(&self, key: &str) -> Option<&'a Step> {
        self.steps().find(|step| step.key == key)
    }

    pub fn title(&self, key: &str) -> String {
        self.step(key).map_or_else(|| key.to_owned(), |step| step.title.clone())
    }

    pub fn name(&self, ingredient: &IngredientId) -> String {
        let weigh = self.control.weighings().find(|weigh| &weigh.ingredient == ingredient);
        weigh.map_or_else(|| ingredient.to_string(), |weigh| weigh.name.clone())
    }

    /// Decided in the very act that closed the batch.
    pub fn is_of_close(&self, dated: &Dated) -> bool {
        self.closed.is_some_and(|closed| {
            closed.session == dated.session && closed.numbered.at == dated.numbered.at
        })
    }

    /// Time watched between two facts, each part on the clock of its own session, and in how many
    /// sessions.
    pub fn watched(&self, from: &Dated, to: &Dated) -> (Span, usize) {
        let numbers = from.numbered.number + 1..=to.numbered.number;
        let (mut since, mut seen) = (from.numbered.at, from.numbered.at);
        let (mut watched, mut sessions) = (Span::ZERO, 1);
        for dated in self.own.iter().filter(|dated| numbers.contains(&dated.numbered.number)) {
            let at = dated.numbered.at;
            if let Fact::SessionOpened(session) = &dated.numbered.fact {
                watched = watched + session.last_seen.unwrap_or(seen).since(since);
                sessions += 1;
                since = at;
            }
            seen = at;
        }
        (watched + seen.since(since), sessions)
    }
}

/// `None` when a civil clock that was set back makes it negative.
pub fn between(from_utc_ns: i64, to_utc_ns: i64) -> Option<Span> {
    let span = to_utc_ns.checked_sub(from_utc_ns)?;
    (span >= 0).then(|| Span::from_nanos(span))
}
