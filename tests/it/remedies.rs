//! Too much caustic for the fats on record, or too little: what is offered at each stage, and that
//! it brings the batch back to its superfat.

use panroom::bench::{Act, AlarmId, Ask, CaptureHow, Fact, Outcome, Remedy, Reply};
use panroom::quantity::{Mass, Share};

use crate::driver::{CUP_G, Driver, JUG_G, batch_id, g};

fn dissolved() -> Driver {
    let mut driver = Driver::dissolved();
    // the cup is not weighed back
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("combine");
    driver
}

pub fn correct(driver: &mut Driver, ingredient: &str, mass: &str) -> Reply {
    let reason = "half of the jug was left standing".to_owned();
    let (batch, ingredient, mass) = (batch_id(), ingredient.into(), g(mass));
    driver.act(Act::Correct { batch, ingredient, mass, reason })
}

pub fn choose(driver: &mut Driver, remedy: Remedy) -> Reply {
    let prompt = driver.view().batches[0].prompt.clone().expect("something is asked").prompt;
    driver.act(Act::Choose { prompt, remedy })
}

pub fn offered(driver: &Driver) -> Vec<Remedy> {
    match driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks) {
        Some(Ask::Remedy { options, .. } | Ask::Under { options, .. }) => options,
        other => panic!("no remedy is asked, but {other:?}"),
    }
}

pub fn words(driver: &Driver) -> String {
    driver.view().batches[0].prompt.clone().expect("something is asked").words
}

pub fn lye_heavy(driver: &Driver) -> bool {
    driver.is_active(|alarm| matches!(alarm, AlarmId::LyeHeavy { .. }))
}

/// The superfat of what is on record, by the formula of the batch: with only one caustic and the
/// working values it is 1 − caustic ÷ full demand, reckoned here by hand.
pub fn superfat(driver: &Driver) -> f64 {
    let masses = driver.bench.state().batches[&batch_id()].masses();
    let grams = |id: &str| masses.get(&id.into()).map_or(0.0, |mass: &Mass| mass.grams());
    // SAP 256 and 190 mg KOH per g; 39.9971 ÷ 56.1056 g NaOH per g KOH
    let demand = (grams("coconut") * 0.256 + grams("olive") * 0.190) * 39.9971 / 56.1056;
    1.0 - grams("naoh") / demand
}

#[test]
fn a_correction_keeps_the_old_mass_on_record_and_counts_from_now_on() {
    let mut driver = Driver::oils_weighed();
    let before = driver.view().batches[0].weighing.clone().unwrap().target.mass;
    assert_eq!(correct(&mut driver, "olive", "190"), Reply::Done);
    let corrected = driver.facts.iter().any(|fact| {
        matches!(&fact.fact, Fact::Corrected { was, net, .. } if *was == g("200") && *net == g("190"))
    });
    assert!(corrected);
    // the caustic not yet weighed follows at once: 10 g × 0.190 × 0.712 89 × 0.95 = 1.287 g less
    let after = driver.view().batches[0].weighing.clone().unwrap().target.mass;
    assert!(((before - after).grams() - 1.287).abs() <= 0.1, "{before} → {after}");
    assert_eq!(driver.view().batches[0].captures[1].how, CaptureHow::ByHand);
    assert!(!lye_heavy(&driver));
}

