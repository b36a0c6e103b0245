//! Reviews of batches driven through the real bench, and one worked out by hand.
//!
//! The printed reviews are kept in tests/golden; `PANROOM_BLESS=1` writes them anew.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use panroom::bench::{
    Act, AlarmId, Fact, Input, JournalStatus, Observation, Outcome, ProbeAt, Remedy, Reply,
    SessionOpened,
};
use panroom::plan::{ControlRecipe, Units};
use panroom::quantity::{Mass, MassUnit, Moment, Share, Span, Temperature, TemperatureUnit};
use panroom::reading::Channel;
use panroom::review::{
    AlarmEnd, Dated, Evidence, Gap, Grade, PanTrace, Review, Trace, UnseenKind, charts, review,
    text,
};

use crate::driver::{CUP_G, Driver, JUG_G, POT_G, batch_id, control, g, in_pot};

const WIDTH: usize = 100;
const NS_PER_S: i64 = 1_000_000_000;

/// UTC nanoseconds of a moment: each session is anchored after the one before and the time when
/// nobody watched, as the machine's clock would have it.
struct Anchors(BTreeMap<u32, (i64, Moment)>);

impl Anchors {
    fn of(driver: &Driver) -> Anchors {
        let mut anchors = Anchors(BTreeMap::new());
        for fact in &driver.facts {
            if let Fact::SessionOpened(opened) = &fact.fact {
                let utc_ns = anchors.next(opened);
                anchors.0.insert(opened.session, (utc_ns, fact.at));
            }
        }
        anchors
    }

    fn next(&self, opened: &SessionOpened) -> i64 {
        match (opened.last_seen, opened.unwatched) {
            (Some(seen), Some(away)) => self.utc_ns(opened.session - 1, seen) + away.nanos(),
            _ => opened.utc_ns,
        }
    }

    fn utc_ns(&self, session: u32, at: Moment) -> i64 {
        let (utc_ns, opened) = self.0[&session];
        utc_ns + (at - opened).nanos()
    }
}

fn evidence(driver: &Driver) -> Evidence<'static> {
    static BATCH: std::sync::OnceLock<panroom::bench::BatchId> = std::sync::OnceLock::new();
    let anchors = Anchors::of(driver);
    let mut session = 0;
    let facts = driver.facts.iter().map(|numbered| {
        if let Fact::SessionOpened(opened) = &numbered.fact {
            session = opened.session;
        }
        let utc_ns = anchors.utc_ns(session, numbered.at);
        Dated { utc_ns, session, numbered: numbered.clone() }
    });
    let facts = facts.collect();
    let temperatures = driver.temperatures.iter();
    let readings = temperatures.map(|(session, at, t)| (anchors.utc_ns(*session, *at), *t));
    let pot =
        Trace { channel: Channel::new("pot"), at: ProbeAt::Pot, readings: readings.collect() };
    Evidence {
        batch: BATCH.get_or_init(batch_id),
        facts,
        temperatures: vec![pot],
        gaps: Vec::new(),
        head: Some("5ea1".repeat(16)),
        verified: Some(true),
    }
}

fn reviewed(driver: &Driver) -> Review {
    review(&evidence(driver)).expect("the batch was started")
}

fn printed(review: &Review) -> String {
    let start = review.started.utc_ns;
    text(review, WIDTH, &move |utc_ns| {
        let seconds = (utc_ns - start) / NS_PER_S;
        format!("day 1, {:02}:{:02}", 8 + seconds / 3600, seconds % 3600 / 60)
    })
}

