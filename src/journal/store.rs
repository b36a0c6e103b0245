//! One open journal file, as the writer's thread uses it.
//!
//! After any error the whole store is dropped and opened anew: what it holds in memory may then
//! be ahead of the file.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Transaction, params};

use super::chain::{self, Digest};
use super::strip::{self, Packer};
use super::{JournalError, blocks, schema};
use crate::bench::{BatchId, FACT_VERSION, Fact, Numbered};
use crate::quantity::Moment;
use crate::reading::{Channel, Reading};
use crate::replay::{Instrument, Piece, Taken};

/// Readings in one block: about a minute of a scale. The open block is rewritten at each commit,
/// so larger blocks are smaller on disk but send more to it.
const BLOCK_READINGS: usize = 300;
/// Bytes of tape in one strip, before they are deflated.
const STRIP_BYTES: usize = strip::INFLATED_MAX / 16;

pub struct Store {
    connection: Connection,
    session: u32,
    channels: BTreeMap<String, i64>,
    open_blocks: BTreeMap<i64, OpenBlock>,
    /// By instrument; what the bench took stands under `None`.
    open_strips: BTreeMap<Option<i64>, OpenStrip>,
    chains: BTreeMap<BatchId, Digest>,
    last_fact: u64,
    /// Bytes of tape in the file; counted when it is opened.
    tape_bytes: u64,
}

#[derive(Default)]
struct OpenBlock {
    id: Option<i64>,
    readings: Vec<Reading>,
}

struct OpenStrip {
    id: Option<i64>,
    ordinal: i64,
    packer: Packer,
    /// As last written.
    stored: u64,
}

/// What has come since the last commit.
#[derive(Default)]
pub struct Pending {
    pub facts: Vec<Numbered>,
    pub readings: Vec<Reading>,
    pub tape: Vec<(Arc<str>, Piece)>,
    pub taken: Vec<Taken>,
    pub instruments: Vec<Instrument>,
    pub gaps: Vec<Gap>,
    pub anchor: Option<(Moment, i64)>,
}

#[derive(Clone, Debug)]
pub struct Gap {
    pub from: Moment,
    pub to: Moment,
    pub why: String,
    /// Whose tape was not kept; `None` for readings.
    pub tape: Option<Arc<str>>,
}

impl Store {
    /// Opens or makes the file and brings its layout up to date.
    pub fn open(path: &Path, session: u32) -> Result<Store, JournalError> {
        let mut connection = Connection::open(path)?;
        schema::prepare(&connection)?;
        schema::migrate(&mut connection, path)?;
        let last_fact =
            connection
                .query_row("SELECT coalesce(max(number), 0) FROM fact", [], |row| row.get(0))?;
        let tape_bytes = connection.query_row(
            "SELECT (SELECT coalesce(sum(length(body)), 0) FROM tape)
                  + (SELECT coalesce(sum(length(body)), 0) FROM strip)",
            [],
            |row| row.get(0),
        )?;
        let mut channels = BTreeMap::new();
        {
            let mut rows = connection.prepare("SELECT name, id FROM channel")?;
            let mut rows = rows.query([])?;
            while let Some(row) = rows.next()? {
                channels.insert(row.get(0)?, row.get(1)?);
            }
        }
        Ok(Store {
            connection,
            session,
            channels,
            open_blocks: BTreeMap::new(),
            open_strips: BTreeMap::new(),
            chains: BTreeMap::new(),
            last_fact,
            tape_bytes,
        })
    }

    pub fn open_session(
        &mut self,
        boot: &str,
        at: Moment,
        utc_ns: i64,
    ) -> Result<(), JournalError> {
        let transaction = self.connection.transaction()?;
        transaction.execute(
            "INSERT INTO session (number, boot, opened_ns) VALUES (?1, ?2, ?3)",
            params![self.session, boot, at.nanos()],
        )?;
        transaction.execute(
            "INSERT INTO anchor (session, at_ns, utc_ns) VALUES (?1, ?2, ?3)",
            params![self.session, at.nanos(), utc_ns],
        )?;
        transaction.commit()?;
        Ok(())
    }

