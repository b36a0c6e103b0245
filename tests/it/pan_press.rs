//! Pressing the pan twice is a yes where a plain yes is asked, and nowhere else.

use std::sync::Arc;

use panroom::bench::{Act, AlarmId, Ask, BatchId, CaptureHow, Cue, Fact, Notice, Reply};
use panroom::sim::Chance;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};

/// So many tenths of a second of a hand on the pan, never quite still.
fn press(driver: &mut Driver, tenths: u32) {
    let load = driver.load;
    for tick in 0..tenths {
        driver.load = load + if tick % 2 == 0 { 310.0 } else { 290.0 };
        driver.tick();
    }
    driver.load = load;
}

/// Pressed twice, and left until the pan has been at rest again.
pub fn press_twice(driver: &mut Driver) {
    press(driver, 4);
    driver.run(0.5);
    press(driver, 4);
    driver.run(2.5);
}

fn pressed(driver: &Driver) -> usize {
    let notice =
        |fact: &Fact| matches!(fact, Fact::Noticed { notice: Notice::PanPressed { .. }, .. });
    driver.facts.iter().filter(|numbered| notice(&numbered.fact)).count()
}

fn says_press(driver: &Driver) -> bool {
    let prompt = driver.view().batches[0].prompt.clone().expect("something is asked");
    let said = prompt.words.contains("press the pan twice");
    assert_eq!(said, prompt.question.contains("press the pan twice"), "{prompt:?}");
    said
}

/// What was asked is asked still, and nothing was said of a press.
fn expect_barred(driver: &mut Driver, why: &str) {
    let before = driver.asks();
    assert!(before.is_some() && !says_press(driver), "{why}: {before:?}");
    press_twice(driver);
    assert_eq!(pressed(driver), 0, "{why}");
}

/// The pot carries 10 g of oil too much: one plain yes is asked for.
fn too_long() -> Driver {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 110.0);
    driver.run(1.0);
    assert!(matches!(driver.asks(), Some(Ask::TakeLong { .. })));
    driver
}

/// The cook goes on, the pan is clear, and a look is due.
fn look_due() -> Driver {
    let mut driver = Driver::cooking();
    driver.run(600.0);
    assert_eq!(driver.asks(), Some(Ask::Look));
    driver.run(1.0);
    driver
}

/// Nothing is left but a word, and the pan is clear.
fn asked() -> Driver {
    let mut driver = Driver::new();
    driver.run(0.5);
    let mut only = control();
    only.steps.drain(..only.steps.len() - 1);
    let act = Act::start(batch_id(), Arc::new(only));
    assert_eq!(driver.act(act), Reply::Done);
    driver.run(3.0);
    assert_eq!(driver.asks(), Some(Ask::Done));
    driver
}

#[test]
fn two_presses_answer_a_plain_yes() {
    let mut driver = too_long();
    assert!(says_press(&driver));
    driver.cues.clear();
    press_twice(&mut driver);
    assert_eq!((pressed(&driver), driver.captured("coconut")), (1, Some(g("110"))));
    assert_eq!(driver.view().batches[0].captures[0].how, CaptureHow::Long);
    let yes = |cue: &Cue| matches!(cue, Cue::Say { words } if words.contains("pressed twice: yes"));
    assert!(driver.cues.iter().any(yes), "{:?}", driver.cues);
    // a hand is neither a pour nor something put on
    assert!(!driver.cues.iter().any(|cue| matches!(cue, Cue::Slow | Cue::Stop)));
    let put_on = |fact: &Fact| matches!(fact, Fact::Noticed { notice: Notice::PutOn { .. }, .. });
    assert!(!driver.facts.iter().any(|numbered| put_on(&numbered.fact)));
}

#[test]
fn a_look_is_answered_on_an_empty_pan() {
    let mut driver = look_due();
    assert!(says_press(&driver));
    press_twice(&mut driver);
    assert_eq!((pressed(&driver), driver.asks()), (1, None));
}

/// Once, three times, and a hand that stays: the question stands, and pouring on is guided again.
#[test]
fn other_numbers_of_presses_answer_nothing() {
    for presses in [1, 3, 4] {
        let mut driver = too_long();
        for _ in 0..presses {
            press(&mut driver, 3);
            driver.run(0.3);
        }
        driver.run(4.0);
        assert_eq!((pressed(&driver), driver.captured("coconut")), (0, None), "{presses}");
        assert!(matches!(driver.asks(), Some(Ask::TakeLong { .. })), "{presses}");
    }
}

/// A question must have been there to be read for half a second.
#[test]
fn half_a_second_to_read_the_question() {
    for (later, taken) in [(0.4, false), (0.5, true), (0.6, true)] {
        let mut driver = Driver::new();
        driver.run(3.0);
        let mut only = control();
        only.steps.drain(..only.steps.len() - 1);
        let act = Act::start(batch_id(), Arc::new(only));
        assert_eq!(driver.act(act), Reply::Done);
        // the first reading of the hand comes a tenth later
        driver.run(later - 0.1);
        press_twice(&mut driver);
        assert_eq!(pressed(&driver) == 1, taken, "{later} s after it was asked");
    }
}

#[test]
fn a_choice_is_no_plain_yes() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 90.0);
    driver.run(5.0);
    assert!(matches!(driver.asks(), Some(Ask::TakeShort { .. })));
    // short of an oil: leave it so, or bring all down
    expect_barred(&mut driver, "a choice");
}

