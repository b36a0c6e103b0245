//! The whole file, and what can only be judged across its parts.

use std::collections::BTreeMap;
use std::fmt::Write;

use sha2::{Digest, Sha256};

use crate::chemistry::{FatTable, IngredientId};
use crate::plan::Units;
use crate::problem::{Form, Placed, Problems, Source, Table};
use crate::quantity::{Mass, MassUnit, Share, TemperatureUnit};

use super::ingredients::{self, OilRow};
use super::{CausticChoice, CookPlan, Oil, Order, Recipe, additions, liquid, process};

const SUPERFAT_MOST: Share = Share::from_percent(30);
const SUPERFAT_LEAST: Share = Share::from_percent(-10);
/// How far below a lye-heavy target the guard lies when the file says nothing. Ours.
const LYE_HEAVY_MARGIN: Share = Share::from_percent(2);
const LYE_HEAVY_WORDS: &str = "on purpose";
/// Shares copied from a list with one decimal may miss 100 % by this much; they are then taken in
/// proportion.
const SHARES_SLACK: Share = Share::from_millionths(1_000);
/// Less than this cannot be weighed on a bench.
const OILS_LEAST: Mass = MassUnit::Gram.one();
/// More is no small batch.
const OILS_MOST: Mass = Mass::from_steps(MassUnit::Kilogram.one().steps() * 100);
const EXAMPLE: &str = "add it; README, \"Your first recipe\", shows a whole file";

impl Recipe {
    /// Reads and checks a recipe file; every problem found is returned, in the order of the file.
    pub fn read(source: Source<'_>, fats: &FatTable) -> Result<Recipe, Problems> {
        let (mut form, table) = Form::open(source)?;
        let recipe = read(&mut form, table, fats, source);
        form.finish()?;
        recipe.ok_or_else(|| {
            // every path to `None` has told its problem; this line guards against one that has not
            source.problem(None, "(whole file)", "no recipe", "a recipe", EXAMPLE).into()
        })
    }
}

