use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::bail;

use super::super::bench_side::sheets;
use super::said::{FitSaid, Said};
use super::{IdentifyArgs, is_report_device};
use crate::bench_file::heard;
use crate::clock::Clock;
use crate::port::{PortSettings, System, hear, rule};
use crate::quantity::{Moment, Span};
use crate::wire::{Fit, Line, Recording, Sheet, SheetLibrary, Talk, draft, lost_digit, rank};

/// The first listening is longer: somebody walks to the scale and presses its key.
const FIRST: Span = Span::from_secs(6);
/// At each further setting of the line.
const EACH: Span = Span::from_millis(2500);
/// For each sheet whose questions are asked, beside the rounds of its own.
const ASKING: Span = Span::from_millis(2500);
/// No sheet is asked for longer than this.
const ASKING_MOST: Span = Span::from_secs(10);
/// An instrument that has not answered by then has not understood.
const ANSWERS_WITHIN: Span = Span::from_millis(1600);
/// After a change of speed an adapter may deliver bytes taken at the one before; 100 ms were found
/// too short on some (from a widely used serial daemon's notes).
const SETTLE: Span = Span::from_millis(200);
/// A fit is believed once it has held for so long.
const SURE_AFTER: Span = Span::from_millis(1500);
/// So many bytes come by itself, and it speaks unasked: asking would only confuse it.
const SPEAKS_UNASKED: usize = 40;
/// Others that fit as well, shown.
const ALSO: usize = 3;

pub async fn identify(args: IdentifyArgs) -> anyhow::Result<ExitCode> {
    let library = sheets(args.sheets.as_deref())?;
    let reports = is_report_device(&args.port);
    let clock = Clock::new();
    let mut search = Search {
        port: args.port.clone(),
        library: &library,
        reports,
        ends: clock.now() + args.long,
        clock,
        tried: Vec::new(),
        json: args.json,
    };
    // to programs nothing is said in words
    let mut out: Box<dyn Write> =
        if args.json { Box::new(std::io::sink()) } else { Box::new(std::io::stdout()) };
    let found = search.listen(&mut out).await?;
    let found = match found {
        None if search.may_ask() && !args.listen_only => search.ask(&mut out).await?,
        found => found,
    };
    match found {
        Some(found) => {
            report(&mut out, &args, &found)?;
            Ok(ExitCode::SUCCESS)
        }
        None => {
            search.give_up(&mut out, args.listen_only)?;
            Ok(ExitCode::FAILURE)
        }
    }
}

/// A sheet that fits, with the others that do.
struct Found {
    fits: Vec<Fit>,
    /// As it was heard; `None` for a device of reports.
    line: Option<Line>,
}

/// One setting of the line, and what was heard at it.
struct Tried {
    line: Line,
    recording: Recording,
}

struct Search<'a> {
    port: PathBuf,
    library: &'a SheetLibrary,
    reports: bool,
    clock: Clock,
    ends: Moment,
    tried: Vec<Tried>,
    json: bool,
}

