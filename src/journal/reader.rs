use std::path::Path;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Row, params};
use serde::{Deserialize, Serialize};

use super::chain::{self, Digest, Verified};
use super::store::blocks_between;
use super::{JournalError, blocks, schema};
use crate::bench::{BatchId, Fact, Numbered, Outcome};
use crate::quantity::Moment;
use crate::reading::{Channel, Reading};

/// A journal opened for reading only; a daemon may go on writing it.
pub struct Reader {
    pub(super) connection: Connection,
    /// The file may be of an older panroom, and is only read.
    pub(super) layout: u32,
}

/// A fact with the session whose clock its moment is on.
#[derive(Clone, Debug, PartialEq)]
pub struct FactRow {
    pub session: u32,
    pub numbered: Numbered,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SessionRow {
    pub number: u32,
    pub boot: String,
    pub opened: Moment,
}

/// A line of the ledger.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BatchRow {
    pub batch: BatchId,
    pub recipe: String,
    /// UTC nanoseconds since 1970.
    pub started_utc_ns: i64,
    pub ended_utc_ns: Option<i64>,
    /// `None` while it is open.
    pub outcome: Option<Outcome>,
    pub operator: Option<String>,
    /// SHA-256 in hex over everything stored of it so far.
    pub head: String,
    /// What its control recipe weighs, in the order of work.
    #[serde(default)]
    pub ingredients: Vec<IngredientRow>,
    /// What was noted when it was closed.
    #[serde(default)]
    pub note: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct IngredientRow {
    pub name: String,
    pub lot: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GapRow {
    pub session: u32,
    pub from: Moment,
    pub to: Moment,
    pub why: String,
}

/// Blocks of readings that entered a batch's chain.
struct Seal {
    after_fact: u64,
    first: i64,
    last: i64,
    link: Vec<u8>,
}

impl Reader {
    pub fn open(path: &Path) -> Result<Reader, JournalError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags)?;
        connection.busy_timeout(std::time::Duration::from_secs(2))?;
        let layout = schema::check(&connection, path)?;
        Ok(Reader { connection, layout })
    }

    /// Every fact ever written, for recovery.
    pub fn all_facts(&self) -> Result<Vec<FactRow>, JournalError> {
        self.facts_where("", params![])
    }

    /// The facts of one batch, those of the bench while it was open, and the opening of the session
    /// in which it began.
    pub fn facts(&self, batch: &BatchId) -> Result<Vec<FactRow>, JournalError> {
        self.facts_where(
            "WHERE number BETWEEN
                   (SELECT coalesce(max(number), 0) FROM fact WHERE kind = 'session-opened'
                       AND number < (SELECT min(number) FROM fact WHERE batch = ?1))
                   AND (SELECT max(number) FROM fact WHERE batch = ?1)
               AND (batch = ?1 OR batch IS NULL)",
            params![batch.0],
        )
    }

    pub fn batches(&self) -> Result<Vec<BatchRow>, JournalError> {
        let mut select = self.connection.prepare(
            "SELECT (SELECT min(number) FROM fact WHERE batch = batch.id),
                    (SELECT max(number) FROM fact WHERE batch = batch.id), id
             FROM batch ORDER BY 1",
        )?;
        let ranges = select.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        let ranges: Vec<(u64, u64, String)> = ranges.collect::<Result<_, _>>()?;
        ranges.into_iter().map(|(first, last, id)| self.batch_row(first, last, id)).collect()
    }

    fn batch_row(&self, first: u64, last: u64, id: String) -> Result<BatchRow, JournalError> {
        let first = self.fact(first)?;
        let last = self.fact(last)?;
        let (recipe, operator, ingredients) = match &first.numbered.fact {
            Fact::BatchStarted { control, operator, .. } => {
                let weighed = control.weighings().map(|weigh| IngredientRow {
                    name: weigh.name.clone(),
                    lot: weigh.lot.clone(),
                });
                (control.name.clone(), operator.clone(), weighed.collect())
            }
            _ => (String::new(), None, Vec::new()),
        };
        let (outcome, note) = match &last.numbered.fact {
            Fact::BatchClosed { outcome, note, .. } => (Some(*outcome), note.clone()),
            _ => (None, String::new()),
        };
        let opened = self.lots_opened(&id)?;
        let ingredients = ingredients.into_iter().chain(opened).collect();
        let ended = self.utc_of(last.session, last.numbered.at)?;
        let batch = BatchId(id);
        Ok(BatchRow {
            recipe,
            ingredients,
            note,
            started_utc_ns: self.utc_of(first.session, first.numbered.at)?,
            ended_utc_ns: outcome.map(|_| ended),
            outcome,
            operator,
            head: self.head(&batch)?.map(|head| head.to_string()).unwrap_or_default(),
            batch,
        })
    }

