//! Two screens answer one question, a finger taps twice: done once, and nobody is told wrong.

use panroom::bench::{Act, AlarmId, Fact, Observation, Outcome, PromptId, Remedy, Reply};
use panroom::chemistry::IngredientId;

use crate::driver::{CUP_G, Driver, POT_G, batch_id, g};

fn prompt(driver: &Driver) -> PromptId {
    driver.view().batches[0].prompt.as_ref().expect("something is asked").prompt
}

fn refused(reply: Reply) -> String {
    match reply {
        Reply::Refused { words, .. } => words,
        other => panic!("{other:?} is no refusal"),
    }
}

fn count(driver: &Driver, wanted: impl Fn(&Fact) -> bool) -> usize {
    driver.facts.iter().filter(|numbered| wanted(&numbered.fact)).count()
}

/// The second screen answers what the first has answered, though more has been asked since.
#[test]
fn two_screens_confirm_one_question_once() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(120.0);
    driver.pour_to(120.0 + driver.target());
    driver.put(0.0);
    let question = prompt(&driver);
    assert_eq!(driver.act(Act::Confirm { prompt: question }), Reply::Done);
    let next = prompt(&driver);
    assert_ne!(question, next);
    assert_eq!(driver.act(Act::Confirm { prompt: question }), Reply::AlreadyDone);
    assert_eq!(prompt(&driver), next, "the late answer has not answered the next question");
    assert_eq!(driver.act(Act::Confirm { prompt: next }), Reply::Done);
    // two questions later it is still no error, and still answers nothing
    assert_eq!(driver.act(Act::Confirm { prompt: question }), Reply::AlreadyDone);
    let done = |fact: &Fact| matches!(fact, Fact::StepDone { step, .. } if step == "dissolve");
    assert_eq!(count(&driver, done), 1);
    assert!(refused(driver.act(Act::Confirm { prompt: PromptId(999) })).contains("not asked now"));
}

/// One screen spoons out, the other would discard: the second is told that its answer is none.
#[test]
fn two_screens_choose_otherwise_and_one_is_refused() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    let question = prompt(&driver);
    let choose = |remedy| Act::Choose { prompt: question, remedy };
    assert_eq!(driver.act(choose(Remedy::SpoonOut)), Reply::Done);
    assert_eq!(driver.act(choose(Remedy::SpoonOut)), Reply::AlreadyDone);
    let words = refused(driver.act(choose(Remedy::Discard)));
    assert!(words.contains("answered otherwise a moment ago"), "{words}");
    assert!(!driver.view().batches.is_empty(), "nothing was discarded");
    let words = refused(driver.act(Act::Confirm { prompt: question }));
    assert!(words.contains("answered otherwise"), "{words}");
    // the choice that closes the batch is no error either when it comes again
    let question = prompt(&driver);
    let discard = Act::Choose { prompt: question, remedy: Remedy::Discard };
    assert_eq!(driver.act(discard.clone()), Reply::Done);
    assert!(driver.view().batches.is_empty());
    assert_eq!(driver.act(discard), Reply::AlreadyDone);
}

#[test]
fn answers_are_remembered_across_a_restart() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    let question = prompt(&driver);
    driver.act(Act::Choose { prompt: question, remedy: Remedy::SpoonOut });
    driver.kill_and_restart();
    let again = Act::Choose { prompt: question, remedy: Remedy::SpoonOut };
    assert_eq!(driver.act(again), Reply::AlreadyDone);
}

/// The same observation within two seconds is the same finger; a later one is another look.
#[test]
fn a_double_tap_is_one_observation() {
    for (seconds, facts) in [(0.0, 1), (1.9, 1), (2.0, 2)] {
        let mut driver = Driver::cooking();
        let observation = Observation::Trace;
        let act = Act::Observe { batch: batch_id(), observation, note: "light".to_owned() };
        assert_eq!(driver.act(act.clone()), Reply::Done);
        driver.run(seconds);
        let again = driver.act(act);
        assert_eq!(again, if facts == 1 { Reply::AlreadyDone } else { Reply::Done }, "{seconds} s");
        assert_eq!(count(&driver, |fact| matches!(fact, Fact::Observed { .. })), facts);
        let other = Act::Observe { batch: batch_id(), observation, note: "heavy".to_owned() };
        assert_eq!(driver.act(other), Reply::Done, "another note is another observation");
    }
}

#[test]
fn a_mass_is_declared_once() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    let ingredient = IngredientId::from("coconut");
    let declare = |mass: &str| Act::Declare {
        batch: batch_id(),
        ingredient: ingredient.clone(),
        mass: g(mass),
    };
    assert_eq!(driver.act(declare("100")), Reply::Done);
    assert_eq!(driver.act(declare("100")), Reply::AlreadyDone);
    driver.run(5.0);
    driver.expect_step("weigh-olive");
    assert_eq!(driver.act(declare("100")), Reply::AlreadyDone, "also when the next is weighed");
    assert!(refused(driver.act(declare("99"))).contains("olive"));
}

/// An alarm that has gone while the finger was on its way.
#[test]
fn an_alarm_acknowledged_by_another_screen_is_no_error() {
    let mut driver = Driver::started();
    driver.scale_talks = false;
    driver.run(4.0);
    let alarm = AlarmId::InstrumentLost { instrument: "scale".to_owned() };
    driver.scale_talks = true;
    driver.run(4.0);
    let act = Act::Acknowledge { alarm };
    assert_eq!(driver.act(act.clone()), Reply::Done);
    assert!(driver.view().alarms.is_empty());
    assert_eq!(driver.act(act), Reply::AlreadyDone);
    let never = AlarmId::InstrumentLost { instrument: "another".to_owned() };
    assert!(refused(driver.act(Act::Acknowledge { alarm: never })).contains("no alarm"));
}

#[test]
fn closing_and_starting_twice_is_once() {
    let mut driver = Driver::started();
    let abandon = Act::Abandon { batch: batch_id(), reason: "no time".to_owned() };
    assert_eq!(driver.act(abandon.clone()), Reply::Done);
    assert_eq!(driver.act(abandon), Reply::AlreadyDone);
    let close = Act::Close { batch: batch_id(), outcome: Outcome::Failed, note: String::new() };
    assert!(matches!(driver.act(close), Reply::Refused { .. }), "it was abandoned, not failed");
}

/// A refusal names the question of the batch that was meant, not that of another.
#[test]
fn a_refusal_names_the_question_of_its_own_batch() {
    let mut driver = Driver::cooking();
    driver.run(601.0);
    let asked = prompt(&driver);
    let step = "pour".to_owned();
    let reply = driver.act(Act::Advance { batch: batch_id(), step });
    assert!(matches!(reply, Reply::Refused { prompt: Some(named), .. } if named == asked));
    let control = std::sync::Arc::new(crate::driver::control());
    let batch = panroom::bench::BatchId("2026-11-25-b".to_owned());
    driver.act(Act::start(batch.clone(), control));
    let reply = driver.act(Act::Advance { batch, step: "cook".to_owned() });
    assert!(matches!(reply, Reply::Refused { prompt: None, .. }), "{reply:?}");
}
