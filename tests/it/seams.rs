//! Where two rules of the bench meet, and neither alone would go on.

use std::sync::Arc;

use panroom::bench::{
    Act, AlarmId, BatchId, Fact, Input, Notice, Numbered, Phase, ProbeAt, Remedy, Reply,
};
use panroom::chemistry::DissolveVerdict;
use panroom::quantity::{Mass, Moment, Span, Temperature};
use panroom::reading::Channel;

use crate::dissolving::{dissolving_with, judged};
use crate::driver::{CUP_G, Driver, JUG_G, batch_id, control, g};

fn sentence(driver: &Driver) -> String {
    driver.view().batches[0].sentence.clone()
}

fn away_for_20_s(driver: &mut Driver) {
    driver.scale_talks = false;
    driver.run(20.0);
    driver.scale_talks = true;
}

// --- an over-pour, and a scale that comes back with another zero ---------------------------------

/// Neither the excess nor the guard can be told: the sentence says what makes them known again, and
/// then what is too much is counted from the zero of now.
#[test]
fn invariant_2_an_over_pour_in_doubt_says_the_way_out() {
    for moved in [9.0, -30.0] {
        let mut driver = Driver::at_caustic();
        let full = CUP_G + driver.guard().grams() + 4.0;
        driver.pour_to(full);
        assert!(driver.caustic_over());
        away_for_20_s(&mut driver);
        driver.put(full + moved);
        assert_eq!(driver.phase(), Phase::Over);
        assert!(sentence(&driver).contains("take everything off the pan"), "{}", sentence(&driver));
        driver.put(moved);
        driver.put(full + moved);
        assert!(driver.caustic_over(), "the latch holds meanwhile");
        assert!(sentence(&driver).contains("Choose what to do"), "{}", sentence(&driver));
        let prompt = driver.view().batches[0].prompt.clone().unwrap();
        let excess = full - CUP_G - driver.target();
        assert!(prompt.words.contains(&format!("spoon out {excess:.1} g")), "{}", prompt.words);
        let choose = Act::Choose { prompt: prompt.prompt, remedy: Remedy::SpoonOut };
        assert_eq!(driver.act(choose), Reply::Done);
        driver.put(CUP_G + driver.target() + moved);
        driver.run(5.0);
        assert!(!driver.caustic_over());
        assert_eq!(driver.captured("naoh"), Some(driver.weighing_target()));
    }
}

// --- a hand-held probe in the lye ----------------------------------------------------------------

/// All is weighed and dissolves; the only probe is in somebody's hand.
fn dissolving_by_hand() -> Driver {
    dissolving_with(ProbeAt::Hand, true)
}

fn hold(driver: &mut Driver, at: ProbeAt) {
    let (batch, channel) = (batch_id(), Channel::new("pot"));
    assert_eq!(driver.act(Act::Hold { batch, channel, at, stays: false }), Reply::Done);
}

#[test]
fn a_probe_held_in_the_lye_tells_that_it_is_too_hot() {
    let lye = dissolving_by_hand().view().batches[0].lye.clone().unwrap();
    let high = lye.expected.high.celsius();
    // the thermometer's own error is allowed for
    for (celsius, verdict) in [(high + 2.4, None), (high + 2.6, Some(DissolveVerdict::TooHot))] {
        let mut driver = dissolving_by_hand();
        driver.celsius = celsius;
        driver.run(8.0);
        assert_eq!(judged(&driver), None, "in the hand it counts for nothing");
        hold(&mut driver, ProbeAt::Lye);
        driver.run(8.0);
        assert_eq!(judged(&driver), verdict, "{celsius} °C");
        let peak = driver.view().batches[0].lye.clone().unwrap().peak.unwrap().celsius();
        assert!((peak - celsius).abs() < 0.1, "{peak}");
        // the peak stays what it was, and being low proves nothing
        driver.celsius = 40.0;
        driver.run(60.0);
        driver.confirm();
        assert_eq!(judged(&driver), verdict);
    }
}

#[test]
fn a_value_by_hand_tells_it_too_and_another_place_does_not() {
    let lye = dissolving_by_hand().view().batches[0].lye.clone().unwrap();
    let too_hot = Temperature::from_celsius_rounded(lye.expected.high.celsius() + 5.0);
    for (at, verdict) in [(ProbeAt::Lye, Some(DissolveVerdict::TooHot)), (ProbeAt::Oils, None)] {
        let mut driver = dissolving_by_hand();
        let measured = Act::Measured { batch: batch_id(), at, temperature: too_hot };
        assert_eq!(driver.act(measured), Reply::Done);
        driver.run(1.0);
        assert_eq!(judged(&driver), verdict);
    }
}

