//! "Slow" and "stop" while pouring: from the pour rate, ahead of the target by what still runs in
//! while the scale lags and a hand reacts. How far ahead, and how surely, is learnt from each pour.
//!
//! What is short can be topped up, what is over cannot be unpoured: where the tolerance is narrower
//! than the hand is sure, "stop" comes early enough to end short.

use std::collections::VecDeque;

use super::cue::Cue;
use super::fact::Target;
use super::law::Bench;
use super::pan::Pan;
use super::view::Pace;
use crate::quantity::{Mass, Moment, Span};

/// What one scale has taught about the hand that pours onto it. Volatile: learnt anew each
/// session, from a cautious beginning.
#[derive(Clone, Debug, Default)]
pub struct Pourer {
    samples: VecDeque<(Moment, f64)>,
    pub pace: Pace,
    /// A scoop is not a bottle: caustic has a lead of its own.
    caustic: Lead,
    other: Lead,
    /// Net and rate when "stop" was said, until the pan has come to rest.
    stopped: Option<(f64, f64)>,
    /// The net at which the pour stood still after "stop", before the pan has come to rest.
    stood: Option<f64>,
    /// When the next word falls due, should the pour go on as it does.
    due: Option<Moment>,
}

/// Seconds between "stop" and the last drop that counts, and by how much one time differs from
/// the next.
#[derive(Clone, Copy, Debug)]
struct Lead {
    seconds: f64,
    spread_s: f64,
}

/// A pour towards its tolerance, in grams.
#[derive(Clone, Copy, Debug)]
struct Towards {
    low: f64,
    high: f64,
    d: f64,
    caustic: bool,
}

/// The rate is told from at least so much time and so many readings, from more while the load has
/// not risen by enough intervals to tell, and from no more than this. Long enough for three
/// readings of the slowest scale allowed for caustic (2 readings/s). Ours.
const RATE_OVER: Span = Span::from_millis(600);
const RATE_READINGS: usize = 3;
const RATE_RISE_D: f64 = 4.0;
const RATE_OVER_MAX: Span = Span::from_millis(2500);
/// The newest of it: at least so long, and risen by so many intervals.
const LATEST_OVER: Span = Span::from_millis(250);
const LATEST_RISE_D: f64 = 6.0;
/// Rising by less than this over all of that time, nothing is being poured.
const POURING_RISE_D: f64 = 1.5;
/// Having stood, it is poured on once it has risen by this.
const RISES_AGAIN_D: f64 = 2.0;
const SAMPLES_MAX: usize = 512;
/// Readings further apart than this belong to no one pour; nor is one reckoned on beyond it.
const GAP_MAX: Span = Span::from_secs(1);
/// Scale lag 0.4 s and reaction 0.6 s to begin with: ours.
const LEAD_BEGINNING_S: f64 = 1.0;
const LEAD_RANGE_S: std::ops::RangeInclusive<f64> = 0.3..=2.5;
/// Mean deviation of one reaction from the next, to begin with and at the least: ours.
const SPREAD_BEGINNING_S: f64 = 0.15;
const SPREAD_RANGE_S: std::ops::RangeInclusive<f64> = 0.06..=0.8;
/// Half of each surprise is believed, and a third of how large it was.
const LEARNING: f64 = 0.5;
const SPREAD_LEARNING: f64 = 0.3;
/// A stream of so many intervals a second is half believed.
const TOLD_D_PER_S: f64 = 4.0;
/// So many mean deviations are kept from the upper end of the tolerance: two standard deviations
/// of a normal spread.
const SURE: f64 = 2.5;
/// "Slow" comes this many times as far ahead as "stop".
const SLOW_AHEAD: f64 = 3.0;
/// No word is reckoned nearer than this.
const SOON_S: f64 = 0.001;

impl Default for Lead {
    fn default() -> Lead {
        Lead { seconds: LEAD_BEGINNING_S, spread_s: SPREAD_BEGINNING_S }
    }
}

impl Lead {
    /// "Stop" was followed by what ran in for so many seconds. What is told by a few intervals
    /// only is believed less: `trust` is 1 for a stream, and less for a thread.
    fn learn(&mut self, seconds: f64, trust: f64) {
        let surprise = seconds - self.seconds;
        let spread = trust * SPREAD_LEARNING * (surprise.abs() - self.spread_s);
        self.spread_s =
            (self.spread_s + spread).clamp(*SPREAD_RANGE_S.start(), *SPREAD_RANGE_S.end());
        let believed = self.seconds + trust * LEARNING * surprise;
        self.seconds = believed.clamp(*LEAD_RANGE_S.start(), *LEAD_RANGE_S.end());
    }
}

