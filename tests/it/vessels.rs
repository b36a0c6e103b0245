//! Vessels of the register, recognised on the pan.

use std::sync::Arc;

use panroom::bench::{
    Act, Ask, CaptureHow, Fact, KnownVessel, Misfit, Numbered, Phase, PromptId, Recognised, Reply,
    SessionOpened, Settings,
};
use panroom::bench_file::{Material, Purpose};
use panroom::plan::Pot;
use panroom::quantity::Volume;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};

fn vessel(name: &str, purpose: Purpose, tare: &str, material: Material) -> KnownVessel {
    KnownVessel { name: name.to_owned(), purpose, tare: g(tare), volume: None, material }
}

/// The pot, the caustic's cup and the jug of the driver.
fn register() -> Vec<KnownVessel> {
    let steel = Material::StainlessSteel;
    vec![
        vessel("the pot", Purpose::Pot, "400", steel.clone()),
        vessel("the white cup", Purpose::CausticCup, "50", Material::Polypropylene),
        vessel("the jug", Purpose::LyeJug, "120", steel),
    ]
}

fn registered(vessels: Vec<KnownVessel>) -> Driver {
    let mut driver = Driver::new();
    driver.setup.vessels = vessels;
    driver.open_session(2, None);
    driver.run(0.5);
    driver
}

fn started(vessels: Vec<KnownVessel>) -> Driver {
    let mut driver = registered(vessels);
    let act = Act::start(batch_id(), Arc::new(control()));
    assert_eq!(driver.act(act), Reply::Done);
    driver
}

/// The caustic's cup comes next.
fn at_caustic(vessels: Vec<KnownVessel>) -> Driver {
    let mut driver = started(vessels);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.expect_step("weigh-naoh");
    driver.put(0.0);
    driver
}

/// The newest tare, and for which vessel it was taken.
fn tared(driver: &Driver) -> (String, Option<Recognised>) {
    let tared = driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::Tared { step, vessel, .. } => Some((step.clone(), vessel.clone())),
        _ => None,
    });
    tared.expect("something was tared")
}

fn name(driver: &Driver) -> Option<String> {
    tared(driver).1.map(|known| known.vessel.name)
}

fn asked(driver: &Driver) -> Option<(PromptId, Ask)> {
    driver.view().batches[0].prompt.clone().map(|prompt| (prompt.prompt, prompt.asks))
}

fn say(driver: &mut Driver, vessel: &str) -> Reply {
    let (prompt, _) = asked(driver).expect("something is asked");
    driver.act(Act::Vessel { prompt, vessel: vessel.to_owned() })
}

fn shown(driver: &Driver) -> Option<String> {
    driver.view().batches[0].weighing.as_ref()?.vessel.clone()
}

fn refused(reply: Reply) -> String {
    match reply {
        Reply::Refused { words, .. } => words,
        other => panic!("{other:?}"),
    }
}

#[test]
fn each_vessel_of_a_batch_is_named_where_it_stands() {
    let mut driver = at_caustic(register());
    let pots = driver.facts.iter().filter_map(|numbered| match &numbered.fact {
        Fact::Tared { vessel, .. } => Some(vessel.as_ref()?.vessel.name.clone()),
        _ => None,
    });
    assert_eq!(pots.collect::<Vec<_>>(), ["the pot", "the pot"]);
    assert_eq!(shown(&driver), None, "nothing stands there");
    driver.put(CUP_G);
    assert_eq!(shown(&driver).as_deref(), Some("the white cup"));
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    assert_eq!(tared(&driver).0, "weigh-water");
    assert_eq!(name(&driver).as_deref(), Some("the jug"));
    assert_eq!(asked(&driver), None);
}

