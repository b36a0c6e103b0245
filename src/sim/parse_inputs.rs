//! One line of the section `inputs`.

use super::parse::{Wanted, mass, span, split_word};
use super::short;
use super::story::{At, Check, Does, Level, Line, Mark, Term};
use crate::bench::{Observation, Outcome, ProbeAt, Remedy};
use crate::plan::{TestMethod, TestValue};
use crate::quantity::{Span, Temperature};
use crate::reading::Status;
use crate::recipe::InPot;

/// Longest story, in seconds: more than any cook.
const SECONDS_MAX: f64 = 1e6;

const STATUSES: [(&str, Status); 9] = [
    ("unstated", Status::Unstated),
    ("zero", Status::StableAtZero),
    ("moving", Status::InMotion),
    ("stable", Status::Stable),
    ("under-zero", Status::UnderZero),
    ("over-limit", Status::OverLimit),
    ("needs-calibration", Status::NeedsCalibration),
    ("needs-zero", Status::NeedsReZeroing),
    ("fault", Status::Fault),
];

pub(super) fn line(text: &str, number: usize) -> Result<Line, Wanted> {
    let (time, rest) = split_word(text);
    let at = match time {
        "then" => At::Then,
        seconds => At::Time(seconds_after_start(seconds)?),
    };
    let (pot, rest) = pot(rest);
    Ok(Line { number, at, pot, does: does(rest)?, text: text.to_owned() })
}

/// "b: confirm" is meant for the second batch of the story.
fn pot(text: &str) -> (Option<char>, &str) {
    let (word, rest) = split_word(text);
    let mut letters = word.strip_suffix(':').unwrap_or_default().chars();
    match (letters.next(), letters.next()) {
        (Some(letter @ 'a'..='z'), None) => (Some(letter), rest),
        _ => (None, text),
    }
}

pub(super) fn seconds_after_start(text: &str) -> Result<Span, Wanted> {
    let wanted = "a time in seconds after the start, like `12.3`, or `then`";
    let seconds: f64 = text.parse().map_err(|_| wanted)?;
    if !(0.0..SECONDS_MAX).contains(&seconds) {
        return Err(wanted);
    }
    Ok(Span::from_nanos((seconds * 1e9).round() as i64))
}

/// A status by the word a story uses for it.
pub(super) fn status_word(status: Status) -> &'static str {
    STATUSES.iter().find(|(_, known)| *known == status).map_or("fault", |(word, _)| word)
}

fn does(text: &str) -> Result<Does, Wanted> {
    let (verb, rest) = split_word(text);
    Ok(match (verb, rest) {
        ("start", name) => Does::Start { operator: (!name.is_empty()).then(|| name.to_owned()) },
        ("tick", "") => Does::Tick,
        ("wait", time) => Does::Wait(span(time)?),
        ("seen", line) => Does::Check(Check::Seen(line.to_owned())),
        ("unseen", line) => Does::Check(Check::Unseen(line.to_owned())),
        ("answer", word) => Does::Check(Check::Answer(word.to_owned())),
        ("screen", line) => Does::Check(match line.strip_prefix("not ") {
            Some(line) => Check::ScreenNot(line.to_owned()),
            None => Check::Screen(line.to_owned()),
        }),
        ("journal", "holds") => Does::JournalHolds,
        ("journal", "commits") => Does::JournalCommits,
        ("journal", rest) => Does::JournalFails {
            why: rest
                .strip_prefix("fails ")
                .ok_or("journal fails WHY, journal holds, or journal commits")?
                .to_owned(),
        },
        ("restart", rest) => {
            Does::Restart { after: span(rest.strip_prefix("after ").ok_or("restart after TIME")?)? }
        }
        _ => match act(verb, rest) {
            Some(act) => act?,
            None => of_channel(verb, rest)?,
        },
    })
}