impl Towards {
    fn new(target: &Target, d: Mass) -> Towards {
        Towards {
            low: target.low.grams(),
            high: target.high.grams(),
            d: d.grams(),
            caustic: target.guard.is_some(),
        }
    }

    /// The net to be met: the middle of the tolerance, or as much less as the hand is not sure of.
    fn aim(&self, rate: f64, lead: Lead) -> f64 {
        let middle = (self.low + self.high) / 2.0;
        middle.min(self.high - self.d / 2.0 - SURE * lead.spread_s * rate)
    }
}

impl Pourer {
    pub fn take(&mut self, at: Moment, load: Option<Mass>) {
        self.due = None;
        let Some(load) = load else {
            self.samples.clear();
            return;
        };
        if self.samples.back().is_some_and(|&(last, _)| at < last || at.since(last) > GAP_MAX) {
            self.samples.clear();
        }
        self.samples.push_back((at, load.grams()));
        while self.samples.len() > SAMPLES_MAX
            || self.samples.front().is_some_and(|&(first, _)| at.since(first) > RATE_OVER_MAX)
        {
            self.samples.pop_front();
        }
    }

    /// A new step, or a vessel lifted: what was being poured is no longer.
    pub fn begin(&mut self) {
        self.pace = Pace::Free;
        self.stopped = None;
        self.stood = None;
        self.due = None;
    }

    /// The pan has come to rest: how much ran in after "stop"?
    fn learn(&mut self, net: f64, d: f64, caustic: bool) {
        if let Some((at_stop, rate)) = self.stopped.take() {
            let trust = rate / (rate + TOLD_D_PER_S * d);
            self.lead_mut(caustic).learn((net - at_stop) / rate, trust);
        }
    }

    fn lead_mut(&mut self, caustic: bool) -> &mut Lead {
        if caustic { &mut self.caustic } else { &mut self.other }
    }

    /// Grams a second, if something is being poured: the slope of the newest readings, over as
    /// short a time as tells.
    fn rate(&self, d: f64) -> Option<f64> {
        let &(newest, load) = self.samples.back()?;
        let enough = |index: usize| {
            let (at, then) = self.samples[index];
            newest.since(at) >= RATE_OVER
                && self.samples.len() - index >= RATE_READINGS
                && load - then >= RATE_RISE_D * d
        };
        let first = (0..self.samples.len()).rev().find(|&index| enough(index)).unwrap_or(0);
        let recent = || self.samples.iter().skip(first);
        let count = recent().count();
        let (oldest, _) = self.samples[first];
        let whole = newest.since(oldest);
        if count < RATE_READINGS || whole < RATE_OVER {
            return None;
        }
        let points = || recent().map(|&(at, load)| (at.since(oldest).seconds(), load));
        let mean_t = points().map(|p| p.0).sum::<f64>() / count as f64;
        let mean_v = points().map(|p| p.1).sum::<f64>() / count as f64;
        let spread: f64 = points().map(|p| (p.0 - mean_t).powi(2)).sum();
        let shared: f64 = points().map(|p| (p.0 - mean_t) * (p.1 - mean_v)).sum();
        let rate = (spread > 0.0).then(|| shared / spread)?;
        let rate = rate.max(self.latest_rate(d).unwrap_or_default());
        (rate * whole.seconds() >= POURING_RISE_D * d).then_some(rate)
    }

    /// Nobody who tops up waits for rest: what rises again after it has stood is a new pour, and is
    /// told anew.
    fn notice_topping_up(&mut self, net: f64, towards: &Towards) {
        let d = towards.d;
        match self.stood {
            _ if self.pace != Pace::Stop => self.stood = None,
            None if self.is_still(d) => {
                self.stood = Some(net);
                let newest = self.samples.back().map(|&(at, _)| at);
                self.samples.retain(|&(at, _)| newest.is_some_and(|n| n.since(at) <= RATE_OVER));
            }
            None => {}
            Some(stood) if net > stood + RISES_AGAIN_D * d => {
                self.learn(stood, d, towards.caustic);
                self.stood = None;
                self.pace = Pace::Free;
            }
            Some(stood) => self.stood = Some(stood.min(net)),
        }
    }

    /// No more than a flicker for as long as a rate is told from.
    fn is_still(&self, d: f64) -> bool {
        let Some(&(newest, load)) = self.samples.back() else { return false };
        let then = self.samples.iter().rev().find(|(at, _)| newest.since(*at) >= RATE_OVER);
        then.is_some_and(|&(_, then)| (load - then).abs() < POURING_RISE_D * d)
    }