    /// Writes everything in one transaction and returns once it is on the disk. `write` counts the
    /// session's writes: one that reached the disk before, though its answer was lost, is not done
    /// again.
    pub fn write(&mut self, pending: &Pending, write: u64) -> Result<u64, JournalError> {
        let transaction = self.connection.unchecked_transaction()?;
        let done: u64 = transaction.query_row(
            "SELECT writes FROM session WHERE number = ?1",
            [self.session],
            |row| row.get(0),
        )?;
        if write <= done {
            return Ok(self.last_fact);
        }
        transaction.execute(
            "UPDATE session SET writes = ?2 WHERE number = ?1",
            params![self.session, write],
        )?;
        let mut hand = Hand {
            transaction: &transaction,
            session: self.session,
            channels: &mut self.channels,
            open_blocks: &mut self.open_blocks,
            open_strips: &mut self.open_strips,
            chains: &mut self.chains,
            last_fact: &mut self.last_fact,
            tape_bytes: &mut self.tape_bytes,
        };
        hand.readings(&pending.readings)?;
        for numbered in &pending.facts {
            hand.fact(numbered)?;
        }
        pending.instruments.iter().try_for_each(|instrument| hand.instrument(instrument))?;
        hand.tape(&pending.tape, &pending.taken)?;
        for gap in &pending.gaps {
            transaction.execute(
                "INSERT INTO gap (session, from_ns, to_ns, why, tape) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![self.session, gap.from.nanos(), gap.to.nanos(), gap.why, gap.tape],
            )?;
        }
        if let Some((at, utc_ns)) = pending.anchor {
            transaction.execute(
                "INSERT INTO anchor (session, at_ns, utc_ns) VALUES (?1, ?2, ?3)",
                params![self.session, at.nanos(), utc_ns],
            )?;
        }
        transaction.commit()?;
        Ok(self.last_fact)
    }

    /// The tape is bounded: the oldest of it goes when it has grown larger than `bytes_max`.
    pub fn trim_tape(&mut self, bytes_max: u64) -> Result<(), JournalError> {
        if self.tape_bytes <= bytes_max {
            return Ok(());
        }
        let open: BTreeSet<i64> = self.open_strips.values().filter_map(|open| open.id).collect();
        let transaction = self.connection.unchecked_transaction()?;
        let mut left = self.tape_bytes;
        for (table, open) in [("tape", &BTreeSet::new()), ("strip", &open)] {
            let mut oldest = transaction
                .prepare(&format!("SELECT id, length(body) FROM {table} ORDER BY id"))?;
            let mut delete = transaction.prepare(&format!("DELETE FROM {table} WHERE id = ?1"))?;
            let mut rows = oldest.query([])?;
            let mut gone: Vec<i64> = Vec::new();
            while left > bytes_max
                && let Some(row) = rows.next()?
            {
                let (id, length): (i64, u64) = (row.get(0)?, row.get(1)?);
                if !open.contains(&id) {
                    left = left.saturating_sub(length);
                    gone.push(id);
                }
            }
            for id in gone {
                delete.execute([id])?;
            }
        }
        transaction.commit()?;
        self.tape_bytes = left;
        Ok(())
    }
}

/// The parts of a store that one transaction uses.
struct Hand<'a> {
    transaction: &'a Transaction<'a>,
    session: u32,
    channels: &'a mut BTreeMap<String, i64>,
    open_blocks: &'a mut BTreeMap<i64, OpenBlock>,
    open_strips: &'a mut BTreeMap<Option<i64>, OpenStrip>,
    chains: &'a mut BTreeMap<BatchId, Digest>,
    last_fact: &'a mut u64,
    tape_bytes: &'a mut u64,
}

