//! Several batches on one bench: who has the scale, whose caustic is about, whose probe is whose.

use std::sync::Arc;

use panroom::bench::{
    Act, AlarmId, Ask, BatchId, BatchView, Cue, Fact, Outcome, Phase, ProbeAt, Remedy, Reply, Role,
};
use panroom::chemistry::{CausticForm, LiquidRule};
use panroom::plan::ControlRecipe;
use panroom::quantity::{Share, TemperatureUnit};
use panroom::reading::Channel;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};

/// The second pot is a heavier one.
const POT_B_G: f64 = 550.0;

fn id(letter: &str) -> BatchId {
    BatchId(format!("2026-11-25-{letter}"))
}

fn start(driver: &mut Driver, letter: &str) -> Reply {
    driver.act(Act::start(id(letter), Arc::new(control())))
}

fn pot(driver: &Driver, letter: &str) -> BatchView {
    let batch = driver.view().batches.into_iter().find(|batch| batch.batch == id(letter));
    batch.unwrap_or_else(|| panic!("batch {letter} is not open"))
}

fn confirm(driver: &mut Driver, letter: &str) -> Reply {
    let prompt = pot(driver, letter).prompt.expect("something is asked").prompt;
    driver.act(Act::Confirm { prompt })
}

fn refused(reply: Reply) -> String {
    match reply {
        Reply::Refused { words, .. } => words,
        other => panic!("{other:?} is no refusal"),
    }
}

fn take_scale(driver: &mut Driver, letter: &str) -> Reply {
    driver.act(Act::Scale { batch: id(letter) })
}

fn target(driver: &Driver, letter: &str) -> f64 {
    pot(driver, letter).weighing.expect("something is weighed").target.mass.grams()
}

/// Both oils go into this pot, which comes to the pan and leaves it.
fn weigh_oils(driver: &mut Driver, pot_g: f64) {
    driver.put(pot_g);
    driver.pour_to(pot_g + 100.0);
    driver.pour_to(pot_g + 300.0);
    driver.put(0.0);
}

/// Caustic and water of this batch, each in its own vessel.
fn weigh_cup_and_jug(driver: &mut Driver, letter: &str) {
    for vessel in [CUP_G, JUG_G] {
        driver.put(vessel);
        driver.pour_to(vessel + target(driver, letter));
        driver.put(0.0);
    }
}

/// The pan is cleared, and pot B is weighed on it as if nothing had been there.
fn b_is_weighed_right(driver: &mut Driver) {
    driver.put(0.0);
    driver.put(POT_B_G);
    driver.pour_to(POT_B_G + 100.0);
    assert_eq!(pot(driver, "b").captures[0].net, g("100"));
}

/// Two pots are started; the scale is with the first, whose pot stands on the pan.
fn two() -> Driver {
    let mut driver = Driver::started();
    assert_eq!(start(&mut driver, "b"), Reply::Done);
    driver.put(POT_G);
    driver
}

/// Pot A has all it weighs and dissolves its caustic; the scale has gone to B.
fn a_dissolves() -> Driver {
    let mut driver = two();
    weigh_oils(&mut driver, POT_G);
    weigh_cup_and_jug(&mut driver, "a");
    assert_eq!(pot(&driver, "a").step, "dissolve");
    driver
}

/// Pot B has its oils and waits at its caustic, pot A dissolves.
fn b_at_caustic() -> Driver {
    let mut driver = a_dissolves();
    weigh_oils(&mut driver, POT_B_G);
    driver
}

// --- the scale goes round ------------------------------------------------------------------------

#[test]
fn a_second_pot_waits_for_the_scale_and_says_so() {
    let driver = two();
    let (a, b) = (pot(&driver, "a"), pot(&driver, "b"));
    assert!(a.has_scale && !a.waits && !b.has_scale && b.waits);
    assert_eq!(b.sentence, "Pot B: The scale is with pot A; this pot waits for it.");
    assert_eq!(b.weighing, None);
    assert!(a.sentence.starts_with("Pot A: Add 100.0 g of coconut oil"), "{}", a.sentence);
}

