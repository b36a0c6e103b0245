//! Something over time, as SVG: the one renderer for the bench's traces and for what a review shows.
//! Colours come from the page's classes, so that it follows dark and print; what it shows is also
//! said in words, and each mark has a title.

use maud::{Markup, html};

/// What is drawn. Times are parts of the whole width, from 0 to 1; values are bare numbers of one
/// unit that only `number` has to know.
pub struct Plot<'a> {
    /// All of it in words, for somebody who does not see it.
    pub words: String,
    pub size: Size,
    /// A gap where there is no value.
    pub line: Vec<(f64, Option<f64>)>,
    pub bands: Vec<Band>,
    pub levels: Vec<Level>,
    pub dots: Vec<Dot>,
    pub marks: Vec<Mark>,
    /// What stands below the left and the right end.
    pub ends: (String, String),
    /// A quiet line must not look wild: at least so much is shown from bottom to top.
    pub least: f64,
    pub number: &'a dyn Fn(f64) -> String,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    width: f64,
    height: f64,
}

/// As in an instrument of the bench, or one of several pours.
pub const SMALL: Size = Size { width: 320.0, height: 96.0 };
/// As wide as a record.
pub const WIDE: Size = Size { width: 640.0, height: 220.0 };

/// Where a value ought to be, for a while.
pub struct Band {
    pub from: f64,
    pub until: f64,
    pub low: f64,
    pub high: f64,
    pub title: String,
}

/// What a value ought not to pass, for a while. It does not stretch the picture.
pub struct Level {
    pub from: f64,
    pub until: f64,
    pub at: f64,
    pub title: String,
}

/// A single value.
pub struct Dot {
    pub at: f64,
    pub value: f64,
    /// A cross, not a ring: somebody typed it.
    pub by_hand: bool,
    pub title: String,
}

/// A moment.
pub struct Mark {
    pub at: f64,
    pub kind: MarkKind,
    pub title: String,
}

pub enum MarkKind {
    /// A line with its number below.
    Step(usize),
    /// A triangle above.
    Alarm,
}

/// Room for the numbers of the upright axis.
const LEFT: f64 = 44.0;
const TOP: f64 = 12.0;
/// Numbers nearer to each other than this could not be read.
const APART: f64 = 16.0;

struct Frame {
    right: f64,
    bottom: f64,
    low: f64,
    high: f64,
}

impl Frame {
    fn x(&self, part: f64) -> f64 {
        round(LEFT + part.clamp(0.0, 1.0) * (self.right - LEFT))
    }

    fn y(&self, value: f64) -> f64 {
        let part = (value - self.low) / (self.high - self.low);
        round((self.bottom - part * (self.bottom - TOP)).clamp(TOP, self.bottom))
    }
}

/// `None` when there is nothing to draw.
pub fn svg(plot: &Plot) -> Option<Markup> {
    let Size { width, height } = plot.size;
    let (low, high) = extent(plot)?;
    let frame = Frame { right: width - 8.0, bottom: height - 30.0, low, high };
    let Frame { right, bottom, .. } = frame;
    Some(html! {
        svg class="trace" viewBox={ "0 0 " (width) " " (height) } role="img"
            aria-label=(plot.words) {
            @for band in &plot.bands { (self::band(band, &frame)) }
            @for level in plot.levels.iter().filter(|level| level.at < high && level.at > low) {
                path class="limit" d=(format!("M{} {}H{}",
                    frame.x(level.from), frame.y(level.at), frame.x(level.until))) {
                    title { (level.title) }
                }
            }
            (marks(&plot.marks, &frame))
            path class="axis" d=(format!("M{LEFT} {TOP}V{bottom}H{right}")) {}
            @if plot.size == WIDE {
                @for tick in ticks(low, high) {
                    path class="tick" d=(format!("M{LEFT} {}H{right}", frame.y(tick))) {}
                    text x=(LEFT - 5.0) y=(frame.y(tick) + 4.0) text-anchor="end" {
                        ((plot.number)(tick))
                    }
                }
            } @else {
                text x=(LEFT - 5.0) y=(TOP + 8.0) text-anchor="end" { ((plot.number)(high)) }
                text x=(LEFT - 5.0) y=(bottom) text-anchor="end" { ((plot.number)(low)) }
            }
            text x=(LEFT) y=(height - 3.0) { (plot.ends.0) }
            text x=(right) y=(height - 3.0) text-anchor="end" { (plot.ends.1) }
            path class="line" d=(line(&plot.line, &frame)) {}
            @for dot in &plot.dots { (self::dot(dot, &frame)) }
            @if let Some((at, Some(last))) = plot.line.last() {
                circle class="end" cx=(frame.x(*at)) cy=(frame.y(*last)) r="3.5" {}
            }
        }
    })
}

