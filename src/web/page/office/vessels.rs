//! The vessels register: each is known by its empty mass, so it is entered by weighing it.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::ink::Ink;
use super::instruments::{entry_of, judged, on_disk, save, shown};
use super::recipe::value;
use super::recipe_form::{adder, row};
use super::{CHANGED, note};
use crate::bench::{ChannelView, Role};
use crate::bench_file::edit::FORM;
use crate::daemon::Desk;
use crate::edit::Entry;
use crate::quantity::Mass;
use crate::reading::Value;
use crate::web::page::layout::{self, View};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .route("/instruments/vessels", get(open).post(submit))
        .route("/instruments/load", get(load))
}

async fn open(State(door): State<Door>) -> Result<Response, Failure> {
    let disk = on_disk(&door.desk).await?;
    let text = disk.kept.as_ref().map_or("", |kept| kept.text.as_str());
    let opened = disk.kept.as_ref().map_or("", |kept| kept.digest.as_str());
    Ok(view(&door.desk, &entry_of(text)?, opened, &BTreeMap::new(), None, None).into_response())
}

/// What the scale shows now, to be looked at before it is taken.
async fn load(State(door): State<Door>) -> Markup {
    on_the_pan(&door.desk)
}

async fn submit(
    State(door): State<Door>,
    Filled(pairs): Filled<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let desk = &door.desk;
    let disk = on_disk(desk).await?;
    let text = disk.kept.as_ref().map_or("", |kept| kept.text.as_str());
    let opened = value(&pairs, "opened").to_owned();
    let form =
        Entry::of_form(&FORM, &pairs).map_err(|error| Failure::bad_request(error.to_string()))?;
    let mut entry = entry_of(text)?;
    *entry.rows_mut("vessel") = form.rows("vessel").to_vec();
    if disk.kept.as_ref().map_or("", |kept| kept.digest.as_str()) != opened {
        let nothing = BTreeMap::new();
        return Ok(view(desk, &entry, &opened, &nothing, Some(CHANGED), None).into_response());
    }
    let (mut wrong, mut added, mut words) = (BTreeMap::new(), None, None);
    let act = value(&pairs, "do");
    if let Some(path) = act.strip_prefix("add:") {
        added = entry.add(&FORM, path);
    } else if let Some(name) = act.strip_prefix("drop:") {
        entry.drop_row(&FORM, name);
    } else if let Some(name) = act.strip_prefix("weigh:") {
        match weighed(desk) {
            Ok(tare) => {
                if let Some(row) = entry.row_mut(&FORM, name) {
                    row.set("tare", tare);
                }
            }
            Err(why) => {
                wrong.insert(format!("{name}.tare"), vec![why.to_owned()]);
            }
        }
        added = Some(name.to_owned());
    } else if act == "save" {
        let draft = judged(&disk, text, &entry)?;
        if draft.wrong.is_empty() {
            return save(desk, draft.text, &opened).await;
        }
        wrong = draft.wrong;
        words = Some("not saved: what is marked below is missing or wrong");
    }
    Ok(view(desk, &entry, &opened, &wrong, words, added.as_deref()).into_response())
}

/// The mass on the pan as a maker would write it, if it may be taken.
fn weighed(desk: &Desk) -> Result<String, &'static str> {
    let view = desk.view();
    let scale = scale(&view.channels).ok_or("no scale is set up; type the empty mass instead")?;
    let Some(Value::Mass { mass, unit, decimals, .. }) = scale.value else {
        return Err("the scale shows nothing now; is it on, and plugged in?");
    };
    let trusted = scale.status.is_some_and(|status| status.is_trusted());
    if !scale.stable || !trusted {
        return Err("the scale is not at rest; wait until it is, then take it");
    }
    if mass <= Mass::ZERO {
        return Err("nothing is on the pan; put the empty vessel there");
    }
    Ok(mass.show(unit, decimals))
}

fn scale(channels: &[ChannelView]) -> Option<&ChannelView> {
    channels.iter().find(|channel| matches!(channel.role, Role::Scale { .. }))
}

fn on_the_pan(desk: &Desk) -> Markup {
    let view = desk.view();
    html! {
        @match scale(&view.channels) {
            Some(channel) => {
                span class="large number" { (shown(channel)) }
                span class="beside" { (if channel.stable { "at rest" } else { "not at rest" }) }
            }
            None => "no scale is set up",
        }
    }
}

const PURPOSES: &[(&str, &str)] = &[
    ("", "choose one"),
    ("pot", "pot"),
    ("caustic cup", "cup for the caustic"),
    ("lye jug", "jug for the lye"),
    ("cup", "cup for anything else"),
    ("mould", "mould"),
];

fn view(
    desk: &Desk,
    entry: &Entry,
    opened: &str,
    wrong: &BTreeMap<String, Vec<String>>,
    words: Option<&str>,
    added: Option<&str>,
) -> Markup {
    let ink = Ink::new(entry, wrong);
    let rows = ink.rows("vessel");
    let elsewhere = wrong.iter().filter(|(field, _)| !field.starts_with("vessel"));
    let body = html! {
        h1 { "Vessels" }
        p { "The bench knows a vessel by its empty mass. Put it on the scale, clean and dry, and take what "
            "the scale shows. Nothing of aluminium, zinc or tin may touch caustic." }
        @if let Some(words) = words { (note("wrong", words)) }
        @for (field, words) in elsewhere {
            @for words in words { (note("wrong", &format!("{}: {words}", super::figures::named(field)))) }
        }
        p id="load" class="pan" data-refresh="/instruments/load" { (on_the_pan(desk)) }
        form method="post" action="/instruments/vessels" class="fields" novalidate {
            input type="hidden" name="opened" value=(opened);
            @if !rows.is_empty() {
                p class="row" { button type="submit" class="main" name="do" value="save" { "Save and use" } }
            }
            @for (index, vessel) in rows.iter().enumerate() {
                (row(vessel, &format!("Vessel {}", index + 1), &html! {
                    div class="grid" {
                        (vessel.text("name", "Name", "What you call it."))
                        (vessel.pick("for", "For", PURPOSES))
                        (vessel.listed("material", "Made of", "", "materials"))
                        (vessel.text("volume", "Holds", "To the brim: 5 l, 2 qt, 400 ml."))
                        (vessel.text("tare", "Empty mass", ""))
                    }
                    button type="submit" class="small" name="do" value={ "weigh:" (vessel.name()) } formnovalidate {
                        "Take what the scale shows"
                    }
                }))
            }
            p { (adder("vessel", "Another vessel")) }
        }
        datalist id="materials" {
            @for material in ["stainless steel", "polypropylene", "HDPE", "glass", "enamel", "silicone"] {
                option value=(material) {}
            }
        }
        @if let Some(added) = added { div hidden id="go-to" data-row=(added) {} }
    };
    layout::page(View::Instruments, "Vessels", &["office.js"], &body)
}