#[test]
fn a_vessel_is_known_within_ten_intervals() {
    // d is 0.1 g
    for (grams, known) in [(48.9, false), (49.0, true), (49.1, true), (51.0, true), (51.1, false)] {
        let mut driver = at_caustic(register());
        driver.put(grams);
        assert_eq!(tared(&driver).0, "weigh-naoh", "tared whether it is known or not");
        assert_eq!(name(&driver).is_some(), known, "{grams} g");
        assert_eq!(asked(&driver), None);
    }
}

#[test]
fn how_near_is_a_figure_of_the_bench_file() {
    for (grams, known) in [(50.3, true), (50.4, false)] {
        let mut driver = Driver::new();
        driver.setup.vessels = register();
        driver.setup.settings = Arc::new(Settings { vessel_known_d: 3, ..Settings::default() });
        driver.open_session(2, None);
        driver.run(0.5);
        driver.act(Act::start(batch_id(), Arc::new(control())));
        driver.put(POT_G);
        driver.pour_to(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        driver.put(0.0);
        driver.put(grams);
        assert_eq!(name(&driver).is_some(), known, "{grams} g");
    }
}

#[test]
fn an_unknown_vessel_is_as_good_as_any_and_says_what_may_be_in_it() {
    let mut driver = at_caustic(register());
    driver.put(CUP_G + 12.3);
    assert_eq!(
        shown(&driver).as_deref(),
        Some("not in the register; if it is the white cup, 12.3 g are in it")
    );
    driver.pour_to(CUP_G + 12.3 + driver.target());
    assert!(driver.captured("naoh").is_some());
    // lighter than anything registered: it cannot be one that holds something
    let mut driver = at_caustic(register());
    driver.put(30.0);
    assert_eq!(shown(&driver).as_deref(), Some("not in the register"));
}

#[test]
fn without_a_register_nothing_is_said() {
    let mut driver = at_caustic(Vec::new());
    driver.put(CUP_G);
    assert_eq!((name(&driver), shown(&driver), asked(&driver)), (None, None, None));
}

fn bowl_near_the_cup(tare: &str) -> Vec<KnownVessel> {
    let mut vessels = register();
    vessels.push(vessel("the bowl", Purpose::Cup, tare, Material::StainlessSteel));
    vessels
}

#[test]
fn two_within_ten_intervals_ask() {
    for (tare, asks) in [("50.9", true), ("51.0", true), ("51.1", false)] {
        let mut driver = at_caustic(bowl_near_the_cup(tare));
        driver.put(CUP_G + 0.1);
        assert_eq!(asked(&driver).is_some(), asks, "{tare} g");
        if !asks {
            assert_eq!(name(&driver).as_deref(), Some("the white cup"));
        }
    }
    // equally far on both sides, and further than that from one another: nothing tells them apart
    let mut driver = at_caustic(bowl_near_the_cup("51.2"));
    driver.put(CUP_G + 0.6);
    assert!(matches!(asked(&driver), Some((_, Ask::WhichVessel { .. }))));
}

#[test]
fn until_it_is_said_which_nothing_is_captured() {
    let mut driver = at_caustic(bowl_near_the_cup("50.5"));
    driver.put(CUP_G);
    let (prompt, asks) = asked(&driver).unwrap();
    let among = vec!["the white cup".to_owned(), "the bowl".to_owned()];
    assert_eq!(asks, Ask::WhichVessel { among });
    assert_eq!(driver.view().batches[0].sentence, "Hands off: say which vessel this is.");
    let target = driver.target();
    driver.pour_to(CUP_G + target);
    assert_eq!(tared(&driver).0, "weigh-olive");
    assert_eq!(driver.captured("naoh"), None);
    let words = refused(say(&mut driver, "the white cup"));
    assert!(words.starts_with("another vessel stands there"), "poured into meanwhile: {words}");
    driver.put(0.0);
    assert_eq!(asked(&driver), None, "it falls away with the vessel");
    driver.put(CUP_G);
    assert!(matches!(asked(&driver), Some((again, _)) if again != prompt));
}

/// No load can be believed while the zero is in doubt, so no vessel is known by it either.
#[test]
fn a_zero_in_doubt_goes_before_the_question_of_the_vessel() {
    for vessels in [bowl_near_the_cup("50.5"), register()] {
        let mut driver = at_caustic(vessels);
        let alone = driver.bench.state().setup_ref().unwrap().vessels.len() == 3;
        let there = if alone { JUG_G } else { CUP_G };
        driver.put(there);
        assert!(asked(&driver).is_some());
        driver.scale_talks = false;
        driver.run(10.0);
        driver.scale_talks = true;
        // as much lighter or heavier as still passes for the same vessel
        driver.put(there + 0.8);
        let batch = driver.view().batches[0].clone();
        assert_eq!(batch.weighing.unwrap().phase, Phase::ZeroDoubted);
        assert!(batch.sentence.contains("take everything off the pan"), "{}", batch.sentence);
        assert_eq!((asked(&driver), tared(&driver).0.as_str()), (None, "weigh-olive"));
        driver.put(0.0);
        driver.put(there);
        assert!(asked(&driver).is_some(), "asked again, of a load that can be believed");
    }
}

#[test]
fn the_answer_names_the_vessel_and_its_question() {
    let mut driver = at_caustic(bowl_near_the_cup("50.5"));
    driver.put(CUP_G);
    let (prompt, _) = asked(&driver).unwrap();
    let answers = driver.view().batches[0].prompt.clone().unwrap().answers;
    let act = |vessel: &str| Act::Vessel { prompt, vessel: vessel.to_owned() };
    assert_eq!(
        answers.iter().map(|answer| answer.act.clone()).collect::<Vec<_>>(),
        [act("the white cup"), act("the bowl"), act("another")]
    );
    let words = refused(driver.confirm());
    assert_eq!(words, "it may be the white cup or the bowl; say which, or `another`");
    assert_eq!(refused(driver.act(act("the jug"))), words);
    assert_eq!(driver.act(act(" The White Cup ")), Reply::Done);
    assert_eq!(name(&driver).as_deref(), Some("the white cup"));
    assert_eq!(driver.act(act("the white cup")), Reply::AlreadyDone);
    assert!(refused(driver.act(act("the bowl"))).contains("answered otherwise"));
    driver.pour_to(CUP_G + driver.target());
    assert!(driver.captured("naoh").is_some());
}

/// Two of the register weigh alike, and a third that nobody registered stands there.
#[test]
fn what_weighs_like_two_may_be_neither() {
    for (material, words) in [
        (Material::StainlessSteel, "It is another vessel, one that is not registered"),
        (Material::Aluminium, "It is another vessel, of a material that lye does not attack"),
    ] {
        let mut vessels = register();
        vessels.push(vessel("the bowl", Purpose::Cup, "50.5", material));
        let mut driver = at_caustic(vessels);
        driver.put(CUP_G);
        let prompt = driver.view().batches[0].prompt.clone().unwrap();
        assert!(prompt.words.contains("say that it is another (another)"), "{}", prompt.words);
        let answer = prompt.answers.last().unwrap().clone();
        assert_eq!((answer.words.as_str(), answer.hold), (words, true));
        let another = answer.act;
        // poured into meanwhile, it would be tared away
        driver.put(CUP_G + 2.0);
        assert!(refused(driver.act(another.clone())).starts_with("another vessel stands there"));
        driver.put(CUP_G);
        assert_eq!(driver.act(another.clone()), Reply::Done);
        assert_eq!(driver.act(another), Reply::AlreadyDone);
        assert_eq!((tared(&driver).0.as_str(), name(&driver)), ("weigh-naoh", None));
        assert_eq!(said(&driver), ("another".into(), Some("the white cup or the bowl".into())));
        driver.pour_to(CUP_G + driver.target());
        assert!(driver.captured("naoh").is_some());
    }
}

/// What the operator said of the vessel, and which it is not.
fn said(driver: &Driver) -> (String, Option<String>) {
    let said = driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
        Fact::VesselSaid { vessel, not, .. } => Some((vessel.clone(), not.clone())),
        _ => None,
    });
    said.expect("it was said which vessel it is")
}

