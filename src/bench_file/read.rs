//! The whole bench file, and what can only be judged across its parts.

use std::collections::BTreeMap;

use crate::bench::{ProbeAt, Role};
use crate::problem::{Form, Placed, Problems, Source, Table};
use crate::quantity::QuantityError;
use crate::recipe::{digest, units};

use super::{BenchFile, Instrument, VesselFile, instrument, law, vessel};

const ALTITUDE_EXPECTED: &str = "a height above the sea, like `640 m` or `2100 ft`";
/// The Dead Sea shore and the highest towns, with room to spare.
const ALTITUDE_M: std::ops::RangeInclusive<i64> = -450..=6000;

impl BenchFile {
    /// Reads and checks a bench file; every problem found is returned, in the order of the file.
    pub fn read(source: Source<'_>) -> Result<BenchFile, Problems> {
        let (mut form, table) = Form::open(source)?;
        let bench = read(&mut form, table, source);
        form.finish()?;
        Ok(bench)
    }
}

fn read<'a>(form: &mut Form<'a>, mut table: Table<'a>, source: Source<'_>) -> BenchFile {
    let name = form.text(&mut table, "name").map(|name| name.value);
    let units = units(form, &mut table);
    let altitude_m = form.quantity(&mut table, "altitude", altitude).map_or(0, |a| a.value);
    let mut places = Places::default();
    let mut instruments = Vec::new();
    let rows = form.tables(&mut table, "instrument");
    form.need(&table, "instrument", "at least one part [[instrument]]", "add it");
    for row in rows {
        let at = row.placed();
        let Some(instrument) = instrument::instrument(form, row) else { continue };
        places.check(form, &at, &instrument);
        instruments.push(instrument);
    }
    let mut vessels: Vec<VesselFile> = Vec::new();
    for row in form.tables(&mut table, "vessel") {
        let at = row.placed();
        let Some(vessel) = vessel::vessel(form, row) else { continue };
        if vessels.iter().any(|other| other.name.eq_ignore_ascii_case(&vessel.name)) {
            let found = format!("a second vessel called `{}`", vessel.name);
            form.refuse(&at, found, "a name of its own for each", "rename one of them");
        }
        vessels.push(vessel);
    }
    let alarm = form.table(&mut table, "alarm");
    let alarm_command = alarm.map(|mut alarm| {
        let command = form.texts(&mut alarm, "command");
        let expected = "a command and its arguments, like [\"notify\", \"soap\"]";
        form.need(&alarm, "command", expected, "add it, or remove [alarm]");
        form.close(alarm);
        command
    });
    let law = form.table(&mut table, "law");
    let settings = law::settings(form, law);
    form.close(table);
    BenchFile {
        file: source.file.to_owned(),
        digest: digest(source.text),
        name,
        units,
        altitude_m,
        instruments,
        vessels,
        settings,
        alarm_command: alarm_command.unwrap_or_default(),
    }
}

/// What may stand only once on a bench.
#[derive(Default)]
struct Places {
    names: BTreeMap<String, ()>,
    ports: BTreeMap<String, String>,
    channels: BTreeMap<String, String>,
    roles: BTreeMap<&'static str, String>,
}

impl Places {
    fn check(&mut self, form: &mut Form<'_>, at: &Placed<()>, instrument: &Instrument) {
        if self.names.insert(instrument.name.clone(), ()).is_some() {
            let found = format!("a second instrument called `{}`", instrument.name);
            form.refuse(at, found, "a name of its own for each", "rename one of them");
        }
        if let Some(other) = self.ports.insert(instrument.port.clone(), instrument.name.clone()) {
            let found = format!("port `{}` a second time, after `{other}`", instrument.port);
            let advice = "several probes of one box are several [[instrument.channel]]";
            form.refuse(at, found, "one instrument to a port", advice);
        }
        for channel in &instrument.channels {
            let name = channel.channel.as_str().to_owned();
            if let Some(other) = self.channels.insert(name.clone(), instrument.name.clone()) {
                let found = format!("a second channel called `{name}`, after that of `{other}`");
                form.refuse(at, found, "a name of its own for each", "rename one of them");
            }
            if matches!(channel.role, Role::Probe { at: ProbeAt::Hand, .. }) {
                // as many as there are hands
                continue;
            }
            let role = role_words(&channel.role);
            // each pot may have probes of its own; the scale and the room are everybody's
            let one_only = matches!(role, "scale" | "room");
            if let Some(other) = self.roles.insert(role, name.clone()).filter(|_| one_only) {
                let found = format!("`{name}` as {role}, after `{other}`");
                let (expected, advice) = match role {
                    "scale" => (
                        "one scale on a bench",
                        "keep the finer one; a second scale is a second bench file",
                    ),
                    _ => ("one probe for the room", "give one of them another role"),
                };
                form.refuse(at, found, expected, advice);
            }
        }
    }
}

fn role_words(role: &Role) -> &'static str {
    match role {
        Role::Scale { .. } => "scale",
        Role::Probe { at, .. } => at.words(),
    }
}

fn altitude(text: &str) -> Result<i32, QuantityError> {
    let (number, feet) = match text.trim() {
        t if t.ends_with("ft") => (t.trim_end_matches("ft"), true),
        t if t.ends_with('m') => (t.trim_end_matches('m'), false),
        t => {
            let (found, expected) = (t.to_owned(), ALTITUDE_EXPECTED);
            return Err(QuantityError::NoUnit { found, expected });
        }
    };
    let number: i64 = number.trim().replace('−', "-").parse().map_err(|_| {
        QuantityError::NotANumber { found: text.to_owned(), expected: ALTITUDE_EXPECTED }
    })?;
    // 1 ft = 0.3048 m exactly (international yard and pound agreement of 1959)
    let metres = if feet { number.saturating_mul(3048) / 10_000 } else { number };
    if !ALTITUDE_M.contains(&metres) {
        let expected = "−450 m to 6000 m";
        return Err(QuantityError::OutOfRange { found: text.to_owned(), expected });
    }
    Ok(metres as i32)
}
