use crate::bench::{ProbeAt, Role};
use crate::chemistry::{AccuracyClass, ScaleError, ScaleFacts, Verified};
use crate::problem::{Form, Table};
use crate::quantity::{Mass, MassUnit, Span, TemperatureUnit};
use crate::reading::Channel;

/// One box with one plug: a scale, or a thermometer of several probes.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    pub name: String,
    /// The device file, as the system names it.
    pub port: String,
    /// The wire sheet that says how it speaks.
    pub sheet: String,
    pub serial: SerialOverrides,
    /// The sheet's command against falling asleep is sent this often.
    pub keep_awake: Option<Span>,
    pub channels: Vec<ChannelFile>,
    pub line: Option<usize>,
}

/// What differs from the wire sheet on this bench.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SerialOverrides {
    pub baud: Option<u32>,
    pub data_bits: Option<u8>,
    pub parity: Option<Parity>,
    pub stop_bits: Option<StopBits>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    None,
    Even,
    Odd,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopBits {
    One,
    Two,
}

#[derive(Clone, Debug, PartialEq)]
pub struct ChannelFile {
    pub channel: Channel,
    pub role: Role,
    /// Which value of a frame that carries several: "T1".
    pub source: Option<String>,
    /// The file says the unit; otherwise the wire or the sheet does.
    pub unit_stated: bool,
    pub period: Option<Span>,
    /// For the scale only.
    pub scale: Option<ScaleFile>,
    pub line: Option<usize>,
}

/// What the plate and the papers of a scale say.
#[derive(Clone, Debug, PartialEq)]
pub struct ScaleFile {
    pub facts: ScaleFacts,
    /// Minimum capacity (Min) on the plate.
    pub minimum: Option<Mass>,
    /// The day it was last checked with a mass piece, as the maker wrote it.
    pub last_checked: Option<String>,
}

/// Speeds of the serial line that any adapter offers.
const BAUD: std::ops::Range<i64> = 110..1_000_001;
/// How often an instrument may be kept awake: not so often that it says nothing else, and before
/// the two minutes after which the first fall asleep (common practice, no source), or later.
const AWAKE: [Span; 2] = [Span::from_secs(5), Span::from_minutes(60)];
/// The slowest instrument that is still an instrument of a live bench.
const PERIOD_LONGEST: Span = Span::from_secs(60);

#[derive(Clone, Copy)]
enum RoleWord {
    Scale,
    Probe(ProbeAt),
}

const ROLES: [(&str, RoleWord); 6] = [
    ("scale", RoleWord::Scale),
    ("oils", RoleWord::Probe(ProbeAt::Oils)),
    ("lye", RoleWord::Probe(ProbeAt::Lye)),
    ("pot", RoleWord::Probe(ProbeAt::Pot)),
    ("room", RoleWord::Probe(ProbeAt::Room)),
    ("hand-held", RoleWord::Probe(ProbeAt::Hand)),
];

pub(super) fn instrument<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<Instrument> {
    let line = Some(form.line(&table.placed().place));
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "a name for it, like `bench scale`", "add it");
    let port = form.text(&mut table, "port");
    form.need(&table, "port", "its port, like `/dev/ttyUSB0`", "add it");
    let sheet = form.text(&mut table, "sheet");
    form.need(&table, "sheet", "the wire sheet that says how it speaks", "add it");
    let baud = form.whole(&mut table, "baud", BAUD);
    let data_bits = form.whole(&mut table, "data_bits", 7..9);
    let parities = [("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
    let parity = form.word(&mut table, "parity", &parities);
    let stop_bits = form.whole(&mut table, "stop_bits", 1..3);
    let keep_awake = form.quantity(&mut table, "keep_awake", Span::parse);
    let keep_awake = keep_awake.filter(|every| {
        let good = (AWAKE[0]..=AWAKE[1]).contains(&every.value);
        if !good {
            let expected = format!("{} to {}", AWAKE[0], AWAKE[1]);
            form.refuse(
                every,
                every.value.to_string(),
                &expected,
                "most sleep after 2 to 5 minutes",
            );
        }
        good
    });
    let rows = form.tables(&mut table, "channel");
    let expected = "at least one part [[instrument.channel]]";
    form.need(&table, "channel", expected, "add one for each value it sends");
    let count = rows.len();
    let channels: Vec<_> = rows.into_iter().filter_map(|row| channel(form, row)).collect();
    form.close(table);
    (channels.len() == count).then_some(())?;
    Some(Instrument {
        name: name?.value,
        port: port?.value,
        sheet: sheet?.value,
        serial: SerialOverrides {
            baud: baud.map(|baud| baud.value as u32),
            data_bits: data_bits.map(|bits| bits.value as u8),
            parity: parity.map(|parity| parity.value),
            stop_bits: stop_bits
                .map(|bits| if bits.value == 1 { StopBits::One } else { StopBits::Two }),
        },
        keep_awake: keep_awake.map(|every| every.value),
        channels,
        line,
    })
}

fn channel<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<ChannelFile> {
    let line = Some(form.line(&table.placed().place));
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "a name for it, like `scale` or `pot probe`", "add it");
    let role = form.word(&mut table, "role", &ROLES);
    let words = ROLES.map(|(word, _)| word).join(", ");
    form.need(&table, "role", &format!("one of {words}"), "add it");
    let source = form.text(&mut table, "source").map(|source| source.value);
    let period = form.quantity(&mut table, "period", Span::parse);
    let period = period.filter(|period| {
        let good = period.value > Span::ZERO && period.value <= PERIOD_LONGEST;
        if !good {
            let found = period.value.to_string();
            form.refuse(period, found, "more than 0 s and at most 60 s", "check the unit");
        }
        good
    });
    let role = role?.value;
    let unit_stated = table.has("unit");
    let (role, scale) = match role {
        RoleWord::Scale => {
            let (unit, scale) = scale(form, &mut table)?;
            (Role::Scale { facts: scale.facts, unit }, Some(scale))
        }
        RoleWord::Probe(at) => {
            let units = [
                ("°C", TemperatureUnit::Celsius),
                ("°F", TemperatureUnit::Fahrenheit),
                ("C", TemperatureUnit::Celsius),
                ("F", TemperatureUnit::Fahrenheit),
            ];
            let unit = form.word(&mut table, "unit", &units);
            let unit = unit.map_or(TemperatureUnit::Celsius, |unit| unit.value);
            (Role::Probe { at, unit }, None)
        }
    };
    form.close(table);
    let channel = Channel::new(&name?.value);
    let period = period.map(|period| period.value);
    Some(ChannelFile { channel, role, source, unit_stated, period, scale, line })
}

