//! From the text of a story to a [`Story`], with every mistake named by its line.
//!
//! ```text
//! title   more caustic than the guard allows
//! recipe  three-oils
//! bench   standard
//! seed    7
//! until   10 min
//!
//! hand
//!   overpour naoh by 4 g
//! faults
//!   unplug scale for 4 s when olive is 50 % poured
//! inputs
//!   0.5   start
//!   then  scale reads pot
//!   then  scale moves to pot + 90 g at 20 g/s
//!   then  wait 5 s
//!   then  seen captured coconut
//! expect facts
//!   0.50  batch started
//! ```

use super::parse_inputs;
use super::story::{Expect, Fault, FaultKind, Orders, Shows, Story, When};
use crate::problem::{Problem, Problems, Source};
use crate::quantity::{Mass, MassUnit, Share, Span, Temperature};

/// A story without `until` ends here.
const UNTIL_DEFAULT: Span = Span::from_minutes(30);
/// As many as a bench takes.
const POTS_MAX: usize = 8;
/// A story is read by a person; one longer than this is no story.
const LINES_MAX: usize = 100_000;

/// Reads a story; all mistakes are found in one reading.
pub fn parse(file: &str, text: &str) -> Result<Story, Problems> {
    let mut reader = Reader { source: Source { file, text }, story: empty(), wrong: Vec::new() };
    if text.lines().count() > LINES_MAX {
        reader.refuse(1, "(whole file)", "a longer text", "at most 100 000 lines", "shorten it");
        return Err(Problems(reader.wrong));
    }
    let mut section = Section::Head;
    for (index, raw) in text.lines().enumerate() {
        let line = raw.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        match heading(line) {
            Some(begun) => section = reader.begin(begun, index + 1),
            None => reader.read(section, index + 1, line),
        }
    }
    if reader.story.title.is_empty() {
        reader.refuse(1, "title", "none", "a line like `title over the guard`", "add it");
    }
    if reader.wrong.is_empty() { Ok(reader.story) } else { Err(Problems(reader.wrong)) }
}

#[derive(Clone, Copy, PartialEq)]
enum Section {
    Head,
    Hand,
    Faults,
    Inputs,
    Expect(Shows),
}

struct Reader<'a> {
    source: Source<'a>,
    story: Story,
    wrong: Vec<Problem>,
}

/// What a line should have said.
pub(super) type Wanted = &'static str;

fn empty() -> Story {
    Story {
        title: String::new(),
        recipe: "three-oils".to_owned(),
        bench: "standard".to_owned(),
        seed: 1,
        pots: 1,
        until: UNTIL_DEFAULT,
        hand: None,
        faults: Vec::new(),
        inputs: Vec::new(),
        expect: None,
    }
}

fn heading(line: &str) -> Option<Section> {
    Some(match line {
        "hand" => Section::Hand,
        "faults" => Section::Faults,
        "inputs" => Section::Inputs,
        "expect facts" => Section::Expect(Shows::Facts),
        "expect facts and cues" => Section::Expect(Shows::FactsAndCues),
        _ => return None,
    })
}

