//! What stands in the way while a remedy is worked and after it: what was taken out before the cup
//! came to the pan, a scale that was away, the wrong vessel on the pan, a remedy that was not enough.

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, Fact, Remedy, Reply};
use panroom::plan::{Amount, StepKind};
use panroom::quantity::Mass;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};
use crate::remedies::{choose, correct, lye_heavy, offered, superfat, words};

fn sentence(driver: &Driver) -> String {
    driver.view().batches[0].sentence.clone()
}

/// 43.0 g of caustic in its cup, where 36.6 g are to be kept; spooning has been chosen.
fn spooning() -> Driver {
    let mut driver = Driver::all_weighed();
    assert_eq!(correct(&mut driver, "olive", "150"), Reply::Done);
    assert_eq!(choose(&mut driver, Remedy::SpoonOut), Reply::Done);
    driver
}

fn taken_out(driver: &Driver) -> bool {
    driver.facts.iter().any(|fact| matches!(fact.fact, Fact::TakenOut { .. }))
}

fn on_record(driver: &Driver, ingredient: &str) -> Mass {
    driver.bench.state().batches[&batch_id()].masses()[&ingredient.into()]
}

/// The weighings that stand, one by one.
fn weighed(driver: &Driver, ingredient: &str) -> Vec<Mass> {
    let view = driver.view();
    let captures = view.batches[0].captures.iter();
    captures.filter(|capture| capture.ingredient == ingredient.into()).map(|c| c.net).collect()
}

// --- what is left in the cup counts ---------------------------------------------------------------

#[test]
fn what_was_spooned_out_before_the_cup_came_counts_too() {
    for before in [43.0, 40.0, 36.6, 36.0] {
        let mut driver = spooning();
        driver.put(CUP_G + before);
        if before > 36.6 {
            assert!(!taken_out(&driver), "{before}");
            driver.put(CUP_G + 36.6);
        }
        driver.expect_step("dissolve");
        assert_eq!(driver.captured("naoh").unwrap().grams(), before.min(36.6), "{before}");
        assert!(!lye_heavy(&driver), "{before}");
        assert!(superfat(&driver) > 0.049, "{before}: {}", superfat(&driver));
    }
}

/// A twentieth more is what the air may have added, a tenth less what a hand may have taken.
#[test]
fn a_cup_that_drew_moisture_is_known_and_one_far_off_is_not() {
    for (content, known) in [(45.1, true), (45.3, false), (33.0, true), (32.8, false)] {
        let mut driver = spooning();
        driver.put(CUP_G + content);
        driver.run(2.0);
        let weighed = |fact: &Fact| matches!(fact, Fact::ContentWeighed { .. });
        assert_eq!(driver.facts.iter().any(|f| weighed(&f.fact)), known, "{content}");
    }
    // taken down to what is to be kept, it holds no more caustic than that
    let mut driver = spooning();
    driver.put(CUP_G + 43.4);
    driver.put(CUP_G + 36.6);
    assert_eq!(driver.captured("naoh"), Some(g("36.6")));
    assert!(!lye_heavy(&driver));
}

#[test]
fn too_much_out_is_said_and_a_correction_ends_it() {
    let mut driver = spooning();
    driver.put(CUP_G + 43.0);
    driver.put(CUP_G + 30.0);
    assert!(!taken_out(&driver));
    assert!(sentence(&driver).contains("Too much is out"), "{}", sentence(&driver));
    assert_eq!(correct(&mut driver, "naoh", "30"), Reply::Done);
    driver.run(1.0);
    driver.expect_step("dissolve");
    assert!(!lye_heavy(&driver));
}

#[test]
fn lye_is_poured_off_into_a_vessel_with_a_label_and_not_into_waste() {
    let mut driver = Driver::all_weighed();
    driver.confirm();
    driver.confirm();
    driver.expect_step("combine");
    correct(&mut driver, "olive", "180");
    choose(&mut driver, Remedy::UsePart);
    driver.put(JUG_G + (on_record(&driver, "naoh") + on_record(&driver, "water")).grams());
    let sentence = sentence(&driver);
    assert!(sentence.contains("Pour off") && sentence.contains("label it as lye"), "{sentence}");
    assert!(!sentence.contains("waste"), "{sentence}");
}

// --- a scale that was away while something is taken out -------------------------------------------