#[test]
fn eight_pots_are_the_most() {
    let mut driver = Driver::new();
    driver.run(0.5);
    for letter in ["a", "b", "c", "d", "e", "f", "g", "h"] {
        assert_eq!(start(&mut driver, letter), Reply::Done, "{letter}");
    }
    assert!(refused(start(&mut driver, "i")).contains("8 batches are open"));
    let reason = "one too many".to_owned();
    driver.act(Act::Abandon { batch: id("c"), reason });
    assert_eq!(start(&mut driver, "i"), Reply::Done);
}

#[test]
fn the_scale_moves_when_a_batch_dissolves() {
    let driver = a_dissolves();
    assert!(pot(&driver, "b").has_scale);
    assert!(!pot(&driver, "b").waits);
    let said = |words: &str| {
        driver.cues.iter().any(|cue| matches!(cue, Cue::Say { words: said } if said == words))
    };
    assert!(said("The scale is now with pot B."));
    assert!(said("Pot B: Next: 100.0 g of coconut oil."));
}

#[test]
fn a_batch_weighs_on_with_the_scale_while_another_waits() {
    let mut driver = two();
    driver.pour_to(POT_G + 100.0);
    assert_eq!(pot(&driver, "a").step, "weigh-olive");
    assert!(pot(&driver, "a").has_scale, "between two oils the scale stays");
}

/// The scale is asked for in mid-pour: what had been poured is counted again only after a yes.
#[test]
fn an_act_moves_the_scale_and_what_was_poured_is_asked_for() {
    let mut driver = two();
    driver.pour_to(POT_G + 60.0);
    assert_eq!(take_scale(&mut driver, "b"), Reply::Done);
    assert_eq!(take_scale(&mut driver, "b"), Reply::AlreadyDone);
    assert_eq!(
        pot(&driver, "a").sentence,
        "Pot A: The scale is with pot B; this pot waits for it."
    );
    assert_eq!(
        pot(&driver, "b").sentence,
        "Pot B: Take everything off the pan first: what is on it may be of pot A."
    );
    // A's pot is still on the pan: it is nobody's vessel now
    driver.run(10.0);
    assert_eq!(pot(&driver, "b").weighing.unwrap().phase, Phase::AwaitingVessel);
    b_is_weighed_right(&mut driver);
    driver.run(3.0);
    // and back: B's pot stands there, and may not be taken for A's
    assert_eq!(take_scale(&mut driver, "a"), Reply::Done);
    driver.run(10.0);
    assert!(pot(&driver, "a").weighing.unwrap().net.is_none());
    assert_eq!(pot(&driver, "a").prompt, None);
    driver.put(0.0);
    driver.put(POT_G + 60.0);
    assert_eq!(pot(&driver, "a").prompt.unwrap().asks, Ask::StillThere);
    assert!(pot(&driver, "a").captures.is_empty());
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    driver.pour_to(POT_G + 100.0);
    assert_eq!(pot(&driver, "a").captures[0].net, g("100"));
}

#[test]
fn a_batch_that_weighs_nothing_cannot_have_the_scale() {
    let mut driver = a_dissolves();
    let words = refused(take_scale(&mut driver, "a"));
    assert!(words.contains("pot A weighs nothing now"), "{words}");
    assert!(pot(&driver, "b").has_scale);
    assert!(refused(take_scale(&mut driver, "z")).contains("2026-11-25-z"));
}

#[test]
fn the_scale_stays_until_a_capture_is_done_with() {
    let mut driver = a_dissolves();
    driver.put(POT_B_G);
    driver.pour_without_rest(POT_B_G + 100.0);
    driver.run(2.5);
    assert_eq!(pot(&driver, "b").captures.len(), 1);
    assert_eq!(pot(&driver, "b").step, "weigh-coconut", "two seconds have not passed");
    // A would weigh its cup back
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    assert!(refused(take_scale(&mut driver, "a")).contains("for a moment"));
    driver.run(2.0);
    assert_eq!(take_scale(&mut driver, "a"), Reply::Done);
}

