//! Pours by the thousand: one scale, one operator, one ingredient after another, to see where they
//! end and which alarms come.
//!
//! Unlike [`World`](super::World) the hand here has only its ears and its late eyes, so that the
//! cues of the bench are what is tried.

mod hand;
mod pan;

use std::sync::Arc;

use super::chance::Chance;
use super::instrument::on_display;
use crate::bench::{
    Act, AlarmId, BatchId, Bench, ChannelSetup, Cue, Fact, Input, JournalStatus, Pace, Phase, Role,
    SessionOpened, Setup,
};
use crate::chemistry::{
    Alkali, Caustic, CausticForm, Formula, FormulaFat, LiquidRule, Reacting, ScaleFacts,
};
use crate::plan::{Amount, ControlRecipe, Nature, Step, StepKind, Tolerance, Units, Vessel, Weigh};
use crate::quantity::{Mass, MassUnit, Moment, Share, Span, TemperatureUnit};
use crate::reading::{Channel, Reading};

use hand::PouringHand;
use pan::Pan;

/// What the pours of one session have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Sodium hydroxide into its cup; else a liquid into a jug.
    pub caustic: bool,
    pub rate_g_per_s: f64,
    /// The scale's interval, its readings a second, its noise (standard deviation of one reading,
    /// in intervals), and how fast its zero walks, in intervals a minute.
    pub d_g: f64,
    pub per_second: f64,
    pub noise_d: f64,
    pub drift_d_per_min: f64,
    pub superfat: Share,
}

/// What the hand means to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Intent {
    Well,
    /// Deaf to every cue, until the cup holds this much more than the guard allows, in grams.
    Over(f64),
}

/// How a pour ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Captured, stable and inside the tolerance, with nothing taken out.
    InTolerance,
    /// Above the tolerance: to be taken as it is, or to be spooned out.
    Above,
    /// The guard has alarmed.
    Alarmed,
    /// The empty vessel never came to rest, so nothing was asked for and nothing was poured.
    NotBegun,
    /// Neither, within the time a person would wait.
    Unfinished,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Poured {
    pub end: End,
    pub target: Mass,
    pub guard: Option<Mass>,
    pub captured: Option<Mass>,
    /// What was really in the vessel when it had come to rest the first time, and at the end.
    pub first_g: f64,
    pub really_g: f64,
    pub top_ups: u32,
    pub took: Span,
    /// From the moment the cup held more than the guard (and what the scale cannot show) to the
    /// alarm; `None` without alarm.
    pub alarmed_after: Option<Span>,
    /// How long the cup held more than the guard and what the scale cannot show, before the alarm.
    pub unalarmed: Span,
    /// An alarm while the cup never held more than its guard.
    pub false_alarm: bool,
}

impl Poured {
    const fn not_begun() -> Poured {
        Poured {
            end: End::NotBegun,
            target: Mass::ZERO,
            guard: None,
            captured: None,
            first_g: 0.0,
            really_g: 0.0,
            top_ups: 0,
            took: Span::ZERO,
            alarmed_after: None,
            unalarmed: Span::ZERO,
            false_alarm: false,
        }
    }
}

const STEP: Span = Span::from_millis(10);
const STEP_S: f64 = 0.01;
/// The hand looks at the screen this often.
const GLANCE: Span = Span::from_millis(50);
/// The empty pan, and the empty vessel, are left alone this long.
const CLEAR: Span = Span::from_millis(3000);
/// Seen at rest and short for this long, the hand tops up.
const WAITS: Span = Span::from_millis(2200);
const PINCH_AFTER: Span = Span::from_secs(6);
const DECLARES_MAX: u32 = 5;
const TARES_WITHIN: Span = Span::from_secs(30);
const PATIENCE: Span = Span::from_secs(150);
const CUP_G: f64 = 50.0;
const JUG_G: f64 = 400.0;
const CAPACITY_G: f64 = 6000.0;
/// Readings do not come by the clock.
const JITTER: f64 = 0.05;
/// Masses to be poured: so many seconds of flow, within what is weighed at a bench. A scale of one
/// gram is used for larger batches.
const POUR_S: (f64, f64) = (6.0, 40.0);
const LIQUID_G: (f64, f64) = (20.0, 1600.0);
const CAUSTIC_G: (f64, f64) = (30.0, 600.0);
const CAUSTIC_COARSE_G: (f64, f64) = (130.0, 600.0);
const COARSE_D_G: f64 = 0.9;
/// A vessel is put down again now and then, to see whether that alarms.
const PUTS_DOWN_AGAIN: f64 = 0.3;

/// One operator at one scale.
pub struct PourSession {
    terms: Terms,
    bench: Bench,
    pan: Pan,
    hand: PouringHand,
    chance: Chance,
    now: Span,
    due: Span,
    glance: Span,
    facts: u64,
    batches: u32,
    setup: Setup,
    heard: Vec<Pace>,
    alarms: u32,
    ended: Option<Mass>,
}

