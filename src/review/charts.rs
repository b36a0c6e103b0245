//! What is drawn beside a review: temperatures over the whole batch, and each pour. Readings stay
//! in the journal; what comes from here is thinned to what a picture can show.

use super::book::Book;
use super::evidence::{Evidence, Trace};
use super::heat;
use super::thin::thinned;
use crate::bench::{Fact, ProbeAt, State, Target};
use crate::plan::{StepKind, Window};
use crate::quantity::{Mass, Span, Temperature};
use crate::reading::Channel;

/// As many as a chart has columns of its own width: see the page's renderer.
const HEAT_COLUMNS: usize = 560;
const POUR_COLUMNS: usize = 180;
/// A cup that is lifted is no pour: less than this part of the target is not drawn.
const LIFTED: f64 = -0.05;
/// Readings of a scale come several a second; what is further apart was not seen.
const PAN_HOLDS: Span = Span::from_secs(3);

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Charts {
    /// From the start of the batch to its end, or as far as it is known; UTC nanoseconds.
    pub from: i64,
    pub until: i64,
    pub heat: Vec<HeatChart>,
    pub pours: Vec<PourChart>,
    /// When each step began, with its number.
    pub steps: Vec<(i64, usize)>,
    /// When an alarm was raised.
    pub alarms: Vec<(i64, String)>,
}

/// One place's temperatures.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatChart {
    pub at: ProbeAt,
    /// `None`: only single readings are known of it.
    pub channel: Option<Channel>,
    pub points: Vec<(i64, Option<Temperature>)>,
    pub windows: Vec<During<Window>>,
    pub limits: Vec<During<Temperature>>,
    pub spots: Vec<Spot>,
}

/// Something that counted for a while.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct During<T> {
    pub from: i64,
    pub until: i64,
    pub what: T,
}

/// One temperature of a hand-held probe, or typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    pub at: i64,
    pub temperature: Temperature,
    pub by_hand: bool,
}

/// What the pan showed of one weighing, vessel off.
#[derive(Clone, Debug, PartialEq)]
pub struct PourChart {
    pub step: usize,
    pub title: String,
    pub target: Target,
    pub from: i64,
    pub until: i64,
    pub points: Vec<(i64, Option<Mass>)>,
    pub captured: Option<(i64, Mass)>,
}

/// What the pan read while a step went on, vessel and all, with UTC nanoseconds.
#[derive(Clone, Debug, PartialEq)]
pub struct PanTrace {
    pub step: String,
    pub readings: Vec<(i64, Mass)>,
}

/// `None` when no start of the batch is among the facts.
pub fn charts(evidence: &Evidence, pans: &[PanTrace]) -> Option<Charts> {
    let book = Book::open(evidence)?;
    let (from, until) = (book.started.utc_ns, book.end_utc_ns());
    let steps = book.steps().enumerate().filter_map(|(index, step)| {
        let (begun, _) = during(&book, &step.key)?;
        Some((begun, index + 1))
    });
    Some(Charts {
        from,
        until,
        heat: heat_charts(&book, (from, until)),
        pours: pans.iter().filter_map(|pan| pour(&book, pan)).collect(),
        steps: steps.collect(),
        alarms: alarms(&book),
    })
}

fn alarms(book: &Book) -> Vec<(i64, String)> {
    let raised = super::alarms::alarms(book).into_iter();
    raised.map(|alarm| (alarm.raised.utc_ns, alarm.detail)).collect()
}

/// From its first begin to its last end, or to the end of what is known.
fn during(book: &Book, key: &str) -> Option<(i64, i64)> {
    let begun = book.own.iter().find(
        |dated| matches!(&dated.numbered.fact, Fact::StepBegun { step, .. } if step == key),
    )?;
    let done = book
        .own
        .iter()
        .rfind(|dated| matches!(&dated.numbered.fact, Fact::StepDone { step, .. } if step == key));
    Some((begun.utc_ns, done.map_or_else(|| book.end_utc_ns(), |done| done.utc_ns)))
}

fn heat_charts(book: &Book, whole: (i64, i64)) -> Vec<HeatChart> {
    let traces = book.evidence.temperatures.iter().filter(|trace| !trace.readings.is_empty());
    let mut charts: Vec<HeatChart> = traces.map(|trace| heat_chart(book, trace, whole)).collect();
    for at in [ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot, ProbeAt::Room] {
        let spots = spots(book, at);
        if spots.is_empty() {
            continue;
        }
        match charts.iter_mut().find(|chart| chart.at == at) {
            Some(chart) => chart.spots = spots,
            None => charts.push(HeatChart { spots, ..bare(book, at) }),
        }
    }
    charts
}

