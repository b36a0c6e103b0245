//! What is said about too much and too little caustic, and the ways out.

use super::batch::Batch;
use super::fact::Remedy;
use super::law::Bench;
use super::words::{ZERO_DOUBTED, mass};
use super::{remedies, takeout};
use crate::plan::{Keep, TakeOut};
use crate::quantity::{Mass, Share};

/// More caustic on record than the fats on record take.
pub fn lye_heavy(bench: &Bench, batch: Option<&Batch>) -> String {
    let Some(batch) = batch else { return "There is too much caustic in the batch.".to_owned() };
    let over = remedies::excess(bench, batch);
    let over = over.map_or_else(String::new, |over| {
        format!("{} of caustic more than the oils take. ", mass(&batch.control.units, over))
    });
    match batch.under_way() {
        Some(remedy) => format!("{over}{} Add nothing else, taste nothing.", under_way(remedy)),
        None => {
            let ready = if batch.has_small_lye() {
                " A small lye that has not gone in goes into waste; correct the caustic on record \
                 then."
            } else {
                ""
            };
            format!("{over}Add nothing, taste nothing, pour nothing: choose what to do.{ready}")
        }
    }
}

/// What is being done about it: it is not offered a second time.
pub fn under_way(remedy: Remedy) -> String {
    format!("Under way: {}. Go on with it.", remedy.title())
}

pub fn over(bench: &Bench, batch: &Batch, excess: Mass) -> String {
    let (offers, none) = remedies::over(bench, batch);
    let ways: Vec<String> =
        offers.iter().map(|offer| format!("{} ({})", offer.words, offer.remedy.word())).collect();
    let excess = mass(&batch.control.units, excess);
    if let Some(remedy) = batch.under_way() {
        let under_way = under_way(remedy);
        return format!("{excess} of caustic too much. {under_way} Or {}.", ways.join(", or "));
    }
    let why = none.map_or_else(String::new, |why| format!(" Otherwise: {why}."));
    format!("{excess} of caustic too much. Either {}.{why}", ways.join(", or "))
}

pub fn under(bench: &Bench, batch: &Batch, options: &[Remedy], missing: Mass) -> String {
    let missing = mass(&batch.control.units, missing);
    let offer = remedies::under(bench, batch).ok().map(|(_, offer)| offer);
    let offer = offer.filter(|offer| options.contains(&offer.remedy));
    let ways = offer.map_or_else(String::new, |offer| {
        format!("{}, in a jug of its own ({}), or ", offer.words, offer.remedy.word())
    });
    format!(
        "{missing} of caustic too little. Either {ways}leave it: more fat stays free ({}).",
        Remedy::LeaveIt.word()
    )
}

/// The sentence while something is taken out of a vessel.
pub fn take_out(bench: &Bench, batch: &Batch, take_out: &TakeOut) -> String {
    let name = &take_out.name;
    let Some((_, taking)) = takeout::at_it(batch) else { return String::new() };
    if bench.scale_doubted(&batch.id) {
        return ZERO_DOUBTED.to_owned();
    }
    match (taking.from, take_out.keep) {
        (None, Keep::Mass(_)) => format!(
            "Put the cup with the {name} on the pan. (If it stands there, too much is out of it, or \
             it is another: if it is the right one, correct the mass on record.)"
        ),
        (None, Keep::PartOfLye) => {
            format!(
                "When it is clear and stirred, put the vessel with all of the {name} on the pan."
            )
        }
        (Some((_, keep)), how) => {
            let left = takeout::content(bench, batch).map(|now| now - keep);
            if left.is_some_and(Mass::is_negative) {
                return "Too much is out, or something holds the vessel up. If it is out, it stays \
                        out: correct on record what is in the vessel."
                    .to_owned();
            }
            let left = left.map_or_else(|| "—".to_owned(), |left| mass(&batch.control.units, left));
            match how {
                Keep::Mass(_) => {
                    format!("Spoon out {left} of {name}, into waste, never back to stock.")
                }
                Keep::PartOfLye => format!(
                    "Pour off {left} of {name}, into a vessel that lye does not attack, and label \
                     it as lye."
                ),
            }
        }
    }
}

pub fn brought_down(from: Mass, to: Mass) -> String {
    let part = Share::from_fraction_rounded(to.grams() / from.grams());
    format!("All that is still to come is brought down to {}.", part.show(1))
}

impl Remedy {
    /// Every remedy, in the order in which they are offered.
    pub const ALL: [Remedy; 8] = [
        Remedy::SpoonOut,
        Remedy::UsePart,
        Remedy::Restore,
        Remedy::RestoreOne,
        Remedy::SmallLye,
        Remedy::LeaveIt,
        Remedy::BringDown,
        Remedy::Discard,
    ];

    /// The word an operator answers with.
    pub const fn word(self) -> &'static str {
        match self {
            Remedy::SpoonOut => "spoon-out",
            Remedy::UsePart => "use-part",
            Remedy::Restore => "restore",
            Remedy::RestoreOne => "restore-one",
            Remedy::SmallLye => "small-lye",
            Remedy::LeaveIt => "leave-it",
            Remedy::BringDown => "bring-down",
            Remedy::Discard => "discard",
        }
    }

    /// What it is, to somebody who reads it later.
    pub const fn title(self) -> &'static str {
        match self {
            Remedy::SpoonOut => "spoon the excess out, into waste",
            Remedy::UsePart => "use only a part of the lye",
            Remedy::Restore => "add oils and liquid",
            Remedy::RestoreOne => "add one oil and liquid",
            Remedy::SmallLye => "add a small lye made apart",
            Remedy::LeaveIt => "leave it as it is",
            Remedy::BringDown => "bring down what is still to come",
            Remedy::Discard => "discard the batch",
        }
    }
}
