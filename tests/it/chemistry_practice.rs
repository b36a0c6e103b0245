//! A bar as makers make it, from the names of its fats to the peak of its lye.

use panroom::chemistry::{
    Alkali, Caustic, DissolveVerdict, FatTable, Formula, FormulaFat, Likelihood, LiquidRule,
    Masses, ScaleFacts, StartState, show_ratio, water_boils_at,
};
use panroom::quantity::{Mass, MassUnit, Share, Temperature, TemperatureDelta, TemperatureUnit};

/// Common practice, no source.
const FATS: [(&str, &str); 7] = [
    ("coconut oil", "5 oz"),
    ("mango butter", "2 oz"),
    ("shea butter", "2 oz"),
    ("cocoa butter", "2 oz"),
    ("candelilla wax", "0.25 oz"),
    ("olive oil", "4 oz"),
    ("castor oil", "1 oz"),
];

fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

fn bar(purity: [Share; 3]) -> (Formula, Masses) {
    let table = FatTable::built_in();
    let fats = FATS.map(|(name, _)| FormulaFat::of(name, table.find(name).unwrap()));
    let formula = Formula {
        fats: fats.to_vec(),
        superfat: Share::from_percent(5),
        floor: Share::ZERO,
        caustics: vec![Caustic::solid("naoh", Alkali::SodiumHydroxide, purity)],
        liquid: LiquidRule::parse("6.2 oz").unwrap(),
        liquid_id: "water".into(),
        liquid_water: Share::WHOLE,
        acids: Vec::new(),
    };
    (formula, FATS.map(|(name, text)| (name.into(), mass(text))).into_iter().collect())
}

fn room_warm() -> StartState {
    let liquid = Temperature::from_celsius(20);
    StartState { liquid, ice: Share::ZERO, bath: false, portions: false, jug: None }
}

#[test]
fn sixteen_ounces_of_fats_take_the_usual_caustic() {
    let (formula, fats) = bar([Share::WHOLE; 3]);
    assert_eq!(formula.check(&fats), []);
    let naoh = formula.caustic(&"naoh".into(), &fats);
    let off = naoh.in_unit(MassUnit::Ounce) / 2.26 - 1.0;
    assert!(off.abs() < 0.03, "{} is {:.1} % off", naoh.show(MassUnit::Ounce, 3), off * 100.0);
    let liquid = formula.liquid(&Masses::from([("naoh".into(), naoh)]));
    assert_eq!(show_ratio(liquid, naoh), "2.7:1");
    assert_eq!(show_ratio(mass("6.2 oz"), mass("2.26 oz")), "2.7:1");
}

#[test]
fn its_lye_reads_what_makers_read() {
    let (formula, _) = bar([Share::WHOLE; 3]);
    let lye = Masses::from([("naoh".into(), mass("2.26 oz")), ("water".into(), mass("6.2 oz"))]);
    let expected = formula.expected_lye(&lye, Some(&room_warm())).unwrap();
    // 202 °F seen; between the two published families 93 to 98 °C without loss
    let lossless = expected.lossless.celsius();
    assert!((93.0..=98.0).contains(&lossless), "{lossless}");
    let seen = Temperature::parse("202 °F").unwrap();
    assert!(expected.low.unwrap() < seen && seen < expected.high);
    let limits = TemperatureDelta::from_kelvin(2);
    assert_eq!(expected.judge(seen, limits), Some(DissolveVerdict::AsExpected));
    // in a town at 2000 m water boils below that peak
    let hill = water_boils_at(2000).unwrap();
    assert!(expected.spatter(hill, TemperatureUnit::Fahrenheit).is_some());
    assert!(expected.spatter(water_boils_at(0).unwrap(), TemperatureUnit::Celsius).is_none());
}

#[test]
fn its_superfat_is_proven_on_a_tenth_of_a_gram() {
    let (formula, mut weighed) = bar(Alkali::SodiumHydroxide.usual_purity().unwrap());
    let scale = ScaleFacts::new(mass("0.1 g"), mass("3 kg"));
    let guard = formula.guard(&"naoh".into(), &weighed, &scale);
    assert!(guard.proven);
    let target = formula.caustic(&"naoh".into(), &weighed).floor_to(scale.d);
    assert!(guard.mass > target + scale.d);
    weighed.insert("naoh".into(), target);
    let budget = formula.superfat_budget(&weighed, &Masses::new(), &scale).unwrap();
    let (superfat, bar) = (budget.superfat, Share::from_percent(5));
    assert!(superfat.achieved >= bar && superfat.achieved - superfat.expanded > Share::ZERO);
    assert!(budget.lye_heavy <= Likelihood::Unlikely);
    weighed.insert("naoh".into(), target + mass("10 g"));
    let heavy = formula.superfat_budget(&weighed, &Masses::new(), &scale).unwrap();
    assert!(heavy.lye_heavy >= Likelihood::MoreLikelyThanNot);
}

#[test]
fn potassium_hydroxide_has_no_usual_purity_and_it_matters() {
    assert_eq!(Alkali::PotassiumHydroxide.usual_purity(), None);
    let koh = |percent| {
        let purity = [Share::from_percent(percent); 3];
        Caustic::solid("koh", Alkali::PotassiumHydroxide, purity)
    };
    let (mut formula, mut weighed) = bar([Share::WHOLE; 3]);
    formula.caustics = vec![koh(85)];
    weighed.insert("koh".into(), formula.caustic(&"koh".into(), &weighed));
    // weighed for 85 % flake out of a tin of 90 %: 1 − 0.95 × 90 ÷ 85
    formula.caustics = vec![koh(90)];
    let scale = ScaleFacts::new(mass("0.1 g"), mass("3 kg"));
    let achieved = formula.superfat(&weighed, &scale).achieved;
    assert!((achieved.percent() + 0.588).abs() < 0.01, "{achieved}");
}

#[test]
fn a_formula_survives_being_stored_even_from_before_it_grew() {
    let (formula, _) = bar(Alkali::SodiumHydroxide.usual_purity().unwrap());
    let mut stored = serde_json::to_value(&formula).unwrap();
    assert_eq!(serde_json::from_value::<Formula>(stored.clone()).unwrap(), formula);
    let old = stored.as_object_mut().unwrap();
    for field in ["liquid_water", "acids"] {
        old.remove(field);
    }
    for field in ["reacting", "after_cook"] {
        old["fats"][0].as_object_mut().unwrap().remove(field);
    }
    old["caustics"][0].as_object_mut().unwrap().remove("form");
    assert_eq!(serde_json::from_value::<Formula>(stored).unwrap(), formula);
}
