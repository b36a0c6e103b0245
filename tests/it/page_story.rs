//! The whole story at the page: from an empty data folder to the review of a batch, without a file
//! edited or a command typed. A real browser, the real daemon, instruments on pseudo-terminals.

use std::path::Path;
use std::sync::atomic::Ordering;

use panroom::bench::{AlarmId, Ask, BatchView, Fact, Outcome, Phase, Remedy};

use super::browser::Browser;
use super::e2e::{Instruments, Served, facts, only_batch, weighing};
use super::office_page::{fill, follow, held, look_at, press};

const PAGE_DOWN: char = '\u{E00F}';
const TAB: char = '\u{E004}';
const ENTER: char = '\u{E007}';
/// Far longer than a hold must last: a browser on a busy machine counts late.
const HELD_MS: u64 = 3000;
/// Twice life: a browser's own clock is not faster, and a busy machine must not look like a silent
/// scale.
const SPEED: &str = "2";
const CUP: f64 = 50.0;
const JUG: f64 = 120.0;
const POT: f64 = 400.0;

/// How the operator says yes.
#[derive(Clone, Copy)]
enum Hand {
    Pedal,
    Keyboard,
}

impl Hand {
    /// The usual answer of the question that begins so, once it may be taken as read.
    fn yes(self, browser: &Browser, asked: &str) {
        read(browser, asked);
        match self {
            Hand::Pedal => browser.keys(&PAGE_DOWN.to_string()),
            Hand::Keyboard => {
                tab_to(browser, "closest('.question button.main')");
                browser.keys(&ENTER.to_string());
            }
        }
    }

    /// The worst alarm has been seen.
    fn seen(self, browser: &Browser) {
        browser.wait("an alarm", "document.querySelector('.alarm button.seen')");
        match self {
            Hand::Pedal => browser.keys(&PAGE_DOWN.to_string()),
            Hand::Keyboard => {
                tab_to(browser, "closest('.alarm button.seen')");
                browser.keys(&ENTER.to_string());
            }
        }
        browser.wait("that it is seen", "!document.querySelector('.alarm button.seen')");
    }

    /// Selects the remedy with these words, then holds for one second.
    fn remedy(self, browser: &Browser, words: &str) {
        read(browser, words);
        match self {
            Hand::Pedal => {
                let chosen = format!(
                    "document.querySelector('[data-chosen]')?.innerText.includes({words:?})"
                );
                for _ in 0..4 {
                    if browser.script(&format!("return Boolean({chosen})")) == true {
                        break;
                    }
                    browser.keys(&PAGE_DOWN.to_string());
                }
                browser.wait(words, &chosen);
                // sooner after the last press it would be taken for a contact that bounces
                browser.script("window.rested = performance.now() + 400");
                browser.wait("the foot to be lifted", "performance.now() > window.rested");
                browser.hold_key(PAGE_DOWN, HELD_MS);
            }
            Hand::Keyboard => {
                let so = format!(
                    "closest('.question button[data-hold]')?.innerText.includes({words:?})"
                );
                tab_to(browser, &so);
                browser.hold_key(ENTER, HELD_MS);
            }
        }
    }
}

fn read(browser: &Browser, words: &str) {
    let asked =
        format!("document.querySelector('.question[data-read]')?.innerText.includes({words:?})");
    browser.wait(words, &asked);
}

/// Goes on with the Tab key alone until what has the focus is so.
fn tab_to(browser: &Browser, so: &str) {
    for _ in 0..150 {
        if browser.script(&format!("return Boolean(document.activeElement?.{so})")) == true {
            return;
        }
        browser.keys(&TAB.to_string());
    }
    panic!("the Tab key does not come to {so}:\n{}", browser.text("body"));
}

/// A picture of how it looks to an operator.
fn seen_at(browser: &Browser, name: &str, (width, height): (u32, u32)) {
    browser.size(width, height);
    browser.script("scrollTo(0, 0)");
    browser.picture(name);
    browser.size(1280, 900);
}

