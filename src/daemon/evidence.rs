use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::Path;

use crate::bench::{BatchId, Fact, Outcome, ProbeAt, Role};
use crate::journal::{FactRow, JournalError, Reader, Verified};
use crate::plan::{Earlier, Ledger};
use crate::quantity::Moment;
use crate::reading::Channel;
use crate::recipe::Recipe;
use crate::review::{self, Charts, Dated, Evidence, Gap, PanTrace, Review, Trace};

/// Gathers what the journal holds of a batch and has it reviewed. `None` if there is no such batch.
///
/// # Errors
/// When the journal cannot be read.
pub fn review_of(journal: &Reader, batch: &BatchId) -> anyhow::Result<Option<Review>> {
    let facts = journal.facts(batch)?;
    let evidence = evidence(journal, batch, facts)?;
    Ok(evidence.and_then(|evidence| review::review(&evidence)))
}

/// Asks the journal of this path about the batches whose soap goes into this recipe.
pub fn ledger(path: &Path, recipe: &Recipe) -> Ledger {
    let bases = recipe.additions.iter().filter_map(|addition| addition.base.as_ref());
    let mut bases = bases.map(|base| base.batch.clone()).peekable();
    if bases.peek().is_some() && !path.exists() {
        return Ledger::NotAsked { why: format!("there is no journal in {}", path.display()) };
    }
    match earlier(path, bases) {
        Ok(known) => Ledger::Asked(known),
        Err(error) => Ledger::NotAsked { why: format!("{error:#}") },
    }
}

fn earlier(
    path: &Path,
    batches: impl Iterator<Item = String>,
) -> anyhow::Result<BTreeMap<String, Earlier>> {
    let mut known = BTreeMap::new();
    for batch in batches {
        let journal = Reader::open(path)?;
        if let Some(review) = review_of(&journal, &BatchId(batch.clone()))? {
            let earlier = Earlier {
                closed: review.outcome.is_some(),
                abandoned: review.outcome == Some(Outcome::Abandoned),
                failed: review.outcome == Some(Outcome::Failed),
                over_guard: review.went_over_guard(),
                superfat: review.balance.superfat,
            };
            known.insert(batch, earlier);
        }
    }
    Ok(known)
}

/// A review with its charts.
///
/// # Errors
/// When the journal cannot be read.
pub fn charted(journal: &Reader, batch: &BatchId) -> anyhow::Result<Option<(Review, Charts)>> {
    let facts = journal.facts(batch)?;
    let pans = pans(journal, &facts, batch)?;
    let evidence = evidence(journal, batch, facts)?;
    Ok(evidence
        .and_then(|evidence| review::review(&evidence).zip(review::charts(&evidence, &pans))))
}

/// `None` if there is no such batch.
fn evidence<'a>(
    journal: &Reader,
    batch: &'a BatchId,
    facts: Vec<FactRow>,
) -> anyhow::Result<Option<Evidence<'a>>> {
    let Some(head) = journal.head(batch)? else { return Ok(None) };
    let verified = matches!(journal.verify(batch)?, Verified::Unbroken { .. });
    Ok(Some(Evidence {
        batch,
        temperatures: temperatures(journal, &facts, batch)?,
        gaps: gaps(journal)?,
        facts: dated(journal, facts)?,
        head: Some(head.to_string()),
        verified: Some(verified),
    }))
}

/// What the pan read in each weighing, from its first tare to its end, while the scale was with
/// this batch.
fn pans(
    journal: &Reader,
    facts: &[FactRow],
    batch: &BatchId,
) -> Result<Vec<PanTrace>, JournalError> {
    let mut pans: Vec<PanTrace> = Vec::new();
    let mut scale: Option<Channel> = None;
    for (index, row) in facts.iter().enumerate() {
        match &row.numbered.fact {
            Fact::SessionOpened(opened) => {
                scale = opened.setup.scale().map(|(setup, _)| setup.channel.clone());
            }
            Fact::Tared { batch: of, step, .. }
                if of == batch && pans.iter().all(|pan| &pan.step != step) =>
            {
                let Some(scale) = &scale else { continue };
                let mut readings = Vec::new();
                for (session, from, to) in stretches(&facts[index..], batch, step) {
                    let leases = leases_of(facts, batch, scale, session);
                    for reading in journal.readings(scale, session, from, to)? {
                        let ours = leases.iter().any(|lease| lease.contains(&reading.at));
                        if let Some(mass) =
                            reading.mass().filter(|_| ours && reading.status.is_trusted())
                        {
                            readings.push((journal.utc_of(session, reading.at)?, mass));
                        }
                    }
                }
                pans.push(PanTrace { step: step.clone(), readings });
            }
            _ => {}
        }
    }
    Ok(pans)
}

/// From the first of these facts to the end of its step, session by session.
fn stretches(facts: &[FactRow], batch: &BatchId, step: &str) -> Vec<(u32, Moment, Moment)> {
    let Some(first) = facts.first() else { return Vec::new() };
    let (begin, end) = (Moment::from_nanos(0), Moment::from_nanos(i64::MAX));
    let mut stretches = Vec::new();
    let (mut session, mut from) = (first.session, first.numbered.at);
    for row in facts {
        if row.session != session {
            stretches.push((session, from, end));
            (session, from) = (row.session, begin);
        }
        let ends = match &row.numbered.fact {
            Fact::StepDone { batch: of, step: done } => of == batch && done == step,
            Fact::BatchClosed { batch: of, .. } => of == batch,
            _ => false,
        };
        if ends {
            stretches.push((session, from, row.numbered.at));
            return stretches;
        }
    }
    stretches.push((session, from, end));
    stretches
}

