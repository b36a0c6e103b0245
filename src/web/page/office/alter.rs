//! The batch sheet of a recipe, as it stands or made larger, smaller, or with another oil.

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::recipe::{file_name, shelved};
use super::{note, part};
use crate::chemistry::FatTable;
use crate::daemon::{Desk, FileName};
use crate::edit::{self, Entry};
use crate::plan::{self, Alterations, Plan, sheet};
use crate::recipe::Recipe;
use crate::recipe::edit::{FORM, adopt};
use crate::web::page::form::{Field, choice, field};
use crate::web::page::layout::{self, View};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new().route("/recipes/{file}/sheet", get(show).post(keep))
}

/// What is to be different from the file.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Wish {
    pub how: String,
    pub to: String,
    pub swap: String,
    pub by: String,
}

const HOWS: &[(&str, &str)] = &[
    ("", "as it stands"),
    ("times", "so many times"),
    ("oils", "to a mass of oils"),
    ("batch", "to a mass of everything"),
    ("have", "as far as one ingredient goes"),
    ("fill", "to half of a pot or mould"),
];

impl Wish {
    pub fn alterations(&self) -> Alterations {
        let to = || Some(self.to.trim().to_owned());
        let mut altered = Alterations { swap: self.swaps(), ..Alterations::default() };
        match self.how.as_str() {
            "times" => altered.times = to(),
            "oils" => altered.oils = to(),
            "batch" => altered.batch = to(),
            "have" => altered.have = to(),
            "fill" => altered.fill = to(),
            _ => {}
        }
        altered
    }

    fn swaps(&self) -> Vec<String> {
        let (out, by) = (self.swap.trim(), self.by.trim());
        if out.is_empty() { Vec::new() } else { vec![format!("{out} = {by}")] }
    }

    /// The same wish as the end of an address; empty when there is none.
    pub fn query(&self) -> String {
        let pairs = [("how", &self.how), ("to", &self.to), ("swap", &self.swap), ("by", &self.by)];
        let said = pairs.iter().filter(|(_, text)| !text.is_empty());
        let said: Vec<String> = said.map(|(name, text)| format!("{name}={}", part(text))).collect();
        if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
    }

    pub fn is_none(&self) -> bool {
        self.alterations() == Alterations::default()
    }
}

/// What came of a wish; what is wrong is told beside the field it comes from.
struct Granted {
    plan: Option<Plan>,
    wrong_to: Option<String>,
    wrong_swap: Option<String>,
    wrong: Vec<String>,
}

async fn grant(desk: &Desk, recipe: &Recipe, wish: &Wish) -> Granted {
    let fats = FatTable::built_in();
    let mut granted = Granted { plan: None, wrong_to: None, wrong_swap: None, wrong: Vec::new() };
    let swap = Alterations { swap: wish.swaps(), ..Alterations::default() };
    if let Err(error) = swap.apply(recipe, fats) {
        granted.wrong_swap = Some(layout::sentence(&error.to_string()));
        return granted;
    }
    match wish.alterations().apply(recipe, fats) {
        Err(error) => granted.wrong_to = Some(layout::sentence(&error.to_string())),
        Ok(recipe) => {
            let bench = desk.bench_file();
            let ledger = desk.ledger_for(&recipe).await;
            let options = plan::Options { ledger, ..plan::Options::default() };
            match plan::plan(&recipe, fats, Some(&bench), &options) {
                Ok(plan) => granted.plan = Some(plan),
                Err(problems) => granted.wrong = problems.0.iter().map(edit::words_of).collect(),
            }
        }
    }
    granted
}

async fn show(
    State(door): State<Door>,
    Path(file): Path<String>,
    Query(wish): Query<Wish>,
) -> Result<Markup, Failure> {
    let file = file_name(&file)?;
    let recipe = good(&door.desk, &file).await?;
    Ok(view(&file, &recipe, &wish, &grant(&door.desk, &recipe, &wish).await))
}