/// Another batch's pot, known by what it weighed last, is never taken for a new one.
#[test]
fn the_pot_of_another_batch_is_no_new_pot() {
    let mut driver = a_dissolves();
    driver.put(POT_G + 300.0);
    assert_eq!(pot(&driver, "b").weighing.unwrap().phase, Phase::AwaitingVessel);
    driver.run(10.0);
    let tared = |driver: &Driver| {
        let b = id("b");
        driver.facts.iter().any(|f| matches!(&f.fact, Fact::Tared { batch, .. } if *batch == b))
    };
    assert!(!tared(&driver), "that is pot A with its oils");
    driver.put(0.0);
    driver.put(POT_B_G);
    assert!(tared(&driver));
}

/// With one pot more on the pan means "begun early"; with several it may be the other pot.
#[test]
fn a_heavier_pot_is_not_counted_as_poured() {
    let mut other = two();
    other.pour_to(POT_G + 100.0);
    assert_eq!(take_scale(&mut other, "b"), Reply::Done);
    other.put(0.0);
    assert_eq!(take_scale(&mut other, "a"), Reply::Done);
    other.run(3.0);
    other.put(POT_G + 300.0);
    other.run(10.0);
    assert_eq!(pot(&other, "a").captures.len(), 1, "200 g more are not 200 g of olive oil");
    other.put(0.0);
    other.put(POT_G + 100.0);
    assert_eq!(confirm(&mut other, "a"), Reply::Done);
    other.pour_to(POT_G + 300.0);
    assert_eq!(pot(&other, "a").captures.len(), 2);
}

// --- caustic -------------------------------------------------------------------------------------

#[test]
fn one_caustic_at_a_time_and_the_other_says_why() {
    let mut driver = b_at_caustic();
    let b = pot(&driver, "b");
    assert!(b.waits);
    assert_eq!(
        b.sentence,
        "Pot B: Pot A has caustic that is not dissolved yet; this pot waits. One cup of caustic at \
         a time."
    );
    // the cup stands on the pan all the while: it is not B's
    driver.put(CUP_G);
    driver.run(10.0);
    assert!(pot(&driver, "b").weighing.is_none());
    driver.put(0.0);
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    assert!(pot(&driver, "b").waits, "said dissolved, and its cup not yet back");
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    driver.run(3.0);
    assert_eq!(pot(&driver, "a").step, "combine");
    let b = pot(&driver, "b");
    assert!(b.has_scale && b.weighing.is_some(), "{}", b.sentence);
    assert!(b.sentence.starts_with("Pot B: "), "{}", b.sentence);
}

/// From its tare until it is weighed and off the pan, no act moves the scale from a caustic cup.
#[test]
fn no_lease_moves_while_a_caustic_cup_is_on_the_pan() {
    let mut driver = two();
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    assert_eq!(pot(&driver, "a").step, "weigh-naoh");
    driver.put(CUP_G);
    let target = target(&driver, "a");
    driver.pour_without_rest(CUP_G + target - 5.0);
    let refuses = |driver: &mut Driver| {
        let words = refused(take_scale(driver, "b"));
        assert!(words.contains("the caustic of pot A is or may be on the pan"), "{words}");
    };
    refuses(&mut driver);
    driver.put(0.0);
    refuses(&mut driver);
    driver.put(CUP_G + target - 5.0);
    refuses(&mut driver);
    driver.pour_to(CUP_G + target);
    refuses(&mut driver);
    // off the pan, and done: two seconds of a clear pan later it may move
    driver.put(0.0);
    assert_eq!(pot(&driver, "a").step, "weigh-water");
    assert_eq!(take_scale(&mut driver, "b"), Reply::Done);
}

