//! Caustic was poured above its guard: what lets the alarm go, and what does not. Invariant 2.

use panroom::bench::{Act, AlarmChange, AlarmId, Ask, Cue, Fact, Outcome, Remedy, Reply};

use crate::driver::{CUP_G, Driver, batch_id, g};

#[test]
fn invariant_2_lifting_the_cup_does_not_clear_it() {
    let mut driver = Driver::over_poured();
    let load = driver.load;
    driver.put(0.0);
    driver.run(60.0);
    assert!(driver.caustic_over());
    driver.expect_step("weigh-naoh");
    driver.put(load);
    assert!(driver.caustic_over(), "the same cup, still too full");
    // something lighter than the cup is not the cup: 3 d = 0.3 g below its tare
    driver.put(CUP_G - 0.4);
    assert!(driver.caustic_over());
    driver.put(CUP_G + 30.0);
    assert!(driver.caustic_over(), "lighter than it left: it may be another");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(0.1);
    assert!(!driver.caustic_over());
}

#[test]
fn invariant_2_another_vessel_does_not_clear_the_latch() {
    let mut driver = Driver::over_poured();
    driver.put(0.0);
    driver.put(CUP_G + 5.0);
    driver.run(10.0);
    assert!(driver.caustic_over(), "an empty cup of 55 g is not the cup of 50 g");
    driver.put(0.0);
    driver.put(CUP_G + 30.0);
    assert!(driver.caustic_over(), "so much lighter it may be another");
    assert!(matches!(driver.asks(), Some(Ask::SameCup { .. })), "{:?}", driver.asks());
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(0.1);
    assert!(!driver.caustic_over());
}

#[test]
fn invariant_2_spooning_back_clears_it_and_the_step_goes_on() {
    let mut driver = Driver::over_poured();
    let Some(Ask::Remedy { options, .. }) = driver.asks() else { panic!("no remedy is offered") };
    assert_eq!(options, [Remedy::SpoonOut, Remedy::Discard]);
    let refused = driver.confirm();
    assert!(matches!(refused, Reply::Refused { .. }), "a yes is no remedy: {refused:?}");
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    let choose = Act::Choose { prompt, remedy: Remedy::SpoonOut };
    assert_eq!(driver.act(choose.clone()), Reply::Done);
    assert_eq!(driver.act(choose), Reply::AlreadyDone);
    assert!(driver.caustic_over(), "chosen is not yet done");
    let target = driver.target();
    driver.put(CUP_G + target);
    assert!(!driver.caustic_over());
    assert_eq!(driver.asks(), None);
    driver.run(3.0);
    assert!(driver.captured("naoh").is_some());
    let over = |alarm: &AlarmId| matches!(alarm, AlarmId::CausticOver { .. });
    assert_eq!(
        driver.changes_of(over),
        [AlarmChange::Raised, AlarmChange::Acknowledged, AlarmChange::Reset]
    );
}

#[test]
fn invariant_2_what_ran_in_after_the_alarm_is_spooned_out_too() {
    let mut driver = Driver::at_caustic();
    let target = driver.target();
    driver.pour_without_rest(CUP_G + driver.guard().grams() + 1.0);
    driver.run(0.6);
    assert!(driver.caustic_over());
    driver.pour_to(CUP_G + target + 9.0);
    let prompt = driver.view().batches[0].prompt.clone().unwrap();
    assert!(prompt.words.contains("spoon out 9.0 g"), "{}", prompt.words);
    driver.act(Act::Choose { prompt: prompt.prompt, remedy: Remedy::SpoonOut });
    let chosen = driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::RemedyChosen { amount, .. } => *amount,
        _ => None,
    });
    assert_eq!(chosen, Some(g("9")));
}

#[test]
fn invariant_2_too_much_is_never_captured_nor_dissolved() {
    let mut driver = Driver::over_poured();
    driver.run(600.0);
    assert_eq!(driver.captured("naoh"), None);
    let declare = Act::Declare { batch: batch_id(), ingredient: "naoh".into(), mass: g("30") };
    assert!(matches!(driver.act(declare), Reply::Refused { .. }));
    let skip = Act::Advance { batch: batch_id(), step: "weigh-naoh".to_owned() };
    assert!(matches!(driver.act(skip), Reply::Refused { .. }));
    driver.expect_step("weigh-naoh");
}

#[test]
fn invariant_2_the_latch_survives_a_restart() {
    let mut driver = Driver::over_poured();
    driver.kill_and_restart();
    assert!(driver.caustic_over());
    driver.load = 0.0;
    driver.run(5.0);
    assert!(driver.caustic_over());
    assert!(driver.cues.iter().any(|cue| matches!(cue, Cue::Sound { .. })), "it sounds again");
    driver.expect_step("weigh-naoh");
}

#[test]
fn invariant_2_a_restart_alone_does_not_clear_the_latch() {
    let mut driver = Driver::over_poured();
    driver.kill_and_restart();
    driver.put(CUP_G + 30.0);
    assert!(driver.caustic_over(), "nobody has said that it is the same cup");
    assert_eq!(driver.asks(), Some(Ask::StillThere));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(1.0);
    assert!(!driver.caustic_over());
}

#[test]
fn invariant_2_the_latch_outlives_a_bench_file_without_its_scale() {
    let mut driver = Driver::over_poured();
    driver.setup.channels[0].channel = panroom::reading::Channel::new("another scale");
    driver.kill_and_restart();
    driver.run(10.0);
    assert!(driver.caustic_over());
}

#[test]
fn a_discarded_batch_is_closed_with_its_alarms() {
    let mut driver = Driver::over_poured();
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::Discard }), Reply::Done);
    assert!(driver.view().batches.is_empty());
    assert!(driver.view().alarms.is_empty());
    let closed = &driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::BatchClosed { outcome, .. } => Some(*outcome),
        _ => None,
    });
    assert_eq!(*closed, Some(Outcome::Abandoned));
}

#[test]
fn invariant_2_silence_lasts_a_minute_and_acknowledges_nothing() {
    let mut driver = Driver::over_poured();
    assert_eq!(driver.act(Act::Silence), Reply::Done);
    driver.cues.clear();
    driver.run(59.0);
    assert_eq!(driver.cues, []);
    assert!(!driver.view().alarms[0].acknowledged, "the banner stays");
    driver.run(1.1);
    assert!(matches!(driver.cues[..], [Cue::Sound { .. }]), "{:?}", driver.cues);
}

#[test]
fn acknowledging_is_not_resetting() {
    let mut driver = Driver::over_poured();
    let alarm = driver.view().alarms[0].alarm.clone();
    assert_eq!(driver.act(Act::Acknowledge { alarm: alarm.clone() }), Reply::Done);
    assert!(driver.caustic_over());
    assert_eq!(driver.act(Act::Acknowledge { alarm }), Reply::AlreadyDone);
    driver.cues.clear();
    driver.run(60.0);
    assert_eq!(driver.cues, [], "acknowledged: it does not sound again");
}