fn scale<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<(MassUnit, ScaleFile)> {
    let units = [("g", MassUnit::Gram), ("kg", MassUnit::Kilogram), ("oz", MassUnit::Ounce)]
        .into_iter()
        .chain([("lb", MassUnit::Pound), ("lb+oz", MassUnit::PoundOunce)])
        .chain([("mg", MassUnit::Milligram)])
        .collect::<Vec<_>>();
    let unit = form.word(table, "unit", &units).map_or(MassUnit::Gram, |unit| unit.value);
    let d = form.quantity(table, "d", Mass::parse);
    let expected = "its scale interval, the step between two readings, like `0.1 g`";
    form.need(table, "d", expected, "read it off the plate or the display");
    let capacity = form.quantity(table, "capacity", Mass::parse);
    let expected = "the most it can weigh, like `6 kg`";
    form.need(table, "capacity", expected, "read it off the plate; it may stand there as Max");
    let classes = [
        ("I", AccuracyClass::I),
        ("II", AccuracyClass::II),
        ("III", AccuracyClass::III),
        ("IIII", AccuracyClass::IIII),
    ];
    let class = form.word(table, "class", &classes).map(|class| class.value);
    let e = form.quantity(table, "e", Mass::parse);
    let minimum = form.quantity(table, "minimum", Mass::parse).map(|minimum| minimum.value);
    let last_checked = form.text(table, "last_checked").map(|date| date.value);
    if let (Some(e), None) = (&e, class) {
        let advice = "add `class`; a scale without a class has no e";
        form.refuse(e, "e without a class", "`class`, as on the plate", advice);
    }
    let (d, capacity) = (d?, capacity?);
    let verified = class.map(|class| Verified { class, e: e.map_or(d.value, |e| e.value) });
    let facts = ScaleFacts { d: d.value, capacity: capacity.value, verified };
    if let Err(error) = facts.check() {
        let (found, expected) = implausible(&error);
        form.refuse(&d, found, expected, "read the plate again, and check both units");
        return None;
    }
    Some((unit, ScaleFile { facts, minimum, last_checked }))
}

/// What was found and what a scale of that plate would have.
fn implausible(error: &ScaleError) -> (String, String) {
    const TABLE: &str = "(OIML R 76, table 3)";
    match error {
        ScaleError::Interval { d } => (d.to_string(), "more than 0 g".to_owned()),
        ScaleError::Capacity { capacity, d } => {
            (format!("a capacity of {capacity} in steps of {d}"), "at least ten steps".to_owned())
        }
        ScaleError::VerificationInterval { e, d } => (
            format!("e = {e} beside d = {d}"),
            "d ≤ e ≤ 10 d, as on every plate (OIML R 76, 3.1.2)".to_owned(),
        ),
        ScaleError::Intervals { class, e, intervals, least, most } => (
            format!("{intervals} intervals of e = {e} for class {class:?}"),
            format!("{least} to {most} {TABLE}"),
        ),
        ScaleError::TooFine { class, e, least } => {
            (format!("e = {e} for class {class:?}"), format!("at least {least} {TABLE}"))
        }
    }
}