/// The cup may be anywhere once its caustic is weighed: also on the pan.
#[test]
fn no_lease_moves_while_the_pan_is_not_seen_clear() {
    for (load, moves) in [(1.9, true), (2.0, false)] {
        let mut driver = two();
        driver.pour_to(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        driver.put(0.0);
        driver.put(CUP_G);
        driver.pour_to(CUP_G + target(&driver, "a"));
        driver.put(0.0);
        driver.put(load);
        // twenty intervals of 0.1 g are a vessel; less is a drifted zero
        let reply = take_scale(&mut driver, "b");
        assert_eq!(reply == Reply::Done, moves, "{load} g: {reply:?}");
    }
}

#[test]
fn silence_of_the_scale_is_no_clear_pan() {
    let mut driver = two();
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    driver.pour_to(CUP_G + target(&driver, "a"));
    driver.put(0.0);
    driver.scale_talks = false;
    driver.run(5.0);
    assert!(refused(take_scale(&mut driver, "b")).contains("may be on the pan"));
}

#[test]
fn no_lease_moves_while_an_over_pour_is_latched() {
    let mut driver = two();
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    assert!(driver.caustic_over());
    driver.put(0.0);
    let words = refused(take_scale(&mut driver, "b"));
    assert!(words.contains("too much caustic is in its cup"), "{words}");
    assert_eq!(
        pot(&driver, "b").sentence,
        "Pot B: The scale is with pot A; this pot waits for it."
    );
    let alarm = driver.view().alarms[0].words.clone();
    assert!(alarm.starts_with("Pot A: "), "{alarm}");
    // given up: the scale is free, but only once the cup is off the pan
    driver.put(CUP_G + 48.0);
    let prompt = pot(&driver, "a").prompt.unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::Discard }), Reply::Done);
    driver.run(5.0);
    let b = pot(&driver, "b");
    assert!(!b.has_scale && b.waits);
    assert!(b.sentence.contains("take everything off it"), "{}", b.sentence);
    driver.put(0.0);
    let b = pot(&driver, "b");
    assert!(b.has_scale && !b.waits, "{}", b.sentence);
    driver.put(POT_B_G);
    driver.pour_to(POT_B_G + 100.0);
    assert_eq!(pot(&driver, "b").captures[0].net, g("100"));
}

/// The full cup of one batch is no vessel for another.
#[test]
fn a_full_caustic_cup_is_nobodys_vessel() {
    let mut driver = a_dissolves();
    let naoh =
        pot(&driver, "a").captures.iter().find(|c| c.name.contains("hydroxide")).unwrap().net;
    driver.put(CUP_G + naoh.grams());
    driver.run(10.0);
    let weighing = pot(&driver, "b").weighing.unwrap();
    assert_eq!((weighing.phase, weighing.net), (Phase::Taring, None));
}

/// B was filling its pot when the scale went to A, and gets it back with pot A on the pan: that
/// the pan was clear for A says nothing for B.
#[test]
fn a_pan_seen_clear_for_one_is_not_clear_for_the_next() {
    let mut driver = two();
    driver.pour_to(POT_G + 60.0);
    take_scale(&mut driver, "b");
    driver.put(0.0);
    driver.put(POT_B_G);
    driver.pour_to(POT_B_G + 60.0);
    assert_eq!(take_scale(&mut driver, "a"), Reply::Done);
    driver.put(0.0);
    driver.put(POT_G + 60.0);
    assert_eq!(take_scale(&mut driver, "b"), Reply::Done);
    driver.run(5.0);
    let b = pot(&driver, "b");
    assert!(b.sentence.contains("Take everything off the pan first"), "{}", b.sentence);
    assert_eq!(b.prompt, None, "whose pot stands there is not asked of B");
}

/// The cup of A is asked back, and pot B, which weighs as much, stands on the pan that A gets.
#[test]
fn what_another_pot_left_is_not_the_cup_that_is_asked_back() {
    let mut driver = a_dissolves();
    driver.put(CUP_G);
    assert_eq!(pot(&driver, "b").weighing.unwrap().phase, Phase::Pouring);
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    assert_eq!(take_scale(&mut driver, "a"), Reply::Done);
    driver.run(5.0);
    let back = |fact: &Fact| matches!(fact, Fact::VesselBack { .. });
    assert!(!driver.facts.iter().any(|numbered| back(&numbered.fact)));
    driver.put(0.0);
    driver.put(CUP_G);
    assert!(driver.facts.iter().any(|numbered| back(&numbered.fact)));
}

