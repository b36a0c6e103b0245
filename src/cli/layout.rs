//! Where on a terminal the parts of the view go: batches side by side where it is wide enough, and
//! no line more than it is high.

use super::show::{self, Detail};
use crate::bench::{BatchView, View};

/// Cells of a terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    pub width: usize,
    /// `None`: as many lines as there are.
    pub height: Option<usize>,
}

/// Between two columns.
const BETWEEN: &str = "  │ ";
/// What stands between two batches one below the other takes a line.
const APART: usize = 1;

/// The whole view, fitted: first less of what can be looked up elsewhere, then a plain statement
/// that something does not fit. Alarms stand first and go last.
pub fn lines(view: &View, last_cue: Option<&str>, size: Size) -> Vec<String> {
    let head = show::head(view, size.width);
    let mut foot = show::foot(view, size.width);
    if let Some(cue) = last_cue {
        foot.push(String::new());
        foot.extend(cue.lines().flat_map(|line| show::wrap(line, size.width, "  ")));
    }
    let whole = |detail| [&head[..], &body(view, size.width, detail), &foot].concat();
    let Some(height) = size.height else { return whole(Detail::Whole) };
    for detail in [Detail::Whole, Detail::Hazards, Detail::Least] {
        let lines = whole(detail);
        if lines.len() <= height {
            return lines;
        }
    }
    cut(head, body(view, size.width, Detail::Least), foot, height)
}

/// The numbers are gone; what is open is still named.
pub fn blanked(view: &View, why: &str, size: Size) -> Vec<String> {
    let mut lines = show::wrap(&format!("NOT WATCHED: {why}"), size.width, "  ");
    let advice = "Nothing on this screen is of the moment. Stop pouring, turn the heat down, and \
                  watch the bench yourself.";
    lines.extend(show::wrap(advice, size.width, "  "));
    lines.push(String::new());
    for batch in ordered(view) {
        lines.extend(show::title(batch, size.width));
        lines.push("  —".to_owned());
    }
    let channels = view.channels.iter().map(|channel| format!("{} —", channel.channel));
    lines.extend(show::wrap(&channels.collect::<Vec<_>>().join("   "), size.width, ""));
    lines.truncate(size.height.unwrap_or(usize::MAX));
    lines
}

/// The one that asks first, then the one that has the scale.
fn ordered(view: &View) -> Vec<&BatchView> {
    let mut batches: Vec<&BatchView> = view.batches.iter().collect();
    batches.sort_by_key(|batch| (batch.prompt.is_none(), !batch.has_scale));
    batches
}

fn body(view: &View, width: usize, detail: Detail) -> Vec<String> {
    let batches = ordered(view);
    let between = BETWEEN.chars().count();
    let fit = (width + between) / (show::NARROWEST + between);
    let columns = batches.len().min(fit).max(1);
    let wide = (width + between) / columns - between;
    let mut lines = Vec::new();
    for (index, row) in batches.chunks(columns).enumerate() {
        if index > 0 {
            lines.extend(vec![String::new(); APART]);
        }
        let columns: Vec<Vec<String>> =
            row.iter().map(|batch| show::batch(batch, wide, detail)).collect();
        lines.extend(beside(&columns, wide));
    }
    lines
}

fn beside(columns: &[Vec<String>], wide: usize) -> Vec<String> {
    let high = columns.iter().map(Vec::len).max().unwrap_or_default();
    let line = |row: usize| {
        let cells = columns.iter().map(|column| {
            let text: String =
                column.get(row).into_iter().flat_map(|t| t.chars()).take(wide).collect();
            let pad = " ".repeat(wide - text.chars().count());
            format!("{text}{pad}")
        });
        cells.collect::<Vec<_>>().join(BETWEEN).trim_end().to_owned()
    };
    (0..high).map(line).collect()
}

