use std::net::SocketAddr;
use std::path::PathBuf;

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Parser, Subcommand, ValueEnum};

use super::instruments::{IdentifyArgs, ListenArgs, PortsArgs};
use crate::bench::{Observation, Outcome, ProbeAt, Remedy};
use crate::daemon::{Folder, PageOptions};
use crate::demo;
use crate::plan::{Alterations, TestMethod};
use crate::web::page::DEFAULT_ADDRESS;

/// Watches the scale and the thermometer of a soap maker's bench, guides the weighing, warns of too
/// much caustic and of too much heat, and keeps every reading of every batch.
///
/// panroom advises. It is no substitute for the safety data sheet, protective equipment, local
/// codes or licensed practice; it is no legal-for-trade scale and no safety-rated control.
#[derive(Parser)]
#[command(name = "panroom", version, max_term_width = 100)]
pub struct Args {
    /// The data folder: journal and socket [default: panroom in the XDG data folder]
    #[arg(long, global = true, value_name = "DIR")]
    data: Option<PathBuf>,
    #[command(subcommand)]
    pub command: Command,
}

/// Which daemon, or whose journal.
pub struct Place {
    pub folder: Folder,
}

#[derive(Subcommand)]
pub enum Command {
    /// Make a short batch on a simulated bench, through real serial ports
    Demo(Demo),
    /// Run the daemon in the foreground, until interrupted
    Serve(Serve),
    /// Where the bench page is, and the code that lets another screen in
    Page,
    /// Print the batch sheet of a recipe
    Plan(Plan),
    /// Print a complete recipe or bench file with remarks, to begin from
    Example(Example),
    /// Start a batch of a recipe
    Start(Start),
    /// Say yes to what is asked
    Confirm(Confirm),
    /// Choose what to do about too much or too little
    Choose(Choose),
    /// Say which of several vessels that weigh alike stands on the pan
    Vessel(Vessel),
    /// Ask what can be done about too little caustic, or too much
    Remedy(AskRemedy),
    /// Another bottle of what is being weighed: from here on it is of this lot
    Lot(Lot),
    /// Correct a mass on record that was wrong; the old one stays on record too
    Correct(Correct),
    /// Declare a mass that was not weighed here; it stays marked so
    Declare(Declare),
    /// Note what you see
    Observe(Observe),
    /// Acknowledge an alarm: you have seen it
    Acknowledge(Acknowledge),
    /// Quiet for a minute; acknowledges nothing
    Silence,
    /// What to do for a caustic splash; the time is kept, timers go on
    Emergency,
    /// The probe comes out of the pot for stirring; its alarms wait 90 s
    ProbeOut(ProbeOut),
    /// Say where the hand-held probe is now: lye, oils, pot, room, or away
    Hold(Hold),
    /// A temperature you read off a thermometer of your own; it stays marked so
    Measured(Measured),
    /// Record a test of the soap: result, and how it was done where the recipe does not say
    Test(Test),
    /// The scale is now with this batch; or have the scale take a zero
    Scale(Scale),
    /// This probe is now in this batch
    Probe(Probe),
    /// End the present step that waits for you, or the cook before its time
    Next(Next),
    /// Give a batch up
    Abandon(Abandon),
    /// Close a batch with its outcome
    Close(Close),
    /// Watch the bench live
    Watch(Watch),
    /// List the batches
    Ledger(Table),
    /// Show what a batch came to
    Review(Review),
    /// Play a batch again from its byte tape, and say whether the same comes out
    Replay(Replay),
    /// Wire sheets: how instruments speak
    Sheet(Sheet),
    /// List what is plugged in: lasting names, USB ids, who may open it
    Ports(PortsArgs),
    /// Show what comes from a port, byte by byte, as it comes
    Listen(ListenArgs),
    /// Find out how the instrument at a port speaks
    Identify(IdentifyArgs),
}

#[derive(clap::Args)]
pub struct Demo {
    /// What happens in it
    #[arg(long, value_enum, default_value_t)]
    pub story: Story,
    /// How many times faster than life, 1 to 10
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u8).range(1..=10))]
    pub speed: u8,
    /// You answer at the page: choose the remedy, see the alarms; the simulated hands only pour
    #[arg(long, conflicts_with = "no_page")]
    pub play: bool,
    #[command(flatten)]
    pub page: Page,
}

#[derive(Clone, Copy, Default, ValueEnum)]
pub enum Story {
    /// Nothing goes wrong
    #[default]
    AllRight,
    /// Too much caustic is poured, and spooned out again
    CausticOver,
    /// The scale is unplugged in mid-pour, and comes back
    ScaleUnplugged,
    /// Three pots at once on one scale
    ThreePots,
    /// The pot climbs towards boiling over; the warning is seen, and it cools
    BoilOverNear,
    /// The probe in the pot breaks in mid-cook; readings by hand keep it going
    BrokenProbe,
    /// The scale falls asleep in mid-pour, and wakes with another zero
    ScaleAsleep,
    /// The unit key is pressed in mid-pour, and pressed back
    UnitKey,
    /// A second spoonful of caustic is owned up to when all has dissolved; part of the lye is used
    CausticLate,
    /// Cold process: the lye is made first, and the oils follow it
    LyeFirst,
}