/// Seven grams less on the pan, and none of it was taken out: another zero.
fn seven_less(driver: &mut Driver) {
    driver.put(CUP_G + 43.0 - 7.0);
    driver.run(3.0);
    assert!(!taken_out(driver), "the zero is in doubt");
    assert!(lye_heavy(driver));
    assert!(sentence(driver).contains("take everything off"), "{}", sentence(driver));
    // the bare pan tells, and what was in the cup still is
    driver.put(-7.0);
    driver.put(CUP_G + 43.0 - 7.0);
    driver.run(3.0);
    assert!(!taken_out(driver));
    assert!(sentence(driver).contains("Spoon out 6.4 g"), "{}", sentence(driver));
    driver.put(CUP_G + 36.6 - 7.0);
    driver.expect_step("dissolve");
    assert_eq!(driver.captured("naoh"), Some(g("36.6")));
}

#[test]
fn a_second_of_silence_doubts_the_zero_while_something_is_taken_out() {
    let mut driver = spooning();
    driver.put(CUP_G + 43.0);
    driver.scale_talks = false;
    driver.run(1.1);
    driver.scale_talks = true;
    seven_less(&mut driver);
    // shorter than that is no silence
    let mut driver = spooning();
    driver.put(CUP_G + 43.0);
    driver.scale_talks = false;
    driver.run(0.8);
    driver.scale_talks = true;
    driver.put(CUP_G + 36.6);
    driver.expect_step("dissolve");
}

#[test]
fn a_restart_while_something_is_taken_out_wants_the_bare_pan() {
    let mut driver = spooning();
    driver.put(CUP_G + 43.0);
    driver.kill_and_restart();
    // neither a silence nor a lost port makes the doubt less
    driver.scale_talks = false;
    driver.run(5.0);
    driver.scale_talks = true;
    seven_less(&mut driver);
    // the cup was not on the pan yet
    let mut driver = spooning();
    driver.kill_and_restart();
    seven_less(&mut driver);
}

// --- the vessel of the remedy is not that of the weighing ------------------------------------------

/// 20 g of water are in a jug of 40 g when the caustic turns out to be too much; it is spooned out,
/// and its cup left on the pan.
fn spooned_in_the_midst_of_the_water() -> Driver {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(40.0);
    driver.pour_without_rest(60.0);
    driver.run(2.5);
    correct(&mut driver, "olive", "150");
    choose(&mut driver, Remedy::SpoonOut);
    driver.put(0.0);
    driver.put(CUP_G + 43.0);
    driver.put(CUP_G + 36.6);
    driver.run(3.0);
    driver.expect_step("weigh-water");
    assert_eq!(driver.captured("naoh"), Some(g("36.6")));
    driver
}

fn net(driver: &Driver) -> Option<Mass> {
    driver.view().batches[0].weighing.as_ref().and_then(|weighing| weighing.net)
}

fn is_back(driver: &Driver) -> bool {
    let resumed = |fact: &Fact| matches!(fact, Fact::Returned { .. });
    driver.facts.iter().any(|fact| resumed(&fact.fact))
}

#[test]
fn the_cup_left_on_the_pan_is_not_the_jug() {
    let mut driver = spooned_in_the_midst_of_the_water();
    assert!(!is_back(&driver));
    assert!(sentence(&driver).contains("Take everything off the pan"), "{}", sentence(&driver));
    assert_eq!(net(&driver), None);
    // whatever is put beside it or taken out of it
    driver.put(CUP_G + 36.6 + 20.0);
    driver.put(CUP_G);
    driver.run(3.0);
    assert!(!is_back(&driver), "the pan was never seen without it");
    // off, and the same cup again
    driver.put(0.0);
    driver.put(CUP_G + 36.6);
    driver.run(3.0);
    assert!(!is_back(&driver), "it is the cup with the caustic");
    driver.put(0.0);
    driver.put(60.0);
    driver.run(3.0);
    assert!(is_back(&driver));
    let target = driver.target();
    driver.pour_to(40.0 + target);
    assert_eq!(driver.captured("water").unwrap().grams(), target);
}

/// After a restart it is still not known what stands there.
#[test]
fn a_restart_takes_the_cup_for_the_jug_no_more() {
    let mut driver = spooned_in_the_midst_of_the_water();
    driver.kill_and_restart();
    driver.run(4.0);
    assert!(!is_back(&driver));
    driver.put(0.0);
    driver.put(60.0);
    driver.run(3.0);
    assert!(is_back(&driver));
}

