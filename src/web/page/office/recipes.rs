//! The shelf of recipes.

use axum::Router;
use axum::extract::{Query, State};
use axum::routing::get;
use maud::{Markup, html};
use serde::Deserialize;

use super::{note, part};
use crate::daemon::Shelved;
use crate::recipe::Recipe;
use crate::web::page::layout::{self, View};
use crate::web::refusal::Failure;
use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new().route("/recipes", get(list))
}

#[derive(Deserialize)]
struct Asked {
    away: Option<String>,
}

async fn list(State(door): State<Door>, Query(asked): Query<Asked>) -> Result<Markup, Failure> {
    let recipes = door.desk.recipes().await.map_err(Failure::internal)?;
    let no_scale = door.desk.bench_file().scale().is_none();
    let body = html! {
        div class="heading" {
            h1 { "Recipes" }
            a class="button main" href="/new-recipe" { "New recipe" }
        }
        @if asked.away.is_some() {
            (note("good", "put away; its file lies in the folder recipes/put-away"))
        }
        @if no_scale {
            div class="note" {
                p { "No scale is set up yet: recipes can be written, but no batch can be weighed. "
                    a href="/instruments/setup" { "Set up the instruments" } "." }
            }
        }
        @if recipes.is_empty() {
            p { "No recipe is kept here yet." }
        }
        @for shelved in &recipes { (one(shelved)) }
    };
    Ok(layout::page(View::Recipes, "Recipes", &[], &body))
}

fn one(shelved: &Shelved) -> Markup {
    let path = format!("/recipes/{}", part(shelved.file.as_str()));
    match &shelved.recipe {
        Ok(recipe) => html! {
            article class="entry" {
                h2 { a href=(path) { (recipe.name) } }
                p { (in_short(recipe)) }
                p class="row" {
                    a class="button" href={ (path) "/start" } { "Start" span class="away" { " " (recipe.name) } }
                    a class="button" href={ (path) "/sheet" } { "Sheet, scale, swap" span class="away" { " " (recipe.name) } }
                    a class="button" href={ "/new-recipe?from=" (part(shelved.file.as_str())) } { "Copy" span class="away" { " " (recipe.name) } }
                }
            }
        },
        Err(problems) => html! {
            article class="entry" {
                h2 { a href=(path) { (shelved.file.as_str()) ".toml" } }
                (note("wrong", &format!("it cannot be used yet: {}", problems.0.first().map(ToString::to_string).unwrap_or_default())))
                p class="row" { a class="button" href=(path) { "Mend it" } }
            }
        },
    }
}

/// "olive oil, coconut oil; NaOH; superfat 5 %; hot process; 20.0 oz of oils".
fn in_short(recipe: &Recipe) -> String {
    let oils: Vec<&str> = recipe.oils.iter().map(|oil| oil.name.as_str()).collect();
    let caustics: Vec<&str> = recipe.caustics.iter().map(|c| c.alkali.words()).collect();
    let process = if recipe.cook.is_some() { "hot process" } else { "cold process" };
    format!(
        "{} of {}; {}; superfat {}; {process}",
        recipe.oil_total().show(recipe.units.mass, recipe.units.mass_decimals),
        oils.join(", "),
        caustics.join(" and "),
        recipe.superfat.show(1),
    )
}
