//! How long a number takes from the wire to a screen, with twenty screens: reported, not judged,
//! since a busy machine proves nothing. More samples: `PANROOM_LATENCY_SAMPLES=500`.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use super::browser::Browser;
use super::e2e::serving_at;

const OTHERS: usize = 19;
const SAMPLES: usize = 20;

/// Notes when the pan's number changed, in milliseconds since 1970.
const OBSERVE: &str = "
  window.seen = {};
  new MutationObserver(() => {
    const shown = document.querySelector('.instrument[data-key=scale] .reading').innerText;
    window.seen[shown] ??= performance.timeOrigin + performance.now();
  }).observe(document.getElementById('bench'), { subtree: true, childList: true, characterData: true })";

/// A screen that only listens; gives the cookie of a page already opened.
fn listen(at: &str, cookie: &str, heard: &Arc<AtomicU64>) {
    let mut stream = TcpStream::connect(at).unwrap();
    let head = format!("GET /live HTTP/1.1\r\nHost: {at}\r\nCookie: {cookie}\r\n\r\n");
    stream.write_all(head.as_bytes()).unwrap();
    let heard = Arc::clone(heard);
    std::thread::spawn(move || {
        let mut bytes = [0; 65536];
        // ends with the daemon
        while let Ok(read @ 1..) = stream.read(&mut bytes) {
            heard.fetch_add(read as u64, Ordering::Relaxed);
        }
    });
}

fn cookie(at: &str) -> String {
    let mut stream = TcpStream::connect(at).unwrap();
    let head =
        format!("GET / HTTP/1.1\r\nHost: {at}\r\nAccept: text/html\r\nConnection: close\r\n\r\n");
    stream.write_all(head.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    let line = answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    line.split(';').next().unwrap().to_owned()
}

fn now_ms() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs_f64() * 1e3
}

#[test]
fn twenty_screens_see_every_number() {
    let samples = std::env::var("PANROOM_LATENCY_SAMPLES").ok().and_then(|n| n.parse().ok());
    let samples: usize = samples.unwrap_or(SAMPLES);
    let folder = tempfile::tempdir().unwrap();
    let (served, bench) = serving_at(folder.path(), "1");
    let url = served.page();
    let at =
        url.trim_start_matches("http://").trim_end_matches('/').replace("localhost", "127.0.0.1");
    let heard = Arc::new(AtomicU64::new(0));
    let cookie = cookie(&at);
    for _ in 0..OTHERS {
        listen(&at, &cookie, &heard);
    }
    let browser = Browser::new();
    browser.open(&url);
    browser.wait("the pan", "document.querySelector('.instrument[data-key=scale]')");
    browser.script(OBSERVE);
    let mut took: Vec<f64> = (0..samples)
        .map(|sample| {
            let grams = 100.0 + sample as f64 / 2.0;
            let shown = format!("{grams:.1} g");
            let put = now_ms();
            bench.put(grams);
            browser.wait(&shown, &format!("window.seen['{shown}']"));
            browser.script(&format!("return window.seen['{shown}']")).as_f64().unwrap() - put
        })
        .collect();
    took.sort_by(f64::total_cmp);
    let part = |share: f64| took[((took.len() - 1) as f64 * share).round() as usize];
    println!(
        "load set → number in the page, {} screens, {samples} samples: p50 {:.0} ms, p99 {:.0} ms \
         (up to 10 ms of it before the instrument speaks)",
        OTHERS + 1,
        part(0.5),
        part(0.99)
    );
    assert!(took[0] > 0.0, "a number was seen before it was there");
    assert!(
        heard.load(Ordering::Relaxed) > OTHERS as u64 * 1000,
        "the other screens heard nothing"
    );
}
