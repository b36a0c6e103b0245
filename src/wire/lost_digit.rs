//! Whether a line that lost a digit on its way still reads, as another load: an adapter that is
//! overrun leaves a byte out without a word. Tried out on the sheet's own examples.

use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock};

use super::bytes::escape;
use super::decode::{Decoder, Item};
use super::examples::{channels, reading_words};
use super::library::SheetLibrary;
use super::sheet::{Example, Expected, Sheet};
use crate::quantity::{Moment, Span};
use crate::reading::Reading;

/// A frame without one of its digits, and what it reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LostDigit {
    pub whole: String,
    pub whole_reads: String,
    pub without: String,
    pub without_reads: String,
}

/// The first example of a sheet that still reads when a digit of it is lost, and reads another
/// number. `None` for sheets with a check or with numbers of a fixed width, which refuse it.
pub fn lost_digit(sheet: &Arc<Sheet>) -> Option<LostDigit> {
    let reads = |example: &&Example| matches!(example.expected, Expected::Reads(_));
    sheet.examples.iter().filter(reads).find_map(|example| {
        let whole = numbers(sheet, example, &example.bytes);
        let digits = (0..example.bytes.len()).filter(|&at| example.bytes[at].is_ascii_digit());
        digits.into_iter().find_map(|at| {
            let mut bytes = example.bytes.clone();
            bytes.remove(at);
            let readings = numbers(sheet, example, &bytes);
            // a zero in front may go and change nothing
            let other =
                readings.iter().find(|reading| !whole.iter().any(|it| same(it, reading)))?;
            Some(LostDigit {
                whole: escape(&example.bytes),
                whole_reads: whole.first().map_or_else(String::new, reading_words),
                without: escape(&bytes),
                without_reads: reading_words(other),
            })
        })
    })
}

fn same(one: &Reading, other: &Reading) -> bool {
    (one.mass(), one.temperature()) == (other.mass(), other.temperature())
}

/// As [`lost_digit`], for a sheet that comes with panroom; worked out once.
pub fn lost_digit_of_shipped(name: &str) -> Option<&'static LostDigit> {
    static FOUND: LazyLock<BTreeMap<String, LostDigit>> = LazyLock::new(|| {
        let library = SheetLibrary::built_in().unwrap_or_default();
        let found = library.iter().map(|(name, _, sheet)| (name.to_owned(), lost_digit(sheet)));
        found.filter_map(|(name, lost)| Some((name, lost?))).collect()
    });
    FOUND.get(name)
}

impl LostDigit {
    /// "`+143.0 g` reads 143.0 g, and without a digit, `+43.0 g`, it reads 43.0 g".
    pub fn words(&self) -> String {
        format!(
            "`{}` reads {}, and where a digit is lost, `{}`, {}",
            self.whole, self.whole_reads, self.without, self.without_reads
        )
    }
}

/// What reads as a number, on a line that was quiet before and is quiet after.
fn numbers(sheet: &Arc<Sheet>, example: &Example, bytes: &[u8]) -> Vec<Reading> {
    let at = |seconds| Moment::from_nanos(0) + Span::from_secs(seconds);
    let mut decoder = Decoder::new(Arc::clone(sheet), channels(sheet));
    let mut items = Vec::new();
    decoder.idle(at(0), &mut items);
    decoder.idle(at(1), &mut items);
    if let Some(question) = example.asked {
        decoder.asked(question);
    }
    decoder.push(at(1), bytes, &mut items);
    decoder.idle(at(2), &mut items);
    let reading = |item| match item {
        Item::Reading(reading) if reading.value.is_some() => Some(reading),
        _ => None,
    };
    items.into_iter().filter_map(reading).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Those with a check, of fixed width or binary refuse a frame that lost a digit; the others
    /// are known, and a maker is told.
    #[test]
    fn what_a_lost_digit_does_to_each_shipped_sheet_is_known() {
        let library = SheetLibrary::built_in().unwrap_or_else(|problems| panic!("{problems}"));
        let careless: Vec<&str> = library
            .iter()
            .filter(|(_, _, sheet)| lost_digit(sheet).is_some())
            .map(|(name, _, _)| name)
            .collect();
        assert_eq!(careless, CARELESS);
    }

    const CARELESS: &[&str] = &[
        "bare-number-unit",
        "comma-decimal-line",
        "comma-probes",
        "comma-status-line",
        "even-bits-line",
        "letter-answer",
        "number-answer",
        "number-answers",
        "pause-number",
        "pound-ounce-line",
        "probe-answer",
        "probe-stream",
        "ticket-lines",
    ];

    #[test]
    fn the_example_names_both_lines_and_both_loads() {
        let library = SheetLibrary::built_in().unwrap();
        let lost = lost_digit(library.find("bare-number-unit").unwrap()).unwrap();
        assert_ne!(lost.whole_reads, lost.without_reads);
        assert_eq!(lost.without.len() + 1, lost.whole.len());
    }
}