fn dated(journal: &Reader, facts: Vec<FactRow>) -> Result<Vec<Dated>, JournalError> {
    let date = |row: FactRow| {
        let utc_ns = journal.utc_of(row.session, row.numbered.at)?;
        Ok(Dated { utc_ns, session: row.session, numbered: row.numbered })
    };
    facts.into_iter().map(date).collect()
}

/// What each probe read while the batch was open, session by session.
fn temperatures(
    journal: &Reader,
    facts: &[FactRow],
    batch: &BatchId,
) -> Result<Vec<Trace>, JournalError> {
    let own = || facts.iter().filter(|row| row.numbered.fact.batch() == Some(batch));
    let (Some(first), Some(last)) = (own().next(), own().next_back()) else {
        return Ok(Vec::new());
    };
    let mut traces: BTreeMap<(Channel, ProbeAt), Vec<_>> = BTreeMap::new();
    for row in facts {
        let Fact::SessionOpened(opened) = &row.numbered.fact else { continue };
        let from =
            if row.session == first.session { first.numbered.at } else { Moment::from_nanos(0) };
        let to = if row.session == last.session && is_closed(last) {
            last.numbered.at
        } else {
            Moment::from_nanos(i64::MAX)
        };
        for setup in &opened.setup.channels {
            let Role::Probe { at, .. } = setup.role else { continue };
            let leases = leases_of(facts, batch, &setup.channel, row.session);
            let trace = traces.entry((setup.channel.clone(), at)).or_default();
            for reading in journal.readings(&setup.channel, row.session, from, to)? {
                // what a probe read in another pot is no temperature of this one
                let ours = at == ProbeAt::Room || leases.iter().any(|l| l.contains(&reading.at));
                if let Some(temperature) =
                    reading.temperature().filter(|_| ours && reading.status.is_trusted())
                {
                    trace.push((journal.utc_of(row.session, reading.at)?, temperature));
                }
            }
        }
    }
    let trace = |((channel, at), readings)| Trace { channel, at, readings };
    Ok(traces.into_iter().map(trace).collect())
}

/// When, on the clock of this session, the channel was with this batch.
fn leases_of(
    facts: &[FactRow],
    batch: &BatchId,
    channel: &Channel,
    session: u32,
) -> Vec<RangeInclusive<Moment>> {
    let (begin, end) = (Moment::from_nanos(i64::MIN), Moment::from_nanos(i64::MAX));
    let mut leases = Vec::new();
    let mut since = None;
    for row in facts.iter().filter(|row| row.session <= session) {
        let at = if row.session < session { begin } else { row.numbered.at };
        match &row.numbered.fact {
            Fact::LeaseTaken { batch: to, channel: of } if to == batch && of == channel => {
                since = Some(at);
            }
            Fact::LeaseReturned { batch: from, channel: of } if from == batch && of == channel => {
                leases.extend(since.take().map(|since| since..=at));
            }
            _ => {}
        }
    }
    leases.extend(since.map(|since| since..=end));
    leases
}

fn is_closed(row: &FactRow) -> bool {
    matches!(row.numbered.fact, Fact::BatchClosed { .. })
}

fn gaps(journal: &Reader) -> Result<Vec<Gap>, JournalError> {
    let gap = |gap: crate::journal::GapRow| {
        Ok(Gap {
            from_utc_ns: journal.utc_of(gap.session, gap.from)?,
            to_utc_ns: journal.utc_of(gap.session, gap.to)?,
            why: gap.why,
        })
    };
    journal.gaps()?.into_iter().map(gap).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Numbered;

    fn at(seconds: i64) -> Moment {
        Moment::from_nanos(seconds * 1_000_000_000)
    }

    fn row(session: u32, seconds: i64, taken: bool, batch: &str, channel: &str) -> FactRow {
        let (batch, channel) = (BatchId(batch.to_owned()), Channel::new(channel));
        let fact = match taken {
            true => Fact::LeaseTaken { batch, channel },
            false => Fact::LeaseReturned { batch, channel },
        };
        FactRow { session, numbered: Numbered { number: 1, at: at(seconds), fact } }
    }

    /// A probe goes from pot A to pot B and back, across a restart.
    #[test]
    fn a_probe_counts_only_while_it_was_in_its_pot() {
        let facts = [
            row(1, 10, true, "a", "pot"),
            row(1, 10, true, "a", "lye"),
            row(1, 20, false, "a", "pot"),
            row(1, 20, true, "b", "pot"),
            row(1, 30, false, "b", "pot"),
            row(1, 30, true, "a", "pot"),
            row(2, 5, false, "a", "pot"),
        ];
        let leases = |batch: &str, channel: &str, session| {
            leases_of(&facts, &BatchId(batch.to_owned()), &Channel::new(channel), session)
        };
        let (begin, end) = (Moment::from_nanos(i64::MIN), Moment::from_nanos(i64::MAX));
        assert_eq!(leases("a", "pot", 1), [at(10)..=at(20), at(30)..=end]);
        assert_eq!(leases("b", "pot", 1), [at(20)..=at(30)]);
        assert_eq!(leases("a", "lye", 1), [at(10)..=end]);
        // what was held when session 2 began was held from its beginning
        assert_eq!(leases("a", "pot", 2), [begin..=begin, begin..=at(5)]);
        assert_eq!(leases("a", "lye", 2), [begin..=end]);
        assert_eq!(leases("b", "pot", 2), [begin..=begin]);
    }
}
