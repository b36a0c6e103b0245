//! Soap of an earlier batch that goes into this one.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{ControlRecipe, Finding, Severity, Step, StepKind};
use crate::chemistry::{IngredientId, Superfat};
use crate::quantity::Share;
use crate::recipe::Recipe;

/// Its fats are taken as saponified: it asks for no caustic, and brings none.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Base {
    pub ingredient: IngredientId,
    pub name: String,
    /// Its number in the ledger; the lot of its weighing is the same.
    pub batch: String,
    /// Fat that it has left over, as a share of its fats, and who says so.
    pub superfat: Option<(Share, SaidBy)>,
    /// Water in it, as far as the maker knows.
    pub moisture: Option<Share>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SaidBy {
    Recipe,
    /// The review of its batch.
    Review,
}

/// What the ledger knows of a batch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Earlier {
    pub closed: bool,
    /// It came to nothing: discarded, or given up.
    pub abandoned: bool,
    /// Closed as failed, which soap that is to be boiled again often is.
    pub failed: bool,
    /// More caustic than its guard allowed was in the cup at some time.
    pub over_guard: bool,
    pub superfat: Option<Superfat>,
}

/// What the ledger says of the batches whose soap goes into this one. Whoever draws up the plan asks
/// it, or says why not.
#[derive(Clone, Debug, PartialEq)]
pub enum Ledger {
    /// By their number; of any other it knows nothing.
    Asked(BTreeMap<String, Earlier>),
    NotAsked {
        /// As the end of a sentence.
        why: String,
    },
}

impl Default for Ledger {
    fn default() -> Ledger {
        Ledger::NotAsked { why: "that is done before a start".to_owned() }
    }
}

pub(super) fn of(recipe: &Recipe) -> Vec<Base> {
    let bases = recipe.additions.iter().filter_map(|addition| {
        let base = addition.base.as_ref()?;
        Some(Base {
            ingredient: addition.id.clone(),
            name: addition.name.clone(),
            batch: base.batch.clone(),
            superfat: base.superfat.map(|superfat| (superfat, SaidBy::Recipe)),
            moisture: base.moisture,
        })
    });
    bases.collect()
}

impl Base {
    /// The assumption, and what is known, as part of a sentence.
    pub fn words(&self) -> String {
        let superfat = match self.superfat {
            Some((share, SaidBy::Recipe)) => format!("{}, as the recipe says", share.show(1)),
            Some((share, SaidBy::Review)) => format!("{}, by its review", share.show(1)),
            None => "not known".to_owned(),
        };
        let moisture = self.moisture.map(|share| format!(", {} of water", share.show(0)));
        format!(
            "soap of batch {}, taken as saponified: no caustic is reckoned for it; its own superfat: \
             {superfat}{}",
            self.batch,
            moisture.unwrap_or_default()
        )
    }

    fn found_in<'a>(&self, ledger: &'a BTreeMap<String, Earlier>) -> Result<&'a Earlier, String> {
        let (name, batch) = (&self.name, &self.batch);
        let earlier = ledger.get(batch).ok_or_else(|| {
            format!(
                "{name}: no batch `{batch}` is in the ledger; `base` is the number of its batch, \
                 like `2026-11-25-a`"
            )
        })?;
        if !earlier.closed {
            return Err(format!("{name}: batch {batch} is still open; close it first"));
        }
        if earlier.abandoned {
            return Err(format!("{name}: batch {batch} was given up; it is no base"));
        }
        let by_review = earlier.superfat.map(|superfat| superfat.achieved);
        match by_review.filter(|achieved| achieved.is_negative()) {
            Some(heavy) => Err(format!(
                "{name}: by its review batch {batch} has a superfat of {}: it brings caustic of \
                 its own, and is no base",
                heavy.show(1)
            )),
            None => Ok(earlier),
        }
    }

    /// What is not known of it, and speaks for testing it first.
    fn doubts(&self, earlier: &Earlier) -> Vec<String> {
        let (name, batch) = (&self.name, &self.batch);
        let mut doubts = Vec::new();
        match earlier.superfat {
            Some(superfat) if (superfat.achieved - superfat.expanded).is_negative() => {
                doubts.push(format!(
                    "{name}: by its review the superfat of batch {batch} is {} ± {}: it may bring \
                     caustic of its own; test it before it goes in",
                    superfat.achieved.show(1),
                    superfat.expanded.show(1)
                ));
            }
            None if self.superfat.is_none() => doubts.push(format!(
                "{name}: nobody knows the superfat of batch {batch}; test it before it goes in"
            )),
            _ => {}
        }
        if earlier.failed {
            doubts.push(format!(
                "{name}: batch {batch} was closed as failed; read in its review why, and test it \
                 before it goes in"
            ));
        }
        if earlier.over_guard {
            doubts.push(format!(
                "{name}: the caustic of batch {batch} once went over its guard; test it before it \
                 goes in"
            ));
        }
        doubts
    }
}