/// Compares with a kept file; lines may be no wider than the terminal.
fn golden(name: &str, review: &Review) {
    let found = printed(review);
    for line in found.lines() {
        assert!(line.chars().count() <= WIDTH, "{} cells: {line}", line.chars().count());
        assert_eq!(line.trim_end(), line, "blanks at the end");
    }
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/golden/review-{name}.txt"));
    if std::env::var_os("PANROOM_BLESS").is_some() {
        std::fs::write(&path, &found).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    assert_eq!(found, kept, "{} differs (bless with PANROOM_BLESS=1)", path.display());
}

fn close(driver: &mut Driver, outcome: Outcome, note: &str) {
    let note = note.to_owned();
    assert_eq!(driver.act(Act::Close { batch: batch_id(), outcome, note }), Reply::Done);
}

fn started_with(control: ControlRecipe, operator: Option<&str>) -> Driver {
    let mut driver = Driver::new();
    driver.run(0.5);
    let operator = operator.map(str::to_owned);
    let act =
        Act::Start { batch: batch_id(), control: Arc::new(control), operator, in_pot: Vec::new() };
    assert_eq!(driver.act(act), Reply::Done);
    driver
}

fn weigh_oils(driver: &mut Driver) {
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
}

fn weigh_lye(driver: &mut Driver) {
    driver.weigh_into(CUP_G);
    weigh_water(driver);
}

fn weigh_water(driver: &mut Driver) {
    driver.weigh_into(JUG_G);
}

/// Dissolved and combined, both vessels back on the pan with so much left in them.
fn combine(driver: &mut Driver, in_cup: f64, in_jug: f64) {
    for (step, gross) in [("dissolve", CUP_G + in_cup), ("combine", JUG_G + in_jug)] {
        driver.expect_step(step);
        assert_eq!(driver.confirm(), Reply::Done);
        driver.put(gross);
        if driver.view().batches[0].step == step {
            assert_eq!(driver.confirm(), Reply::Done);
        }
        driver.put(0.0);
    }
    driver.expect_step("cook");
}

fn glycerin_and_pour(driver: &mut Driver) {
    driver.weigh_into(JUG_G);
    driver.expect_step("pour");
    driver.confirm();
}

fn grade_of(review: &Review, words: &str) -> Option<Grade> {
    review.findings.iter().find(|found| found.words.contains(words)).map(|found| found.grade)
}

fn whole() -> Driver {
    let mut driver = started_with(control(), Some("the operator"));
    driver.celsius = 80.0;
    weigh_oils(&mut driver);
    weigh_lye(&mut driver);
    combine(&mut driver, 0.0, 0.1);
    let (batch, observation) = (batch_id(), Observation::Trace);
    driver.act(Act::Observe { batch, observation, note: "thick".to_owned() });
    for _ in 0..2 {
        driver.run(600.0);
        driver.run(20.0);
        driver.confirm();
    }
    driver.run(600.0);
    driver.confirm();
    glycerin_and_pour(&mut driver);
    close(&mut driver, Outcome::Finished, "mild, hard");
    driver
}

/// Two zeros in one weighing, by hand: 400 g of pot, 406 g once the bare pan reads 6 g, 402 g once
/// it reads 2 g, not 408 g.
#[test]
fn a_second_zero_moves_the_drawn_pour_by_the_difference() {
    let mut driver = started_with(control(), None);
    driver.put(400.0);
    driver.pour_to(450.0);
    let mut drawn = |zero: f64, was: f64| {
        driver.scale_talks = false;
        driver.run(10.0);
        driver.scale_talks = true;
        for load in [450.0 + was + 6.0, zero, 450.0 + zero] {
            driver.put(load);
        }
        driver.run(3.0);
        let evidence = evidence(&driver);
        let at = evidence.facts.last().unwrap().utc_ns;
        let gross = Mass::from_grams_rounded(450.0 + zero);
        let readings = (0..2).map(|second| (at + second * NS_PER_S, gross)).collect();
        let pan = PanTrace { step: "weigh-coconut".to_owned(), readings };
        let pour = charts(&evidence, &[pan]).unwrap().pours.remove(0);
        pour.points.iter().filter_map(|(_, net)| *net).collect::<Vec<_>>()
    };
    for (zero, was) in [(6.0, 0.0), (2.0, 6.0)] {
        let net = drawn(zero, was);
        assert!(!net.is_empty() && net.iter().all(|net| *net == g("50")), "{zero} g: {net:?}");
    }
}

#[test]
fn a_whole_batch() {
    let review = reviewed(&whole());
    golden("whole", &review);
    assert_eq!(review.outcome, Some(Outcome::Finished));
    assert!(review.steps.iter().all(|step| step.done.is_some() && step.sessions == 1));
    assert!(review.findings.iter().all(|finding| finding.grade == Grade::Note));
}

/// By hand: 100 g × 0.256 + 200 g × 0.190 = 63.6 g KOH of demand. 95 % of it is 60.42 g KOH, that
/// is 60.42 × 39.9971 ÷ 56.1056 = 43.0728 g NaOH, rounded down to 43.0 g on a scale of 0.1 g.
/// 43.0 g do the work of 60.3179 g KOH: superfat 1 − 60.3179 ÷ 63.6 = 5.1606 %.
///
/// u: saponification values ± 5 as rectangles, 5 ÷ √3 = 2.8868 mg/g: × 60.3179 ÷ 63.6² × 0.1 kg
/// = 0.4305 %, × 0.2 kg = 0.8610 %; caustic ± 0.040825 g (two readings of 0.1 g):
/// 0.040825 ÷ 0.712891 ÷ 63.6 = 0.0900 %; oils 0.0156 % and 0.0116 %. Root of the sum of squares
/// 0.9671 %, U = 1.934 %. 5.1606 ÷ 0.9671 = 5.3 u from nothing: very unlikely lye-heavy.
/// Water: 2.5 × 43.0 g = 107.5 g.
#[test]
fn the_superfat_is_that_worked_out_by_hand() {
    let balance = reviewed(&whole()).balance;
    let superfat = balance.superfat.unwrap();
    assert_eq!(balance.planned, Share::from_percent(5));
    assert!((superfat.achieved.percent() - 5.1606).abs() < 0.001, "{}", superfat.achieved);
    assert!((superfat.expanded.percent() - 1.934).abs() < 0.003, "{}", superfat.expanded);
    assert_eq!(balance.lye_heavy.unwrap().words(), "very unlikely, < 0.1 %");
    assert_eq!(balance.superfat_less_residue, None);
    let lye = balance.liquid.unwrap();
    assert_eq!((lye.liquid, lye.caustic), (g("107.5"), g("43")));
}

#[test]
fn a_capture_undone_no_longer_counts() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.target());
    let before = reviewed(&driver);
    assert!(before.balance.superfat.is_some());
    driver.pour_to(CUP_G + driver.guard().grams() + 3.0);
    let after = reviewed(&driver);
    assert_eq!((after.steps[2].capture.as_ref(), after.steps[2].reopened), (None, 1));
    assert_eq!((after.balance.superfat, after.balance.lye_heavy), (None, None));
    assert!(printed(&after).contains("not captured; reopened once"));
}