/// Another scale under another name is not put in the place of the one that a batch had.
#[test]
fn a_batch_whose_scale_is_gone_is_given_no_other() {
    let mut driver = Driver::started();
    let other = Channel::new("another scale");
    driver.setup.channels[0].channel = other.clone();
    driver.kill_and_restart();
    driver.run(5.0);
    assert_eq!(driver.bench.state().leases.get(&other), None);
}

// --- restart -------------------------------------------------------------------------------------

#[test]
fn after_a_restart_the_pan_is_unknown_until_confirmed() {
    let mut driver = two();
    driver.pour_to(POT_G + 60.0);
    driver.kill_and_restart();
    driver.run(3.0);
    assert_eq!(pot(&driver, "a").prompt.unwrap().asks, Ask::StillThere);
    assert_eq!(pot(&driver, "b").prompt, None);
    assert!(pot(&driver, "a").has_scale);

    let mut driver = a_dissolves();
    driver.put(POT_B_G);
    driver.pour_to(POT_B_G + 100.0);
    driver.run(3.0);
    driver.put(0.0);
    driver.load = POT_G;
    driver.kill_and_restart();
    driver.run(10.0);
    assert_eq!(pot(&driver, "b").captures.len(), 1, "what stands there now is not known");
}

#[test]
fn after_a_restart_a_vessel_on_the_pan_is_nobodys() {
    let mut driver = a_dissolves();
    driver.load = POT_B_G;
    driver.kill_and_restart();
    driver.run(10.0);
    let b = pot(&driver, "b");
    assert!(b.sentence.contains("Take everything off the pan first"), "{}", b.sentence);
    assert_eq!(b.weighing.unwrap().phase, Phase::AwaitingVessel);
    driver.put(0.0);
    driver.put(POT_B_G);
    assert_eq!(pot(&driver, "b").weighing.unwrap().phase, Phase::Pouring);
}

// --- probes --------------------------------------------------------------------------------------

/// Two probes for two pots: what one reads is no alarm of the other.
#[test]
fn a_probe_is_of_one_pot_until_the_operator_says_otherwise() {
    let mut driver = Driver::cooking();
    start(&mut driver, "b");
    let holder = |driver: &Driver| {
        let view = driver.view();
        view.channels.iter().find(|c| c.channel.as_str() == "pot").unwrap().holder.clone()
    };
    assert_eq!(holder(&driver), Some(id("a")));
    driver.celsius = 96.0;
    driver.run(10.0);
    let high = |letter: &str| {
        let batch = id(letter);
        move |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureHigh { batch: of, .. } if *of == batch)
    };
    assert!(driver.is_active(high("a")));
    let act = Act::Probe { batch: id("b"), channel: Channel::new("pot") };
    assert_eq!(driver.act(act.clone()), Reply::Done);
    assert_eq!(driver.act(act), Reply::AlreadyDone);
    assert_eq!(holder(&driver), Some(id("b")));
    driver.run(60.0);
    assert!(driver.is_active(high("a")), "what nobody measures has not got better");
    assert!(!driver.is_active(high("b")), "pot B does not cook");
    let scale = Act::Probe { batch: id("b"), channel: Channel::new("scale") };
    assert!(refused(driver.act(scale)).contains("no probe is called scale"));
}

#[test]
fn a_second_probe_goes_to_the_second_pot() {
    let mut driver = Driver::new();
    let mut second = driver.setup.channels[1].clone();
    second.channel = Channel::new("pot 2");
    second.instrument = "second thermometer".to_owned();
    second.role = Role::Probe { at: ProbeAt::Pot, unit: TemperatureUnit::Celsius };
    driver.setup.channels.push(second);
    driver.open_session(2, None);
    driver.run(0.5);
    start(&mut driver, "a");
    start(&mut driver, "b");
    let holders: Vec<_> = driver.view().channels.into_iter().map(|c| c.holder).collect();
    assert_eq!(holders, [Some(id("a")), Some(id("a")), Some(id("b"))]);
}

