//! Words as they are best spoken: units in full, so that no voice says "gee" or "oz".

use crate::bench::Cue;

/// `None` for cues that are tones only.
pub fn of(cue: &Cue) -> Option<String> {
    match cue {
        Cue::Say { words } | Cue::Sound { words, .. } => Some(spoken(words)),
        Cue::Slow => Some("Slowly.".to_owned()),
        Cue::Stop => Some("Stop.".to_owned()),
        Cue::Emergency => Some("Rinse with plenty of water. The card is on the screen.".to_owned()),
        Cue::Hush => None,
    }
}

const UNITS: [(&str, &str, &str); 10] = [
    ("g", "gram", "grams"),
    ("kg", "kilogram", "kilograms"),
    ("oz", "ounce", "ounces"),
    ("lb", "pound", "pounds"),
    ("ml", "millilitre", "millilitres"),
    ("°C", "degree Celsius", "degrees Celsius"),
    ("°F", "degree Fahrenheit", "degrees Fahrenheit"),
    ("K", "kelvin", "kelvin"),
    ("min", "minute", "minutes"),
    ("s", "second", "seconds"),
];

/// A unit is one only behind a number: "a" or "s" in a sentence stays as it is.
pub fn spoken(words: &str) -> String {
    let mut said = Vec::new();
    let mut number: Option<&str> = None;
    for word in words.split_whitespace() {
        let bare = word.trim_end_matches(['.', ',', ':', ';', ')', '?', '!']);
        let stop = &word[bare.len()..];
        let unit = number.and_then(|number| {
            let (_, one, many) = UNITS.iter().find(|(symbol, ..)| *symbol == bare)?;
            Some(if number == "1" { *one } else { *many })
        });
        match unit {
            Some(unit) => said.push(format!("{unit}{stop}")),
            None => said.push(word.replace('−', "minus ")),
        }
        let is_number = bare.trim_start_matches('−').parse::<f64>().is_ok() && stop.is_empty();
        number = is_number.then_some(bare);
    }
    said.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_said_in_full_behind_numbers_only() {
        for (written, said) in [
            ("Next: 1.30 oz of NaOH.", "Next: 1.30 ounces of NaOH."),
            ("Spoon out 1 g, into waste.", "Spoon out 1 gram, into waste."),
            (
                "Pot is above 95 °C at 96 °C.",
                "Pot is above 95 degrees Celsius at 96 degrees Celsius.",
            ),
            ("The scale now shows g, it showed oz.", "The scale now shows g, it showed oz."),
            ("Nobody watched for 1 min 05 s.", "Nobody watched for 1 minute 05 seconds."),
            ("−2 g", "minus 2 grams"),
        ] {
            assert_eq!(spoken(written), said);
        }
    }
}