#[test]
fn a_digit_at_the_edge_does_not_refuse_the_answer() {
    let mut vessels = bowl_near_the_cup("50.9");
    vessels.push(vessel("the other cup", Purpose::CausticCup, "50.4", Material::Polypropylene));
    let mut driver = at_caustic(vessels);
    driver.put(49.9);
    assert!(matches!(asked(&driver), Some((_, Ask::WhichVessel { among })) if among.len() == 3));
    driver.put(49.8);
    assert_eq!(say(&mut driver, "the white cup"), Reply::Done);
    assert_eq!(name(&driver).as_deref(), Some("the white cup"));

    let mut driver = at_caustic(register());
    driver.put(JUG_G + 1.0);
    driver.put(JUG_G + 1.1);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(name(&driver).as_deref(), Some("the jug"));

    // what is poured into it meanwhile is no digit
    let mut driver = at_caustic(register());
    driver.put(JUG_G);
    driver.put(JUG_G + 1.4);
    assert!(refused(driver.confirm()).starts_with("another vessel stands there"));
}

#[test]
fn the_answer_may_be_a_vessel_that_is_none_for_this() {
    let mut driver = at_caustic(bowl_near_the_cup("50.5"));
    driver.put(CUP_G);
    assert_eq!(say(&mut driver, "the bowl"), Reply::Done);
    let Some((_, Ask::WrongVessel { vessel })) = asked(&driver) else {
        panic!("{:?}", asked(&driver));
    };
    assert_eq!((vessel.vessel.name.as_str(), vessel.misfit), ("the bowl", Some(Misfit::Purpose)));
    assert_eq!(tared(&driver).0, "weigh-olive");
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(name(&driver).as_deref(), Some("the bowl"));
}

