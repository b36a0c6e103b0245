//! The view as lines of a terminal. Everything shown is in the view; nothing is worked out here
//! but words and alignment.

use crate::bench::{
    AlarmView, BatchView, CaptureHow, ChannelView, InstrumentView, Pace, Phase, Priority, ProbeAt,
    Role, Source, View, WeighingView,
};
use crate::quantity::{Mass, MassUnit, Span, TemperatureUnit};
use crate::reading::Value;

/// What is shown for a number that is not known, or too old to be shown.
const UNKNOWN: &str = "—";
/// Cells of the dip rule.
const RULE_CELLS: usize = 40;

/// How much is shown of each batch.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detail {
    /// What to do and its numbers.
    Least,
    /// And what is dangerous.
    Hazards,
    /// And what is done and what comes.
    Whole,
}

/// What stands above the batches: alarms, worst first, and what else must be known.
pub fn head(view: &View, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for alarm in &view.alarms {
        lines.extend(wrap(&alarm_line(alarm), width, "        "));
    }
    if view.nobody_hears {
        let words = "nobody can hear me: no screen has passed a sound test";
        lines.extend(wrap(words, width, "  "));
    }
    if let Some(left) = view.silenced {
        lines.push(format!("quiet for another {left}"));
    }
    if !lines.is_empty() {
        lines.push(String::new());
    }
    if view.batches.is_empty() {
        lines.push("No batch is open.".to_owned());
    }
    lines
}

/// What stands below the batches: the instruments and the disk.
pub fn foot(view: &View, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let channels = view.channels.iter().map(channel).collect::<Vec<_>>().join("   ");
    lines.extend(wrap(&channels, width, ""));
    if let Some(why) = &view.journal.failed {
        lines.extend(wrap(&format!("NOT RECORDING: {why}"), width, "  "));
    }
    let counted: Vec<String> = view.instruments.iter().map(counters).collect();
    if !counted.is_empty() {
        lines.extend(wrap(&counted.join("   "), width, ""));
    }
    for instrument in &view.instruments {
        if let Some(trouble) = &instrument.trouble {
            let words = format!("! {}: {trouble}", instrument.instrument);
            lines.extend(wrap(&words, width, "  "));
        }
    }
    lines
}

/// "scale: 1204 readings, 2 refused, opened 3 times"; what is nothing is left out.
fn counters(instrument: &InstrumentView) -> String {
    let mut parts = vec![format!("{} readings", instrument.readings)];
    for (count, what) in [(instrument.refused, "refused"), (instrument.damaged, "bytes damaged")] {
        if count > 0 {
            parts.push(format!("{count} {what}"));
        }
    }
    if instrument.opened > 1 {
        parts.push(format!("opened {} times", instrument.opened));
    }
    let open = if instrument.open { "" } else { "NOT OPEN, " };
    format!("{}: {open}{}", instrument.instrument, parts.join(", "))
}

/// The step and its sentence in one line, for a pipe.
pub fn one_line(view: &View) -> String {
    let batch = view.batches.iter().map(|batch| format!("{}: {}", batch.title, batch.sentence));
    batch.collect::<Vec<_>>().join(" | ")
}

fn alarm_line(alarm: &AlarmView) -> String {
    let mark = match (alarm.active, alarm.priority) {
        (false, _) => "over   ",
        (true, Priority::High) => "STOP   ",
        (true, Priority::Medium) => "WARNING",
        (true, Priority::Low) => "notice ",
    };
    let seen = if alarm.acknowledged { "seen" } else { "not yet seen" };
    format!("{mark} {} [{}, {}, {}]", alarm.words, alarm.alarm, seen, alarm.age)
}

/// Recipe, number and step.
pub fn title(batch: &BatchView, width: usize) -> Vec<String> {
    let title = format!(
        "{} · {} · step {} of {}: {}",
        batch.recipe, batch.batch, batch.step_number, batch.step_count, batch.title
    );
    wrap(&title, width, "  ")
}

