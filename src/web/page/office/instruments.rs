//! What stands on the bench: live readings, and the bench file as a form.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use maud::{Markup, html};
use serde::Deserialize;

use super::ink::Ink;
use super::recipe::value;
use super::recipe_form::{MASSES, TEMPERATURES, adder, more, row};
use super::zero;
use super::{CHANGED, note};
use crate::bench::{ChannelView, Role};
use crate::bench_file::edit::{Draft, FORM, draft};
use crate::bench_file::heard;
use crate::daemon::{Applied, BenchOnDisk, Desk, SaveError};
use crate::edit::Entry;
use crate::port::System;
use crate::reading::{Status, Value};
use crate::web::page::layout::{self, View};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .route("/instruments", get(overview))
        .route("/instruments/readings", get(live))
        .route("/instruments/setup", get(open).post(submit))
        .route("/instruments/apply", post(apply))
        .route("/instruments/zero", post(zero::set))
}

#[derive(Default, Deserialize)]
pub struct Asked {
    saved: Option<String>,
    told: Option<String>,
}

async fn overview(State(door): State<Door>, Query(asked): Query<Asked>) -> Result<Markup, Failure> {
    show(&door.desk, &asked, None).await
}

pub async fn show(desk: &Desk, asked: &Asked, refused: Option<&str>) -> Result<Markup, Failure> {
    let disk = desk.bench_on_disk().await.map_err(Failure::internal)?;
    let bench = desk.bench_file();
    let waits = disk
        .as_ref()
        .and_then(|disk| disk.kept.as_ref())
        .is_some_and(|kept| kept.digest != bench.digest);
    let body = html! {
        div class="heading" {
            h1 { "Instruments" }
            @if disk.is_some() {
                p class="row" {
                    a class="button main" href="/instruments/setup" { "Set up" }
                    a class="button" href="/instruments/vessels" { "Vessels" }
                }
            }
        }
        @match &disk {
            None => (note("careful", "this is a demonstration: its bench cannot be changed here")),
            Some(_) if asked.saved.is_some() && !waits => (note("good", "saved and in use")),
            Some(_) => {}
        }
        @if let Some(words) = refused { (note("wrong", words)) }
        @if asked.told.is_some() { (note("good", "the scale is told; leave the pan alone, and see below what it does")) }
        @if waits {
            div class="note careful" {
                p { "The bench file on the disk is another than the one in use. It can be taken into use "
                    "while no batch is open." }
                form method="post" action="/instruments/apply" { button type="submit" { "Use it now" } }
            }
        }
        @if bench.instruments.is_empty() {
            p { "Nothing is set up yet. Plug in the scale, then "
                a href="/instruments/setup" { "set it up" } "." }
        } @else {
            div id="readings" data-refresh="/instruments/readings" { (readings(desk)) }
            p class="soft" { "A value older than it may be is shown as —." }
            (zero::scales(desk))
        }
        @if !bench.vessels.is_empty() {
            h2 { "Vessels" }
            div class="wide" tabindex="0" role="region" aria-label="Vessels" { table {
                thead { tr { th scope="col" { "Vessel" } th scope="col" { "For" } th scope="col" class="number" { "Tare" }
                    th scope="col" class="number" { "Volume" } } }
                tbody { @for vessel in &bench.vessels { tr {
                    th scope="row" { (vessel.name) }
                    td { (vessel.purpose.words()) }
                    td class="number" { (vessel.tare.show(bench.units.mass, bench.units.mass.bench_decimals())) }
                    td class="number" { (vessel.volume.map_or("—".to_owned(), |volume| volume.to_string())) }
                } } }
            } }
        }
    };
    Ok(layout::page(View::Instruments, "Instruments", &["office.js"], &body))
}

async fn live(State(door): State<Door>) -> Markup {
    readings(&door.desk)
}

