//! The office in a real browser: from an empty data folder to a batch in the ledger, without a
//! file being edited by hand.

use std::path::Path;
use std::time::{Duration, Instant};

use super::browser::Browser;
use super::e2e::Served;
use super::office::Scale;

/// Reached only when something hangs.
const PATIENCE: Duration = Duration::from_secs(60);

/// Fills a field as a person does: the page hears of it.
pub fn fill(browser: &Browser, name: &str, text: &str) {
    let found = browser.script(&format!(
        "const field = document.getElementsByName({0})[0];
         if (!field) return false;
         field.closest('details')?.setAttribute('open', '');
         field.value = {1};
         field.dispatchEvent(new Event('input', {{ bubbles: true }}));
         return field.value === {1};",
        quoted(name),
        quoted(text)
    ));
    assert_eq!(found, true, "{name} takes {text}");
}

fn quoted(text: &str) -> String {
    serde_json::to_string(text).unwrap()
}

pub fn held(browser: &Browser, name: &str) -> String {
    let script = format!("return document.getElementsByName({})[0].value", quoted(name));
    browser.script(&script).as_str().unwrap().to_owned()
}

pub fn press(browser: &Browser, value: &str) {
    follow(browser, &format!("button[name=do][value=\"{value}\"]"));
}

/// Presses what leads to another page, and waits until that one is there.
pub fn follow(browser: &Browser, selector: &str) {
    browser.script("window.isOld = true");
    browser.click(selector);
    // asked anew each time: a script that waits in the page would be lost with the page
    let began = Instant::now();
    let there = "return !window.isOld && document.readyState === 'complete'";
    while browser.script(there) != true {
        assert!(began.elapsed() < PATIENCE, "{selector} leads nowhere");
    }
}

/// What stands beside a field as wrong.
pub fn wrong(browser: &Browser, name: &str) -> String {
    let script = format!(
        "return document.getElementById({})?.innerText ?? ''",
        quoted(&format!("{name}-error"))
    );
    browser.script(&script).as_str().unwrap().to_owned()
}

/// No view may stumble: nothing in the console, nothing that axe-core finds, light and dark.
pub fn look_at(browser: &Browser, view: &str) {
    for theme in ["light", "dark"] {
        browser.script(&format!("document.documentElement.dataset.theme = '{theme}'"));
        assert_eq!(browser.axe(), Vec::<String>::new(), "{view}, {theme}");
        if std::env::var_os("PANROOM_PICTURES").is_some() {
            for width in [390, 1024, 1920] {
                browser.size(width, 1100);
                browser.picture(&format!("{view}-{theme}-{width}"));
            }
            browser.size(1280, 900);
        }
    }
    let wide = "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
    browser.size(390, 844);
    assert_eq!(browser.script(wide), 0, "{view} is wider than a phone");
    browser.size(1280, 900);
    assert_eq!(browser.complaints(), Vec::<String>::new(), "{view}");
}

fn set_up_scale(browser: &Browser, page: &str, folder: &Path) {
    browser.open(&format!("{page}instruments"));
    assert!(browser.text("main").contains("Nothing is set up yet"));
    browser.open(&format!("{page}instruments/setup"));
    fill(browser, "masses", "g");
    let port = folder.join("scale").display().to_string();
    fill(browser, "instrument[1].port", &format!("{port}-not"));
    press(browser, "identify:instrument[1]");
    assert!(wrong(browser, "instrument[1].port").contains("is not there"));
    fill(browser, "instrument[1].port", &port);
    press(browser, "identify:instrument[1]");
    let heard = browser.text("main");
    assert!(heard.contains("It speaks like comma-status-line"), "{heard}");
    assert_eq!(held(browser, "instrument[1].sheet"), "comma-status-line");
    assert_eq!(held(browser, "instrument[1].channel[1].d"), "0.1 g", "its last digit");
    look_at(browser, "setup-heard");
    fill(browser, "instrument[1].channel[1].d", "0.1");
    fill(browser, "instrument[1].channel[1].role", "");
    press(browser, "save");
    assert!(wrong(browser, "instrument[1].channel[1].role").contains("one of scale"));
    fill(browser, "instrument[1].channel[1].role", "scale");
    press(browser, "save");
    let why = wrong(browser, "instrument[1].channel[1].d");
    assert!(why.contains("without a unit"), "{why}; {}", browser.text("body"));
    assert!(wrong(browser, "instrument[1].channel[1].capacity").contains("the most it can weigh"));
    assert_eq!(browser.text("h1"), "Set up the instruments");
    look_at(browser, "setup-wrong");
    fill(browser, "instrument[1].channel[1].d", "0.1 g");
    fill(browser, "instrument[1].channel[1].capacity", "3 kg");
    press(browser, "save");
    assert_eq!(browser.text("h1"), "Instruments");
    browser.wait("the scale's reading", "document.body.innerText.includes('31.2 g')");
    look_at(browser, "instruments");
}

