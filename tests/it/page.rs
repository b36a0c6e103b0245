//! The bench page in a real browser, against the real daemon on pseudo-terminals.

use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use panroom::bench::{Ask, Fact, Phase};

use super::browser::Browser;
use super::e2e::{Instruments, Served, facts, only_batch, serving_at, succeed, weighing};

/// WebDriver's names of keys without a letter.
const PAGE_DOWN: char = '\u{E00F}';
const ENTER: char = '\u{E007}';
const ESCAPE: char = '\u{E00C}';
const F2: char = '\u{E032}';
/// Longer than a hold must last, with the quarter second that a pedal takes to be a hold.
const HELD_MS: u64 = 1500;
/// Long enough for an act to reach the bench, had it been sent at once.
const TOO_SHORT_MS: u64 = 600;
/// A screen that loses the daemon says so within this.
const LOST_WITHIN: Duration = Duration::from_secs(2);
const SPEED: &str = "1";

fn opened(folder: &Path) -> (Served, Instruments, Browser) {
    let (served, bench) = serving_at(folder, SPEED);
    let browser = Browser::new();
    browser.size(1280, 800);
    browser.open(&served.page());
    browser.wait("the first picture", "document.querySelector('.instruments .instrument')");
    (served, bench, browser)
}

fn start(folder: &Path) {
    let recipe = folder.join("plain-bar.toml");
    succeed(folder, &["start", recipe.to_str().unwrap()]);
}

/// Waits for its moment, so that the page's rule against unread questions is not in the way.
fn read(browser: &Browser, words: &str) {
    let asked =
        format!("document.querySelector('.question[data-read]')?.innerText.includes({words:?})");
    browser.wait(words, &asked);
}

fn sentence(browser: &Browser, begins: &str) {
    let so = format!("document.querySelector('.sentence')?.innerText.startsWith({begins:?})");
    browser.wait(begins, &so);
}

/// Into the cup on the pan, until it is over the guard.
fn pour_too_much(served: &Served, bench: &Instruments) -> f64 {
    bench.put(0.0);
    served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
    bench.put(50.0);
    let (target, guard) = weighing(&served.wait_phase(Phase::Pouring));
    bench.moving.store(true, Ordering::Relaxed);
    bench.put(50.0 + guard + 6.0);
    target
}

fn weigh_the_oil(served: &Served, bench: &Instruments) {
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(600.0);
    served.wait_step("weigh-naoh");
}

fn no_offence(browser: &Browser) {
    for theme in ["light", "dark"] {
        browser.script(&format!("document.documentElement.dataset.theme = '{theme}'"));
        assert_eq!(browser.axe(), Vec::<String>::new(), "{theme}");
    }
    browser.script("delete document.documentElement.dataset.theme");
}