/// Alarms stay, then what to do, then the instruments; what is left out is said.
fn cut(mut head: Vec<String>, body: Vec<String>, foot: Vec<String>, height: usize) -> Vec<String> {
    let all = head.len() + body.len() + foot.len();
    let room = height.saturating_sub(1);
    head.truncate(room);
    let foot_room = room.saturating_sub(head.len()).min(foot.len());
    // half of what is left is for what to do, at the least
    let foot_kept = foot_room.min((room - head.len()) / 2);
    let body_kept = (room - head.len() - foot_kept).min(body.len());
    head.extend(body.into_iter().take(body_kept));
    head.extend(foot.into_iter().take(foot_kept));
    let missing = all - head.len();
    head.push(format!("… {missing} lines do not fit: make the terminal higher"));
    head.truncate(height);
    head
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::bench::{Act, BatchId, Bench, Input, SessionOpened};
    use crate::quantity::Moment;
    use crate::sim::fixture;

    fn pots(letters: &[&str]) -> View {
        let mut bench = Bench::new();
        let now = Moment::from_nanos(0);
        let setup = fixture::standard().setup;
        let opened =
            SessionOpened { session: 1, setup, utc_ns: 0, unwatched: None, last_seen: None };
        bench.handle(now, &Input::Session(opened));
        let control = Arc::new(fixture::three_oils());
        for letter in letters {
            let (batch, control) = (BatchId(format!("2026-11-25-{letter}")), Arc::clone(&control));
            bench.handle(now, &Input::Act(Act::start(batch, control)));
        }
        bench.view(now)
    }

    fn shown(view: &View, width: usize, height: Option<usize>) -> Vec<String> {
        lines(view, None, Size { width, height })
    }

    fn line_with<'a>(lines: &'a [String], words: &str) -> &'a str {
        lines.iter().find(|line| line.contains(words)).map_or("", |line| line)
    }

    #[test]
    fn two_pots_stand_side_by_side_where_both_fit() {
        let view = pots(&["a", "b"]);
        // two rules of 44 cells and four between them
        let wide = shown(&view, 92, None);
        assert!(line_with(&wide, "2026-11-25-a").contains("2026-11-25-b"), "{wide:#?}");
        assert!(wide.iter().all(|line| line.chars().count() <= 92), "{wide:#?}");
        let narrow = shown(&view, 91, None);
        assert!(!line_with(&narrow, "2026-11-25-a").contains("2026-11-25-b"), "{narrow:#?}");
    }

    #[test]
    fn three_pots_on_a_terminal_for_two_go_on_below() {
        let lines = shown(&pots(&["a", "b", "c"]), 100, None);
        assert!(line_with(&lines, "2026-11-25-a").contains("2026-11-25-b"), "{lines:#?}");
        assert!(line_with(&lines, "2026-11-25-c").starts_with("three oils"), "{lines:#?}");
    }

    #[test]
    fn the_one_that_asks_stands_first() {
        let mut view = pots(&["a", "b"]);
        view.batches[1].prompt = Some(crate::bench::PromptView {
            prompt: crate::bench::PromptId(3),
            asks: crate::bench::Ask::Done,
            words: "Confirm when it is done.".to_owned(),
            question: String::new(),
            answers: Vec::new(),
        });
        let lines = shown(&view, 60, None);
        let at = |words: &str| lines.iter().position(|line| line.contains(words));
        assert!(at("2026-11-25-b") < at("2026-11-25-a"), "{lines:#?}");
    }

    #[test]
    fn never_more_lines_than_the_terminal_has() {
        let mut view = pots(&["a", "b", "c"]);
        for batch in &mut view.batches {
            batch.hazards = vec!["goggles and gloves".to_owned()];
            batch.next = Some("castor oil".to_owned());
        }
        let all = shown(&view, 80, None).len();
        for height in 0..=all + 1 {
            let lines = shown(&view, 80, Some(height));
            assert!(lines.len() <= height, "{height}: {lines:#?}");
            let fits = !line_with(&lines, "do not fit").is_empty();
            assert!(height < all || !fits, "{height}");
        }
        let least = shown(&view, 80, Some(10));
        assert!(line_with(&least, "do not fit").starts_with("… "), "{least:#?}");
        // what can be looked up goes before what is dangerous
        let less = shown(&view, 80, Some(all - 1));
        assert!(line_with(&less, "then: ").is_empty() && !line_with(&less, "goggles").is_empty());
    }

    #[test]
    fn alarms_stay_when_all_else_is_cut() {
        let mut view = pots(&["a", "b", "c"]);
        view.alarms.push(crate::bench::AlarmView {
            alarm: crate::bench::AlarmId::NotRecording,
            priority: crate::bench::Priority::High,
            active: true,
            acknowledged: false,
            latched: false,
            words: "Stop pouring".to_owned(),
            age: crate::quantity::Span::ZERO,
        });
        let lines = shown(&view, 80, Some(6));
        assert!(lines[0].starts_with("STOP    Stop pouring"), "{lines:#?}");
    }

    #[test]
    fn a_blanked_screen_shows_no_number_of_the_bench() {
        let view = pots(&["a", "b"]);
        let lines = blanked(&view, "the daemon is gone.", Size { width: 80, height: None });
        assert!(lines[0].starts_with("NOT WATCHED: the daemon is gone."));
        let text = lines.join("\n");
        assert!(text.contains("2026-11-25-b") && text.contains("scale —"), "{text}");
        assert!(!text.contains(" g ") && !text.contains("°C"), "{text}");
    }
}