#[test]
fn an_over_poured_batch() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    assert!(driver.caustic_over());
    driver.run(20.0);
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::SpoonOut }), Reply::Done);
    driver.put(CUP_G + driver.target());
    driver.run(3.0);
    driver.put(0.0);
    weigh_water(&mut driver);
    driver.celsius = 80.0;
    combine(&mut driver, 0.0, 0.0);
    let over = reviewed(&driver);
    golden("over-poured", &over);
    let alarm = &over.alarms[0];
    assert!(matches!(alarm.alarm, AlarmId::CausticOver { .. }));
    assert!(over.went_over_guard());
    assert_eq!(alarm.end, AlarmEnd::Reset);
    assert!(alarm.acknowledged_after.unwrap() >= Span::from_secs(20));
    assert!(alarm.lasted.unwrap() > alarm.acknowledged_after.unwrap());
    assert_eq!(grade_of(&over, "went over its guard"), Some(Grade::Danger));
    assert_eq!(over.findings[0].grade, Grade::Danger, "worst first");
    assert_eq!(over.outcome, None);
}

#[test]
fn a_discarded_batch_has_no_superfat() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    let prompt = driver.view().batches[0].prompt.clone().unwrap().prompt;
    assert_eq!(driver.act(Act::Choose { prompt, remedy: Remedy::Discard }), Reply::Done);
    let review = reviewed(&driver);
    golden("discarded", &review);
    assert_eq!(review.balance.superfat, None);
    assert_eq!(review.balance.missing, ["sodium hydroxide"]);
    assert_eq!(review.alarms[0].end, AlarmEnd::BatchClosed);
    assert_eq!(review.alarms[0].acknowledged_after, None, "closing is no acknowledging");
}