    /// From the last two readings, or a few of a fast scale, where they differ by enough to tell. A
    /// pour that has just begun, or quickens, is faster than its slope: stopping early can be mended.
    fn latest_rate(&self, d: f64) -> Option<f64> {
        let &(newest, load) = self.samples.back()?;
        let mut before = self.samples.iter().rev().skip(1);
        let &(at, then) = before.find(|(at, _)| newest.since(*at) >= LATEST_OVER)?;
        let rise = load - then;
        (rise >= LATEST_RISE_D * d).then(|| rise / newest.since(at).seconds())
    }

    /// The pace for what is left to pour, and whether it is new. `net` is of the newest reading.
    fn judge(&mut self, now: Moment, net: f64, towards: &Towards) -> Option<Pace> {
        let since = now.since(self.samples.back()?.0);
        if since > GAP_MAX {
            return None;
        }
        self.notice_topping_up(net, towards);
        let lead = *self.lead_mut(towards.caustic);
        let Some(rate) = self.rate(towards.d) else {
            // a thread too thin to be told from a flicker is told by the number alone
            let there = self.pace != Pace::Stop && net >= towards.aim(0.0, lead);
            return there
                .then(|| std::mem::replace(&mut self.pace, Pace::Stop))
                .map(|_| Pace::Stop);
        };
        // scales speak in steps, a pour runs on between them
        let net = net + rate * since.seconds();
        let ahead = (towards.aim(rate, lead) - net) / rate;
        let pace = match self.pace {
            Pace::Stop => Pace::Stop,
            _ if ahead <= lead.seconds + SOON_S => Pace::Stop,
            Pace::Slow => Pace::Slow,
            Pace::Free if ahead <= lead.seconds * SLOW_AHEAD + SOON_S => Pace::Slow,
            Pace::Free => Pace::Free,
        };
        if pace == Pace::Stop && self.pace != Pace::Stop {
            self.stopped = Some((net, rate));
        }
        let to_next = match pace {
            Pace::Free => Some(ahead - lead.seconds * SLOW_AHEAD),
            Pace::Slow => Some(ahead - lead.seconds),
            Pace::Stop => None,
        };
        self.due = to_next.filter(|to| *to < GAP_MAX.seconds()).map(|to| now + after(to));
        let changed = pace != self.pace;
        self.pace = pace;
        changed.then_some(pace)
    }
}

fn after(seconds: f64) -> Span {
    Span::from_nanos((seconds.max(SOON_S) * 1e9) as i64)
}

/// Says slow or stop, once each.
pub fn guide(bench: &mut Bench, pan: &Pan, net: Mass) {
    let now = bench.now;
    let towards = Towards::new(&pan.weighing.target, pan.scale.d);
    let Some(sense) = bench.scale_sense_mut(&pan.id) else { return };
    match sense.pourer.judge(now, net.grams(), &towards) {
        Some(Pace::Slow) => bench.cue(Cue::Slow),
        Some(Pace::Stop) => bench.cue(Cue::Stop),
        Some(Pace::Free) | None => {}
    }
}

/// The pan rests with the pour unfinished or finished: the next pour may be told again.
pub fn rest(bench: &mut Bench, pan: &Pan, net: Mass) {
    let caustic = pan.weighing.target.guard.is_some();
    if let Some(sense) = bench.scale_sense_mut(&pan.id) {
        sense.pourer.learn(net.grams(), pan.scale.d.grams(), caustic);
        sense.pourer.begin();
    }
}

