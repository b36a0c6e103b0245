//! A bench on a virtual clock: a scale that reads ten times a second, a probe once a second, a
//! disk that is quick unless told otherwise. Ten simulated minutes cost nothing.

use std::sync::Arc;

use panroom::bench::{
    Act, AlarmChange, AlarmId, Ask, BatchId, Bench, ChannelSetup, Cue, Fact, Input, JournalStatus,
    Numbered, Phase, ProbeAt, Reply, Role, SessionOpened, Setup, View,
};
use panroom::chemistry::{
    Alkali, Caustic, CausticForm, Formula, FormulaFat, IngredientId, LiquidRule, Reacting,
    ScaleFacts,
};
use panroom::plan::{
    Amount, ControlRecipe, Cook, Nature, Step, StepKind, Tolerance, Units, Vessel, Weigh, Window,
};
use panroom::quantity::{Mass, MassUnit, Moment, Share, Span, Temperature, TemperatureUnit};
use panroom::reading::{Channel, Reading, Status, Value};
use panroom::recipe::InPot;

pub struct Driver {
    pub bench: Bench,
    pub now: Moment,
    pub facts: Vec<Numbered>,
    /// Everything that reached the bench, for replay.
    pub inputs: Vec<(Moment, Input)>,
    pub cues: Vec<Cue>,
    /// The disk answers at once; otherwise the test answers for it.
    pub disk_is_quick: bool,
    /// Grams on the pan.
    pub load: f64,
    pub celsius: f64,
    pub status: Status,
    pub scale_talks: bool,
    pub probe_talks: bool,
    /// As the next session will have it.
    pub setup: Setup,
    /// What the probe said, with the session it said it in.
    pub temperatures: Vec<(u32, Moment, Temperature)>,
    session: u32,
    ticks: u64,
}

pub const POT_G: f64 = 400.0;
pub const CUP_G: f64 = 50.0;
pub const JUG_G: f64 = 120.0;

pub fn batch_id() -> BatchId {
    BatchId("2026-11-25-a".to_owned())
}

pub fn g(text: &str) -> Mass {
    Mass::parse(&format!("{text} g")).unwrap()
}

/// A scale of 0.1 g and 3 kg, and a probe in the pot.
pub fn setup() -> Setup {
    let scale = ScaleFacts { d: g("0.1"), capacity: g("3000"), verified: None };
    let channel = |name: &str, role, period_ms| ChannelSetup {
        channel: Channel::new(name),
        instrument: name.to_owned(),
        role,
        period: Span::from_millis(period_ms),
        zeroes: name == "scale",
    };
    Setup {
        channels: vec![
            channel("scale", Role::Scale { facts: scale, unit: MassUnit::Gram }, 100),
            channel("pot", Role::Probe { at: ProbeAt::Pot, unit: TemperatureUnit::Celsius }, 1000),
        ],
        ..Setup::default()
    }
}

