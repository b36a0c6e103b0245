//! What is recorded, what a failed disk changes, and what a restart finds: invariants 5 to 7.

use panroom::bench::{AlarmId, Ask, Fact, Input, JournalStatus, Reply};

use crate::driver::{CUP_G, Driver, POT_G, g};

#[test]
fn invariant_5_recorded_is_said_only_once_committed() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.disk_is_quick = false;
    driver.pour_to(POT_G + 100.0);
    driver.run(10.0);
    assert!(!driver.view().batches[0].captures[0].recorded);
    assert!(!driver.said("Coconut oil: 100.0 g, recorded."));
    driver.expect_step("weigh-coconut");
    driver.commit_all();
    assert!(driver.said("Coconut oil: 100.0 g, recorded."));
    driver.expect_step("weigh-olive");
}

#[test]
fn invariant_7_a_failed_disk_alarms_and_guarding_goes_on() {
    let mut driver = Driver::at_caustic();
    driver.disk_is_quick = false;
    driver.input(&Input::Journal(JournalStatus::Failed { why: "disk full".to_owned() }));
    assert!(driver.is_active(|alarm| *alarm == AlarmId::NotRecording));
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    assert!(driver.caustic_over());
    driver.pour_to(CUP_G + driver.target());
    driver.load = CUP_G + driver.target();
    driver.run(5.0);
    driver.put(0.0);
    assert_eq!(driver.asks(), Some(Ask::LeaveUnrecorded));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.expect_step("weigh-water");
    driver.commit_all();
    assert!(!driver.is_active(|alarm| *alarm == AlarmId::NotRecording));
    let back = driver.facts.iter().any(|f| matches!(f.fact, Fact::JournalBack { .. }));
    assert!(back, "the gap is a fact");
}

#[test]
fn invariant_6_the_same_step_and_captures_after_a_restart() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_without_rest(POT_G + 150.0);
    driver.kill_and_restart();
    driver.expect_step("weigh-olive");
    assert_eq!(driver.captured("coconut"), Some(g("100")));
    assert!(driver.said("Nobody watched for 1 min 30 s."));
    // the rest is poured, but nothing is taken before somebody says that it is the same pot
    driver.pour_to(POT_G + 300.0);
    driver.run(30.0);
    assert_eq!(driver.captured("olive"), None);
    assert_eq!(driver.asks(), Some(Ask::StillThere));
    driver.confirm();
    driver.run(1.0);
    assert_eq!(driver.captured("olive"), Some(g("200")));
}

#[test]
fn invariant_6_guarding_needs_no_yes_after_a_restart() {
    let mut driver = Driver::at_caustic();
    let guard = driver.guard().grams();
    driver.pour_without_rest(CUP_G + 10.0);
    driver.kill_and_restart();
    driver.pour_to(CUP_G + guard + 2.0);
    assert!(driver.caustic_over());
}

#[test]
fn invariant_6_time_when_nobody_watched_is_no_cooking_time() {
    let mut driver = Driver::cooking();
    driver.run(300.0);
    driver.kill_and_restart();
    let watched = driver.view().batches[0].cook.as_ref().unwrap().watched;
    assert!((watched.seconds() - 300.0).abs() < 2.0, "{watched}");
    assert_eq!(driver.asks(), Some(Ask::Look), "somebody must look at once");
}

#[test]
fn a_restart_with_a_question_open_is_no_dead_end() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 60.0);
    driver.run(5.0);
    assert!(matches!(driver.asks(), Some(Ask::TakeShort { .. })));
    driver.kill_and_restart();
    driver.run(1.0);
    assert_eq!(driver.asks(), Some(Ask::StillThere));
    driver.confirm();
    driver.pour_to(POT_G + 100.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}
