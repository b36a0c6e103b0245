//! "Slow" and "stop" while pouring: from the pour rate, ahead of the target by what still runs in
//! while the scale lags and a hand reacts. How far ahead is learnt from each pour.

use super::cue::Cue;
use super::fact::BatchId;
use super::law::Bench;
use super::view::Pace;
use crate::quantity::{Mass, Moment, Span};
use crate::signal::RateWindow;

/// What one scale has taught about the hand that pours onto it. Volatile: learnt anew each
/// session, from a cautious beginning.
#[derive(Clone, Debug)]
pub struct Pourer {
    pub rate: RateWindow,
    pub pace: Pace,
    /// Seconds between "stop" and the last drop that counts.
    lead_s: f64,
    /// Net and rate when "stop" was said, until the pan has come to rest.
    stopped: Option<(Mass, f64)>,
}

/// Long enough for three readings of the slowest scale allowed for caustic (2 readings/s).
const RATE_WINDOW: Span = Span::from_millis(1000);
/// Scale lag 0.4 s and reaction 0.6 s to begin with: ours.
const LEAD_BEGINNING_S: f64 = 1.0;
const LEAD_RANGE_S: std::ops::RangeInclusive<f64> = 0.3..=2.5;
/// Half of each surprise is believed.
const LEARNING: f64 = 0.5;
/// "Slow" comes this many times as far ahead as "stop".
const SLOW_AHEAD: f64 = 3.0;
/// Below so many scale intervals a second nothing is being poured.
const POURING_D_PER_S: f64 = 2.0;

impl Default for Pourer {
    fn default() -> Pourer {
        Pourer {
            rate: RateWindow::new(RATE_WINDOW),
            pace: Pace::Free,
            lead_s: LEAD_BEGINNING_S,
            stopped: None,
        }
    }
}

impl Pourer {
    pub fn take(&mut self, at: Moment, load: Option<Mass>) {
        match load {
            Some(load) => self.rate.push(at, load.grams()),
            None => self.rate.clear(),
        }
    }

    /// A new step, or a vessel lifted: what was being poured is no longer.
    pub fn begin(&mut self) {
        self.pace = Pace::Free;
        self.stopped = None;
    }

    /// The pan has come to rest: how much ran in after "stop"?
    fn learn(&mut self, net: Mass) {
        if let Some((at_stop, rate)) = self.stopped.take() {
            let seconds = (net - at_stop).grams() / rate;
            let believed = self.lead_s + LEARNING * (seconds - self.lead_s);
            self.lead_s = believed.clamp(*LEAD_RANGE_S.start(), *LEAD_RANGE_S.end());
        }
    }

    /// The pace for what is left to pour, and whether it is new.
    fn judge(&mut self, net: Mass, left: Mass, d: Mass) -> Option<Pace> {
        let rate = self.rate.rate()?.per_second;
        if rate < POURING_D_PER_S * d.grams() {
            return None;
        }
        let ahead = left.grams() / rate;
        let pace = match self.pace {
            Pace::Stop => Pace::Stop,
            _ if ahead <= self.lead_s => Pace::Stop,
            Pace::Slow => Pace::Slow,
            Pace::Free if ahead <= self.lead_s * SLOW_AHEAD => Pace::Slow,
            Pace::Free => Pace::Free,
        };
        if pace == Pace::Stop && self.pace != Pace::Stop {
            self.stopped = Some((net, rate));
        }
        let changed = pace != self.pace;
        self.pace = pace;
        changed.then_some(pace)
    }
}

/// Says slow or stop, once each.
pub fn guide(bench: &mut Bench, batch: &BatchId, net: Mass, left: Mass, d: Mass) {
    let Some(sense) = bench.scale_sense_mut(batch) else { return };
    match sense.pourer.judge(net, left, d) {
        Some(Pace::Slow) => bench.cue(Cue::Slow),
        Some(Pace::Stop) => bench.cue(Cue::Stop),
        Some(Pace::Free) | None => {}
    }
}

/// The pan rests with the pour unfinished or finished: the next pour may be told again.
pub fn rest(bench: &mut Bench, batch: &BatchId, net: Mass) {
    if let Some(sense) = bench.scale_sense_mut(batch) {
        sense.pourer.learn(net);
        sense.pourer.pace = Pace::Free;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::MassUnit;

    fn tenths(count: i64) -> Mass {
        Mass::from_decimal(count, 1, MassUnit::Gram).unwrap()
    }

    /// Pours at 10 g/s towards 100 g and says at which net each pace was called.
    fn called(pourer: &mut Pourer) -> Vec<(Pace, Mass)> {
        let (target, d) = (tenths(1000), tenths(1));
        let mut calls = Vec::new();
        for tick in 0..100 {
            let net = tenths(tick * 10);
            pourer.take(Moment::from_nanos(tick * 100_000_000), Some(net));
            if let Some(pace) = pourer.judge(net, target - net, d) {
                calls.push((pace, net));
            }
        }
        calls
    }

    #[test]
    fn stop_comes_one_lead_ahead_and_slow_three() {
        let calls = called(&mut Pourer::default());
        assert_eq!(calls, [(Pace::Slow, tenths(700)), (Pace::Stop, tenths(900))]);
    }

    #[test]
    fn the_lead_learns_from_what_ran_in() {
        let mut pourer = Pourer::default();
        called(&mut pourer);
        // 14 g after "stop" at 10 g/s is 1.4 s; half of the surprise is believed
        pourer.learn(tenths(900 + 140));
        pourer.begin();
        pourer.rate.clear();
        assert_eq!(called(&mut pourer)[1], (Pace::Stop, tenths(880)));
    }

    #[test]
    fn a_trickle_of_noise_is_no_pour() {
        let mut pourer = Pourer::default();
        for tick in 0..50 {
            let net = tenths(999 + tick % 2);
            pourer.take(Moment::from_nanos(tick * 100_000_000), Some(net));
            assert_eq!(pourer.judge(net, tenths(1000) - net, tenths(1)), None);
        }
    }
}
