//! Invariants 8, 10 and 12; the others are in `bench` and `tests/scenarios`.

use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::sync::Arc;

use panroom::bench::{Act, Bench, Fact, Input, Numbered};
use panroom::quantity::{Moment, Share, Span};
use panroom::wire::{ChannelMap, Decoder, SheetLibrary};
use proptest::prelude::*;

use crate::driver::{CUP_G, Driver, POT_G, batch_id, control, g};

// --- invariant 8: the same inputs in the same order give the same facts --------------------------

#[test]
fn invariant_8_the_same_inputs_give_the_same_facts() {
    let mut driver = Driver::at_caustic();
    driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
    driver.scale_talks = false;
    driver.run(20.0);
    driver.scale_talks = true;
    driver.put(0.0);
    driver.put(CUP_G + driver.target());
    driver.run(5.0);
    let mut again = Bench::new();
    let mut facts: Vec<Numbered> = Vec::new();
    for (at, input) in &driver.inputs {
        facts.extend(again.handle(*at, input).facts);
    }
    assert!(facts.len() > 15, "{} facts are no batch", facts.len());
    assert_eq!(facts, driver.facts);
}

/// A wake-up that the daemon sends late, or not at all, changes nothing that is decided.
#[test]
fn invariant_8_ticks_in_between_change_nothing() {
    let facts = |ticks: bool| {
        let mut driver = Driver::at_caustic();
        driver.pour_without_rest(CUP_G + driver.guard().grams() + 3.0);
        driver.scale_talks = false;
        let began = driver.now;
        for step in 0..200 {
            driver.now = began + Span::from_millis(step * 50);
            if ticks || step == 199 {
                driver.input(&Input::Tick);
            }
        }
        let changes = driver.facts.iter().filter_map(|numbered| match &numbered.fact {
            Fact::AlarmChanged { alarm, change, .. } => Some((numbered.at, alarm.clone(), *change)),
            _ => None,
        });
        changes.collect::<Vec<_>>()
    };
    assert_eq!(facts(true), facts(false));
}

// --- invariant 10: no bytes, no request, no file can crash it or grow it without bound -----------

proptest! {
    #[test]
    fn invariant_10_no_bytes_from_a_port_panic(
        pieces in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..80), 0..20)
    ) {
        let library = SheetLibrary::built_in().unwrap();
        for (_, _, sheet) in library.iter() {
            let channels: Vec<ChannelMap> = Vec::new();
            let mut decoder = Decoder::new(Arc::clone(sheet), channels);
            let (mut items, mut at) = (Vec::new(), Moment::from_nanos(0));
            for piece in &pieces {
                at = at + Span::from_millis(7);
                decoder.push(at, piece, &mut items);
            }
            decoder.idle(at + Span::from_secs(1), &mut items);
        }
    }

    #[test]
    fn invariant_10_no_masses_panic_the_bench(
        loads in prop::collection::vec(-9_000_000_i64..9_000_000, 1..60)
    ) {
        let mut driver = Driver::at_caustic();
        for tenths in loads {
            driver.load = tenths as f64 / 10.0;
            driver.tick();
        }
    }
}

#[test]
fn invariant_10_no_request_stops_the_daemon() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = crate::e2e::serving(folder.path());
    let socket = folder.path().join("panroom.sock");
    let long = format!(
        "POST /start HTTP/1.1\r\nhost: x\r\ncontent-length: {0}\r\n\r\n{1}",
        1 << 20,
        "x".repeat(300 * 1024)
    );
    let requests: [&[u8]; 6] = [
        b"GET /../../etc/passwd HTTP/1.1\r\nhost: x\r\n\r\n",
        b"POST /act HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 3\r\n\r\n{{{",
        b"POST /act HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 9\r\n\r\n\"confirm\"",
        b"GET /review/%00%ff HTTP/1.1\r\nhost: x\r\n\r\n",
        b"\x00\x01\x02 nonsense\r\n\r\n",
        long.as_bytes(),
    ];
    for request in requests {
        let mut stream = UnixStream::connect(&socket).unwrap();
        // a daemon that has heard enough may hang up before it is told everything
        let _ = stream.write_all(request);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer);
        assert!(!answer.starts_with("HTTP/1.1 2"), "{answer}");
        crate::e2e::succeed(folder.path(), &["watch", "--json"]);
    }
    served.kill();
}

// --- invariant 12: a batch is judged by its control recipe ---------------------------------------

#[test]
fn invariant_12_a_batch_is_judged_by_the_recipe_it_began_with() {
    let mut driver = Driver::started();
    driver.put(POT_G);
    driver.pour_to(POT_G + 100.0);
    // the file says something else now, and a restart reads nothing but facts
    let mut changed = control();
    changed.formula.superfat = Share::from_percent(30);
    let started = Act::Start { batch: batch_id(), control: Arc::new(changed), operator: None };
    driver.act(started);
    driver.kill_and_restart();
    driver.put(POT_G + 100.0);
    driver.confirm();
    driver.pour_to(POT_G + 300.0);
    driver.put(0.0);
    driver.put(CUP_G);
    // by hand: (100 g × 256 + 200 g × 190) mg KOH/g × 0.7128896 × 0.95 = 43.073 g, floored to 0.1 g
    assert_eq!(driver.weighing_target(), g("43.0"));
}
