//! Away from the pan: recipes, instruments and vessels, the ledger.

mod alter;
mod charts;
mod figures;
mod ink;
mod instruments;
mod ledger;
mod recipe;
mod recipe_form;
mod recipes;
mod review;
mod start;
mod vessels;
mod zero;

use axum::Router;
use maud::{Markup, html};

use crate::web::router::Door;

pub fn routes() -> Router<Door> {
    Router::new()
        .merge(recipes::routes())
        .merge(recipe::routes())
        .merge(alter::routes())
        .merge(start::routes())
        .merge(instruments::routes())
        .merge(vessels::routes())
        .merge(ledger::routes())
}

/// Something the person must know before anything else on the view.
fn note(kind: &str, words: &str) -> Markup {
    html! { div class={ "note " (kind) } role=[(kind == "wrong").then_some("alert")] {
        p { (super::layout::sentence(words)) }
    } }
}

/// Said when a bench file is not the one that the form was made of.
const CHANGED: &str = "the bench file was changed on the disk since you opened it; nothing was \
                       overwritten; open this view anew and put your change in again";

/// A text as one part of an address.
fn part(text: &str) -> String {
    use std::fmt::Write;
    text.bytes().fold(String::new(), |mut out, byte| {
        if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // writing to a String cannot fail
            let _ = write!(out, "%{byte:02X}");
        }
        out
    })
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_part_of_an_address_has_nothing_an_address_could_misread() {
        assert_eq!(super::part("plain-bar"), "plain-bar");
        assert_eq!(super::part("a/b?c d\"é"), "a%2Fb%3Fc%20d%22%C3%A9");
    }
}