impl ControlRecipe {
    /// Holds each base against the ledger, and takes its superfat from there where the recipe has
    /// none: what rules it out ([`Severity::Unfit`]), and what speaks for testing it first. That
    /// stands among the hazards of its weighing too: there it is read by whoever is about to put it
    /// in.
    pub(super) fn look_up_bases(&mut self, ledger: &Ledger) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut found = |severity, words| findings.push(Finding { severity, words });
        for base in &mut self.bases {
            let known = match ledger {
                Ledger::Asked(known) => known,
                Ledger::NotAsked { why } => {
                    let (name, batch) = (&base.name, &base.batch);
                    found(
                        Severity::Warning,
                        format!("{name}: batch {batch} is not checked against the ledger: {why}"),
                    );
                    continue;
                }
            };
            let earlier = match base.found_in(known) {
                Ok(earlier) => earlier,
                Err(words) => {
                    found(Severity::Unfit, words);
                    continue;
                }
            };
            let doubts = base.doubts(earlier);
            let said = earlier.superfat.map(|superfat| (superfat.achieved, SaidBy::Review));
            base.superfat = base.superfat.or(said);
            let weighed = |step: &&mut Step| matches!(&step.kind, StepKind::Weigh(weigh) if weigh.ingredient == base.ingredient);
            for step in self.steps.iter_mut().filter(weighed) {
                step.hazards.extend(doubts.iter().cloned());
            }
            doubts.into_iter().for_each(|doubt| found(Severity::Warning, doubt));
        }
        findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn looked_up(earlier: Option<Earlier>, said: Option<Share>) -> Result<ControlRecipe, String> {
        let mut control = crate::sim::fixture::three_oils();
        control.bases = vec![Base {
            ingredient: control.weighings().last().unwrap().ingredient.clone(),
            name: "paste".to_owned(),
            batch: "2026-11-25-a".to_owned(),
            superfat: said.map(|said| (said, SaidBy::Recipe)),
            moisture: None,
        }];
        let ledger = earlier.map(|earlier| ("2026-11-25-a".to_owned(), earlier));
        let findings = control.look_up_bases(&Ledger::Asked(ledger.into_iter().collect()));
        match findings.iter().find(|finding| finding.severity == Severity::Unfit) {
            Some(unfit) => Err(unfit.words.clone()),
            None => {
                control.findings = findings;
                Ok(control)
            }
        }
    }

    /// What is shown before the start and while it is weighed, and with nothing else.
    fn warned(control: &ControlRecipe, words: &str) -> bool {
        let mut found = control.findings.iter().filter(|f| f.severity == Severity::Warning);
        let before = found.any(|finding| finding.words.contains(words));
        let weighed = control.weighings().last().unwrap();
        let told = control.steps.iter().filter(|s| s.hazards.iter().any(|h| h.contains(words)));
        let told: Vec<&StepKind> = told.map(|step| &step.kind).collect();
        assert!(told.iter().all(|kind| matches!(kind, StepKind::Weigh(w) if w == weighed)));
        assert_eq!(before, told.len() == 1);
        before
    }

    fn reviewed(achieved: &str, expanded: &str) -> Option<Earlier> {
        let share = |text: &str| Share::parse(text).unwrap();
        let superfat = Superfat { achieved: share(achieved), expanded: share(expanded) };
        Some(Earlier { closed: true, superfat: Some(superfat), ..Earlier::default() })
    }

    #[test]
    fn only_a_closed_batch_that_came_to_something_is_a_base() {
        let refused = |earlier| looked_up(earlier, None).unwrap_err();
        assert!(refused(None).contains("no batch `2026-11-25-a` is in the ledger"));
        assert!(refused(Some(Earlier::default())).contains("still open"));
        let abandoned = Earlier { closed: true, abandoned: true, ..Earlier::default() };
        assert!(refused(Some(abandoned)).contains("given up"));
    }

    #[test]
    fn a_lye_heavy_batch_is_no_base_whatever_is_said_of_it() {
        let five = Some(Share::from_percent(5));
        let heavy = looked_up(reviewed("-0.0001 %", "2 %"), five).unwrap_err();
        assert!(heavy.contains("no base"), "{heavy}");
        for (achieved, warns) in [("0 %", true), ("1.9999 %", true), ("2 %", false)] {
            let control = looked_up(reviewed(achieved, "2 %"), five).unwrap();
            assert_eq!(warned(&control, "may bring"), warns, "{achieved}");
            assert_eq!(control.bases[0].superfat, five.map(|five| (five, SaidBy::Recipe)));
        }
    }

    #[test]
    fn its_superfat_is_that_of_the_review_unless_said() {
        let control = looked_up(reviewed("5.1 %", "2 %"), None).unwrap();
        assert!(control.bases[0].words().contains("5.1 %, by its review"));
        let unknown = Earlier { closed: true, ..Earlier::default() };
        let control = looked_up(Some(unknown), None).unwrap();
        assert!(warned(&control, "nobody knows the superfat"));
        assert!(control.bases[0].words().contains("not known"));
    }

    #[test]
    fn a_good_superfat_does_not_hide_that_the_batch_failed_or_went_over() {
        let words = ["closed as failed", "went over its guard"];
        for (failed, over_guard) in [(false, false), (true, false), (false, true), (true, true)] {
            let earlier = reviewed("5 %", "2 %").map(|it| Earlier { failed, over_guard, ..it });
            let control = looked_up(earlier, None).unwrap();
            assert_eq!(words.map(|words| warned(&control, words)), [failed, over_guard]);
        }
    }
}