#[test]
fn a_restart_in_the_middle() {
    let mut driver = Driver::cooking();
    driver.run(300.0);
    driver.kill_and_restart();
    driver.run(10.0);
    driver.confirm();
    driver.run(600.0);
    driver.confirm();
    driver.run(600.0);
    driver.confirm();
    driver.run(295.0);
    driver.confirm();
    glycerin_and_pour(&mut driver);
    close(&mut driver, Outcome::Finished, "");
    let review = reviewed(&driver);
    golden("restart", &review);
    let cook = &review.steps[6];
    assert_eq!(cook.sessions, 2);
    // 300 s before the restart, 10 + 600 + 600 + 295 s after it; the 90 s between do not count
    assert!((cook.watched.unwrap().seconds() - 1805.0).abs() < 3.0, "{:?}", cook.watched);
    let elapsed = cook.done.unwrap().utc_ns - cook.begun.unwrap().utc_ns;
    let counted = cook.watched.unwrap() + Span::from_secs(90);
    assert!((Span::from_nanos(elapsed) - counted).seconds().abs() < 1.0);
    let [unwatched] = &review.unseen[..] else { panic!("{:?}", review.unseen) };
    assert_eq!(unwatched.kind, UnseenKind::Unwatched);
    assert_eq!(unwatched.lasted, Some(Span::from_secs(90)));
    assert_eq!(grade_of(&review, "nobody watched for 1 min 30 s"), Some(Grade::Warning));
    let heat = &review.heat[0].cooks[0];
    assert!(heat.unmeasured >= Span::from_secs(84), "{heat:?}");
}

#[test]
fn a_lost_scale_and_a_pot_too_hot() {
    let mut driver = Driver::at_caustic();
    driver.pour_without_rest(CUP_G + 20.0);
    driver.scale_talks = false;
    driver.run(8.0);
    driver.scale_talks = true;
    driver.run(3.0);
    driver.pour_to(CUP_G + driver.target());
    driver.put(0.0);
    weigh_water(&mut driver);
    driver.celsius = 80.0;
    combine(&mut driver, 0.0, 0.0);
    driver.run(120.0);
    driver.celsius = 96.5;
    driver.run(30.0);
    driver.celsius = 99.25;
    driver.run(15.0);
    driver.celsius = 85.0;
    driver.run(435.0);
    driver.run(150.0);
    driver.confirm();
    driver.act(Act::Emergency);
    driver.run(5.0);
    let review = reviewed(&driver);
    golden("lost-and-hot", &review);
    let peak = |wanted: fn(&AlarmId) -> bool| {
        review.alarms.iter().find(|alarm| wanted(&alarm.alarm)).and_then(|alarm| alarm.peak)
    };
    let hottest = Some(Temperature::from_decimal(9925, 2, TemperatureUnit::Celsius).unwrap());
    assert_eq!(peak(|alarm| matches!(alarm, AlarmId::TemperatureHigh { .. })), hottest);
    assert_eq!(peak(|alarm| matches!(alarm, AlarmId::TemperatureHighHigh { .. })), hottest);
    let cook = &review.heat[0].cooks[0];
    // 30 s at 96.5 °C and 15 s at 99.25 °C lie above the window of 71 to 93 °C
    assert!((cook.above.seconds() - 45.0).abs() <= 1.0, "{}", cook.above);
    assert_eq!(cook.highest.map(|highest| highest.temperature), hottest);
    let [lost] = &review.lost[..] else { panic!("{:?}", review.lost) };
    assert_eq!(lost.instrument, "scale");
    assert!((lost.lasted.unwrap().seconds() - 9.0).abs() < 0.2, "{lost:?}");
    assert_eq!(grade_of(&review, "1 of 1 looks missed"), Some(Grade::Warning));
    assert_eq!(grade_of(&review, "emergency card"), Some(Grade::Danger));
    assert_eq!(grade_of(&review, "while the scale was silent"), Some(Grade::Danger));
}