/// What was read in the liquid before the caustic went in is no peak of the lye.
#[test]
fn what_was_read_before_the_step_is_no_peak() {
    let mut driver = Driver::at_caustic();
    let temperature = Temperature::from_celsius(95);
    let measured = Act::Measured { batch: batch_id(), at: ProbeAt::Lye, temperature };
    assert_eq!(driver.act(measured), Reply::Done);
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.weigh_into(JUG_G);
    driver.expect_step("dissolve");
    driver.run(1.0);
    assert_eq!(driver.view().batches[0].lye, None, "nothing declared, nothing expected");
    assert_eq!(judged(&driver), None);
}

// --- leases ---------------------------------------------------------------------------------------

/// What a probe said in one pot is never shown, nor used, as the temperature of another.
#[test]
fn a_moved_probe_shows_nothing_until_it_has_spoken_there() {
    let mut driver = Driver::cooking();
    let other = BatchId("2026-11-25-b".to_owned());
    let start = Act::start(other.clone(), Arc::new(control()));
    assert_eq!(driver.act(start), Reply::Done);
    driver.run(1.0);
    let shown = |driver: &Driver| {
        let view = driver.view();
        view.channels.iter().find(|c| c.channel.as_str() == "pot").unwrap().value
    };
    assert!(shown(&driver).is_some());
    let act = Act::Probe { batch: other, channel: Channel::new("pot") };
    assert_eq!(driver.act(act), Reply::Done);
    assert_eq!(shown(&driver), None);
    let lost = |alarm: &AlarmId| matches!(alarm, AlarmId::InstrumentLost { .. });
    assert!(!driver.is_active(lost), "it was heard a moment ago");
    driver.run(1.0);
    assert!(shown(&driver).is_some());
}

/// The small cup of a remedy is caustic like any other: while it is about, the scale stays.
#[test]
fn no_lease_moves_while_the_cup_of_a_small_lye_is_on_the_pan() {
    let mut driver = Driver::cooking();
    let other = BatchId("2026-11-25-b".to_owned());
    let start = Act::start(other.clone(), Arc::new(control()));
    assert_eq!(driver.act(start), Reply::Done);
    let correct = Act::Correct {
        batch: batch_id(),
        ingredient: "naoh".into(),
        mass: g("38"),
        reason: "misread".to_owned(),
    };
    assert_eq!(driver.act(correct), Reply::Done);
    assert_eq!(driver.act(Act::AskRemedy { batch: batch_id() }), Reply::Done);
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::SmallLye }), Reply::Done);
    // B had taken the scale to weigh its oils; nothing of it is on the pan
    driver.run(3.0);
    assert_eq!(driver.act(Act::Scale { batch: batch_id() }), Reply::Done);
    driver.run(3.0);
    let take = |driver: &mut Driver| driver.act(Act::Scale { batch: other.clone() });
    driver.put(20.0);
    driver.pour_without_rest(20.0 + 3.0);
    let barred = |reply: Reply| {
        let Reply::Refused { words, .. } = reply else { panic!("{reply:?}") };
        assert!(words.contains("is or may be on the pan"), "{words}");
    };
    barred(take(&mut driver));
    driver.pour_to(20.0 + driver.target());
    barred(take(&mut driver));
    driver.put(0.0);
    // weighed and not dissolved: on a clear pan it may move, with a cup on it not
    driver.put(25.0);
    barred(take(&mut driver));
    driver.put(0.0);
    assert_eq!(take(&mut driver), Reply::Done);
}

/// A mass corrected while another batch has the scale: what is to be weighed follows at once.
#[test]
fn a_target_follows_though_the_scale_is_elsewhere() {
    let mut driver = Driver::oils_weighed();
    assert_eq!(driver.weighing_target(), g("43"));
    let other = BatchId("2026-11-25-b".to_owned());
    let start = Act::start(other.clone(), Arc::new(control()));
    assert_eq!(driver.act(start), Reply::Done);
    // no cup of caustic is on the pan yet, so it may be given away
    assert_eq!(driver.act(Act::Scale { batch: other }), Reply::Done);
    let correct = Act::Correct {
        batch: batch_id(),
        ingredient: "coconut".into(),
        mass: g("90"),
        reason: "spilt".to_owned(),
    };
    assert_eq!(driver.act(correct), Reply::Done);
    let retargeted = driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::Retargeted { target, .. } => Some(target.mass),
        _ => None,
    });
    // (90 × 0.256 + 200 × 0.190) g KOH × 39.9971 ÷ 56.1056 × 0.95 = 41.34 g, rounded down
    assert_eq!(retargeted, Some(g("41.3")));
    driver.run(1.0);
    assert_eq!(driver.act(Act::Scale { batch: batch_id() }), Reply::Done);
    driver.put(CUP_G);
    driver.pour_to(CUP_G + 41.3);
    assert_eq!(driver.captured("naoh"), Some(g("41.3")));
}