fn readings(desk: &Desk) -> Markup {
    let view = desk.view();
    html! {
        div class="wide" tabindex="0" role="region" aria-label="Readings" { table {
            thead { tr {
                th scope="col" { "Channel" } th scope="col" { "Role" } th scope="col" class="number" { "Reads" }
                th scope="col" { "State" } th scope="col" class="number" { "Readings" } th scope="col" class="number" { "Refused" }
            } }
            tbody { @for channel in &view.channels {
                @let port = view.instruments.iter().find(|port| port.instrument == channel.instrument);
                tr {
                    th scope="row" { (channel.channel.as_str()) }
                    td { (role(&channel.role)) }
                    td class="number large" { (shown(channel)) }
                    td {
                        (state(channel))
                        @if let Some(words) = zero::words(channel.zero) { p { (words) } }
                        @if let Some(trouble) = port.and_then(|port| port.trouble.as_ref()) {
                            p class="error-line" { (layout::sentence(trouble)) }
                        }
                    }
                    td class="number" { (port.map_or(0, |port| port.readings)) }
                    td class="number" { (port.map_or(0, |port| port.refused + port.damaged)) }
                }
            } }
        } }
    }
}

/// As the instrument itself shows it.
pub fn shown(channel: &ChannelView) -> String {
    match channel.value {
        Some(Value::Mass { mass, unit, decimals, .. }) => mass.show(unit, decimals),
        Some(Value::Temperature { temperature, unit, decimals }) => {
            temperature.show(unit, decimals)
        }
        None => "—".to_owned(),
    }
}

fn role(role: &Role) -> &'static str {
    match role {
        Role::Scale { .. } => "scale",
        Role::Probe { at, .. } => at.words(),
    }
}

fn state(channel: &ChannelView) -> String {
    if let Some(why) = &channel.lost {
        return format!("lost: {why}");
    }
    let Some(age) = channel.age else { return "nothing heard yet".to_owned() };
    match channel.status {
        _ if channel.value.is_none() => format!("silent for {age}"),
        Some(Status::Fault) => "reports a fault".to_owned(),
        Some(Status::OverLimit) => "over its limit".to_owned(),
        Some(Status::UnderZero) => "below zero".to_owned(),
        Some(Status::NeedsCalibration) => "asks to be calibrated".to_owned(),
        Some(Status::NeedsReZeroing) => "asks for a new zero".to_owned(),
        _ if matches!(channel.role, Role::Probe { .. }) => "reads".to_owned(),
        _ if channel.stable => "at rest".to_owned(),
        _ => "moving".to_owned(),
    }
}

async fn apply(State(door): State<Door>) -> Result<Response, Failure> {
    match door.desk.apply_bench().await {
        Ok(Applied::Yes) => Ok(Redirect::to("/instruments?saved=1").into_response()),
        Ok(Applied::Waits(batch)) => Err(Failure::bad_request(format!(
            "batch {batch} is open; close it first, then the new bench file can be used"
        ))),
        Err(error) => Err(Failure::bad_request(format!("{error:#}"))),
    }
}

async fn open(State(door): State<Door>) -> Result<Response, Failure> {
    let disk = on_disk(&door.desk).await?;
    let text = disk.kept.as_ref().map_or("", |kept| kept.text.as_str());
    let mut entry = entry_of(text)?;
    if text.is_empty() {
        let units = door.desk.bench_file().units;
        entry.set("masses", units.mass.to_string());
        entry.set("temperatures", units.temperature.symbol());
        let name = entry.add(&FORM, "instrument");
        name.and_then(|name| entry.add(&FORM, &format!("{name}.channel")));
    }
    let draft = judged(&disk, text, &entry)?;
    let opened = disk.kept.as_ref().map_or("", |kept| kept.digest.as_str());
    let nothing = BTreeMap::new();
    let wrong = if text.is_empty() { &nothing } else { &draft.wrong };
    Ok(setup(&door.desk, &entry, opened, wrong, Said::default()).into_response())
}

