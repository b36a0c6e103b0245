//! The scale's cable is pulled and plugged in again in every state of weighing caustic, over a real
//! pseudo-terminal, in life's own time.

use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use panroom::bench::{AlarmChange, AlarmId, Ask, Fact, Phase};
use panroom::clock::Clock;
use panroom::journal::{FactRow, Reader};
use panroom::quantity::{Moment, Span};

use crate::e2e::{Instruments, Served, bench_in, only_batch, scale_line, succeed, weighing};

/// The age a scale's reading may have while caustic is weighed.
const ALLOWED: Span = Span::from_secs(1);
/// From the port's return to the first reading on a screen.
const RESUMED: Duration = Duration::from_secs(2);
const PATIENCE: Duration = Duration::from_secs(30);

const CUP: f64 = 50.0;

struct Trial<'a> {
    folder: &'a Path,
    served: &'a Served,
    bench: &'a Instruments,
    clock: Clock,
    /// What the pan would have to carry for a capture.
    tempting: f64,
}

impl Drop for Trial<'_> {
    /// What was decided last, beside what failed.
    fn drop(&mut self) {
        if std::thread::panicking() {
            let facts = self.facts();
            for row in &facts[facts.len().saturating_sub(16)..] {
                eprintln!("{:?}", row.numbered);
            }
        }
    }
}

impl Trial<'_> {
    fn facts(&self) -> Vec<FactRow> {
        let reader = Reader::open(&self.folder.join("journal.db")).unwrap();
        reader.all_facts().unwrap()
    }

    fn captures(&self) -> usize {
        let captured = |row: &&FactRow| matches!(row.numbered.fact, Fact::Captured { .. });
        self.facts().iter().filter(captured).count()
    }

    fn alarm_since(&self, since: Moment) -> Option<Moment> {
        self.facts().iter().find_map(|row| match &row.numbered.fact {
            Fact::AlarmChanged { alarm, change: AlarmChange::Raised, .. }
                if row.numbered.at >= since && speaks_of_the_scale(alarm) =>
            {
                Some(row.numbered.at)
            }
            _ => None,
        })
    }

    /// Until the last loss is over: back for two seconds, and the zero is known to be the same.
    fn quiet(&self) {
        self.served.wait("the last loss to be over", |view| {
            view.channels.iter().any(|channel| channel.instrument == "scale" && channel.stable)
                && !view.alarms.iter().any(|a| a.active && speaks_of_the_scale(&a.alarm))
        });
    }

    /// Out and in again while the weighing is in `phase`; afterwards it is in `then`.
    fn out_and_in(&self, phase: Phase, then: Phase) {
        let batch = self.served.wait_phase(phase);
        let captures = self.captures();
        let pulled = self.clock.now();
        self.bench.scale.lock().unwrap().unplug().unwrap();
        let began = Instant::now();
        let raised = loop {
            if let Some(raised) = self.alarm_since(pulled) {
                break raised;
            }
            assert!(began.elapsed() < PATIENCE, "{phase:?}: no alarm");
        };
        assert!(raised.since(pulled) <= ALLOWED, "{phase:?}: {}", raised.since(pulled));
        let view = self.served.wait("the blank number", |view| value_of_scale(view).is_none());
        assert_eq!(view.batches[0].batch, batch.batch, "{phase:?}");
        assert_eq!(view.batches[0].step, batch.step, "{phase:?}");

        // what the instrument had said before anybody listened: a load at rest, on target
        let plugged = {
            let mut port = self.bench.scale.lock().unwrap();
            port.plug().unwrap();
            let plugged = Instant::now();
            let line = scale_line("ST", (self.tempting * 10.0).round() as i64);
            (0..100).for_each(|_| port.write(line.as_bytes()).unwrap());
            plugged
        };
        self.served.wait("the number", |view| value_of_scale(view).is_some());
        assert!(plugged.elapsed() < RESUMED, "{phase:?}: {:?}", plugged.elapsed());
        let batch = self.served.wait_phase(then);
        assert_eq!(batch.step, "weigh-naoh");
        assert_eq!(self.captures(), captures, "{phase:?}: captured from old bytes");
    }
}

