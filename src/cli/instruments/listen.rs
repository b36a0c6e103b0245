use std::io::Write;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::bail;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

use super::super::bench_side::{interrupted, sheets};
use super::said::Said;
use super::{ListenArgs, is_report_device};
use crate::clock::Clock;
use crate::port::{Counters, Event, Orders, PortSettings, run};
use crate::quantity::{Moment, Span};
use crate::wire::{
    Command, Decoder, Heard, Item, Line, Recording, Sheet, escape, plain_channels, reading_words,
};

/// Bytes of one line of the dump.
const ROW: usize = 16;
/// What is kept for the summary; a port may be listened to for hours.
const KEPT: usize = 16 * 1024;

pub async fn listen(args: ListenArgs) -> anyhow::Result<ExitCode> {
    let library = sheets(args.sheets.as_deref())?;
    let sheet = match &args.sheet {
        Some(name) => Sheet::clone(library.find(name)?),
        None => Sheet::of_nothing(Line::default(), is_report_device(&args.port)),
    };
    let command = args.send.map(Command::from);
    if let Some(missing) = command.filter(|command| sheet.commands.of(*command).is_none()) {
        bail!(
            "the wire sheet `{}` has no command `{}`; if the manual has one, add it to the sheet \
             under [commands]",
            sheet.name,
            missing.key()
        );
    }
    let line = args.line.over(sheet.line);
    let settings = PortSettings { path: args.port, line };
    let mut page = Page {
        out: std::io::stdout(),
        began: None,
        json: args.json,
        reads: args.sheet.is_some(),
        line: (!sheet.frame.is_report()).then_some(line),
        kept: Recording::default(),
    };
    let counters = Arc::new(Counters::default());
    let (sender, events) = unbounded_channel();
    let tell = move |event| drop(sender.send(event));
    let decoder = Decoder::new(Arc::new(sheet.clone()), plain_channels(&sheet));
    let clock = Clock::new();
    let orders = Arc::new(Orders::default());
    let told = Arc::clone(&orders);
    let reader = run(settings, decoder, clock.clone(), Arc::clone(&counters), told, tell);
    let give = || {
        if let Some(command) = command {
            orders.give(clock.now(), command);
        }
    };
    let over = async {
        match args.long {
            Some(long) => tokio::time::sleep(clock.real(long)).await,
            None => std::future::pending().await,
        }
    };
    tokio::select! {
        shown = show(&mut page, events, give) => shown?,
        () = reader => {}
        () = interrupted() => {}
        () = over => {}
    }
    page.summary(&counters)?;
    let heard = counters.counts();
    Ok(if heard.bytes + heard.damaged > 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Once the port is open for the first time, the command is given.
async fn show(
    page: &mut Page,
    mut events: UnboundedReceiver<Event>,
    give: impl Fn(),
) -> std::io::Result<()> {
    let mut given = false;
    while let Some(event) = events.recv().await {
        if event == Event::Back && !std::mem::replace(&mut given, true) {
            give();
        }
        page.event(event)?;
    }
    Ok(())
}

/// What is written as it comes.
struct Page {
    out: std::io::Stdout,
    began: Option<Moment>,
    json: bool,
    /// By a sheet: frames and readings are of use.
    reads: bool,
    /// `None` for a device of reports.
    line: Option<Line>,
    kept: Recording,
}

impl Page {
    fn event(&mut self, event: Event) -> std::io::Result<()> {
        if self.json {
            return self.object(&event);
        }
        match event {
            Event::Back => {
                let head = self.line.map_or_else(|| "reports".to_owned(), |line| line.words());
                writeln!(self.out, "open: {head}; Ctrl-C ends it")?;
            }
            Event::Lost { why } => writeln!(self.out, "lost: {why}")?,
            Event::Bytes { at, bytes } => {
                for row in bytes.chunks(ROW) {
                    let time = self.time(at);
                    writeln!(self.out, "{time}  {}", dump(row))?;
                }
                if self.kept.byte_count() < KEPT {
                    self.kept.heard.push(Heard::Bytes { at, bytes });
                }
            }
            Event::Damaged { at } => {
                let time = self.time(at);
                writeln!(self.out, "{time}  ??  a byte came with a wrong parity or stop bit")?;
            }
            Event::Told { at, command, bytes } => {
                let time = self.time(at);
                writeln!(self.out, "{time}  told `{}`, {}", escape(&bytes), command.key())?;
            }
            Event::Asked { at, bytes, .. } => {
                let time = self.time(at);
                writeln!(self.out, "{time}  asked `{}`", escape(&bytes))?;
            }
            Event::Frame { bytes, .. } if self.reads => {
                writeln!(self.out, "{:12}  frame `{}`", "", escape(&bytes))?;
            }
            Event::Item(Item::Reading(reading)) if self.reads => {
                writeln!(self.out, "{:12}  reads {}", "", reading_words(&reading))?;
            }
            Event::Item(Item::Refused { frame, why }) if self.reads => {
                writeln!(self.out, "{:12}  refused `{}`: {why}", "", escape(&frame))?;
            }
            Event::Health(health) if self.reads => {
                if let Some(words) = health.words() {
                    writeln!(self.out, "{words}")?;
                }
            }
            Event::Frame { .. } | Event::Item(_) | Event::Health(_) | Event::Quiet { .. } => {}
        }
        self.out.flush()
    }

    fn object(&mut self, event: &Event) -> std::io::Result<()> {
        let at = match event {
            Event::Bytes { at, .. }
            | Event::Damaged { at }
            | Event::Asked { at, .. }
            | Event::Told { at, .. }
            | Event::Frame { at, .. } => Some(*at),
            Event::Item(Item::Reading(reading)) => Some(reading.at),
            _ => None,
        };
        let at_s = at.map_or(0.0, |at| self.since(at).seconds());
        match Said::of(event, at_s, self.reads, self.line) {
            Some(said) => said.write(&mut self.out),
            None => Ok(()),
        }
    }

    /// Since the first that came.
    fn since(&mut self, at: Moment) -> Span {
        at.since(*self.began.get_or_insert(at))
    }

    /// The same, to the millisecond.
    fn time(&mut self, at: Moment) -> String {
        let since = self.since(at);
        format!("{:9}.{:03} s", since.millis() / 1000, since.millis() % 1000).split_off(1)
    }

    fn summary(&mut self, counters: &Counters) -> std::io::Result<()> {
        let counts = counters.counts();
        if self.json {
            let counted = Said::Counted {
                bytes: counts.bytes,
                damaged: counts.damaged,
                readings: counts.readings,
                frames_refused: counts.refused,
            };
            return counted.write(&mut self.out);
        }
        let mut words = format!("{} bytes", counts.bytes);
        if counts.damaged > 0 {
            words += &format!(", {} more with a wrong parity or stop bit", counts.damaged);
        }
        if self.reads {
            words += &format!(", {} readings, {} frames refused", counts.readings, counts.refused);
        }
        writeln!(self.out, "{words}")?;
        if !self.reads && counts.bytes > 0 {
            for line in self.kept.impression().words() {
                writeln!(self.out, "{line}")?;
            }
        }
        self.out.flush()
    }
}

/// Hex, and as text what is text: "53 54 2C 2B    ST,+".
fn dump(row: &[u8]) -> String {
    let hex: Vec<String> = row.iter().map(|byte| format!("{byte:02X}")).collect();
    let text: String = row
        .iter()
        .map(|&byte| if matches!(byte, b' '..=b'~') { char::from(byte) } else { '·' })
        .collect();
    format!("{:width$}  {text}", hex.join(" "), width = ROW * 3 - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_shown_in_hex_and_as_text() {
        let row = b"ST,+1.5\xb0g\r\n";
        let text = "53 54 2C 2B 31 2E 35 B0 67 0D 0A                 ST,+1.5·g··";
        assert_eq!(dump(row), text);
    }
}