/// One batch, no wider than `width`.
pub fn batch(batch: &BatchView, width: usize, detail: Detail) -> Vec<String> {
    let mut lines = title(batch, width);
    lines.extend(wrap(&format!("  {}", batch.sentence), width, "    "));
    if let Some(weighing) = &batch.weighing {
        lines.extend(weighing_lines(batch, weighing, width));
    }
    if let Some(cook) = &batch.cook {
        let look = match cook.next_look {
            Some(left) => format!("next look in {left}"),
            None => "a look is due".to_owned(),
        };
        let standing = cook.standing.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
        let cooked = format!("  cooked {} of {}{standing}, {look}", cook.watched, cook.duration);
        lines.extend(wrap(&cooked, width, "    "));
    }
    for test in batch.cook.iter().flat_map(|cook| &cook.tests) {
        let state = match (test.offered, test.passed) {
            (false, _) => "not offered after too much caustic".to_owned(),
            (true, Some(true)) => "passed".to_owned(),
            (true, _) if test.attempts > 0 => format!("not passed in {} tries", test.attempts),
            (true, _) => "not tested yet".to_owned(),
        };
        let (method, sample) = (test.method.words(), &test.sample);
        let words =
            format!("  test: {} by {method}, {sample}; {} passes; {state}", test.name, test.limit);
        lines.extend(wrap(&words, width, "    "));
    }
    if let Some(cool) = &batch.cool {
        lines.extend(cool.not_yet.iter().map(|reason| format!("  not yet: {reason}")));
    }
    for known in &batch.temperatures {
        let temperature = known.temperature.show(batch.units.temperature, 1);
        let source = match known.source {
            Source::Probe => "by its probe",
            Source::HandHeld => "by the hand-held probe",
            Source::Spot => "by the hand-held probe, now elsewhere",
            Source::ByHand => "by hand",
        };
        let place = known.at.words();
        lines.push(format!("  {place} {temperature}, {source}, {}", age_words(known.age)));
    }
    if let Some(lye) = &batch.lye {
        let unit = batch.units.temperature;
        let peak = lye.peak.map_or_else(|| UNKNOWN.to_owned(), |peak| peak.show(unit, 0));
        let expected = lye.expected.words(unit);
        let words = format!("  the lye should peak at {expected}; highest so far {peak}");
        lines.extend(wrap(&words, width, "    "));
    }
    if let Some(combine) = &batch.combine {
        for reason in &combine.not_yet {
            lines.extend(wrap(&format!("  not yet: {reason}"), width, "    "));
        }
    }
    if let Some(prompt) = &batch.prompt {
        let asked = format!("  ? {} (question {})", prompt.words, prompt.prompt);
        lines.extend(wrap(&asked, width, "    "));
    }
    for hazard in batch.hazards.iter().filter(|_| detail >= Detail::Hazards) {
        lines.extend(wrap(&format!("  ! {hazard}"), width, "    "));
    }
    if detail < Detail::Whole {
        return lines;
    }
    let captured: Vec<String> = batch.captures.iter().map(|c| capture(batch, c)).collect();
    if !captured.is_empty() {
        lines.extend(wrap(&format!("  weighed: {}", captured.join(", ")), width, "    "));
    }
    if let Some(next) = &batch.next {
        lines.extend(wrap(&format!("  then: {next}"), width, "    "));
    }
    lines
}

/// No narrower than the dip rule and its margin.
pub const NARROWEST: usize = RULE_CELLS + 4;