/// Two oils, caustic, water, ten minutes of cook, glycerin. Saponification values are round
/// numbers of our own, so that the caustic can be worked out by hand.
pub fn control() -> ControlRecipe {
    let fat = |id: &str, sap| FormulaFat {
        id: id.into(),
        sap_low: sap - 5.0,
        sap,
        sap_high: sap + 5.0,
        reacting: Reacting::default(),
        after_cook: false,
    };
    let formula = Formula {
        fats: vec![fat("coconut", 256.0), fat("olive", 190.0)],
        superfat: Share::from_percent(5),
        floor: Share::ZERO,
        caustics: vec![Caustic {
            id: "naoh".into(),
            alkali: Alkali::SodiumHydroxide,
            covers: Share::WHOLE,
            purity_low: Share::WHOLE,
            purity: Share::WHOLE,
            purity_high: Share::WHOLE,
            form: CausticForm::Solid,
        }],
        liquid: LiquidRule::Ratio(2_500_000),
        liquid_id: "water".into(),
        liquid_water: Share::WHOLE,
        acids: Vec::new(),
    };
    let weigh = |id: &str, name: &str, amount, into| Step {
        key: format!("weigh-{id}"),
        title: name.to_owned(),
        hazards: Vec::new(),
        kind: StepKind::Weigh(Weigh {
            ingredient: id.into(),
            name: name.to_owned(),
            amount,
            into,
            nature: Nature::Pour,
            tolerance: Tolerance::Share(Share::from_percent(1)),
            lot: None,
        }),
        moulding: false,
    };
    let step = |key: &str, kind| Step {
        key: key.to_owned(),
        title: key.to_owned(),
        hazards: Vec::new(),
        moulding: key == "pour",
        kind,
    };
    let celsius = Temperature::from_celsius;
    ControlRecipe {
        name: "test bar".to_owned(),
        recipe_digest: "00".to_owned(),
        units: Units {
            mass: MassUnit::Gram,
            mass_decimals: 1,
            temperature: TemperatureUnit::Celsius,
        },
        formula,
        steps: vec![
            weigh("coconut", "coconut oil", Amount::Fixed(g("100")), Vessel::Pot),
            weigh("olive", "olive oil", Amount::Fixed(g("200")), Vessel::Pot),
            weigh("naoh", "sodium hydroxide", Amount::Caustic, Vessel::Own),
            weigh("water", "water", Amount::Liquid, Vessel::Own),
            step("dissolve", StepKind::Dissolve),
            step("combine", StepKind::Combine { oils: None, lye: None, difference_max: None }),
            step(
                "cook",
                StepKind::Cook(Cook {
                    window: Window { low: celsius(71), high: celsius(93) },
                    high: celsius(95),
                    high_high: celsius(98),
                    duration: Span::from_minutes(30),
                    look_every: Span::from_minutes(10),
                    tests: Vec::new(),
                }),
            ),
            weigh("glycerin", "glycerin", Amount::OfFats(Share::from_percent(5)), Vessel::Own),
            step("pour", StepKind::Do),
        ],
        findings: Vec::new(),
        bases: Vec::new(),
        lye_start: None,
        pot: None,
    }
}

/// A start with oils in the pot.
pub fn start_with(in_pot: Vec<InPot>) -> Act {
    Act::Start { batch: batch_id(), control: Arc::new(control()), operator: None, in_pot }
}

/// "olive", "200", "5": 200 g ± 5 g of it are in the pot.
pub fn in_pot(oil: &str, mass: &str, doubt: Option<&str>) -> InPot {
    InPot { oil: oil.into(), mass: g(mass), doubt: doubt.map(g) }
}

impl Driver {
    /// A session has begun; nothing is started.
    pub fn new() -> Driver {
        let mut driver = Driver {
            bench: Bench::new(),
            now: Moment::from_nanos(0) + Span::from_secs(1000),
            facts: Vec::new(),
            inputs: Vec::new(),
            cues: Vec::new(),
            disk_is_quick: true,
            load: 0.0,
            celsius: 21.0,
            status: Status::Stable,
            scale_talks: true,
            probe_talks: true,
            setup: setup(),
            temperatures: Vec::new(),
            session: 0,
            ticks: 0,
        };
        driver.open_session(1, None);
        driver
    }

    /// A batch has been started and the scale has been heard.
    pub fn started() -> Driver {
        Driver::started_from(control())
    }

    /// The same by another recipe.
    pub fn started_from(control: ControlRecipe) -> Driver {
        let mut driver = Driver::new();
        driver.run(0.5);
        let act = Act::start(batch_id(), Arc::new(control));
        assert_eq!(driver.act(act), Reply::Done);
        driver
    }

    /// The same with oils in the pot, which is not on the pan yet.
    pub fn started_with(in_pot: Vec<InPot>) -> Driver {
        let mut driver = Driver::new();
        driver.run(0.5);
        assert_eq!(driver.act(start_with(in_pot)), Reply::Done);
        driver
    }

    /// Both oils are captured, the pot is off the pan.
    pub fn oils_weighed() -> Driver {
        let mut driver = Driver::started();
        driver.put(POT_G);
        driver.pour_to(POT_G + 100.0);
        driver.pour_to(POT_G + 300.0);
        driver.expect_step("weigh-naoh");
        driver.put(0.0);
        driver
    }

    /// The caustic's cup is tared.
    pub fn at_caustic() -> Driver {
        let mut driver = Driver::oils_weighed();
        driver.put(CUP_G);
        driver
    }

