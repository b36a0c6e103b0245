//! What the bench page shows of a pot besides its weighings: a probe from hand to hand, numbers
//! typed at the page, tests of the soap, and the wait for a cooler pot. A real browser, the real
//! daemon.

use std::path::Path;
use std::sync::atomic::Ordering;

use panroom::bench::{Ask, Fact, Phase, ProbeAt, Source};
use panroom::plan::TestValue;
use panroom::quantity::Ph;

use super::browser::Browser;
use super::e2e::{Instruments, Served, facts, hot_bar, only_batch, serving_at, succeed, weighing};
use super::late_and_tests::METER;

/// As fast as the other tests beside a browser.
const SPEED: &str = "2";

/// A short cook with one test.
pub fn tested_bar() -> String {
    hot_bar("Tested Bar", &format!("{SHORT}{METER}"))
}

const SHORT: &str = r#"
[bring_together]
oils = "38 °C to 54 °C"
lye = "38 °C to 54 °C"

[cook]
keep = "71 °C to 93 °C"
for = "10 s"
"#;

/// What this test has besides: a test that gives a word, and an addition that waits.
const MORE: &str = r#"
[[cook.test]]
name = "clear paste"
by = "other"
sample = "a spoonful, pressed between two glass slides"
passes = ["clear", "nearly clear"]

[[addition]]
name = "glycerin"
amount = "5 g"
when = "after cook"
below = "60 °C"
"#;

/// To the bringing together, by the pan and by commands.
fn brought_to_combining(folder: &Path, served: &Served, bench: &Instruments) {
    let recipe = folder.join("tested-bar.toml");
    std::fs::write(&recipe, tested_bar() + MORE).unwrap();
    succeed(folder, &["start", recipe.to_str().unwrap()]);
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(600.0);
    for (step, cup) in [("weigh-naoh", 50.0), ("weigh-water", 120.0)] {
        served.wait_step(step);
        bench.put(0.0);
        served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
        bench.put(cup);
        let (target, _) = weighing(&served.wait_phase(Phase::Pouring));
        bench.put(cup + target);
        served.wait_phase(Phase::Captured);
        bench.put(0.0);
    }
    served.wait_step("dissolve");
    served.does(&["confirm"]);
    served.wait_ask("the cup", |ask| matches!(ask, Ask::VesselBack { .. }));
    bench.put(50.0);
    served.wait_ask("combining", |ask| matches!(ask, Ask::Combined | Ask::CombineAnyway));
    bench.put(0.0);
}