/// Ounces and degrees Fahrenheit, one oil poured long, one declared, caustic left in the cup.
#[test]
fn deviations_in_the_makers_own_units() {
    let units =
        Units { mass: MassUnit::Ounce, mass_decimals: 2, temperature: TemperatureUnit::Fahrenheit };
    let mut driver = started_with(ControlRecipe { units, ..control() }, None);
    driver.put(POT_G);
    driver.pour_to(POT_G + 103.0);
    driver.confirm();
    driver.run(3.0);
    let olive = Act::Declare { batch: batch_id(), ingredient: "olive".into(), mass: g("200") };
    assert_eq!(driver.act(olive), Reply::Done);
    driver.run(3.0);
    driver.put(0.0);
    weigh_lye(&mut driver);
    driver.celsius = 80.0;
    combine(&mut driver, 4.0, 0.0);
    let review = reviewed(&driver);
    golden("ounces", &review);
    let coconut = review.steps[0].capture.as_ref().unwrap();
    assert_eq!((coconut.deviation, coconut.inside), (Some(g("3")), Some(false)));
    assert_eq!(coconut.deviation_share, Some(Share::from_percent(3)));
    let first =
        grade_of(&review, "the first step to leave its tolerance was coconut oil: +0.11 oz");
    assert_eq!(first, Some(Grade::Warning));
    // 103 g × 0.256 + 38 g = 64.368 g KOH; 95 % is 43.592 g NaOH, 43.5 g on the scale; with 4 g
    // left in the cup 39.5 g went in: 1 − 39.5 ÷ 0.712891 ÷ 64.368 = 13.92 %
    let left = review.balance.superfat_less_residue.unwrap();
    assert!((left.percent() - 13.919).abs() < 0.01, "{left}");
    assert_eq!(review.balance.by_hand, ["olive oil"]);
    // u in %: saponification 0.4379 and 0.8503, caustic 0.0890, coconut 0.0154, and 2 % of 200 g
    // of olive, 4 ÷ √3 × 0.19 × 61.018 ÷ 64.368² = 0.6462; U = 2 × 1.1578 %
    let expanded = review.balance.superfat.unwrap().expanded;
    assert!((expanded.percent() - 2.3156).abs() < 0.003, "{expanded}");
    assert!(!printed(&review).contains(" g "), "no grams on an ounce bench");
}

/// 200 g of olive oil that were in the pot already, said to be good to ± 10 g.
#[test]
fn a_declared_oil_counts_with_its_own_uncertainty() {
    let expanded = |doubt: Option<&str>| {
        let said = doubt.map(|doubt| in_pot("olive", "200", Some(doubt)));
        let mut driver = Driver::started_with(said.into_iter().collect());
        if doubt.is_some() {
            driver.put(POT_G + 200.0);
            driver.pour_to(POT_G + 300.0);
        } else {
            driver.put(POT_G);
            driver.pour_to(POT_G + 100.0);
            driver.pour_to(POT_G + 300.0);
        }
        driver.run(3.0);
        driver.put(0.0);
        weigh_lye(&mut driver);
        driver.celsius = 80.0;
        combine(&mut driver, 0.0, 0.0);
        let review = reviewed(&driver);
        let superfat = review.balance.superfat.unwrap();
        assert!((superfat.achieved.percent() - 5.0).abs() < 0.25, "{superfat:?}");
        (superfat.expanded.percent(), printed(&review))
    };
    // d superfat ÷ d olive = 0.95 × 0.190 ÷ 63.6 a gram; ± 10 g is 10 ÷ √3 of it (GUM 4.3.7), k = 2
    let alone = |doubt: f64| 2.0 * 100.0 * 0.95 * 0.190 / 63.6 * doubt / 3.0_f64.sqrt();
    let (weighed, _) = expanded(None);
    for doubt in [1.0_f64, 10.0] {
        let (declared, words) = expanded(Some(&doubt.to_string()));
        let by_hand = weighed.hypot(alone(doubt));
        assert!((declared - by_hand).abs() < 0.03, "± {doubt} g: {declared} for {by_hand}");
        let flat = words.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(&format!("olive oil ± {doubt:.1} g")), "{words}");
    }
}

/// Demand 63.6 g KOH, all of it 45.340 g NaOH, 45.3 g on the scale: superfat 0.088 %, and of its u
/// of about 1 % nearly half lies below nothing.
#[test]
fn without_superfat_lye_heavy_is_a_serious_chance() {
    let mut control = control();
    control.formula.superfat = Share::ZERO;
    let mut driver = started_with(control, None);
    weigh_oils(&mut driver);
    weigh_lye(&mut driver);
    let review = reviewed(&driver);
    let achieved = review.balance.superfat.unwrap().achieved;
    assert!((achieved.percent() - 0.0878).abs() < 0.001, "{achieved}");
    let words = "lye-heavy soap is a serious chance, 20 % to 50 %";
    assert_eq!(grade_of(&review, words), Some(Grade::Danger));
    assert_eq!(grade_of(&review, "reaches below the floor"), Some(Grade::Warning));
}