fn act(verb: &str, rest: &str) -> Option<Result<Does, Wanted>> {
    Some(match verb {
        "confirm" => {
            let prompt = rest.parse().map(Some).map_err(|_| "the number of a question, or nothing");
            let prompt = if rest.is_empty() { Ok(None) } else { prompt };
            prompt.map(|prompt| Does::Confirm { prompt })
        }
        "choose" => remedy(rest).map(|remedy| Does::Choose { remedy }),
        "in-pot" => {
            let (name, amount) = split_word(rest);
            let said = InPot::read(name.into(), amount);
            said.map(Does::InPot).map_err(|_| "in-pot OIL MASS, or in-pot OIL MASS ± MASS")
        }
        "vessel" if rest.is_empty() => Err("vessel NAME"),
        "vessel" => Ok(Does::Vessel { vessel: rest.to_owned() }),
        "declare" => {
            let (name, amount) = split_word(rest);
            mass(amount).map(|mass| Does::Declare { ingredient: name.into(), mass })
        }
        "correct" => {
            let (name, rest) = split_word(rest);
            let wanted = "correct INGREDIENT MASS because REASON";
            let parts = rest.split_once(" because ").ok_or(wanted);
            parts.and_then(|(amount, reason)| {
                let (ingredient, reason) = (name.into(), reason.to_owned());
                mass(amount).map(|mass| Does::Correct { ingredient, mass, reason })
            })
        }
        "lot" => Ok(Does::Lot { lot: rest.to_owned() }),
        "ask-remedy" => Ok(Does::AskRemedy),
        "observe" => {
            let (word, note) = split_word(rest);
            observation(word).map(|observation| Does::Observe { observation, note: note.into() })
        }
        "acknowledge" => Ok(Does::Acknowledge { alarm: rest.to_owned() }),
        "probe-out" => place(rest).map(|at| Does::ProbeOut { at }),
        "hold" => hold(rest),
        "put-away" => Ok(Does::PutAway { channel: rest.to_owned() }),
        "measured" => measured(rest),
        "test" => test(rest),
        "take-scale" => Ok(Does::TakeScale),
        "take-zero" => Ok(Does::TakeZero { channel: rest.to_owned() }),
        "take-probe" => Ok(Does::TakeProbe { channel: rest.to_owned() }),
        "emergency" => Ok(Does::Emergency),
        "heard" => rest
            .strip_prefix("by ")
            .and_then(|count| count.parse().ok())
            .map(|audible| Does::Hearing { audible })
            .ok_or("heard by COUNT"),
        "silence" => Ok(Does::Silence),
        "advance" => Ok(Does::Advance { step: rest.to_owned() }),
        "abandon" => Ok(Does::Abandon { reason: rest.to_owned() }),
        "close" => {
            let (word, note) = split_word(rest);
            outcome(word).map(|outcome| Does::Close { outcome, note: note.to_owned() })
        }
        _ => return None,
    })
}

fn of_channel(name: &str, rest: &str) -> Result<Does, Wanted> {
    let wanted = "NAME followed by a value, `reads`, `moves to`, `silent`, `refused`, `lost` or \
                  `back`; or an act, a check, or a wait";
    let (verb, after) = split_word(rest);
    let (channel, instrument) = (name.to_owned(), name.to_owned());
    Ok(match (verb, after) {
        ("", _) => return Err(wanted),
        ("silent", "") => Does::Silent { channel },
        ("refused", "") => Does::Refused { instrument },
        ("back", "") => Does::Back { instrument },
        ("lost", why) => Does::Lost { instrument, why: why.to_owned() },
        ("reads", value) => {
            let (level, status) = level_and_status(value)?;
            Does::Reads { channel, level, status: status.unwrap_or(rest_status(name)) }
        }
        ("moves", to) => {
            let wanted = "moves to VALUE at PACE, like `moves to pot + 90 g at 20 g/s`";
            let (to, pace) =
                to.strip_prefix("to ").ok_or(wanted)?.rsplit_once(" at ").ok_or(wanted)?;
            let (to, _) = level_and_status(to)?;
            let (pace, status) = split_status(pace);
            let moving = if matches!(to, Level::Temperature(_)) {
                rest_status(name)
            } else {
                Status::InMotion
            };
            let status = status.unwrap_or(moving);
            Does::Moves { channel, to, per_second: pace_per_second(pace)?, status }
        }
        _ => {
            let (level, status) = level_and_status(rest).map_err(|_| wanted)?;
            Does::Reading { channel, level, status: status.unwrap_or(rest_status(name)) }
        }
    })
}

