//! Two and three pots on one scale, with random faults, judged against what is really in each cup:
//! no over-pour of caustic that lasts goes unalarmed, nothing above the guard is ever captured, and
//! no two cups of caustic are about at once.
//!
//! `PANROOM_SHARED_HOURS=100 cargo test --release --test it campaign_pots -- --nocapture` runs so
//! many simulated bench-hours; the tests run a short one. A failing seed is printed.

use std::collections::BTreeMap;
use std::sync::Arc;

use panroom::bench::{
    Act, AlarmId, BatchId, Bench, Fact, Input, JournalStatus, Numbered, Phase, SessionOpened, View,
};
use panroom::chemistry::IngredientId;
use panroom::quantity::{Mass, MassUnit, Moment, Share, Span};
use panroom::sim::fixture::{self, SimBench};
use panroom::sim::{Chance, Event, Fault, FaultKind, Orders, Story, When, World};

const SHORT_HOURS: f64 = 1.5;
/// The law's half second, the second in which a load put down rings, and the lag of the scale.
const ALARMED_WITHIN: Span = Span::from_millis(1900);
/// Rounding, noise and lag of the simulated scale together.
const DOUBT_G: f64 = 0.6;
const STEP: Span = Span::from_millis(50);
/// Several pots wait for one scale.
const LONGEST: Span = Span::from_minutes(70);

#[derive(Default)]
struct Tally {
    hours: f64,
    batches: u32,
    finished: u32,
    faults: u32,
    over_pours: u32,
    captures: u32,
    caustic_alarms: u32,
}

#[test]
fn several_pots_at_once() {
    let hours = std::env::var("PANROOM_SHARED_HOURS")
        .ok()
        .map_or(SHORT_HOURS, |hours| hours.parse().expect("hours are a number"));
    let mut tally = Tally::default();
    let mut seed = 1;
    while tally.hours < hours {
        play(seed, &mut tally);
        seed += 1;
    }
    println!(
        "{:.1} simulated bench-hours, {} batches ({} finished), {} faults, {} over-pours of \
         caustic, {} caustic alarms, {} captures",
        tally.hours,
        tally.batches,
        tally.finished,
        tally.faults,
        tally.over_pours,
        tally.caustic_alarms,
        tally.captures
    );
    assert!(tally.over_pours > 0 && tally.faults > 0, "a campaign without trouble proves nothing");
}

const fn pots_of(seed: u64) -> usize {
    if seed.is_multiple_of(3) { 3 } else { 2 }
}

const BENCH: &str = "three-pots";

fn batch_of(pot: usize) -> BatchId {
    BatchId(format!("campaign-{}", ["a", "b", "c"][pot]))
}

fn story(seed: u64) -> Story {
    let mut chance = Chance::new(seed);
    let grams = |grams: f64| Mass::from_grams_rounded(grams);
    let mut off_target = Vec::new();
    if chance.happens(0.5) {
        off_target.push((IngredientId::from("naoh"), grams(chance.between(-3.0, 12.0))));
    }
    if chance.happens(0.2) {
        off_target.push((IngredientId::from("olive"), grams(chance.between(-20.0, 20.0))));
    }
    let seconds = |seconds: f64| Span::from_millis((seconds * 1000.0) as i64);
    let mut faults = Vec::new();
    for _ in 0..3 {
        if !chance.happens(0.4) {
            continue;
        }
        let kinds = [
            FaultKind::Unplug,
            FaultKind::Garbage,
            FaultKind::DropOuts(Share::from_percent(40)),
            FaultKind::Knock,
            FaultKind::Sleep,
            FaultKind::Period(Span::from_millis(400)),
        ];
        let kind = kinds[chance.between(0.0, kinds.len() as f64 - 0.001) as usize];
        let ingredients = ["coconut", "olive", "naoh", "water"];
        let ingredient = ingredients[chance.between(0.0, 3.999) as usize];
        let share = Share::from_percent(chance.between(5.0, 100.0) as i64);
        faults.push(Fault {
            kind,
            of: "scale".to_owned(),
            when: When::Poured(ingredient.into(), share),
            lasts: Some(seconds(chance.between(1.0, 40.0))),
        });
    }
    Story {
        title: format!("campaign, seed {seed}"),
        recipe: "three-oils".to_owned(),
        bench: BENCH.to_owned(),
        seed,
        pots: pots_of(seed),
        until: LONGEST,
        hand: Some(Orders { off_target, ..Orders::default() }),
        faults,
        inputs: Vec::new(),
        expect: None,
    }
}

