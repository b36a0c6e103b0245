//! Soap of an earlier batch as an ingredient, in a recipe file.

use crate::problem::{Form, Placed, Table};
use crate::quantity::Share;

/// From which batch it is, and what the maker knows of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BaseChoice {
    /// Its number in the ledger.
    pub batch: String,
    /// Fat that it has left over, as a share of its fats.
    pub superfat: Option<Share>,
    /// Water in it.
    pub moisture: Option<Share>,
}

/// A soap with caustic left over is no base: the fats of the new batch are not reckoned for it.
const SUPERFAT: [Share; 2] = [Share::ZERO, Share::from_percent(30)];
const MOISTURE: [Share; 2] = [Share::ZERO, Share::from_percent(70)];

pub(super) fn base<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<BaseChoice> {
    let batch = form.text(table, "base");
    let superfat = form.quantity(table, "base_superfat", Share::parse);
    let superfat = superfat.filter(|share| within(form, share, SUPERFAT));
    let moisture = form.quantity(table, "base_moisture", Share::parse);
    let moisture = moisture.filter(|share| within(form, share, MOISTURE));
    let Some(batch) = batch else {
        if let Some(stray) = superfat.or(moisture) {
            let expected = "`base` beside it, the number of its batch";
            form.refuse(&stray, stray.value.show(1), expected, "add `base`, or remove this");
        }
        return None;
    };
    for (key, found) in [("lot", "a `lot` beside it"), ("acid", "an `acid` beside it")] {
        if table.has(key) {
            let advice = format!("remove `{key}`; the batch is its lot");
            form.refuse(&batch, found, "a base alone", advice);
        }
    }
    let of = |share: Option<Placed<Share>>| share.map(|share| share.value);
    Some(BaseChoice { batch: batch.value, superfat: of(superfat), moisture: of(moisture) })
}

fn within(form: &mut Form<'_>, share: &Placed<Share>, [least, most]: [Share; 2]) -> bool {
    let good = (least..=most).contains(&share.value);
    if !good {
        let expected = format!("{} to {}", least.show(0), most.show(0));
        form.refuse(share, share.value.show(1), expected, "check sign and digits");
    }
    good
}