fn weighing_lines(batch: &BatchView, weighing: &WeighingView, width: usize) -> Vec<String> {
    let (unit, decimals) = (batch.units.mass, batch.units.mass_decimals);
    let show = |mass: Mass| mass.show(unit, decimals);
    let (left, net) = match (weighing.left, weighing.net) {
        (Some(left), Some(net)) if left.is_negative() => {
            (format!("{} too much", show(left.abs())), show(net))
        }
        (Some(left), Some(net)) => (format!("{} left", show(left)), show(net)),
        _ => (UNKNOWN.to_owned(), UNKNOWN.to_owned()),
    };
    let pace = match weighing.pace {
        Pace::Free => "",
        Pace::Slow => "  SLOWLY",
        Pace::Stop => "  STOP",
    };
    let phase = match weighing.phase {
        Phase::AwaitingVessel => "waiting for the vessel",
        Phase::Taring => "taring",
        Phase::Pouring => "pouring",
        Phase::Settling => "settling",
        Phase::Captured => "weighed",
        Phase::Over => "OVER",
        Phase::Lifted => "lifted",
        Phase::Blind => "BLIND",
        Phase::ZeroDoubted => "zero in doubt",
        Phase::TakingOut => "taking out",
    };
    let words = format!("  {left}  ({net} of {}, {phase}){pace}", show(weighing.target.mass));
    let mut lines = wrap(&words, width, "    ");
    lines.push(format!("  {}", dip_rule(weighing)));
    let vessel = weighing.vessel.as_ref().map(|vessel| format!("vessel: {vessel}"));
    let room = weighing.room.as_ref();
    let left = room.and_then(|room| room.left).map(|left| format!("room for {} more", show(left)));
    let known: Vec<String> = vessel.into_iter().chain(left).collect();
    if !known.is_empty() {
        lines.extend(wrap(&format!("  {}", known.join("; ")), width, "    "));
    }
    for words in room.iter().flat_map(|room| &room.tight) {
        lines.extend(wrap(&format!("  ! {words}"), width, "    "));
    }
    lines
}

/// A rule read like a dip stick: the first nine tenths in its left half, the last tenth magnified
/// in its right, the tolerance drawn to scale.
fn dip_rule(weighing: &WeighingView) -> String {
    let target = weighing.target;
    let place = |mass: Mass| -> usize {
        let part = mass.grams() / target.mass.grams().max(f64::MIN_POSITIVE);
        let half = (RULE_CELLS / 2) as f64;
        // the right half goes from nine tenths to eleven tenths
        let cell = if part < 0.9 { part / 0.9 * half } else { half + (part - 0.9) / 0.2 * half };
        (cell.round().max(0.0) as usize).min(RULE_CELLS - 1)
    };
    let (low, high) = (place(target.low), place(target.high));
    let at = weighing.net.map(place);
    let cells = (0..RULE_CELLS).map(|cell| match cell {
        _ if Some(cell) == at => '◆',
        _ if (low..=high).contains(&cell) => '═',
        _ if at.is_some_and(|at| cell < at) => '─',
        _ if cell == RULE_CELLS / 2 => '┊',
        _ => '·',
    });
    format!("├{}┤", cells.collect::<String>())
}

fn capture(batch: &BatchView, capture: &crate::bench::CaptureView) -> String {
    let mass = capture.net.show(batch.units.mass, batch.units.mass_decimals);
    let how = match capture.how {
        CaptureHow::Weighed => "",
        CaptureHow::Short => " (short)",
        CaptureHow::Long => " (long)",
        CaptureHow::ByHand => " (by hand)",
    };
    let recorded = if capture.recorded { "" } else { " (not yet recorded)" };
    format!("{} {mass}{how}{recorded}", capture.name)
}