#[derive(clap::Args)]
pub struct Serve {
    /// The bench file: ports, instruments, channels, units [default: bench.toml in the data folder,
    /// set up on the page]
    #[arg(long, value_name = "FILE")]
    pub bench: Option<PathBuf>,
    /// A folder of wire sheets of your own; one of the same name replaces ours
    #[arg(long, value_name = "DIR")]
    pub sheets: Option<PathBuf>,
    #[command(flatten)]
    pub page: Page,
    /// Times as fast as life; for tests on simulated instruments
    #[arg(long, hide = true, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=10))]
    pub speed: u8,
}

/// The bench page.
#[derive(clap::Args)]
pub struct Page {
    /// Where the page is served, like 127.0.0.1:7267 for this machine alone, or 0.0.0.0:7267 for
    /// every paired screen in the house [default: 127.0.0.1:7267, or another port when it is taken]
    #[arg(long, value_name = "ADDRESS")]
    page: Option<SocketAddr>,
    /// Serve no page
    #[arg(long, conflicts_with = "page")]
    no_page: bool,
    /// Encrypt the page with a certificate of this bench's own. A browser warns of it once: go on
    /// when it shows the fingerprint that stands in the terminal
    #[arg(long, conflicts_with = "no_page")]
    tls: bool,
}

impl Page {
    pub fn options(&self) -> Option<PageOptions> {
        let address = self.page.unwrap_or(DEFAULT_ADDRESS);
        let anywhere = self.page.is_none();
        (!self.no_page).then_some(PageOptions { address, anywhere, tls: self.tls })
    }
}

#[derive(clap::Args)]
pub struct Plan {
    /// The recipe
    pub recipe: PathBuf,
    /// The bench it is weighed on
    #[arg(long, value_name = "FILE")]
    pub bench: Option<PathBuf>,
    /// One page of HTML to print
    #[arg(long, conflicts_with = "json")]
    pub html: bool,
    /// Unrounded, for programs
    #[arg(long)]
    pub json: bool,
    #[command(flatten)]
    pub altered: Altered,
}

/// The recipe larger, smaller, or with another oil; its file stays as it is.
#[derive(clap::Args)]
pub struct Altered {
    /// So many times as much, like 1.5
    #[arg(long, value_name = "FACTOR")]
    times: Option<String>,
    /// So much of oils in all, like "1 kg"
    #[arg(long, value_name = "MASS")]
    oils: Option<String>,
    /// So much of everything in all, like "1.5 kg"
    #[arg(long, value_name = "MASS")]
    batch: Option<String>,
    /// As far as one ingredient goes, like "shea butter = 410 g"
    #[arg(long, value_name = "INGREDIENT = MASS")]
    have: Option<String>,
    /// To fill a part of a pot or mould of this volume, like "2 l"
    #[arg(long, value_name = "VOLUME")]
    fill: Option<String>,
    /// How full [default: 50 %]
    #[arg(long, value_name = "SHARE", requires = "fill")]
    part: Option<String>,
    /// One oil for another, like "olive oil = lard"; may be said several times
    #[arg(long, value_name = "OIL = OIL")]
    swap: Vec<String>,
}

impl From<Altered> for Alterations {
    fn from(altered: Altered) -> Alterations {
        let Altered { times, oils, batch, have, fill, part, swap } = altered;
        Alterations { times, oils, batch, have, fill, part, swap }
    }
}

#[derive(clap::Args)]
pub struct Example {
    pub what: ExampleName,
}

#[derive(Clone, Copy, ValueEnum)]
pub enum ExampleName {
    Recipe,
    Bench,
}

#[derive(clap::Args)]
pub struct Start {
    /// The recipe
    pub recipe: PathBuf,
    /// Who is at the bench
    #[arg(long, value_name = "NAME")]
    pub operator: Option<String>,
    /// The lot an ingredient is taken from, like "olive oil = OL-23"; may be given for several
    #[arg(long = "lot", value_name = "INGREDIENT = LOT")]
    pub lots: Vec<String>,
    /// An oil that is in the pot already, like "olive oil = 400 g ± 10 g"; may be given for several
    #[arg(long = "in-pot", value_name = "OIL = MASS")]
    pub in_pot: Vec<String>,
    #[command(flatten)]
    pub altered: Altered,
}