fn weigh_a_vessel(browser: &Browser, page: &str, scale: &Scale) {
    browser.open(&format!("{page}instruments/vessels"));
    press(browser, "add:vessel");
    fill(browser, "vessel[1].name", "white cup");
    fill(browser, "vessel[1].for", "caustic cup");
    fill(browser, "vessel[1].material", "aluminium");
    scale.put(0.0);
    browser.wait("an empty pan", "document.getElementById('load').innerText.includes('0.0 g')");
    press(browser, "weigh:vessel[1]");
    let why = wrong(browser, "vessel[1].tare");
    assert!(why.contains("not at rest") || why.contains("nothing is on the pan"), "{why}");
    scale.put(31.2);
    let rests = "document.getElementById('load').innerText";
    browser.wait("rest", &format!("{rests}.includes('31.2 g') && !{rests}.includes('not')"));
    press(browser, "weigh:vessel[1]");
    assert_eq!(held(browser, "vessel[1].tare"), "31.2 g");
    press(browser, "save");
    assert!(wrong(browser, "vessel[1].material").contains("hydrogen"));
    look_at(browser, "vessels-wrong");
    fill(browser, "vessel[1].material", "polypropylene");
    press(browser, "save");
    assert!(browser.text("main").contains("white cup"));
}

const NAME: &str = "Plain <script>document.title='x'</script> Bar";

fn write_a_recipe(browser: &Browser, page: &str) {
    browser.open(&format!("{page}new-recipe"));
    fill(browser, "name", NAME);
    fill(browser, "superfat", "5");
    fill(browser, "oil[1].fat", "olive oil");
    fill(browser, "oil[1].amount", "140 g");
    fill(browser, "oil[2].fat", "cocunut oil");
    fill(browser, "oil[2].amount", "60 g");
    fill(browser, "liquid.amount", "2.7:1");
    browser.wait("what is wrong, live", "document.getElementById('superfat-error')");
    assert!(
        wrong(browser, "superfat").contains("without a unit"),
        "{}",
        wrong(browser, "superfat")
    );
    assert!(wrong(browser, "oil[2].fat").contains("did you mean"));
    assert!(browser.text("#figures").contains("superfat"));
    look_at(browser, "new-recipe-wrong");
    press(browser, "save");
    assert!(browser.text("main").contains("Not saved"));
    fill(browser, "superfat", "5 %");
    fill(browser, "oil[2].fat", "coconut oil");
    let live = "document.getElementById('figures').innerText";
    browser.wait("live figures", &format!("{live}.includes('guard') && {live}.includes('± ')"));
    let figures = browser.text("#figures");
    assert!(figures.contains("5.2 %") && figures.contains("peak"), "{figures}");
    assert_eq!(wrong(browser, "superfat"), "");
    look_at(browser, "new-recipe-figures");
    press(browser, "save");
    assert!(browser.text("main").contains("Saved"), "{}", browser.text("main"));
    assert_eq!(browser.text("h1"), NAME, "shown as it was typed, never run");
    look_at(browser, "recipe");
}