fn channel(channel: &ChannelView) -> String {
    let value = match (channel.value, channel.role) {
        (Some(Value::Mass { mass, unit, decimals, .. }), _) => mass.show(unit, decimals),
        (Some(Value::Temperature { temperature, decimals, .. }), Role::Probe { unit, .. }) => {
            temperature.show(unit, decimals.min(1))
        }
        (Some(Value::Temperature { temperature, unit, decimals }), _) => {
            temperature.show(unit, decimals.min(1))
        }
        (None, Role::Scale { unit, .. }) => format!("{UNKNOWN} {}", unit_of_mass(unit)),
        (None, Role::Probe { unit, .. }) => format!("{UNKNOWN} {}", unit_of_temperature(unit)),
    };
    let age = match (channel.value, channel.age) {
        (Some(_), Some(age)) => age_words(age),
        (None, Some(age)) => format!("silent for {age}"),
        (_, None) => "never heard".to_owned(),
    };
    let place = match (&channel.held, channel.role) {
        (Some(held), _) if held.settled => format!(" in the {}", held.at.words()),
        (Some(held), _) => format!(" in the {}, settling", held.at.words()),
        (None, Role::Probe { at: ProbeAt::Hand, .. }) => {
            ", hand-held, counts for nothing".to_owned()
        }
        _ => String::new(),
    };
    format!("{}{place} {value} ({age})", channel.channel)
}

fn age_words(age: Span) -> String {
    if age < Span::from_secs(1) { "now".to_owned() } else { format!("{age} ago") }
}

fn unit_of_mass(unit: MassUnit) -> &'static str {
    unit.symbol()
}

fn unit_of_temperature(unit: TemperatureUnit) -> &'static str {
    unit.symbol()
}

/// Breaks at spaces; a word longer than the line stays whole.
pub fn wrap(text: &str, width: usize, indent: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_inclusive(' ') {
        let fits = line.chars().count() + word.trim_end().chars().count() <= width;
        if !fits && !line.trim().is_empty() {
            lines.push(line.trim_end().to_owned());
            line = indent.to_owned();
        }
        line.push_str(word);
    }
    lines.push(line.trim_end().to_owned());
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Target;
    use crate::plan::Vessel;

    #[test]
    fn counters_and_troubles_of_the_ports_are_shown() {
        let scale = InstrumentView {
            instrument: "scale".to_owned(),
            open: true,
            trouble: Some("open, but nothing has come for 5.0 s".to_owned()),
            readings: 1204,
            refused: 2,
            damaged: 1,
            opened: 3,
            ..InstrumentView::default()
        };
        let gone = InstrumentView { instrument: "probe".to_owned(), ..InstrumentView::default() };
        let view = View { instruments: vec![scale, gone], ..View::default() };
        let shown = foot(&view, 100);
        assert!(shown.contains(
            &"scale: 1204 readings, 2 refused, 1 bytes damaged, opened 3 times   probe: NOT OPEN, 0 \
              readings"
                .to_owned()
        ), "{shown:#?}");
        assert!(shown.contains(&"! scale: open, but nothing has come for 5.0 s".to_owned()));
    }

    fn rule(net: &str) -> String {
        let g = |text: &str| Mass::parse(&format!("{text} g")).unwrap();
        let target = Target { mass: g("100"), low: g("99"), high: g("101"), guard: None };
        dip_rule(&WeighingView {
            ingredient: "olive".into(),
            name: "olive oil".to_owned(),
            into: Vessel::Pot,
            phase: Phase::Pouring,
            target,
            net: Some(g(net)),
            left: Some(target.mass - g(net)),
            pace: Pace::Free,
            vessel: None,
            room: None,
        })
    }

    #[test]
    fn the_last_tenth_has_half_of_the_rule() {
        for (net, drawn) in [
            ("0", "├◆···················┊········═══········┤"),
            ("45", "├──────────◆·········┊········═══········┤"),
            ("95", "├─────────────────────────◆···═══········┤"),
            ("100", "├─────────────────────────────═◆═········┤"),
            ("140", "├─────────────────────────────═══───────◆┤"),
        ] {
            assert_eq!(rule(net), drawn);
        }
    }

    #[test]
    fn long_lines_break_at_spaces() {
        assert_eq!(
            wrap("  ! goggles and gloves", 12, "    "),
            ["  ! goggles", "    and", "    gloves"]
        );
    }
}