#[test]
fn where_it_makes_no_difference_nothing_is_asked() {
    let mut vessels = register();
    vessels.push(vessel("the other cup", Purpose::CausticCup, "50.4", Material::Polypropylene));
    let mut driver = at_caustic(vessels);
    driver.put(CUP_G + 0.3);
    assert_eq!(asked(&driver), None);
    assert_eq!(name(&driver).as_deref(), Some("the other cup or the white cup"));
}

#[test]
fn a_vessel_for_something_else_bars_caustic_until_it_goes_or_a_yes() {
    let mut driver = at_caustic(register());
    driver.put(JUG_G);
    assert!(matches!(asked(&driver), Some((_, Ask::WrongVessel { .. }))));
    let batch = driver.view().batches[0].clone();
    assert_eq!(batch.sentence, "The wrong vessel: take it off the pan.");
    let prompt = batch.prompt.unwrap();
    assert_eq!(
        prompt.words,
        "The jug is a lye jug, and sodium hydroxide wants a caustic cup. Take it off, and put the \
         white cup on the pan, or confirm to use this one all the same."
    );
    assert!(prompt.answers[0].hold, "no knock says this yes");
    let target = driver.target();
    driver.pour_to(JUG_G + target);
    assert_eq!(driver.captured("naoh"), None);
    driver.put(0.0);
    driver.put(CUP_G);
    assert_eq!((asked(&driver), name(&driver).as_deref()), (None, Some("the white cup")));
    driver.pour_to(CUP_G + target);
    assert!(driver.captured("naoh").is_some());

    let mut driver = at_caustic(register());
    driver.put(JUG_G);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(tared(&driver).1.unwrap().misfit, Some(Misfit::Purpose));
    assert_eq!(shown(&driver).as_deref(), Some("the jug (lye jug)"));
    driver.pour_to(JUG_G + target);
    assert!(driver.captured("naoh").is_some());
}