#[test]
fn what_was_never_weighed_cannot_be_corrected_and_a_reason_is_asked_for() {
    let mut driver = Driver::oils_weighed();
    assert!(matches!(correct(&mut driver, "naoh", "40"), Reply::Refused { .. }));
    let act = Act::Correct {
        batch: batch_id(),
        ingredient: "olive".into(),
        mass: g("190"),
        reason: "  ".to_owned(),
    };
    assert!(matches!(driver.act(act), Reply::Refused { .. }));
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

#[test]
fn still_dry_the_excess_is_spooned_out_and_dissolving_is_barred_until_then() {
    let mut driver = Driver::all_weighed();
    correct(&mut driver, "olive", "150");
    assert!(lye_heavy(&driver));
    assert_eq!(offered(&driver), [Remedy::SpoonOut, Remedy::Discard]);
    assert!(matches!(driver.confirm(), Reply::Refused { .. }));
    let cup = CUP_G + driver.captured("naoh").unwrap().grams();
    assert_eq!(choose(&mut driver, Remedy::SpoonOut), Reply::Done);
    assert!(driver.view().batches[0].sentence.contains("cup with the sodium hydroxide"));
    driver.put(cup);
    let weighing = driver.view().batches[0].weighing.clone().unwrap();
    // demand of 100 g coconut and 150 g olive: 54.1 g KOH = 38.567 g NaOH, less 5 % is 36.64 g
    assert_eq!(weighing.target.mass, g("36.6"));
    assert!(weighing.left.unwrap().is_negative());
    // a digit above what is to be kept is not enough
    driver.put(CUP_G + 36.7);
    assert!(lye_heavy(&driver));
    driver.put(CUP_G + 36.6);
    assert!(!lye_heavy(&driver));
    driver.expect_step("dissolve");
    assert_eq!(driver.captured("naoh"), Some(g("36.6")));
    assert!((superfat(&driver) - 0.05).abs() < 0.002, "{}", superfat(&driver));
    driver.run(1.0);
    assert_eq!(driver.confirm(), Reply::Done);
}

#[test]
fn dissolved_only_a_part_of_the_lye_is_used_whatever_water_has_left_it() {
    let mut driver = dissolved();
    correct(&mut driver, "olive", "180");
    assert_eq!(offered(&driver), [Remedy::UsePart, Remedy::Discard]);
    assert!(matches!(driver.confirm(), Reply::Refused { .. }), "combining is barred");
    let masses = driver.bench.state().batches[&batch_id()].masses();
    let lye = masses[&"naoh".into()].grams() + masses[&"water".into()].grams();
    let naoh = masses[&"naoh".into()].grams();
    choose(&mut driver, Remedy::UsePart);
    // 4 g of water have left as steam; all of the caustic is still in
    let content = lye - 4.0;
    driver.put(JUG_G + content);
    let keep = driver.view().batches[0].weighing.clone().unwrap().target.mass.grams();
    let part = (100.0 * 0.256 + 180.0 * 0.190) * (39.9971 / 56.1056) * 0.95 / naoh;
    assert!((keep - content * part).abs() <= 0.1, "{keep} for {}", content * part);
    driver.put(JUG_G + keep);
    driver.expect_step("combine");
    assert!(!lye_heavy(&driver));
    assert!((superfat(&driver) - 0.05).abs() < 0.002, "{}", superfat(&driver));
    driver.run(1.0);
    assert_eq!(driver.confirm(), Reply::Done);
}

#[test]
fn another_vessel_is_not_taken_for_the_jug() {
    let mut driver = dissolved();
    correct(&mut driver, "olive", "180");
    choose(&mut driver, Remedy::UsePart);
    // more than was ever in the jug, and less than evaporation explains
    for load in [JUG_G + 400.0, JUG_G + 60.0, 0.0] {
        driver.put(load);
        assert_eq!(driver.view().batches[0].weighing.clone().unwrap().left, None, "{load}");
    }
}

#[test]
fn combined_oils_and_liquid_restore_the_superfat_and_the_cook_goes_on() {
    let mut driver = Driver::cooking();
    driver.run(60.0);
    correct(&mut driver, "olive", "180");
    assert_eq!(offered(&driver), [Remedy::Restore, Remedy::RestoreOne, Remedy::Discard]);
    assert!(words(&driver).contains("discard"));
    let before = driver.view().batches[0].cook.clone().unwrap().watched;
    choose(&mut driver, Remedy::Restore);
    // the cook is still watched while oil is weighed
    driver.celsius = 99.0;
    driver.put(30.0);
    assert!(driver.is_active(|alarm| matches!(alarm, AlarmId::TemperatureHighHigh { .. })));
    driver.celsius = 85.0;
    for _ in 0..3 {
        let weighing = driver.view().batches[0].weighing.clone().expect("oil or water is weighed");
        driver.put(0.0);
        driver.put(30.0);
        driver.pour_to(30.0 + weighing.target.mass.grams());
        driver.put(0.0);
    }
    assert!(driver.view().batches[0].title.starts_with("add them"));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("cook");
    let after = driver.view().batches[0].cook.clone().unwrap().watched;
    assert!(after > before, "time counts on");
    assert!(!lye_heavy(&driver));
    assert!((superfat(&driver) - 0.05).abs() < 0.003, "{}", superfat(&driver));
}

#[test]
fn too_little_is_made_good_by_a_small_lye_only_when_asked() {
    let mut driver = Driver::cooking();
    let ask = Act::AskRemedy { batch: batch_id() };
    assert!(matches!(driver.act(ask.clone()), Reply::Refused { .. }), "nothing is wrong");
    correct(&mut driver, "naoh", "38");
    assert!(!lye_heavy(&driver));
    assert_eq!(driver.act(ask), Reply::Done);
    assert_eq!(offered(&driver), [Remedy::SmallLye, Remedy::LeaveIt]);
    choose(&mut driver, Remedy::SmallLye);
    let caustic = driver.view().batches[0].weighing.clone().unwrap().target;
    // 63.6 g KOH = 45.34 g NaOH, less 5 % is 43.07 g, of which 38 g are in: 5.07 g
    assert_eq!(caustic.mass, g("5.0"));
    assert_eq!(caustic.guard.unwrap().mass, g("5.1"));
    driver.put(20.0);
    driver.pour_to(20.0 + 5.0);
    driver.put(0.0);
    let water = driver.target();
    driver.put(30.0);
    driver.pour_to(30.0 + water);
    driver.put(0.0);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("cook");
    assert!((superfat(&driver) - 0.05).abs() < 0.002, "{}", superfat(&driver));
}

#[test]
fn far_too_much_and_a_filled_mould_leave_only_one_way() {
    let mut driver = dissolved();
    // 43 g of caustic for 29.6 g wanted: far more than a fifth over
    correct(&mut driver, "olive", "95");
    assert_eq!(offered(&driver), [Remedy::Discard]);
    assert!(words(&driver).contains("above 20"), "{}", words(&driver));
    assert_eq!(choose(&mut driver, Remedy::Discard), Reply::Done);
    assert_eq!(driver.bench.state().closed[&batch_id()], Outcome::Abandoned);
}

#[test]
fn an_oil_that_ran_out_brings_down_what_is_still_to_come() {
    let mut driver = Driver::started();
    driver.put(400.0);
    driver.pour_without_rest(400.0 + 80.0);
    driver.run(8.0);
    assert!(words(&driver).contains("bring-down"), "{}", words(&driver));
    assert_eq!(choose(&mut driver, Remedy::BringDown), Reply::Done);
    assert_eq!(driver.captured("coconut"), Some(g("80")));
    driver.run(3.0);
    driver.expect_step("weigh-olive");
    assert_eq!(driver.weighing_target(), g("160"));
    driver.pour_to(480.0 + 160.0);
    driver.put(0.0);
    // caustic follows: (80 × 0.256 + 160 × 0.19) × 0.712 89 × 0.95 = 34.457 g
    assert_eq!(driver.weighing_target(), g("34.4"));
    let glycerin = Share::from_percent(5);
    assert_eq!(g("240").steps() * glycerin.millionths() / 1_000_000, g("12").steps());
}

#[test]
fn more_of_it_after_all_takes_the_bringing_down_back() {
    let mut driver = Driver::started();
    driver.put(400.0);
    driver.pour_without_rest(480.0);
    driver.run(8.0);
    // the disk is slow, and the next oil waits for it
    driver.disk_is_quick = false;
    choose(&mut driver, Remedy::BringDown);
    // another bottle was found before the next oil was announced
    driver.pour_to(500.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
    driver.commit_all();
    driver.disk_is_quick = true;
    driver.run(3.0);
    assert_eq!(driver.weighing_target(), g("200"));
}

#[test]
fn a_second_bottle_is_another_lot_from_what_was_in_by_then() {
    let mut driver = Driver::started();
    let open = |driver: &mut Driver, lot: &str| {
        driver.act(Act::Lot { batch: batch_id(), lot: lot.to_owned() })
    };
    driver.put(400.0);
    driver.pour_without_rest(460.0);
    driver.run(3.0);
    assert!(matches!(open(&mut driver, " "), Reply::Refused { .. }));
    assert_eq!(open(&mut driver, "CO-2"), Reply::Done);
    let opened = driver.facts.iter().find_map(|fact| match &fact.fact {
        Fact::LotOpened { ingredient, lot, net, .. } => {
            Some((ingredient.clone(), lot.clone(), *net))
        }
        _ => None,
    });
    assert_eq!(opened, Some(("coconut".into(), "CO-2".to_owned(), Some(g("60")))));
    driver.pour_to(500.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")), "it is one capture all the same");
}

/// While something is wrong with the caustic, time alone decides nothing new.
fn stands_still(driver: &mut Driver) {
    driver.run(4.0);
    let (facts, asked) = (driver.facts.len(), words(driver));
    driver.run(3.0);
    assert_eq!(driver.facts.len(), facts, "{:#?}", &driver.facts[facts..]);
    assert_eq!(words(driver), asked);
}

#[test]
fn the_question_stands_still_at_every_stage() {
    let mut driver = Driver::cooking();
    driver.run(10.0);
    correct(&mut driver, "olive", "180");
    stands_still(&mut driver);
    let mut driver = Driver::cooking();
    driver.run(10.0);
    correct(&mut driver, "naoh", "38");
    driver.act(Act::AskRemedy { batch: batch_id() });
    stands_still(&mut driver);
    let mut driver = dissolved();
    correct(&mut driver, "olive", "180");
    stands_still(&mut driver);
    // water is being weighed, its jug on the pan
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    correct(&mut driver, "olive", "150");
    stands_still(&mut driver);
    assert_eq!(offered(&driver), [Remedy::SpoonOut, Remedy::Discard]);
}

#[test]
fn a_correction_of_the_caustic_leaves_its_cup_what_it_was() {
    let mut driver = Driver::all_weighed();
    // two grams more went in after all
    correct(&mut driver, "naoh", "45.0");
    assert!(lye_heavy(&driver));
    choose(&mut driver, Remedy::SpoonOut);
    driver.put(CUP_G + 45.0);
    let left = driver.view().batches[0].weighing.clone().unwrap().left.expect("the cup is known");
    assert_eq!(left, g("43.0") - g("45.0"));
}

#[test]
fn a_dish_of_waste_is_not_the_cup_and_a_spoonful_less_is_no_empty_pan() {
    let mut driver = Driver::all_weighed();
    correct(&mut driver, "olive", "150");
    choose(&mut driver, Remedy::SpoonOut);
    let cup = CUP_G + driver.captured("naoh").unwrap().grams();
    driver.put(cup);
    // the cup is set aside and a dish with five grams put there
    driver.put(0.0);
    driver.put(CUP_G + 5.0);
    driver.run(5.0);
    assert!(lye_heavy(&driver), "a dish is not the cup");
    driver.put(0.0);
    driver.put(cup);
    // the scale is silent while a spoonful is taken, and another after it
    driver.scale_talks = false;
    driver.run(4.0);
    driver.load = cup - 2.5;
    driver.scale_talks = true;
    driver.run(5.0);
    driver.put(cup - 5.0);
    driver.run(5.0);
    let checked = driver.facts.iter().any(|fact| matches!(fact.fact, Fact::ZeroChecked { .. }));
    assert!(!checked, "the cup full of caustic is no empty pan");
    // everything off, and back: then it goes on
    driver.put(0.0);
    driver.put(CUP_G + 36.6);
    driver.run(5.0);
    assert!(!lye_heavy(&driver));
}

#[test]
fn a_correction_while_something_is_taken_out_ends_it() {
    let mut driver = Driver::all_weighed();
    correct(&mut driver, "olive", "150");
    choose(&mut driver, Remedy::SpoonOut);
    driver.run(3.0);
    // the other way out stays open
    assert_eq!(offered(&driver), [Remedy::Discard]);
    correct(&mut driver, "olive", "200");
    driver.run(1.0);
    driver.expect_step("dissolve");
    assert!(!lye_heavy(&driver));
}

/// The scale sleeps with the cup on it and calls it nought; taken off and put back, the cup holds
/// what it held, and is spooned out to what is to be kept.
#[test]
fn a_scale_that_slept_while_spooning_counts_from_its_new_zero() {
    let mut driver = Driver::all_weighed();
    correct(&mut driver, "olive", "150");
    choose(&mut driver, Remedy::SpoonOut);
    let full = CUP_G + driver.captured("naoh").unwrap().grams();
    driver.put(full);
    driver.scale_talks = false;
    driver.run(10.0);
    driver.scale_talks = true;
    let shown = |driver: &Driver| driver.view().batches[0].weighing.clone().unwrap().net;
    driver.put(0.0);
    assert_eq!(shown(&driver), None, "it may be the cup that is called nought");
    driver.put(-full);
    driver.put(0.0);
    assert_eq!(shown(&driver).map(Mass::grams), Some(full - CUP_G));
    driver.put(CUP_G + 36.6 - full);
    driver.expect_step("dissolve");
    assert_eq!(driver.captured("naoh"), Some(g("36.6")));
}

fn refused(reply: Reply) -> String {
    match reply {
        Reply::Refused { words, .. } => words,
        other => panic!("{other:?}"),
    }
}

fn begun(driver: &Driver) -> usize {
    let chosen = driver.facts.iter();
    chosen.filter(|numbered| matches!(numbered.fact, Fact::RemedyChosen { .. })).count()
}

/// Begun again with a part of the lye poured off, what is out would pass for water that has left:
/// too little of the rest would be kept, or the jug not be known any more.
#[test]
fn a_remedy_under_way_is_not_offered_again() {
    let mut driver = dissolved();
    correct(&mut driver, "olive", "180");
    let masses = driver.bench.state().batches[&batch_id()].masses();
    let lye = masses[&"naoh".into()].grams() + masses[&"water".into()].grams();
    choose(&mut driver, Remedy::UsePart);
    driver.put(JUG_G + lye);
    let keep = driver.weighing_target().grams();
    driver.put(JUG_G + keep + 2.0);
    assert_eq!(offered(&driver), [Remedy::Discard]);
    let under_way = "Under way: use only a part of the lye. Go on with it.";
    let prompt = driver.view().batches[0].prompt.clone().unwrap();
    assert!(prompt.words.contains(under_way), "{}", prompt.words);
    assert!(prompt.question.ends_with(under_way), "{}", prompt.question);
    assert_eq!(prompt.answers.len(), 1, "{:?}", prompt.answers);
    let alarm = driver.view().alarms.into_iter().next().expect("there is too much caustic");
    assert!(alarm.words.contains(under_way), "{}", alarm.words);
    assert!(!alarm.words.contains("pour nothing"), "it is being poured off: {}", alarm.words);
    // asked for, the question is the same
    assert_eq!(driver.act(Act::AskRemedy { batch: batch_id() }), Reply::Done);
    assert_eq!(offered(&driver), [Remedy::Discard]);
    for remedy in [Remedy::UsePart, Remedy::Restore, Remedy::SpoonOut] {
        let words = refused(choose(&mut driver, remedy));
        assert!(words.starts_with("under way already: use only a part of the lye"), "{words}");
    }
    assert_eq!((begun(&driver), driver.weighing_target().grams()), (1, keep));
    driver.put(JUG_G + keep);
    driver.expect_step("combine");
    assert!(!lye_heavy(&driver));
    assert!((superfat(&driver) - 0.05).abs() < 0.002, "{}", superfat(&driver));
}

/// "Leave it" while it is being made would stand on record beside a lye that goes in all the same.
#[test]
fn a_small_lye_under_way_is_not_asked_about_again() {
    let mut driver = Driver::cooking();
    correct(&mut driver, "naoh", "38");
    let ask = Act::AskRemedy { batch: batch_id() };
    let offers =
        |driver: &Driver| driver.view().batches[0].offers.iter().any(|offer| offer.act == ask);
    assert!(offers(&driver));
    driver.act(ask.clone());
    choose(&mut driver, Remedy::SmallLye);
    driver.put(20.0);
    assert!(!offers(&driver));
    let words = refused(driver.act(ask.clone()));
    assert!(words.starts_with("under way already: add a small lye made apart"), "{words}");
    assert_eq!((begun(&driver), driver.weighing_target()), (1, g("5.0")));
    // its cup is over its guard: that is spooned out all the same
    driver.pour_to(20.0 + 6.0);
    assert!(driver.caustic_over());
    assert_eq!(offered(&driver), [Remedy::SpoonOut, Remedy::Discard]);
    assert_eq!(choose(&mut driver, Remedy::SpoonOut), Reply::Done);
    driver.put(20.0 + 5.0);
    assert!(!driver.caustic_over());
}
