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
    let mut clock = begun.utc_ns;
    for (index, (utc_ns, temperature)) in readings.iter().enumerate() {
        let next = readings.get(index + 1).map_or(until, |(next, _)| *next).min(until);
        heat.pass_unmeasured(clock, *utc_ns);
        clock = clock.max(*utc_ns);
        let held = next.min(utc_ns.saturating_add(holds.nanos()));
        if let Some(span) = between(clock, held) {
            *heat.part(*temperature) = *heat.part(*temperature) + span;
            clock = held;
        }
    }
    heat.pass_unmeasured(clock, until);
    Some(heat)
}

impl CookHeat {
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
fn holds(setup: Option<&Setup>, trace: &Trace) -> Span {
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