#[test]
fn a_batch_is_made_at_the_page_by_pan_hold_and_pedal() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    no_offence(&browser);
    start(folder.path());

    // the pan alone
    bench.put(400.0);
    browser.wait("the pour", "document.querySelector('.pot').dataset.pour === 'free'");
    bench.put(520.0);
    browser.wait("80 g left", "document.querySelector('.big').innerText.startsWith('80.0')");
    assert!(browser.text(".beneath").contains("120.0 g in, of 200.0 g"));
    bench.put(600.0);
    browser.wait("the caustic", "document.querySelector('.where').innerText.includes('step 2')");

    // too much caustic: seen by the pedal, the remedy held with a finger
    let target = pour_too_much(&served, &bench);
    browser.wait("the alarm", "document.querySelector('.alarm.high button.seen')");
    read(&browser, "Spoon out");
    no_offence(&browser);
    browser.keys(&PAGE_DOWN.to_string());
    browser.wait("that it is seen", "!document.querySelector('.alarm.high button.seen')");
    browser.hold(".question button[data-hold]", TOO_SHORT_MS);
    browser.wait("a hint", "document.getElementById('said').innerText.includes('Hold it')");
    let spoon = |ask: &Ask| matches!(ask, Ask::Remedy { options, .. } if options.len() == 2);
    served.wait_ask("a short press chooses nothing", spoon);
    browser.hold(".question button[data-hold]", HELD_MS);
    let rest = |ask: &Ask| matches!(ask, Ask::Remedy { options, .. } if options.len() == 1);
    served.wait_ask("the spoon", rest);
    bench.moving.store(false, Ordering::Relaxed);
    bench.put(50.0 + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);

    // water, then everything by the pedal
    served.wait_step("weigh-water");
    sentence(&browser, "Put the empty");
    bench.put(120.0);
    let (target, _) = weighing(&served.wait_phase(Phase::Pouring));
    bench.put(120.0 + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
    read(&browser, "It is all in");
    browser.keys(&PAGE_DOWN.to_string());
    served.wait_ask("the cup", |ask| matches!(ask, Ask::VesselBack { .. }));
    bench.put(50.0);
    read(&browser, "The lye is in the oils");
    bench.put(0.0);
    browser.keys(&PAGE_DOWN.to_string());
    // no probe watches the windows, so this yes is held
    read(&browser, "all the same");
    browser.hold_key(PAGE_DOWN, HELD_MS);
    read(&browser, "Go on without it");
    browser.keys(&PAGE_DOWN.to_string());
    served.wait_step("cook");

    // too hot, and seen by the pedal
    bench.celsius_tenths.store(965, Ordering::Relaxed);
    browser.wait("the heat", "document.querySelector('.alarm.medium button.seen')");
    assert!(browser.text(".big").starts_with("96.5"), "{}", browser.text(".big"));
    browser.keys(&PAGE_DOWN.to_string());
    browser.wait("that it is seen", "!document.querySelector('.alarm.medium button.seen')");
    no_offence(&browser);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn the_keyboard_alone_holds_a_remedy_and_opens_the_card() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    start(folder.path());
    weigh_the_oil(&served, &bench);
    pour_too_much(&served, &bench);
    read(&browser, "Spoon out");
    browser.keys(&F2.to_string());
    browser.wait("the card", "document.getElementById('card').open");
    no_offence(&browser);
    browser.keys(&ESCAPE.to_string());
    browser.wait("the card to go", "!document.getElementById('card').open");
    browser.script("document.querySelector('.question button[data-hold]').focus()");
    browser.hold_key(ENTER, TOO_SHORT_MS);
    let options = |count: usize| move |ask: &Ask| matches!(ask, Ask::Remedy { options, .. } if options.len() == count);
    served.wait_ask("a short press chooses nothing", options(2));
    browser.hold_key(ENTER, HELD_MS);
    served.wait_ask("the spoon", options(1));
    let facts = facts(folder.path(), &only_batch(folder.path()));
    assert!(facts.iter().any(|fact| matches!(fact, Fact::EmergencyOpened { .. })));
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn two_screens_racing_one_question_answer_it_once() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    let (first, second) = browser.second_window();
    browser.switch_to(&second);
    browser.open(&served.page());
    start(folder.path());
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(560.0);
    let asked = served.wait_ask("a short oil", |ask| matches!(ask, Ask::TakeShort { .. }));
    let prompt = asked.prompt.unwrap().prompt;
    let ready = "new BroadcastChannel('race').onmessage = () =>
        document.querySelector('.question button.main').click()";
    for window in [&first, &second] {
        browser.switch_to(window);
        read(&browser, "Leave it so");
        browser.script(&format!("window.race = {ready}; {ready}"));
    }
    browser.script(
        "document.querySelector('.question button.main').click();
         new BroadcastChannel('race').postMessage('now')",
    );
    served.wait_step("weigh-naoh");
    let mut said = Vec::new();
    for window in [&first, &second] {
        browser.switch_to(window);
        browser.wait("an answer", "document.getElementById('said').innerText !== ''");
        said.push(browser.text("#said"));
    }
    assert!(
        said.iter().all(|words| ["Done.", "Already answered."].contains(&&**words)),
        "{said:?}"
    );
    // and long after, the same act is still refused or known as done
    let late = format!(
        "const answer = await fetch('/api/act', {{ method: 'POST', headers: {{ 'content-type':
         'application/json' }}, body: '{{\"confirm\":{{\"prompt\":{prompt}}}}}' }});
         return JSON.stringify(await answer.json())"
    );
    let late = browser.script(&format!("return (async () => {{ {late} }})()"));
    assert_eq!(late, r#""already-done""#);
    let facts = facts(folder.path(), &only_batch(folder.path()));
    let answered = facts.iter().filter(
        |fact| matches!(fact, Fact::PromptClosed { prompt: closed, answered: true, .. } if *closed == prompt),
    );
    assert_eq!(answered.count(), 1);
}

#[test]
fn a_lost_daemon_is_said_within_two_seconds_and_no_number_stays() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    start(folder.path());
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(520.0);
    browser.wait("80 g left", "document.querySelector('.big').innerText.startsWith('80.0')");
    // alive, its connection open, and silent: what only a missing beat tells
    let began = Instant::now();
    served.signal(rustix::process::Signal::STOP);
    browser.wait("the loss", "document.body.hasAttribute('data-lost')");
    let took = began.elapsed();
    let shown = browser.script(
        "return [...document.querySelectorAll('[data-live]')].map(each => each.innerText).join('')",
    );
    let pointers = browser.script("return document.querySelectorAll('.dip .pointer').length");
    served.signal(rustix::process::Signal::CONT);
    assert!(took <= LOST_WITHIN, "{took:?}");
    assert!(shown.as_str().unwrap().chars().all(|letter| letter == '—'), "{shown}");
    assert_eq!(pointers, 0);
    browser.wait("the daemon", "!document.body.hasAttribute('data-lost')");
    browser.wait("80 g left", "document.querySelector('.big').innerText.startsWith('80.0')");
    let began = Instant::now();
    served.kill();
    browser.wait("the loss", "document.body.hasAttribute('data-lost')");
    assert!(began.elapsed() <= LOST_WITHIN, "{:?}", began.elapsed());
    assert!(browser.text("#lost").contains("nothing is watched"));
    assert_eq!(browser.axe(), Vec::<String>::new());
}