fn type_in(browser: &Browser, so: &str, text: &str) {
    tab_to(browser, so);
    browser.keys(text);
    browser.keys(&ENTER.to_string());
}

fn button(browser: &Browser, words: &str) {
    let button = format!(
        "[...document.querySelectorAll('#bench button')].find(each => each.textContent.includes({words:?}))"
    );
    browser.wait(words, &button);
    browser.script(&format!(
        "const button = {button}; button.closest('details')?.setAttribute('open', '');
         button.setAttribute('data-test', '')"
    ));
    browser.click("#bench button[data-test]");
}

// --- before the batch -----------------------------------------------------------------------------

fn set_up_instruments(browser: &Browser, page: &str, folder: &Path) {
    browser.open(page);
    follow(browser, "nav a[href='/instruments']");
    follow(browser, "main a[href='/instruments/setup']");
    fill(browser, "masses", "g");
    fill(browser, "temperatures", "°C");
    fill(browser, "instrument[1].port", &folder.join("scale").display().to_string());
    press(browser, "identify:instrument[1]");
    assert_eq!(held(browser, "instrument[1].sheet"), "comma-status-line");
    fill(browser, "instrument[1].channel[1].capacity", "3 kg");
    press(browser, "add:instrument");
    fill(browser, "instrument[2].port", &folder.join("probe").display().to_string());
    press(browser, "identify:instrument[2]");
    assert_eq!(held(browser, "instrument[2].sheet"), "probe-stream", "{}", browser.text("main"));
    for (row, name, role) in [(1, "pot", "pot"), (2, "stick", "hand-held")] {
        fill(browser, &format!("instrument[2].channel[{row}].name"), name);
        fill(browser, &format!("instrument[2].channel[{row}].role"), role);
    }
    press(browser, "save");
    assert_eq!(browser.text("h1"), "Instruments", "{}", browser.text("main"));
}

fn weigh_the_vessels(browser: &Browser, bench: &Instruments) {
    follow(browser, "main a[href='/instruments/vessels']");
    let vessels = [
        ("big pot", "pot", "stainless steel", POT, "3 l"),
        ("white cup", "caustic cup", "polypropylene", CUP, ""),
        ("tall jug", "lye jug", "polypropylene", JUG, "1 l"),
    ];
    for (index, (name, purpose, material, tare, volume)) in vessels.into_iter().enumerate() {
        let row = format!("vessel[{}]", index + 1);
        press(browser, "add:vessel");
        for (field, value) in
            [("name", name), ("for", purpose), ("material", material), ("volume", volume)]
        {
            fill(browser, &format!("{row}.{field}"), value);
        }
        bench.put(tare);
        let shown = "document.getElementById('load').innerText";
        let rests = format!("{shown}.includes('{tare:.1} g') && !{shown}.includes('not')");
        browser.wait("rest", &rests);
        press(browser, &format!("weigh:{row}"));
        assert_eq!(held(browser, &format!("{row}.tare")), format!("{tare:.1} g"));
    }
    bench.put(0.0);
    press(browser, "save");
    assert_eq!(browser.text("h1"), "Instruments", "{}", browser.text("main"));
}

