//! One recipe, edited: opened, judged while it is typed, saved.

use std::collections::BTreeMap;

use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::{Deserialize, Serialize};

use super::figures::{figures, in_short};
use super::part;
use super::recipe_form::{Shown, text_view, view};
use crate::chemistry::FatTable;
use crate::daemon::{Desk, FileName, SaveError};
use crate::edit::Entry;
use crate::recipe::edit::{Draft, FORM, draft};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .route("/new-recipe", get(blank).post(submit_new))
        .route("/recipe-draft", post(judge))
        .route("/recipes/{file}", get(open).post(submit))
        .route("/recipes/{file}/text", get(open_text).post(save_text))
        .route("/recipes/{file}/put-away", post(put_away))
}

/// The pairs of a form, in its order.
type Pairs = Vec<(String, String)>;

#[derive(Deserialize)]
struct Asked {
    /// The recipe to begin from.
    from: Option<String>,
    #[serde(default)]
    saved: Option<String>,
}

/// What a form was made from.
struct Base {
    /// The name of its file; empty for a recipe from nothing.
    file: String,
    opened: String,
    text: String,
    /// It is another file than it was, or none.
    is_stale: bool,
}

async fn blank(State(door): State<Door>, Query(asked): Query<Asked>) -> Result<Response, Failure> {
    let desk = &door.desk;
    let Some(from) = asked.from.filter(|from| !from.is_empty()) else {
        let entry = beginning(desk);
        return shown(desk, None, &Base::nothing(), &entry, Said::default());
    };
    let from = file_name(&from)?;
    let shelved = shelved(desk, &from).await?;
    let mut entry = entry_of(&shelved.kept.text)?;
    let name = format!("{} (copy)", entry.get("name"));
    entry.set("name", name);
    let base = Base::of(&from, &shelved.kept.digest, shelved.kept.text);
    shown(desk, None, &base, &entry, Said::default())
}

async fn open(
    State(door): State<Door>,
    Path(file): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    let shelved = shelved(&door.desk, &file).await?;
    let Ok(entry) = entry_of(&shelved.kept.text) else {
        return Ok(Redirect::to(&format!("/recipes/{}/text", part(file.as_str()))).into_response());
    };
    let base = Base::of(&file, &shelved.kept.digest, shelved.kept.text);
    let said = Said { tried: true, saved: asked.saved.is_some(), ..Said::default() };
    shown(&door.desk, Some(&file), &base, &entry, said)
}

async fn submit_new(
    State(door): State<Door>,
    Filled(pairs): Filled<Pairs>,
) -> Result<Response, Failure> {
    submitted(&door.desk, None, &pairs).await
}

async fn submit(
    State(door): State<Door>,
    Path(file): Path<String>,
    Filled(pairs): Filled<Pairs>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    submitted(&door.desk, Some(&file), &pairs).await
}

async fn submitted(
    desk: &Desk,
    file: Option<&FileName>,
    pairs: &Pairs,
) -> Result<Response, Failure> {
    let (base, mut entry) = filled(desk, pairs).await?;
    let mut said = Said { tried: !value(pairs, "tried").is_empty(), ..Said::default() };
    let act = value(pairs, "do");
    if let Some(row) = act.strip_prefix("add:") {
        said.added = entry.add(&FORM, row);
    } else if let Some(row) = act.strip_prefix("drop:") {
        entry.drop_row(&FORM, row);
    } else if act == "save" || act == "save-new" {
        said.tried = true;
        let draft = judged(desk, &base, &entry)?;
        if draft.is_recipe && (!base.is_stale || act == "save-new") {
            let new = act == "save-new" || file.is_none();
            match save(desk, file.filter(|_| !new), &base, &entry, draft.text).await {
                Ok(file) => {
                    let path = format!("/recipes/{}?saved=1", part(file.as_str()));
                    return Ok(Redirect::to(&path).into_response());
                }
                Err(SaveError::Changed(_) | SaveError::Gone(_)) => said.is_changed = true,
                Err(error) => return Err(Failure::unavailable(error.to_string())),
            }
        }
    }
    said.is_changed |= base.is_stale;
    shown(desk, file, &base, &entry, said)
}

async fn save(
    desk: &Desk,
    file: Option<&FileName>,
    base: &Base,
    entry: &Entry,
    text: String,
) -> Result<FileName, SaveError> {
    match file {
        Some(file) => {
            desk.save_recipe(file, text, base.opened.clone()).await?;
            Ok(file.clone())
        }
        None => desk.add_recipe(entry.get("name").to_owned(), text).await,
    }
}

#[derive(Serialize)]
struct Judged {
    /// To be put in the place of the figures shown; every word of the maker is escaped.
    figures: String,
    short: String,
    wrong: BTreeMap<String, String>,
}

/// A draft while it is typed.
async fn judge(
    State(door): State<Door>,
    Filled(pairs): Filled<Pairs>,
) -> Result<Json<Judged>, Failure> {
    let (base, entry) = filled(&door.desk, &pairs).await?;
    let draft = judged(&door.desk, &base, &entry)?;
    let figures = figures(draft.plan.as_deref().ok(), &draft.wrong).into_string();
    let short = in_short(draft.plan.as_deref().ok(), &draft.wrong);
    let sentences = |words: &Vec<String>| {
        let words: Vec<String> =
            words.iter().map(|words| super::super::layout::sentence(words)).collect();
        words.join(" ")
    };
    let wrong = draft.wrong.iter().map(|(field, words)| (field.clone(), sentences(words)));
    Ok(Json(Judged { figures, short, wrong: wrong.collect() }))
}

