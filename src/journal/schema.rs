use rusqlite::Connection;

use super::JournalError;

/// "pan" and a one: marks the file as ours (SQLite's application id).
const APPLICATION_ID: i32 = 0x7061_6e01;
/// One step for each version of the layout; a step once shipped is never changed.
const STEPS: &[&str] = &[LAYOUT_1, LAYOUT_2];

const LAYOUT_1: &str = "
CREATE TABLE session (
    number    INTEGER PRIMARY KEY,
    boot      TEXT NOT NULL,
    opened_ns INTEGER NOT NULL
);
-- civil time against the session's clock: at opening, and whenever the civil clock has stepped
CREATE TABLE anchor (
    id      INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session,
    at_ns   INTEGER NOT NULL,
    utc_ns  INTEGER NOT NULL
);
CREATE TABLE batch (
    id      TEXT PRIMARY KEY,
    -- the frozen control recipe as stored: genesis of the batch's chain
    genesis BLOB NOT NULL
);
CREATE TABLE fact (
    number  INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session,
    at_ns   INTEGER NOT NULL,
    batch   TEXT REFERENCES batch,
    version INTEGER NOT NULL,
    kind    TEXT NOT NULL,
    body    BLOB NOT NULL,
    -- of the batch's chain, this fact included; NULL for facts of the bench
    link    BLOB
);
CREATE INDEX fact_of_batch ON fact (batch, number) WHERE batch IS NOT NULL;
-- blocks of readings entering a batch's chain by digest, behind the fact named
CREATE TABLE seal (
    id         INTEGER PRIMARY KEY,
    batch      TEXT NOT NULL REFERENCES batch,
    after_fact INTEGER NOT NULL REFERENCES fact,
    first      INTEGER NOT NULL,
    last       INTEGER NOT NULL,
    link       BLOB NOT NULL
);
CREATE TABLE channel (
    id   INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
);
-- a rowid table in the order of time: an index b-tree would spill each block to its own page
CREATE TABLE block (
    id       INTEGER PRIMARY KEY,
    session  INTEGER NOT NULL REFERENCES session,
    channel  INTEGER NOT NULL REFERENCES channel,
    first_ns INTEGER NOT NULL,
    last_ns  INTEGER NOT NULL,
    count    INTEGER NOT NULL,
    body     BLOB NOT NULL
);
CREATE TABLE tape (
    id         INTEGER PRIMARY KEY,
    session    INTEGER NOT NULL REFERENCES session,
    instrument INTEGER NOT NULL REFERENCES channel,
    first_ns   INTEGER NOT NULL,
    last_ns    INTEGER NOT NULL,
    body       BLOB NOT NULL
);
CREATE TABLE gap (
    id      INTEGER PRIMARY KEY,
    session INTEGER NOT NULL REFERENCES session,
    from_ns INTEGER NOT NULL,
    to_ns   INTEGER NOT NULL,
    why     TEXT NOT NULL
);
";

/// Everything that a replay needs: see the room `replay`. The table `tape` of the first layout stays
/// as it is, and is only read.
const LAYOUT_2: &str = "
-- how often this session has written: a write whose answer was lost is not done twice
ALTER TABLE session ADD COLUMN writes INTEGER NOT NULL DEFAULT 0;
-- whose tape was not kept; NULL for readings
ALTER TABLE gap ADD COLUMN tape TEXT;
CREATE TABLE sheet (
    -- SHA-256 of the text, in hex
    digest TEXT PRIMARY KEY,
    name   TEXT NOT NULL,
    body   TEXT NOT NULL
);
-- how the bytes of an instrument are read in a session
CREATE TABLE instrument (
    session  INTEGER NOT NULL REFERENCES session,
    name     TEXT NOT NULL,
    sheet    TEXT NOT NULL REFERENCES sheet,
    -- JSON: which value of a frame goes to which channel
    channels TEXT NOT NULL,
    PRIMARY KEY (session, name)
);
CREATE TABLE strip (
    id         INTEGER PRIMARY KEY,
    session    INTEGER NOT NULL REFERENCES session,
    -- NULL: what the bench took, in the order it took it
    instrument INTEGER REFERENCES channel,
    -- counted from 0: shows whether older strips have been dropped
    ordinal    INTEGER NOT NULL,
    first_ns   INTEGER NOT NULL,
    last_ns    INTEGER NOT NULL,
    body       BLOB NOT NULL
);
";

/// Settings of every connection that writes.
pub fn prepare(connection: &Connection) -> Result<(), JournalError> {
    connection.busy_timeout(std::time::Duration::from_secs(2))?;
    connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(())
}

/// Brings an empty file, or a journal of any older layout, to the present layout.
pub fn migrate(connection: &mut Connection, path: &std::path::Path) -> Result<(), JournalError> {
    let (application, version) = marks(connection)?;
    let known = STEPS.len() as u32;
    let tables: u32 =
        connection.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    if application != APPLICATION_ID && tables > 0 {
        return Err(JournalError::NotOurs(path.to_owned()));
    }
    if version > known {
        return Err(JournalError::TooNew { found: version, known });
    }
    for (step, layout) in (1..).zip(STEPS).skip(version as usize) {
        let transaction = connection.transaction()?;
        transaction.execute_batch(layout)?;
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(None, "user_version", step)?;
        transaction.commit()?;
    }
    Ok(())
}

/// Refuses what a reader cannot understand; gives the file's layout.
pub fn check(connection: &Connection, path: &std::path::Path) -> Result<u32, JournalError> {
    let (application, version) = marks(connection)?;
    let known = STEPS.len() as u32;
    if application != APPLICATION_ID {
        return Err(JournalError::NotOurs(path.to_owned()));
    }
    if version > known {
        return Err(JournalError::TooNew { found: version, known });
    }
    Ok(version)
}

fn marks(connection: &Connection) -> Result<(i32, u32), JournalError> {
    let application = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let version = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    Ok((application, version))
}