#[test]
fn from_an_empty_folder_to_a_batch_in_the_ledger() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let scale = Scale::plugged_in(&folder.join("scale"));
    scale.put(31.2);
    let served = Served::from_nothing(folder);
    let page = served.page();
    let browser = Browser::new();
    browser.size(1280, 900);
    set_up_scale(&browser, &page, folder);
    weigh_a_vessel(&browser, &page, &scale);
    let bench = std::fs::read_to_string(folder.join("bench.toml")).unwrap();
    assert!(
        bench.contains(
            "[[vessel]]\nname = \"white cup\"\nfor = \"caustic cup\"\ntare = \"31.2 g\"\n"
        )
    );
    write_a_recipe(&browser, &page);
    let file = folder.join("recipes/plain-script-document-title-x-script-bar.toml");
    let kept = std::fs::read_to_string(&file).unwrap();
    assert!(kept.contains("[[oil]]\nfat = \"coconut oil\"\nmass = \"60 g\"\n"), "{kept}");

    browser.open(&format!("{page}recipes"));
    assert!(browser.text("main").contains("200.0 g of olive oil, coconut oil"));
    look_at(&browser, "recipes");
    let recipe = format!("{page}recipes/{}", file.file_stem().unwrap().to_str().unwrap());
    browser.open(&format!("{recipe}/sheet?how=times&to=2&swap=&by="));
    assert!(browser.text(".batch-sheet").contains("280.0 g"), "{}", browser.text("main"));
    look_at(&browser, "sheet");
    browser.open(&format!("{recipe}/sheet?how=times&to=twice"));
    assert!(wrong(&browser, "to").contains("expected a number above zero"));

    browser.open(&format!("{recipe}/start"));
    fill(&browser, "lot:olive", "OL-23");
    look_at(&browser, "start");
    follow(&browser, "form button.main");
    browser.wait("the bench", "document.title.startsWith('Bench')");

    browser.open(&format!("{page}ledger?q=ol-23+olive"));
    assert!(browser.text("main").contains("not recorded"), "{}", browser.text("main"));
    look_at(&browser, "ledger");
    follow(&browser, "tbody a");
    assert!(browser.text("main").contains("lot OL-23"));
    look_at(&browser, "review-open");
    fill(&browser, "outcome", "failed");
    fill(&browser, "note", "a test that ends early");
    follow(&browser, "section button.main");
    assert!(browser.text("main").contains("a test that ends early"));
    look_at(&browser, "review");
    browser.open(&format!("{page}ledger?q=failed"));
    assert!(browser.text("main").contains("1 batch"));
    browser.open(&format!("{page}ledger?q=shea"));
    assert!(browser.text("main").contains("No batch speaks of all these words"));
}

#[test]
fn a_change_on_the_disk_is_said_and_not_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    std::fs::create_dir(folder.join("recipes")).unwrap();
    let file = folder.join("recipes/mine.toml");
    std::fs::write(&file, panroom::recipe::EXAMPLE).unwrap();
    let served = Served::from_nothing(folder);
    let page = served.page();
    let browser = Browser::new();
    browser.open(&format!("{page}recipes/mine"));
    fill(&browser, "name", "My Bar");
    let by_hand = panroom::recipe::EXAMPLE.replace("45 min", "50 min");
    std::fs::write(&file, &by_hand).unwrap();
    press(&browser, "save");
    assert!(browser.text("main").contains("changed on the disk"), "{}", browser.text("main"));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), by_hand);
    look_at(&browser, "recipe-changed");
    press(&browser, "save-new");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), by_hand);
    assert!(folder.join("recipes/my-bar.toml").exists(), "{}", browser.text("body"));

    // opened anew, one field is changed and one line with it
    browser.open(&format!("{page}recipes/mine"));
    fill(&browser, "superfat", "6 %");
    press(&browser, "save");
    assert!(browser.text("main").contains("Saved"), "{}", browser.text("main"));
    let expected = by_hand.replace("superfat = \"5 %\"", "superfat = \"6 %\"");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), expected);

    browser.open(&format!("{page}recipes/my-bar"));
    follow(&browser, "form[action$=put-away] button");
    assert!(browser.text("main").contains("Put away"), "{}", browser.text("main"));
    assert!(folder.join("recipes/put-away/my-bar.toml").exists());
    browser.open(&format!("{page}recipes/mine"));

    // rows come and go without a script's help
    press(&browser, "add:oil");
    let rows = "return document.querySelectorAll('[id^=\"oil[\"].row-of').length";
    assert_eq!(browser.script(rows), 5);
    press(&browser, "drop:oil[5]");
    assert_eq!(browser.script(rows), 4);

    std::fs::write(&file, "name = \"broken").unwrap();
    browser.open(&format!("{page}recipes/mine"));
    assert_eq!(browser.text("h1"), "mine.toml");
    look_at(&browser, "recipe-text");
    for path in ["recipes/..%2F..%2Fbench", "recipes/.mine", "ledger/nothing"] {
        browser.open(&format!("{page}{path}"));
        assert!(!browser.text("body").contains("masses"), "{path}");
    }
}
