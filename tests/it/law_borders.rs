//! More numbers of the bench law at, just below and just above: bars, limits of remedies, delays of
//! alarms. Which test holds which sentence stands in `docs/bench-law.md`.

use panroom::bench::{
    Act, AlarmChange, AlarmId, Ask, BackVerdict, Cue, Fact, Input, Notice, Priority, ProbeAt,
    Remedy, Reply,
};
use panroom::chemistry::SUPERFAT_PER_INTERVAL_MOST;
use panroom::plan::{Amount, Nature, Pot, Severity, StepKind, Tolerance};
use panroom::quantity::{Mass, MassUnit, Moment, Share, Span, Volume};
use panroom::signal::JumpWindow;

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g};
use crate::plans::{SCALE, drawn_up};

// --- before anything is weighed ------------------------------------------------------------------

fn planned(oils_g: u32) -> panroom::plan::Plan {
    let text = format!(
        "name = \"Plain\"\nsuperfat = \"5 %\"\nprocess = \"hot\"\n\
         oil = [{{ fat = \"olive oil\", mass = \"{oils_g} g\" }}]\n\
         caustic = [{{ alkali = \"NaOH\", purity = \"98 %\" }}]\nliquid = {{ amount = \"2.5:1\" }}\n"
    );
    drawn_up(&text, &SCALE.replace("d = \"0.1 g\"", "d = \"1 g\""))
}

/// One step of the scale moves the superfat by two points: the batch is refused only above that.
/// By hand: olive oil takes about 0.134 g of NaOH a gram, so 1 g × 98 % is 2 % of what 365 g take.
#[test]
fn two_points_of_superfat_are_the_coarsest_step() {
    let mut sides = [0, 0];
    for oils_g in (350..=380).step_by(2) {
        let plan = planned(oils_g);
        let moved = plan.outlook.guards[0].superfat_per_interval.unwrap();
        assert!((moved.fraction() - 0.02).abs() < 0.0012, "{oils_g} g: {}", moved.show(2));
        let above = moved > Share::from_percent(2);
        let refused = plan
            .control
            .findings
            .iter()
            .any(|f| f.severity == Severity::Unfit && f.words.contains("too coarse"));
        assert_eq!(refused, above, "{oils_g} g: {}", moved.show(3));
        sides[usize::from(above)] += 1;
    }
    assert_eq!(SUPERFAT_PER_INTERVAL_MOST, Share::from_percent(2));
    assert!(sides.iter().all(|&count| count > 2), "both sides are tried: {sides:?}");
}

/// A frame only when its key is pressed, be it every two seconds: nothing is ever at rest, so no
/// vessel is tared and nothing is asked for.
#[test]
fn a_scale_on_its_print_key_tares_nothing() {
    for (each_s, tared) in [(0.4, true), (1.1, false), (2.0, false), (30.0, false)] {
        let mut driver = Driver::started();
        driver.put(0.0);
        driver.scale_talks = false;
        driver.load = POT_G;
        for _ in 0..10 {
            driver.run(each_s - 0.1);
            driver.scale_talks = true;
            driver.tick();
            driver.scale_talks = false;
        }
        let told = driver.facts.iter().any(|n| matches!(n.fact, Fact::Tared { .. }));
        assert_eq!(told, tared, "every {each_s} s");
    }
}

// --- tolerances -----------------------------------------------------------------------------------

/// Pieces are weighed within 2 %: of 100 g, 98.0 to 102.0 g.
#[test]
fn pieces_lie_within_two_percent() {
    for (net, taken) in [(97.9, false), (98.0, true), (102.0, true), (102.1, false)] {
        let mut pieces = control();
        if let StepKind::Weigh(weigh) = &mut pieces.steps[0].kind {
            weigh.nature = Nature::Pieces;
            weigh.tolerance = Tolerance::Share(Share::from_percent(2));
        }
        let mut driver = Driver::started_from(pieces);
        driver.put(POT_G);
        driver.pour_to(POT_G + net);
        assert_eq!(driver.captured("coconut").is_some(), taken, "{net} g");
        let paces = |cue: &Cue| matches!(cue, Cue::Slow | Cue::Stop);
        assert!(!driver.cues.iter().any(paces), "no pace for what does not pour");
    }
}