async fn submit(
    State(door): State<Door>,
    Filled(pairs): Filled<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let desk = &door.desk;
    let disk = on_disk(desk).await?;
    let refused = |error: String| Failure::bad_request(error);
    let mut entry = Entry::of_form(&FORM, &pairs).map_err(|error| refused(error.to_string()))?;
    let opened = value(&pairs, "opened").to_owned();
    let text = disk.kept.as_ref().map_or("", |kept| kept.text.as_str());
    let stale = disk.kept.as_ref().map_or("", |kept| kept.digest.as_str()) != opened;
    if stale {
        entry.forget_rows();
        let said = Said { refused: Some(CHANGED), ..Said::default() };
        return Ok(setup(desk, &entry, &opened, &BTreeMap::new(), said).into_response());
    }
    // vessels have a view of their own; what is run on an alarm is for the owner of the file to say,
    // not for every screen that was let in
    let kept = entry_of(text)?;
    *entry.rows_mut("vessel") = kept.rows("vessel").to_vec();
    *entry.part_mut("alarm") = kept.part("alarm").cloned().unwrap_or_default();
    let mut added = None;
    let act = value(&pairs, "do");
    if let Some(path) = act.strip_prefix("add:") {
        added = entry.add(&FORM, path);
        if let Some(name) = added.as_ref().filter(|_| path == "instrument") {
            entry.add(&FORM, &format!("{name}.channel"));
        }
    } else if let Some(name) = act.strip_prefix("drop:") {
        entry.drop_row(&FORM, name);
    } else if let Some(name) = act.strip_prefix("identify:") {
        let heard = identify(desk, &mut entry, name).await;
        let (wrong, words) = match heard {
            Ok(words) => (BTreeMap::new(), Some(words)),
            Err(why) => (BTreeMap::from([(format!("{name}.port"), vec![why])]), None),
        };
        let said = Said { heard: words.as_deref(), added: Some(name), ..Said::default() };
        return Ok(setup(desk, &entry, &opened, &wrong, said).into_response());
    } else if act == "save" {
        let mut draft = judged(&disk, text, &entry)?;
        unknown_sheets(desk, &entry, &mut draft.wrong);
        if !draft.wrong.is_empty() {
            let words = "not saved: what is marked below is missing or wrong";
            let said = Said { refused: Some(words), ..Said::default() };
            return Ok(setup(desk, &entry, &opened, &draft.wrong, said).into_response());
        }
        return save(desk, draft.text, &opened).await;
    }
    let said = Said { added: added.as_deref(), ..Said::default() };
    Ok(setup(desk, &entry, &opened, &BTreeMap::new(), said).into_response())
}

/// Listens to the port of a row and fills in what was heard. What the maker has named stays.
async fn identify(desk: &Desk, entry: &mut Entry, name: &str) -> Result<String, String> {
    let row = entry.row_mut(&FORM, name).ok_or("this row is not in the form any more")?;
    let port = row.get("port").to_owned();
    if port.is_empty() {
        return Err("choose the port first".to_owned());
    }
    let heard = desk.identify(std::path::Path::new(&port)).await?;
    let Some(best) = heard.fits.first() else {
        return Err(match heard.bytes {
            0 => "nothing came; is it switched on, and is sending switched on in its menu? \
                  `panroom identify` also asks it"
                .to_owned(),
            bytes => format!(
                "{bytes} bytes came, and no wire sheet fits them; `panroom identify` takes longer \
                 and says more"
            ),
        });
    };
    let called = match row.get("name") {
        "" => heard::kind(best),
        name => name,
    };
    let lines = heard::bench_lines(best, called, &port, Some(heard.line));
    let read = Entry::of_text(&FORM, &lines).map_err(|error| error.to_string())?;
    let found = &read.rows("instrument")[0];
    for key in ["name", "sheet", "baud", "data_bits", "parity", "stop_bits"] {
        row.set(key, found.get(key));
    }
    if row.rows("channel").iter().all(Entry::is_blank) {
        *row.rows_mut("channel") = found.rows("channel").to_vec();
        row.rows_mut("channel").iter_mut().for_each(Entry::forget_rows);
    }
    let others: Vec<&str> =
        heard.fits.iter().skip(1).take(3).map(|fit| fit.sheet.name.as_str()).collect();
    let also = match others.as_slice() {
        [] => String::new(),
        others => format!("; it could also be {}", others.join(" or ")),
    };
    Ok(format!(
        "it speaks like {} at {} and reads {}{also}; compare that with its display before you \
         trust it",
        best.sheet.name,
        heard.line.words(),
        best.readings.join(", "),
    ))
}