fn band(band: &Band, frame: &Frame) -> Markup {
    let (left, right) = (frame.x(band.from), frame.x(band.until));
    let (top, bottom) = (frame.y(band.high), frame.y(band.low));
    html! {
        rect class="window" x=(left) width=(round((right - left).max(1.0))) y=(top)
            height=(round((bottom - top).max(1.0))) { title { (band.title) } }
    }
}

fn marks(marks: &[Mark], frame: &Frame) -> Markup {
    let mut last = f64::NEG_INFINITY;
    let has_room = |mark: &Mark| {
        let x = frame.x(mark.at);
        let has_room = matches!(mark.kind, MarkKind::Step(_)) && x - last >= APART;
        last = if has_room { x } else { last };
        has_room
    };
    let numbered: Vec<bool> = marks.iter().map(has_room).collect();
    html! {
        @for (mark, numbered) in marks.iter().zip(numbered) {
            @let x = frame.x(mark.at);
            @match mark.kind {
                MarkKind::Step(number) => {
                    path class="step" d=(format!("M{x} {TOP}V{}", frame.bottom + 4.0)) {
                        title { (mark.title) }
                    }
                    @if numbered {
                        text class="step-number" x=(x) y=(frame.bottom + 15.0) text-anchor="middle" {
                            (number)
                        }
                    }
                }
                MarkKind::Alarm => {
                    path class="alarm-mark" d=(format!("M{x} 1l5 9h-10z")) { title { (mark.title) } }
                }
            }
        }
    }
}

fn dot(dot: &Dot, frame: &Frame) -> Markup {
    let (x, y) = (frame.x(dot.at), frame.y(dot.value));
    html! {
        @if dot.by_hand {
            path class="dot" d=(format!("M{} {}l8 8m0 -8l-8 8", x - 4.0, y - 4.0)) {
                title { (dot.title) }
            }
        } @else {
            circle class="dot" cx=(x) cy=(y) r="4" { title { (dot.title) } }
        }
    }
}

/// Broken at every gap: what was not seen is not drawn.
fn line(points: &[(f64, Option<f64>)], frame: &Frame) -> String {
    let mut path = String::new();
    let mut pen = 'M';
    for &(at, value) in points {
        match value {
            Some(value) => {
                path += &format!("{pen}{} {}", frame.x(at), frame.y(value));
                pen = 'L';
            }
            None => pen = 'M',
        }
    }
    path
}

fn extent(plot: &Plot) -> Option<(f64, f64)> {
    let known = plot.line.iter().filter_map(|(_, value)| *value);
    let dots = plot.dots.iter().map(|dot| dot.value);
    let bands = plot.bands.iter().flat_map(|band| [band.low, band.high]);
    let all: Vec<f64> = known.chain(dots).collect();
    // nothing is known: an empty frame with its window would tell nothing
    if all.is_empty() && plot.bands.is_empty() {
        return None;
    }
    let all = || all.iter().copied().chain(bands.clone());
    let low = all().reduce(f64::min)?;
    let high = all().reduce(f64::max)?;
    let spare = ((plot.least - (high - low)) / 2.0).max(plot.least / 6.0);
    Some((low - spare, high + spare))
}