/// The larger of one interval and 0.5 %: of 8.6 g of caustic 0.043 g, so 0.1 g may be left.
#[test]
fn an_interval_of_residue_is_nothing() {
    for (left, whole) in [(0.1, true), (0.2, false)] {
        let mut small = control();
        for step in &mut small.steps {
            if let StepKind::Weigh(weigh) = &mut step.kind
                && let Amount::Fixed(mass) = &mut weigh.amount
            {
                *mass = Mass::from_steps(mass.steps() / 5);
            }
        }
        let mut driver = Driver::started_from(small);
        driver.put(POT_G);
        driver.pour_to(POT_G + 20.0);
        driver.pour_to(POT_G + 60.0);
        for vessel in [CUP_G, JUG_G] {
            driver.put(0.0);
            driver.put(vessel);
            driver.pour_to(vessel + driver.target());
        }
        driver.put(0.0);
        assert_eq!(driver.captured("naoh"), Some(g("8.6")));
        driver.expect_step("dissolve");
        driver.confirm();
        driver.put(CUP_G + left);
        let told = driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
            Fact::VesselBack { verdict, .. } => Some(*verdict),
            _ => None,
        });
        assert_eq!(told, whole.then_some(BackVerdict::Whole), "{left} g left");
    }
}

/// A load that comes within half a second came at once; one that takes longer was poured.
#[test]
fn half_a_second_is_at_once() {
    for (tenths, jumped) in [(4, true), (5, true), (6, false)] {
        let d = Mass::from_decimal(1, 1, MassUnit::Gram).unwrap();
        let mut window = JumpWindow::default();
        let mut jumps = 0;
        for tick in 0_i64..40 {
            let part = (tick - 10).clamp(0, tenths);
            let at = Moment::from_nanos(tick * 100_000_000);
            jumps += usize::from(window.push(at, d * (840 * part / tenths), d, d * 20).is_some());
        }
        assert_eq!(jumps == 1, jumped, "84 g in {tenths} tenths of a second");
    }
}

/// The first second after a load put down rings, and is no over-pour unless it comes to rest so.
#[test]
fn caustic_put_down_rings_for_a_second() {
    for (tenths, alarmed) in [(9, false), (16, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 20.0);
        driver.run(3.0);
        // a lump of 26 g falls in, 3 g too much, and its load goes on swinging
        for tick in 0..tenths {
            driver.load = CUP_G + 46.0 + if tick % 2 == 0 { 0.0 } else { 0.3 };
            driver.tick();
        }
        assert_eq!(driver.caustic_over(), alarmed, "{tenths} tenths");
    }
}

/// 0.5 % a minute of 40.0 g is 0.2 g a minute: at that nothing is said, at an interval more it is.
#[test]
fn half_a_percent_a_minute_is_moisture() {
    for (gain, told) in [(0.2, false), (0.3, true)] {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + 40.0);
        driver.run(5.0);
        // a minute and a little at rest, then the gain a digit at a time
        for step in 0..10 {
            driver.load = CUP_G + 40.0 + (gain * f64::from(step + 1) / 10.0 * 10.0).round() / 10.0;
            driver.run(6.0);
        }
        driver.run(3.0);
        let moist = driver
            .facts
            .iter()
            .any(|n| matches!(n.fact, Fact::Noticed { notice: Notice::DrawingMoisture, .. }));
        assert_eq!(moist, told, "{gain} g in a minute");
    }
}

/// A capture stands for two seconds before the next is announced.
#[test]
fn a_capture_stands_two_seconds() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_without_rest(POT_G + 100.0);
    while driver.captured("coconut").is_none() {
        driver.tick();
    }
    driver.run(1.9);
    driver.expect_step("weigh-coconut");
    driver.run(0.1);
    driver.expect_step("weigh-olive");
}

// --- remedies ------------------------------------------------------------------------------------

fn correct(driver: &mut Driver, ingredient: &str, mass: Mass) {
    let (batch, ingredient) = (batch_id(), ingredient.into());
    let reason = "misread".to_owned();
    assert_eq!(driver.act(Act::Correct { batch, ingredient, mass, reason }), Reply::Done);
}