async fn open_text(
    State(door): State<Door>,
    Path(file): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    let shelved = shelved(&door.desk, &file).await?;
    let problems = shelved.recipe.err().map(|problems| problems.to_string());
    let saved = asked.saved.is_some();
    Ok(text_view(&file, &shelved.kept.text, &shelved.kept.digest, problems.as_deref(), saved)
        .into_response())
}

#[derive(Deserialize)]
struct Text {
    text: String,
    opened: String,
}

/// The file as a hand writes it. It is saved with its mistakes, which are told: whoever mends a
/// file by hand may not be done in one go.
async fn save_text(
    State(door): State<Door>,
    Path(file): Path<String>,
    Filled(form): Filled<Text>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    // a form sends its lines as a typewriter would
    let text = form.text.replace("\r\n", "\n");
    match door.desk.save_recipe(&file, text.clone(), form.opened.clone()).await {
        Ok(()) => {
            let path = format!("/recipes/{}/text?saved=1", part(file.as_str()));
            Ok(Redirect::to(&path).into_response())
        }
        Err(error @ (SaveError::Changed(_) | SaveError::Gone(_))) => {
            let words = format!("{error}; copy your text, then open the file anew");
            Ok(text_view(&file, &text, &form.opened, Some(&words), false).into_response())
        }
        Err(error) => Err(Failure::unavailable(error.to_string())),
    }
}

/// Off the shelf, not off the disk.
async fn put_away(State(door): State<Door>, Path(file): Path<String>) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    shelved(&door.desk, &file).await?;
    door.desk.put_away(&file).await.map_err(|error| Failure::unavailable(error.to_string()))?;
    Ok(Redirect::to("/recipes?away=1").into_response())
}

/// What the view has to say beside the form itself.
#[derive(Default)]
struct Said {
    /// Somebody tried to save, or it is a file: what is missing is wrong now.
    tried: bool,
    saved: bool,
    /// On the disk, since it was opened.
    is_changed: bool,
    /// The row that was added just now.
    added: Option<String>,
}

fn shown(
    desk: &Desk,
    file: Option<&FileName>,
    base: &Base,
    entry: &Entry,
    said: Said,
) -> Result<Response, Failure> {
    let draft = judged(desk, base, entry)?;
    let bench = desk.bench_file();
    let pots: Vec<&str> = bench.pots().map(|pot| pot.name.as_str()).collect();
    let shown = Shown {
        file,
        base: (&base.file, &base.opened),
        entry,
        draft: &draft,
        tried: said.tried,
        saved: said.saved,
        is_changed: said.is_changed,
        added: said.added.as_deref(),
        pots: &pots,
    };
    Ok(view(&shown).into_response())
}

fn judged(desk: &Desk, base: &Base, entry: &Entry) -> Result<Draft, Failure> {
    let file = if base.file.is_empty() { "recipe.toml" } else { &base.file };
    draft(&base.text, entry, file, FatTable::built_in(), Some(&desk.bench_file()))
        .map_err(|error| Failure::bad_request(error.to_string()))
}

async fn filled(desk: &Desk, pairs: &Pairs) -> Result<(Base, Entry), Failure> {
    let mut entry =
        Entry::of_form(&FORM, pairs).map_err(|error| Failure::bad_request(error.to_string()))?;
    let (file, opened) = (value(pairs, "base").to_owned(), value(pairs, "opened").to_owned());
    if file.is_empty() {
        entry.forget_rows();
        return Ok((Base::nothing(), entry));
    }
    let name = file_name(&file)?;
    let there = desk.recipe(&name).await.map_err(Failure::internal)?;
    let base = match there.filter(|shelved| shelved.kept.digest == opened) {
        Some(shelved) => Base::of(&name, &opened, shelved.kept.text),
        None => {
            entry.forget_rows();
            Base { file, opened, text: String::new(), is_stale: true }
        }
    };
    Ok((base, entry))
}

impl Base {
    fn nothing() -> Base {
        let (file, opened, text) = Default::default();
        Base { file, opened, text, is_stale: false }
    }

    fn of(file: &FileName, opened: &str, text: String) -> Base {
        let (file, opened) = (file.as_str().to_owned(), opened.to_owned());
        Base { file, opened, text, is_stale: false }
    }
}

/// Where a new recipe begins: the units of the bench, and rows to fill in.
fn beginning(desk: &Desk) -> Entry {
    let units = desk.bench_file().units;
    let mut entry = Entry::default();
    entry.set("masses", units.mass.to_string());
    entry.set("temperatures", units.temperature.symbol());
    entry.set("process", "hot");
    entry.rows_mut("oil").extend([Entry::default(), Entry::default(), Entry::default()]);
    let mut caustic = Entry::default();
    caustic.set("alkali", "NaOH");
    entry.rows_mut("caustic").push(caustic);
    entry.part_mut("liquid").set("of", "water");
    entry
}

pub fn value<'a>(pairs: &'a Pairs, name: &str) -> &'a str {
    pairs.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value.as_str())
}

pub fn file_name(name: &str) -> Result<FileName, Failure> {
    FileName::new(name).map_err(|error| Failure::not_found(error.to_string()))
}

pub async fn shelved(desk: &Desk, file: &FileName) -> Result<crate::daemon::Shelved, Failure> {
    let found = desk.recipe(file).await.map_err(Failure::internal)?;
    found.ok_or_else(|| Failure::not_found(format!("no recipe is called `{}`", file.as_str())))
}

fn entry_of(text: &str) -> Result<Entry, Failure> {
    Entry::of_text(&FORM, text).map_err(|error| Failure::bad_request(error.to_string()))
}
