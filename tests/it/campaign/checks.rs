//! The invariants, after each input that led to a fact, and the truth about the cup.

use std::collections::BTreeMap;

use panroom::bench::{
    AlarmChange, AlarmId, AlarmView, Bench, CaptureHow, Fact, Numbered, Phase, Remedy, Role,
    Target, View,
};
use panroom::chemistry::IngredientId;
use panroom::quantity::{Mass, MassUnit, Span};
use panroom::reading::Reading;
use panroom::sim::{World, fixture};

use super::{Tally, batch_id};

/// The law's half second, the second in which a load put down rings, and the lag of the scale.
const ALARMED_WITHIN: Span = Span::from_millis(1900);
/// A reading may be this old before a scale counts as silent, less a reading.
const SPEAKS: Span = Span::from_millis(900);
/// Rounding, noise and lag of the simulated scale together.
const DOUBT_G: f64 = 0.6;

#[derive(Default)]
pub struct Checks {
    /// Its zero slips or drifts, it is frozen or in another unit, or the record is lost: what is
    /// really in the cup cannot be told from its numbers.
    scale_lies: bool,
    heard: Option<Span>,
    over_since: Option<Span>,
    counted_over: bool,
    target: Option<Target>,
    over_is_active: bool,
    /// A chosen remedy lets the latch go, whatever is in the cup.
    discarded: bool,
    masses: BTreeMap<IngredientId, Mass>,
}

impl Checks {
    pub fn new(scale_lies: bool) -> Checks {
        Checks { scale_lies, ..Checks::default() }
    }

    pub fn heard(&mut self, now: Span, reading: &Reading) {
        if reading.channel.as_str() == "scale" && reading.mass().is_some() {
            self.heard = Some(now);
        }
    }

    /// What the disk did not hold is not known any more.
    pub fn restarted(&mut self, view: &View) {
        self.over_since = None;
        let over =
            |alarm: &AlarmView| alarm.active && matches!(alarm.alarm, AlarmId::CausticOver { .. });
        self.over_is_active = view.alarms.iter().any(over);
        let weighing = view.batches.first().and_then(|batch| batch.weighing.as_ref());
        self.target = weighing.map(|weighing| weighing.target);
    }

    /// Caustic that was poured and never reached the disk is known to nobody but the operator: its
    /// cup is put down again as an empty one.
    pub fn lost_the_record(&mut self, world: &World) {
        self.scale_lies |= world.really_holds(&batch_id(), &"naoh".into()).is_some();
    }

    /// Invariants 1, 2, 3 and the numbering, on what has just been decided.
    pub fn facts(
        &mut self,
        seed: u64,
        old: &[Numbered],
        fresh: &[Numbered],
        view: &View,
        world: &World,
        tally: &mut Tally,
    ) {
        let mut number = old.last().map_or(0, |fact| fact.number);
        for numbered in fresh {
            number += 1;
            assert_eq!(numbered.number, number, "seed {seed}: facts are numbered without a gap");
            match &numbered.fact {
                Fact::StepBegun { target, step, .. } => self.begun(step, *target),
                Fact::Captured { ingredient, net, how, .. } => {
                    tally.captures += 1;
                    self.captured(ingredient, *net, *how, view);
                }
                Fact::RemedyChosen { remedy: Remedy::Discard, .. } => self.discarded = true,
                Fact::StepDone { step, .. } => {
                    assert!(
                        !self.over_is_active || step != "weigh-naoh" && step != "dissolve",
                        "{step} ends while caustic is over its guard"
                    );
                }
                Fact::AlarmChanged { alarm: AlarmId::CausticOver { .. }, change, .. } => {
                    self.changed(*change, world, tally);
                }
                _ => {}
            }
        }
    }

    fn begun(&mut self, step: &str, target: Option<Target>) {
        self.target = target;
        if step != "weigh-naoh" {
            return;
        }
        // invariant 3: what follows, follows what was captured
        let control = fixture::three_oils();
        let wanted = control.formula.caustic(&"naoh".into(), &self.masses);
        let target = target.expect("caustic has a target");
        let off = (wanted - target.mass).grams();
        assert!((0.0..0.1001).contains(&off), "caustic {} for {wanted}", target.mass);
    }

    fn captured(&mut self, ingredient: &IngredientId, net: Mass, how: CaptureHow, view: &View) {
        self.masses.insert(ingredient.clone(), net);
        let target = self.target.expect("a step that weighs has a target");
        assert!(target.guard.is_none_or(|guard| net <= guard.mass), "{net} above the guard");
        assert!(!self.over_is_active, "captured while caustic is over its guard");
        if how == CaptureHow::ByHand {
            return;
        }
        if how == CaptureHow::Weighed {
            assert!(target.low <= net && net <= target.high, "{net} outside its tolerance");
        }
        let scale = &view.channels[0];
        assert!(scale.value.is_some() && scale.stable, "captured from a scale not at rest");
        assert!(scale.status.is_some_and(|status| status.is_trusted()), "captured in doubt");
    }