/// When a word falls due between two readings.
pub fn deadlines(bench: &Bench) -> impl Iterator<Item = Moment> + '_ {
    bench.senses.channels.values().filter_map(|sense| sense.pourer.due)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    fn grams(grams: f64) -> Mass {
        Mass::from_grams_rounded(grams)
    }

    fn ms(ms: i64) -> Moment {
        Moment::from_nanos(ms * 1_000_000)
    }

    /// A hand so sure that "stop" aims at the target itself.
    fn sure() -> Pourer {
        let other = Lead { seconds: 1.0, spread_s: 0.0 };
        Pourer { other, ..Pourer::default() }
    }

    /// Pours at so many g/s towards 100 g, read so often and to 0.1 g, and says when each pace was
    /// called, be it at a reading or when it fell due.
    fn called(pourer: &mut Pourer, rate: f64, period_ms: i64) -> Vec<(Pace, i64)> {
        let towards = Towards { low: 99.0, high: 101.0, d: 0.1, caustic: false };
        let mut calls = Vec::new();
        let mut net = 0.0;
        for at in 0..40_000 {
            if at % period_ms == 0 {
                net = (rate * at as f64 / 100.0).round() / 10.0;
                pourer.take(ms(at), Some(grams(net)));
            } else if pourer.due.is_none_or(|due| due > ms(at)) {
                continue;
            }
            if let Some(pace) = pourer.judge(ms(at), net, &towards) {
                calls.push((pace, at));
            }
            if net >= 100.0 {
                break;
            }
        }
        calls
    }

    #[test]
    fn stop_comes_one_lead_ahead_and_slow_three() {
        // 10 g/s: 100 g after 10 s
        let calls = called(&mut sure(), 10.0, 100);
        assert_eq!(calls, [(Pace::Slow, 7000), (Pace::Stop, 9000)]);
    }

    #[test]
    fn a_slow_scale_is_told_between_its_readings() {
        // 9.3 g/s: the target after 10.753 s, "stop" a second before, though 9.5 s and 10 s are
        // the readings about it
        let calls = called(&mut sure(), 9.3, 500);
        let near = |wanted: i64, at: i64| (at - wanted).abs() <= 45;
        assert!(
            matches!(calls[..], [(Pace::Slow, slow), (Pace::Stop, stop)]
            if near(7753, slow) && near(9753, stop)),
            "{calls:?}"
        );
    }

    #[test]
    fn the_lead_learns_from_what_ran_in() {
        let mut pourer = sure();
        called(&mut pourer, 10.0, 100);
        // 14 g after "stop" at 10 g/s is 1.4 s; half of the surprise is believed
        pourer.learn(90.0 + 14.0, 0.0, false);
        assert!((pourer.other.seconds - 1.2).abs() < 0.01, "{pourer:?}");
        assert!((pourer.caustic.seconds - 1.0).abs() < 0.01, "a scoop is not a bottle");
        pourer.begin();
        pourer.samples.clear();
        let stop = called(&mut pourer, 10.0, 100)[1].1;
        // 1.2 s ahead, and less sure by 2.5 × 0.3 × 0.4 s of a tolerance of 0.1 s
        let unsure = 2.5 * SPREAD_LEARNING * 0.4 - (1.0 - 0.05) / 10.0;
        let expected = 10_000 - 1200 - (unsure * 1000.0) as i64;
        assert!((stop - expected).abs() <= 15, "{stop} {expected}");
    }

    #[test]
    fn who_is_not_sure_ends_short() {
        let towards = Towards { low: 42.5, high: 43.1, d: 0.1, caustic: true };
        let unsure = Lead { seconds: 1.0, spread_s: 0.2 };
        // 2.5 × 0.2 s × 2 g/s below the upper end, less half an interval
        assert!((towards.aim(2.0, unsure) - (43.05 - 1.0)).abs() < 1e-9);
        assert!((towards.aim(0.1, unsure) - 42.8).abs() < 1e-9, "the middle");
    }

    /// Short, and topped up before the pan has come to rest by our own test.
    #[test]
    fn topping_up_is_told_anew() {
        let mut pourer = sure();
        let towards = Towards { low: 99.0, high: 101.0, d: 0.1, caustic: false };
        let load = |tick: i64| match tick {
            ..=90 => tick as f64,
            91..=110 => 95.0,
            _ => 95.0 + 0.1 * (tick - 110) as f64,
        };
        let mut stops = Vec::new();
        for tick in 0..160 {
            pourer.take(ms(tick * 100), Some(grams(load(tick))));
            let pace = pourer.judge(ms(tick * 100), load(tick), &towards);
            stops.extend((pace == Some(Pace::Stop)).then_some(tick));
        }
        // 5 g in half a second made the lead three quarters: 0.75 g before 100 g at 1 g/s
        assert!(matches!(stops[..], [90, 150..=156]), "{stops:?}");
    }

    #[test]
    fn a_trickle_of_noise_is_no_pour() {
        let mut pourer = Pourer::default();
        let towards = Towards { low: 99.0, high: 101.0, d: 0.1, caustic: false };
        for tick in 0..50 {
            let net = 99.0 + 0.1 * f64::from(tick % 2);
            pourer.take(ms(i64::from(tick) * 100), Some(grams(net)));
            assert_eq!(pourer.judge(ms(i64::from(tick) * 100), net, &towards), None);
        }
    }

    #[test]
    fn a_thread_too_thin_to_tell_is_stopped_by_the_number() {
        let mut pourer = Pourer::default();
        let towards = Towards { low: 99.0, high: 101.0, d: 1.0, caustic: false };
        let mut calls = Vec::new();
        // 0.4 g/s on a scale of 1 g
        for tick in 0..100 {
            let at = ms(tick * 100);
            let net = (97.0 + 0.04 * tick as f64).round();
            pourer.take(at, Some(MassUnit::Gram.one() * net as i64));
            calls.extend(pourer.judge(at, net, &towards).map(|pace| (pace, net)));
        }
        assert_eq!(calls.last(), Some(&(Pace::Stop, 100.0)), "{calls:?}");
    }
}