/// Round numbers between the two, at most six.
fn ticks(low: f64, high: f64) -> impl Iterator<Item = f64> {
    let steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0];
    let step = steps.into_iter().find(|step| (high - low) / step <= 6.0).unwrap_or(500.0);
    let first = (low / step).ceil();
    (0..6).map(move |index| (first + f64::from(index)) * step).take_while(move |tick| *tick <= high)
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot(line: Vec<(f64, Option<f64>)>, marks: Vec<Mark>) -> String {
        let plot = Plot {
            words: "pot <1>".to_owned(),
            size: SMALL,
            line,
            bands: Vec::new(),
            levels: Vec::new(),
            dots: Vec::new(),
            marks,
            ends: ("−10 min".to_owned(), "now".to_owned()),
            least: 6.0,
            number: &|value| format!("{value:.0}°"),
        };
        svg(&plot).map(maud::PreEscaped::into_string).unwrap_or_default()
    }

    fn strokes(svg: &str) -> usize {
        let path = svg.split(r#"class="line" d=""#).nth(1).unwrap().split('"').next().unwrap();
        path.matches('M').count()
    }

    #[test]
    fn a_gap_breaks_the_line() {
        let whole = plot(vec![(0.0, Some(70.0)), (0.5, Some(75.0)), (1.0, Some(80.0))], Vec::new());
        let broken = plot(vec![(0.0, Some(70.0)), (0.5, None), (1.0, Some(80.0))], Vec::new());
        assert_eq!((strokes(&whole), strokes(&broken)), (1, 2));
        assert!(whole.contains("pot &lt;1&gt;"), "{whole}");
        assert_eq!(plot(Vec::new(), Vec::new()), "");
    }

    #[test]
    fn ticks_are_round_and_few() {
        let of = |low, high| ticks(low, high).collect::<Vec<f64>>();
        assert_eq!(of(18.2, 98.6), [20.0, 40.0, 60.0, 80.0]);
        assert_eq!(of(-3.0, 4.0), [-2.0, 0.0, 2.0, 4.0]);
        for span in 1..2000 {
            let ticks = of(10.3, 10.3 + f64::from(span));
            assert!((1..=6).contains(&ticks.len()), "{span}: {ticks:?}");
        }
    }

    #[test]
    fn two_hours_ten_a_second_are_a_small_picture() {
        let readings: Vec<(i64, i64)> =
            (0..72_000).map(|tick| (tick * 100, 8_000 + (tick * 7919) % 13)).collect();
        let whole = (0, 7_200_000);
        let thin = crate::review::thinned(&readings, whole, 560, 5_000);
        let line = thin
            .iter()
            .map(|(at, value)| (*at as f64 / 7_200_000.0, value.map(|v| v as f64 / 100.0)));
        let svg = plot(line.collect(), Vec::new());
        assert!(svg.len() < 20_000, "{}", svg.len());
    }

    #[test]
    fn each_mark_has_its_title_and_numbers_do_not_lie_on_each_other() {
        let step =
            |at, number| Mark { at, kind: MarkKind::Step(number), title: format!("step {number}") };
        let alarm = Mark { at: 0.5, kind: MarkKind::Alarm, title: "too hot".to_owned() };
        let line = vec![(0.0, Some(70.0)), (1.0, Some(80.0))];
        let svg = plot(line, vec![step(0.1, 1), step(0.101, 2), step(0.9, 3), alarm]);
        for title in ["step 1", "step 2", "step 3", "too hot"] {
            assert!(svg.contains(&format!("<title>{title}</title>")), "{title} in {svg}");
        }
        assert_eq!(svg.matches("step-number").count(), 2, "{svg}");
    }
}