/// SHA-256 of a file's text, in hex.
pub(crate) fn digest(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().fold(String::new(), |mut hex, byte| {
        // writing to a String cannot fail
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

/// `masses` and `temperatures`, as recipe and bench file both have them.
pub(crate) fn units<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Units {
    let masses = [
        ("g", MassUnit::Gram),
        ("kg", MassUnit::Kilogram),
        ("oz", MassUnit::Ounce),
        ("lb", MassUnit::Pound),
        ("lb+oz", MassUnit::PoundOunce),
    ];
    let temperatures = [
        ("°C", TemperatureUnit::Celsius),
        ("°F", TemperatureUnit::Fahrenheit),
        ("C", TemperatureUnit::Celsius),
        ("F", TemperatureUnit::Fahrenheit),
    ];
    let mass = form.word(table, "masses", &masses).map_or(MassUnit::Gram, |unit| unit.value);
    let temperature = form
        .word(table, "temperatures", &temperatures)
        .map_or(TemperatureUnit::Celsius, |unit| unit.value);
    Units { mass, mass_decimals: mass.bench_decimals(), temperature }
}

fn read<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    fats: &FatTable,
    source: Source<'_>,
) -> Option<Recipe> {
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "the name of the soap", EXAMPLE);
    let note = form.text(&mut table, "note").map(|note| note.value);
    let units = units(form, &mut table);
    let superfat = superfat(form, &mut table);
    let total = form.quantity(&mut table, "total_oils", Mass::parse);
    let total = total.filter(|total| ingredients::positive_mass(form, total));
    let has_total = table.has("total_oils");
    let orders = [("oils first", Order::OilsFirst), ("lye first", Order::LyeFirst)];
    let order = form.word(&mut table, "order", &orders).map(|order| order.value);
    let pot = form.text(&mut table, "pot").map(|pot| pot.value);
    let rows = form.tables(&mut table, "oil");
    let written = if table.has("oil") { rows.len().max(1) } else { 0 };
    let rows: Vec<OilRow> =
        rows.into_iter().filter_map(|row| ingredients::oil(form, row, fats)).collect();
    let oils = oils(form, rows, total, has_total, written);
    let caustics = caustics(form, &mut table);
    let liquid = form.table(&mut table, "liquid");
    form.need(&table, "liquid", "a part [liquid] with its `amount`", EXAMPLE);
    let liquid = liquid.and_then(|liquid| liquid::liquid(form, liquid));
    let additions: Vec<_> = form
        .tables(&mut table, "addition")
        .into_iter()
        .filter_map(|row| additions::addition(form, row, units.temperature))
        .collect();
    let late_fats: Vec<_> = form
        .tables(&mut table, "fat_after_cook")
        .into_iter()
        .filter_map(|row| additions::late_fat(form, row, fats))
        .collect();
    let cook = cook(form, &mut table);
    let combine = form.table(&mut table, "bring_together");
    let combine = process::combine(form, combine);
    let work: Vec<_> = form
        .tables(&mut table, "work")
        .into_iter()
        .filter_map(|row| process::work(form, row))
        .collect();
    form.close(table);
    let (superfat, floor) = superfat?;
    let recipe = Recipe {
        file: source.file.to_owned(),
        digest: digest(source.text),
        name: name?.value,
        note,
        units,
        superfat,
        floor,
        order: order.unwrap_or_default(),
        oils: oils?,
        caustics: caustics?,
        liquid: liquid?,
        additions,
        late_fats,
        pot,
        combine,
        cook: cook?,
        work,
        changes: Vec::new(),
    };
    no_duplicates(form, &recipe);
    Some(recipe)
}

fn superfat<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<(Share, Share)> {
    let superfat = form.quantity(table, "superfat", Share::parse);
    let expected = "the part of the fat that is to stay fat, like `5 %`";
    form.need(table, "superfat", expected, "add it; 5 % is usual for bars (common practice)");
    let lye_heavy = form.word(table, "lye_heavy", &[(LYE_HEAVY_WORDS, ())]).is_some();
    let floor = form.quantity(table, "superfat_floor", Share::parse);
    let superfat = superfat?;
    if superfat.value > SUPERFAT_MOST {
        let found = superfat.value.show(1);
        form.refuse(&superfat, found, "at most 30 %", "more than that stays grease, not soap");
    } else if superfat.value < SUPERFAT_LEAST {
        let found = superfat.value.show(1);
        form.refuse(&superfat, found, "at least −10 %", "check sign and digits");
    } else if superfat.value.is_negative() && !lye_heavy {
        let advice = format!(
            "a soap with caustic left over burns skin; if that is meant, add \
             `lye_heavy = \"{LYE_HEAVY_WORDS}\"`"
        );
        form.refuse(&superfat, superfat.value.show(1), "0 % or more", advice);
    }
    let usual =
        if superfat.value.is_negative() { superfat.value - LYE_HEAVY_MARGIN } else { Share::ZERO };
    if let Some(floor) = &floor
        && floor.value > superfat.value
    {
        let expected = format!("at most the superfat, {}", superfat.value.show(1));
        let advice = "the guard on the caustic alarms at the floor, and the target lies above it";
        form.refuse(floor, floor.value.show(1), expected, advice);
    }
    if let Some(floor) = &floor
        && floor.value.is_negative()
        && !lye_heavy
    {
        let advice = format!("raise it, or add `lye_heavy = \"{LYE_HEAVY_WORDS}\"`");
        form.refuse(floor, floor.value.show(1), "0 % or more", advice);
    }
    Some((superfat.value, floor.map_or(usual, |floor| floor.value)))
}

fn oils(
    form: &mut Form<'_>,
    mut rows: Vec<OilRow>,
    total: Option<Placed<Mass>>,
    has_total: bool,
    written: usize,
) -> Option<Vec<Oil>> {
    if written == 0 {
        let advice = "add one part [[oil]] for each";
        form.refuse_whole("oil", "no oils", "at least one oil, butter or wax", advice);
    }
    let refused = rows.iter().any(|row| row.share.is_some() == row.mass.is_some());
    if rows.is_empty() || rows.len() < written || refused {
        // an oil was refused; what follows from the others would be a second complaint
        return None;
    }
    let by_share = rows.iter().filter(|row| row.share.is_some()).count();
    let by_mass = rows.iter().filter(|row| row.mass.is_some()).count();
    if by_share > 0 && by_mass > 0 {
        let odd = rows.iter().find(|row| row.mass.is_some() != rows[0].mass.is_some())?;
        let found = format!("{by_share} oils by share and {by_mass} by mass");
        let advice = "turn the masses into shares, or the shares into masses";
        form.refuse(&odd.at, found, "all by share with `total_oils`, or all by mass", advice);
        return None;
    }
    if by_mass > 0 {
        if let Some(total) = &total {
            let advice = "remove `total_oils`; the masses say it already";
            form.refuse(total, "a total beside masses", "masses alone", advice);
        }
        for row in &mut rows {
            row.oil.mass = row.mass.as_ref()?.value;
        }
    } else {
        share_out(form, &mut rows, total.as_ref(), has_total)?;
    }
    let sum: Mass = rows.iter().map(|row| row.oil.mass).sum();
    if sum < OILS_LEAST {
        let advice = "check the digits and the units";
        form.refuse_whole("oil", format!("{sum} of oils in all"), "at least 1 g", advice);
    }
    if sum > OILS_MOST {
        let advice = "check the digits and the units";
        form.refuse_whole("oil", format!("{sum} of oils in all"), "at most 100 kg", advice);
    }
    name_by_lot(&mut rows);
    Some(rows.into_iter().map(|row| row.oil).collect())
}

fn share_out(
    form: &mut Form<'_>,
    rows: &mut [OilRow],
    total: Option<&Placed<Mass>>,
    has_total: bool,
) -> Option<()> {
    let sum: Share = rows.iter().filter_map(|row| row.share.as_ref()).map(|s| s.value).sum();
    let missing = Share::WHOLE - sum;
    if missing.abs() > SHARES_SLACK {
        let advice = if missing.is_negative() {
            format!("take {} away", missing.abs().show(2))
        } else {
            format!("{} are missing", missing.show(2))
        };
        let found = format!("shares of {} in all", sum.show(2));
        form.refuse_whole("oil", found, "100 %", advice);
    }
    if !has_total {
        let expected = "the mass of all oils, like `700 g`";
        form.refuse_whole("total_oils", "nothing", expected, "add it, or give each oil a mass");
    }
    let total = total?;
    for row in rows {
        let share = Mass::from_steps(row.share.as_ref()?.value.millionths());
        row.oil.mass = total.value.scaled(share, Mass::from_steps(sum.millionths()));
    }
    Some(())
}

/// The same fat may come from two lots; each then has a key of its own.
fn name_by_lot(rows: &mut [OilRow]) {
    for index in 1..rows.len() {
        let (before, rest) = rows.split_at_mut(index);
        let oil = &mut rest[0].oil;
        let twins = before.iter().filter(|row| row.oil.fat == oil.fat);
        let mut lots = twins.map(|row| row.oil.lot.as_ref().map(|lot| &lot.name)).peekable();
        let Some(lot) = &oil.lot else { continue };
        if lots.peek().is_some() && lots.all(|other| other != Some(&lot.name)) {
            oil.id = IngredientId(format!("{}-{}", oil.fat, ingredients::slug(&lot.name)));
        }
    }
}

fn caustics<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<Vec<CausticChoice>> {
    let rows = form.tables(table, "caustic");
    let expected = "a part [[caustic]] with its `alkali`";
    form.need(table, "caustic", expected, EXAMPLE);
    let at = rows.first()?.placed();
    let (count, all_stated) = (rows.len(), rows.iter().all(|row| row.has("covers")));
    let read: Vec<CausticChoice> =
        rows.into_iter().filter_map(|row| ingredients::caustic(form, row)).collect();
    if count > 2 {
        let found = format!("{count} caustics");
        form.refuse(&at, found, "one, or NaOH and KOH", "put the rest into another batch");
        return None;
    }
    if count == 2 && !all_stated {
        let expected = "`covers` for both caustics, adding up to 100 %";
        form.refuse(&at, "no share for one of them", expected, "add `covers = \"…\"` to each");
        return None;
    }
    if read.len() != count {
        return None;
    }
    let sum: Share = read.iter().map(|caustic| caustic.covers).sum();
    if sum != Share::WHOLE {
        let found = format!("caustics that cover {} of the demand", sum.show(2));
        form.refuse(&at, found, "100 %", "correct `covers`");
    }
    Some(read)
}

/// The outer `None` is a refusal; the inner one is cold process.
fn cook<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<Option<CookPlan>> {
    let hot = form.word(table, "process", &[("hot", true), ("cold", false)]);
    form.need(table, "process", "`hot` or `cold`", "add it");
    let cook = form.table(table, "cook");
    match hot?.value {
        true => Some(Some(process::cook(form, cook))),
        false => {
            if let Some(cook) = cook {
                let advice = "remove it, or write process = \"hot\"";
                form.refuse(&cook.placed(), "a cook in cold process", "no [cook]", advice);
                return None;
            }
            Some(None)
        }
    }
}

fn no_duplicates(form: &mut Form<'_>, recipe: &Recipe) {
    let mut seen: BTreeMap<&IngredientId, &str> = BTreeMap::new();
    let oils = recipe.oils.iter().map(|oil| (&oil.id, oil.name.as_str(), "oil"));
    let caustics = recipe.caustics.iter().map(|c| (&c.id, c.id.0.as_str(), "caustic"));
    let liquid = std::iter::once((&recipe.liquid.id, recipe.liquid.name.as_str(), "liquid"));
    let additions = recipe.additions.iter().map(|a| (&a.id, a.name.as_str(), "addition"));
    let late = recipe.late_fats.iter().map(|fat| (&fat.id, fat.name.as_str(), "fat_after_cook"));
    for (id, name, field) in oils.chain(caustics).chain(liquid).chain(additions).chain(late) {
        if seen.insert(id, name).is_some() {
            let advice = "add the two amounts together, give each its own `lot`, or rename one";
            form.refuse_whole(field, format!("`{name}` twice"), "each ingredient once", advice);
        }
    }
}
