//! How an instrument speaks that nobody has set up yet: listened to from the page.

use std::path::Path;
use std::sync::Arc;

use super::desk::Desk;
use crate::clock::Clock;
use crate::port::{Kind, PortSettings, System, hear};
use crate::quantity::Span;
use crate::wire::{Fit, Line, Recording, Sheet, rank};

/// What came of listening.
#[derive(Clone, Debug)]
pub struct Identified {
    /// The wire sheets that fit, the best first.
    pub fits: Vec<Fit>,
    /// The setting of the line at which they do.
    pub line: Line,
    /// Bytes heard in all.
    pub bytes: usize,
}

/// All of it, so that an answer comes while a person still waits for it; shorter than what the
/// page's gate allows for it.
const LONGEST: Span = Span::from_secs(30);
/// The first listening is longer: somebody walks to the scale and presses its key.
const FIRST: Span = Span::from_secs(5);
const EACH: Span = Span::from_millis(2500);
/// After a change of speed an adapter may deliver bytes taken at the one before.
const SETTLE: Span = Span::from_millis(200);
/// A fit is believed once it has held for so long.
const SURE_AFTER: Span = Span::from_millis(1500);

impl Desk {
    /// Listens at the settings of the line that wire sheets use, and writes no byte: what is asked
    /// by mistake may be tared. `panroom identify` takes longer and asks too.
    ///
    /// # Errors
    /// In words, when the port is in use, is not there, or somebody else is listening.
    pub async fn identify(&self, port: &Path) -> Result<Identified, String> {
        let Ok(_alone) = self.listening.try_lock() else {
            return Err("another port is being listened to; wait until that is done".to_owned());
        };
        let device = std::fs::canonicalize(port)
            .map_err(|error| format!("{} is not there: {error}", port.display()))?;
        let used = self.now().bench_file.instruments.iter().find_map(|instrument| {
            let same = std::fs::canonicalize(&instrument.port).is_ok_and(|path| path == device);
            same.then(|| instrument.name.clone())
        });
        if let Some(name) = used {
            return Err(format!("{} is in use by `{name}` already", port.display()));
        }
        let found = System::default().port_at(port);
        let reports = found.is_some_and(|found| found.kind == Kind::WeighingReports);
        let clock = Clock::new();
        let ends = clock.now() + LONGEST;
        let lines = if reports { vec![Line::default()] } else { self.ground.sheets.lines() };
        let mut heard = Identified { fits: Vec::new(), line: Line::default(), bytes: 0 };
        for (index, line) in lines.into_iter().enumerate() {
            let (settle, long) = if index == 0 { (Span::ZERO, FIRST) } else { (SETTLE, EACH) };
            let long = long.min(ends.since(clock.now()));
            if long <= settle {
                break;
            }
            let recording = self.listen(port, line, reports, &clock, [settle, long]).await?;
            heard.bytes += recording.byte_count() + recording.damaged_count();
            let mut fits = rank(&recording, &self.ground.sheets);
            fits.retain(Fit::fits);
            if !fits.is_empty() {
                return Ok(Identified { fits, line, ..heard });
            }
            // silent at the first is silent at all: at a wrong speed too some bytes come
            if heard.bytes == 0 {
                break;
            }
        }
        Ok(heard)
    }

    async fn listen(
        &self,
        port: &Path,
        line: Line,
        reports: bool,
        clock: &Clock,
        spans: [Span; 2],
    ) -> Result<Recording, String> {
        let sheet = Arc::new(Sheet::of_nothing(line, reports));
        let settings = PortSettings { path: port.to_owned(), line: sheet.line };
        let mut fits_since = None;
        let enough = |recording: &Recording| {
            if !rank(recording, &self.ground.sheets).first().is_some_and(Fit::fits) {
                fits_since = None;
                return false;
            }
            let now = clock.now();
            now.since(*fits_since.get_or_insert(now)) >= SURE_AFTER
        };
        hear(settings, &sheet, clock, spans, enough).await
    }
}
