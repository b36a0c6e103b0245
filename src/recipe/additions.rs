//! What is added to the soap beside oils and lye, early and late.

use crate::chemistry::{FatTable, FormulaAcid, IngredientId};
use crate::plan::{Vessel, Window};
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Share, Temperature, TemperatureUnit};

use super::ingredients::{common, fat, positive_mass, positive_share, slug};
use super::{Addition, AdditionAmount, BaseChoice, LateFat, Lot, When, amounts, base};

/// Above this share of the oils an addition is a mistake in the unit.
const ADDITION_MOST: Share = Share::from_percent(50);
const FLAMMABLE: &str =
    "flammable: flame and heating coil off, room aired, pot cooled before it comes near";
/// Common practice, no source.
const BROWNS: &str = "milk and sugar brown in hot soap and heat it up: add it cool, a little at a \
                      time, and look for the pot to climb";
/// An alcohol goes into a pot no hotter than this when the recipe says nothing. Ours: well below
/// where ethanol boils, 78 °C, and isopropanol, 82 °C (CRC Handbook of Chemistry and Physics, from
/// memory).
const FLAMMABLE_BELOW: Temperature = Temperature::from_celsius(60);
/// No addition is kept back until the pot is colder than this, or hotter.
const BELOW_RANGE: Window =
    Window { low: Temperature::from_celsius(20), high: Temperature::from_celsius(120) };
const FLASH_RANGE: Window =
    Window { low: Temperature::from_celsius(-40), high: Temperature::from_celsius(350) };

pub(super) fn addition<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    unit: TemperatureUnit,
) -> Option<Addition> {
    let name = form.text(&mut table, "name");
    form.need(&table, "name", "what is added, like `glycerin`", "add it");
    let amount = amount(form, &mut table);
    let words: Vec<(&str, When)> =
        When::WORDS.into_iter().filter(|(_, w)| !matches!(w, When::First | When::Last)).collect();
    let when = form.word(&mut table, "when", &words);
    let expected = "`before lye`, `before cook` or `after cook`";
    form.need(&table, "when", expected, "add it");
    let vessels = [("own cup", Vessel::Own), ("pot", Vessel::Pot)];
    let into = form.word(&mut table, "into", &vessels);
    let mut hazards = form.texts(&mut table, "hazards");
    let below = form.quantity(&mut table, "below", Temperature::parse);
    let below = below.filter(|below| believable(form, below, BELOW_RANGE));
    let flash_point = form.quantity(&mut table, "flash_point", Temperature::parse);
    let flash_point = flash_point.filter(|point| believable(form, point, FLASH_RANGE));
    let common = common(form, &mut table);
    let acid = acid(form, &mut table, name.as_ref(), when.as_ref());
    let base = base::base(form, &mut table);
    form.close(table);
    let (name, when) = (name?.value, when?.value);
    if when == When::BeforeLye
        && let Some(below) = &below
    {
        let advice = "leave `below` out: the windows of [bring_together] hold there";
        form.refuse(below, "a limit before there is a hot pot", "`below` after the lye", advice);
    }
    let flash_shown = flash_point.as_ref().map(|point| point.value.show(unit, 0));
    hazards.extend(hazards_of(&name, flash_shown));
    let usual = (is_flammable(&name) && when != When::BeforeLye).then_some(FLAMMABLE_BELOW);
    Some(Addition {
        id: IngredientId(slug(&name)),
        name,
        amount: amount?,
        when,
        into: into.map_or(Vessel::Own, |into| into.value),
        nature: common.nature,
        tolerance: common.tolerance,
        hazards,
        below: below.map(|below| below.value).or(usual),
        flash_point: flash_point.map(|point| point.value),
        acid,
        lot: base.as_ref().map(of_batch).or(common.lot),
        base,
        line: common.line,
    })
}

fn of_batch(base: &BaseChoice) -> Lot {
    Lot { name: base.batch.clone(), certificate: None }
}

pub(super) fn late_fat<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    fats: &FatTable,
) -> Option<LateFat> {
    let fat = fat(form, &mut table, fats);
    let amount = amount(form, &mut table);
    let common = common(form, &mut table);
    form.close(table);
    let (fat, name) = fat?;
    Some(LateFat {
        id: IngredientId(format!("{}-after-cook", fat.key)),
        fat: fat.key.clone(),
        name,
        amount: amount?,
        nature: common.nature,
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    })
}