#[derive(clap::Args)]
pub struct Confirm {
    /// The number of the question [default: the one asked now]
    pub question: Option<u64>,
    /// The batch that asks, by its number or the letter of its pot
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Choose {
    #[arg(value_parser = remedies())]
    pub remedy: Remedy,
    /// The number of the question [default: the one asked now]
    pub question: Option<u64>,
    /// The batch that asks, by its number or the letter of its pot
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Vessel {
    /// As the bench file names it, or `another`: one that only weighs like it
    pub vessel: String,
    /// The number of the question [default: the one asked now]
    pub question: Option<u64>,
    /// The batch that asks, by its number or the letter of its pot
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Correct {
    /// The ingredient as the recipe names it
    pub ingredient: String,
    /// What there really is of it in all, with what a remedy added, like "12.5 g" or "4 oz"
    pub mass: String,
    /// Why the mass on record is wrong
    pub reason: String,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Lot {
    /// As the label says
    pub lot: String,
    /// The batch, by its number or the letter of its pot [default: the one that asks, or the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct AskRemedy {
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Declare {
    /// The ingredient as the recipe names it
    pub ingredient: String,
    /// Its mass with the unit, like "12.5 g" or "4 oz"
    pub mass: String,
    /// The batch, by its number or the letter of its pot [default: the one that asks, or the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Observe {
    pub what: ObservationName,
    /// In your own words
    #[arg(default_value = "")]
    pub note: String,
    /// The batch, by its number or the letter of its pot [default: the one that asks, or the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
pub enum ObservationName {
    Trace,
    Separation,
    Paste,
    Gel,
    Cooked,
    Foam,
    Other,
}

#[derive(clap::Args)]
pub struct Acknowledge {
    /// The alarm as `panroom watch` names it [default: all that are raised]
    pub alarm: Option<String>,
    /// Only those of this batch, by its number or the letter of its pot
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
#[command(args_conflicts_with_subcommands = true, subcommand_negates_reqs = true)]
pub struct Scale {
    /// The batch, by its number or the letter of its pot
    #[arg(required = true)]
    pub batch: Option<String>,
    #[command(subcommand)]
    pub command: Option<ScaleCommand>,
}

#[derive(Subcommand)]
pub enum ScaleCommand {
    /// The pan is empty: have the scale call that zero, by the command of its wire sheet
    Zero {
        /// The scale's channel, as the bench file names it [default: the only scale]
        channel: Option<String>,
    },
}

#[derive(clap::Args)]
pub struct Probe {
    /// The probe's channel, as the bench file names it
    pub channel: String,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct ProbeOut {
    /// The batch, by its number or the letter of its pot [default: the one that asks, or the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Hold {
    /// Where it is
    pub place: PlaceName,
    /// The hand-held probe, as the bench file names it [default: the only one]
    #[arg(long, value_name = "CHANNEL")]
    pub channel: Option<String>,
    /// It stays there until you say otherwise
    #[arg(long)]
    pub stays: bool,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PlaceName {
    Lye,
    Oils,
    Pot,
    Room,
    /// Nowhere: it counts for nothing
    Away,
}

#[derive(clap::Args)]
pub struct Measured {
    /// Of what: lye, oils, pot or room
    pub place: PlaceName,
    /// With its unit, like "100 °F" or "38 °C"
    pub temperature: String,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Test {
    /// The test as the recipe names it, or a name of your own
    pub name: String,
    /// The result: a pH like 9.8, or a word like "clear"
    pub result: String,
    /// By what, if not as the recipe says
    #[arg(long, value_enum)]
    pub by: Option<MethodName>,
    /// How the sample was made, if not as the recipe says
    #[arg(long)]
    pub sample: Option<String>,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
pub enum MethodName {
    /// A pH meter
    Meter,
    /// Test strips
    Strip,
    /// Drops that change colour; soap's own pH pinks them on a wet bar anyway
    Indicator,
    /// The tongue; refused after too much caustic
    Zap,
    /// As the name and the sample say
    Other,
}

impl From<MethodName> for TestMethod {
    fn from(name: MethodName) -> TestMethod {
        match name {
            MethodName::Meter => TestMethod::Meter,
            MethodName::Strip => TestMethod::Strip,
            MethodName::Indicator => TestMethod::Indicator,
            MethodName::Zap => TestMethod::Zap,
            MethodName::Other => TestMethod::Other,
        }
    }
}

impl From<PlaceName> for Option<ProbeAt> {
    fn from(name: PlaceName) -> Option<ProbeAt> {
        match name {
            PlaceName::Lye => Some(ProbeAt::Lye),
            PlaceName::Oils => Some(ProbeAt::Oils),
            PlaceName::Pot => Some(ProbeAt::Pot),
            PlaceName::Room => Some(ProbeAt::Room),
            PlaceName::Away => None,
        }
    }
}

#[derive(clap::Args)]
pub struct Next {
    /// The batch, by its number or the letter of its pot [default: the one that asks, or the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Abandon {
    /// Why
    pub reason: String,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(clap::Args)]
pub struct Close {
    /// How it came out
    #[arg(value_enum, default_value_t)]
    pub outcome: OutcomeName,
    /// In your own words
    #[arg(default_value = "")]
    pub note: String,
    /// The batch, by its number or the letter of its pot [default: the only one]
    #[arg(long)]
    pub batch: Option<String>,
}

#[derive(Clone, Copy, Default, ValueEnum)]
pub enum OutcomeName {
    #[default]
    Finished,
    Failed,
}

#[derive(clap::Args)]
pub struct Watch {
    /// The whole view once, for programs
    #[arg(long)]
    pub json: bool,
    /// Once, and no more
    #[arg(long)]
    pub once: bool,
}

#[derive(clap::Args)]
pub struct Table {
    /// For programs
    #[arg(long)]
    pub json: bool,
}

#[derive(clap::Args)]
pub struct Review {
    /// The batch, as `panroom ledger` numbers it
    pub batch: String,
    /// For programs
    #[arg(long)]
    pub json: bool,
}

#[derive(clap::Args)]
pub struct Replay {
    /// The batch, as `panroom ledger` numbers it
    #[arg(required_unless_present = "session")]
    pub batch: Option<String>,
    /// A whole session instead: one run of the daemon, counted from 1
    #[arg(long, value_name = "NUMBER", conflicts_with = "batch")]
    pub session: Option<u32>,
    /// Watch it, so many times faster than life, 1 to 10 [default: at once, unseen]
    #[arg(long, value_parser = clap::value_parser!(u8).range(1..=10))]
    pub speed: Option<u8>,
    /// What this wire sheet would have read, beside what was read
    #[arg(long, value_name = "FILE", conflicts_with = "speed")]
    pub sheet: Option<PathBuf>,
    /// The instrument the sheet is for [default: the one that was read by a sheet of its name]
    #[arg(long, value_name = "NAME", requires = "sheet")]
    pub instrument: Option<String>,
    /// For programs
    #[arg(long)]
    pub json: bool,
}

#[derive(clap::Args)]
pub struct Sheet {
    #[command(subcommand)]
    pub command: SheetCommand,
}

#[derive(Subcommand)]
pub enum SheetCommand {
    /// List the wire sheets that come with panroom
    List(Table),
    /// Run the examples inside a wire sheet
    Check {
        /// The sheet
        file: PathBuf,
    },
}

impl Args {
    /// The folder named with `--data`, if one was.
    pub fn data(&self) -> Option<Folder> {
        self.data.as_ref().map(Folder::new)
    }

    pub fn place(&self) -> anyhow::Result<Place> {
        let folder = match &self.data {
            Some(path) => Folder::new(path),
            None => Folder::of_user()?,
        };
        Ok(Place { folder })
    }
}

impl Story {
    const fn name(self) -> &'static str {
        match self {
            Story::AllRight => "all-right",
            Story::CausticOver => "caustic-over",
            Story::ScaleUnplugged => "scale-unplugged",
            Story::ThreePots => "three-pots",
            Story::BoilOverNear => "boil-over-near",
            Story::BrokenProbe => "broken-probe",
            Story::ScaleAsleep => "scale-asleep",
            Story::UnitKey => "unit-key",
            Story::CausticLate => "caustic-late",
            Story::LyeFirst => "lye-first",
        }
    }
}

impl Demo {
    pub fn options(&self, data: Option<Folder>) -> demo::Options {
        demo::Options {
            story: self.story.name(),
            speed: self.speed,
            folder: data,
            page: self.page.options(),
            play: self.play,
        }
    }
}

/// Every remedy by its word, with what it is.
fn remedies() -> impl clap::builder::TypedValueParser<Value = Remedy> {
    let words = Remedy::ALL.map(|remedy| PossibleValue::new(remedy.word()).help(remedy.title()));
    let of = |word: String| Remedy::ALL.into_iter().find(|remedy| remedy.word() == word);
    PossibleValuesParser::new(words).try_map(move |word| of(word).ok_or("no remedy of this name"))
}

impl From<OutcomeName> for Outcome {
    fn from(name: OutcomeName) -> Outcome {
        match name {
            OutcomeName::Finished => Outcome::Finished,
            OutcomeName::Failed => Outcome::Failed,
        }
    }
}

impl From<ObservationName> for Observation {
    fn from(name: ObservationName) -> Observation {
        match name {
            ObservationName::Trace => Observation::Trace,
            ObservationName::Separation => Observation::Separation,
            ObservationName::Paste => Observation::Paste,
            ObservationName::Gel => Observation::Gel,
            ObservationName::Cooked => Observation::Cooked,
            ObservationName::Foam => Observation::Foam,
            ObservationName::Other => Observation::Other,
        }
    }
}
