//! The parts of a recipe file that are weighed: oils, caustic, liquid, additions.

use crate::chemistry::{
    Alkali, Fat, FatTable, FormulaAcid, IngredientId, LiquidRule, LiquidRuleError, LotCertificate,
};
use crate::plan::{Nature, Tolerance, Vessel};
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Mass, Share};

use super::{
    Addition, AdditionAmount, CausticChoice, LateFat, Liquid, Lot, Oil, Purity, When, amounts,
};

/// An oil with its amount as written, before all of them are looked at together.
pub(super) struct OilRow {
    pub oil: Oil,
    pub mass: Option<Placed<Mass>>,
    pub share: Option<Placed<Share>>,
    pub at: Placed<()>,
}

struct Common {
    nature: Nature,
    tolerance: Option<Tolerance>,
    lot: Option<Lot>,
    line: Option<usize>,
}

/// A flake's own sheet gives ±1 % about the purity on the label (one maker's sheet of NaOH flakes).
const LABEL_HALF_WIDTH: Share = Share::from_percent(1);
/// Weaker products are no solid caustic, or have stood open.
const PURITY_LEAST: Share = Share::from_percent(80);
const TOLERANCE_SHARE_MOST: Share = Share::from_percent(20);
/// Above this share of the oils an addition is a mistake in the unit.
const ADDITION_MOST: Share = Share::from_percent(50);
const LIQUID_EXPECTED: &str = "liquid to caustic like `2.7:1`, caustic as a share of the lye like \
     `27 %`, or a mass like `167 g`";
const PURITY_ADVICE: &str = "copy it from the label or the certificate: flake of 85 % and flake of \
     90 % differ by enough to turn a superfat of 5 % negative";

pub(super) fn oil<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    fats: &FatTable,
) -> Option<OilRow> {
    let at = table.placed();
    let fat = fat(form, &mut table, fats);
    let called = form.text(&mut table, "called").map(|text| text.value);
    let share = form.quantity(&mut table, "share", Share::parse);
    let mass = form.quantity(&mut table, "mass", Mass::parse);
    let common = common(form, &mut table);
    let neither = !table.has("share") && !table.has("mass");
    let both = share.is_some() && mass.is_some();
    form.close(table);
    if both {
        let expected = "one of the two";
        form.refuse(&at, "a share and a mass", expected, "remove the share or the mass");
    }
    if neither {
        let expected = "a share of the oils like `40 %`, or a mass like `120 g`";
        form.refuse(&at, "no amount", expected, "add `share` or `mass`");
    }
    let share = share.filter(|share| positive_share(form, share, Share::WHOLE));
    let mass = mass.filter(|mass| positive_mass(form, mass));
    let fat = fat?;
    let oil = Oil {
        id: IngredientId(fat.key.clone()),
        fat: fat.key.clone(),
        name: called.unwrap_or_else(|| fat.name.clone()),
        mass: Mass::ZERO,
        nature: common.nature,
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    };
    Some(OilRow { oil, mass, share, at })
}

