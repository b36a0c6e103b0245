//! A long line of readings, thinned to what a picture can show: of every column the lowest and the
//! highest, so that no peak is lost, and every gap.

/// Readings with their UTC nanoseconds, in the order they came, as at most three points for each
/// of `columns`; `None` is a gap, where two readings lie further apart than `holds_ns`.
pub fn thinned<T: Copy + Ord>(
    readings: &[(i64, T)],
    (from, until): (i64, i64),
    columns: usize,
    holds_ns: i64,
) -> Vec<(i64, Option<T>)> {
    let width = (until.saturating_sub(from) / columns.max(1) as i64).max(1);
    let inside = readings.iter().filter(|(at, _)| (from..=until).contains(at));
    let mut thin = Thin { points: Vec::new(), column: None };
    let mut before: Option<i64> = None;
    for &(at, value) in inside {
        let gap = before.filter(|before| at.saturating_sub(*before) > holds_ns);
        thin.take((at - from) / width, at, value, gap);
        before = Some(at);
    }
    thin.close();
    thin.points
}

struct Column<T> {
    number: i64,
    /// A gap lies before it, or in it; and where it begins.
    gap: Option<i64>,
    low: (i64, T),
    high: (i64, T),
}

struct Thin<T> {
    points: Vec<(i64, Option<T>)>,
    column: Option<Column<T>>,
}

impl<T: Copy + Ord> Thin<T> {
    fn take(&mut self, number: i64, at: i64, value: T, gap: Option<i64>) {
        match &mut self.column {
            // of several gaps in one column the first is enough
            Some(column) if column.number == number && (gap.is_none() || column.gap.is_some()) => {
                if value < column.low.1 {
                    column.low = (at, value);
                }
                if value > column.high.1 {
                    column.high = (at, value);
                }
            }
            _ => {
                self.close();
                let point = (at, value);
                self.column = Some(Column { number, gap, low: point, high: point });
            }
        }
    }

    fn close(&mut self) {
        let Some(Column { gap, low, high, .. }) = self.column.take() else { return };
        self.points.extend(gap.map(|at| (at, None)));
        let (first, second) = if low.0 <= high.0 { (low, high) } else { (high, low) };
        self.points.push((first.0, Some(first.1)));
        if second.0 != first.0 {
            self.points.push((second.0, Some(second.1)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_peak_is_lost_and_no_column_has_more_than_three_points() {
        // two hours, ten a second, a noise of one and a single spike
        let mut readings: Vec<(i64, i64)> =
            (0..72_000).map(|tick| (tick * 100, 800 + tick % 2)).collect();
        readings[43_210].1 = 990;
        readings[9_876].1 = 12;
        let whole = (0, 7_200_000);
        let points = thinned(&readings, whole, 600, 5_000);
        assert!(points.len() <= 3 * 601, "{}", points.len());
        let values = || points.iter().filter_map(|(_, value)| *value);
        assert_eq!((values().min(), values().max()), (Some(12), Some(990)));
        assert!(points.contains(&(4_321_000, Some(990))), "at its own time");
        assert!(points.is_sorted_by_key(|(at, _)| *at));
        assert!(points.iter().all(|(_, value)| value.is_some()));
    }

    #[test]
    fn a_gap_is_longer_than_a_reading_holds_and_breaks_the_line() {
        let readings = [(0, 1), (5, 2), (11, 3), (12, 4)];
        let line = |holds| thinned(&readings, (0, 12), 12, holds);
        assert_eq!(line(6), [(0, Some(1)), (5, Some(2)), (11, Some(3)), (12, Some(4))]);
        let broken = [(0, Some(1)), (5, Some(2)), (5, None), (11, Some(3)), (12, Some(4))];
        assert_eq!(line(5), broken);
        // even in one column
        assert!(thinned(&readings, (0, 12), 1, 5).contains(&(5, None)));
        assert_eq!(thinned::<i64>(&[], (0, 12), 12, 5), []);
        assert_eq!(thinned(&readings, (5, 5), 12, 5), [(5, Some(2))], "and no time at all");
    }
}