/// A scale at rest says so; a thermometer says nothing of the kind.
fn rest_status(channel: &str) -> Status {
    if channel.starts_with("scale") { Status::Stable } else { Status::Unstated }
}

fn split_status(text: &str) -> (&str, Option<Status>) {
    let text = text.trim();
    let (before, last) = text.rsplit_once(char::is_whitespace).unwrap_or(("", text));
    match STATUSES.iter().find(|(word, _)| *word == last) {
        Some((_, status)) => (before.trim(), Some(*status)),
        None => (text, None),
    }
}

fn level_and_status(text: &str) -> Result<(Level, Option<Status>), Wanted> {
    let (value, status) = split_status(text);
    if value.is_empty() {
        return if status.is_some() { Ok((Level::None, status)) } else { Err("a value") };
    }
    if let Ok(temperature) = Temperature::parse(value) {
        return Ok((Level::Temperature(temperature), status));
    }
    let mut terms = Vec::new();
    for part in value.replace(" + ", "\n").replace(" - ", "\n-").split('\n') {
        let (part, below) = match part.strip_prefix('-') {
            Some(rest) if !terms.is_empty() => (rest, true),
            _ => (part, false),
        };
        terms.push(term(part.trim(), if below { -1 } else { 1 })?);
    }
    Ok((Level::Mass(terms), status))
}

fn term(text: &str, sign: i64) -> Result<Term, Wanted> {
    let marks = [
        ("target", Mark::Target),
        ("low", Mark::Low),
        ("high", Mark::High),
        ("guard", Mark::Guard),
    ];
    if let Some((_, mark)) = marks.iter().find(|(word, _)| *word == text) {
        return if sign > 0 {
            Ok(Term::Mark(*mark))
        } else {
            Err("a mark is added, not taken off")
        };
    }
    if text.starts_with(|first: char| first.is_ascii_alphabetic()) {
        return if sign > 0 && !text.contains(' ') {
            Ok(Term::Vessel(text.to_owned()))
        } else {
            Err("the name of a vessel")
        };
    }
    Ok(Term::Mass(mass(text)? * sign))
}

/// The channel may be of several words, so this is read from its end.
fn hold(rest: &str) -> Result<Does, Wanted> {
    let wanted = "hold CHANNEL PLACE, or hold CHANNEL PLACE stays";
    let (rest, stays) = match rest.strip_suffix(" stays") {
        Some(rest) => (rest, true),
        None => (rest, false),
    };
    let (channel, at) = rest.rsplit_once(char::is_whitespace).ok_or(wanted)?;
    Ok(Does::Hold { channel: channel.trim().to_owned(), at: place(at)?, stays })
}

fn measured(rest: &str) -> Result<Does, Wanted> {
    let (at, temperature) = split_word(rest);
    let temperature = Temperature::try_from(temperature.to_owned());
    let temperature = temperature.map_err(|_| "measured PLACE TEMPERATURE, like `60 °C`")?;
    Ok(Does::Measured { at: place(at)?, temperature })
}

/// "test ph-of-a-1-solution = 9.8", "test lather = rich by other of a wet hand"
fn test(rest: &str) -> Result<Does, Wanted> {
    let wanted = "test NAME = RESULT, then `by METHOD` and `of SAMPLE` where they are not the \
                  recipe's";
    let (name, rest) = rest.split_once(" = ").ok_or(wanted)?;
    let (rest, sample) = match rest.split_once(" of ") {
        Some((rest, sample)) => (rest, Some(sample.trim().to_owned())),
        None => (rest, None),
    };
    let (value, method) = match rest.split_once(" by ") {
        Some((value, word)) => {
            let known = TestMethod::WORDS.iter().find(|(known, _)| *known == word.trim());
            (value, Some(known.map(|(_, method)| *method).ok_or(wanted)?))
        }
        None => (rest, None),
    };
    let value = TestValue::parse(value);
    Ok(Does::Test { test: name.trim().to_owned(), method, sample, value })
}