/// What the view has to say beside the form itself.
#[derive(Clone, Copy, Default)]
struct Said<'a> {
    /// Why nothing was saved.
    refused: Option<&'a str>,
    /// What was heard on a port.
    heard: Option<&'a str>,
    /// The row to go to.
    added: Option<&'a str>,
}

/// Saves a good bench file and takes it into use, unless a batch is open.
pub async fn save(desk: &Desk, text: String, opened: &str) -> Result<Response, Failure> {
    let opened = (!opened.is_empty()).then(|| opened.to_owned());
    match desk.save_bench(text, opened).await {
        Ok(()) => {}
        Err(error @ (SaveError::Io { .. } | SaveError::Exists(_))) => {
            return Err(Failure::unavailable(error.to_string()));
        }
        Err(error) => return Err(Failure::bad_request(error.to_string())),
    }
    // the overview says when it has to wait
    desk.apply_bench().await.map_err(|error| Failure::bad_request(format!("{error:#}")))?;
    Ok(Redirect::to("/instruments?saved=1").into_response())
}

pub async fn on_disk(desk: &Desk) -> Result<BenchOnDisk, Failure> {
    let disk = desk.bench_on_disk().await.map_err(Failure::internal)?;
    disk.ok_or_else(|| Failure::bad_request("the bench of this demonstration cannot be changed"))
}

pub fn entry_of(text: &str) -> Result<Entry, Failure> {
    Entry::of_text(&FORM, text).map_err(|error| {
        Failure::bad_request(format!("{error}; mend the bench file with an editor"))
    })
}

pub fn judged(disk: &BenchOnDisk, text: &str, entry: &Entry) -> Result<Draft, Failure> {
    let file = disk.path.display().to_string();
    draft(text, entry, &file).map_err(|error| Failure::bad_request(error.to_string()))
}

fn unknown_sheets(desk: &Desk, entry: &Entry, wrong: &mut BTreeMap<String, Vec<String>>) {
    for (index, instrument) in entry.rows("instrument").iter().enumerate() {
        let name = instrument.get("sheet");
        if let Some(error) = (!name.is_empty()).then(|| desk.sheets().find(name).err()).flatten() {
            let field = format!("instrument[{}].sheet", index + 1);
            wrong.entry(field).or_default().push(error.to_string());
        }
    }
}

const ROLES: &[(&str, &str)] = &[
    ("", "choose one"),
    ("scale", "the scale"),
    ("oils", "probe in the oils"),
    ("lye", "probe in the lye"),
    ("pot", "probe in the pot"),
    ("room", "probe in the room"),
    ("hand-held", "hand-held probe, told where it is"),
];
const UNITS: &[(&str, &str)] = &[
    ("", "as the wire says"),
    ("g", "g"),
    ("kg", "kg"),
    ("oz", "oz"),
    ("lb", "lb"),
    ("lb+oz", "lb+oz"),
    ("°C", "°C"),
    ("°F", "°F"),
];