impl PourSession {
    pub fn new(terms: Terms, seed: u64) -> PourSession {
        let chance = Chance::new(seed);
        let d = Mass::from_grams_rounded(terms.d_g);
        let facts = ScaleFacts::new(d, Mass::from_grams_rounded(CAPACITY_G));
        let period = Span::from_nanos((1e9 / terms.per_second) as i64);
        let role = Role::Scale { facts, unit: MassUnit::Gram };
        let (channel, instrument) = (Channel::new("scale"), "scale".to_owned());
        let setup = Setup {
            channels: vec![ChannelSetup { channel, instrument, role, period, zeroes: false }],
            ..Setup::default()
        };
        let mut session = PourSession {
            terms,
            bench: Bench::new(),
            pan: Pan::new(&terms, CAPACITY_G, chance.branch("scale")),
            hand: PouringHand::new(terms.rate_g_per_s, terms.caustic, chance.branch("hand")),
            chance: chance.branch("orders"),
            now: Span::ZERO,
            due: Span::ZERO,
            glance: Span::ZERO,
            facts: 0,
            batches: 0,
            setup,
            heard: Vec::new(),
            alarms: 0,
            ended: None,
        };
        let opened = SessionOpened {
            session: 1,
            setup: session.setup.clone(),
            utc_ns: 0,
            unwatched: None,
            last_seen: None,
        };
        session.input(&Input::Session(opened));
        session
    }

    /// The next ingredient, from the empty pan to its end.
    pub fn pour(&mut self, intent: Intent) -> Poured {
        let (batch, mass_g) = self.begin_batch();
        self.wait(CLEAR);
        self.declare_fat(&batch, mass_g);
        self.pan.put(if self.terms.caustic { CUP_G } else { JUG_G });
        self.wait_until(TARES_WITHIN, |session| session.phase() == Some(Phase::Pouring));
        let began = self.now;
        self.alarms = 0;
        self.ended = None;
        let begins = self.phase() == Some(Phase::Pouring);
        let mut poured = self.pour_to_the_end(intent, begins);
        poured.took = self.now - began;
        self.input(&Input::Act(Act::Abandon { batch, reason: "next".to_owned() }));
        self.pan.take();
        self.wait(CLEAR);
        poured
    }

    fn pour_to_the_end(&mut self, intent: Intent, begins: bool) -> Poured {
        let view = self.bench.view(self.moment());
        let weighing = view.batches.first().and_then(|batch| batch.weighing.as_ref());
        let Some(target) = weighing.map(|weighing| weighing.target) else {
            return Poured::not_begun();
        };
        let mut watch = Watch::new(&self.terms, target.guard.map(|guard| guard.mass));
        let (mut first_g, mut top_ups, mut resting) = (None, 0, None);
        let mut puts_down = self.chance.happens(PUTS_DOWN_AGAIN) && intent == Intent::Well;
        self.heard.clear();
        self.hand.begin(target.mass.grams(), true);
        let until = self.now + PATIENCE;
        let end = loop {
            if !begins {
                break End::NotBegun;
            }
            self.step(intent, target.guard.map(|guard| guard.mass.grams()));
            watch.look(self.now, self.pan.net_g, self.alarms > 0);
            if self.alarms > 0 && self.hand.is_done() {
                break End::Alarmed;
            }
            if self.now > until {
                break End::Unfinished;
            }
            if !self.hand.is_done() {
                resting = None;
                continue;
            }
            let since = *resting.get_or_insert(self.now);
            if self.now - since < WAITS {
                continue;
            }
            first_g.get_or_insert(self.pan.net_g);
            if self.ended.is_some() {
                if std::mem::take(&mut puts_down) {
                    self.put_down_again();
                    continue;
                }
                break End::InTolerance;
            }
            let view = self.bench.view(self.moment());
            let weighing = view.batches[0].weighing.as_ref();
            let Some(net) = weighing.and_then(|weighing| weighing.net) else { continue };
            if net > target.high && view.channels[0].stable {
                break End::Above;
            }
            // a digit that flickers about the edge gets a pinch more
            let edge = net < target.mass && self.now - since > PINCH_AFTER;
            if (net < target.low || edge) && intent == Intent::Well {
                top_ups += 1;
                self.heard.clear();
                self.hand.begin((target.mass - net).grams(), false);
            }
        };
        Poured {
            end,
            target: target.mass,
            guard: target.guard.map(|guard| guard.mass),
            captured: self.ended,
            first_g: first_g.unwrap_or(self.pan.net_g),
            really_g: self.pan.net_g,
            top_ups,
            took: Span::ZERO,
            alarmed_after: watch.alarmed_after,
            unalarmed: watch.unalarmed,
            false_alarm: watch.false_alarm,
        }
    }

