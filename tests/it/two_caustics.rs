//! Sodium and potassium hydroxide together: what is weighed of one counts for the guard of the
//! other, and too much of one alone is an alarm.

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, Remedy, Reply};
use panroom::chemistry::Alkali;
use panroom::plan::{ControlRecipe, StepKind};
use panroom::quantity::{Mass, Share};

use crate::driver::{CUP_G, Driver, POT_G, batch_id, control, g};

/// The recipe of the driver, half of the demand by each.
fn halves() -> ControlRecipe {
    let mut recipe = control();
    let half = Share::from_percent(50);
    recipe.formula.caustics[0].covers = half;
    let mut koh = recipe.formula.caustics[0].clone();
    koh.id = "koh".into();
    koh.alkali = Alkali::PotassiumHydroxide;
    recipe.formula.caustics.push(koh);
    let place = recipe.steps.iter().position(|step| step.key == "weigh-naoh").unwrap();
    let mut step = recipe.steps[place].clone();
    step.key = "weigh-koh".to_owned();
    if let StepKind::Weigh(weigh) = &mut step.kind {
        weigh.ingredient = "koh".into();
        weigh.name = "potassium hydroxide".to_owned();
    }
    recipe.steps.insert(place + 1, step);
    recipe
}

/// The oils and the sodium hydroxide are weighed.
pub fn first_weighed() -> Driver {
    let mut driver = Driver::new();
    driver.run(0.5);
    assert_eq!(driver.act(Act::start(batch_id(), Arc::new(halves()))), Reply::Done);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    weigh(&mut driver);
    driver.expect_step("weigh-koh");
    driver
}

/// Into a cup of its own, to its target.
fn weigh(driver: &mut Driver) {
    driver.put(CUP_G);
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
}

fn both_weighed() -> Driver {
    let mut driver = first_weighed();
    weigh(&mut driver);
    driver.expect_step("weigh-water");
    driver
}

fn correct(driver: &mut Driver, ingredient: &str, mass: &str) {
    let (batch, ingredient, mass) = (batch_id(), ingredient.into(), g(mass));
    let reason = "it was the other bottle".to_owned();
    assert_eq!(driver.act(Act::Correct { batch, ingredient, mass, reason }), Reply::Done);
    driver.run(1.0);
}

fn lye_heavy(driver: &Driver) -> bool {
    driver.is_active(|alarm| matches!(alarm, AlarmId::LyeHeavy { .. }))
}

fn options(driver: &Driver) -> Vec<Remedy> {
    match driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks) {
        Some(Ask::Remedy { options, .. }) => options,
        other => panic!("no remedy is asked, but {other:?}"),
    }
}

/// Spooned out of a cup with so much in it; how much was to be kept.
fn spoon_out(driver: &mut Driver, content: f64) -> Mass {
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::SpoonOut }), Reply::Done);
    driver.put(CUP_G + content);
    let keep = driver.weighing_target();
    driver.put(CUP_G + keep.grams());
    driver.put(0.0);
    keep
}

/// By hand, from the molar masses 39.9971 and 56.1056 g/mol (from the standard atomic weights of
/// IUPAC) and the saponification values of the driver.
fn superfat_with(driver: &Driver, koh: Option<f64>) -> f64 {
    let masses = driver.bench.state().batches[&batch_id()].masses();
    let grams = |id: &str| masses.get(&id.into()).map_or(0.0, |mass: &Mass| mass.grams());
    let demand = grams("coconut") * 0.256 + grams("olive") * 0.190;
    let alkali = grams("naoh") * 56.1056 / 39.9971 + koh.unwrap_or_else(|| grams("koh"));
    1.0 - alkali / demand
}

#[test]
fn invariant_2_the_guard_of_the_second_falls_with_the_oils() {
    for olive in ["200", "190", "170", "150"] {
        let mut driver = first_weighed();
        correct(&mut driver, "olive", olive);
        driver.put(CUP_G);
        let at_guard = superfat_with(&driver, Some(driver.guard().grams()));
        assert!(at_guard > 0.0, "{olive} g: {at_guard} with {}", driver.guard());
        assert!(driver.guard() > driver.weighing_target(), "{olive} g");
    }
}

#[test]
fn invariant_2_the_first_alone_too_much_is_an_alarm_before_the_second() {
    let mut driver = first_weighed();
    // 21.5 g NaOH do the work of 30.16 g KOH; 25.6 g and 5.89 g take up all of it but 4.2 %
    correct(&mut driver, "olive", "31");
    assert!(!lye_heavy(&driver), "{}", superfat_with(&driver, None));
    assert_eq!(driver.weighing_target(), g("0"));
    assert!(superfat_with(&driver, Some(driver.guard().grams())) > 0.0, "{}", driver.guard());
    correct(&mut driver, "olive", "20");
    assert!(lye_heavy(&driver), "{}", superfat_with(&driver, None));
    assert_eq!(options(&driver), [Remedy::SpoonOut, Remedy::Discard]);
    // (25.6 + 3.8) g KOH × 0.712 89 × 0.95 = 19.91 g, and nothing of the other
    assert_eq!(spoon_out(&mut driver, 21.5), g("19.9"));
    assert!(!lye_heavy(&driver));
    assert!((superfat_with(&driver, None) - 0.05).abs() < 0.005);
    driver.expect_step("weigh-koh");
}

#[test]
fn invariant_2_too_much_of_the_first_is_an_alarm_after_the_second() {
    for (naoh, heavy) in [("21.5", false), ("22", false), ("26", true), ("43", true)] {
        let mut driver = both_weighed();
        correct(&mut driver, "naoh", naoh);
        assert_eq!(lye_heavy(&driver), heavy, "{naoh} g: {}", superfat_with(&driver, None));
    }
}

#[test]
fn what_is_over_is_spooned_out_of_the_cup_that_is_over() {
    let mut driver = both_weighed();
    correct(&mut driver, "naoh", "43");
    assert!(lye_heavy(&driver), "{}", driver.view().batches[0].sentence);
    assert_eq!(spoon_out(&mut driver, 43.0), g("21.5"));
    assert!(!lye_heavy(&driver));
    assert!((superfat_with(&driver, None) - 0.05).abs() < 0.005);
}
