//! The lye is made first, as in cold process: the oils follow the caustic really weighed.

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, Remedy, Reply};
use panroom::bench_file::BenchFile;
use panroom::chemistry::FatTable;
use panroom::plan::sheet::Sheet;
use panroom::plan::{Amount, ControlRecipe, Options, StepKind, plan};
use panroom::problem::Source;
use panroom::recipe::{EXAMPLE, InPot, Recipe};

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g, in_pot};

/// The recipe of the driver, turned round.
fn turned() -> ControlRecipe {
    let mut recipe = control();
    let mut steps = recipe.steps.clone();
    let (oils, mut rest): (Vec<_>, Vec<_>) = steps
        .drain(..)
        .partition(|step| ["weigh-coconut", "weigh-olive"].contains(&step.key.as_str()));
    let after = rest.iter().position(|step| step.key == "dissolve").unwrap() + 1;
    for (place, mut step) in oils.into_iter().enumerate() {
        if let StepKind::Weigh(weigh) = &mut step.kind
            && let Amount::Fixed(mass) = weigh.amount
        {
            weigh.amount = Amount::AfterLye(mass);
        }
        rest.insert(after + place, step);
    }
    recipe.steps = rest;
    recipe
}

/// The lye is made, with this much more caustic than planned, and its cup is not weighed back.
fn lye_made(more: f64) -> Driver {
    let mut driver = Driver::started_from(turned());
    driver.expect_step("weigh-naoh");
    driver.put(CUP_G);
    let target = driver.target();
    driver.pour_to(CUP_G + target + more);
    if driver.view().batches[0].prompt.is_some() {
        assert_eq!(driver.confirm(), Reply::Done, "taken long");
    }
    driver.put(0.0);
    driver.weigh_into(JUG_G);
    driver.expect_step("dissolve");
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("weigh-coconut");
    driver
}

#[test]
fn the_caustic_is_weighed_for_the_oils_as_planned() {
    let mut driver = Driver::new();
    driver.run(0.5);
    let act = Act::start(batch_id(), Arc::new(turned()));
    driver.act(act);
    // (100 × 0.256 + 200 × 0.190) g KOH × 39.9971 ÷ 56.1056 × 0.95 = 43.07 g, rounded down
    assert_eq!(driver.weighing_target(), g("43.0"));
    assert!(driver.guard() > g("43.0"));
}

/// The caustic's cup is tared; these oils are in the pot from the start.
fn at_caustic_with(said: Vec<InPot>) -> Driver {
    let mut driver = Driver::new();
    driver.run(0.5);
    let (batch, control) = (batch_id(), Arc::new(turned()));
    let act = Act::Start { batch, control, operator: None, in_pot: said };
    assert_eq!(driver.act(act), Reply::Done);
    driver.put(CUP_G);
    driver
}

#[test]
fn the_caustic_follows_what_is_in_the_pot_and_not_what_was_planned() {
    let halved = vec![in_pot("coconut", "50", None), in_pot("olive", "100", None)];
    // (50 × 0.256 + 100 × 0.190) g KOH × 39.9971 ÷ 56.1056 × 0.95 = 21.54 g, rounded down
    assert_eq!(at_caustic_with(halved).weighing_target(), g("21.5"));
    // (100 × 0.256 + 100 × 0.190) g KOH: 30.20 g
    let mut driver = at_caustic_with(vec![in_pot("olive", "100", None)]);
    assert_eq!(driver.weighing_target(), g("30.2"));
    driver.pour_to(CUP_G + 30.5);
    assert_eq!(driver.captured("naoh"), None, "0.3 g are more than one interval above");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target());
    driver.put(0.0);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("weigh-coconut");
    // what is in the pot stays as it is: the coconut takes up all of the 0.3 g
    let demand = 30.5 / 0.95 * 56.1056 / 39.9971;
    let coconut = (demand - 100.0 * 0.190) / 0.256;
    assert!((driver.target() - coconut).abs() <= 0.06, "{} for {coconut}", driver.target());
}

#[test]
fn how_good_a_declared_mass_is_lowers_the_guard_before_its_turn_too() {
    let guard = |doubt: &str| at_caustic_with(vec![in_pot("olive", "200", Some(doubt))]).guard();
    let (fine, usual, coarse) = (guard("0"), guard("4"), guard("60"));
    assert!(coarse < usual && usual < fine, "{coarse} {usual} {fine}");
    assert!(fine <= at_caustic_with(Vec::new()).guard());
}

#[test]
fn the_oils_follow_the_caustic_really_weighed() {
    let mut driver = lye_made(0.9);
    assert_eq!(driver.captured("naoh"), Some(g("43.9")));
    // 43.9 ÷ 43.0726 of what was planned
    let factor = 43.9 / 43.0726;
    assert!((driver.target() - 100.0 * factor).abs() <= 0.06, "{}", driver.target());
    driver.put(POT_G);
    driver.pour_to(POT_G + 101.0);
    let coconut = driver.captured("coconut").unwrap().grams();
    driver.expect_step("weigh-olive");
    // a little short of coconut is made good by the olive: all that the caustic takes, exactly
    let demand = 43.9 / 0.95 * 56.1056 / 39.9971;
    let olive = (demand - coconut * 0.256) / 0.190;
    assert!((driver.target() - olive).abs() <= 0.06, "{} for {olive}", driver.target());
}

#[test]
fn too_little_oil_for_the_lye_is_an_alarm_before_they_come_together() {
    let mut driver = lye_made(0.0);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.expect_step("weigh-olive");
    // the bottle is empty: 160 g for 200 g, and the lye is made already
    driver.pour_without_rest(POT_G + 260.0);
    driver.run(8.0);
    let prompt = driver.view().batches[0].prompt.clone().unwrap();
    assert!(matches!(prompt.asks, Ask::TakeShort { .. }));
    assert!(!prompt.words.contains("bring-down"), "the lye cannot be brought down any more");
    let (prompt, remedy) = (prompt.prompt, Remedy::BringDown);
    assert!(matches!(driver.act(Act::Choose { prompt, remedy }), Reply::Refused { .. }));
    assert_eq!(driver.confirm(), Reply::Done);
    assert!(driver.is_active(|alarm| matches!(alarm, AlarmId::LyeHeavy { .. })));
    let asks = driver.view().batches[0].prompt.clone().unwrap().asks;
    let Ask::Remedy { options, .. } = asks else { panic!("{asks:?}") };
    assert_eq!(options, [Remedy::UsePart, Remedy::Discard]);
}

#[test]
fn a_recipe_says_which_comes_first() {
    let text = EXAMPLE.replace("order = \"oils first\"", "order = \"lye first\"");
    let recipe =
        Recipe::read(Source { file: "my.toml", text: &text }, FatTable::built_in()).unwrap();
    let bench = Source { file: "bench.toml", text: panroom::bench_file::EXAMPLE };
    let bench = BenchFile::read(bench).unwrap();
    let planned = plan(&recipe, FatTable::built_in(), Some(&bench), &Options::default()).unwrap();
    let keys: Vec<&str> = planned.control.steps.iter().map(|step| step.key.as_str()).collect();
    let place = |wanted: &str| keys.iter().position(|key| key.contains(wanted)).unwrap();
    assert!(place("dissolve") < place("weigh-coconut"), "{keys:?}");
    assert!(place("weigh-olive") < place("combine"), "{keys:?}");
    assert!(planned.control.is_lye_first());
    let text = panroom::plan::sheet::text(&Sheet::of(&planned), 100);
    assert!(text.contains("they follow it"), "{text}");
}