impl Search<'_> {
    /// At each setting of the line that some sheet uses. One that is silent at the first is silent
    /// at all of them: at a wrong speed too some bytes come.
    async fn listen(&mut self, out: &mut impl Write) -> anyhow::Result<Option<Found>> {
        let lines = if self.reports { vec![Line::default()] } else { self.library.lines() };
        for (index, line) in lines.into_iter().enumerate() {
            let (settle, long) = if index == 0 { (Span::ZERO, FIRST) } else { (SETTLE, EACH) };
            if index == 0 {
                writeln!(
                    out,
                    "Listening. Change what is on the pan; if it sends only on a key, press it now."
                )?;
            }
            let sheet = Arc::new(Sheet::of_nothing(line, self.reports));
            let Some(recording) = self.hear(&sheet, settle, long).await? else { break };
            let how = if self.reports { "reports".to_owned() } else { line.words() };
            let (bytes, damaged) = (recording.byte_count(), recording.damaged_count());
            self.heard(None, line, &recording)?;
            let damage = if damaged > 0 { format!(", {damaged} damaged") } else { String::new() };
            writeln!(out, "  {how}: {bytes} bytes{damage}")?;
            if let Some(found) = self.judge(line, recording) {
                return Ok(Some(found));
            }
            if bytes + damaged == 0 {
                break;
            }
        }
        Ok(None)
    }

    fn heard(
        &self,
        asked_as: Option<&str>,
        line: Line,
        recording: &Recording,
    ) -> std::io::Result<()> {
        say(self.json, || Said::Heard {
            asked_as: asked_as.map(str::to_owned),
            line: (!self.reports).then(|| line.into()),
            bytes: recording.byte_count(),
            damaged: recording.damaged_count(),
        })
    }

    fn may_ask(&self) -> bool {
        let most = self.tried.iter().map(|tried| tried.recording.byte_count()).max();
        !self.reports && most.unwrap_or(0) < SPEAKS_UNASKED
    }

    /// The questions of each sheet that has some, at its own setting of the line.
    async fn ask(&mut self, out: &mut impl Write) -> anyhow::Result<Option<Found>> {
        writeln!(out, "It says nothing by itself. Asking.")?;
        let mut asking: Vec<Arc<Sheet>> = self
            .library
            .iter()
            .filter(|(_, _, sheet)| matches!(sheet.talk, Talk::Answers { .. }))
            .map(|(_, _, sheet)| Arc::clone(sheet))
            .collect();
        asking.sort_by_key(|sheet| sheet.line.baud);
        for sheet in asking {
            let Some(recording) = self.hear(&sheet, Span::ZERO, asking_time(&sheet)).await? else {
                break;
            };
            self.heard(Some(&sheet.name), sheet.line, &recording)?;
            let bytes = recording.byte_count();
            writeln!(out, "  as `{}` asks: {bytes} bytes", sheet.name)?;
            if let Some(found) = self.judge(sheet.line, recording) {
                return Ok(Some(found));
            }
        }
        Ok(None)
    }

    /// `None` when the time is up.
    async fn hear(
        &self,
        sheet: &Arc<Sheet>,
        settle: Span,
        long: Span,
    ) -> anyhow::Result<Option<Recording>> {
        let now = self.clock.now();
        if now >= self.ends {
            return Ok(None);
        }
        let long = long.min(self.ends.since(now));
        let settings = PortSettings { path: self.port.clone(), line: sheet.line };
        let asks = matches!(sheet.talk, Talk::Answers { .. });
        let mut fits_since = None;
        let mut enough = |recording: &Recording| {
            let now = self.clock.now();
            let heard = recording.byte_count() + recording.damaged_count();
            if asks && heard == 0 {
                return now.since(self.began(recording)) >= ANSWERS_WITHIN;
            }
            if !rank(recording, self.library).first().is_some_and(Fit::fits) {
                fits_since = None;
                return false;
            }
            now.since(*fits_since.get_or_insert(now)) >= SURE_AFTER
        };
        match hear(settings, sheet, &self.clock, [settle, long], &mut enough).await {
            Ok(recording) => Ok(Some(recording)),
            Err(why) => bail!("{why}"),
        }
    }

    fn began(&self, recording: &Recording) -> Moment {
        recording.began().unwrap_or_else(|| self.clock.now())
    }

    fn judge(&mut self, line: Line, recording: Recording) -> Option<Found> {
        let mut fits = rank(&recording, self.library);
        fits.retain(Fit::fits);
        if fits.is_empty() {
            self.tried.push(Tried { line, recording });
            return None;
        }
        Some(Found { fits, line: (!self.reports).then_some(line) })
    }

    /// Nothing fits: what was heard, at the setting at which it looks most like a language.
    fn give_up(&self, out: &mut impl Write, listen_only: bool) -> std::io::Result<()> {
        let best = self.tried.iter().max_by_key(|tried| {
            let impression = tried.recording.impression();
            let nearest = rank(&tried.recording, self.library);
            let explained = nearest.first().map_or(0, |fit| fit.explained_percent);
            (impression.bytes > 0, explained, impression.text_percent, impression.bytes)
        });
        let came =
            |tried: &&Tried| tried.recording.byte_count() + tried.recording.damaged_count() > 0;
        let Some(best) = best.filter(came) else {
            say(self.json, || Said::NothingCame)?;
            writeln!(
                out,
                "\nNothing came.{}",
                if listen_only { " Nothing was asked." } else { "" }
            )?;
            return write!(out, "{SILENT}");
        };
        let impression = best.recording.impression();
        say(self.json, || Said::NothingFits {
            text_percent: impression.text_percent,
            ending: impression.ending,
            samples: impression.samples,
            draft_toml: draft(&best.recording, best.line),
        })?;
        let asked = best.recording.asked_by.as_ref();
        let asked = asked.map_or_else(String::new, |name| format!(", asked as `{name}` asks"));
        writeln!(out, "\nNo wire sheet fits. What came at {}{asked}:", best.line.words())?;
        for line in best.recording.impression().words() {
            writeln!(out, "  {line}")?;
        }
        if let Some(nearest) = rank(&best.recording, self.library).first() {
            writeln!(
                out,
                "  the nearest sheet is `{}`: {} frames read, {} refused, {} % of the bytes explained",
                nearest.sheet.name, nearest.frames, nearest.refused, nearest.explained_percent
            )?;
        }
        let Some(draft) = draft(&best.recording, best.line) else {
            return write!(out, "{UNKNOWN}");
        };
        write!(out, "{DRAFTED}\n{draft}")
    }
}

