//! Oils that are in the pot before anything is weighed.

use panroom::bench::{Ask, CaptureHow, Fact, KnownVessel, Misfit, Reply, doubt_of};
use panroom::bench_file::{Material, Purpose};
use panroom::chemistry::{Masses, ScaleFacts};
use panroom::quantity::Mass;
use panroom::recipe::InPot;

use crate::driver::{Driver, POT_G, batch_id, control, g, in_pot, start_with};

fn refused(reply: Reply) -> String {
    match reply {
        Reply::Refused { words, .. } => words,
        other => panic!("{other:?}"),
    }
}

fn tares(driver: &Driver) -> Vec<(String, Mass)> {
    let tares = driver.facts.iter().filter_map(|numbered| match &numbered.fact {
        Fact::Tared { step, gross, .. } => Some((step.clone(), *gross)),
        _ => None,
    });
    tares.collect()
}

fn pot_gross(driver: &Driver) -> Option<Mass> {
    driver.bench.state().batches[&batch_id()].pot_gross
}

#[test]
fn weighing_goes_on_from_the_pot_with_what_is_in_it() {
    let mut driver = Driver::started_with(vec![in_pot("coconut", "100", None)]);
    driver.put(POT_G + 100.0);
    driver.expect_step("weigh-olive");
    let capture = driver.view().batches[0].captures[0].clone();
    assert_eq!((capture.net, capture.how), (g("100"), CaptureHow::ByHand));
    assert_eq!(tares(&driver), [("weigh-olive".to_owned(), g("500"))]);
    driver.pour_to(POT_G + 300.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
    assert_eq!(pot_gross(&driver), Some(g("700")));
    driver.expect_step("weigh-naoh");
    assert_eq!(driver.weighing_target(), Driver::oils_weighed().weighing_target());
}

#[test]
fn what_is_declared_and_not_what_was_planned_is_followed() {
    let target = |grams: &str| {
        let mut driver = Driver::started_with(vec![in_pot("coconut", grams, None)]);
        let in_it: f64 = grams.parse().unwrap();
        driver.put(POT_G + in_it);
        driver.pour_to(POT_G + in_it + 200.0);
        driver.expect_step("weigh-naoh");
        driver.target()
    };
    // 0.256 g KOH a gram, 39.9971 ÷ 56.1056 to NaOH, 5 % superfat: 20 g more are 3.47 g more
    let more = target("120") - target("100");
    assert!((more - 20.0 * 0.256 * 39.9971 / 56.1056 * 0.95).abs() <= 0.1, "{more}");
}

#[test]
fn an_oil_that_comes_later_in_the_recipe_leaves_the_pot_as_it_weighs() {
    let mut driver = Driver::started_with(vec![in_pot("olive", "200", None)]);
    driver.put(POT_G + 200.0);
    driver.pour_to(POT_G + 300.0);
    assert_eq!(tares(&driver), [("weigh-coconut".to_owned(), g("600"))]);
    driver.run(3.0);
    driver.expect_step("weigh-naoh");
    assert_eq!(driver.captured("olive"), Some(g("200")));
    assert_eq!(pot_gross(&driver), Some(g("700")), "it was in there from the start");
}

#[test]
fn it_survives_a_restart_before_its_turn() {
    let mut driver = Driver::started_with(vec![in_pot("olive", "200", Some("5"))]);
    driver.put(POT_G + 200.0);
    driver.kill_and_restart();
    driver.run(3.0);
    driver.confirm();
    driver.pour_to(POT_G + 300.0);
    driver.run(3.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
    let doubt = driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::Captured { how: CaptureHow::ByHand, doubt, .. } => Some(*doubt),
        _ => None,
    });
    assert_eq!(doubt, Some(Some(g("5"))));
}

#[test]
fn what_cannot_be_meant_is_refused() {
    let reply = |said: Vec<InPot>| {
        let mut driver = Driver::new();
        let reply = driver.act(start_with(said));
        assert_eq!(driver.view().batches.is_empty(), reply != Reply::Done, "{reply:?}");
        reply
    };
    let check = |id: &str, mass: &str, doubt: Option<&str>| reply(vec![in_pot(id, mass, doubt)]);
    for (mass, good) in [("49.9", false), ("50", true), ("200", true), ("200.1", false)] {
        assert_eq!(check("coconut", mass, None) == Reply::Done, good, "{mass} g of 100 g");
    }
    for (doubt, good) in [("0", true), ("50", true), ("50.1", false), ("-0.1", false)] {
        assert_eq!(check("coconut", "100", Some(doubt)) == Reply::Done, good, "± {doubt} g");
    }
    for id in ["naoh", "water", "glycerin", "lard"] {
        assert!(refused(check(id, "20", None)).contains("no oil"), "{id}");
    }
    let twice = || vec![in_pot("coconut", "60", None), in_pot("coconut", "60", None)];
    assert!(refused(reply(twice())).contains("twice"));
}

#[test]
fn the_same_start_twice_is_no_error_and_another_one_is() {
    let said = || vec![in_pot("coconut", "100", None)];
    let mut driver = Driver::started_with(said());
    assert_eq!(driver.act(start_with(said())), Reply::AlreadyDone);
    driver.run(3.0);
    assert_eq!(driver.act(start_with(said())), Reply::AlreadyDone);
    let other = vec![in_pot("coconut", "110", None)];
    assert!(refused(driver.act(start_with(other))).contains("batch"));
    assert!(refused(driver.act(start_with(Vec::new()))).contains("batch"));
}

