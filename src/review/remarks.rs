//! What was done, seen and said along the way.

use super::book::{Book, between};
use super::evidence::Dated;
use super::model::{
    At, LookReview, NotedReview, ObservationReview, Remark, RemedyReview, VesselReview,
};
use crate::bench::{AlarmChange, AlarmId, Fact, Notice, PutAway};
use crate::quantity::{Mass, Temperature};

pub fn remedies(book: &Book) -> Vec<RemedyReview> {
    each(book, |dated| match &dated.numbered.fact {
        Fact::RemedyChosen { remedy, amount, .. } => {
            Some(RemedyReview { at: book.at(dated), remedy: *remedy, amount: *amount })
        }
        _ => None,
    })
}

pub fn vessels(book: &Book) -> Vec<VesselReview> {
    each(book, |dated| match &dated.numbered.fact {
        Fact::VesselBack { ingredient, residue, verdict, .. } => Some(VesselReview {
            at: book.at(dated),
            ingredient: ingredient.clone(),
            name: book.name(ingredient),
            residue: *residue,
            verdict: *verdict,
        }),
        _ => None,
    })
}

pub fn noted(book: &Book) -> Vec<NotedReview> {
    each(book, |dated| match &dated.numbered.fact {
        Fact::Noted { step, channel, temperature, .. } => Some(NotedReview {
            at: book.at(dated),
            step: book.title(step),
            channel: channel.clone(),
            temperature: *temperature,
        }),
        _ => None,
    })
}

pub fn observations(book: &Book) -> Vec<ObservationReview> {
    each(book, |dated| match &dated.numbered.fact {
        Fact::Observed { observation, note, .. } => Some(ObservationReview {
            at: book.at(dated),
            observation: *observation,
            note: note.clone(),
        }),
        _ => None,
    })
}

pub fn emergencies(book: &Book) -> Vec<At> {
    each(book, |dated| {
        matches!(dated.numbered.fact, Fact::EmergencyOpened { .. }).then(|| book.at(dated))
    })
}

/// Looks at the pot. The one due at the end of a cook is made when the cook is said to be done.
pub fn looks(book: &Book) -> Vec<LookReview> {
    let mut looks: Vec<LookReview> = Vec::new();
    let mut open = None;
    for dated in &book.own {
        match &dated.numbered.fact {
            // said again after a restart: it is still the same look
            Fact::LookDue { step, .. } if open.is_none() => {
                open = Some(step);
                looks.push(LookReview {
                    due: book.at(dated),
                    made: None,
                    late: None,
                    missed: false,
                });
            }
            Fact::LookMade { step, .. } | Fact::StepDone { step, .. } if open == Some(step) => {
                open = None;
                if let Some(look) = looks.last_mut() {
                    look.made = Some(book.at(dated));
                    look.late = between(look.due.utc_ns, dated.utc_ns);
                }
            }
            Fact::AlarmChanged {
                alarm: AlarmId::LookMissed { .. },
                change: AlarmChange::Raised,
                ..
            } => {
                if let Some(look) = looks.last_mut() {
                    look.missed = true;
                }
            }
            _ => {}
        }
    }
    looks
}

pub fn remarks(book: &Book) -> Vec<Remark> {
    each(book, |dated| {
        let (step, words) = words(book, dated)?;
        Some(Remark { at: book.at(dated), step: step.map(|key| book.title(key)), words })
    })
}