    /// Bottles opened in mid-weighing, so that a batch is found by each of its lots.
    fn lots_opened(&self, batch: &str) -> Result<Vec<IngredientRow>, JournalError> {
        let rows = self.facts_where("WHERE batch = ?1 AND kind = 'lot-opened'", params![batch])?;
        let row = |row: FactRow| match row.numbered.fact {
            Fact::LotOpened { ingredient, lot, .. } => {
                Some(IngredientRow { name: ingredient.to_string(), lot: Some(lot) })
            }
            _ => None,
        };
        Ok(rows.into_iter().filter_map(row).collect())
    }

    /// The readings of one channel in one session, both ends included, in the order they came.
    pub fn readings(
        &self,
        channel: &Channel,
        session: u32,
        from: Moment,
        to: Moment,
    ) -> Result<Vec<Reading>, JournalError> {
        let mut select = self.connection.prepare(
            "SELECT block.body FROM block JOIN channel ON channel.id = block.channel
             WHERE channel.name = ?1 AND session = ?2 AND last_ns >= ?3 AND first_ns <= ?4
             ORDER BY block.id",
        )?;
        let mut rows =
            select.query(params![channel.as_str(), session, from.nanos(), to.nanos()])?;
        let mut readings = Vec::new();
        while let Some(row) = rows.next()? {
            let body: Vec<u8> = row.get(0)?;
            readings.extend(blocks::unpack(channel, &body)?);
        }
        readings.retain(|reading| (from..=to).contains(&reading.at));
        Ok(readings)
    }