/// 43.0 g of caustic and 107.5 g of water are 150.5 g of lye; 15 g left in the jug take 15 ÷ 150.5
/// of the caustic with them: 38.714 g went in, 1 − 38.714 ÷ 0.712891 ÷ 63.6 = 14.613 %.
#[test]
fn lye_left_in_the_jug_is_caustic_that_did_not_go_in() {
    let mut driver = started_with(control(), None);
    weigh_oils(&mut driver);
    weigh_lye(&mut driver);
    combine(&mut driver, 0.0, 15.0);
    let balance = reviewed(&driver).balance;
    let left = balance.superfat_less_residue.unwrap();
    assert!((left.percent() - 14.613).abs() < 0.01, "{left}");
    assert!((balance.superfat.unwrap().achieved.percent() - 5.1606).abs() < 0.001);
}

/// The cook goes on while too hot; the alarm ends because nobody watches any more, not because it
/// was seen to return.
#[test]
fn an_alarm_whose_step_has_gone_on_is_not_said_to_have_returned() {
    let mut driver = started_with(control(), None);
    weigh_oils(&mut driver);
    weigh_lye(&mut driver);
    combine(&mut driver, 0.0, 0.0);
    driver.celsius = 96.0;
    driver.run(20.0);
    let step = "cook".to_owned();
    let advance = Act::Advance { batch: batch_id(), step };
    assert!(matches!(driver.act(advance), Reply::Refused { .. }), "it asks first");
    assert_eq!(driver.confirm(), Reply::Done);
    driver.run(60.0);
    let review = reviewed(&driver);
    let high = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureHigh { .. });
    let alarm = review.alarms.iter().find(|review| high(&review.alarm)).unwrap();
    assert_eq!(alarm.end, AlarmEnd::NoLongerWatched);
    assert!(alarm.lasted.unwrap() < Span::from_secs(20));
    let first = grade_of(&review, "the first step to leave its tolerance was cook: pot too hot");
    assert_eq!(first, Some(Grade::Warning), "{:?}", review.findings);
}

#[test]
fn gaps_and_a_broken_chain_are_said() {
    let driver = whole();
    let mut evidence = evidence(&driver);
    let start = review(&evidence).unwrap().started.utc_ns;
    let gap = |from_s: i64, to_s: i64| Gap {
        from_utc_ns: start + from_s * NS_PER_S,
        to_utc_ns: start + to_s * NS_PER_S,
        why: "the disk was full".to_owned(),
    };
    evidence.gaps = vec![gap(60, 75), gap(-500, -400)];
    evidence.verified = Some(false);
    let review = review(&evidence).unwrap();
    let [gap] = &review.unseen[..] else { panic!("{:?}", review.unseen) };
    assert_eq!(gap.lasted, Some(Span::from_secs(15)), "the older gap is none of this batch's");
    assert!(review.findings[0].words.contains("does not lead to its own head"));
}

/// A port that is gone, and then heard again only some seconds after it was opened: one loss. Of
/// what was lost before the batch began, only what still was lost then counts.
#[test]
fn an_instrument_is_lost_until_it_is_heard_again() {
    let lost = || Input::InstrumentLost { instrument: "pot".to_owned(), why: "gone".to_owned() };
    let back = || Input::InstrumentBack { instrument: "pot".to_owned() };
    let mut driver = Driver::new();
    driver.run(2.0);
    driver.input(&lost());
    driver.run(1.0);
    driver.input(&back());
    driver.run(5.0);
    let act = Act::start(batch_id(), Arc::new(control()));
    driver.act(act);
    driver.input(&lost());
    driver.probe_talks = false;
    driver.run(20.0);
    driver.input(&back());
    driver.run(10.0);
    driver.probe_talks = true;
    driver.run(4.0);
    let review = reviewed(&driver);
    let [loss] = &review.lost[..] else { panic!("{:?}", review.lost) };
    assert_eq!(loss.why, "gone");
    assert!((loss.lasted.unwrap().seconds() - 33.0).abs() <= 1.0, "{loss:?}");
    // and one that never came back is not said to have lasted any time
    driver.input(&lost());
    driver.probe_talks = false;
    driver.run(60.0);
    let review = reviewed(&driver);
    assert_eq!((review.lost[1].until, review.lost[1].lasted), (None, None));
    assert_eq!(grade_of(&review, "and had not come back"), Some(Grade::Note));
}