    fn changed(&mut self, change: AlarmChange, world: &World, tally: &mut Tally) {
        match change {
            AlarmChange::Raised => {
                tally.caustic_alarms += 1;
                self.over_is_active = true;
            }
            AlarmChange::Reset => {
                self.over_is_active = false;
                let really = world.really_holds(&batch_id(), &"naoh".into()).unwrap_or_default();
                let guard = self.target.and_then(|target| target.guard);
                let over = !self.discarded
                    && guard.is_some_and(|g| really.grams() > g.mass.grams() + DOUBT_G);
                assert!(!over || self.scale_lies, "let go with {really} of caustic");
                tally.lied_to += u32::from(over);
            }
            _ => {}
        }
    }

    /// Invariants 4 and 5, on what every screen shows.
    pub fn view(&self, view: &View, committed: u64, facts: &[Numbered]) {
        let batch = view.batches.first();
        let caustic = batch
            .and_then(|batch| batch.weighing.as_ref())
            .is_some_and(|weighing| weighing.target.guard.is_some());
        for channel in view.channels.iter().filter(|channel| channel.value.is_some()) {
            let allowed = match channel.role {
                Role::Scale { .. } if caustic => Span::from_secs(1),
                Role::Scale { .. } => Span::from_secs(3),
                Role::Probe { .. } => Span::from_secs(5),
            };
            let age = channel.age.expect("a value has an age");
            assert!(age <= allowed, "{} is shown {age} old", channel.channel);
        }
        for capture in batch.iter().flat_map(|batch| &batch.captures) {
            let number = facts.iter().rev().find_map(|numbered| match &numbered.fact {
                Fact::Captured { ingredient, .. } if *ingredient == capture.ingredient => {
                    Some(numbered.number)
                }
                _ => None,
            });
            let on_disk = number.is_some_and(|number| number <= committed);
            assert_eq!(capture.recorded, on_disk, "{} recorded", capture.name);
        }
    }

    /// Too much caustic, shown by a scale that speaks, for longer than the law allows.
    pub fn watch_caustic(
        &mut self,
        seed: u64,
        now: Span,
        view: &View,
        world: &World,
        tally: &mut Tally,
    ) {
        let guard = weighing_guard(view);
        let really = world.really_holds(&batch_id(), &"naoh".into()).unwrap_or_default();
        let speaks = self.heard.is_some_and(|heard| now - heard < SPEAKS);
        let over = guard.is_some_and(|guard| really.grams() > guard.grams() + DOUBT_G);
        if !over || !speaks {
            self.over_since = None;
            return;
        }
        let since = *self.over_since.get_or_insert(now);
        if !self.counted_over {
            self.counted_over = true;
            tally.over_pours += 1;
        }
        let alarmed = view.alarms.iter().any(|alarm| {
            let kind = &alarm.alarm;
            let caustic =
                matches!(kind, AlarmId::CausticOver { .. } | AlarmId::PouringBlind { .. });
            alarm.active && caustic
        });
        if !alarmed && now - since > ALARMED_WITHIN {
            assert!(
                self.scale_lies,
                "seed {seed}: {really} of caustic over the guard {guard:?} unalarmed since \
                 {since}, now {now}: {:#?}",
                view.batches
            );
            tally.lied_to += 1;
            self.over_since = Some(now + Span::from_minutes(60));
        }
    }

    pub fn conclude(&self, seed: u64, facts: &[Numbered], bench: &Bench, nothing_wrong: bool) {
        let folded = Bench::recover(facts);
        assert_eq!(folded.state(), bench.state(), "seed {seed}: facts alone rebuild the state");
        let alarmed = facts.iter().any(|numbered| {
            matches!(&numbered.fact, Fact::AlarmChanged { alarm: AlarmId::CausticOver { .. }, .. })
        });
        assert!(!nothing_wrong || !alarmed, "seed {seed}: alarmed for nothing");
    }
}

/// The guard of a cup that stands on the pan and is being filled.
fn weighing_guard(view: &View) -> Option<Mass> {
    let weighing = view.batches.first()?.weighing.as_ref()?;
    let filled = matches!(
        weighing.phase,
        Phase::Pouring | Phase::Settling | Phase::Over | Phase::Captured | Phase::Blind
    );
    let there = weighing.net.is_some_and(|net| net > MassUnit::Gram.one());
    weighing.target.guard.filter(|_| filled && there).map(|guard| guard.mass)
}