fn offered(driver: &Driver) -> Vec<Remedy> {
    match driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks) {
        Some(Ask::Remedy { options, .. }) => options,
        other => panic!("{other:?}"),
    }
}

/// What makes good must leave the pot at most two thirds full, at 1.0 g/ml.
#[test]
fn two_thirds_of_the_pot_are_the_most() {
    let cooking = |volume: Option<Volume>| {
        let mut roomy = control();
        roomy.pot = Some(Pot { name: "pot".to_owned(), tare: g("400"), volume });
        let mut driver = Driver::started_from(roomy);
        driver.put(POT_G);
        driver.pour_to(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        for vessel in [CUP_G, JUG_G] {
            driver.put(0.0);
            driver.put(vessel);
            driver.pour_to(vessel + driver.target());
        }
        driver.put(0.0);
        driver.celsius = 80.0;
        for _ in 0..4 {
            driver.confirm();
        }
        driver.expect_step("cook");
        correct(&mut driver, "naoh", g("45"));
        driver
    };
    // without a known volume nothing is judged: what is in, and what would be added
    let mut driver = cooking(None);
    let in_pot: f64 = driver.view().batches[0].captures.iter().map(|c| c.net.grams()).sum();
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    driver.act(Act::Choose { prompt, remedy: Remedy::Restore });
    let added = driver.facts.iter().find_map(|numbered| match &numbered.fact {
        Fact::RemedyChosen { amount, .. } => *amount,
        _ => None,
    });
    let full = in_pot + added.unwrap().grams();
    for (spare_g, sound) in [(0.2, true), (-0.2, false)] {
        let millilitres = (full + spare_g) * 3.0 / 2.0;
        let volume = Volume::parse(&format!("{millilitres:.1} ml")).unwrap();
        let driver = cooking(Some(volume));
        let restores = offered(&driver).contains(&Remedy::Restore);
        assert_eq!(restores, sound, "{spare_g} g to spare");
    }
}

// --- delays of alarms ----------------------------------------------------------------------------

/// Back inside for ten seconds is back; once is not.
#[test]
fn ten_seconds_inside_return_a_temperature() {
    let high = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureHigh { .. });
    let mut driver = Driver::cooking();
    driver.celsius = 96.0;
    driver.run(8.0);
    assert!(driver.is_active(high));
    driver.celsius = 93.0;
    while driver.view().channels[1].value.is_none_or(|value| match value {
        panroom::reading::Value::Temperature { temperature, .. } => temperature.celsius() > 94.0,
        panroom::reading::Value::Mass { .. } => true,
    }) {
        driver.tick();
    }
    driver.run(9.9);
    assert!(driver.is_active(high), "9.9 s");
    driver.run(0.1);
    assert!(!driver.is_active(high), "10 s");
}

/// An instrument is back after two seconds of speaking.
#[test]
fn two_seconds_of_speech_bring_an_instrument_back() {
    let lost = |alarm: &AlarmId| matches!(alarm, AlarmId::InstrumentLost { .. });
    let mut driver = Driver::started();
    let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
    driver.input(&Input::InstrumentLost { instrument, why });
    assert!(driver.is_active(lost));
    driver.tick();
    driver.run(1.9);
    assert!(driver.is_active(lost), "1.9 s");
    driver.run(0.1);
    assert!(!driver.is_active(lost), "2.0 s");
}

/// Unacknowledged, an alarm sounds again: high priority after 10 s, medium after 30 s, low after
/// two minutes.
#[test]
fn what_nobody_acknowledges_sounds_again() {
    let times = |driver: &Driver, from: f64| {
        let at = driver.facts.iter().rev().find_map(|numbered| match &numbered.fact {
            Fact::AlarmChanged { change: AlarmChange::Raised, .. } => Some(numbered.at),
            _ => None,
        });
        driver.now.since(at.unwrap()).seconds() - from
    };
    let again = |driver: &mut Driver, priority: Priority, after: f64| {
        driver.cues.clear();
        let sounded = |driver: &Driver| {
            driver
                .cues
                .iter()
                .any(|cue| matches!(cue, Cue::Sound { priority: p, .. } if *p == priority))
        };
        while times(driver, after) < -0.15 {
            assert!(!sounded(driver), "{priority:?} too soon");
            driver.tick();
        }
        driver.run(0.3);
        assert!(sounded(driver), "{priority:?} after {after} s");
    };
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + driver.guard().grams() + 3.0);
    driver.run(1.0);
    assert!(driver.caustic_over());
    again(&mut driver, Priority::High, 10.0);
    let mut driver = Driver::started();
    let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
    driver.scale_talks = false;
    driver.input(&Input::InstrumentLost { instrument, why });
    again(&mut driver, Priority::Medium, 30.0);
    let low = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureLow { at: ProbeAt::Pot, .. });
    let mut driver = Driver::cooking();
    driver.run(62.0);
    driver.celsius = 60.0;
    driver.run(10.0);
    assert!(driver.is_active(low));
    again(&mut driver, Priority::Low, 120.0);
}

