//! The recipe's chemistry, and what everything comes to when it goes as planned.

use serde::Serialize;

use crate::chemistry::{
    Basis, Caustic, CausticForm, Fat, FatTable, Formula, FormulaFat, IngredientId, Masses, Seen,
};
use crate::problem::{Problem, Problems};
use crate::quantity::{Mass, Share};
use crate::recipe::{CausticChoice, Lot, Recipe};

/// What a fat's figures rest on, for the foot of the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FatBasis {
    pub id: IngredientId,
    pub name: String,
    /// mg KOH per g of fat.
    pub sap_low_mg_per_g: f64,
    pub sap_mg_per_g: f64,
    pub sap_high_mg_per_g: f64,
    /// The document, and how it was seen.
    pub source: String,
    /// A lot's certificate says something else than every published range.
    pub certificate_lies_outside: bool,
    pub is_wax: bool,
}

pub(super) fn of(recipe: &Recipe, fats: &FatTable) -> Result<(Formula, Vec<FatBasis>), Problems> {
    let mut problems = Vec::new();
    let mut rows: Vec<(FormulaFat, FatBasis)> = Vec::new();
    let cooked = recipe.oils.iter().map(|o| (&o.id, &o.fat, &o.name, &o.lot, o.line, false));
    let late = recipe.late_fats.iter().map(|f| (&f.id, &f.fat, &f.name, &f.lot, f.line, true));
    for (id, key, name, lot, line, after_cook) in cooked.chain(late) {
        match figures(fats, key, lot.as_ref()) {
            Ok(fat) => {
                let figures = FormulaFat { after_cook, ..FormulaFat::of(&id.0, &fat) };
                rows.push((figures, basis(id, name, &fat)));
            }
            Err(found) => problems.push(Problem {
                file: recipe.file.clone(),
                line,
                field: "fat".to_owned(),
                found,
                expected: "a fat of the table with usable figures".to_owned(),
                advice: "correct the name or the certificate".to_owned(),
            }),
        }
    }
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    let (fats, basis) = rows.into_iter().unzip();
    let formula = Formula {
        fats,
        superfat: recipe.superfat,
        floor: recipe.floor,
        caustics: recipe.caustics.iter().map(caustic).collect(),
        liquid: recipe.liquid.amount,
        liquid_id: recipe.liquid.id.clone(),
        liquid_water: recipe.liquid.water,
        acids: recipe.additions.iter().filter_map(|addition| addition.acid.clone()).collect(),
    };
    Ok((formula, basis))
}

/// Every mass as the scale will be asked to show it: the caustic rounded down, the rest to the
/// nearest step. The caustic follows from the oils as rounded.
pub(super) fn planned(recipe: &Recipe, formula: &Formula, step: Mass) -> Masses {
    let mut masses = Masses::new();
    for oil in &recipe.oils {
        masses.insert(oil.id.clone(), oil.mass.round_to(step));
    }
    let oils: Mass = masses.values().copied().sum();
    for addition in &recipe.additions {
        masses.insert(addition.id.clone(), addition.amount.over(oils).round_to(step));
    }
    for caustic in &formula.caustics {
        let mass = formula.caustic(&caustic.id, &masses);
        masses.insert(caustic.id.clone(), mass.floor_to(step));
    }
    let liquid = formula.liquid(&masses).round_to(step);
    masses.insert(formula.liquid_id.clone(), liquid.max(Mass::ZERO));
    for fat in &recipe.late_fats {
        masses.insert(fat.id.clone(), fat.amount.over(oils).round_to(step));
    }
    masses
}

fn figures(fats: &FatTable, key: &str, lot: Option<&Lot>) -> Result<Fat, String> {
    let fat = fats.find(key).map_err(|unknown| unknown.to_string())?;
    match lot.and_then(|lot| lot.certificate.clone()) {
        Some(paper) => fat.with_certificate(paper).map_err(|error| error.to_string()),
        None => Ok(fat.clone()),
    }
}

fn caustic(choice: &CausticChoice) -> Caustic {
    let strength = choice.stock.unwrap_or(Share::WHOLE);
    let of = |purity: Share| Share::from_fraction_rounded(purity.fraction() * strength.fraction());
    let form = match (choice.stock, choice.alkali) {
        (Some(_), _) => CausticForm::Lye,
        (None, crate::chemistry::Alkali::PotassiumHydroxide) => CausticForm::WaterySolid,
        (None, crate::chemistry::Alkali::SodiumHydroxide) => CausticForm::Solid,
    };
    Caustic {
        id: choice.id.clone(),
        alkali: choice.alkali,
        covers: choice.covers,
        purity_low: of(choice.purity.low),
        purity: of(choice.purity.working),
        purity_high: of(choice.purity.high),
        form,
    }
}

fn basis(id: &IngredientId, name: &str, fat: &Fat) -> FatBasis {
    let seen = match fat.range.seen {
        Seen::Text => "",
        Seen::TradeReproduction => ", as reproduced in a trade specification",
        Seen::FromMemory => ", from memory",
        Seen::Theory => ", computed",
        Seen::Certificate => "",
    };
    let rule = match fat.basis {
        Basis::Middle => "middle of the range",
        Basis::Theory => "computed from its usual acids (from memory), inside the range",
        Basis::Single => "one published figure, ±5 % ours",
        Basis::Maker => "the maker's figure",
    };
    FatBasis {
        id: id.clone(),
        name: name.to_owned(),
        sap_low_mg_per_g: fat.sap_low,
        sap_mg_per_g: fat.sap,
        sap_high_mg_per_g: fat.sap_high,
        source: format!("{}{seen}; {rule}", fat.range.source),
        certificate_lies_outside: fat.certificate_lies_outside(),
        is_wax: !fat.reacting.is_whole(),
    }
}
