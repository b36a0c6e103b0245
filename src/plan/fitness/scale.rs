//! The scale: its steps, its pace, its capacity, its class.

use crate::bench::{CAUSTIC_PERIOD_MAX, Role};
use crate::bench_file::Instrument;
use crate::chemistry::{SUPERFAT_PER_INTERVAL_MOST, ScaleFacts};
use crate::plan::{Amount, Vessel, Weigh};
use crate::quantity::{Mass, Share};
use crate::wire::lost_digit_of_shipped;

use super::{Findings, Situation, show_fine, width};

impl Situation<'_> {
    pub(super) fn scale(&self, found: &mut Findings, scale: &ScaleFacts) {
        for caustic in &self.outlook.guards {
            let Some(moved) = caustic.superfat_per_interval else { continue };
            if moved <= SUPERFAT_PER_INTERVAL_MOST {
                continue;
            }
            let factor = moved.fraction() / SUPERFAT_PER_INTERVAL_MOST.fraction();
            let d = Mass::from_grams_rounded(scale.d.grams() / factor);
            found.unfit(format!(
                "one step of the scale, {}, moves the superfat by {} points: too coarse for {} of \
                 {}; a scale with steps of {} or finer would do, or a batch {factor:.1} times as \
                 large, or the caustic as a stock lye of {}",
                self.show(scale.d),
                moved.show(1).trim_end_matches(" %"),
                self.show(caustic.target),
                caustic.id,
                show_fine(d, self.recipe),
                Share::from_fraction_rounded((1.0 / factor).min(0.5)).show(0),
            ));
        }
        let period = self.bench.and_then(|bench| {
            bench
                .setup()
                .channels
                .iter()
                .find(|channel| matches!(channel.role, Role::Scale { .. }))
                .map(|channel| channel.period)
        });
        if let Some(period) = period.filter(|period| *period > CAUSTIC_PERIOD_MAX) {
            found.unfit(format!(
                "the scale speaks every {period} only: too slow to stop a pour of caustic; one \
                 that sends at least twice a second would do"
            ));
        }
    }

    /// Of the sheets that come with panroom; one of the maker's own is judged by its check.
    pub(super) fn wire(&self, found: &mut Findings) {
        let weighs = |instrument: &&Instrument| {
            let mut channels = instrument.channels.iter();
            channels.any(|channel| matches!(channel.role, Role::Scale { .. }))
        };
        let scale = self.bench.and_then(|bench| bench.instruments.iter().find(weighs));
        let Some(sheet) = scale.map(|scale| scale.sheet.as_str()) else { return };
        let Some(lost) = lost_digit_of_shipped(sheet) else { return };
        if self.outlook.guards.is_empty() {
            return;
        }
        found.note(format!(
            "the scale's wire sheet `{sheet}` cannot tell a line that lost a digit from a smaller \
             load: {}; if the scale offers an output with a check or of fixed width, prefer it for \
             caustic",
            lost.words()
        ));
    }

    pub(super) fn weighings(&self, found: &mut Findings, scale: &ScaleFacts, least: Option<Mass>) {
        let pot = self.pot.map_or(Mass::ZERO, |pot| pot.tare);
        let mut in_pot = pot;
        let mut too_much = None;
        let mut too_little: Vec<String> = Vec::new();
        for weigh in self.control.weighings() {
            let mass = self.planned.get(&weigh.ingredient).copied().unwrap_or(Mass::ZERO);
            let load = if weigh.into == Vessel::Pot {
                in_pot += mass;
                in_pot
            } else {
                mass
            };
            if load > scale.capacity && too_much.is_none() {
                too_much = Some((weigh.name.clone(), load));
            }
            self.weighing(found, scale, weigh, mass, load);
            if least.is_some_and(|least| mass < least) && mass > Mass::ZERO {
                too_little.push(format!("{} of {}", self.show(mass), weigh.name));
            }
        }
        if let Some(least) = least.filter(|_| !too_little.is_empty()) {
            found.note(format!(
                "less than the scale is meant for, {} (its Min): {}",
                self.show(least),
                too_little.join(", ")
            ));
        }
        let Some((name, load)) = too_much else { return };
        let pot_words = if self.pot.is_some() { "pot and contents" } else { "the contents alone" };
        let room = (scale.capacity - pot).grams() / (load - pot).grams();
        let smaller = if room > 0.0 {
            format!("a batch of {} of this one", Share::from_fraction_rounded(room).show(0))
        } else {
            "a scale of larger capacity".to_owned()
        };
        found.unfit(format!(
            "with {name} {pot_words} come to {}, more than the scale's capacity of {}; a lighter \
             pot, the oils weighed in cups one after the other, or {smaller} would do",
            self.show(load),
            self.show(scale.capacity)
        ));
    }

    /// Steps and class of the scale against the tolerance of one weighing.
    fn weighing(
        &self,
        found: &mut Findings,
        scale: &ScaleFacts,
        weigh: &Weigh,
        mass: Mass,
        load: Mass,
    ) {
        if mass <= Mass::ZERO {
            if weigh.amount != Amount::Liquid {
                found.unfit(format!(
                    "{} rounds to nothing in steps of {}; weigh it on a finer scale",
                    weigh.name,
                    self.show(scale.d)
                ));
            }
            return;
        }
        let wanted = width(weigh.tolerance, mass);
        if wanted < scale.d {
            let one_step = Share::from_fraction_rounded(scale.d.grams() / mass.grams());
            let times = scale.d.grams() / wanted.grams();
            found.warn(format!(
                "one step of the scale is {} of {} of {}; steps of {} or a batch {times:.1} times \
                 as large would hold ±{}",
                one_step.show(1),
                self.show(mass),
                weigh.name,
                show_fine(wanted, self.recipe),
                show_fine(wanted, self.recipe),
            ));
        }
        let Some(verified) = scale.verified else { return };
        let allowed = wanted.max(scale.d);
        let error = verified.mpe_in_service(load);
        if error > allowed {
            let alone = verified.mpe_in_service(mass);
            let way = if weigh.into == Vessel::Pot && alone <= allowed {
                "weighed in a light cup of its own it would do"
            } else {
                "a finer scale or a larger batch would do"
            };
            found.note(format!(
                "{} within ±{}: with {} on the pan a scale of class {:?} may be off by ±{} (OIML \
                 R 76, in service); {way}",
                weigh.name,
                show_fine(allowed, self.recipe),
                self.show(load),
                verified.class,
                show_fine(error, self.recipe),
            ));
        }
    }
}
