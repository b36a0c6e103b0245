//! Invariants 8, 10 and 12; the others are in `bench` and `tests/scenarios`.

use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::sync::Arc;

use panroom::bench::{Act, AlarmId, BatchId, Bench, Fact, Input, Numbered};
use panroom::quantity::{Moment, Share, Span};
use panroom::reading::Channel;
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

// --- several pots: whose scale, whose caustic ----------------------------------------------------

/// What hands and screens may do on a bench with three pots, in any order.
#[derive(Clone, Copy, Debug)]
enum Deed {
    Put(f64),
    Pour(f64),
    /// To the middle of what is being weighed.
    Fill,
    OverFill,
    Wait,
    Take(usize),
    Confirm(usize),
    Abandon(usize),
    Silence,
    Restart,
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        4 => prop::sample::select(vec![0.0, CUP_G, 120.0, POT_G, POT_G + 31.0]).prop_map(Deed::Put),
        2 => (1.0..60.0).prop_map(Deed::Pour),
        6 => Just(Deed::Fill),
        1 => Just(Deed::OverFill),
        2 => Just(Deed::Wait),
        4 => (0..3_usize).prop_map(Deed::Take),
        4 => (0..3_usize).prop_map(Deed::Confirm),
        1 => (0..3_usize).prop_map(Deed::Abandon),
        1 => Just(Deed::Silence),
        1 => Just(Deed::Restart),
    ]
}

fn does(driver: &mut Driver, deed: Deed, ids: &[BatchId]) {
    let open = |driver: &Driver, index: usize| {
        driver.view().batches.into_iter().find(|batch| batch.batch == ids[index])
    };
    match deed {
        Deed::Put(grams) => driver.put(grams),
        Deed::Pour(grams) => driver.pour_to(driver.load + grams),
        Deed::Fill | Deed::OverFill => {
            let weighing = driver.view().batches.into_iter().find_map(|batch| batch.weighing);
            let Some(weighing) = weighing else { return };
            let more = weighing.left.map_or(0.0, |left| left.grams());
            let slip = if matches!(deed, Deed::OverFill) { 6.0 } else { 0.0 };
            if more > 0.0 {
                driver.pour_to(driver.load + more + slip);
            }
        }
        Deed::Wait => driver.run(4.0),
        Deed::Take(index) => {
            driver.act(Act::Scale { batch: ids[index].clone() });
        }
        Deed::Confirm(index) => {
            if let Some(prompt) = open(driver, index).and_then(|batch| batch.prompt) {
                driver.act(Act::Confirm { prompt: prompt.prompt });
            }
        }
        Deed::Abandon(index) => {
            let reason = "no time".to_owned();
            driver.act(Act::Abandon { batch: ids[index].clone(), reason });
        }
        Deed::Silence => {
            driver.scale_talks = false;
            driver.run(5.0);
            driver.scale_talks = true;
        }
        Deed::Restart => driver.kill_and_restart(),
    }
}

/// Judges every fact by the state before it.
fn judge_leases(facts: &[Numbered]) {
    let scale = Channel::new("scale");
    for (index, numbered) in facts.iter().enumerate() {
        let Fact::LeaseTaken { batch: to, channel } = &numbered.fact else { continue };
        if *channel != scale {
            continue;
        }
        // as it stood before the lease was returned, if it was in the same breath
        let before = match facts[index - 1].fact {
            Fact::LeaseReturned { .. } => index - 1,
            _ => index,
        };
        let bench = Bench::recover(&facts[..before]);
        let state = bench.state();
        let Some(from) = state.leases.get(&scale).and_then(|id| state.batches.get(id)) else {
            continue;
        };
        assert_ne!(from.id, *to);
        let tared = from.weigh().is_some_and(|(_, weighing)| weighing.tare.is_some());
        assert!(!(from.weighs_caustic() && tared), "{}: a caustic cup is on the pan", from.id);
        let latched = state.alarms.iter().any(|(alarm, raised)| {
            raised.active
                && matches!(alarm, AlarmId::CausticOver { batch, .. } if *batch == from.id)
        });
        assert!(!latched, "{}: an over-pour is latched", from.id);
    }
}

fn judge_caustic(driver: &Driver) {
    let state = driver.bench.state();
    let with: Vec<_> = state.batches.values().filter(|batch| batch.has_caustic()).collect();
    assert!(with.len() <= 1, "{:?} and {:?} have caustic", with[0].id, with[1].id);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever is done in whatever order: one cup of caustic at a time, and no lease moves from
    /// it; after every input the facts alone give the state (the driver checks that).
    #[test]
    fn leases_never_move_from_caustic(deeds in prop::collection::vec(deed(), 10..60)) {
        let mut driver = Driver::started();
        let ids = [batch_id(), BatchId("2026-11-25-b".to_owned()), BatchId("2026-11-25-c".to_owned())];
        for id in &ids[1..] {
            let (batch, control) = (id.clone(), Arc::new(control()));
            driver.act(Act::start(batch, control));
        }
        for deed in deeds {
            does(&mut driver, deed, &ids);
            judge_caustic(&driver);
        }
        judge_leases(&driver.facts);
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
    let started = Act::start(batch_id(), Arc::new(changed));
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