fn setup(
    desk: &Desk,
    entry: &Entry,
    opened: &str,
    wrong: &BTreeMap<String, Vec<String>>,
    said: Said<'_>,
) -> Markup {
    let ink = Ink::new(entry, wrong);
    let sheets: Vec<(String, String)> = desk
        .sheets()
        .iter()
        .map(|(name, _, sheet)| (name.to_owned(), format!("{name}: {}", sheet.about)))
        .collect();
    let mut options = vec![("", "choose by the shape of what it sends")];
    options.extend(sheets.iter().map(|(name, words)| (name.as_str(), words.as_str())));
    let body = html! {
        h1 { "Set up the instruments" }
        @if let Some(words) = said.refused { (note("wrong", words)) }
        @if let Some(words) = said.heard { (note("good", words)) }
        @for words in wrong.get("").into_iter().flatten() { (note("wrong", words)) }
        (ink.wrong_with("instrument"))
        form method="post" action="/instruments/setup" class="fields" novalidate {
            input type="hidden" name="opened" value=(opened);
            p class="row" { button type="submit" class="main" name="do" value="save" { "Save and use" } }
            fieldset {
                legend { "The bench" }
                div class="grid" {
                    (ink.text("name", "Name", ""))
                    (ink.pick("masses", "Weigh in", MASSES))
                    (ink.pick("temperatures", "Temperatures in", TEMPERATURES))
                    (ink.text("altitude", "Height above the sea", "Water boils lower up there: 640 m or 2100 ft."))
                }
                p class="soft" { "A command that runs on alarms is set in the file itself, under [alarm]." }
            }
            @for (index, instrument) in ink.rows("instrument").iter().enumerate() {
                (row(instrument, &format!("Instrument {}", index + 1), &one(instrument, &options)))
            }
            p { (adder("instrument", "Another instrument")) }
            p class="row" { button type="submit" class="main" name="do" value="save" { "Save and use" } }
        }
        datalist id="ports" { @for port in System::default().ports() { option value=(port.best_name()) {} } }
        @if let Some(added) = said.added { div hidden id="go-to" data-row=(added) {} }
    };
    layout::page(View::Instruments, "Set up the instruments", &["office.js"], &body)
}

fn one(instrument: &Ink<'_>, sheets: &[(&str, &str)]) -> Markup {
    let name = instrument.name();
    html! {
        div class="grid" {
            (instrument.text("name", "Name", "What you call the box with the plug."))
            (instrument.listed("port", "Port", "Choose the one that appears when it is plugged in.", "ports"))
            (instrument.pick("sheet", "How it speaks", sheets))
        }
        button type="submit" class="small" name="do" value={ "identify:" (name) } formnovalidate
            data-wait="Listening. The answer comes here, after half a minute at most." {
            "Listen to it"
        }
        p class="soft" { "Put something on the pan, or press its print key: panroom listens for up to half a minute and "
            "finds the way it speaks. Nothing is sent to it." }
        (more("Serial line, where it differs from the sheet", instrument.is_used(&["baud", "data_bits", "parity", "stop_bits", "keep_awake"]), &html! {
            div class="grid" {
                (instrument.text("baud", "Baud", "Like 9600."))
                (instrument.pick("data_bits", "Data bits", &[("", "as the sheet says"), ("7", "7"), ("8", "8")]))
                (instrument.pick("parity", "Parity", &[("", "as the sheet says"), ("none", "none"), ("even", "even"), ("odd", "odd")]))
                (instrument.text("keep_awake", "Keep awake every", "Like 1 min. Only where the sheet has a command for it."))
                (instrument.pick("stop_bits", "Stop bits", &[("", "as the sheet says"), ("1", "1"), ("2", "2")]))
            }
        }))
        (instrument.wrong_with("channel"))
        @for (index, channel) in instrument.rows("channel").iter().enumerate() {
            (row(channel, &format!("Value {} it sends", index + 1), &html! {
                div class="grid" {
                    (channel.text("name", "Name", "Like scale, or pot probe."))
                    (channel.pick("role", "Role", ROLES))
                    (channel.text("source", "Which value", "Only where one line carries several: T1."))
                    (channel.pick("unit", "Unit", UNITS))
                    (channel.text("d", "Step of the scale, d", "Between two readings: 0.01 oz, 0.1 g."))
                    (channel.text("capacity", "Most it can weigh", "Max on the plate: 6 lb, 3 kg."))
                }
                (more("More from the plate", channel.is_used(&["class", "e", "minimum", "last_checked", "period"]), &html! {
                    div class="grid" {
                        (channel.pick("class", "Class", &[("", "none"), ("I", "I"), ("II", "II"), ("III", "III"), ("IIII", "IIII")]))
                        (channel.text("e", "Verification interval, e", ""))
                        (channel.text("minimum", "Least it should weigh", "Min on the plate."))
                        (channel.text("last_checked", "Last checked", "With a mass piece: 2026-11-02."))
                        (channel.text("period", "Speaks every", "Like 200 ms or 2 s."))
                    }
                }))
            }))
        }
        p { (adder(&format!("{name}.channel"), "Another value it sends")) }
    }
}
