//! Why an act is refused, in the voice of [`words`](super::words).

use crate::chemistry::IngredientId;

pub fn remedy_too_early() -> String {
    "oils and lye are not together yet; too little caustic is made good for after that, and a \
     little less only leaves more free fat"
        .to_owned()
}

pub fn nothing_to_make_good() -> String {
    "caustic and fats on record agree; there is nothing to make good for".to_owned()
}

pub fn not_weighed_yet(ingredient: &IngredientId) -> String {
    format!("`{ingredient}` has not been weighed, so there is nothing to correct")
}

pub fn no_lot(longest: usize) -> String {
    format!(
        "a lot is what the label says, like \"OL-23\"; one word or more, {longest} letters at most"
    )
}

pub fn correction_needs_reason() -> String {
    "a correction needs its reason, like \"a third of the jug was spilled\"".to_owned()
}