/// A pot that is already on the pan is held against what is said to be in it, and a crash cannot
/// come between the two.
#[test]
fn what_is_in_the_pot_is_on_record_with_the_start() {
    let mut driver = with_pot_on_the_pan(POT_G);
    let kinds: Vec<bool> = driver
        .facts
        .iter()
        .skip_while(|numbered| !matches!(numbered.fact, Fact::BatchStarted { .. }))
        .take(2)
        .map(|numbered| matches!(numbered.fact, Fact::InPot { .. }))
        .collect();
    assert_eq!(kinds, [false, true]);
    driver.run(3.0);
    let prompt = driver.view().batches[0].prompt.clone().expect("a question about the empty pot");
    let Ask::WrongVessel { vessel } = prompt.asks else { panic!("{:?}", prompt.asks) };
    assert_eq!(vessel.misfit, Some(Misfit::Empty));
    assert!(tares(&driver).is_empty());
    let mut driver = with_pot_on_the_pan(POT_G + 200.0);
    driver.run(3.0);
    assert_eq!(tares(&driver), [("weigh-coconut".to_owned(), g("600"))]);
}

/// The guard on the caustic stands where (superfat − U) meets the floor: what is declared widens U.
#[test]
fn the_guard_knows_how_good_a_declared_mass_is() {
    let guard = |doubt: Option<&str>| {
        let mut driver = Driver::started_with(vec![in_pot("olive", "200", doubt)]);
        driver.put(POT_G + 200.0);
        driver.pour_to(POT_G + 300.0);
        driver.run(3.0);
        driver.expect_step("weigh-naoh");
        driver.view().batches[0].weighing.as_ref().unwrap().target.guard.unwrap()
    };
    let weighed = Driver::oils_weighed();
    let weighed = weighed.view().batches[0].weighing.as_ref().unwrap().target.guard.unwrap();
    let (fine, usual, coarse) = (guard(Some("0")), guard(None), guard(Some("20")));
    assert!(weighed.proven && usual.proven && !coarse.proven, "{usual:?} {coarse:?}");
    assert_eq!(guard(None), guard(Some("4")), "2 % where nothing is said");
    assert!(coarse.mass < usual.mass && usual.mass < fine.mass && fine.mass <= weighed.mass);
    let scale = ScaleFacts { d: g("0.1"), capacity: g("3000"), verified: None };
    let fats: Masses = [("coconut".into(), g("100")), ("olive".into(), g("200"))].into();
    let by_hand: Masses = [("olive".into(), g("4"))].into();
    let formula = control().formula;
    assert_eq!(usual, formula.guard_by_hand(&"naoh".into(), &fats, &by_hand, &scale));
    assert_eq!(weighed, formula.guard(&"naoh".into(), &fats, &scale));
}

#[test]
fn a_declared_mass_is_never_better_than_the_scale() {
    let scale = ScaleFacts { d: g("0.1"), capacity: g("3000"), verified: None };
    for (said, doubt) in
        [(None, "4"), (Some("0.2"), "0.2"), (Some("0.1"), "0.1"), (Some("0"), "0.1")]
    {
        assert_eq!(doubt_of(g("200"), said.map(g), Some(&scale)), g(doubt), "{said:?}");
    }
}

/// Olive oil comes second in the recipe.
fn with_pot_on_the_pan(grams: f64) -> Driver {
    let mut driver = registered();
    driver.put(grams);
    driver.run(3.0);
    assert_eq!(driver.act(start_with(vec![in_pot("olive", "200", None)])), Reply::Done);
    driver
}

fn with_pot() -> Driver {
    let mut driver = registered();
    assert_eq!(driver.act(start_with(vec![in_pot("coconut", "100", None)])), Reply::Done);
    driver
}

fn registered() -> Driver {
    let mut driver = Driver::new();
    driver.setup.vessels = vec![KnownVessel {
        name: "the pot".to_owned(),
        purpose: Purpose::Pot,
        tare: g("400"),
        volume: None,
        material: Material::StainlessSteel,
    }];
    driver.open_session(2, None);
    driver.run(0.5);
    driver
}

#[test]
fn an_empty_pot_does_not_pass_for_one_with_oils_in_it() {
    for (grams, asks) in [(POT_G, true), (POT_G + 1.0, true), (POT_G + 1.1, false)] {
        let mut driver = with_pot();
        driver.put(grams);
        let prompt = driver.view().batches[0].prompt.clone();
        assert_eq!(prompt.is_some(), asks, "{grams} g");
        let Some(prompt) = prompt else { continue };
        let Ask::WrongVessel { vessel } = prompt.asks else { panic!("{:?}", prompt.asks) };
        assert_eq!(vessel.misfit, Some(Misfit::Empty));
        assert_eq!(
            prompt.words,
            "The pot is empty by its weight, and 100.0 g were said to be in it. Put the pot with \
             them on the pan, or confirm that they are elsewhere and go in before the lye."
        );
        driver.put(0.0);
        driver.put(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        assert_eq!(driver.captured("olive"), Some(g("200")));
    }
}

#[test]
fn the_screen_holds_what_is_declared_against_what_is_there() {
    let mut driver = with_pot();
    driver.put(POT_G + 103.2);
    let shown = driver.view().batches[0].weighing.as_ref().unwrap().vessel.clone();
    assert_eq!(
        shown.as_deref(),
        Some("not in the register; if it is the pot, 103.2 g are in it (100.0 g declared)")
    );
}