fn speaks_of_the_scale(alarm: &AlarmId) -> bool {
    match alarm {
        AlarmId::PouringBlind { .. } => true,
        AlarmId::InstrumentLost { instrument } => instrument == "scale",
        _ => false,
    }
}

fn value_of_scale(view: &panroom::bench::View) -> Option<panroom::reading::Value> {
    view.channels.iter().find(|channel| channel.instrument == "scale")?.value
}

#[test]
fn unplugged_and_plugged_in_again_in_every_state_of_weighing() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let bench = bench_in(folder);
    let served = Served::start_at(folder, "1");
    let recipe = folder.join("plain-bar.toml");
    succeed(folder, &["start", recipe.to_str().unwrap()]);
    bench.put(400.0);
    served.wait_phase(Phase::Pouring);
    bench.put(600.0);
    served.wait_step("weigh-naoh");
    bench.put(0.0);
    let batch = served.wait_phase(Phase::AwaitingVessel);
    let (target, guard) = weighing(&batch);
    let tempting = CUP + target;
    let clock = Clock::faster_since_boot(1);
    let trial = Trial { folder, served: &served, bench: &bench, clock, tempting };
    let moving = |so: bool| bench.moving.store(so, Ordering::Relaxed);

    let clear = || {
        served.wait_batch("the clear pan", |batch| batch.sentence.starts_with("Put the empty"));
    };
    clear();
    trial.out_and_in(Phase::AwaitingVessel, Phase::AwaitingVessel);
    trial.quiet();
    clear();
    moving(true);
    bench.put(CUP);
    // what stands there may be another vessel now: the pan must be seen clear again
    trial.out_and_in(Phase::Taring, Phase::AwaitingVessel);
    moving(false);
    bench.put(0.0);
    trial.quiet();
    clear();
    bench.put(CUP);
    served.wait_phase(Phase::Pouring);
    bench.put(CUP + target / 2.0);
    served.wait_batch("half of the caustic", |batch| {
        batch.weighing.as_ref().and_then(|w| w.net).is_some_and(|net| net.grams() > target / 3.0)
    });
    trial.out_and_in(Phase::Pouring, Phase::Pouring);
    trial.quiet();
    bench.put(0.0);
    trial.out_and_in(Phase::Lifted, Phase::Lifted);
    trial.quiet();
    bench.put(CUP + target / 2.0);
    served.wait_phase(Phase::Pouring);
    moving(true);
    bench.put(CUP + target);
    // in motion nothing tells whether it counts from the same zero: blind until it rests
    trial.out_and_in(Phase::Settling, Phase::Blind);
    moving(false);
    served.wait_phase(Phase::Captured);
    trial.quiet();
    trial.out_and_in(Phase::Captured, Phase::Captured);
    trial.quiet();
    // somebody goes on pouring
    moving(true);
    bench.put(CUP + guard + 6.0);
    trial.out_and_in(Phase::Over, Phase::Over);
    moving(false);
    trial.quiet();
    served.wait_ask("a remedy", |ask| matches!(ask, Ask::Remedy { .. }));
    served.does(&["choose", "spoon-out"]);
    bench.put(CUP + target);
    served.wait_phase(Phase::Captured);
    bench.put(0.0);
    served.wait_step("weigh-water");
    let net = trial.facts().iter().rev().find_map(|row| match &row.numbered.fact {
        Fact::Captured { ingredient, net, .. } if ingredient.0 == "naoh" => Some(net.grams()),
        _ => None,
    });
    assert!((net.unwrap() - target).abs() < 0.051, "{net:?} of {target}");
    let said = succeed(folder, &["replay", &only_batch(folder).0]);
    assert!(said.ends_with("all the same\n"), "{said}");
}
