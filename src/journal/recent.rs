use rusqlite::params;

use super::JournalError;
use super::reader::Reader;
use crate::clock;
use crate::quantity::{Moment, Span};
use crate::reading::{Channel, Reading};

impl Reader {
    /// What one channel read in the last `reach`, in whatever sessions, in the order it came. Each
    /// reading has its moment on the clock that says `now` and, civil, `utc_ns`.
    pub fn recent(
        &self,
        channel: &Channel,
        reach: Span,
        now: Moment,
        utc_ns: i64,
    ) -> Result<Vec<Reading>, JournalError> {
        let this_boot = clock::boot_id().ok();
        let mut select =
            self.connection.prepare("SELECT number, boot FROM session ORDER BY number DESC")?;
        let rows = select.query_map(params![], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let mut stretches: Vec<Vec<Reading>> = Vec::new();
        for row in rows {
            let (session, boot): (u32, String) = row?;
            // another boot has another clock; only civil time spans the two
            let then = if this_boot.as_ref() == Some(&boot) {
                now
            } else {
                let anchored = self.utc_of(session, Moment::from_nanos(0))?;
                Moment::from_nanos(utc_ns.saturating_sub(anchored))
            };
            let from = then - reach;
            let ended = self.last_moment(session)?;
            if ended.is_some_and(|ended| ended < from) {
                break;
            }
            let mut readings = self.readings(channel, session, from, then)?;
            let later = now.since(then);
            for reading in &mut readings {
                reading.at = reading.at + later;
            }
            stretches.push(readings);
        }
        Ok(stretches.into_iter().rev().flatten().collect())
    }
}
