//! Oils and caustics of a recipe file, and what all ingredients have in common.

use crate::chemistry::{Alkali, Fat, FatTable, IngredientId, LotCertificate};
use crate::plan::{Nature, Tolerance};
use crate::problem::{Form, Placed, Table};
use crate::quantity::{Mass, Share};

use super::{CausticChoice, Lot, Oil, Purity, amounts};

/// An oil with its amount as written, before all of them are looked at together.
pub(super) struct OilRow {
    pub oil: Oil,
    pub mass: Option<Placed<Mass>>,
    pub share: Option<Placed<Share>>,
    pub at: Placed<()>,
}

pub(super) struct Common {
    pub nature: Nature,
    pub tolerance: Option<Tolerance>,
    pub lot: Option<Lot>,
    pub line: Option<usize>,
}

/// A flake's own sheet gives ±1 % about the purity on the label (one maker's sheet of NaOH flakes).
const LABEL_HALF_WIDTH: Share = Share::from_percent(1);
/// Weaker products are no solid caustic, or have stood open.
const PURITY_LEAST: Share = Share::from_percent(80);
/// A weaker stock lye leaves no room for any other liquid; a stronger one throws crystals.
const STOCK_LEAST: Share = Share::from_percent(10);
const STOCK_MOST: Share = Share::from_percent(52);
const TOLERANCE_SHARE_MOST: Share = Share::from_percent(20);
const PURITY_ADVICE: &str = "copy it from the label or the certificate: flake of 85 % and flake of \
     90 % differ by enough to turn a superfat of 5 % negative";

pub(super) fn oil<'a>(
    form: &mut Form<'a>,
    mut table: Table<'a>,
    fats: &FatTable,
) -> Option<OilRow> {
    let at = table.placed();
    let fat = fat(form, &mut table, fats);
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
    let (fat, name) = fat?;
    let oil = Oil {
        id: IngredientId(fat.key.clone()),
        fat: fat.key.clone(),
        name,
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
    let stock = stock.filter(|stock| credible_stock(form, stock));
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

/// A name as an ingredient's key: "Aloe juice" is "aloe-juice".
pub(super) fn slug(name: &str) -> String {
    let spaced: String =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
    let slug = spaced.split_whitespace().collect::<Vec<_>>().join("-");
    if slug.is_empty() { "unnamed".to_owned() } else { slug }
}

/// The fat, and what to call it: as the maker does, unless that is but the table's key.
pub(super) fn fat<'a, 'f>(
    form: &mut Form<'a>,
    table: &mut Table<'a>,
    fats: &'f FatTable,
) -> Option<(&'f Fat, String)> {
    let name = form.text(table, "fat");
    let called = form.text(table, "called");
    let expected = "the name of an oil, butter or wax, like `olive oil`";
    form.need(table, "fat", expected, "add it");
    let name = name?;
    match fats.find(&name.value) {
        Ok(fat) => {
            let is_key = name.value.eq_ignore_ascii_case(&fat.key);
            let written = if is_key { fat.name.clone() } else { name.value };
            Some((fat, called.map_or(written, |called| called.value)))
        }
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

pub(super) fn common<'a>(form: &mut Form<'a>, table: &mut Table<'a>) -> Common {
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

fn credible_stock(form: &mut Form<'_>, stock: &Placed<Share>) -> bool {
    let good = (STOCK_LEAST..=STOCK_MOST).contains(&stock.value);
    if !good {
        let expected = "10 % to 52 % of caustic in the stock lye";
        form.refuse(stock, stock.value.show(1), expected, "check sign and digits");
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

pub(super) fn positive_share(form: &mut Form<'_>, share: &Placed<Share>, most: Share) -> bool {
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
