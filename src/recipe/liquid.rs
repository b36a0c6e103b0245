//! The liquid of a recipe file: how much of it, and what else is in it than water.

use crate::chemistry::{IngredientId, Liquid as Known, LiquidRule, LiquidRuleError};
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Share, Temperature};

use super::ingredients::{common, positive_share, slug};
use super::{Liquid, LyeStart};

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
    let starts_at = form.quantity(&mut table, "starts_at", Temperature::parse);
    let starts_at = starts_at.filter(|at| is_liquid(form, at));
    let cooling = [("cold bath", Cooling::Bath), ("portions", Cooling::Portions)];
    let cooled_by = form.word(&mut table, "cooled_by", &cooling).map(|word| word.value);
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
        start: starts_at.map(|at| LyeStart {
            liquid: at.value,
            bath: cooled_by == Some(Cooling::Bath),
            portions: cooled_by == Some(Cooling::Portions),
        }),
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Cooling {
    Bath,
    Portions,
}

/// Water and what is mostly water: between freezing and boiling.
fn is_liquid(form: &mut Form<'_>, at: &Placed<Temperature>) -> bool {
    let range = Temperature::from_celsius(0)..=Temperature::from_celsius(100);
    let good = range.contains(&at.value);
    if !good {
        let expected = "0 °C to 100 °C, the temperature of the liquid before the caustic";
        form.refuse(at, at.value.to_string(), expected, "correct it");
    }
    good
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