    /// All is weighed and combined, the cook has begun.
    pub fn cooking() -> Driver {
        let mut driver = Driver::all_weighed();
        driver.celsius = 80.0;
        for step in ["dissolve", "combine"] {
            driver.expect_step(step);
            assert_eq!(driver.confirm(), Reply::Done);
            // the emptied vessel is not weighed back
            assert_eq!(driver.confirm(), Reply::Done);
        }
        driver.expect_step("cook");
        driver
    }

    /// 4 g above the guard are in the caustic's cup, and that has alarmed.
    pub fn over_poured() -> Driver {
        let mut driver = Driver::at_caustic();
        driver.pour_to(CUP_G + driver.guard().grams() + 4.0);
        assert!(driver.caustic_over());
        driver
    }

    /// The caustic's cup and the jug are captured and off the pan.
    pub fn all_weighed() -> Driver {
        let mut driver = Driver::oils_weighed();
        driver.weigh_into(CUP_G);
        driver.weigh_into(JUG_G);
        driver.expect_step("dissolve");
        driver
    }

    /// The caustic is in the liquid, says the operator; its cup is asked back.
    pub fn dissolved() -> Driver {
        let mut driver = Driver::all_weighed();
        assert_eq!(driver.confirm(), Reply::Done);
        assert!(matches!(driver.asks(), Some(Ask::VesselBack { .. })));
        driver
    }

    pub fn open_session(&mut self, session: u32, last_seen: Option<Moment>) {
        self.session = session;
        let opened = SessionOpened {
            session,
            setup: self.setup.clone(),
            utc_ns: 1_795_590_000_000_000_000,
            unwatched: last_seen.map(|_| Span::from_secs(90)),
            last_seen,
        };
        self.input(&Input::Session(opened));
    }

    /// The process is killed and started again on another boot of the machine.
    pub fn kill_and_restart(&mut self) {
        let last_seen = self.now;
        self.bench = Bench::recover(&self.facts);
        self.now = Moment::from_nanos(0) + Span::from_secs(7);
        self.open_session(2, Some(last_seen));
    }

    pub fn input(&mut self, input: &Input) -> Option<Reply> {
        self.inputs.push((self.now, input.clone()));
        let output = self.bench.handle(self.now, input);
        self.facts.extend(output.facts.clone());
        assert!(output.facts.len() <= 40, "no end of facts from one input: {:?}", output.facts);
        self.cues.extend(output.cues);
        self.check_fold();
        if self.disk_is_quick && !output.facts.is_empty() {
            self.commit_all();
        }
        output.reply
    }

    pub fn commit_all(&mut self) {
        let up_to = self.facts.last().map_or(0, |fact| fact.number);
        self.input(&Input::Journal(JournalStatus::Committed { up_to }));
    }

    pub fn act(&mut self, act: Act) -> Reply {
        self.input(&Input::Act(act)).expect("every act is answered")
    }

    /// Confirms whatever is asked.
    pub fn confirm(&mut self) -> Reply {
        let prompt = self.view().batches[0].prompt.clone().expect("something is asked").prompt;
        self.act(Act::Confirm { prompt })
    }

    pub fn view(&self) -> View {
        self.bench.view(self.now)
    }

    pub fn phase(&self) -> Phase {
        self.view().batches[0].weighing.as_ref().expect("something is weighed").phase
    }

    pub fn asks(&self) -> Option<Ask> {
        self.view().batches[0].prompt.as_ref().map(|prompt| prompt.asks.clone())
    }

    /// In these very words, by now.
    pub fn said(&self, words: &str) -> bool {
        self.cues.iter().any(|cue| matches!(cue, Cue::Say { words: said } if said == words))
    }

    /// The scale is unplugged.
    pub fn lose_scale(&mut self) {
        let (instrument, why) = ("scale".to_owned(), "unplugged".to_owned());
        self.input(&Input::InstrumentLost { instrument, why });
    }

    /// Seconds go by.
    pub fn run(&mut self, seconds: f64) {
        for _ in 0..(seconds * 10.0).round() as u64 {
            self.tick();
        }
    }