fn write_the_recipe(browser: &Browser, page: &str) {
    browser.open(page);
    follow(browser, "nav a[href='/recipes']");
    follow(browser, "main a[href='/new-recipe']");
    for (field, value) in [
        ("name", "First Bar"),
        ("process", "hot"),
        ("superfat", "5 %"),
        ("oil[1].fat", "olive oil"),
        ("oil[1].amount", "200 g"),
        ("liquid.amount", "2.5:1"),
        ("bring_together.oils", "38 °C to 54 °C"),
        ("bring_together.lye", "38 °C to 54 °C"),
        ("cook.keep", "71 °C to 93 °C"),
        ("cook.warn_above", "95 °C"),
        ("cook.alarm_above", "98 °C"),
        ("cook.for", "10 s"),
    ] {
        fill(browser, field, value);
    }
    press(browser, "add:cook.test");
    for (field, value) in [
        ("cook.test[1].name", "pH of a 1 % solution"),
        ("cook.test[1].by", "meter"),
        ("cook.test[1].sample", "1 g of soap in 99 g of water"),
        ("cook.test[1].between", "9 to 10.5"),
    ] {
        fill(browser, field, value);
    }
    press(browser, "save");
    assert!(browser.text("main").contains("Saved"), "{}", browser.text("main"));
}

// --- the batch ---------------------------------------------------------------------------------------

/// Into the pot, nothing touched but what is poured.
fn weigh_the_oil(served: &Served, bench: &Instruments) {
    bench.put(POT);
    served.wait_phase(Phase::Pouring);
    bench.put(POT + 120.0);
    served.wait_batch("half of it", |batch| {
        batch.weighing.as_ref().and_then(|w| w.net).is_some_and(|net| net.grams() == 120.0)
    });
    bench.put(POT + 200.0);
    served.wait_step("weigh-naoh");
}