/// The bench file has grown since the batch was begun: what is new is of the only batch there is,
/// but no second probe for a place, none that is held in the hand, and none where there are two.
#[test]
fn a_new_probe_is_of_the_only_batch() {
    for (pots, taken) in [(1, true), (2, false)] {
        let mut driver = Driver::started();
        if pots == 2 {
            start(&mut driver, "b");
        }
        for (name, at) in
            [("lye", ProbeAt::Lye), ("second in the pot", ProbeAt::Pot), ("stick", ProbeAt::Hand)]
        {
            let mut probe = driver.setup.channels[1].clone();
            (probe.channel, probe.instrument) = (Channel::new(name), name.to_owned());
            probe.role = Role::Probe { at, unit: TemperatureUnit::Celsius };
            driver.setup.channels.push(probe);
        }
        driver.kill_and_restart();
        let mut probe =
            |batch, name| refused(driver.act(Act::Probe { batch, channel: Channel::new(name) }));
        assert!(probe(id("a"), "stick").contains("say where it is"));
        assert!(probe(id("z"), "lye").contains("no open batch has the number 2026-11-25-z"));
        let holders: Vec<_> = driver.view().channels.into_iter().map(|c| c.holder).collect();
        let a = Some(id("a"));
        let lye = a.clone().filter(|_| taken);
        assert_eq!(holders, [a.clone(), a, lye, None, None], "{pots} pots");
    }
}

// --- the rest of a bench with several pots -------------------------------------------------------

#[test]
fn closing_one_gives_the_scale_to_the_next() {
    let mut driver = two();
    let reason = "no time".to_owned();
    assert_eq!(driver.act(Act::Abandon { batch: batch_id(), reason }), Reply::Done);
    driver.run(1.0);
    assert!(pot(&driver, "b").has_scale);
    // one pot alone needs no name, but what A left must go first
    assert_eq!(
        pot(&driver, "b").sentence,
        "Take everything off the pan first: what is on it may be of pot A."
    );
    b_is_weighed_right(&mut driver);
}

#[test]
fn two_pots_go_through_to_their_ends() {
    let mut driver = b_at_caustic();
    driver.celsius = 80.0;
    for _ in 0..2 {
        assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    }
    driver.run(3.0);
    weigh_cup_and_jug(&mut driver, "b");
    for letter in ["a", "a", "b", "b", "b", "b"] {
        driver.run(1.0);
        assert_eq!(confirm(&mut driver, letter), Reply::Done, "{letter}");
    }
    driver.run(1.0);
    assert_eq!(
        (pot(&driver, "a").step.as_str(), pot(&driver, "b").step.as_str()),
        ("cook", "cook")
    );
    for _ in 0..3 {
        driver.run(600.0);
        for letter in ["a", "b"] {
            assert_eq!(confirm(&mut driver, letter), Reply::Done);
        }
    }
    // the probe stands in pot A: its cook is over, that of B is ended on the operator's word
    for letter in ["a", "b"] {
        driver.run(10.0);
        if pot(&driver, letter).step == "cook" {
            let end = Act::Advance { batch: id(letter), step: "cook".to_owned() };
            if matches!(driver.act(end), Reply::Refused { .. }) {
                assert_eq!(confirm(&mut driver, letter), Reply::Done, "{letter}");
            }
        }
    }
    driver.run(1.0);
    for letter in ["a", "b"] {
        assert_eq!(pot(&driver, letter).step, "weigh-glycerin");
        driver.put(0.0);
        driver.put(JUG_G);
        driver.pour_to(JUG_G + 15.0);
        driver.put(0.0);
        assert_eq!(confirm(&mut driver, letter), Reply::Done);
        let (batch, outcome) = (id(letter), Outcome::Finished);
        assert_eq!(driver.act(Act::Close { batch, outcome, note: String::new() }), Reply::Done);
    }
    assert!(driver.view().batches.is_empty() && driver.view().alarms.is_empty());
    let held = driver.view().channels.into_iter().filter_map(|c| c.holder).count();
    assert_eq!(held, 0);
}