/// Made lye first, the jug that lye was poured off from is heavier than the pot: it erases no oil.
#[test]
fn the_jug_left_on_the_pan_is_not_the_pot() {
    let mut recipe = control();
    let is_oil = |key: &str| ["weigh-coconut", "weigh-olive"].contains(&key);
    let (oils, mut steps): (Vec<_>, Vec<_>) =
        recipe.steps.drain(..).partition(|step| is_oil(&step.key));
    let after = steps.iter().position(|step| step.key == "dissolve").unwrap() + 1;
    for (place, mut step) in oils.into_iter().enumerate() {
        if let StepKind::Weigh(weigh) = &mut step.kind
            && let Amount::Fixed(mass) = weigh.amount
        {
            weigh.amount = Amount::AfterLye(mass);
        }
        steps.insert(after + place, step);
    }
    recipe.steps = steps;
    let mut driver = Driver::new();
    driver.run(0.5);
    driver.act(Act::start(batch_id(), Arc::new(recipe)));
    driver.put(CUP_G);
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target());
    driver.put(0.0);
    driver.confirm();
    driver.confirm();
    // a light pot, lighter than the jug
    let pot = 60.0;
    assert!(pot < JUG_G && JUG_G < POT_G);
    driver.put(pot);
    driver.pour_to(pot + 100.0);
    driver.disk_is_quick = false;
    driver.pour_without_rest(pot + 260.0);
    driver.run(8.0);
    assert_eq!(driver.confirm(), Reply::Done, "olive is taken short");
    driver.run(1.0);
    choose(&mut driver, Remedy::UsePart);
    let lye = (on_record(&driver, "naoh") + on_record(&driver, "water")).grams();
    driver.put(0.0);
    driver.put(JUG_G + lye);
    let keep = driver.weighing_target().grams();
    driver.put(JUG_G + keep);
    driver.run(4.0);
    assert!(!lye_heavy(&driver));
    let olive = driver.captured("olive");
    assert_eq!(olive, Some(g("160")), "the pot was not weighed again");
    driver.commit_all();
    driver.disk_is_quick = true;
    driver.run(4.0);
    driver.expect_step("combine");
    assert_eq!(driver.captured("olive"), olive);
}

// --- a correction counts in all -------------------------------------------------------------------

/// 180 g of olive oil for 200 g: more of both oils and of water is weighed, and all is well.
fn restored() -> Driver {
    let mut driver = Driver::cooking();
    correct(&mut driver, "olive", "180");
    choose(&mut driver, Remedy::Restore);
    for _ in 0..3 {
        driver.run(1.0);
        let target = driver.target();
        driver.put(30.0);
        driver.pour_to(30.0 + target);
        driver.put(0.0);
    }
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("cook");
    driver
}

#[test]
fn a_correction_changes_the_first_weighing_and_counts_in_all() {
    let mut driver = restored();
    let [first, added] = weighed(&driver, "coconut")[..] else { panic!("weighed twice") };
    assert_eq!(first, g("100"));
    correct(&mut driver, "coconut", "95");
    assert_eq!(on_record(&driver, "coconut"), g("95"));
    assert_eq!(weighed(&driver, "coconut"), [g("95") - added, added]);
    // less in all than was added later: none of it falls below nought
    correct(&mut driver, "coconut", "2");
    assert_eq!(weighed(&driver, "coconut"), [Mass::ZERO, g("2")]);
    correct(&mut driver, "coconut", "110");
    assert_eq!(weighed(&driver, "coconut"), [g("108"), g("2")]);
}

/// What has just been captured counts as it stands on the pan: a correction would be lost.
#[test]
fn what_still_stands_on_the_pan_is_not_corrected() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    assert_eq!(driver.captured("naoh"), Some(g("43.0")));
    let reply = correct(&mut driver, "naoh", "42");
    assert!(matches!(&reply, Reply::Refused { words, .. } if words.contains("pan")), "{reply:?}");
    driver.put(0.0);
    driver.expect_step("weigh-water");
    assert_eq!(correct(&mut driver, "naoh", "42"), Reply::Done);
    driver.run(10.0);
    assert_eq!(driver.captured("naoh"), Some(g("42")));
}

// --- a remedy that was not enough ------------------------------------------------------------------