/// Over the guard, seen, and the spoon taken.
fn pour_too_much(browser: &Browser, served: &Served, bench: &Instruments, hand: Hand) {
    bench.put(0.0);
    served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the"));
    bench.put(CUP);
    let (target, guard) = weighing(&served.wait_phase(Phase::Pouring));
    bench.moving.store(true, Ordering::Relaxed);
    bench.put(CUP + target * 0.94);
    browser.wait("the last tenth", "document.querySelector('.dip .level')");
    seen_at(browser, "story-caustic", (1024, 768));
    bench.put(CUP + guard + 6.0);
    served.wait_ask("a remedy", |ask| matches!(ask, Ask::Remedy { .. }));
    read(browser, "Spoon out");
    seen_at(browser, "story-over", (390, 844));
    hand.seen(browser);
    hand.remedy(browser, "Spoon out");
    let spoon = |ask: &Ask| matches!(ask, Ask::Remedy { options, .. } if options.len() == 1);
    served.wait_ask("the spoon", spoon);
    bench.moving.store(false, Ordering::Relaxed);
    bench.put(CUP + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
}

fn dissolve_and_combine(browser: &Browser, served: &Served, bench: &Instruments, hand: Hand) {
    served.wait_step("weigh-water");
    served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the"));
    bench.put(JUG);
    let (target, _) = weighing(&served.wait_phase(Phase::Pouring));
    bench.put(JUG + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
    hand.yes(browser, "It is all in");
    served.wait_ask("the cup", |ask| matches!(ask, Ask::VesselBack { .. }));
    bench.put(CUP);
    read(browser, "The lye is in the oils");
    bench.put(0.0);
}

/// Both by the one probe in the hand, one after the other.
fn feel_oils_and_lye(browser: &Browser, hand: Hand) {
    for (place, half) in [("oils", 0), ("lye", 1)] {
        let words = format!("Probe is now in the {place}");
        match hand {
            Hand::Pedal => button(browser, &words),
            Hand::Keyboard => {
                tab_to(browser, &format!("closest('button')?.innerText.includes({words:?})"));
                browser.keys(&ENTER.to_string());
            }
        }
        let shown = format!("document.querySelectorAll('.pair .half')[{half}].innerText");
        browser.wait(place, &format!("{shown}.includes('40.0')"));
    }
    browser.wait("both in their windows", "!document.querySelector('.pot .note.careful')");
}

/// Too hot, seen, tested, done.
fn cook(browser: &Browser, served: &Served, bench: &Instruments, hand: Hand) {
    served.wait_step("cook");
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    served.wait_batch("cook time", |batch| {
        batch.cook.as_ref().is_some_and(|cook| cook.standing.is_none())
    });
    bench.celsius_tenths.store(965, Ordering::Relaxed);
    browser.wait("the heat", "document.querySelector('.alarm.medium button.seen')");
    hand.seen(browser);
    bench.celsius_tenths.store(800, Ordering::Relaxed);
    let too_hot = |alarm: &AlarmId| matches!(alarm, AlarmId::TemperatureHigh { .. });
    served.wait("the end of it", |view| view.alarms.iter().all(|each| !too_hot(&each.alarm)));
    match hand {
        Hand::Pedal => {
            browser.script(
                "document.querySelectorAll('.soap-test details').forEach(each => each.open = true)",
            );
            for key in "9.8".chars() {
                browser.click(&format!(".soap-test [data-type='{key}']"));
            }
            browser.click(".soap-test button[type=submit]");
        }
        Hand::Keyboard => {
            tab_to(browser, "closest('.soap-test summary')");
            browser.keys(&ENTER.to_string());
            type_in(browser, "closest('.soap-test input.typed')", "9.8");
        }
    }
    browser.wait("the test", "document.querySelector('.soap-test.passed')");
    hand.yes(browser, "It is cooked");
    served.wait_batch("the end of the cook", |batch| batch.step != "cook");
    while let Some(prompt) = served.wait_batch("anything", |_| true).prompt {
        let shown = format!("document.querySelector('[data-prompt=\"{}\"]')", prompt.prompt);
        browser.wait("the question", &shown);
        hand.yes(browser, &prompt.question);
        let next = |batch: &BatchView| {
            batch.prompt.as_ref().is_none_or(|next| next.prompt != prompt.prompt)
        };
        served.wait_batch("the answer", next);
    }
}

#[test]
fn from_an_empty_folder_to_the_review_by_pan_and_pedal() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let bench = Instruments::plugged_in(folder);
    let served = Served::from_nothing_at(folder, SPEED);
    let page = served.page();
    let browser = Browser::new();
    browser.size(1280, 900);

    // the tablet beside the pot is open all the while, and is never loaded anew
    let (tablet, desk) = browser.second_window();
    browser.open(&page);
    browser.script("window.isOld = true");
    assert!(browser.text("#bench").contains("No batch is open"));
    browser.switch_to(&desk);
    set_up_instruments(&browser, &page, folder);
    weigh_the_vessels(&browser, &bench);
    write_the_recipe(&browser, &page);
    browser.switch_to(&tablet);
    browser
        .wait("the scale", "document.querySelector('.instruments')?.innerText.includes('0.0 g')");
    browser.wait("the probe", "document.querySelector('.instruments').innerText.includes('21.0')");
    assert_eq!(browser.script("return window.isOld === true"), true, "the same page as before");
    browser.wait("no loss", "!document.body.hasAttribute('data-lost')");
    browser.switch_to(&desk);
    follow(&browser, "main a[href$='/start'], form[action$='/start'] button");
    fill(&browser, "operator", "");
    fill(&browser, "lot:olive", "OL-7");
    follow(&browser, "form button.main");
    browser.switch_to(&tablet);

    weigh_the_oil(&served, &bench);
    pour_too_much(&browser, &served, &bench, Hand::Pedal);
    dissolve_and_combine(&browser, &served, &bench, Hand::Pedal);
    feel_oils_and_lye(&browser, Hand::Pedal);
    Hand::Pedal.yes(&browser, "The lye is in the oils");
    // the jug is not asked back to the pan
    read(&browser, "Go on without it");
    browser.keys(&PAGE_DOWN.to_string());
    cook(&browser, &served, &bench, Hand::Pedal);
    button(&browser, "Close it: it came out");
    served.wait("the end", |view| view.batches.is_empty());
    assert_eq!(browser.script("return window.isOld === true"), true, "the same page as before");
    assert_eq!(browser.complaints(), Vec::<String>::new());

    browser.switch_to(&desk);
    follow(&browser, "nav a[href='/ledger']");
    fill(&browser, "q", "ol-7 olive finished");
    follow(&browser, ".search button");
    assert!(browser.text("main").contains("1 batch"), "{}", browser.text("main"));
    follow(&browser, "tbody a");
    judge_the_review(&browser);

    let facts = facts(folder, &only_batch(folder));
    let has = |so: &dyn Fn(&Fact) -> bool| facts.iter().any(so);
    assert!(has(&|fact| matches!(fact, Fact::RemedyChosen { remedy: Remedy::SpoonOut, .. })));
    assert!(has(&|fact| matches!(fact, Fact::Tested { passed: Some(true), .. })));
    assert!(has(&|fact| matches!(fact, Fact::BatchClosed { outcome: Outcome::Finished, .. })));
}

fn judge_the_review(browser: &Browser) {
    let review = browser.text("main");
    for words in ["over its guard", "lot OL-7", "How warm it was", "How it was poured"] {
        assert!(review.contains(words), "{words} is not in:\n{review}");
    }
    let titles = "return [...document.querySelectorAll('svg.trace title')].map(t => t.textContent)";
    let titles = browser.script(titles).to_string();
    for words in
        ["wanted: 71 °C to 93 °C", "limit: 95 °C", "never above", "captured: 200.0 g", "alarm, "]
    {
        assert!(titles.contains(words), "{words} is not in {titles}");
    }
    // the probe of the pot, three weighings, and the readings of the hand-held one
    let lines = browser.script("return document.querySelectorAll('svg.trace').length");
    assert_eq!(lines, 6);
    let drawn = browser.script(
        "return [...document.querySelectorAll('.pours-drawn .line')].every(
           line => line.getAttribute('d').length > 40)",
    );
    assert_eq!(drawn, true, "each pour has a line");
    let size = browser.script("return document.documentElement.outerHTML.length").as_u64();
    assert!(size.unwrap() < 120_000, "{size:?}");
    look_at(browser, "review-charts");
    for (width, theme) in [(390, "light"), (1024, "dark"), (1920, "light")] {
        browser.size(width, 1100);
        browser.script(&format!("document.documentElement.dataset.theme = '{theme}'"));
        browser.picture(&format!("review-story-{width}"));
    }
}

