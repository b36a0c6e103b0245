//! What a replay needs of a session, as the journal holds it.

use std::collections::VecDeque;
use std::sync::Arc;

use rusqlite::{OptionalExtension, params};

use super::reader::Reader;
use super::{JournalError, strip, tape};
use crate::bench::BatchId;
use crate::quantity::Moment;
use crate::replay::{Broken, Instrument, Mark, Piece, Recording, Strip, Track};

/// The sessions in which a batch was made, and its last fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Course {
    pub first_session: u32,
    pub last_session: u32,
    pub last_fact: u64,
}

/// A part of a tape that was not kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TapeGap {
    /// The instrument, or the bench.
    pub of: String,
    pub from: Moment,
    pub to: Moment,
    pub why: String,
}

/// The layout that keeps everything a replay needs.
const STRIPS_SINCE: u32 = 2;
const NOTHING_KEPT: &str = "an earlier panroom recorded it, and kept only bytes";
/// Strips as stored, in their order, and how a body is unpacked.
type Stored = (u32, Vec<u8>);

impl Reader {
    /// `None` if there is no such batch.
    pub fn course(&self, batch: &BatchId) -> Result<Option<Course>, JournalError> {
        let course = self.connection.query_row(
            "SELECT min(session), max(session), max(number) FROM fact WHERE batch = ?1",
            [&batch.0],
            |row| {
                let (first, last): (Option<u32>, Option<u32>) = (row.get(0)?, row.get(1)?);
                let fact: Option<u64> = row.get(2)?;
                Ok(first.zip(last).zip(fact))
            },
        )?;
        Ok(course.map(|((first_session, last_session), last_fact)| Course {
            first_session,
            last_session,
            last_fact,
        }))
    }

    /// Everything recorded of one session, at one instant: a daemon may go on writing.
    ///
    /// # Errors
    /// When there is no such session, or no tape of it from its beginning.
    pub fn recording(&self, session: u32) -> Result<Recording, JournalError> {
        let whole = self.connection.unchecked_transaction()?;
        let recording = self.kept(session)?;
        if let Some((from, to)) = self.dropped(&recording)? {
            return Err(JournalError::TapeDropped { session, from, to });
        }
        drop(whole);
        Ok(recording)
    }

    /// The bytes of one session, as far as they are kept, and when its tape lacks its beginning,
    /// from when to when; what the bench took is not to be played from it then.
    ///
    /// # Errors
    /// When there is no such session, or no tape of it at all.
    pub fn bytes_kept(
        &self,
        session: u32,
    ) -> Result<(Recording, Option<(Moment, Moment)>), JournalError> {
        let _whole = self.connection.unchecked_transaction()?;
        let mut recording = self.kept(session)?;
        let dropped = self.dropped(&recording)?;
        for track in &mut recording.tracks {
            let stored = self.strips(session, Some(&track.instrument.name))?;
            track.pieces = what_is_left(stored);
        }
        Ok((recording, dropped))
    }

    /// From the session's first fact to the first strip of which every tape still has one.
    fn dropped(&self, of: &Recording) -> Result<Option<(Moment, Moment)>, JournalError> {
        let (Some(first), Some(last)) = (of.facts.first(), of.facts.last()) else {
            return Ok(None);
        };
        let (strips, begins): (u32, Option<i64>) = self.connection.query_row(
            "SELECT count(*), max(CASE WHEN ordinal > 0 THEN first_ns END) FROM strip AS one
             WHERE session = ?1 AND ordinal = (SELECT min(ordinal) FROM strip AS other
                 WHERE other.session = one.session AND other.instrument IS one.instrument)",
            [of.session],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        let all_of_it = (strips == 0).then_some(last.at);
        // an instrument may speak a moment before the session is opened
        let until = begins.map(Moment::from_nanos).or(all_of_it);
        Ok(until.map(|to| (first.at.min(to), to)))
    }

    fn kept(&self, session: u32) -> Result<Recording, JournalError> {
        let known: Option<u32> = self
            .connection
            .query_row("SELECT number FROM session WHERE number = ?1", [session], |row| row.get(0))
            .optional()?;
        if known.is_none() {
            return Err(JournalError::NoTape { session, why: "there is no such session" });
        }
        if self.layout < STRIPS_SINCE {
            return Err(JournalError::NoTape { session, why: NOTHING_KEPT });
        }
        let facts = self.facts_where("WHERE session = ?1", params![session])?;
        let first = facts.first().map_or(u64::MAX, |row| row.numbered.number);
        let before = self.facts_where("WHERE number < ?1", params![first.min(i64::MAX as u64)])?;
        let taken = self.strips(session, None)?;
        let mut tracks = Vec::new();
        for instrument in self.instruments(session)? {
            let stored = self.strips(session, Some(&instrument.name))?;
            tracks.push(Track { instrument, pieces: play(stored, strip::pieces) });
        }
        let numbered = |rows: Vec<super::FactRow>| rows.into_iter().map(|row| row.numbered);
        Ok(Recording {
            session,
            before: numbered(before).collect(),
            facts: numbered(facts).collect(),
            taken: play(taken, strip::taken),
            tracks,
        })
    }

    fn instruments(&self, session: u32) -> Result<Vec<Instrument>, JournalError> {
        let mut select = self.connection.prepare(
            "SELECT instrument.name, sheet.name, sheet.body, channels FROM instrument
             JOIN sheet ON sheet.digest = instrument.sheet WHERE session = ?1
             ORDER BY instrument.rowid",
        )?;
        let mut rows = select.query([session])?;
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            let channels: String = row.get(3)?;
            let channels = serde_json::from_str(&channels)
                .map_err(|_| JournalError::UnreadableBlock("channels of an instrument"))?;
            let (name, text): (String, String) = (row.get(0)?, row.get(2)?);
            let (name, sheet_text) = (Arc::from(name), Arc::from(text));
            all.push(Instrument { name, sheet: row.get(1)?, sheet_text, channels });
        }
        Ok(all)
    }