impl Reader<'_> {
    fn begin(&mut self, section: Section, number: usize) -> Section {
        match section {
            Section::Hand => self.story.hand = Some(self.story.hand.take().unwrap_or_default()),
            Section::Expect(shows) => {
                if self.story.expect.is_some() {
                    let advice = "join the two";
                    self.refuse(number, "expect", "a second one", "one section", advice);
                }
                self.story.expect = Some(Expect { shows, lines: Vec::new(), number });
            }
            _ => {}
        }
        section
    }

    fn read(&mut self, section: Section, number: usize, line: &str) {
        let read = match section {
            Section::Head => self.head(line),
            Section::Hand => self.order(line),
            Section::Faults => fault(line).map(|fault| self.story.faults.push(fault)),
            Section::Inputs => parse_inputs::line(line, number).map(|read| {
                self.story.inputs.push(read);
            }),
            Section::Expect(_) => {
                if let Some(expect) = &mut self.story.expect {
                    expect.lines.push(line.to_owned());
                }
                Ok(())
            }
        };
        if let Err(wanted) = read {
            let field = line.split_whitespace().next().unwrap_or("");
            self.refuse(number, field, line, wanted, "correct this line");
        }
    }

    fn head(&mut self, line: &str) -> Result<(), Wanted> {
        let (key, value) = split_word(line);
        if value.is_empty() {
            return Err("a key and its value, or one of the sections hand, faults, inputs, expect");
        }
        match key {
            "title" => self.story.title = value.to_owned(),
            "recipe" => self.story.recipe = value.to_owned(),
            "bench" => self.story.bench = value.to_owned(),
            "seed" => self.story.seed = value.parse().map_err(|_| "a whole number")?,
            "until" => self.story.until = span(value)?,
            "pots" => {
                let pots = value.parse().ok().filter(|pots| (1..=POTS_MAX).contains(pots));
                self.story.pots = pots.ok_or("a whole number from 1 to 8")?;
            }
            _ => return Err("one of the keys title, recipe, bench, seed, pots, until"),
        }
        Ok(())
    }

    fn order(&mut self, line: &str) -> Result<(), Wanted> {
        let wanted = "one of: overpour NAME by MASS, underpour NAME by MASS, discard when over, \
                      tip MASS more NAME than weighed, leave at TIME for TIME, overheat to TEMPERATURE, ignore looks, \
                      measure by hand";
        let orders = self.story.hand.get_or_insert_with(Orders::default);
        let (verb, rest) = split_word(line);
        match (verb, rest) {
            ("overpour" | "underpour", rest) => {
                let (name, by) = rest.split_once(" by ").ok_or(wanted)?;
                let by = mass(by)?;
                let by = if verb == "underpour" { -by } else { by };
                orders.off_target.push((name.trim().into(), by));
            }
            ("tip", rest) => {
                let (by, name) = rest.split_once(" more ").ok_or(wanted)?;
                let name = name.strip_suffix(" than weighed").ok_or(wanted)?;
                orders.tips_more = Some((name.trim().into(), mass(by)?));
            }
            ("discard", "when over") => orders.discards = true,
            ("ignore", "looks") => orders.ignores_looks = true,
            ("measure", "by hand") => orders.measures = true,
            ("leave", rest) => {
                let (at, lasts) = rest.split_once(" for ").ok_or(wanted)?;
                let at = at.trim().strip_prefix("at ").ok_or(wanted)?;
                orders.away.push((span(at)?, span(lasts)?));
            }
            ("overheat", rest) => {
                let to = rest.strip_prefix("to ").ok_or(wanted)?;
                let to = Temperature::parse(to).map_err(|_| "a temperature like `97 °C`")?;
                orders.overheats_to = Some(to);
            }
            _ => return Err(wanted),
        }
        Ok(())
    }

    fn refuse(&mut self, number: usize, field: &str, found: &str, expected: &str, advice: &str) {
        let mut problem = self.source.problem(None, field, found, expected, advice);
        problem.line = Some(number);
        self.wrong.push(problem);
    }
}

/// "unplug scale for 4 s when olive is 50 % poured", "drift scale 0.5 g for 60 s at 5 s"
fn fault(line: &str) -> Result<Fault, Wanted> {
    let wanted = "KIND NAME [AMOUNT] [for TIME] at TIME, … when NAME is SHARE poured, or … when \
                  cooked TIME; kinds: \
                  unplug, garbage, freeze, drop, drift, knock, unit, sleep, dead, period, slip, \
                  lift, swap";
    let (rest, when) = if let Some((rest, when)) = line.split_once(" when ") {
        if let Some(time) = when.trim().strip_prefix("cooked ") {
            return fault_of(rest, When::Cooked(span(time)?), wanted);
        }
        let poured = when.trim().strip_suffix(" poured").ok_or(wanted)?;
        let (name, share) = poured.split_once(" is ").ok_or(wanted)?;
        let share = if share == "half" { "50 %" } else { share };
        let share = Share::parse(share).map_err(|_| "a share like `50 %`")?;
        (rest, When::Poured(name.trim().into(), share))
    } else {
        let (rest, at) = line.rsplit_once(" at ").ok_or(wanted)?;
        (rest, When::At(span(at)?))
    };
    fault_of(rest, when, wanted)
}