/// A spread of the rest window: silence of a probe, gap of the scale.
#[test]
fn silence_lasts_a_minute_at_most() {
    let mut driver = Driver::started();
    assert_eq!(driver.act(Act::Silence), Reply::Done);
    assert_eq!(driver.view().silenced, Some(Span::from_secs(60)));
    driver.run(59.9);
    assert!(driver.view().silenced.is_some());
    driver.run(0.1);
    assert_eq!(driver.view().silenced, None);
}

// --- what is taken out ---------------------------------------------------------------------------

/// All is weighed, 43.0 g of caustic in its cup; the oils take less, and the caustic is dry or not.
fn lye_heavy(dissolved: bool, remedy: Remedy) -> Driver {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    driver.put(JUG_G);
    driver.pour_to(JUG_G + driver.target());
    driver.put(0.0);
    if dissolved {
        driver.confirm();
        driver.confirm();
        driver.expect_step("combine");
    }
    let (batch, ingredient, mass) = (batch_id(), "olive".into(), g("180"));
    let reason = "spilt".to_owned();
    driver.act(Act::Correct { batch, ingredient, mass, reason });
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy }), Reply::Done);
    driver
}

/// Water leaves a hot lye; by more than a fifth lighter it is another vessel.
#[test]
fn a_fifth_of_the_lye_is_the_most_that_leaves_it() {
    let mut driver = lye_heavy(true, Remedy::UsePart);
    let masses = driver.bench.state().batches[&batch_id()].masses();
    let lye = masses[&"naoh".into()].grams() + masses[&"water".into()].grams();
    let least = lye * 0.8 - 0.3;
    for (load, known) in [(least - 0.1, false), (least + 0.1, true)] {
        driver.put(0.0);
        driver.put(JUG_G + load);
        let left = driver.view().batches[0].weighing.clone().unwrap().left;
        assert_eq!(left.is_some(), known, "{load} g of {lye} g");
    }
}

/// What is lighter than the target by more than a tenth is not what was left in the cup.
#[test]
fn a_tenth_too_much_is_believed_to_be_taken_out() {
    for (part, believed) in [(0.895, false), (0.905, true)] {
        let mut driver = lye_heavy(false, Remedy::SpoonOut);
        driver.put(CUP_G + 43.0);
        let keep = driver.weighing_target().grams();
        driver.put(CUP_G + keep * part);
        let taken = driver.facts.iter().any(|fact| matches!(fact.fact, Fact::TakenOut { .. }));
        assert_eq!(taken, believed, "{part} of {keep} g");
    }
}

/// A cup that comes back with less than half of the target in it is not the one that was over,
/// whatever is said of it; as good as empty it is.
#[test]
fn half_of_the_target_is_the_least_that_opens_the_latch() {
    for (content, opens) in [(21.5, true), (21.4, false), (0.4, false), (0.3, true)] {
        let mut driver = Driver::at_caustic();
        assert_eq!(driver.target(), 43.0);
        driver.pour_to(CUP_G + 50.0);
        assert!(driver.caustic_over());
        driver.put(0.0);
        driver.put(CUP_G + content);
        let asks = driver.view().batches[0].prompt.clone().map(|prompt| prompt.asks);
        assert!(matches!(asks, Some(Ask::SameCup { .. })), "{asks:?}");
        assert_eq!(driver.confirm(), Reply::Done);
        driver.run(3.0);
        assert_eq!(!driver.caustic_over(), opens, "{content} g");
    }
}
