//! Small recipes for the tests of this room.

use super::{Alkali, Caustic, FatTable, Formula, FormulaFat, LiquidRule, Masses};
use crate::quantity::{Mass, Share};

pub fn grams(grams: f64) -> Mass {
    Mass::from_grams_rounded(grams)
}

pub fn masses(grams: &[(&str, f64)]) -> Masses {
    grams.iter().map(|(id, mass)| ((*id).into(), Mass::from_grams_rounded(*mass))).collect()
}

/// A caustic that is nothing but alkali.
pub fn pure(id: &str, alkali: Alkali) -> Caustic {
    Caustic::solid(id, alkali, [Share::WHOLE; 3])
}

/// Fats whose saponification values are known exactly, pure sodium hydroxide, 2.7:1.
pub fn bar(superfat: &str, fats: &[(&str, f64)]) -> Formula {
    Formula {
        fats: fats.iter().map(|(id, sap)| FormulaFat::new(id, *sap, *sap, *sap)).collect(),
        superfat: Share::parse(superfat).unwrap(),
        floor: Share::ZERO,
        caustics: vec![pure("naoh", Alkali::SodiumHydroxide)],
        liquid: LiquidRule::parse("2.7:1").unwrap(),
        liquid_id: "water".into(),
        liquid_water: Share::WHOLE,
        acids: Vec::new(),
    }
}

const USUAL: [(&str, &str); 7] = [
    ("coconut", "5 oz"),
    ("mango", "2 oz"),
    ("shea", "2 oz"),
    ("cocoa_butter", "2 oz"),
    ("candelilla", "0.25 oz"),
    ("olive", "4 oz"),
    ("castor", "1 oz"),
];

/// A bar of built-in fats with their published ranges, and sodium hydroxide of usual purity.
pub fn usual_bar(superfat: &str) -> Formula {
    let table = FatTable::built_in();
    let fats = USUAL.map(|(key, _)| FormulaFat::of(key, table.find(key).unwrap()));
    let purity = Alkali::SodiumHydroxide.usual_purity().unwrap();
    Formula {
        fats: fats.to_vec(),
        caustics: vec![Caustic::solid("naoh", Alkali::SodiumHydroxide, purity)],
        ..bar(superfat, &[])
    }
}

pub fn usual_fats() -> Masses {
    USUAL.iter().map(|(key, mass)| ((*key).into(), Mass::parse(mass).unwrap())).collect()
}
