//! Each step: when, how long, what was captured and how far that is from its target.

use super::book::Book;
use super::evidence::Dated;
use super::model::{CaptureReview, StepReview};
use crate::bench::{Ask, Fact, Misfit, Target};
use crate::plan::{Step, StepKind, Weigh};
use crate::quantity::{Mass, Share};

pub fn steps(book: &Book) -> Vec<StepReview> {
    book.steps().enumerate().map(|(index, step)| one(book, index + 1, step)).collect()
}

fn one(book: &Book, number: usize, step: &Step) -> StepReview {
    let of = |wanted: fn(&Fact) -> Option<&String>| {
        book.own.iter().copied().filter(move |d| wanted(&d.numbered.fact) == Some(&step.key))
    };
    let begun = of(begun_key).next();
    let done = of(done_key).next_back();
    let target = begun.and_then(|dated| match &dated.numbered.fact {
        Fact::StepBegun { target, .. } => *target,
        _ => None,
    });
    let last = done.or(book.closed).or(book.own.last().copied());
    let time = begun.zip(last).map(|(begun, last)| book.watched(begun, last));
    StepReview {
        number,
        key: step.key.clone(),
        title: step.title.clone(),
        begun: begun.map(|dated| book.at(dated)),
        done: done.map(|dated| book.at(dated)),
        watched: time.map(|(watched, _)| watched),
        sessions: time.map_or(0, |(_, sessions)| sessions),
        reopened: of(reopened_key).count(),
        target,
        capture: standing(book, step, target),
        combined_anyway: on_word(book, begun, done, |asks| *asks == Ask::CombineAnyway),
        done_anyway: on_word(book, begun, done, |asks| {
            matches!(asks, Ask::EndCookAnyway | Ask::AddAnyway)
        }),
        lot: match &step.kind {
            StepKind::Weigh(weigh) => lots(book, step, weigh),
            _ => None,
        },
        vessel: vessel(book, step),
    }
}

/// The vessel as it was recognised, and that it was none for this, if it was not.
fn vessel(book: &Book, step: &Step) -> Option<String> {
    let (mut guess, mut tared) = (None, None);
    for dated in &book.own {
        match &dated.numbered.fact {
            Fact::VesselSaid { step: key, not, .. } if key == &step.key => guess = not.as_ref(),
            Fact::Tared { step: key, vessel, .. } if key == &step.key => {
                tared = Some((vessel.as_ref(), guess.take()));
            }
            _ => {}
        }
    }
    let (known, guess) = tared?;
    let Some(known) = known else {
        return guess
            .map(|not| format!("not {not}, though it weighs as much, on the operator's word"));
    };
    let name = &known.vessel.name;
    Some(match known.misfit {
        Some(Misfit::Etched) => format!("{name}, of glass, on the operator's word"),
        Some(_) => format!("{name}, a {}, on the operator's word", known.vessel.purpose.words()),
        None => name.clone(),
    })
}

/// The lot of the first bottle and, with what was in by then, of each that was opened later.
fn lots(book: &Book, step: &Step, weigh: &Weigh) -> Option<String> {
    let units = &book.control.units;
    let later = book.own.iter().filter_map(|dated| match &dated.numbered.fact {
        Fact::LotOpened { step: key, lot, net, .. } if key == &step.key => {
            let from =
                net.map(|net| format!(" after {}", net.show(units.mass, units.mass_decimals)));
            Some(format!("{lot}{}", from.unwrap_or_default()))
        }
        _ => None,
    });
    let mut lots: Vec<String> = later.collect();
    if !lots.is_empty() || weigh.lot.is_some() {
        lots.insert(0, weigh.lot.clone().unwrap_or_else(|| "not recorded".to_owned()));
    }
    (!lots.is_empty()).then(|| lots.join(", then "))
}

/// The last capture of the step, unless it was undone afterwards.
fn standing(book: &Book, step: &Step, target: Option<Target>) -> Option<CaptureReview> {
    let mut standing = None;
    for dated in &book.own {
        match &dated.numbered.fact {
            Fact::Captured { step: key, ingredient, net, how, .. } if key == &step.key => {
                let deviation = target.map(|target| *net - target.mass);
                standing = Some(CaptureReview {
                    ingredient: ingredient.clone(),
                    at: book.at(dated),
                    net: *net,
                    how: *how,
                    deviation,
                    deviation_share: target.and_then(|target| part_of(*net, target.mass)),
                    inside: target.map(|target| (target.low..=target.high).contains(net)),
                });
            }
            Fact::Reopened { step: key, .. } if key == &step.key => standing = None,
            _ => {}
        }
    }
    standing
}

fn part_of(net: Mass, target: Mass) -> Option<Share> {
    let off = (net - target).grams() / target.grams();
    (target > Mass::ZERO).then(|| Share::from_fraction_rounded(off))
}

/// A question of this kind was answered with a yes while the step went on.
fn on_word(
    book: &Book,
    begun: Option<&Dated>,
    done: Option<&Dated>,
    kind: impl Fn(&Ask) -> bool,
) -> bool {
    let Some(begun) = begun else { return false };
    let last = done.map_or(u64::MAX, |done| done.numbered.number);
    let within = book
        .own
        .iter()
        .filter(|dated| (begun.numbered.number..=last).contains(&dated.numbered.number));
    let mut asked = None;
    for dated in within {
        match &dated.numbered.fact {
            Fact::PromptRaised { prompt, asks, .. } if kind(asks) => asked = Some(*prompt),
            Fact::PromptClosed { prompt, answered: true, .. } if asked == Some(*prompt) => {
                return true;
            }
            _ => {}
        }
    }
    false
}

fn begun_key(fact: &Fact) -> Option<&String> {
    match fact {
        Fact::StepBegun { step, .. } => Some(step),
        _ => None,
    }
}

fn done_key(fact: &Fact) -> Option<&String> {
    match fact {
        Fact::StepDone { step, .. } => Some(step),
        _ => None,
    }
}

fn reopened_key(fact: &Fact) -> Option<&String> {
    match fact {
        Fact::Reopened { step, .. } => Some(step),
        _ => None,
    }
}
