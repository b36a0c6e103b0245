//! Inputs as the lines of a story: what a bug report consists of.

use super::parse_inputs::status_word;
use super::short;
use crate::bench::{Act, Input, JournalStatus};
use crate::quantity::{Mass, MassUnit, Span};
use crate::reading::{Reading, Value};
use crate::recipe::InPot;

/// The line of the section `inputs` that is this input, `at` after the start of the story; before
/// a start, one more line for each oil that is in the pot.
///
/// `None` for what a story says in another way: the session at its head, and what the disk
/// reports of facts that were committed as usual.
pub fn input_line(at: Span, input: &Input) -> Option<String> {
    let what = match input {
        Input::Session(_) | Input::Journal(JournalStatus::Committed { .. }) => return None,
        Input::Reading(reading) => reading_words(reading),
        Input::Refused { instrument } => format!("{instrument} refused"),
        Input::InstrumentLost { instrument, why } => format!("{instrument} lost {why}"),
        Input::InstrumentBack { instrument } => format!("{instrument} back"),
        Input::Act(act) => act_words(act),
        Input::Journal(JournalStatus::Failed { why }) => format!("journal fails {why}"),
        Input::Hearing { audible } => format!("heard by {audible}"),
        Input::Tick => "tick".to_owned(),
    };
    let line = |what: &str| format!("{:10.3}  {}", at.seconds(), what.trim_end());
    let mut lines = Vec::new();
    if let Input::Act(Act::Start { in_pot, .. }) = input {
        lines.extend(in_pot.iter().map(|said| line(&in_pot_words(said))));
    }
    lines.push(line(&what));
    Some(lines.join("\n"))
}

fn reading_words(reading: &Reading) -> String {
    let value = match reading.value {
        Some(Value::Mass { mass, .. }) => exact(mass),
        Some(Value::Temperature { temperature, .. }) => String::from(temperature),
        None => String::new(),
    };
    format!("{} {value} {}", reading.channel, status_word(reading.status)).replace("  ", " ")
}

fn in_pot_words(InPot { oil, mass, doubt }: &InPot) -> String {
    let doubt = doubt.map(|doubt| format!(" ± {}", exact(doubt)));
    format!("in-pot {oil} {}{}", exact(*mass), doubt.unwrap_or_default())
}

fn act_words(act: &Act) -> String {
    match act {
        Act::Start { operator, .. } => format!("start {}", operator.as_deref().unwrap_or("")),
        Act::Confirm { prompt } => format!("confirm {prompt}"),
        Act::Choose { remedy, .. } => format!("choose {}", remedy.word()),
        Act::Vessel { vessel, .. } => format!("vessel {vessel}"),
        Act::Declare { ingredient, mass, .. } => format!("declare {ingredient} {}", exact(*mass)),
        Act::Correct { ingredient, mass, reason, .. } => {
            format!("correct {ingredient} {} because {reason}", exact(*mass))
        }
        Act::Lot { lot, .. } => format!("lot {lot}"),
        Act::AskRemedy { .. } => "ask-remedy".to_owned(),
        Act::Observe { observation, note, .. } => {
            format!("observe {} {note}", short::observation_words(*observation))
        }
        Act::Acknowledge { alarm } => format!("acknowledge {}", short::alarm_name(alarm)),
        Act::ProbeOut { at, .. } => format!("probe-out {}", at.words()),
        Act::Hold { channel, at, stays, .. } => {
            let stays = if *stays { " stays" } else { "" };
            format!("hold {channel} {}{stays}", at.words())
        }
        Act::PutAway { channel } => format!("put-away {channel}"),
        Act::Measured { at, temperature, .. } => {
            format!("measured {} {}", at.words(), String::from(*temperature))
        }
        Act::Test { test, method, sample, value, .. } => {
            let mut words = format!("test {test} = {}", value.words());
            if let Some(method) = method {
                words.push_str(&format!(" by {}", method.words()));
            }
            if let Some(sample) = sample {
                words.push_str(&format!(" of {sample}"));
            }
            words
        }
        Act::Scale { .. } => "take-scale".to_owned(),
        Act::Zero { channel } => format!("take-zero {channel}"),
        Act::Probe { channel, .. } => format!("take-probe {channel}"),
        Act::Emergency => "emergency".to_owned(),
        Act::Silence => "silence".to_owned(),
        Act::Advance { step, .. } => format!("advance {step}"),
        Act::Abandon { reason, .. } => format!("abandon {reason}"),
        Act::Close { outcome, note, .. } => {
            format!("close {} {note}", short::outcome_words(*outcome))
        }
    }
}