fn say(json: bool, said: impl FnOnce() -> Said) -> std::io::Result<()> {
    if json { said().write(&mut std::io::stdout()) } else { Ok(()) }
}

const SILENT: &str = "\
Look at these, one after the other:
  - Is it switched on, and is sending switched on in its menu? Some send only on their print key.
  - Is it the right cable? Some instruments need crossed wires (a null modem).
  - Is it the right port? Pull its plug and see which one `panroom ports` no longer lists.
  - Its manual, page \"data output\", says whether it must be asked, and with what.
";

const UNKNOWN: &str = "\
If that is text, the setting is right: write a wire sheet for it, as devices/README.md shows, and
prove it with `panroom sheet check`. If it is not, find speed, bits and parity in the manual, page
\"data output\", and look with `panroom listen PORT --baud N --data-bits N --parity P`.
";

const DRAFTED: &str = "\
That is text with a number at one place. The beginning of a wire sheet for it, drafted from these
lines; save it as my-instrument.toml. Compare each `reads` with the display. Then add, from the
manual, which words mean that it moves or is overloaded (devices/README.md shows how), and prove it
with `panroom sheet check my-instrument.toml`:
";

fn report(out: &mut impl Write, args: &IdentifyArgs, found: &Found) -> anyhow::Result<()> {
    let best = &found.fits[0];
    for (index, fit) in found.fits.iter().take(1 + ALSO).enumerate() {
        say(args.json, || Said::Fit(FitSaid::of(index + 1, fit)))?;
    }
    writeln!(out, "\nIt speaks like `{}`: {}", best.sheet.name, best.sheet.about)?;
    writeln!(out, "  {}", evidence(best))?;
    for reading in &best.readings {
        writeln!(out, "  reads {reading}")?;
    }
    for also in found.fits.iter().skip(1).take(ALSO) {
        writeln!(out, "It could also be `{}`: {}", also.sheet.name, evidence(also))?;
        for reading in &also.readings {
            writeln!(out, "  reads {reading}")?;
        }
    }
    writeln!(out, "Compare that with the display before you trust it.")?;
    if let Some(lost) = lost_digit(&best.sheet) {
        writeln!(
            out,
            "This shape cannot tell a line that lost a digit from another load: {}. If the manual \
             offers an output with a check or of fixed width, prefer it for caustic.",
            lost.words()
        )?;
    }
    let system = System::default();
    let port = system.port_at(&args.port);
    let shown = args.port.display().to_string();
    let path = port.as_ref().map_or(shown.as_str(), |port| port.best_name());
    let kind = heard::kind(best);
    let name = args.name.as_deref().unwrap_or(kind);
    writeln!(out, "\nFor the bench file:\n")?;
    let lines = heard::bench_lines(best, name, path, found.line);
    write!(out, "{lines}")?;
    say(args.json, || Said::Bench { toml: lines })?;
    let Some(port) = port else { return Ok(()) };
    let rule = rule(&port, &system.ports(), args.name.as_deref().unwrap_or(kind), &args.group);
    match rule {
        Ok(rule) => {
            writeln!(
                out,
                "\nFor /etc/udev/rules.d/70-panroom.rules (see udev/70-panroom.rules):\n"
            )?;
            write!(out, "{rule}")?;
            say(args.json, || Said::UdevRule { rule })?;
        }
        Err(why) => {
            writeln!(out, "\nNo udev rule: {why}")?;
            say(args.json, || Said::NoUdevRule { why: why.to_string() })?;
        }
    }
    Ok(())
}

/// Four rounds: enough to believe an instrument that answers each.
fn asking_time(sheet: &Sheet) -> Span {
    let Talk::Answers { every, .. } = &sheet.talk else { return ASKING };
    (ASKING + *every + *every + *every + *every).min(ASKING_MOST)
}

/// "24 frames read, 0 refused, 100 % of the bytes explained, each with a check that agrees".
fn evidence(fit: &Fit) -> String {
    let check = if fit.checked { ", each with a check that agrees" } else { "" };
    format!(
        "{} frames read, {} refused, {} % of the bytes explained{check}",
        fit.frames, fit.refused, fit.explained_percent
    )
}
