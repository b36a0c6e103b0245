//! The unit key of a scale that does not send its unit: recognised from the number alone.
//!
//! Two things tell: a number on a pan at rest that changes, from one reading to the next, by the
//! ratio of two units; and decimals that change. Neither is proof, so a number under suspicion is
//! a fault: nothing is decided from it until the display shows what it showed before.
//!
//! The limit: 28.35 times less than the load must still be told from an empty pan. With the same
//! decimals that takes a load of 215 d (7.5 d, the 5 d within which a pan counts as empty and the
//! rounding of the other unit, times 28.35, and flicker); below it the number after the key is a
//! pan that has been cleared, and reads below the tare: lifted. With other decimals five of the
//! new display's steps will do.

use std::collections::VecDeque;

use crate::quantity::{Mass, MassUnit, Moment, Span};
use crate::reading::{Reading, Value};

/// Volatile, as all that instruments said.
#[derive(Clone, Debug, Default)]
pub struct UnitKey {
    last: Option<Shown>,
    suspicion: Option<Suspicion>,
    /// When decimals changed, lately: a wire that drops its trailing noughts changes them always.
    decimals_at: VecDeque<Moment>,
    decimals_vary: bool,
    /// To be said: units on the wire, decimals, the number before and after.
    pub unit_changed: Option<(MassUnit, MassUnit)>,
    pub decimals_changed: Option<(u8, u8)>,
    pub suspected: Option<(Mass, Mass)>,
}

#[derive(Clone, Copy, Debug)]
struct Shown {
    mass: Mass,
    unit: MassUnit,
    decimals: u8,
    on_wire: bool,
}

#[derive(Clone, Copy, Debug)]
struct Suspicion {
    since: Moment,
    /// The load before, and what the number was multiplied by.
    load: Mass,
    ratio: f64,
    /// The decimals before, if they changed: then they must come back.
    decimals: Option<u8>,
    said: bool,
}

/// What a number is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worth {
    Trusted,
    /// The unit key may have been pressed: a fault.
    Suspect,
    /// Trusted again, after long enough for anything to have happened on the pan.
    TrustedAgain,
}

/// g per oz (28.349 523 125), g per lb (453.592 37), g per kg, oz per lb; avoirdupois, by
/// definition of the international pound (1959).
const RATIOS: [f64; 4] = [28.349_523_125, 453.592_37, 1000.0, 16.0];
/// oz per kg: too near to the first to be told apart from a load taken off, save by decimals.
const OZ_PER_KG: f64 = 35.273_961_95;
/// The flicker of a load at rest, and how near to nought a pan counts as empty, in d.
const FLICKER_D: f64 = 2.0;
const EMPTY_D: f64 = 5.0;
/// A display counts in steps of 1, 2 or 5 of its last decimal: rounded by half of that.
const ROUNDING_STEPS: f64 = 2.5;
/// With other decimals, so many steps of the new display are told from nought.
const LEAST_STEPS: f64 = 5.0;
/// A number that grows is told to this part of itself.
const SLACK_MAX: f64 = 0.01;
/// While somebody pours, decimals and a ratio to this part of itself tell.
const SLACK_POURING: f64 = 0.1;
/// A number that passes through a ratio on its way is no key: said, and doubted, only after this.
const CONFIRMED_AFTER: Span = Span::from_millis(500);
/// Decimals that change so often in so short a time say nothing.
const VARY_TIMES: usize = 3;
const VARY_WITHIN: Span = Span::from_secs(10);

impl UnitKey {
    /// `rested` is the load of a pan that was at rest up to this reading, `d` the scale's interval.
    pub fn take(&mut self, reading: &Reading, rested: Option<Mass>, d: Mass) -> Worth {
        let Some(Value::Mass { mass, unit, decimals, unit_on_wire }) = reading.value else {
            return Worth::Trusted;
        };
        let shown = Shown { mass, unit, decimals, on_wire: unit_on_wire };
        let last = self.last.replace(shown);
        if unit_on_wire {
            self.suspicion = None;
            self.note_on_wire(last, shown);
            return Worth::Trusted;
        }
        if let Some(suspicion) = self.suspicion {
            return self.still(suspicion, shown, reading.at);
        }
        let before = last.filter(|last| !last.on_wire);
        let other_decimals = before.filter(|last| last.decimals != decimals);
        if let Some(last) = other_decimals
            && !self.vary(reading.at)
        {
            self.decimals_changed = Some((last.decimals, decimals));
            let both_empty = grams_in_d(last.mass, d) <= EMPTY_D && grams_in_d(mass, d) <= EMPTY_D;
            // a scale with two ranges changes its decimals under load, never on an empty pan
            let ratio = if both_empty { Some(1.0) } else { by_decimals(rested, last, shown, d) };
            if let Some(ratio) = ratio {
                let load = rested.unwrap_or(last.mass);
                return self.suspect(reading.at, load, ratio, Some(last.decimals));
            }
        }
        match rested.and_then(|load| Some((load, same_decimals(load, shown, d)?))) {
            Some((load, ratio)) if other_decimals.is_none() => {
                self.suspect(reading.at, load, ratio, None)
            }
            _ => Worth::Trusted,
        }
    }