fn words<'a>(book: &Book, dated: &'a Dated) -> Option<(Option<&'a str>, String)> {
    Some(match &dated.numbered.fact {
        Fact::LyeJudged { step, peak, verdict, .. } => {
            let peak = peak.show(book.control.units.temperature, 0);
            (Some(step), format!("{}; it peaked at {peak}", verdict.words()))
        }
        Fact::Noticed { step, notice, .. } => (Some(step), notice_words(book, *notice)),
        Fact::ZeroDoubted { step, gross, expected, .. } => {
            let (gross, expected) = (mass(book, *gross), mass(book, *expected));
            let words = format!("zero in doubt: the pan read {gross}, the books say {expected}");
            (Some(step), words)
        }
        Fact::ZeroChecked { step, offset, .. } => {
            (Some(step), format!("zero checked: the empty pan reads {}", mass(book, *offset)))
        }
        Fact::ZeroTaken { offset, .. } => {
            let words = format!("scale set to zero by command: {}", mass(book, *offset));
            (None, words)
        }
        Fact::ZeroNotTaken { in_doubt: true, .. } => {
            (None, "the scale was told to take a zero, and nobody saw whether it did".to_owned())
        }
        Fact::ZeroNotTaken { .. } => {
            (None, "the scale was told to take a zero and did not".to_owned())
        }
        Fact::Corrected { ingredient, was, net, reason, .. } => {
            let (name, was, net) = (book.name(ingredient), mass(book, *was), mass(book, *net));
            (None, format!("{name} corrected from {was} to {net}: {reason}"))
        }
        Fact::BroughtDown { step, ingredient, from, to, .. } => {
            let (name, from, to) = (book.name(ingredient), mass(book, *from), mass(book, *to));
            let words = format!("{name} ran out, {to} for {from}: the rest was brought down");
            (Some(step), words)
        }
        Fact::TakenOut { step, from, to, .. } => {
            (Some(step), format!("{} kept of {}", mass(book, *to), mass(book, *from)))
        }
        Fact::Shelved { at, until, .. } => {
            let out = until.since(dated.numbered.at);
            (None, format!("probe of the {} out for up to {out}", at.words()))
        }
        Fact::Held { at, channel, .. } => (None, format!("{channel} in the {}", at.words())),
        Fact::PutAway { channel, why, .. } => {
            (None, format!("{channel} counts for nothing: {}", put_away_words(*why)))
        }
        Fact::SpotRead { step, at, temperature: read, channel, .. } => {
            let by = channel.as_ref().map_or_else(|| "by hand".to_owned(), |c| format!("by {c}"));
            (Some(step), format!("{} {}, {by}", at.words(), temperature(book, *read)))
        }
        Fact::CookClock { step, runs, .. } => {
            let words = if *runs { "cook time counts" } else { "cook time stands still" };
            (Some(step), words.to_owned())
        }
        Fact::Silenced { until } => {
            (None, format!("sound off for {}", until.since(dated.numbered.at)))
        }
        _ => return None,
    })
}

const fn put_away_words(why: PutAway) -> &'static str {
    match why {
        PutAway::Said => "put away",
        PutAway::Moved => "moved elsewhere",
        PutAway::TimeOut => "nobody said for long where it was",
        PutAway::TakenOut => "taken out",
    }
}

fn notice_words(book: &Book, notice: Notice) -> String {
    match notice {
        Notice::PutOn { mass: load } => {
            format!("a load of {} came at once, not by pouring", mass(book, load))
        }
        Notice::Unsteady => "the scale would not come to rest".to_owned(),
        Notice::OffCentre => "the vessel weighed differently each time it was put down".to_owned(),
        Notice::NoRoomOnScale { lacks } => {
            format!("the scale lacked {} of room for it", mass(book, lacks))
        }
        Notice::NoRoomInVessel { wants, most } => {
            format!("about {wants} for a vessel that may hold {most}")
        }
        Notice::DrawingMoisture => "the caustic gained mass by itself: moisture".to_owned(),
        Notice::PanPressed { .. } => "answered yes by pressing the pan twice".to_owned(),
        Notice::UnitChanged { from, to } => format!("the scale's unit went from {from} to {to}"),
        Notice::TemperaturesApart { at, by_hand, probe } => format!(
            "{} {} by hand, {} by its probe: one of them was wrong",
            at.words(),
            temperature(book, by_hand),
            temperature(book, probe)
        ),
        Notice::DecimalsChanged { from, to } => {
            format!("the scale's decimals went from {from} to {to}")
        }
        Notice::UnitSuspected { before, shown } => format!(
            "{} became {} at once, as if the unit key had been pressed",
            mass(book, before),
            mass(book, shown)
        ),
        Notice::ChangedBeforeLift { by } => {
            format!("{} more was on the pan just before the vessel was lifted", mass(book, by))
        }
    }
}

fn temperature(book: &Book, temperature: Temperature) -> String {
    temperature.show(book.control.units.temperature, 1)
}

fn mass(book: &Book, mass: Mass) -> String {
    mass.show(book.control.units.mass, book.control.units.mass_decimals)
}

fn each<T>(book: &Book, take: impl Fn(&Dated) -> Option<T>) -> Vec<T> {
    book.own.iter().filter_map(|dated| take(dated)).collect()
}