fn take_all_short(driver: &mut Driver) {
    for _ in 0..3 {
        driver.run(1.0);
        let target = driver.target();
        driver.put(30.0);
        driver.pour_to(30.0 + target / 3.0);
        driver.run(3.0);
        let asks = driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks);
        assert!(matches!(asks, Some(Ask::TakeShort { .. })), "{asks:?}");
        assert_eq!(driver.confirm(), Reply::Done);
        driver.put(0.0);
    }
}

#[test]
fn a_remedy_taken_short_is_asked_about_again_and_can_be_made_good() {
    let mut driver = Driver::cooking();
    correct(&mut driver, "olive", "180");
    choose(&mut driver, Remedy::Restore);
    // not while it is weighed
    let ask = Act::AskRemedy { batch: batch_id() };
    let refused = driver.act(ask);
    assert!(matches!(&refused, Reply::Refused { words, .. } if words.contains("under way")));
    let alarm = |driver: &Driver| {
        let alarms = driver.view().alarms;
        let heavy = alarms.iter().find(|a| matches!(a.alarm, AlarmId::LyeHeavy { .. }));
        heavy.expect("too much caustic").words.clone()
    };
    // the alarm does not forbid what the sentence asks for
    assert!(alarm(&driver).contains("Under way: add oils and liquid"), "{}", alarm(&driver));
    take_all_short(&mut driver);
    assert!(lye_heavy(&driver));
    assert!(alarm(&driver).contains("choose what to do"), "{}", alarm(&driver));
    assert!(driver.view().batches[0].title.starts_with("add them"));
    assert_eq!(offered(&driver), [Remedy::Restore, Remedy::RestoreOne, Remedy::Discard]);
    assert!(words(&driver).contains("of caustic too much"), "{}", words(&driver));
    assert_eq!(choose(&mut driver, Remedy::Restore), Reply::Done);
    for _ in 0..3 {
        driver.run(1.0);
        let target = driver.target();
        driver.put(30.0);
        driver.pour_to(30.0 + target);
        driver.put(0.0);
    }
    assert!(!lye_heavy(&driver));
    assert_eq!(driver.confirm(), Reply::Done, "added");
    driver.expect_step("cook");
    assert!((superfat(&driver) - 0.05).abs() < 0.003, "{}", superfat(&driver));
}

/// The small lye lies ready, and then the first weighing turns out to have been right.
#[test]
fn a_small_lye_that_was_not_needed_asks_what_to_do() {
    let mut driver = Driver::cooking();
    correct(&mut driver, "naoh", "38");
    driver.act(Act::AskRemedy { batch: batch_id() });
    choose(&mut driver, Remedy::SmallLye);
    driver.put(20.0);
    driver.pour_to(20.0 + driver.target());
    driver.put(0.0);
    let water = driver.target();
    driver.put(30.0);
    driver.pour_to(30.0 + water);
    driver.put(0.0);
    correct(&mut driver, "naoh", "48");
    driver.run(1.0);
    assert!(driver.is_active(|alarm| matches!(alarm, AlarmId::LyeHeavy { .. })));
    assert_eq!(offered(&driver), [Remedy::Restore, Remedy::RestoreOne, Remedy::Discard]);
}

/// What is asked follows what is on record: a further correction while spooning, and the end of an
/// over-pour, leave more than discarding.
#[test]
fn the_ways_out_are_those_of_now() {
    let mut driver = Driver::all_weighed();
    correct(&mut driver, "olive", "150");
    assert!(driver.view().batches[0].sentence.contains("tip nothing"));
    choose(&mut driver, Remedy::SpoonOut);
    driver.put(CUP_G + 43.0);
    correct(&mut driver, "olive", "120");
    driver.put(CUP_G + 36.6);
    driver.run(5.0);
    assert!(offered(&driver).contains(&Remedy::SpoonOut), "{:?}", offered(&driver));

    let mut driver = crate::two_caustics::first_weighed();
    driver.put(CUP_G);
    driver.pour_without_rest(CUP_G + 10.0);
    driver.run(2.5);
    correct(&mut driver, "olive", "20");
    driver.run(1.0);
    choose(&mut driver, Remedy::SpoonOut);
    driver.put(CUP_G + 0.1);
    driver.run(6.0);
    driver.put(0.0);
    assert!(offered(&driver).contains(&Remedy::SpoonOut), "{:?}", offered(&driver));
}