#[test]
fn the_keyboard_alone_makes_a_batch() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let bench = super::e2e::bench_in(folder);
    std::fs::create_dir(folder.join("recipes")).unwrap();
    std::fs::write(folder.join("recipes/tested-bar.toml"), super::page_cook::tested_bar()).unwrap();
    let served = Served::start_at(folder, SPEED);
    let browser = Browser::new();
    browser.size(1280, 900);
    browser.open(&served.page());
    let hand = Hand::Keyboard;
    let go = |so: &str, there: &str| {
        tab_to(&browser, so);
        browser.keys(&ENTER.to_string());
        browser.wait(there, &format!("document.title.startsWith({there:?})"));
    };
    go("matches('nav a[href=\"/recipes\"]')", "Recipes");
    go("matches('main a[href$=\"/start\"]')", "Start");
    tab_to(&browser, "matches('form button.main')");
    browser.keys(&ENTER.to_string());
    browser.wait("the bench", "document.title.startsWith('Bench')");
    browser.wait("the batch", "document.querySelector('.pot')");
    weigh_the_oil(&served, &bench);
    pour_too_much(&browser, &served, &bench, hand);
    dissolve_and_combine(&browser, &served, &bench, hand);
    feel_oils_and_lye(&browser, hand);
    hand.yes(&browser, "The lye is in the oils");
    hand.yes(&browser, "Go on without it");
    cook(&browser, &served, &bench, hand);
    tab_to(&browser, "closest('button')?.innerText.includes('Close it: it came out')");
    browser.keys(&ENTER.to_string());
    served.wait("the end", |view| view.batches.is_empty());
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