#[test]
fn the_daemon_knows_who_can_be_heard() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    browser.script(
        "window.started = 0; const start = OscillatorNode.prototype.start;
         OscillatorNode.prototype.start = function (...when) {
           window.started += 1; return start.apply(this, when); }",
    );
    start(folder.path());
    weigh_the_oil(&served, &bench);
    browser.wait("the notice", "document.getElementById('nobody-hears')");
    assert!(served.view().unwrap().nobody_hears);
    browser.click("#sound-on");
    browser.wait("the question", "!document.getElementById('heard').hidden");
    no_offence(&browser);
    browser.click("#heard-no");
    assert!(served.view().unwrap().nobody_hears, "what was not heard does not count");
    browser.click("#sound-on");
    browser.click("#heard-yes");
    served.wait("that somebody hears", |view| !view.nobody_hears);
    browser.wait("the notice to go", "!document.getElementById('nobody-hears')");
    let before = browser.script("return window.started").as_i64().unwrap();
    pour_too_much(&served, &bench);
    browser.wait("a burst", &format!("window.started >= {}", before + 10));
    // the screen goes, and with it whoever heard it
    browser.open("about:blank");
    served.wait("that nobody hears", |view| view.nobody_hears);
}

#[test]
fn two_pots_stand_side_by_side_and_the_scale_goes_from_one_to_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    start(folder.path());
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    start(folder.path());
    browser.wait("both", "document.querySelectorAll('.pot .pot-name').length === 2");
    let names = browser
        .script("return [...document.querySelectorAll('.pot-name')].map(each => each.innerText)");
    assert_eq!(names, serde_json::json!(["Pot A", "Pot B"]));
    no_offence(&browser);
    for width in [390, 1920] {
        browser.size(width, 1080);
        browser.picture(&format!("bench-two-pots-{width}"));
        let wide = browser.script("return document.documentElement.scrollWidth > innerWidth");
        assert_eq!(wide, false, "at {width}");
    }
    bench.put(0.0);
    browser.script(
        "document.querySelectorAll('.pot')[1].querySelectorAll('details')
           .forEach(each => { each.open = true; })",
    );
    let bring = "[...document.querySelectorAll('.pot')[1].querySelectorAll('button')]
        .find(each => each.innerText === 'Bring the scale here')";
    browser.wait("the offer", bring);
    browser.script(&format!("{bring}.click()"));
    served.wait("the scale to move", |view| view.batches[1].has_scale);
    browser.wait(
        "that it is said",
        "document.querySelectorAll('.pot .where')[1].innerText.includes('has the scale')",
    );
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn a_browser_that_blocks_sound_is_said_to() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving_at(folder.path(), SPEED);
    let browser = Browser::untouched();
    browser.open(&served.page());
    assert_eq!(browser.text("#sound-state"), "Sound is not tested on this screen.");
    // heard before, and then loaded anew without a touch
    browser.script("sessionStorage.setItem('heard', 'yes')");
    browser.open(&served.page());
    let said = "document.getElementById('sound-state').innerText";
    browser.wait("the notice", &format!("{said}.includes('The browser blocks sound')"));
    browser.click("#again");
    browser.wait("sound again", &format!("{said} === 'Sound is not tested on this screen.'"));
}

#[test]
fn nothing_moves_where_motion_is_unwelcome() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving_at(folder.path(), SPEED);
    let moves = |browser: &Browser| {
        browser.open(&served.page());
        browser.script(
            "const held = document.createElement('button');
             held.className = 'hold'; held.setAttribute('data-holding', '');
             document.querySelector('main').append(held);
             return getComputedStyle(held, '::after').transitionDuration",
        )
    };
    assert_eq!(moves(&Browser::new()), "1s", "a hold shows how long it lasts");
    assert_eq!(moves(&Browser::still()), "0s");
}

#[test]
fn the_page_fits_from_a_phone_to_a_wall_and_with_text_twice_as_large() {
    let folder = tempfile::tempdir().unwrap();
    let (served, bench, browser) = opened(folder.path());
    start(folder.path());
    weigh_the_oil(&served, &bench);
    pour_too_much(&served, &bench);
    read(&browser, "Spoon out");
    for (width, height, text) in
        [(390, 844, 100), (820, 1180, 100), (1920, 1080, 100), (820, 1180, 200), (1280, 800, 200)]
    {
        browser.size(width, height);
        browser.script(&format!("document.documentElement.style.fontSize = '{text}%'"));
        browser.picture(&format!("bench-over-{width}-{text}"));
        assert_eq!(browser.too_wide(), Vec::<String>::new(), "at {width} with text at {text} %");
        let small = browser.script(
            "return [...document.querySelectorAll('button')].filter(each => each.offsetParent
               && (each.offsetHeight < 44 || each.offsetWidth < 44)).map(each => each.innerText)",
        );
        assert_eq!(small, serde_json::json!([]), "too small for a knuckle");
    }
}