pub(super) fn caustic<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<CausticChoice> {
    let words = [
        ("NaOH", Alkali::SodiumHydroxide),
        ("sodium hydroxide", Alkali::SodiumHydroxide),
        ("KOH", Alkali::PotassiumHydroxide),
        ("potassium hydroxide", Alkali::PotassiumHydroxide),
    ];
    let line = form.line(&table.placed().place);
    let alkali = form.word(&mut table, "alkali", &words);
    form.need(&table, "alkali", "`NaOH` or `KOH`", "add it");
    let covers = form.quantity(&mut table, "covers", Share::parse);
    let covers = covers.filter(|share| positive_share(form, share, Share::WHOLE));
    let stated = form.quantity(&mut table, "purity", Share::parse);
    let stated = stated.filter(|purity| credible_purity(form, purity));
    let stock = form.quantity(&mut table, "stock_lye", Share::parse);
    let most = Share::from_percent(50);
    let stock = stock.filter(|share| positive_share(form, share, most));
    let lot = form.text(&mut table, "lot");
    if alkali.as_ref().is_some_and(|a| a.value == Alkali::PotassiumHydroxide) {
        form.need(&table, "purity", "the purity of this KOH, like `90 %`", PURITY_ADVICE);
    }
    form.close(table);
    let alkali = alkali?.value;
    let purity = match (stated, alkali.usual_purity()) {
        (Some(stated), _) => about(stated.value),
        (None, Some([low, working, high])) => Purity { low, working, high, stated: false },
        // refused above: without a purity there is nothing to work with
        (None, None) => return None,
    };
    let id = match alkali {
        Alkali::SodiumHydroxide => "naoh",
        Alkali::PotassiumHydroxide => "koh",
    };
    Some(CausticChoice {
        id: id.into(),
        alkali,
        covers: covers.map_or(Share::WHOLE, |covers| covers.value),
        purity,
        stock: stock.map(|stock| stock.value),
        lot: lot.map(|name| Lot { name: name.value, certificate: None }),
        line: Some(line),
    })
}

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
    let common = common(form, &mut table);
    form.close(table);
    let name = name.map_or_else(|| "water".to_owned(), |name| name.value);
    Some(Liquid {
        id: IngredientId(slug(&name)),
        water: water.map_or_else(|| usual_water(&name), |water| water.value),
        name,
        amount: amount?,
        ice: ice.map_or(Share::ZERO, |ice| ice.value),
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    })
}

pub(super) fn addition<'a>(form: &mut Form<'a>, mut table: Table<'a>) -> Option<Addition> {
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
    let common = common(form, &mut table);
    let acid = acid(form, &mut table, name.as_ref(), when.as_ref());
    form.close(table);
    let name = name?.value;
    if hazards.is_empty() && is_flammable(&name) {
        hazards.push(FLAMMABLE.to_owned());
    }
    Some(Addition {
        id: IngredientId(slug(&name)),
        name,
        amount: amount?,
        when: when?.value,
        into: into.map_or(Vessel::Own, |into| into.value),
        nature: common.nature,
        tolerance: common.tolerance,
        hazards,
        acid,
        lot: common.lot,
        line: common.line,
    })
}

pub(super) fn late_fat<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    fats: &FatTable,
) -> Option<LateFat> {
    let fat = fat(form, &mut table, fats);
    let called = form.text(&mut table, "called").map(|text| text.value);
    let amount = amount(form, &mut table);
    let common = common(form, &mut table);
    form.close(table);
    let fat = fat?;
    Some(LateFat {
        id: IngredientId(format!("{}-after-cook", fat.key)),
        fat: fat.key.clone(),
        name: called.unwrap_or_else(|| fat.name.clone()),
        amount: amount?,
        nature: common.nature,
        tolerance: common.tolerance,
        lot: common.lot,
        line: common.line,
    })
}

/// A name as an ingredient's key: "Aloe juice" is "aloe-juice".
pub(super) fn slug(name: &str) -> String {
    let spaced: String =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
    let slug = spaced.split_whitespace().collect::<Vec<_>>().join("-");
    if slug.is_empty() { "unnamed".to_owned() } else { slug }
}

const FLAMMABLE: &str =
    "flammable: flame and heating coil off, room aired, pot cooled before it comes near";

fn is_flammable(name: &str) -> bool {
    let name = name.to_lowercase();
    ["alcohol", "ethanol", "isoprop", "spirit"].iter().any(|word| name.contains(word))
}

