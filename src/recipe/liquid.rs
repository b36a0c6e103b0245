//! The liquid of a recipe file: how much of it, and what else is in it than water.

use crate::chemistry::{IngredientId, Liquid as Known, LiquidRule, LiquidRuleError};
use crate::problem::{Form, Table};
use crate::quantity::Share;

use super::Liquid;
use super::ingredients::{common, positive_share, slug};

const LIQUID_EXPECTED: &str = "liquid to caustic like `2.7:1`, caustic as a share of the lye like \
     `27 %`, or a mass like `167 g`";

pub(super) fn liquid<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<Liquid> {
    let name = form.text(&mut table, "of");
    let amount = form.text(&mut table, "amount");
    form.need(&table, "amount", LIQUID_EXPECTED, "add it");
    let amount = amount.and_then(|text| match LiquidRule::parse(&text.value) {
        Ok(rule) => Some(rule),
        Err(LiquidRuleError::Quantity(error)) => {
            form.refuse_quantity(&text, &text.value, &error);
            None
        }
        Err(error) => {
            let found = match &error {
                LiquidRuleError::RatioRange { parts, .. } => {
                    format!("`{}`, {parts} parts of liquid to 1 of caustic", text.value)
                }
                _ => format!("`{}`", text.value),
            };
            let expected = match &error {
                LiquidRuleError::RatioRange { .. } => "0.9:1 to 20:1, with the liquid first",
                LiquidRuleError::ConcentrationRange { .. } => {
                    "5 % to 52 % of caustic in caustic and liquid together"
                }
                LiquidRuleError::NoMass { .. } => "a mass above zero, like `167 g`",
                _ => LIQUID_EXPECTED,
            };
            form.refuse(&text, found, expected, "correct it");
            None
        }
    });
    let ice = form.quantity(&mut table, "ice", Share::parse);
    let ice = ice.filter(|share| positive_share(form, share, Share::WHOLE));
    let water = form.quantity(&mut table, "water", Share::parse);
    let water = water.filter(|share| positive_share(form, share, Share::WHOLE));
    let brine = brine(form, &mut table);
    let common = common(form, &mut table);
    form.close(table);
    let name = name.map_or_else(|| "water".to_owned(), |name| name.value);
    let known = brine.or_else(|| known(&name));
    let usual = known.map_or(Share::WHOLE, |known| known.water);
    Some(Liquid {
        id: IngredientId(slug(&name)),
        water: water.map_or(usual, |water| water.value),
        caution: known.and_then(|known| known.caution).map(str::to_owned),
        name,
        amount: amount?,
        ice: ice.map_or(Share::ZERO, |ice| ice.value),
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    })
}

/// By its name; any milk is taken as cow's unless it is a known one.
fn known(name: &str) -> Option<Known> {
    let milk = || name.to_lowercase().contains("milk").then(|| Known::find("cow_milk").ok());
    Known::find(name).ok().or_else(|| milk().flatten()).copied()
}

/// Salt in the liquid, as a share of salt and water together.
fn brine<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<Known> {
    let salt = form.quantity(table, "salt", Share::parse)?;
    let brine = Known::brine(salt.value);
    if brine.is_none() || salt.value == Share::ZERO {
        let expected = "more than 0 % and at most 26 % of salt in the brine";
        form.refuse(&salt, salt.value.show(1), expected, "water does not hold more");
    }
    brine
}