#[test]
fn an_emergency_is_kept_with_every_open_pot() {
    let mut driver = two();
    assert_eq!(driver.act(Act::Emergency), Reply::Done);
    let kept: Vec<_> = driver
        .facts
        .iter()
        .filter_map(|f| match &f.fact {
            Fact::EmergencyOpened { batch } => batch.clone(),
            _ => None,
        })
        .collect();
    assert_eq!(kept, [id("a"), id("b")]);
}

/// The recipe of the driver with a bought lye of 50 %, which brings all of its water: nothing is
/// dissolved.
fn all_stock_lye() -> ControlRecipe {
    let mut recipe = control();
    let caustic = &mut recipe.formula.caustics[0];
    caustic.form = CausticForm::Lye;
    caustic.purity = Share::from_percent(50);
    (caustic.purity_low, caustic.purity_high) = (caustic.purity, caustic.purity);
    recipe.formula.liquid = LiquidRule::parse("1:1").unwrap();
    recipe.steps.retain(|step| !["weigh-water", "dissolve"].contains(&step.key.as_str()));
    recipe
}

#[test]
fn a_stock_lye_is_gone_once_it_is_in_the_oils() {
    let mut driver = Driver::new();
    driver.run(0.5);
    assert_eq!(driver.act(Act::start(id("a"), Arc::new(all_stock_lye()))), Reply::Done);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    driver.pour_to(CUP_G + target(&driver, "a"));
    driver.put(0.0);
    assert_eq!(pot(&driver, "a").step, "combine");
    let about = |driver: &Driver| driver.bench.state().batches[&id("a")].has_caustic();
    assert!(about(&driver));
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    driver.run(1.0);
    assert_eq!(pot(&driver, "a").step, "cook");
    assert!(!about(&driver));
    assert_eq!(start(&mut driver, "b"), Reply::Done);
    driver.run(3.0);
    let zero = Act::Zero { channel: Channel::new("scale") };
    assert_eq!(driver.act(zero), Reply::Done);
    driver.run(10.0);
    driver.put(POT_B_G);
    driver.pour_to(POT_B_G + 100.0);
    driver.pour_to(POT_B_G + 300.0);
    driver.put(0.0);
    assert!(!pot(&driver, "b").waits, "{}", pot(&driver, "b").sentence);
    driver.put(CUP_G);
    assert_eq!(pot(&driver, "b").weighing.unwrap().phase, Phase::Pouring);
}

#[test]
fn a_small_lye_of_stock_is_gone_once_it_is_in_the_pot() {
    let mut driver = Driver::new();
    driver.run(0.5);
    assert_eq!(driver.act(Act::start(id("a"), Arc::new(all_stock_lye()))), Reply::Done);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    driver.pour_to(CUP_G + target(&driver, "a"));
    driver.put(0.0);
    assert_eq!(confirm(&mut driver, "a"), Reply::Done);
    driver.run(1.0);
    let (batch, ingredient, mass) = (id("a"), "naoh".into(), g("76"));
    let reason = "ten grams stayed in the cup".to_owned();
    assert_eq!(driver.act(Act::Correct { batch, ingredient, mass, reason }), Reply::Done);
    assert_eq!(driver.act(Act::AskRemedy { batch: id("a") }), Reply::Done);
    let prompt = pot(&driver, "a").prompt.unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::SmallLye }), Reply::Done);
    driver.run(1.0);
    while pot(&driver, "a").weighing.is_some() {
        driver.put(CUP_G);
        driver.pour_to(CUP_G + target(&driver, "a"));
        driver.put(0.0);
    }
    assert!(driver.bench.state().batches[&id("a")].has_caustic());
    while pot(&driver, "a").step.starts_with("remedy") {
        assert_eq!(confirm(&mut driver, "a"), Reply::Done);
        driver.run(1.0);
    }
    assert!(!driver.bench.state().batches[&id("a")].has_caustic());
}
