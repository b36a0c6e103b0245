//! The bench page in a real browser, against the real daemon on pseudo-terminals.

use super::browser::Browser;
use super::e2e::serving;

#[test]
fn the_bench_opens_on_this_machine_without_a_code() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving(folder.path());
    let browser = Browser::new();
    browser.open(&served.page());
    assert_eq!(browser.text("h1"), "Bench");
    assert_eq!(browser.complaints(), Vec::<String>::new());
    assert_eq!(browser.axe(), Vec::<String>::new());
}