/// Keeps the altered recipe as a file of its own, remarks and all.
async fn keep(
    State(door): State<Door>,
    Path(file): Path<String>,
    Filled(wish): Filled<Wish>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    let shelved = shelved(&door.desk, &file).await?;
    let recipe = good(&door.desk, &file).await?;
    let granted = grant(&door.desk, &recipe, &wish).await;
    let Some(plan) = &granted.plan else {
        return Ok(view(&file, &recipe, &wish, &granted).into_response());
    };
    let refused = |error: String| Failure::bad_request(error);
    let mut entry =
        Entry::of_text(&FORM, &shelved.kept.text).map_err(|error| refused(error.to_string()))?;
    adopt(&mut entry, &recipe, &plan.recipe);
    let changes = plan.recipe.changes.join(", ");
    let name = if changes.is_empty() { "copy".to_owned() } else { changes };
    let name = format!("{} ({name})", recipe.name);
    entry.set("name", name.clone());
    let text = edit::write(&shelved.kept.text, &FORM, &entry)
        .map_err(|error| refused(error.to_string()))?;
    let kept = door.desk.add_recipe(name, text).await;
    let kept = kept.map_err(|error| Failure::unavailable(error.to_string()))?;
    Ok(Redirect::to(&format!("/recipes/{}?saved=1", part(kept.as_str()))).into_response())
}

/// A recipe that can be used, or why not.
pub async fn good(desk: &Desk, file: &FileName) -> Result<Box<Recipe>, Failure> {
    let shelved = shelved(desk, file).await?;
    shelved.recipe.map_err(|problems| {
        Failure::bad_request(format!("this recipe cannot be used yet: {problems}"))
    })
}

fn view(file: &FileName, recipe: &Recipe, wish: &Wish, granted: &Granted) -> Markup {
    let path = format!("/recipes/{}", part(file.as_str()));
    let body = html! {
        details class="more not-printed" open[!wish.is_none() || granted.plan.is_none()] {
            summary { "Larger, smaller, another oil" }
            form method="get" action={ (path) "/sheet" } { (wishes(recipe, wish, granted)) button type="submit" { "Reckon it" } }
        }
        @for words in &granted.wrong { (note("wrong", words)) }
        @if let Some(plan) = &granted.plan {
            div class="row not-printed" {
                a class="button main" href={ (path) "/start" (wish.query()) } { "Start this batch" }
                button type="button" data-print { "Print" }
                @if !wish.is_none() {
                    form method="post" action={ (path) "/sheet" } {
                        (hidden(wish))
                        button type="submit" { "Keep as a new recipe" }
                    }
                }
                a class="button" href=(path) { "Edit" }
            }
            div class="batch-sheet" { (PreEscaped(sheet::html_body(&sheet::Sheet::of(plan)))) }
        } @else { h1 { (recipe.name) } }
    };
    layout::page(View::Recipes, &recipe.name, &["office.js"], &body)
}

pub fn hidden(wish: &Wish) -> Markup {
    html! {
        input type="hidden" name="how" value=(wish.how);
        input type="hidden" name="to" value=(wish.to);
        input type="hidden" name="swap" value=(wish.swap);
        input type="hidden" name="by" value=(wish.by);
    }
}

fn wishes(recipe: &Recipe, wish: &Wish, granted: &Granted) -> Markup {
    let mut oils = vec![("", "none")];
    oils.extend(recipe.oils.iter().map(|oil| (oil.name.as_str(), oil.name.as_str())));
    html! {
        div class="grid" {
            (choice(&Field { name: "how", label: "Make it", value: &wish.how, ..Field::default() }, HOWS))
            (field(&Field {
                name: "to",
                label: "To",
                hint: Some("Times like 1.5, a mass like 2 lb, a volume like 2 l, or coconut oil = 4 oz."),
                value: &wish.to,
                error: granted.wrong_to.as_deref(),
                ..Field::default()
            }))
            (choice(&Field { name: "swap", label: "Instead of", value: &wish.swap, ..Field::default() }, &oils))
            (field(&Field {
                name: "by",
                label: "Take",
                hint: Some("Another oil; the caustic follows."),
                value: &wish.by,
                error: granted.wrong_swap.as_deref(),
                list: Some("fats"),
                ..Field::default()
            }))
        }
        datalist id="fats" { @for fat in FatTable::built_in().iter() { option value=(fat.name) {} } }
    }
}