    /// One tenth of a second: one reading of the scale, each tenth one of the probe.
    pub fn tick(&mut self) {
        self.now = self.now + Span::from_millis(100);
        self.ticks += 1;
        if self.scale_talks {
            self.scale_reads(self.load, self.status);
        } else {
            self.input(&Input::Tick);
        }
        if self.probe_talks && self.ticks.is_multiple_of(10) {
            let temperature = Temperature::from_celsius_rounded(self.celsius);
            self.temperatures.push((self.session, self.now, temperature));
            let value =
                Value::Temperature { temperature, unit: TemperatureUnit::Celsius, decimals: 1 };
            let (channel, at) = (Channel::new("pot"), self.now);
            let status = Status::Unstated;
            self.input(&Input::Reading(Reading { channel, at, value: Some(value), status }));
        }
    }

    pub fn scale_reads(&mut self, grams: f64, status: Status) {
        let digits = (grams * 10.0).round() as i64;
        let value = Value::Mass {
            mass: Mass::from_decimal(digits, 1, MassUnit::Gram).unwrap(),
            unit: MassUnit::Gram,
            decimals: 1,
            unit_on_wire: true,
        };
        let value = (status != Status::OverLimit).then_some(value);
        let (channel, at) = (Channel::new("scale"), self.now);
        self.input(&Input::Reading(Reading { channel, at, value, status }));
    }

    /// Something is put on the pan (or all is taken off) and comes to rest.
    pub fn put(&mut self, grams: f64) {
        self.load = grams;
        self.run(3.0);
    }

    /// Poured at 20 g/s until the pan carries this much, then left at rest until captured.
    pub fn pour_to(&mut self, grams: f64) {
        self.pour_without_rest(grams);
        self.run(5.0);
    }

    /// All that is wanted is poured into this vessel, which comes to the pan and leaves it.
    pub fn weigh_into(&mut self, vessel: f64) {
        self.put(vessel);
        self.pour_to(vessel + self.target());
        self.put(0.0);
    }

    pub fn pour_without_rest(&mut self, grams: f64) {
        self.status = Status::InMotion;
        while self.load < grams {
            self.load = (self.load + 2.0).min(grams);
            self.tick();
        }
        self.status = Status::Stable;
    }

    /// The target of the weighing, in grams.
    pub fn target(&self) -> f64 {
        self.weighing_target().grams()
    }

    pub fn weighing_target(&self) -> Mass {
        self.view().batches[0].weighing.as_ref().expect("something is weighed").target.mass
    }

    pub fn guard(&self) -> Mass {
        let weighing = self.view().batches[0].weighing.clone().expect("something is weighed");
        weighing.target.guard.expect("caustic has a guard").mass
    }

    pub fn expect_step(&self, step: &str) {
        assert_eq!(self.view().batches[0].step, step, "last facts: {:#?}", self.last_facts());
    }

    pub fn captured(&self, ingredient: &str) -> Option<Mass> {
        let id = IngredientId::from(ingredient);
        let batch = self.view().batches.first().cloned()?;
        batch.captures.iter().find(|capture| capture.ingredient == id).map(|c| c.net)
    }

    pub fn is_active(&self, wanted: impl Fn(&AlarmId) -> bool) -> bool {
        self.view().alarms.iter().any(|alarm| alarm.active && wanted(&alarm.alarm))
    }

    pub fn caustic_over(&self) -> bool {
        self.is_active(|alarm| matches!(alarm, AlarmId::CausticOver { .. }))
    }

    pub fn changes_of(&self, wanted: impl Fn(&AlarmId) -> bool) -> Vec<AlarmChange> {
        let changes = self.facts.iter().filter_map(|numbered| match &numbered.fact {
            Fact::AlarmChanged { alarm, change, .. } if wanted(alarm) => Some(*change),
            _ => None,
        });
        changes.collect()
    }

    fn last_facts(&self) -> Vec<&Fact> {
        self.facts.iter().rev().take(6).map(|numbered| &numbered.fact).collect()
    }

    /// Facts alone rebuild the state, at every instant (invariant 6), and are numbered gaplessly.
    fn check_fold(&self) {
        let folded = Bench::recover(&self.facts);
        assert_eq!(folded.state(), self.bench.state());
        let numbers = self.facts.iter().map(|fact| fact.number);
        assert!(numbers.eq(1..=self.facts.len() as u64));
    }
}