/// Caustic attacks aluminium, zinc and tin and gives off hydrogen: section 10 of safety data sheets
/// of sodium hydroxide (from memory). It etches glass slowly.
#[test]
fn no_yes_puts_caustic_into_what_it_attacks() {
    for (material, attacked) in [
        (Material::Aluminium, true),
        (Material::Zinc, true),
        (Material::Tin, true),
        (Material::Glass, true),
        (Material::Polypropylene, false),
        (Material::StainlessSteel, false),
    ] {
        let mut vessels = register();
        vessels.push(vessel("the bowl", Purpose::Cup, "80", material.clone()));
        let mut driver = at_caustic(vessels);
        driver.put(80.0);
        assert!(asked(&driver).is_some(), "{material:?}");
        let answers = driver.view().batches[0].prompt.clone().unwrap().answers;
        let yes = answers.iter().any(|answer| matches!(answer.act, Act::Confirm { .. }));
        assert_ne!(yes, attacked, "{material:?}");
        let reply = driver.confirm();
        assert_eq!(reply != Reply::Done, attacked, "{material:?}");
        assert_eq!(tared(&driver).0 == "weigh-naoh", !attacked);
        // poured in all the same, or a little more in it, is no way round
        if attacked {
            for more in [0.5, 1.5, 30.0] {
                driver.put(80.0 + more);
                assert_ne!(driver.confirm(), Reply::Done);
                assert_ne!(tared(&driver).0, "weigh-naoh", "{more} g more");
            }
        }
    }
}

/// At the water's jug: the pot and the caustic are weighed.
fn at_water(vessels: Vec<KnownVessel>) -> Driver {
    let mut driver = at_caustic(vessels);
    driver.weigh_into(CUP_G);
    driver.expect_step("weigh-water");
    driver
}

/// Sodium hydroxide attacks glass: section 10 of safety data sheets (from memory).
#[test]
fn glass_for_lye_is_said_to_break_and_wants_a_held_yes() {
    let etched = "etched glass breaks with hot lye in it";
    let mut vessels = register();
    vessels.push(vessel("the tumbler", Purpose::Cup, "80", Material::Glass));
    let mut driver = at_water(vessels);
    driver.put(80.0);
    let prompt = driver.view().batches[0].prompt.clone().expect("it is asked");
    assert_eq!(
        prompt.words,
        "The tumbler is a cup, and water wants a lye jug. Caustic etches glass, and etched glass \
         breaks with hot lye in it. Take it off, and put the jug on the pan, or confirm to use this \
         one all the same."
    );
    assert!(prompt.answers[0].hold);

    // registered for it, it is asked about all the same
    let mut vessels = register();
    vessels[2].material = Material::Glass;
    let mut driver = at_water(vessels);
    driver.put(JUG_G);
    let prompt = driver.view().batches[0].prompt.clone().expect("it is asked");
    assert_eq!(
        prompt.words,
        "The jug is of glass: caustic etches glass, and etched glass breaks with hot lye in it. Take \
         it off, and put another lye jug on the pan, or confirm to use this one all the same."
    );
    assert!(prompt.answers[0].hold);
    assert_eq!(driver.confirm(), Reply::Done);
    assert_eq!(shown(&driver).as_deref(), Some("the jug (glass)"));

    for (place, grams) in [(0, POT_G), (1, CUP_G)] {
        let mut vessels = register();
        vessels[place].material = Material::Glass;
        let mut driver = if place == 0 { started(vessels) } else { at_caustic(vessels) };
        driver.put(grams);
        let prompt = driver.view().batches[0].prompt.clone().expect("it is asked");
        assert!(prompt.words.contains(etched), "{}", prompt.words);
        assert_eq!(driver.confirm(), Reply::Done);
    }
}

