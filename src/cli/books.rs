//! What is on record: the ledger and the review, through the daemon when one runs, else straight
//! from the journal, read-only.

use std::io::Write;
use std::process::ExitCode;

use anyhow::bail;

use super::acts::client;
use super::args;
use super::args::Place;
use crate::bench::BatchId;
use crate::clock::civil;
use crate::daemon;
use crate::journal::{BatchRow, Reader};
use crate::review::{self, Review};
use crate::web::ClientError;

const WIDTH: usize = 100;

pub async fn ledger(at: Place, args: args::Table) -> anyhow::Result<ExitCode> {
    let rows: Vec<BatchRow> = match client(&at).get("/ledger").await {
        Err(ClientError::NoDaemon(_)) => match open(&at)? {
            Some(journal) => journal.batches()?,
            None => Vec::new(),
        },
        answer => answer?,
    };
    let mut out = std::io::stdout();
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&rows)?)?;
    } else if rows.is_empty() {
        writeln!(out, "No batch has been started yet.")?;
    } else {
        write!(out, "{}", review::ledger_text(&rows, &civil))?;
    }
    Ok(ExitCode::SUCCESS)
}

pub async fn review(at: Place, args: args::Review) -> anyhow::Result<ExitCode> {
    let batch = BatchId(args.batch);
    let review: Option<Review> = match client(&at).get(&format!("/review/{batch}")).await {
        Err(ClientError::NoDaemon(_)) => match open(&at)? {
            Some(journal) => daemon::review_of(&journal, &batch)?,
            None => None,
        },
        answer => Some(answer?),
    };
    let Some(review) = review else {
        bail!("no batch has the number {batch}; see `panroom ledger`")
    };
    let mut out = std::io::stdout();
    if args.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&review)?)?;
    } else {
        write!(out, "{}", review::text(&review, WIDTH, &civil))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// `None` when there is no journal yet.
fn open(at: &Place) -> anyhow::Result<Option<Reader>> {
    let path = at.folder.journal();
    if !path.exists() {
        return Ok(None);
    }
    Ok(Some(Reader::open(&path)?))
}