// --- the unit key --------------------------------------------------------------------------------

/// Grams, ounces, pounds, and grams again: the key goes round.
#[test]
fn invariant_14_the_unit_key_pressed_all_the_way_round() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 40.0);
    driver.run(3.0);
    // 90.0 g are 3.17 oz and 0.198 lb
    for shown in [3.17, 0.198] {
        says(&mut driver, shown, 3.0);
        assert_eq!(driver.view().batches[0].weighing.as_ref().unwrap().net, None, "{shown}");
    }
    let suspected = |n: &Numbered| {
        matches!(&n.fact, Fact::Noticed { notice: Notice::UnitSuspected { .. }, .. })
    };
    assert!(driver.facts.iter().any(suspected));
    driver.run(5.0);
    let weighing = driver.view().batches[0].weighing.clone().unwrap();
    assert_eq!((weighing.phase, weighing.net), (Phase::Pouring, Some(g("40"))));
    driver.pour_to(CUP_G + driver.target());
    assert_eq!(driver.captured("naoh"), Some(driver.weighing_target()));
}

/// The plug is pulled while it shows ounces, and it comes back in grams.
#[test]
fn invariant_14_a_replug_ends_the_suspicion_and_leaves_the_doubt() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 40.0);
    driver.run(3.0);
    says(&mut driver, 3.2, 3.0);
    let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
    driver.input(&Input::InstrumentLost { instrument, why });
    driver.run(5.0);
    let weighing = driver.view().batches[0].weighing.clone().unwrap();
    // the load is what the books say: the zero never moved, and the pour goes on
    assert_eq!((weighing.phase, weighing.net), (Phase::Pouring, Some(g("40"))));
    // back in ounces it is another load, and never counted
    says(&mut driver, 3.2, 3.0);
    let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
    driver.input(&Input::InstrumentLost { instrument, why });
    says(&mut driver, 3.2, 5.0);
    let weighing = driver.view().batches[0].weighing.clone().unwrap();
    assert_eq!((weighing.phase, weighing.net), (Phase::ZeroDoubted, None));
}

/// For so long the scale shows this number on an untouched pan, with no unit beside it.
fn says(driver: &mut Driver, grams: f64, seconds: f64) {
    use panroom::quantity::MassUnit;
    use panroom::reading::{Reading, Status, Value};
    let decimals =
        if (grams * 100.0).fract().abs() > 1e-6 { 3 } else { u8::from(grams > 3.19) ^ 3 };
    let digits = (grams * 10_f64.powi(i32::from(decimals))).round() as i64;
    let unit = MassUnit::Gram;
    let mass = Mass::from_decimal(digits, decimals, unit).unwrap();
    let value = Some(Value::Mass { mass, unit, decimals, unit_on_wire: false });
    for _ in 0..(seconds * 10.0) as u32 {
        driver.now = driver.now + Span::from_millis(100);
        let (channel, at, status) = (Channel::new("scale"), driver.now, Status::Stable);
        driver.input(&Input::Reading(Reading { channel, at, value, status }));
    }
}

// --- facts of another day ------------------------------------------------------------------------

/// A cook begun before cook time had facts of its own counts from its beginning.
#[test]
fn a_cook_fact_without_its_clock_counts_from_the_beginning() {
    let driver = Driver::cooking();
    let text = driver.facts.iter().map(|numbered| serde_json::to_value(numbered).unwrap());
    let older = text.map(|mut fact| {
        let fields = fact["fact"].as_object_mut().unwrap();
        if fields["fact"] == "step-begun" {
            fields.remove("clocked").expect("written today");
        }
        serde_json::from_value::<Numbered>(fact).unwrap()
    });
    let clock = |numbered: &Numbered| matches!(numbered.fact, Fact::CookClock { .. });
    let facts: Vec<Numbered> = older.filter(|numbered| !clock(numbered)).collect();
    let begun = facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::StepBegun { step, .. } if step == "cook" => Some(numbered.at),
        _ => None,
    });
    let bench = panroom::bench::Bench::recover(&facts);
    let later: Moment = begun.unwrap() + Span::from_minutes(7);
    let cook = bench.view(later).batches[0].cook.clone().unwrap();
    assert_eq!(cook.watched, Span::from_minutes(7));
    // as written today it stands still until the pot is known to be warm
    let today: Vec<Numbered> = driver.facts.iter().filter(|n| !clock(n)).cloned().collect();
    let cook = panroom::bench::Bench::recover(&today).view(later).batches[0].cook.clone().unwrap();
    assert_eq!(cook.watched, Span::ZERO);
}