#[derive(Clone, Copy)]
enum AcidWord {
    Citric,
    CitricMonohydrate,
    Lactic,
}

/// An acid eats caustic before any fat does, so it has to be known before the caustic is weighed.
fn acid<'a>(
    form: &mut Form<'a>,
    table: &mut Table<'a>,
    name: Option<&Placed<String>>,
    when: Option<&Placed<When>>,
) -> Option<FormulaAcid> {
    let words = [
        ("citric acid", AcidWord::Citric),
        ("citric acid monohydrate", AcidWord::CitricMonohydrate),
        ("lactic acid", AcidWord::Lactic),
    ];
    let acid = form.word(table, "acid", &words);
    let strength = form.quantity(table, "strength", Share::parse);
    let strength = strength.filter(|share| positive_share(form, share, Share::WHOLE));
    let name = name?;
    let id = slug(&name.value);
    let Some(acid) = acid else {
        let plain = name.value.to_lowercase();
        if !table.has("acid") && ["citric", "lactic", "vinegar"].iter().any(|w| plain.contains(w)) {
            let expected = "`acid`, so that the caustic it eats is counted";
            let advice = "add `acid = \"citric acid\"`, `\"citric acid monohydrate\"` or \
                          `\"lactic acid\"`; vinegar is not counted here, use one of these";
            form.refuse(name, "an acid that is not declared as one", expected, advice);
        }
        return None;
    };
    if let Some(when) = when
        && when.value != When::BeforeLye
    {
        let advice = "write when = \"before lye\"; it is then weighed before the caustic";
        form.refuse(when, "an acid after the lye", "an acid before the lye", advice);
    }
    match (acid.value, strength) {
        (AcidWord::Citric, _) => Some(FormulaAcid::citric(&id)),
        (AcidWord::CitricMonohydrate, _) => Some(FormulaAcid::citric_monohydrate(&id)),
        (AcidWord::Lactic, Some(strength)) => Some(FormulaAcid::lactic(&id, strength.value)),
        (AcidWord::Lactic, None) => {
            let expected = "its `strength`, like `80 %`, as on the bottle";
            form.need(table, "strength", expected, "add it");
            None
        }
    }
}

fn amount<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Option<AdditionAmount> {
    let amount = form.quantity(table, "amount", amounts::addition);
    let expected = "a mass like `12 g`, a share of the oils like `5 %`, or a range like `4–6 %`";
    form.need(table, "amount", expected, "add it");
    let amount = amount?;
    let good = match amount.value {
        AdditionAmount::Mass(mass) => positive_mass(form, &amount.with(mass)),
        AdditionAmount::OfOils(share) => positive_share(form, &amount.with(share), ADDITION_MOST),
        AdditionAmount::Between(low, high) => {
            positive_share(form, &amount.with(low), ADDITION_MOST)
                && positive_share(form, &amount.with(high), ADDITION_MOST)
        }
    };
    good.then_some(amount.value)
}

fn believable(form: &mut Form<'_>, at: &Placed<Temperature>, range: Window) -> bool {
    let good = (range.low..=range.high).contains(&at.value);
    if !good {
        let expected = format!("{} to {}", range.low, range.high);
        form.refuse(at, at.value.to_string(), expected, "check number and unit");
    }
    good
}

/// What a name and a flash point say; the maker's own words stand before them.
fn hazards_of(name: &str, flash_point: Option<String>) -> Vec<String> {
    let mut hazards = Vec::new();
    if is_flammable(name) {
        hazards.push(FLAMMABLE.to_owned());
    }
    if let Some(point) = flash_point {
        hazards.push(format!(
            "flash point {point}: above it the vapour catches fire from a flame or a glowing coil"
        ));
    }
    if browns(name) {
        hazards.push(BROWNS.to_owned());
    }
    hazards
}

fn browns(name: &str) -> bool {
    let name = name.to_lowercase();
    ["milk", "cream", "yogurt", "yoghurt", "sugar", "honey", "syrup", "beer", "wine"]
        .iter()
        .any(|word| name.split(|c: char| !c.is_alphanumeric()).any(|part| part == *word))
}

fn is_flammable(name: &str) -> bool {
    let name = name.to_lowercase();
    ["alcohol", "ethanol", "isoprop", "spirit"].iter().any(|word| name.contains(word))
}
