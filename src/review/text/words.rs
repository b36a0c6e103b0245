//! Names and numbers as the maker reads them.

use crate::bench::{AlarmId, Observation, Priority, ProbeAt};
use crate::quantity::{Mass, Share, Span, Temperature};
use crate::review::model::{AlarmEnd, AlarmReview, At, Review};

/// What is printed for a number that nobody knows.
pub fn unknown() -> String {
    "—".to_owned()
}

pub fn mass(review: &Review, mass: Mass) -> String {
    mass.show(review.units.mass, review.units.mass_decimals)
}

/// A difference: its sign is always shown, and one that rounds to nothing has none.
pub fn signed_mass(review: &Review, mass: Mass) -> String {
    signed(self::mass(review, mass), mass > Mass::ZERO)
}

pub fn signed_share(share: Share) -> String {
    signed(share.show(1), share > Share::ZERO)
}

pub fn temperature(review: &Review, temperature: Temperature) -> String {
    temperature.show(review.units.temperature, 1)
}

/// How far into the batch.
pub fn offset(at: At) -> String {
    at.after_start.map_or_else(|| "before the start".to_owned(), |after| format!("at +{after}"))
}

/// The same for a column.
pub fn short_offset(at: At) -> String {
    at.after_start.map_or_else(|| "before".to_owned(), |after| format!("+{after}"))
}

pub fn span(span: Option<Span>) -> String {
    span.map_or_else(unknown, |span| span.to_string())
}

/// How long an alarm was raised.
pub fn lasted(alarm: &AlarmReview) -> String {
    let span = || alarm.lasted.map_or("an unknown time".to_owned(), |span| span.to_string());
    match alarm.end {
        AlarmEnd::StillRaised => "still raised".to_owned(),
        AlarmEnd::BatchClosed => format!("for {}, until the batch was closed", span()),
        AlarmEnd::NoLongerWatched => format!("for {}, until no longer watched", span()),
        AlarmEnd::ReturnedToNormal | AlarmEnd::Reset => format!("for {}", span()),
    }
}

/// The title of a step.
pub fn title(review: &Review, key: &str) -> String {
    let step = review.steps.iter().find(|step| step.key == key);
    step.map_or_else(|| key.to_owned(), |step| step.title.clone())
}

pub fn alarm(review: &Review, alarm: &AlarmId) -> String {
    match alarm {
        AlarmId::CausticOver { step, .. } => format!("{} over its guard", title(review, step)),
        AlarmId::PouringBlind { step, .. } => format!("{} poured blind", title(review, step)),
        AlarmId::InstrumentLost { instrument } => format!("{instrument} lost"),
        AlarmId::TemperatureHigh { at, .. } => format!("{} too hot", at.words()),
        AlarmId::TemperatureHighHigh { at, .. } => format!("{} far too hot", at.words()),
        AlarmId::TemperatureLow { at, .. } => format!("{} below its window", at.words()),
        AlarmId::TemperatureUnknown { at, .. } => format!("{} not known", at.words()),
        AlarmId::HeatingFast { at, .. } => format!("{} heating fast", at.words()),
        AlarmId::NotRecording => "not recording".to_owned(),
        AlarmId::LookMissed { .. } => "look missed".to_owned(),
        AlarmId::LyeHeavy { .. } => "more caustic than the oils take".to_owned(),
    }
}

/// The temperature itself went where it should not be; heating fast only leads there.
pub const fn is_out_of_window(alarm: &AlarmId) -> bool {
    matches!(
        alarm,
        AlarmId::TemperatureHigh { .. }
            | AlarmId::TemperatureHighHigh { .. }
            | AlarmId::TemperatureLow { .. }
    )
}

/// What an alarm of temperature watches.
pub const fn place(alarm: &AlarmId) -> &'static str {
    match alarm {
        AlarmId::TemperatureHigh { at, .. }
        | AlarmId::TemperatureHighHigh { at, .. }
        | AlarmId::TemperatureLow { at, .. }
        | AlarmId::TemperatureUnknown { at, .. }
        | AlarmId::HeatingFast { at, .. } => at.words(),
        _ => ProbeAt::Pot.words(),
    }
}

pub const fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::High => "high",
        Priority::Medium => "medium",
        Priority::Low => "low",
    }
}

pub const fn observation(observation: Observation) -> &'static str {
    match observation {
        Observation::Trace => "trace",
        Observation::Separation => "separation",
        Observation::Paste => "paste",
        Observation::Gel => "gel",
        Observation::Cooked => "cooked",
        Observation::Foam => "foam",
        Observation::Other => "other",
    }
}

fn signed(shown: String, positive: bool) -> String {
    let nothing = !shown.chars().any(|letter| ('1'..='9').contains(&letter));
    if nothing {
        return shown.trim_start_matches('−').to_owned();
    }
    if positive { format!("+{shown}") } else { shown }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_shows_its_sign_and_nothing_has_none() {
        for (share, shown) in [(4_000, "+0.4 %"), (-4_000, "−0.4 %"), (-400, "0.0 %"), (0, "0.0 %")]
        {
            assert_eq!(signed_share(Share::from_millionths(share)), shown);
        }
    }
}