#[test]
fn no_yes_about_caustic_or_lye_is_given_so() {
    let mut driver = Driver::at_caustic();
    let full = CUP_G + driver.target();
    driver.pour_to(full - 5.0);
    driver.run(5.0);
    assert!(matches!(driver.asks(), Some(Ask::TakeShort { .. })));
    expect_barred(&mut driver, "caustic on the pan");
    assert!(driver.facts.iter().any(|numbered| {
        let over = |alarm: &AlarmId| matches!(alarm, AlarmId::CausticOver { .. });
        matches!(&numbered.fact, Fact::AlarmChanged { alarm, .. } if over(alarm))
    }));

    // the cup of caustic is about while the water is weighed
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target() + 10.0);
    driver.run(5.0);
    assert!(matches!(driver.asks(), Some(Ask::TakeLong { .. })));
    expect_barred(&mut driver, "caustic about");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(3.0);
    driver.put(0.0);
    driver.expect_step("dissolve");
    driver.run(1.0);
    expect_barred(&mut driver, "dissolved?");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(1.0);
    assert!(matches!(driver.asks(), Some(Ask::VesselBack { .. })));
    expect_barred(&mut driver, "a vessel of caustic back");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(1.0);
    assert_eq!(driver.asks(), Some(Ask::Combined));
    expect_barred(&mut driver, "combined?");
}

#[test]
fn something_unknown_on_the_pan_bars_it() {
    // below 20 d it is no vessel
    for (load, barred) in [(1.9, false), (2.0, true), (200.0, true)] {
        let mut driver = asked();
        driver.put(load);
        press_twice(&mut driver);
        assert_eq!(pressed(&driver) == 0, barred, "{load} g");
    }
}

/// Active, or gone and not seen by anybody: something else is asked of the operator first.
#[test]
fn any_alarm_bars_it() {
    let high = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureHigh { .. });
    let mut driver = look_due();
    driver.celsius = 96.0;
    driver.run(7.0);
    assert!(driver.is_active(high));
    expect_barred(&mut driver, "active");
    driver.celsius = 80.0;
    // what was fast heating is no more
    driver.run(75.0);
    assert!(!driver.is_active(|_| true));
    expect_barred(&mut driver, "gone and not acknowledged");
    for alarm in driver.view().alarms {
        assert_eq!(driver.act(Act::Acknowledge { alarm: alarm.alarm }), Reply::Done);
    }
    driver.run(1.0);
    assert!(says_press(&driver), "{:?}", driver.view().alarms);
    press_twice(&mut driver);
    assert_eq!(pressed(&driver), 1);
}

#[test]
fn a_vessel_nobody_watched_and_two_questions_bar_it() {
    let mut driver = too_long();
    driver.kill_and_restart();
    driver.run(3.0);
    assert_eq!(driver.asks(), Some(Ask::StillThere));
    expect_barred(&mut driver, "unwatched");

    let mut driver = look_due();
    let other = BatchId("2026-11-25-b".to_owned());
    let mut waits = control();
    waits.steps.drain(..waits.steps.len() - 1);
    let act = Act::start(other, Arc::new(waits));
    assert_eq!(driver.act(act), Reply::Done);
    driver.run(1.0);
    assert_eq!(driver.view().batches[1].prompt.as_ref().map(|p| &p.asks), Some(&Ask::Done));
    expect_barred(&mut driver, "whose question?");
}

/// Noise, knocks, pours, bottles and draughts, seeded: never a yes.
#[test]
fn nothing_but_a_hand_confirms() {
    for seed in 1..=60 {
        let mut chance = Chance::new(seed).branch("press");
        let mut driver = asked();
        for _ in 0..6 {
            happens(&mut driver, &mut chance);
            driver.load = 0.0;
            driver.run(chance.between(0.2, 3.5));
        }
        driver.run(3.0);
        assert_eq!(pressed(&driver), 0, "seed {seed}");
    }
}

/// One thing that is no press, or half of one.
fn happens(driver: &mut Driver, chance: &mut Chance) {
    match chance.draw() % 5 {
        0 => {
            // a knock swings down and up and dies away
            let swing = chance.between(5.0, 400.0);
            for tick in 0..6 {
                let sign = if tick % 2 == 0 { -1.0 } else { 1.0 };
                driver.load = sign * swing * 0.5_f64.powi(tick);
                driver.tick();
            }
        }
        1 => {
            // a pour, and the vessel taken off
            let rate = chance.between(0.5, 60.0);
            for _ in 0..12 + chance.draw() % 40 {
                driver.load += rate / 10.0;
                driver.tick();
            }
        }
        2 => {
            // a bottle put down and taken up
            driver.load = chance.between(25.0, 900.0);
            driver.run(chance.between(0.45, 2.0));
        }
        3 => {
            // a hand that stays
            let tenths = 11 + (chance.draw() % 20) as u32;
            press(driver, tenths);
        }
        _ => {
            for _ in 0..chance.draw() % 30 {
                driver.load = chance.between(-3.0, 3.0);
                driver.tick();
            }
        }
    }
}

/// A hand of any usual weight and pace is understood.
#[test]
fn usual_presses_confirm() {
    for seed in 1..=60 {
        let mut chance = Chance::new(seed).branch("hand");
        let mut driver = asked();
        for _ in 0..2 {
            let weight = chance.between(60.0, 900.0);
            for _ in 0..2 + chance.draw() % 7 {
                driver.load = weight * chance.between(0.9, 1.1);
                driver.tick();
            }
            driver.load = 0.0;
            driver.run(chance.between(0.2, 1.0));
        }
        driver.run(2.5);
        assert_eq!(pressed(&driver), 1, "seed {seed}");
    }
}