fn fault_of(rest: &str, when: When, wanted: Wanted) -> Result<Fault, Wanted> {
    let (rest, lasts) = match rest.rsplit_once(" for ") {
        Some((rest, lasts)) => (rest, Some(span(lasts)?)),
        None => (rest, None),
    };
    let (verb, rest) = split_word(rest);
    let (of, amount) = split_word(rest);
    if of.is_empty() {
        return Err(wanted);
    }
    let kind = match (verb, amount) {
        ("unplug", "") => FaultKind::Unplug,
        ("garbage", "") => FaultKind::Garbage,
        ("freeze", "") => FaultKind::Freeze,
        ("knock", "") => FaultKind::Knock,
        ("sleep", "") => FaultKind::Sleep,
        ("dead", "") => FaultKind::DeadProbe,
        ("lift", "") => FaultKind::Lift,
        ("swap", "") => FaultKind::Swap,
        ("slip", by) => FaultKind::Slip(mass(by)?),
        ("drop", share) => {
            FaultKind::DropOuts(Share::parse(share).map_err(|_| "a share like `20 %`")?)
        }
        ("drift", by) => FaultKind::Drift(mass(by.strip_suffix("/min").unwrap_or(by))?),
        ("unit", "g") => FaultKind::Unit(MassUnit::Gram),
        ("unit", "oz") => FaultKind::Unit(MassUnit::Ounce),
        ("period", period) => FaultKind::Period(span(period)?),
        _ => return Err(wanted),
    };
    Ok(Fault { kind, of: of.to_owned(), when, lasts })
}

/// The first word, and what follows it.
pub(super) fn split_word(text: &str) -> (&str, &str) {
    let text = text.trim();
    match text.split_once(char::is_whitespace) {
        Some((word, rest)) => (word, rest.trim()),
        None => (text, ""),
    }
}

pub(super) fn span(text: &str) -> Result<Span, Wanted> {
    let text = text.trim();
    if let Some(ms) = text.strip_suffix("ms") {
        let ms: i64 = ms.trim().parse().map_err(|_| "whole milliseconds, like `500 ms`")?;
        return Ok(Span::from_millis(ms.clamp(0, 1_000_000_000)));
    }
    Span::parse(text).map_err(|_| "a length of time, like `4 s` or `2 min`")
}

pub(super) fn mass(text: &str) -> Result<Mass, Wanted> {
    Mass::parse(text.trim()).map_err(|_| "a mass, like `4 g`")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(text: &str) -> String {
        parse("x.story", text).unwrap_err().to_string()
    }

    #[test]
    fn a_whole_story_reads() {
        let text = "title t\nseed 9\nuntil 10 min\n\n\
                    hand\n  overpour naoh by 4 g\n  leave at 6 min for 30 s\n\
                    faults\n  unplug scale for 4 s when olive is half poured\n  \
                    drop scale 20 % for 10 s at 5 s\n\
                    inputs\n  0.5 start\nexpect facts\n  0.50 begins x";
        let story = parse("x.story", text).unwrap();
        assert_eq!(story.seed, 9);
        let orders = story.hand.unwrap();
        assert_eq!(orders.off_target_grams(&"naoh".into()), 4.0);
        assert!(orders.is_away(Span::from_secs(389)) && !orders.is_away(Span::from_secs(390)));
        assert_eq!(story.faults.len(), 2);
        assert_eq!(story.faults[0].when, When::Poured("olive".into(), Share::from_percent(50)));
        assert_eq!(story.inputs.len(), 1);
        assert_eq!(story.expect.unwrap().lines, ["0.50 begins x"]);
    }

    #[test]
    fn every_mistake_is_named_by_its_line() {
        let told = refusal("title t\nsead 9\nfaults\n  unplug scale\n");
        let lines: Vec<&str> = told.lines().collect();
        assert_eq!(
            lines[0],
            "x.story, line 2, `sead`: found sead 9; expected one of the keys title, recipe, \
             bench, seed, pots, until; correct this line"
        );
        assert!(lines[1].starts_with("x.story, line 4, `unplug`: found unplug scale; expected"));
        assert_eq!(lines.len(), 2);
    }

    #[test]
    fn one_to_eight_pots_and_lines_for_each() {
        for (count, good) in [("0", false), ("1", true), ("8", true), ("9", false)] {
            let text = format!("title t\npots {count}\n");
            assert_eq!(parse("x.story", &text).is_ok(), good, "{count}");
        }
        let text = "title t\ninputs\n  1 b: take-scale\n  then confirm\n";
        let story = parse("x.story", text).unwrap();
        assert_eq!(story.inputs[0].pot, Some('b'));
        assert_eq!(story.inputs[0].does, crate::sim::Does::TakeScale);
        assert_eq!(story.inputs[1].pot, None);
    }
}