fn fat<'a, 'f>(form: &mut Form<'a>, table: &mut Table<'a>, fats: &'f FatTable) -> Option<&'f Fat> {
    let name = form.text(table, "fat");
    let expected = "the name of an oil, butter or wax, like `olive oil`";
    form.need(table, "fat", expected, "add it");
    let name = name?;
    match fats.find(&name.value) {
        Ok(fat) => Some(fat),
        Err(unknown) => {
            let advice = match unknown.nearest {
                Some(near) => format!("did you mean `{near}`?"),
                None => "add it to your own table of fats, with its saponification value".into(),
            };
            form.refuse(&name, format!("`{}`", name.value), "a fat of the table", advice);
            None
        }
    }
}

fn common<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Common {
    let words = [("pour", Nature::Pour), ("pieces", Nature::Pieces), ("scoop", Nature::Scoop)];
    let nature = form.word(table, "comes_as", &words);
    let tolerance = form.quantity(table, "tolerance", amounts::tolerance);
    let tolerance = tolerance.filter(|tolerance| usable_tolerance(form, tolerance));
    let lot = form.text(table, "lot");
    let certificate = form.table(table, "certificate");
    let certificate = certificate.and_then(|table| read_certificate(form, table, lot.as_ref()));
    Common {
        nature: nature.map_or(Nature::Pour, |nature| nature.value),
        tolerance: tolerance.map(|tolerance| tolerance.value),
        lot: lot.map(|name| Lot { name: name.value, certificate }),
        line: Some(form.line(&table.placed().place)),
    }
}

fn read_certificate<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    lot: Option<&Placed<String>>,
) -> Option<LotCertificate> {
    let at = table.placed();
    let date = form.text(&mut table, "date");
    form.need(&table, "date", "the date on the paper, like `2026-03-02`", "add it");
    let sap = form.number(&mut table, "sap", 20.0..400.0, "mg KOH per g");
    form.need(&table, "sap", "the saponification value on the paper, mg KOH per g", "add it");
    let half_width = form.number(&mut table, "give_or_take", 0.01..20.0, "mg KOH per g");
    form.need(
        &table,
        "give_or_take",
        "its uncertainty in mg KOH per g",
        "add it; one step of the last printed digit at least",
    );
    form.close(table);
    let Some(lot) = lot else {
        form.refuse(&at, "no `lot` beside it", "the lot that the paper is for", "add `lot`");
        return None;
    };
    Some(LotCertificate {
        lot: lot.value.clone(),
        date: date?.value,
        sap: sap?.value,
        sap_half_width: half_width?.value,
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

/// The part of a liquid that is water and can dissolve caustic. Common practice, no source; the
/// key `water` replaces it.
fn usual_water(name: &str) -> Share {
    let name = name.to_lowercase();
    let usual = [("milk", 87), ("cream", 70), ("brine", 75), ("beer", 95), ("tea", 99)];
    let found = usual.into_iter().find(|(word, _)| name.contains(word));
    Share::from_percent(found.map_or(100, |(_, percent)| percent))
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

fn about(stated: Share) -> Purity {
    Purity {
        low: stated - LABEL_HALF_WIDTH,
        working: stated,
        high: (stated + LABEL_HALF_WIDTH).min(Share::WHOLE),
        stated: true,
    }
}

fn credible_purity(form: &mut Form<'_>, purity: &Placed<Share>) -> bool {
    let good = (PURITY_LEAST..=Share::WHOLE).contains(&purity.value);
    if !good {
        let found = purity.value.show(1);
        let advice = "copy it from the label; for a lye already made, use `stock_lye`";
        form.refuse(purity, found, "80 % to 100 % of alkali in the solid", advice);
    }
    good
}

fn usable_tolerance(form: &mut Form<'_>, tolerance: &Placed<Tolerance>) -> bool {
    match tolerance.value {
        Tolerance::Mass(mass) => positive_mass(form, &tolerance.with(mass)),
        Tolerance::Share(share) => {
            positive_share(form, &tolerance.with(share), TOLERANCE_SHARE_MOST)
        }
    }
}

fn positive_share(form: &mut Form<'_>, share: &Placed<Share>, most: Share) -> bool {
    let good = share.value > Share::ZERO && share.value <= most;
    if !good {
        let expected = format!("more than 0 % and at most {}", most.show(0));
        form.refuse(share, share.value.show(2), expected, "check sign and digits");
    }
    good
}

/// A tonne is the most a file may name at all; a bench holds far less.
pub(super) fn positive_mass(form: &mut Form<'_>, mass: &Placed<Mass>) -> bool {
    let most = Mass::LARGEST.scaled(Mass::from_steps(1), Mass::from_steps(10));
    let good = mass.value > Mass::ZERO && mass.value <= most;
    if !good {
        let found = mass.value.to_string();
        form.refuse(mass, found, "more than nothing and at most 100 kg", "check sign and digits");
    }
    good
}
