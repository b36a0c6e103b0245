use std::collections::VecDeque;

use crate::quantity::{Moment, Span, Temperature};

/// The last ten minutes of a temperature, thinned, to be drawn. `None` marks a gap: what happened in
/// it is not known. Late by at most three seconds; bounded whatever the probe sends.
#[derive(Clone, Debug, Default)]
pub struct TraceWindow {
    points: VecDeque<(Moment, Option<Temperature>)>,
}

/// A line two hundred points long is as fine as a screen draws it.
const APART: Span = Span::from_secs(3);
pub const TRACE_REACH: Span = Span::from_minutes(10);

impl TraceWindow {
    pub fn push(&mut self, at: Moment, temperature: Option<Temperature>, gap_after: Span) {
        let newest = self.points.back().copied();
        match (newest, temperature) {
            // one mark is enough, and nothing before the first value is a gap
            (None | Some((_, None)), None) => return,
            (Some((before, Some(_))), Some(_)) if at.since(before) > gap_after.max(APART) => {
                self.points.push_back((at, None));
            }
            (Some((before, Some(_))), Some(_)) if at.since(before) < APART => return,
            _ => {}
        }
        self.points.push_back((at, temperature));
        while self.points.front().is_some_and(|&(oldest, _)| at.since(oldest) > TRACE_REACH) {
            self.points.pop_front();
        }
    }

    /// Oldest first, none older than ten minutes.
    pub fn points(&self, now: Moment) -> impl Iterator<Item = (Span, Option<Temperature>)> {
        let ages = self.points.iter().map(move |&(at, value)| (now.since(at), value));
        ages.filter(|&(age, _)| age <= TRACE_REACH)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    fn celsius(value: i64) -> Option<Temperature> {
        Some(Temperature::from_celsius(value))
    }

    #[test]
    fn ten_minutes_are_kept_three_seconds_apart() {
        let mut trace = TraceWindow::default();
        for tick in 0..20_000 {
            trace.push(at(tick * 100), celsius(20), Span::from_secs(5));
        }
        let now = at(19_999 * 100);
        let points: Vec<_> = trace.points(now).collect();
        assert_eq!(points.len(), 200);
        assert!(points.iter().all(|&(age, value)| age <= TRACE_REACH && value == celsius(20)));
        assert!(points.windows(2).all(|pair| pair[0].0 - pair[1].0 == APART));
    }

    #[test]
    fn silence_and_no_value_are_gaps_marked_once() {
        let mut trace = TraceWindow::default();
        let five = Span::from_secs(5);
        trace.push(at(0), None, five);
        trace.push(at(1000), celsius(20), five);
        trace.push(at(2000), None, five);
        trace.push(at(3000), None, five);
        trace.push(at(4000), celsius(21), five);
        trace.push(at(9001), celsius(22), five);
        let values: Vec<_> = trace.points(at(9001)).map(|(_, value)| value).collect();
        assert_eq!(values, [celsius(20), None, celsius(21), None, celsius(22)]);
    }
}