/// An unregistered cup that weighs as much as the registered bowl of aluminium.
#[test]
fn a_guess_by_weight_is_corrected_by_saying_it_is_another() {
    let mut vessels = register();
    vessels.push(vessel("the bowl", Purpose::Cup, "80", Material::Aluminium));
    let mut driver = at_caustic(vessels);
    driver.put(80.0);
    let prompt = driver.view().batches[0].prompt.clone().expect("it is asked");
    let answers = &prompt.answers;
    assert_eq!(answers.len(), 1);
    assert_eq!(answers[0].words, "It is another vessel, of a material that lye does not attack");
    assert!(answers[0].hold);
    let another = answers[0].act.clone();
    let words = refused(driver.confirm());
    assert!(words.starts_with("The bowl must not be used here"), "a plain yes is none: {words}");
    assert_eq!(refused(say(&mut driver, "the bowl")), words);
    // poured into meanwhile, it would be tared away
    driver.put(81.4);
    assert!(refused(driver.act(another.clone())).starts_with("another vessel stands there"));
    driver.put(80.0);
    assert_eq!(driver.act(another.clone()), Reply::Done);
    assert_eq!(driver.act(another), Reply::AlreadyDone);
    assert_eq!((tared(&driver).0.as_str(), tared(&driver).1), ("weigh-naoh", None));
    assert_eq!(said(&driver), ("another".to_owned(), Some("the bowl".to_owned())));
    driver.pour_to(80.0 + driver.target());
    assert!(driver.captured("naoh").is_some());
}

#[test]
fn oils_into_aluminium_would_meet_the_lye_there() {
    let mut vessels = register();
    vessels.push(vessel("the tub", Purpose::Cup, "300", Material::Aluminium));
    let mut driver = started(vessels);
    driver.put(300.0);
    let words = refused(driver.confirm());
    assert_eq!(
        words,
        "The tub must not be used here: aluminium dissolves in caustic, foams, and gives off \
         hydrogen. Take it off, and put the pot on the pan. It is known only by its weight: if it is \
         another vessel, of a material that lye does not attack, say so."
    );
    driver.put(0.0);
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}

#[test]
fn the_caustic_cup_is_none_for_glycerin() {
    let mut driver = Driver::cooking();
    driver.setup.vessels = register();
    let last_seen = driver.now;
    driver.now = driver.now + panroom::quantity::Span::from_secs(1);
    driver.open_session(2, Some(last_seen));
    for _ in 0..4 {
        driver.run(601.0);
        if asked(&driver).is_some() {
            driver.confirm();
        }
    }
    driver.expect_step("weigh-glycerin");
    driver.put(0.0);
    driver.put(CUP_G);
    let Some((_, Ask::WrongVessel { vessel })) = asked(&driver) else {
        panic!("{:?}", asked(&driver));
    };
    assert_eq!(
        (vessel.vessel.name.as_str(), vessel.misfit),
        ("the white cup", Some(Misfit::Purpose))
    );
    assert_eq!(driver.confirm(), Reply::Done);
    driver.pour_to(CUP_G + 15.0);
    assert_eq!(driver.captured("glycerin"), Some(g("15")));
}

#[test]
fn another_pot_than_the_planned_one_is_asked_about() {
    let mut vessels = register();
    vessels.push(vessel("the small pot", Purpose::Pot, "300", Material::StainlessSteel));
    let mut driver = registered(vessels);
    let volume = Some(Volume::from_millilitres_rounded(3000.0));
    let pot = Some(Pot { name: "the pot".to_owned(), tare: g("400"), volume });
    let control = panroom::plan::ControlRecipe { pot, ..control() };
    driver.act(Act::start(batch_id(), Arc::new(control)));
    driver.put(300.0);
    let (_, asks) = asked(&driver).unwrap();
    assert!(matches!(asks, Ask::WrongVessel { vessel } if vessel.misfit == Some(Misfit::OtherPot)));
    assert_eq!(driver.confirm(), Reply::Done);
    driver.pour_to(400.0);
    assert_eq!(driver.captured("coconut"), Some(g("100")));
}