fn pace_per_second(text: &str) -> Result<f64, Wanted> {
    let wanted = "a pace like `20 g/s` or `4 K/min`";
    let (number, unit) = split_word(text);
    let number: f64 = number.parse().map_err(|_| wanted)?;
    let pace = match unit {
        "g/s" | "K/s" => number,
        "g/min" | "K/min" => number / 60.0,
        _ => return Err(wanted),
    };
    if pace > 0.0 && pace.is_finite() { Ok(pace) } else { Err(wanted) }
}

fn place(word: &str) -> Result<ProbeAt, Wanted> {
    let known = [ProbeAt::Oils, ProbeAt::Lye, ProbeAt::Pot, ProbeAt::Room];
    known.into_iter().find(|at| at.words() == word).ok_or("oils, lye, pot or room")
}

fn remedy(word: &str) -> Result<Remedy, Wanted> {
    let found = Remedy::ALL.into_iter().find(|remedy| remedy.word() == word);
    found.ok_or("a remedy, like spoon-out or discard")
}

fn observation(word: &str) -> Result<Observation, Wanted> {
    use Observation::{Cooked, Foam, Gel, Other, Paste, Separation, Trace};
    let known = [Trace, Separation, Paste, Gel, Cooked, Foam, Other];
    let found = known.into_iter().find(|&seen| short::observation_words(seen) == word);
    found.ok_or("trace, separation, paste, gel, cooked, foam or other")
}

fn outcome(word: &str) -> Result<Outcome, Wanted> {
    let known = [Outcome::Finished, Outcome::Failed, Outcome::Abandoned];
    let found = known.into_iter().find(|&outcome| short::outcome_words(outcome) == word);
    found.ok_or("finished, failed or abandoned")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Does {
        line(text, 1).map(|line| line.does).unwrap_or_else(|wanted| panic!("{text}: {wanted}"))
    }

    #[test]
    fn masses_are_sums() {
        let Does::Reads { level, status, .. } = read("then scale reads cup + guard - 0.1 g moving")
        else {
            panic!("not a level");
        };
        let expected = vec![
            Term::Vessel("cup".to_owned()),
            Term::Mark(Mark::Guard),
            Term::Mass(mass("-0.1 g").unwrap()),
        ];
        assert_eq!(level, Level::Mass(expected));
        assert_eq!(status, Status::InMotion);
    }

    #[test]
    fn each_kind_of_line_reads() {
        let over = read("12.3 scale over-limit");
        let channel = "scale".to_owned();
        assert_eq!(over, Does::Reading { channel, level: Level::None, status: Status::OverLimit });
        let Does::Moves { per_second, .. } = read("then pot moves to 96 °C at 6 K/min") else {
            panic!("does not move");
        };
        assert_eq!(per_second, 0.1);
        for text in [
            "0 start",
            "1.25 confirm",
            "then confirm 3",
            "then choose spoon-out",
            "then observe trace light",
            "then close finished",
            "then journal fails disk full",
            "then restart after 90 s",
            "then scale lost unplugged",
            "then probe-out pot",
            "then emergency",
            "then heard by 2",
            "then screen not alarm caustic-over",
        ] {
            read(text);
        }
    }

    #[test]
    fn nonsense_is_refused() {
        for text in [
            "start",
            "-1 start",
            "nan start",
            "1 scale",
            "1 scale reads",
            "1 choose wisely",
            "1 scale 523.4",
            "1 scale moves to pot",
            "1 scale moves to pot at 0 g/s",
            "1 scale cup - guard",
        ] {
            assert!(line(text, 1).is_err(), "{text}");
        }
    }
}