fn heat_chart(book: &Book, trace: &Trace, whole: (i64, i64)) -> HeatChart {
    let holds = heat::holds(book.setup_at(book.started.numbered.number), trace);
    HeatChart {
        channel: Some(trace.channel.clone()),
        points: thinned(&trace.readings, whole, HEAT_COLUMNS, holds.nanos()),
        ..bare(book, trace.at)
    }
}

/// Windows and limits of a place, without what was read there.
fn bare(book: &Book, at: ProbeAt) -> HeatChart {
    let mut chart = HeatChart {
        at,
        channel: None,
        points: Vec::new(),
        windows: Vec::new(),
        limits: Vec::new(),
        spots: Vec::new(),
    };
    for step in book.steps() {
        let Some((from, until)) = during(book, &step.key) else { continue };
        let window = match (&step.kind, at) {
            (StepKind::Cook(cook), ProbeAt::Pot) => {
                let limits = [cook.high, cook.high_high];
                chart.limits.extend(limits.map(|what| During { from, until, what }));
                Some(cook.window)
            }
            (StepKind::Combine { oils, .. }, ProbeAt::Oils) => *oils,
            (StepKind::Combine { lye, .. }, ProbeAt::Lye) => *lye,
            (StepKind::WhenCool { below }, ProbeAt::Pot) => {
                chart.limits.push(During { from, until, what: *below });
                None
            }
            _ => None,
        };
        chart.windows.extend(window.map(|what| During { from, until, what }));
    }
    chart
}

fn spots(book: &Book, wanted: ProbeAt) -> Vec<Spot> {
    let spots = book.own.iter().filter_map(|dated| match &dated.numbered.fact {
        Fact::SpotRead { at, temperature, read_at, channel, .. } if *at == wanted => {
            let before = dated.numbered.at.since(*read_at).nanos();
            Some(Spot {
                at: dated.utc_ns - before,
                temperature: *temperature,
                by_hand: channel.is_none(),
            })
        }
        _ => None,
    });
    spots.collect()
}

/// From when on what stood on the pan before anything was poured, as the books of the bench had it:
/// a zero moves it, whoever had the scale then.
fn tares(book: &Book, key: &str) -> Vec<(i64, Mass)> {
    let mut state = State::default();
    let mut tares: Vec<(i64, Mass)> = Vec::new();
    for dated in book.all() {
        state.apply(&dated.numbered);
        let batch = state.batches.get(book.evidence.batch);
        let at_it = batch.filter(|batch| batch.step().is_some_and(|step| step.key == key));
        let tare = at_it.and_then(|batch| batch.weigh()?.1.tare);
        if let Some(tare) = tare.filter(|tare| tares.last().is_none_or(|(_, last)| last != tare)) {
            tares.push((dated.utc_ns, tare));
        }
    }
    tares
}

fn pour(book: &Book, pan: &PanTrace) -> Option<PourChart> {
    let (index, step) = book.steps().enumerate().find(|(_, step)| step.key == pan.step)?;
    let (from, until) = during(book, &pan.step)?;
    let mut target = None;
    let mut captured = None;
    let tares = tares(book, &pan.step);
    for dated in &book.own {
        match &dated.numbered.fact {
            Fact::StepBegun { step, target: to, .. } if step == &pan.step => target = *to,
            Fact::Retargeted { step, target: to, .. } if step == &pan.step => target = Some(*to),
            Fact::Captured { step, net, gross: Some(_), .. } if step == &pan.step => {
                captured = Some((dated.utc_ns, *net));
            }
            _ => {}
        }
    }
    let target = target?;
    let least = target.mass.grams() * LIFTED;
    let net = pan.readings.iter().filter_map(|&(at, gross)| {
        let tare = tares.iter().rev().find(|(since, _)| *since <= at)?.1;
        Some((at, gross - tare)).filter(|(_, net)| net.grams() >= least)
    });
    let net: Vec<(i64, Mass)> = net.collect();
    // what is drawn begins with the pour, not with the search for a cup
    let from = net.first().map_or(from, |(first, _)| *first);
    let points = thinned(&net, (from, until), POUR_COLUMNS, PAN_HOLDS.nanos());
    let title = step.title.clone();
    (points.len() > 1).then_some(PourChart {
        step: index + 1,
        title,
        target,
        from,
        until,
        points,
        captured,
    })
}