fn exact(mass: Mass) -> String {
    mass.show(MassUnit::Gram, 9).replace('−', "-")
}

#[cfg(test)]
mod tests {
    use super::super::parse_inputs;
    use super::super::story::{At, Does, Level, Term};
    use super::*;
    use crate::bench::{BatchId, PromptId};
    use crate::quantity::{Moment, Temperature, TemperatureUnit};
    use crate::reading::{Channel, Status};

    fn printed(input: &Input) -> Does {
        let line = input_line(Span::from_millis(12_300), input).unwrap();
        let read = parse_inputs::line(line.trim(), 1).unwrap_or_else(|why| panic!("{line}: {why}"));
        assert_eq!(read.at, At::Time(Span::from_millis(12_300)));
        read.does
    }

    fn reading(value: Option<Value>, status: Status) -> Input {
        let (channel, at) = (Channel::new("pot"), Moment::from_nanos(0));
        Input::Reading(Reading { channel, at, value, status })
    }

    #[test]
    fn what_is_in_the_pot_comes_before_the_start() {
        let control = std::sync::Arc::new(super::super::fixture::three_oils());
        let said = InPot {
            oil: "olive".into(),
            mass: Mass::parse("200 g").unwrap(),
            doubt: Some(Mass::parse("0.2 oz").unwrap()),
        };
        let start = Act::Start {
            batch: BatchId("2026-11-25-a".to_owned()),
            control,
            operator: None,
            in_pot: vec![said.clone()],
        };
        let lines = input_line(Span::from_millis(12_300), &Input::Act(start)).unwrap();
        let read = |line: &str| parse_inputs::line(line.trim(), 1).unwrap().does;
        let read: Vec<Does> = lines.lines().map(read).collect();
        assert_eq!(read, [Does::InPot(said), Does::Start { operator: None }]);
    }

    #[test]
    fn readings_print_and_read_back() {
        let mass = Mass::parse("-0.3 g").unwrap();
        let value = Value::Mass { mass, unit: MassUnit::Gram, decimals: 1, unit_on_wire: true };
        let channel = "pot".to_owned();
        assert_eq!(
            printed(&reading(Some(value), Status::InMotion)),
            Does::Reading {
                channel: channel.clone(),
                level: Level::Mass(vec![Term::Mass(mass)]),
                status: Status::InMotion
            }
        );
        let temperature = Temperature::parse("202.3 °F").unwrap();
        let unit = TemperatureUnit::Fahrenheit;
        let value = Value::Temperature { temperature, unit, decimals: 1 };
        assert_eq!(
            printed(&reading(Some(value), Status::Unstated)),
            Does::Reading {
                channel: channel.clone(),
                level: Level::Temperature(temperature),
                status: Status::Unstated
            }
        );
        assert_eq!(
            printed(&reading(None, Status::Fault)),
            Does::Reading { channel, level: Level::None, status: Status::Fault }
        );
    }

    #[test]
    fn acts_print_and_read_back() {
        let batch = BatchId("x".to_owned());
        assert_eq!(
            printed(&Input::Act(Act::Confirm { prompt: PromptId(7) })),
            Does::Confirm { prompt: Some(7) }
        );
        assert_eq!(printed(&Input::Act(Act::Scale { batch: batch.clone() })), Does::TakeScale);
        let probe = Act::Probe { batch: batch.clone(), channel: Channel::new("pot 2") };
        assert_eq!(printed(&Input::Act(probe)), Does::TakeProbe { channel: "pot 2".to_owned() });
        let step = "cook".to_owned();
        assert_eq!(
            printed(&Input::Act(Act::Advance { batch, step: step.clone() })),
            Does::Advance { step }
        );
        assert_eq!(
            printed(&Input::InstrumentLost { instrument: "scale".into(), why: "cable".into() }),
            Does::Lost { instrument: "scale".into(), why: "cable".into() }
        );
    }
}