#[test]
fn time_not_recorded_is_said() {
    let mut driver = Driver::started();
    driver.disk_is_quick = false;
    driver.input(&Input::Journal(JournalStatus::Failed { why: "disk full".to_owned() }));
    driver.run(40.0);
    let open = reviewed(&driver);
    assert_eq!((open.unseen[0].kind, open.unseen[0].until), (UnseenKind::NotRecorded, None));
    assert_eq!(grade_of(&open, "not recorded for an unknown time"), Some(Grade::Warning));
    driver.commit_all();
    let closed = reviewed(&driver);
    let [gap] = &closed.unseen[..] else { panic!("{:?}", closed.unseen) };
    assert_eq!((gap.why.as_str(), gap.lasted), ("disk full", Some(Span::from_secs(40))));
}

/// A civil clock set back between two sessions makes no negative time and no invented one.
#[test]
fn a_clock_set_back_leaves_times_unknown() {
    let mut driver = started_with(control(), None);
    weigh_oils(&mut driver);
    weigh_lye(&mut driver);
    combine(&mut driver, 0.0, 0.0);
    driver.celsius = 97.0;
    driver.run(30.0);
    driver.celsius = 80.0;
    driver.run(60.0);
    close(&mut driver, Outcome::Failed, "");
    let mut evidence = evidence(&driver);
    let cook = |fact: &Fact| matches!(fact, Fact::StepBegun { step, .. } if step == "cook");
    let from = evidence.facts.iter().position(|dated| cook(&dated.numbered.fact)).unwrap();
    for dated in &mut evidence.facts[from..] {
        dated.utc_ns -= 7200 * NS_PER_S;
    }
    let review = review(&evidence).unwrap();
    assert_eq!(review.steps[6].begun.unwrap().after_start, None);
    assert_eq!(review.ended.unwrap().after_start, None);
    let watched = review.steps[6].watched.unwrap();
    assert!((watched.seconds() - 93.5).abs() < 1.0, "{watched}");
    assert!(printed(&review).contains("— later: failed"));
    // nor does it hide an alarm
    let alarms = |review: &Review| review.alarms.len();
    assert!(alarms(&review) > 0);
    assert_eq!(alarms(&review), alarms(&reviewed(&driver)));
}

#[test]
fn a_review_travels_as_json() {
    for driver in [whole(), Driver::started(), Driver::oils_weighed()] {
        let review = reviewed(&driver);
        let json = serde_json::to_string(&review).unwrap();
        assert_eq!(serde_json::from_str::<Review>(&json).unwrap(), review);
    }
}

#[test]
fn nothing_known_prints_no_number() {
    let review = reviewed(&Driver::started());
    let text = printed(&review);
    golden("begun", &review);
    assert!(text.contains("superfat achieved  —, not on record: coconut oil, olive oil"), "{text}");
    assert_eq!(panroom::review::review(&evidence(&Driver::new())), None);
}

/// Facts of after the close, and of another batch, change nothing.
#[test]
fn only_this_batch_counts() {
    let mut driver = whole();
    let before = reviewed(&driver);
    driver.run(3.0);
    let batch = panroom::bench::BatchId("2026-11-25-b".to_owned());
    driver.act(Act::start(batch.clone(), Arc::new(control())));
    driver.put(POT_G);
    driver.pour_to(POT_G + 90.0);
    driver.scale_talks = false;
    driver.run(10.0);
    assert_eq!(reviewed(&driver), before);
}

#[test]
fn the_largest_deviation_counts_shares_not_grams() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 99.2);
    driver.pour_to(POT_G + 299.0);
    driver.run(3.0);
    let review = reviewed(&driver);
    // −0.8 g of 100 g is more than −0.2 g of 200 g
    let words = "the largest deviation is −0.8 g of coconut oil (−0.8 %)";
    assert_eq!(grade_of(&review, words), Some(Grade::Note), "{:?}", review.findings);
    assert_eq!(review.steps[0].capture.as_ref().unwrap().net, Mass::parse("99.2 g").unwrap());
}
