//! Before a batch: which lots stand on the bench, and who is there.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use maud::{Markup, html};

use super::alter::{Wish, good, hidden};
use super::figures::figures;
use super::recipe::{file_name, value};
use super::{note, part};
use crate::chemistry::FatTable;
use crate::daemon::{FileName, RecipeStart};
use crate::plan::{self, Plan, Severity};
use crate::recipe::Recipe;
use crate::web::page::form::{Field, field};
use crate::web::page::layout::{self, View};
use crate::web::refusal::{Failure, Filled};
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new().route("/recipes/{file}/start", get(ask).post(start))
}

/// What was filled in, and what came of it.
#[derive(Default)]
struct Answers {
    operator: String,
    lots: BTreeMap<String, String>,
    in_pot: BTreeMap<String, String>,
    refused: Option<String>,
}

/// The name of a lot's field is its ingredient's key behind this.
const LOT: &str = "lot:";
/// The same for an oil that is in the pot already.
const IN_POT: &str = "in-pot:";

async fn ask(
    State(door): State<Door>,
    Path(file): Path<String>,
    Query(wish): Query<Wish>,
) -> Result<Response, Failure> {
    shown(&door, &file_name(&file)?, &wish, &Answers::default()).await
}

async fn start(
    State(door): State<Door>,
    Path(file): Path<String>,
    Filled(pairs): Filled<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let file = file_name(&file)?;
    let said = |name: &str| value(&pairs, name).to_owned();
    let wish = Wish { how: said("how"), to: said("to"), swap: said("swap"), by: said("by") };
    let named = |prefix: &str| {
        let named = |(name, said): &(String, String)| {
            Some((name.strip_prefix(prefix)?.to_owned(), said.clone()))
        };
        pairs.iter().filter_map(named).collect::<BTreeMap<String, String>>()
    };
    let mut answers = Answers {
        operator: said("operator"),
        lots: named(LOT),
        in_pot: named(IN_POT),
        refused: None,
    };
    let start = RecipeStart {
        operator: Some(answers.operator.clone()),
        altered: wish.alterations(),
        lots: answers.lots.clone(),
        in_pot: answers.in_pot.clone(),
    };
    match door.desk.start_recipe(&file, start).await {
        Ok(_) => Ok(Redirect::to("/").into_response()),
        Err(words) => {
            answers.refused = Some(words);
            shown(&door, &file, &wish, &answers).await
        }
    }
}

async fn shown(
    door: &Door,
    file: &FileName,
    wish: &Wish,
    answers: &Answers,
) -> Result<Response, Failure> {
    let fats = FatTable::built_in();
    let refused = |words: String| Failure::bad_request(words);
    let recipe = good(&door.desk, file).await?;
    let recipe =
        wish.alterations().apply(&recipe, fats).map_err(|error| refused(error.to_string()))?;
    let bench = door.desk.bench_file();
    let ledger = door.desk.ledger_for(&recipe).await;
    let options = plan::Options { ledger, ..plan::Options::default() };
    let plan = plan::plan(&recipe, fats, Some(&bench), &options);
    let mut why_not: Vec<String> = Vec::new();
    if bench.scale().is_none() {
        why_not.push("no scale is set up; see Instruments".to_owned());
    }
    let plan = match plan {
        Ok(plan) => {
            let unfit = plan.control.findings.iter().filter(|f| f.severity == Severity::Unfit);
            why_not.extend(unfit.map(|finding| finding.words.clone()));
            Some(plan)
        }
        Err(problems) => {
            why_not.extend(problems.0.iter().map(ToString::to_string));
            None
        }
    };
    Ok(view(file, &recipe, wish, answers, plan.as_ref(), &why_not).into_response())
}

fn view(
    file: &FileName,
    recipe: &Recipe,
    wish: &Wish,
    answers: &Answers,
    plan: Option<&Plan>,
    why_not: &[String],
) -> Markup {
    let path = format!("/recipes/{}", part(file.as_str()));
    let can = why_not.is_empty() && plan.is_some();
    let title = format!("Start {}", recipe.name);
    let nothing = BTreeMap::new();
    let body = html! {
        h1 { (title) }
        @for change in &recipe.changes { (note("careful", &format!("not as the file stands: {change}"))) }
        @if let Some(refused) = &answers.refused { (note("wrong", refused)) }
        @for words in why_not { (note("wrong", words)) }
        div class="desk" {
            form method="post" action={ (path) "/start" } class="fields" {
                (hidden(wish))
                fieldset {
                    legend { "Who is at the bench" }
                    (field(&Field {
                        name: "operator",
                        label: "Operator",
                        hint: Some("Left empty it is printed as not recorded."),
                        value: &answers.operator,
                        ..Field::default()
                    }))
                }
                fieldset {
                    legend { "Lots" }
                    p class="soft" { "From the labels, so that every batch of a bad lot can be found. Goggles and gloves "
                        "come before the caustic; its data sheet lies at hand." }
                    div class="grid" {
                        @for (id, name, lot) in recipe.lots() {
                            @let field_name = format!("{LOT}{}", id.0);
                            @let value = answers.lots.get(&id.0).map_or(lot.unwrap_or(""), String::as_str);
                            (field(&Field { name: &field_name, label: name, value, ..Field::default() }))
                        }
                    }
                }
                details open[answers.in_pot.values().any(|said| !said.trim().is_empty())] {
                    summary { "Some oils are in the pot already" }
                    p class="soft" { "How much of each, like 400 g ± 10 g. It is not weighed here, stays marked as "
                        "declared, and the caustic follows it." }
                    div class="grid" {
                        @for oil in &recipe.oils {
                            @let field_name = format!("{IN_POT}{}", oil.id.0);
                            @let value = answers.in_pot.get(&oil.id.0).map_or("", String::as_str);
                            (field(&Field { name: &field_name, label: &format!("{} in the pot", oil.name), value, ..Field::default() }))
                        }
                    }
                }
                div class="row" {
                    @if can { button type="submit" class="main" { "Start this batch" } }
                    a class="button" href={ (path) "/sheet" (wish.query()) } { "Back to the sheet" }
                }
            }
            section class="beside-form" tabindex="0" aria-labelledby="figures-head" {
                h2 id="figures-head" { "What it comes to" }
                @if plan.is_some() { (figures(plan, &nothing)) }
            }
        }
    };
    layout::page(View::Recipes, &title, &[], &body)
}