#[derive(Default)]
struct Over {
    /// Since when there is really too much caustic in a cup that the bench can see.
    since: Option<Span>,
    counted: bool,
}

struct Play<'a> {
    seed: u64,
    bench: Bench,
    world: World,
    sim: &'a SimBench,
    facts: Vec<Numbered>,
    origin: Moment,
    /// For each pot.
    over: [Over; 3],
    heard: Option<Span>,
}

fn play(seed: u64, tally: &mut Tally) {
    let story = story(seed);
    let sim = fixture::bench(BENCH).expect("a bench of ours");
    let mut play = Play {
        seed,
        bench: Bench::new(),
        world: World::new(&story, &sim).with_readings(),
        sim: &sim,
        facts: Vec::new(),
        origin: Moment::from_nanos(0) + Span::from_secs(1000),
        over: Default::default(),
        heard: None,
    };
    let ended = play.run(tally);
    tally.hours += ended.seconds() / 3600.0;
    tally.batches += story.pots as u32;
    tally.faults += story.faults.len() as u32;
    play.check_facts(tally, story.faults.is_empty() && story.hand.unwrap().off_target.is_empty());
}

impl Play<'_> {
    fn run(&mut self, tally: &mut Tally) -> Span {
        let opened = SessionOpened {
            session: 1,
            setup: self.sim.setup.clone(),
            utc_ns: 1_795_593_600_000_000_000,
            unwatched: None,
            last_seen: None,
        };
        self.input(Span::ZERO, &Input::Session(opened));
        let control = Arc::new(fixture::three_oils());
        let pots = pots_of(self.seed);
        for pot in 0..pots {
            let (batch, control) = (batch_of(pot), Arc::clone(&control));
            let start = Act::start(batch, control);
            self.input(Span::from_millis(500), &Input::Act(start));
        }
        let mut now = Span::from_millis(500);
        while now < LONGEST {
            now = now + STEP;
            let view = self.bench.view(self.origin + now);
            if view.batches.is_empty() {
                tally.finished += pots as u32;
                return now;
            }
            for event in self.world.advance(now, &view) {
                self.take(now, event);
            }
            for pot in 0..pots {
                self.watch_caustic(pot, now, tally);
            }
        }
        println!("seed {} does not finish: {}", self.seed, self.standing(now));
        now
    }

    /// What a batch that does not come to its end is waiting for.
    fn standing(&self, now: Span) -> String {
        let view = self.bench.view(self.origin + now);
        let batch = &view.batches[0];
        let phase = batch.weighing.as_ref().map(|weighing| weighing.phase);
        let scale = &view.channels[0];
        format!(
            "{} {phase:?} {:?} {} (scale {:?}, {:?}, stable {}, faults {:?})",
            batch.step,
            batch.prompt,
            batch.sentence,
            scale.value,
            scale.status,
            scale.stable,
            story(self.seed).faults
        )
    }

    fn take(&mut self, now: Span, event: Event) {
        match event {
            Event::Reading(mut reading) => {
                let at = reading.at.since(Moment::from_nanos(0));
                reading.at = self.origin + at;
                if reading.channel.as_str() == "scale" && reading.mass().is_some() {
                    self.heard = Some(now);
                }
                self.input(at, &Input::Reading(reading));
            }
            Event::Refused { instrument } => self.input(now, &Input::Refused { instrument }),
            Event::Unplugged { instrument } => {
                let why = "unplugged".to_owned();
                self.input(now, &Input::InstrumentLost { instrument, why });
            }
            Event::Plugged { instrument } => {
                self.input(now, &Input::InstrumentBack { instrument });
            }
            Event::Act(act) => self.input(now, &Input::Act(act)),
            Event::Bytes { .. } | Event::Note(_) => {}
        }
    }

    fn input(&mut self, at: Span, input: &Input) {
        let output = self.bench.handle(self.origin + at, input);
        let any = !output.facts.is_empty();
        self.facts.extend(output.facts);
        if any {
            let up_to = self.facts.last().map_or(0, |fact| fact.number);
            self.input(at, &Input::Journal(JournalStatus::Committed { up_to }));
        }
    }

    /// Too much caustic, seen by a scale that speaks, for longer than the law allows.
    fn watch_caustic(&mut self, pot: usize, now: Span, tally: &mut Tally) {
        let view = self.bench.view(self.origin + now);
        let guard = weighing_guard(&view, &batch_of(pot));
        let naoh = IngredientId::from("naoh");
        let really = self.world.really_holds(&batch_of(pot), &naoh).unwrap_or_default();
        let speaks = self.heard.is_some_and(|heard| now - heard < Span::from_millis(900));
        let over = guard.is_some_and(|guard| really.grams() > guard.grams() + DOUBT_G) && speaks;
        if !over {
            self.over[pot].since = None;
            return;
        }
        let since = *self.over[pot].since.get_or_insert(now);
        if !self.over[pot].counted {
            self.over[pot].counted = true;
            tally.over_pours += 1;
        }
        let alarmed = view.alarms.iter().any(|alarm| {
            let kind = &alarm.alarm;
            let caustic =
                matches!(kind, AlarmId::CausticOver { .. } | AlarmId::PouringBlind { .. });
            alarm.active && caustic && kind.batch() == Some(&batch_of(pot))
        });
        assert!(
            alarmed || now - since <= ALARMED_WITHIN,
            "seed {}: {really} of caustic over the guard {guard:?} unalarmed since {since}, now \
             {now}: {:#?}",
            self.seed,
            view.batches
        );
    }

    fn check_facts(&self, tally: &mut Tally, nothing_wrong: bool) {
        assert_eq!(Bench::recover(&self.facts).state(), self.bench.state(), "seed {}", self.seed);
        let mut guards = BTreeMap::new();
        let mut caustic: Option<&BatchId> = None;
        for numbered in &self.facts {
            match &numbered.fact {
                Fact::StepBegun { batch, target: Some(target), .. } => {
                    guards.insert(batch, target.guard);
                    if target.guard.is_some() {
                        let seed = self.seed;
                        assert_eq!(caustic, None, "seed {seed}: {batch} begins a second caustic");
                        caustic = Some(batch);
                    }
                }
                Fact::StepDone { batch, step } if step == "dissolve" && caustic == Some(batch) => {
                    caustic = None;
                }
                Fact::BatchClosed { batch, .. } if caustic == Some(batch) => caustic = None,
                Fact::Captured { batch, net, .. } => {
                    tally.captures += 1;
                    let guard = guards.get(batch).copied().flatten();
                    let within = guard.is_none_or(|guard| *net <= guard.mass);
                    assert!(within, "seed {}: {net} captured above {guard:?}", self.seed);
                }
                Fact::AlarmChanged { alarm: AlarmId::CausticOver { .. }, .. } => {
                    tally.caustic_alarms += 1;
                    assert!(!nothing_wrong, "seed {}: alarmed for nothing", self.seed);
                }
                _ => {}
            }
        }
    }
}

/// The guard of a cup that stands on the pan and is being filled.
fn weighing_guard(view: &View, batch: &BatchId) -> Option<Mass> {
    let batch = view.batches.iter().find(|shown| &shown.batch == batch)?;
    let weighing = batch.weighing.as_ref()?;
    let filled = matches!(
        weighing.phase,
        Phase::Pouring | Phase::Settling | Phase::Over | Phase::Captured | Phase::Blind
    );
    let there = weighing.net.is_some_and(|net| net > MassUnit::Gram.one());
    weighing.target.guard.filter(|_| filled && there).map(|guard| guard.mass)
}