    /// The port was gone: a load under suspicion is left to the doubt about the zero. Decimals are
    /// not, since an empty pan reads nothing in every unit.
    pub fn lose(&mut self) {
        self.suspicion = self.suspicion.take().filter(|suspicion| suspicion.decimals.is_some());
    }

    fn note_on_wire(&mut self, last: Option<Shown>, shown: Shown) {
        let Some(last) = last.filter(|last| last.on_wire) else { return };
        if last.unit != shown.unit {
            self.unit_changed = Some((last.unit, shown.unit));
        } else if last.decimals != shown.decimals {
            self.decimals_changed = Some((last.decimals, shown.decimals));
        }
    }

    fn suspect(&mut self, at: Moment, load: Mass, ratio: f64, decimals: Option<u8>) -> Worth {
        self.suspicion = Some(Suspicion { since: at, load, ratio, decimals, said: false });
        Worth::Suspect
    }

    /// A number under suspicion stays so, wherever it goes, until it is nearer to what it was than
    /// to the ratio and has its old decimals: what is poured meanwhile is poured in another unit.
    fn still(&mut self, mut suspicion: Suspicion, shown: Shown, at: Moment) -> Worth {
        let halfway = suspicion.load.grams() * suspicion.ratio.sqrt();
        let elsewhere = match suspicion.ratio {
            ratio if ratio < 1.0 => shown.mass.grams() < halfway,
            ratio if ratio > 1.0 => shown.mass.grams() > halfway,
            _ => false,
        };
        let other_decimals = suspicion.decimals.is_some_and(|decimals| decimals != shown.decimals);
        let confirmed = at.since(suspicion.since) >= CONFIRMED_AFTER;
        let suspect = match suspicion.decimals {
            Some(_) => other_decimals,
            None => elsewhere,
        };
        if suspect {
            if confirmed && !suspicion.said {
                suspicion.said = true;
                self.suspected = Some((suspicion.load, shown.mass));
            }
            self.suspicion = Some(suspicion);
            return Worth::Suspect;
        }
        self.suspicion = None;
        match suspicion.decimals {
            // a key pressed and pressed back is no scale whose decimals come and go
            Some(_) if confirmed => self.decimals_at.clear(),
            Some(_) => self.decimals_at.push_back(at),
            None => {}
        }
        if confirmed { Worth::TrustedAgain } else { Worth::Trusted }
    }

    fn vary(&mut self, at: Moment) -> bool {
        self.decimals_at.push_back(at);
        while self.decimals_at.len() > VARY_TIMES
            || self.decimals_at.front().is_some_and(|&first| at.since(first) > VARY_WITHIN)
        {
            self.decimals_at.pop_front();
        }
        self.decimals_vary |= self.decimals_at.len() >= VARY_TIMES;
        self.decimals_vary
    }
}

fn grams_in_d(mass: Mass, d: Mass) -> f64 {
    (mass.grams() / d.grams()).abs()
}

/// One step of the last decimal, in grams.
fn step_of(shown: Shown) -> f64 {
    Mass::from_decimal(1, shown.decimals, shown.unit).map_or(0.0, Mass::grams)
}

/// The ratio by which a pan at rest seems to have changed, with its decimals as they were.
fn same_decimals(load: Mass, shown: Shown, d: Mass) -> Option<f64> {
    let empty = EMPTY_D * d.grams();
    find(&RATIOS, load, shown.mass, |ratio| {
        let rounding = ROUNDING_STEPS * step_of(shown) + FLICKER_D * d.grams() * ratio;
        let expected = load.grams() * ratio;
        let tells = if ratio < 1.0 {
            expected >= empty + rounding
        } else {
            FLICKER_D * d.grams() <= load.grams() * SLACK_MAX
        };
        tells.then_some(rounding)
    })
}

/// The same, where decimals changed: a smaller number tells, and a pan that is not at rest.
fn by_decimals(rested: Option<Mass>, last: Shown, shown: Shown, d: Mass) -> Option<f64> {
    let load = rested.unwrap_or(last.mass);
    let ratios = [&RATIOS[..], &[OZ_PER_KG]].concat();
    find(&ratios, load, shown.mass, |ratio| {
        let expected = load.grams() * ratio;
        let rounding = ROUNDING_STEPS * step_of(shown) + FLICKER_D * d.grams() * ratio;
        let pouring = if rested.is_some() { 0.0 } else { SLACK_POURING * expected };
        (expected >= LEAST_STEPS * step_of(shown)).then_some(rounding + pouring)
    })
}

/// The first ratio, either way, that takes `load` to `now` within what it may be off by.
fn find(ratios: &[f64], load: Mass, now: Mass, slack: impl Fn(f64) -> Option<f64>) -> Option<f64> {
    let mut ratios = ratios.iter().flat_map(|ratio| [1.0 / ratio, *ratio]);
    ratios.find(|&ratio| {
        slack(ratio).is_some_and(|slack| (now.grams() - load.grams() * ratio).abs() <= slack)
    })
}

#[cfg(test)]
#[path = "unit_key_tests.rs"]
mod tests;