impl Hand<'_> {
    fn fact(&mut self, numbered: &Numbered) -> Result<(), JournalError> {
        let expected = *self.last_fact + 1;
        if numbered.number < expected {
            // written by the commit whose answer was lost
            return Ok(());
        }
        if numbered.number > expected {
            return Err(JournalError::OutOfOrder { expected, found: numbered.number });
        }
        let body = serde_json::to_vec(&numbered.fact).map_err(|error| {
            JournalError::UnreadableFact { number: numbered.number, why: error.to_string() }
        })?;
        match &numbered.fact {
            Fact::BatchStarted { batch, control, .. } => self.begin_batch(batch, control)?,
            Fact::BatchClosed { batch, .. } => self.seal(batch)?,
            _ => {}
        }
        let link = match numbered.fact.batch() {
            Some(batch) => {
                let link = chain::link(self.chain(batch)?, numbered.number, &body);
                self.chains.insert(batch.clone(), link);
                Some(link)
            }
            None => None,
        };
        let mut insert = self.transaction.prepare_cached(
            "INSERT INTO fact (number, session, at_ns, batch, version, kind, body, link)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?;
        insert.execute(params![
            numbered.number,
            self.session,
            numbered.at.nanos(),
            numbered.fact.batch().map(|batch| &batch.0),
            FACT_VERSION,
            kind(&body),
            body,
            link.as_ref().map(Digest::as_bytes),
        ])?;
        *self.last_fact = numbered.number;
        Ok(())
    }

    fn begin_batch(
        &mut self,
        batch: &BatchId,
        control: &crate::plan::ControlRecipe,
    ) -> Result<(), JournalError> {
        let genesis = serde_json::to_vec(control)
            .map_err(|error| JournalError::UnreadableFact { number: 0, why: error.to_string() })?;
        self.transaction.execute(
            "INSERT INTO batch (id, genesis) VALUES (?1, ?2)",
            params![batch.0, genesis],
        )?;
        self.chains.insert(batch.clone(), chain::genesis(&genesis));
        // what belongs to this batch begins in blocks of its own
        self.open_blocks.clear();
        Ok(())
    }

    fn chain(&mut self, batch: &BatchId) -> Result<Digest, JournalError> {
        if let Some(chain) = self.chains.get(batch) {
            return Ok(*chain);
        }
        let link: Vec<u8> = self.transaction.query_row(
            "SELECT link FROM fact WHERE batch = ?1 ORDER BY number DESC LIMIT 1",
            [&batch.0],
            |row| row.get(0),
        )?;
        Digest::from_bytes(&link).ok_or(JournalError::UnreadableBlock("a link is no digest"))
    }

    /// All blocks since the batch began enter its chain.
    fn seal(&mut self, batch: &BatchId) -> Result<(), JournalError> {
        self.open_blocks.clear();
        let (session, began): (u32, i64) = self.transaction.query_row(
            "SELECT session, at_ns FROM fact WHERE batch = ?1 ORDER BY number LIMIT 1",
            [&batch.0],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        let range: Option<(i64, i64)> = self
            .transaction
            .query_row(
                "SELECT min(id), max(id) FROM block
                 WHERE session > ?1 OR (session = ?1 AND last_ns >= ?2)",
                params![session, began],
                |row| Ok(row.get::<_, Option<i64>>(0)?.zip(row.get(1)?)),
            )
            .optional()?
            .flatten();
        let Some((first, last)) = range else { return Ok(()) };
        let sealed = blocks_between(self.transaction, first, last)?;
        let link = chain::seal(self.chain(batch)?, sealed.into_iter());
        self.chains.insert(batch.clone(), link);
        self.transaction.execute(
            "INSERT INTO seal (batch, after_fact, first, last, link) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![batch.0, *self.last_fact, first, last, link.as_bytes()],
        )?;
        Ok(())
    }

    fn readings(&mut self, readings: &[Reading]) -> Result<(), JournalError> {
        let mut touched = Vec::new();
        for reading in readings {
            let channel = self.channel(&reading.channel)?;
            let block = self.open_blocks.entry(channel).or_default();
            block.readings.push(reading.clone());
            let full = block.readings.len() >= BLOCK_READINGS;
            if full {
                self.write_block(channel)?;
                self.open_blocks.remove(&channel);
                touched.retain(|open| *open != channel);
            } else if !touched.contains(&channel) {
                touched.push(channel);
            }
        }
        touched.into_iter().try_for_each(|channel| self.write_block(channel))
    }

    fn write_block(&mut self, channel: i64) -> Result<(), JournalError> {
        let Some(block) = self.open_blocks.get_mut(&channel) else { return Ok(()) };
        let times = || block.readings.iter().map(|reading| reading.at.nanos());
        let (first, last) = (times().min().unwrap_or(0), times().max().unwrap_or(0));
        let body = blocks::pack(&block.readings);
        let count = block.readings.len();
        if let Some(id) = block.id {
            let mut update = self.transaction.prepare_cached(
                "UPDATE block SET first_ns = ?2, last_ns = ?3, count = ?4, body = ?5 WHERE id = ?1",
            )?;
            update.execute(params![id, first, last, count, body])?;
        } else {
            let mut insert = self.transaction.prepare_cached(
                "INSERT INTO block (session, channel, first_ns, last_ns, count, body)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?;
            insert.execute(params![self.session, channel, first, last, count, body])?;
            block.id = Some(self.transaction.last_insert_rowid());
        }
        Ok(())
    }

    fn instrument(&mut self, instrument: &Instrument) -> Result<(), JournalError> {
        let digest = chain::digest_of_text(&instrument.sheet_text).to_string();
        self.transaction.execute(
            "INSERT OR IGNORE INTO sheet (digest, name, body) VALUES (?1, ?2, ?3)",
            params![digest, instrument.sheet, instrument.sheet_text],
        )?;
        let channels = serde_json::to_string(&instrument.channels)
            .map_err(|_| JournalError::UnreadableBlock("channels cannot be written"))?;
        self.transaction.execute(
            "INSERT INTO instrument (session, name, sheet, channels) VALUES (?1, ?2, ?3, ?4)",
            params![self.session, instrument.name, digest, channels],
        )?;
        Ok(())
    }

    fn tape(&mut self, tape: &[(Arc<str>, Piece)], taken: &[Taken]) -> Result<(), JournalError> {
        let mut touched = BTreeSet::new();
        for (instrument, piece) in tape {
            let key = Some(self.channel(&Channel::new(instrument))?);
            self.open_strip(key)?.packer.piece(piece);
            self.touch(key, &mut touched)?;
        }
        for taken in taken {
            self.open_strip(None)?.packer.taken(taken)?;
            self.touch(None, &mut touched)?;
        }
        touched.into_iter().try_for_each(|key| self.write_strip(key))
    }

    fn open_strip(&mut self, key: Option<i64>) -> Result<&mut OpenStrip, JournalError> {
        match self.open_strips.entry(key) {
            Entry::Occupied(open) => Ok(open.into_mut()),
            Entry::Vacant(place) => {
                let ordinal = self.transaction.query_row(
                    "SELECT coalesce(max(ordinal) + 1, 0) FROM strip
                     WHERE session = ?1 AND instrument IS ?2",
                    params![self.session, key],
                    |row| row.get(0),
                )?;
                let packer = Packer::new();
                Ok(place.insert(OpenStrip { id: None, ordinal, packer, stored: 0 }))
            }
        }
    }

    /// A strip that is full is written and closed, another is written at the end.
    fn touch(
        &mut self,
        key: Option<i64>,
        touched: &mut BTreeSet<Option<i64>>,
    ) -> Result<(), JournalError> {
        if self.open_strip(key)?.packer.len() < STRIP_BYTES {
            touched.insert(key);
            return Ok(());
        }
        self.write_strip(key)?;
        self.open_strips.remove(&key);
        touched.remove(&key);
        Ok(())
    }

    fn write_strip(&mut self, key: Option<i64>) -> Result<(), JournalError> {
        let Some(open) = self.open_strips.get_mut(&key) else { return Ok(()) };
        let (first, last) = open.packer.span();
        let body = open
            .packer
            .body()
            .map_err(|_| JournalError::UnreadableBlock("the tape cannot be deflated"))?;
        let length = body.len() as u64;
        *self.tape_bytes = (*self.tape_bytes + length).saturating_sub(open.stored);
        open.stored = length;
        if let Some(id) = open.id {
            let mut update = self.transaction.prepare_cached(
                "UPDATE strip SET first_ns = ?2, last_ns = ?3, body = ?4 WHERE id = ?1",
            )?;
            update.execute(params![id, first, last, body])?;
        } else {
            let mut insert = self.transaction.prepare_cached(
                "INSERT INTO strip (session, instrument, ordinal, first_ns, last_ns, body)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?;
            insert.execute(params![self.session, key, open.ordinal, first, last, body])?;
            open.id = Some(self.transaction.last_insert_rowid());
        }
        Ok(())
    }

    fn channel(&mut self, channel: &Channel) -> Result<i64, JournalError> {
        if let Some(id) = self.channels.get(channel.as_str()) {
            return Ok(*id);
        }
        self.transaction.execute("INSERT INTO channel (name) VALUES (?1)", [channel.as_str()])?;
        let id = self.transaction.last_insert_rowid();
        self.channels.insert(channel.as_str().to_owned(), id);
        Ok(id)
    }
}

/// The stored bytes of a range of blocks, in their order.
pub fn blocks_between(
    connection: &Connection,
    first: i64,
    last: i64,
) -> Result<Vec<(i64, Vec<u8>)>, JournalError> {
    let mut select = connection
        .prepare_cached("SELECT id, body FROM block WHERE id BETWEEN ?1 AND ?2 ORDER BY id")?;
    let rows = select.query_map([first, last], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// The tag of a fact as stored, for people who look with an SQLite shell.
fn kind(body: &[u8]) -> String {
    #[derive(serde::Deserialize)]
    struct Tag {
        fact: String,
    }
    serde_json::from_slice::<Tag>(body).map(|tag| tag.fact).unwrap_or_default()
}
