//! How warm it was: extremes of each probe, and the pot against the cook's window.

use super::book::{Book, between};
use super::evidence::Trace;
use super::model::{CookHeat, Extreme, HeatReview};
use crate::bench::{Fact, ProbeAt, Settings, Setup};
use crate::plan::{Step, StepKind, Window};
use crate::quantity::{Span, Temperature};

pub fn heat(book: &Book) -> Vec<HeatReview> {
    book.evidence.temperatures.iter().map(|trace| one(book, trace)).collect()
}

fn one(book: &Book, trace: &Trace) -> HeatReview {
    let whole = (book.started.utc_ns, book.end_utc_ns());
    let (lowest, highest) = extremes(book, &within(trace, whole));
    let cooks = if trace.at == ProbeAt::Pot {
        book.control.steps.iter().filter_map(|step| cook(book, trace, step)).collect()
    } else {
        Vec::new()
    };
    HeatReview { channel: trace.channel.clone(), at: trace.at, lowest, highest, cooks }
}

fn cook(book: &Book, trace: &Trace, step: &Step) -> Option<CookHeat> {
    let StepKind::Cook(cook) = &step.kind else { return None };
    let begun = book.own.iter().find(|dated| {
        matches!(&dated.numbered.fact, Fact::StepBegun { step: key, .. } if key == &step.key)
    })?;
    let done = book.own.iter().find(|dated| {
        matches!(&dated.numbered.fact, Fact::StepDone { step: key, .. } if key == &step.key)
    });
    let until = done.map_or(book.end_utc_ns(), |done| done.utc_ns);
    let readings = within(trace, (begun.utc_ns, until));
    let (lowest, highest) = extremes(book, &readings);
    let holds = holds(book.setup_at(begun.numbered.number), trace);
    let mut heat = CookHeat {
        step: step.title.clone(),
        window: cook.window,
        lowest,
        highest,
        below: Span::ZERO,
        inside: Span::ZERO,
        above: Span::ZERO,
        unmeasured: Span::ZERO,
    };
    // what the probe said last before the cook began holds into it
    let before = trace.readings.iter().rev().find(|(utc_ns, _)| *utc_ns < begun.utc_ns);
    let readings: Vec<_> = before.into_iter().copied().chain(readings).collect();
    heat.count(&readings, (begun.utc_ns, until), holds);
    Some(heat)
}

impl CookHeat {
    /// Every instant from the one time to the other belongs to the reading before it, if that is
    /// young enough.
    fn count(&mut self, readings: &[(i64, Temperature)], (from, until): (i64, i64), holds: Span) {
        let mut clock = from;
        for (index, (utc_ns, temperature)) in readings.iter().enumerate() {
            self.pass_unmeasured(clock, *utc_ns);
            clock = clock.max(*utc_ns);
            let next = readings.get(index + 1).map_or(until, |(next, _)| *next).min(until);
            let held = next.min(utc_ns.saturating_add(holds.nanos()));
            if let Some(span) = between(clock, held) {
                let part = self.part(*temperature);
                *part = *part + span;
                clock = held;
            }
        }
        self.pass_unmeasured(clock, until);
    }

    fn part(&mut self, temperature: Temperature) -> &mut Span {
        let Window { low, high } = self.window;
        match temperature {
            below if below < low => &mut self.below,
            above if above > high => &mut self.above,
            _ => &mut self.inside,
        }
    }

    fn pass_unmeasured(&mut self, from: i64, to: i64) {
        self.unmeasured = self.unmeasured + between(from, to).unwrap_or_default();
    }
}

/// How long a reading speaks for the pot: as long as the bench itself would have used it.
pub(super) fn holds(setup: Option<&Setup>, trace: &Trace) -> Span {
    let usual = Settings::default();
    let settings = setup.map_or(&usual, |setup| setup.settings.as_ref());
    let period = setup.and_then(|setup| setup.channel(&trace.channel)).map(|c| c.period);
    let periods = i64::from(settings.probe_silence_periods);
    let periods = Span::from_nanos(period.unwrap_or_default().nanos().saturating_mul(periods));
    settings.probe_silence.max(periods)
}

fn within(trace: &Trace, (from, until): (i64, i64)) -> Vec<(i64, Temperature)> {
    let inside = |(utc_ns, _): &(i64, Temperature)| (from..=until).contains(utc_ns);
    trace.readings.iter().copied().filter(inside).collect()
}

fn extremes(book: &Book, readings: &[(i64, Temperature)]) -> (Option<Extreme>, Option<Extreme>) {
    let extreme = |(utc_ns, temperature): &(i64, Temperature)| Extreme {
        temperature: *temperature,
        at: book.at_utc(*utc_ns),
    };
    // the first of equals, on both sides
    let lowest = readings.iter().min_by_key(|(_, temperature)| *temperature).map(extreme);
    let highest = readings.iter().rev().max_by_key(|(_, temperature)| *temperature).map(extreme);
    (lowest, highest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::TemperatureUnit;

    fn celsius(tenths: i64) -> Temperature {
        Temperature::from_decimal(tenths, 1, TemperatureUnit::Celsius).unwrap()
    }

    fn cook_heat() -> CookHeat {
        CookHeat {
            step: "cook".to_owned(),
            window: Window { low: celsius(710), high: celsius(930) },
            lowest: None,
            highest: None,
            below: Span::ZERO,
            inside: Span::ZERO,
            above: Span::ZERO,
            unmeasured: Span::ZERO,
        }
    }

    /// Seconds below, inside, above and unmeasured of a cook from 0 to `until`, with readings
    /// that hold for 5 s.
    fn shares(readings: &[(i64, i64)], until: i64) -> [i64; 4] {
        let mut heat = cook_heat();
        let second = 1_000_000_000;
        let readings: Vec<_> =
            readings.iter().map(|(s, tenths)| (s * second, celsius(*tenths))).collect();
        heat.count(&readings, (0, until * second), Span::from_secs(5));
        [heat.below, heat.inside, heat.above, heat.unmeasured].map(|span| span.millis() / 1000)
    }

    #[test]
    fn each_reading_holds_until_the_next_or_until_it_is_too_old() {
        // 0–3 nobody measured, 3–5 below, 5–8 inside, 8–10 above
        assert_eq!(shares(&[(3, 709), (5, 710), (8, 931)], 10), [2, 3, 2, 3]);
        // 2–7 inside, then nothing until 20, then inside to the end
        assert_eq!(shares(&[(2, 930), (20, 930)], 24), [0, 9, 0, 15]);
        // read just before the cook began, it speaks for its first two seconds
        assert_eq!(shares(&[(-3, 800)], 10), [0, 2, 0, 8]);
        assert_eq!(shares(&[(-30, 800)], 10), [0, 0, 0, 10]);
        assert_eq!(shares(&[], 10), [0, 0, 0, 10]);
    }
}