    /// Gaps in the readings.
    pub fn gaps(&self) -> Result<Vec<GapRow>, JournalError> {
        // the first layout knew gaps of readings only
        let of_readings = if self.layout < 2 { "" } else { "WHERE tape IS NULL" };
        let mut select = self.connection.prepare(&format!(
            "SELECT session, from_ns, to_ns, why FROM gap {of_readings} ORDER BY id"
        ))?;
        let rows = select.query_map([], |row| {
            Ok(GapRow {
                session: row.get(0)?,
                from: Moment::from_nanos(row.get(1)?),
                to: Moment::from_nanos(row.get(2)?),
                why: row.get(3)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Follows a batch's chain over the stored bytes.
    pub fn verify(&self, batch: &BatchId) -> Result<Verified, JournalError> {
        let genesis: Vec<u8> = self.connection.query_row(
            "SELECT genesis FROM batch WHERE id = ?1",
            [&batch.0],
            |row| row.get(0),
        )?;
        let mut chain = chain::genesis(&genesis);
        let seals = self.seals(batch)?;
        let mut facts = self
            .connection
            .prepare("SELECT number, body, link FROM fact WHERE batch = ?1 ORDER BY number")?;
        let mut rows = facts.query([&batch.0])?;
        let (mut count, mut before) = (0, 0);
        while let Some(row) = rows.next()? {
            let (number, stored): (u64, Vec<u8>) = (row.get(0)?, row.get(2)?);
            let body = bytes(row, 1)?;
            for seal in &seals {
                if (before..number).contains(&seal.after_fact) {
                    chain = chain::seal(
                        chain,
                        blocks_between(&self.connection, seal.first, seal.last)?.into_iter(),
                    );
                    if chain.as_bytes() != seal.link {
                        return Ok(Verified::ReadingsBrokenAfter { fact: seal.after_fact });
                    }
                }
            }
            chain = chain::link(chain, number, body);
            if chain.as_bytes() != stored {
                return Ok(Verified::BrokenAt { fact: number });
            }
            count += 1;
            before = number;
        }
        Ok(Verified::Unbroken { head: chain.to_string(), facts: count })
    }

    /// The newest link of a batch's chain; `None` if there is no such batch.
    pub fn head(&self, batch: &BatchId) -> Result<Option<Digest>, JournalError> {
        let link: Option<Vec<u8>> = self
            .connection
            .query_row(
                "SELECT link FROM fact WHERE batch = ?1 ORDER BY number DESC LIMIT 1",
                [&batch.0],
                |row| row.get(0),
            )
            .optional()?;
        Ok(link.and_then(|link| Digest::from_bytes(&link)))
    }

    /// The session whose opening is the last on record: the one that moments in the state are of.
    pub fn last_session(&self) -> Result<Option<SessionRow>, JournalError> {
        let session = self
            .connection
            .query_row(
                "SELECT number, boot, opened_ns FROM session ORDER BY number = (
                     SELECT session FROM fact WHERE kind = 'session-opened'
                     ORDER BY fact.number DESC LIMIT 1) DESC, number DESC LIMIT 1",
                [],
                |row| {
                    Ok(SessionRow {
                        number: row.get(0)?,
                        boot: row.get(1)?,
                        opened: Moment::from_nanos(row.get(2)?),
                    })
                },
            )
            .optional()?;
        Ok(session)
    }

    /// The highest number given to a session so far.
    pub fn last_session_number(&self) -> Result<u32, JournalError> {
        let number = "SELECT coalesce(max(number), 0) FROM session";
        Ok(self.connection.query_row(number, [], |row| row.get(0))?)
    }

    /// The last moment of a session at which anything was recorded.
    pub fn last_moment(&self, session: u32) -> Result<Option<Moment>, JournalError> {
        let last: Option<i64> = self.connection.query_row(
            "SELECT max(at) FROM (SELECT max(at_ns) AS at FROM fact WHERE session = ?1
                                  UNION ALL SELECT max(last_ns) FROM block WHERE session = ?1)",
            [session],
            |row| row.get(0),
        )?;
        Ok(last.map(Moment::from_nanos))
    }

    /// Civil time of a moment, UTC nanoseconds, by the anchor before it.
    pub fn utc_of(&self, session: u32, at: Moment) -> Result<i64, JournalError> {
        let (anchor, utc): (i64, i64) = self.connection.query_row(
            "SELECT at_ns, utc_ns FROM anchor WHERE session = ?1
             ORDER BY at_ns > ?2, abs(at_ns - ?2) LIMIT 1",
            params![session, at.nanos()],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(utc + (at.nanos() - anchor))
    }

    fn seals(&self, batch: &BatchId) -> Result<Vec<Seal>, JournalError> {
        let mut select = self.connection.prepare(
            "SELECT after_fact, first, last, link FROM seal WHERE batch = ?1 ORDER BY id",
        )?;
        let rows = select.query_map([&batch.0], |row| {
            Ok(Seal {
                after_fact: row.get(0)?,
                first: row.get(1)?,
                last: row.get(2)?,
                link: row.get(3)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    fn fact(&self, number: u64) -> Result<FactRow, JournalError> {
        let rows = self.facts_where("WHERE number = ?1", params![number])?;
        let missing = || JournalError::UnreadableFact { number, why: "it is missing".to_owned() };
        rows.into_iter().next().ok_or_else(missing)
    }

    pub(super) fn facts_where(
        &self,
        filter: &str,
        parameters: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<FactRow>, JournalError> {
        let mut select = self.connection.prepare(&format!(
            "SELECT number, session, at_ns, body FROM fact {filter} ORDER BY number"
        ))?;
        let mut rows = select.query(parameters)?;
        let mut facts = Vec::new();
        while let Some(row) = rows.next()? {
            facts.push(fact_row(row)?);
        }
        Ok(facts)
    }
}

fn fact_row(row: &Row<'_>) -> Result<FactRow, JournalError> {
    let (number, session, at): (u64, u32, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
    let fact = serde_json::from_slice(bytes(row, 3)?)
        .map_err(|error| JournalError::UnreadableFact { number, why: error.to_string() })?;
    let at = Moment::from_nanos(at);
    Ok(FactRow { session, numbered: Numbered { number, at, fact } })
}

/// Stored bytes, whatever an editor made of their type.
fn bytes<'a>(row: &'a Row<'_>, column: usize) -> Result<&'a [u8], JournalError> {
    let value = row.get_ref(column)?;
    value.as_bytes().map_err(|_| JournalError::UnreadableBlock("stored bytes have become a number"))
}