    /// Lifted, looked at, put down again.
    fn put_down_again(&mut self) {
        let held = self.pan.net_g;
        self.pan.take();
        self.wait(Span::from_millis(300));
        self.pan.put(if self.terms.caustic { CUP_G } else { JUG_G });
        self.pan.net_g = held;
        self.wait(Span::from_secs(3));
    }

    /// One hundredth of a second.
    fn step(&mut self, intent: Intent, guard_g: Option<f64>) {
        self.now = self.now + STEP;
        let flow = match (intent, guard_g) {
            (Intent::Over(by), Some(guard)) if self.pan.net_g < guard + by => {
                self.hand.flow(self.now, STEP_S).max(self.terms.rate_g_per_s.min(1.0))
            }
            (Intent::Over(_), _) => {
                self.hand.stop();
                self.hand.flow(self.now, STEP_S)
            }
            (Intent::Well, _) => self.hand.flow(self.now, STEP_S),
        };
        self.pan.step(flow, STEP_S);
        if self.due <= self.now {
            self.read();
        }
        if self.glance <= self.now {
            self.glance = self.now + GLANCE;
            self.glance(intent);
        }
    }

    fn read(&mut self) {
        let period = 1.0 / self.terms.per_second;
        let next = period * (1.0 + self.chance.between(-JITTER, JITTER));
        self.due = self.due.max(self.now - STEP) + Span::from_nanos((next * 1e9) as i64);
        let Some((_, facts)) = self.setup.scale() else { return };
        let (_, value, status) = on_display(self.pan.scale.read(), &facts, MassUnit::Gram);
        let (channel, at) = (Channel::new("scale"), self.moment());
        self.input(&Input::Reading(Reading { channel, at, value, status }));
    }

    fn glance(&mut self, intent: Intent) {
        if self.bench.next_wakeup().is_some_and(|due| due <= self.moment()) {
            self.input(&Input::Tick);
        }
        let heard = std::mem::take(&mut self.heard);
        if intent != Intent::Well {
            return;
        }
        for pace in heard {
            self.hand.hear(self.now, pace);
        }
        if self.hand.is_pouring() {
            let view = self.bench.view(self.moment());
            let weighing = view.batches.first().and_then(|batch| batch.weighing.as_ref());
            self.hand.see(self.now, weighing.and_then(|w| w.left).map(Mass::grams));
        }
        if self.alarms > 0 && self.hand.is_pouring() {
            self.hand.hear(self.now, Pace::Stop);
        }
    }

    fn input(&mut self, input: &Input) {
        let output = self.bench.handle(self.moment(), input);
        for numbered in &output.facts {
            self.facts = numbered.number;
            match &numbered.fact {
                Fact::Captured { net, ingredient, .. } if ingredient.0 != "fat" => {
                    self.ended = Some(*net);
                }
                Fact::Reopened { .. } => self.ended = None,
                Fact::AlarmChanged { alarm: AlarmId::CausticOver { .. }, change, .. } => {
                    self.alarms += u32::from(*change == crate::bench::AlarmChange::Raised);
                }
                _ => {}
            }
        }
        self.heard.extend(output.cues.iter().filter_map(|cue| match cue {
            Cue::Slow => Some(Pace::Slow),
            Cue::Stop => Some(Pace::Stop),
            _ => None,
        }));
        if !output.facts.is_empty() {
            self.input(&Input::Journal(JournalStatus::Committed { up_to: self.facts }));
        }
    }

    fn wait(&mut self, span: Span) {
        self.wait_until(span, |_| false);
    }

    fn wait_until(&mut self, span: Span, enough: impl Fn(&PourSession) -> bool) {
        let until = self.now + span;
        while self.now < until {
            self.now = self.now + STEP;
            self.pan.step(0.0, STEP_S);
            if self.due <= self.now {
                self.read();
                if enough(self) {
                    return;
                }
            }
        }
    }

    fn phase(&self) -> Option<Phase> {
        let view = self.bench.view(self.moment());
        Some(view.batches.first()?.weighing.as_ref()?.phase)
    }

    fn moment(&self) -> Moment {
        Moment::from_nanos(0) + Span::from_secs(1000) + self.now
    }

    /// A batch with one thing to weigh; the fat of caustic is declared.
    fn begin_batch(&mut self) -> (BatchId, f64) {
        self.batches += 1;
        let batch = BatchId(format!("pour-{}", self.batches));
        let (least, most) = match (self.terms.caustic, self.terms.d_g > COARSE_D_G) {
            (true, false) => CAUSTIC_G,
            (true, true) => CAUSTIC_COARSE_G,
            (false, _) => LIQUID_G,
        };
        let seconds = self.chance.between(POUR_S.0, POUR_S.1);
        let mass = (self.terms.rate_g_per_s * seconds).clamp(least, most);
        let control = Arc::new(recipe(self.terms.caustic, mass, self.terms.superfat));
        let start = Act::start(batch.clone(), control);
        self.input(&Input::Act(start));
        (batch, mass)
    }

