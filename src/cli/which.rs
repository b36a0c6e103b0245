//! Which batch, and which question, a command means when it does not say.

use anyhow::bail;

use crate::bench::{BatchView, PromptId, PromptView, View};

/// What is meant where no batch is named and several are open.
#[derive(Clone, Copy, PartialEq)]
pub enum Unnamed {
    /// The one that asks something, if only one does.
    TheOneThatAsks,
    /// None: what cannot be undone is never guessed.
    Nobody,
}

/// The batch named by its number or by the letter of its pot; the one meant otherwise.
pub fn batch<'a>(
    view: &'a View,
    named: Option<&str>,
    unnamed: Unnamed,
) -> anyhow::Result<&'a BatchView> {
    if let Some(named) = named {
        return match matching(view, named)[..] {
            [batch] => Ok(batch),
            [] => bail!("no open batch is called {named}{}", listed(view, "; open are: ")),
            _ => bail!("several open batches are called {named}: use the whole number"),
        };
    }
    let asking: Vec<&BatchView> = view.batches.iter().filter(|b| b.prompt.is_some()).collect();
    match (&view.batches[..], &asking[..]) {
        ([], _) => bail!("no batch is open; start one with `panroom start RECIPE`"),
        ([only], _) => Ok(only),
        (_, [asks]) if unnamed == Unnamed::TheOneThatAsks => Ok(asks),
        _ => bail!("several batches are open; name one with --batch{}", listed(view, ": ")),
    }
}

/// The question named by its number, or the only one of its kind that is open.
pub fn question(
    view: &View,
    number: Option<u64>,
    named: Option<&str>,
    fits: impl Fn(&PromptView) -> bool,
) -> anyhow::Result<PromptId> {
    if let Some(number) = number {
        return Ok(PromptId(number));
    }
    let batches: Vec<&BatchView> = match named {
        Some(_) => vec![batch(view, named, Unnamed::Nobody)?],
        None => view.batches.iter().collect(),
    };
    let asked = |batch: &&BatchView| batch.prompt.clone().filter(&fits).map(|p| p.prompt);
    let open: Vec<PromptId> = batches.iter().filter_map(asked).collect();
    match open[..] {
        [prompt] => Ok(prompt),
        [] => bail!("nothing of that kind is asked now"),
        _ => {
            let asks = |batch: &&&BatchView| {
                let prompt = batch.prompt.as_ref().filter(|prompt| fits(prompt))?;
                Some(format!(
                    "\n  {} asks: {} (question {})",
                    batch.pot, prompt.words, prompt.prompt
                ))
            };
            let asks: String = batches.iter().filter_map(|batch| asks(&batch)).collect();
            bail!("several questions are open; name the batch with --batch, or the question:{asks}")
        }
    }
}

fn matching<'a>(view: &'a View, named: &str) -> Vec<&'a BatchView> {
    let whole: Vec<&BatchView> = view.batches.iter().filter(|b| b.batch.0 == named).collect();
    if !whole.is_empty() {
        return whole;
    }
    let letter = named.to_lowercase();
    let ends =
        |batch: &&BatchView| batch.batch.0.rsplit_once('-').is_some_and(|(_, l)| l == letter);
    view.batches.iter().filter(ends).collect()
}

fn listed(view: &View, before: &str) -> String {
    if view.batches.is_empty() {
        return String::new();
    }
    let one = |batch: &BatchView| {
        format!("{} ({}, {}, at {})", batch.pot, batch.batch, batch.recipe, batch.title)
    };
    format!("{before}{}", view.batches.iter().map(one).collect::<Vec<_>>().join("; "))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::bench::{Act, BatchId, Bench, Input, SessionOpened};
    use crate::quantity::Moment;
    use crate::sim::fixture;

    fn open(ids: &[&str]) -> View {
        let mut bench = Bench::new();
        let now = Moment::from_nanos(0);
        let setup = fixture::standard().setup;
        let opened =
            SessionOpened { session: 1, setup, utc_ns: 0, unwatched: None, last_seen: None };
        bench.handle(now, &Input::Session(opened));
        let control = Arc::new(fixture::three_oils());
        for id in ids {
            let (batch, control) = (BatchId((*id).to_owned()), Arc::clone(&control));
            bench.handle(now, &Input::Act(Act::start(batch, control)));
        }
        bench.view(now)
    }

    /// Both are asked something.
    fn asking(mut view: View, which: &[(usize, u64)]) -> View {
        for &(index, number) in which {
            view.batches[index].prompt = Some(PromptView {
                prompt: PromptId(number),
                asks: crate::bench::Ask::Done,
                words: "Confirm when it is done.".to_owned(),
                question: String::new(),
                answers: Vec::new(),
            });
        }
        view
    }

    fn named(view: &View, name: Option<&str>, unnamed: Unnamed) -> Result<String, String> {
        batch(view, name, unnamed).map(|b| b.batch.0.clone()).map_err(|error| error.to_string())
    }

    #[test]
    fn a_batch_is_named_by_number_or_letter() {
        let view = open(&["2026-11-25-a", "2026-11-25-b", "2026-11-24-b"]);
        let find = |name: &str| named(&view, Some(name), Unnamed::Nobody);
        assert_eq!(find("2026-11-25-b").unwrap(), "2026-11-25-b");
        assert_eq!(find("A").unwrap(), "2026-11-25-a");
        assert_eq!(
            find("b").unwrap_err(),
            "several open batches are called b: use the whole number"
        );
        let none = find("z").unwrap_err();
        assert!(none.starts_with("no open batch is called z; open are: "), "{none}");
        assert!(none.contains("pot A (2026-11-25-a, three oils, at "), "{none}");
    }

    #[test]
    fn the_one_that_asks_is_meant_but_never_to_be_given_up() {
        let view = open(&["2026-11-25-a", "2026-11-25-b"]);
        let asks = Unnamed::TheOneThatAsks;
        assert!(named(&view, None, asks).unwrap_err().contains("name one with --batch: pot A"));
        let view = asking(view, &[(1, 7)]);
        assert_eq!(named(&view, None, asks).unwrap(), "2026-11-25-b");
        assert!(named(&view, None, Unnamed::Nobody).is_err());
        let view = asking(view, &[(0, 6)]);
        assert!(named(&view, None, asks).is_err(), "both ask");
        assert_eq!(named(&open(&["x-a"]), None, Unnamed::Nobody).unwrap(), "x-a");
        assert!(named(&open(&[]), None, asks).unwrap_err().contains("no batch is open"));
    }

    #[test]
    fn a_question_is_found_by_its_batch() {
        let view = asking(open(&["2026-11-25-a", "2026-11-25-b"]), &[(0, 6), (1, 7)]);
        assert_eq!(question(&view, None, Some("b"), |_| true).unwrap(), PromptId(7));
        assert_eq!(question(&view, Some(9), None, |_| true).unwrap(), PromptId(9));
        let several = question(&view, None, None, |_| true).unwrap_err().to_string();
        assert!(several.contains("pot B asks: Confirm when it is done. (question 7)"), "{several}");
        assert!(question(&view, None, None, |_| false).is_err());
    }
}