    fn strips(&self, session: u32, of: Option<&str>) -> Result<Vec<Stored>, JournalError> {
        let mut select = self.connection.prepare(
            "SELECT ordinal, body FROM strip
             WHERE session = ?1 AND CASE WHEN ?2 IS NULL THEN instrument IS NULL
                 ELSE instrument = (SELECT id FROM channel WHERE name = ?2) END
             ORDER BY ordinal",
        )?;
        let rows = select.query_map(params![session, of], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What happened to the decoder of one instrument, session by session, in its order.
    pub fn tape(&self, instrument: &str) -> Result<Vec<(u32, Piece)>, JournalError> {
        let mut all = Vec::new();
        for (table, unpack, since) in
            [("tape", old as fn(&[u8]) -> _, 1), ("strip", strip::pieces, STRIPS_SINCE)]
        {
            if self.layout < since {
                continue;
            }
            let mut select = self.connection.prepare(&format!(
                "SELECT session, body FROM {table} JOIN channel
                 ON channel.id = {table}.instrument WHERE channel.name = ?1 ORDER BY {table}.id"
            ))?;
            let mut rows = select.query([instrument])?;
            while let Some(row) = rows.next()? {
                let (session, body): (u32, Vec<u8>) = (row.get(0)?, row.get(1)?);
                all.extend(unpack(&body)?.into_iter().map(|piece| (session, piece)));
            }
        }
        Ok(all)
    }

    /// What of the tape of a session was not kept.
    pub fn tape_gaps(&self, session: u32) -> Result<Vec<TapeGap>, JournalError> {
        if self.layout < STRIPS_SINCE {
            return Ok(Vec::new());
        }
        let mut select = self.connection.prepare(
            "SELECT tape, from_ns, to_ns, why FROM gap
             WHERE session = ?1 AND tape IS NOT NULL ORDER BY id",
        )?;
        let rows = select.query_map([session], |row| {
            Ok(TapeGap {
                of: row.get(0)?,
                from: Moment::from_nanos(row.get(1)?),
                to: Moment::from_nanos(row.get(2)?),
                why: row.get(3)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

/// Unpacks a strip when it is reached.
fn play<T: 'static>(
    stored: Vec<Stored>,
    unpack: fn(&[u8]) -> Result<Vec<T>, JournalError>,
) -> Strip<T> {
    let mut due = 0;
    let mut ready: VecDeque<T> = VecDeque::new();
    let mut stored = stored.into_iter();
    let mut broken = false;
    Box::new(std::iter::from_fn(move || {
        while ready.is_empty() && !broken {
            let (ordinal, body) = stored.next()?;
            let unpacked = if ordinal == due {
                unpack(&body).map_err(|error| Broken(format!("strip {ordinal}: {error}")))
            } else {
                Err(Broken(format!("strip {due} of the tape has been dropped")))
            };
            due += 1;
            match unpacked {
                Ok(pieces) => ready.extend(pieces),
                Err(why) => {
                    broken = true;
                    return Some(Err(why));
                }
            }
        }
        ready.pop_front().map(Ok)
    }))
}

/// Everything of one instrument's tape that has not been dropped, with a mark where some has.
fn what_is_left(stored: Vec<Stored>) -> Strip<Piece> {
    let mut due = 0;
    Box::new(stored.into_iter().flat_map(move |(ordinal, body)| {
        let gap = ordinal != due;
        due = ordinal + 1;
        let broken = |error| Broken(format!("strip {ordinal}: {error}"));
        match strip::pieces(&body).map_err(broken) {
            Ok(mut pieces) => {
                if let Some(at) = pieces.first().map(|piece| piece.at).filter(|_| gap) {
                    pieces.insert(0, Piece { at, mark: Mark::Missing });
                }
                pieces.into_iter().map(Ok).collect::<Vec<_>>()
            }
            Err(why) => vec![Err(why)],
        }
    }))
}

/// The tape of the first layout held bytes only.
fn old(body: &[u8]) -> Result<Vec<Piece>, JournalError> {
    let piece = |(at, bytes)| Piece { at, mark: Mark::Bytes(bytes) };
    Ok(tape::unpack(body)?.into_iter().map(piece).collect())
}
