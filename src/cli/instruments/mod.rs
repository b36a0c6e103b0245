//! What is plugged in, what it says, and how it speaks.

mod identify;
mod listen;
mod ports;
mod said;

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use crate::quantity::Span;
use crate::wire::{Command, Line, LineParity};

pub use identify::identify;
pub use listen::listen;
pub use ports::ports;

#[derive(Args)]
pub struct PortsArgs {
    /// Only this one, by any of its names
    port: Option<PathBuf>,
    /// Print the udev rule that gives it this name below /dev/panroom
    #[arg(long, value_name = "NAME", requires = "port", conflicts_with = "json")]
    rule: Option<String>,
    /// The group that may open it, in the rule
    #[arg(long, default_value = "dialout", value_name = "GROUP")]
    group: String,
    /// For programs
    #[arg(long)]
    json: bool,
}

#[derive(Args)]
pub struct ListenArgs {
    /// The port, by any of its names
    port: PathBuf,
    /// Read it by this wire sheet; one that is asked is asked
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// A folder of wire sheets of your own
    #[arg(long, value_name = "DIR")]
    sheets: Option<PathBuf>,
    /// Tell the instrument this once, by the command of its wire sheet, and see what it does
    #[arg(long, value_name = "COMMAND", requires = "sheet")]
    send: Option<CommandName>,
    /// Stop after this long, like "10 s" [default: until Ctrl-C]
    #[arg(long = "for", value_name = "TIME", value_parser = Span::parse)]
    long: Option<Span>,
    /// For programs: one JSON object a line
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    line: LineArgs,
}

#[derive(Args)]
pub struct IdentifyArgs {
    /// The port, by any of its names
    port: PathBuf,
    /// Take no longer than this
    #[arg(long = "for", value_name = "TIME", default_value = "45 s", value_parser = Span::parse)]
    long: Span,
    /// Ask nothing: write no byte to the port
    #[arg(long)]
    listen_only: bool,
    /// A folder of wire sheets of your own
    #[arg(long, value_name = "DIR")]
    sheets: Option<PathBuf>,
    /// For programs: one JSON object a line
    #[arg(long)]
    json: bool,
    /// What to call it [default: scale or thermometer]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// The group that may open it, in the udev rule
    #[arg(long, default_value = "dialout", value_name = "GROUP")]
    group: String,
}

/// Settings of the line; those of the sheet, or 9600, 8, none, 1, where left out.
#[derive(Args)]
struct LineArgs {
    /// Bits a second
    #[arg(long, value_parser = clap::value_parser!(u32).range(110..=1_000_000))]
    baud: Option<u32>,
    /// 7 or 8
    #[arg(long, value_parser = clap::value_parser!(u8).range(7..=8))]
    data_bits: Option<u8>,
    #[arg(long)]
    parity: Option<ParityName>,
    /// 1 or 2
    #[arg(long, value_parser = clap::value_parser!(u8).range(1..=2))]
    stop_bits: Option<u8>,
}

#[derive(Clone, Copy, ValueEnum)]
enum CommandName {
    /// The empty pan is zero
    Zero,
    /// What stands on the pan is zero; for a check of the bench, never in the middle of a batch
    Tare,
    /// Do not fall asleep
    KeepAwake,
}

impl From<CommandName> for Command {
    fn from(name: CommandName) -> Command {
        match name {
            CommandName::Zero => Command::Zero,
            CommandName::Tare => Command::Tare,
            CommandName::KeepAwake => Command::KeepAwake,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum ParityName {
    None,
    Even,
    Odd,
}

impl LineArgs {
    fn over(&self, line: Line) -> Line {
        let parity = self.parity.map(|parity| match parity {
            ParityName::None => LineParity::None,
            ParityName::Even => LineParity::Even,
            ParityName::Odd => LineParity::Odd,
        });
        Line {
            baud: self.baud.unwrap_or(line.baud),
            data_bits: self.data_bits.unwrap_or(line.data_bits),
            parity: parity.unwrap_or(line.parity),
            stop_bits: self.stop_bits.unwrap_or(line.stop_bits),
            ..line
        }
    }
}

/// A port that is no line but a device of USB reports, by the name the system gives it.
fn is_report_device(path: &Path) -> bool {
    let device = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    device.file_name().is_some_and(|name| name.to_string_lossy().starts_with("hidraw"))
}