fn weigh_the_glycerin(served: &Served, bench: &Instruments) {
    served.wait_phase(Phase::AwaitingVessel);
    bench.put(0.0);
    served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
    bench.put(30.0);
    let (target, _) = weighing(&served.wait_phase(Phase::Pouring));
    bench.put(30.0 + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
}

fn press(browser: &Browser, words: &str) {
    let button = format!(
        "[...document.querySelectorAll('#bench button')].find(each => each.textContent.includes({words:?}))"
    );
    browser.wait(words, &button);
    browser.script(&format!(
        "const button = {button}; button.closest('details')?.setAttribute('open', ''); button.click()"
    ));
}

/// Types a number with the keys on the page and enters it.
fn type_at(browser: &Browser, form: &str, number: &str) {
    browser.script(&format!(
        "const form = document.querySelector({form:?});
         for (let up = form; up; up = up.parentElement) if (up.matches('details')) up.open = true;"
    ));
    for key in number.chars() {
        browser.click(&format!("{form} button[data-type='{key}']"));
    }
    browser.click(&format!("{form} button[type=submit]"));
}

fn shows(browser: &Browser, selector: &str, words: &str) {
    let so = format!("document.querySelector({selector:?})?.innerText.includes({words:?})");
    browser.wait(words, &so);
}

fn look_at(browser: &Browser, name: &str) {
    for theme in ["light", "dark"] {
        browser.script(&format!("document.documentElement.dataset.theme = '{theme}'"));
        assert_eq!(browser.axe(), Vec::<String>::new(), "{name}, {theme}");
        for (width, height) in [(390, 844), (1024, 768), (1920, 1080)] {
            browser.size(width, height);
            browser.script("scrollTo(0, 0)");
            browser.picture(&format!("{name}-{theme}-{width}"));
            assert_eq!(browser.too_wide(), Vec::<String>::new(), "{name} at {width}");
        }
        browser.size(1280, 800);
    }
    browser.script("delete document.documentElement.dataset.theme");
}

#[test]
fn a_pot_is_followed_by_a_probe_in_the_hand_by_typing_and_by_tests() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let (served, bench) = serving_at(folder, SPEED);
    let browser = Browser::new();
    browser.size(1280, 800);
    browser.open(&served.page());
    shows(&browser, ".instruments", "it counts for nothing until you say");
    brought_to_combining(folder, &served, &bench);

    // the probe goes into the lye; the oils are typed
    shows(&browser, ".pair", "wanted: 38 to 54 °C");
    press(&browser, "Probe is now in the lye");
    shows(&browser, ".pair", "40.0 °C");
    shows(&browser, ".pair", "by the hand-held probe");
    shows(&browser, ".instruments .held", "In the lye, for another");
    type_at(&browser, "form[data-say='/bench/temperature']", "410");
    shows(&browser, ".said-here", "410");
    let kept = "return document.querySelector('.entry-form .typed').value";
    assert_eq!(browser.script(kept), "410", "what was refused stays, to be mended");
    browser.click(".entry-form [data-type='⌫']");
    browser.click(".entry-form button[type=submit]");
    shows(&browser, ".pair", "41.0 °C");
    shows(&browser, ".pair", "by hand");
    let view = served.view().unwrap();
    let oils = view.batches[0].temperatures.iter().find(|known| known.at == ProbeAt::Oils);
    assert_eq!(oils.unwrap().source, Source::ByHand);
    look_at(&browser, "bench-combine");
    press(&browser, "Probe put away");
    shows(&browser, ".pair", "by the hand-held probe, which is elsewhere now");
    while served.wait_batch("anything", |_| true).step != "cook" {
        let _ = super::e2e::run(folder, &["confirm"]);
    }

    // tests: a number by keys, a word by a button, the end of the cook only then
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    shows(&browser, ".soap-tests", "pH of a 1 % solution: Not tested yet");
    shows(&browser, ".soap-tests", "pH 9.0 to 10.5");
    // an alarm comes and goes above a hand that types
    browser.script(
        "window.typed = document.querySelector('.soap-test .typed'); window.typed.value = '9'",
    );
    let kept = "return window.typed.isConnected && window.typed.value === '9'";
    bench.celsius_tenths.store(965, Ordering::Relaxed);
    browser.wait("the heat", "document.querySelector('.alarms .alarm.medium')");
    assert_eq!(browser.script(kept), true, "when an alarm comes");
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    browser.wait("the end of it", "document.querySelector('.alarms .alarm.over')");
    succeed(folder, &["acknowledge"]);
    browser.wait("no alarm", "!document.querySelector('.alarms')");
    assert_eq!(browser.script(kept), true, "when it goes");
    browser.script("window.typed.value = ''");
    type_at(&browser, ".soap-test form[data-say='/bench/test']", "11.2");
    shows(&browser, ".soap-tests", "Not passed, 1 try so far");
    look_at(&browser, "bench-cook");
    type_at(&browser, ".soap-test form[data-say='/bench/test']", "9.8");
    shows(&browser, ".soap-tests .passed", "pH of a 1 % solution: Passed");
    press(&browser, "It is nearly clear");
    browser.wait("both", "document.querySelectorAll('.soap-test.passed').length === 2");
    press(&browser, "Probe out for stirring");
    shows(&browser, ".beneath", "probe out for stirring, for another");
    assert_eq!(browser.text(".big [data-live]"), "—", "what a probe in the air says is no pot's");
    type_at(&browser, "form[data-say='/bench/temperature']", "81");
    shows(&browser, ".big", "81.0 °C");
    shows(&browser, ".say", "by hand, now");
    while served.wait_batch("anything", |_| true).step == "cook" {
        let _ = super::e2e::run(folder, &["confirm"]);
    }
    weigh_the_glycerin(&served, &bench);

    // too hot for it
    served.wait_batch("the wait", |batch| batch.cool.is_some());
    shows(&browser, ".label", "wait until it is at most 60 °C");
    shows(&browser, ".aside", "Not yet:");
    look_at(&browser, "bench-cool");
    // what was typed last counts for as long as it is the hottest that is known
    shows(&browser, ".big", "81.0 °C");
    bench.celsius_tenths.store(590, Ordering::Relaxed);
    type_at(&browser, "form[data-say='/bench/temperature']", "59");
    browser.wait("cool enough", "!document.querySelector('.aside').innerText.includes('Not yet')");

    let facts = facts(folder, &only_batch(folder));
    let values: Vec<_> = facts
        .iter()
        .filter_map(|fact| match fact {
            Fact::Tested { value, passed, attempt, .. } => Some((value.clone(), *passed, *attempt)),
            _ => None,
        })
        .collect();
    let ph = |text: &str| TestValue::Ph(Ph::parse(text).unwrap());
    let clear = TestValue::Word("nearly clear".to_owned());
    let expected =
        [(ph("11.2"), Some(false), 1), (ph("9.8"), Some(true), 2), (clear, Some(true), 1)];
    assert_eq!(values, expected);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