#[test]
fn a_question_about_a_vessel_survives_a_restart_and_its_vessel() {
    let mut driver = at_caustic(bowl_near_the_cup("50.5"));
    driver.put(CUP_G);
    let before = asked(&driver);
    assert!(before.is_some());
    driver.kill_and_restart();
    assert_eq!(asked(&driver), before);
    // nobody knows what stands there now: it is seen anew
    driver.run(3.0);
    let words = refused(say(&mut driver, "the white cup"));
    assert!(words.ends_with("take everything off the pan, then put the vessel back"), "{words}");
    let sentence = driver.view().batches[0].sentence.clone();
    assert_eq!(
        sentence,
        "Take everything off the pan, then put the vessel back: nobody watched it."
    );
    driver.put(0.0);
    assert_eq!(asked(&driver), None);
    driver.put(CUP_G);
    assert_eq!(driver.view().batches[0].sentence, "Hands off: say which vessel this is.");
    assert_eq!(say(&mut driver, "the white cup"), Reply::Done);
}

#[test]
fn what_is_spilt_on_an_empty_pan_is_wiped_off() {
    let mut driver = at_caustic(register());
    driver.put(JUG_G);
    let sentence = |driver: &Driver| driver.view().batches[0].sentence.clone();
    assert_eq!(sentence(&driver), "The wrong vessel: take it off the pan.");
    driver.put(3.0);
    assert_eq!(
        sentence(&driver),
        "The wrong vessel: take it off the pan. (If it is off: wipe the pan, gloves on, and press \
         the scale's zero key.)"
    );
    driver.put(0.0);
    assert_eq!(sentence(&driver), "Put the empty vessel for sodium hydroxide on the pan.");

    let mut driver = at_caustic(bowl_near_the_cup("50.5"));
    driver.put(CUP_G);
    driver.put(3.0);
    assert!(sentence(&driver).ends_with("press the scale's zero key.)"), "{}", sentence(&driver));
}

#[test]
fn a_declared_mass_needs_no_vessel() {
    let mut driver = started(register());
    driver.put(JUG_G);
    assert!(asked(&driver).is_some());
    let declare = Act::Declare { batch: batch_id(), ingredient: "coconut".into(), mass: g("100") };
    assert_eq!(driver.act(declare), Reply::Done);
    assert_eq!(asked(&driver), None);
    assert_eq!(driver.view().batches[0].captures[0].how, CaptureHow::ByHand);
}

#[test]
fn facts_from_before_the_register_decode() {
    let old = r#"{"fact":"tared","batch":"2026-11-25-a","step":"weigh-naoh","gross":"50 g"}"#;
    let old = old.replace("\"50 g\"", &serde_json::to_string(&g("50")).unwrap());
    let fact: Fact = serde_json::from_str(&old).unwrap();
    assert!(matches!(fact, Fact::Tared { vessel: None, .. }));
    assert_eq!(serde_json::to_string(&fact).unwrap(), old, "and is written as it was");
    let session = Fact::SessionOpened(SessionOpened {
        session: 1,
        setup: crate::driver::setup(),
        utc_ns: 0,
        unwatched: None,
        last_seen: None,
    });
    let mut json = serde_json::to_value(&session).unwrap();
    assert!(json["setup"].get("vessels").is_none());
    json["setup"]["settings"].as_object_mut().unwrap().remove("vessel_known_d");
    assert_eq!(serde_json::from_value::<Fact>(json).unwrap(), session);

    let known = Recognised { vessel: register().remove(1), misfit: Some(Misfit::Purpose) };
    let fact = Fact::Tared {
        batch: batch_id(),
        step: "weigh-naoh".to_owned(),
        gross: g("50"),
        vessel: Some(known),
    };
    let numbered = Numbered { number: 1, at: panroom::quantity::Moment::from_nanos(0), fact };
    let text = serde_json::to_string(&numbered).unwrap();
    assert_eq!(serde_json::from_str::<Numbered>(&text).unwrap(), numbered);
}