    /// The fat of the caustic is not weighed; the scale may still be on its way to this batch.
    fn declare_fat(&mut self, batch: &BatchId, caustic_g: f64) {
        for _ in 0..DECLARES_MAX {
            let view = self.bench.view(self.moment());
            if view.batches.first().is_none_or(|batch| batch.step != "weigh-fat") {
                return;
            }
            let (batch, ingredient, mass) = (batch.clone(), "fat".into(), fat_for(caustic_g));
            self.input(&Input::Act(Act::Declare { batch, ingredient, mass }));
            self.wait(CLEAR);
        }
    }
}

/// What is really in the cup against its guard, and what the bench made of it.
struct Watch {
    guard_g: Option<f64>,
    /// What the scale cannot show: the rounding of tare and load, and its noise.
    blur_g: f64,
    over_since: Option<Span>,
    was_over: bool,
    alarmed_after: Option<Span>,
    unalarmed: Span,
    false_alarm: bool,
}

impl Watch {
    fn new(terms: &Terms, guard: Option<Mass>) -> Watch {
        let blur_g = terms.d_g * (1.0 + 2.0 * terms.noise_d);
        Watch {
            guard_g: guard.map(Mass::grams),
            blur_g,
            over_since: None,
            was_over: false,
            alarmed_after: None,
            unalarmed: Span::ZERO,
            false_alarm: false,
        }
    }

    fn look(&mut self, now: Span, net_g: f64, alarmed: bool) {
        let Some(guard_g) = self.guard_g else { return };
        self.was_over |= net_g > guard_g;
        self.false_alarm |= alarmed && !self.was_over;
        if net_g <= guard_g + self.blur_g {
            return;
        }
        let since = *self.over_since.get_or_insert(now);
        if alarmed {
            self.alarmed_after.get_or_insert(now - since);
        } else {
            self.unalarmed = now - since;
        }
    }
}

/// One fat with a saponification value of 190 mg KOH/g and a spread of ± 5.
const SAP: f64 = 190.0;
const SAP_SPREAD: f64 = 5.0;
/// Molar masses of NaOH and KOH, g/mol (IUPAC 2021 standard atomic weights).
const NAOH_PER_KOH: f64 = 39.997 / 56.105;

fn fat_for(caustic_g: f64) -> Mass {
    Mass::from_grams_rounded(caustic_g / (SAP / 1000.0 * NAOH_PER_KOH))
}

fn recipe(caustic: bool, mass_g: f64, superfat: Share) -> ControlRecipe {
    let fat = FormulaFat {
        id: "fat".into(),
        sap_low: SAP - SAP_SPREAD,
        sap: SAP,
        sap_high: SAP + SAP_SPREAD,
        reacting: Reacting::default(),
        after_cook: false,
    };
    let naoh = Caustic {
        id: "naoh".into(),
        alkali: Alkali::SodiumHydroxide,
        covers: Share::WHOLE,
        purity_low: Share::WHOLE,
        purity: Share::WHOLE,
        purity_high: Share::WHOLE,
        form: CausticForm::Solid,
    };
    let formula = Formula {
        fats: vec![fat],
        superfat,
        floor: Share::ZERO,
        caustics: vec![naoh],
        liquid: LiquidRule::Ratio(2_500_000),
        liquid_id: "water".into(),
        liquid_water: Share::WHOLE,
        acids: Vec::new(),
    };
    let steps = if caustic {
        let fat = Amount::Fixed(fat_for(mass_g));
        vec![weigh("fat", fat), weigh("naoh", Amount::Caustic)]
    } else {
        vec![weigh("oil", Amount::Fixed(Mass::from_grams_rounded(mass_g)))]
    };
    ControlRecipe {
        name: "pours".to_owned(),
        recipe_digest: "00".to_owned(),
        units: Units {
            mass: MassUnit::Gram,
            mass_decimals: 1,
            temperature: TemperatureUnit::Celsius,
        },
        formula,
        steps,
        findings: Vec::new(),
        bases: Vec::new(),
        lye_start: None,
        pot: None,
    }
}

fn weigh(id: &str, amount: Amount) -> Step {
    let weigh = Weigh {
        lot: None,
        ingredient: id.into(),
        name: id.to_owned(),
        amount,
        into: Vessel::Own,
        nature: Nature::Pour,
        tolerance: Tolerance::Share(Share::from_percent(1)),
    };
    let (key, title) = (format!("weigh-{id}"), id.to_owned());
    Step { key, title, hazards: Vec::new(), kind: StepKind::Weigh(weigh), moulding: false }
}
