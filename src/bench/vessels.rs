//! Vessels of the register, recognised on the pan by what they weigh empty.
//!
//! What stands there is tared by what it weighs, never by what the register says: the register only
//! tells which vessel it is, and so whether it is one for this job. A vessel that nobody registered
//! is as good as any.

use serde::{Deserialize, Serialize};

use super::batch::Batch;
use super::fact::{Ask, BatchId, Fact, PromptId};
use super::law::Bench;
use super::pan::Pan;
use super::weighing;
use super::{refusals, room_left, words};
use crate::bench_file::{Material, Purpose};
use crate::chemistry::CausticForm;
use crate::plan::{Vessel, Weigh};
use crate::quantity::{Mass, Volume};

/// A vessel as the bench file has it, frozen into each session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KnownVessel {
    pub name: String,
    pub purpose: Purpose,
    pub tare: Mass,
    pub volume: Option<Volume>,
    pub material: Material,
}

/// What stands on the pan was taken for this vessel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recognised {
    /// Where it makes no difference which of several it is, the nearest, and the names of all:
    /// "cup 1 or cup 2".
    #[serde(flatten)]
    pub vessel: KnownVessel,
    /// Why it is not one for this job, if so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub misfit: Option<Misfit>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Misfit {
    /// Caustic comes into it, and attacks its material. No yes goes over this.
    Attacked,
    /// It is for something else.
    Purpose,
    /// A pot, and not the one for which the batch was drawn up.
    OtherPot,
    /// The empty pot, though oils were said to be in it.
    Empty,
    /// It is registered for this, but of glass, which caustic etches.
    Etched,
}

/// Which vessels may stand on the pan.
enum Seen {
    Unknown,
    One(Recognised),
    /// They weigh alike, and it matters which it is.
    Several(Vec<Recognised>),
}

/// A vessel has come to rest: it is tared, or something is asked about it first.
pub fn take(bench: &mut Bench, pan: &Pan, gross: Mass) {
    if asked(bench, &pan.id).is_some() {
        // it stands there until the pan has been seen clear, whatever is poured into it
        return;
    }
    let asks = match seen(bench, pan, gross) {
        Seen::Unknown => return tare(bench, pan, gross, None),
        Seen::One(vessel) if vessel.misfit.is_none() => {
            return tare(bench, pan, gross, Some(vessel));
        }
        Seen::One(vessel) => Ask::WrongVessel { vessel },
        Seen::Several(among) => Ask::WhichVessel { among: names(&among) },
    };
    weighing::offer(bench, pan, asks);
}

/// What was asked of a vessel falls away with it.
pub fn withdraw(bench: &mut Bench, id: &BatchId) {
    if asked(bench, id).is_some() {
        bench.withdraw_prompt(id);
    }
}

pub fn tare(bench: &mut Bench, pan: &Pan, gross: Mass, vessel: Option<Recognised>) {
    withdraw(bench, &pan.id);
    let (batch, step) = (pan.id.clone(), pan.step.clone());
    bench.emit(Fact::Tared { batch, step, gross, vessel });
    room_left::say(bench, pan);
}

/// The question about a vessel that is open.
fn asked(bench: &Bench, id: &BatchId) -> Option<Ask> {
    let asks = &bench.batch(id)?.prompt.as_ref()?.asks;
    matches!(asks, Ask::WhichVessel { .. } | Ask::WrongVessel { .. }).then(|| asks.clone())
}

// --- recognising -------------------------------------------------------------------------------

fn seen(bench: &Bench, pan: &Pan, gross: Mass) -> Seen {
    let (Some(batch), Some(setup)) = (bench.batch(&pan.id), bench.state.setup_ref()) else {
        return Seen::Unknown;
    };
    let Some((weigh, _)) = batch.weigh() else { return Seen::Unknown };
    if weigh.into == Vessel::Pot && batch.said_combined {
        // soap is in it: it weighs what it weighs
        return Seen::Unknown;
    }
    let (load, slack) = (gross - pan.zero, slack(bench, pan));
    let off = |vessel: &KnownVessel| (vessel.tare - load).abs();
    let mut near = within(&setup.vessels, load, slack);
    near.sort_by_key(|vessel| off(vessel));
    let Some(nearest) = near.first().copied() else { return Seen::Unknown };
    near.retain(|vessel| {
        (vessel.tare - nearest.tare).abs() <= slack || off(vessel) == off(nearest)
    });
    let among: Vec<Recognised> = near
        .into_iter()
        .map(|vessel| Recognised { vessel: vessel.clone(), misfit: misfit(batch, weigh, vessel) })
        .collect();
    one_or_several(among)
}

fn within(vessels: &[KnownVessel], load: Mass, slack: Mass) -> Vec<&KnownVessel> {
    vessels.iter().filter(|vessel| (vessel.tare - load).abs() <= slack).collect()
}

/// What may still stand there of what was asked about, each by its own name. A scale that wavers
/// by a digit changes no vessel: within what makes it the same, the answer holds.
fn still_near(bench: &Bench, pan: &Pan, gross: Mass) -> Vec<Recognised> {
    let (Some(batch), Some(setup)) = (bench.batch(&pan.id), bench.state.setup_ref()) else {
        return Vec::new();
    };
    let Some((weigh, _)) = batch.weigh() else { return Vec::new() };
    within(&setup.vessels, gross - pan.zero, slack(bench, pan) + pan.marks.same)
        .into_iter()
        .map(|vessel| Recognised { vessel: vessel.clone(), misfit: misfit(batch, weigh, vessel) })
        .collect()
}

impl Recognised {
    /// It makes no difference which of the two it is: they fit, or misfit, alike.
    fn is_like(&self, other: &Recognised) -> bool {
        other.misfit == self.misfit
            && other.vessel.purpose == self.vessel.purpose
            && other.vessel.material == self.vessel.material
            && other.vessel.volume == self.vessel.volume
    }
}

fn one_or_several(among: Vec<Recognised>) -> Seen {
    let Some(nearest) = among.first() else { return Seen::Unknown };
    if !among.iter().all(|other| other.is_like(nearest)) {
        return Seen::Several(among);
    }
    let name = names(&among).join(" or ");
    let mut one = nearest.clone();
    one.vessel.name = name;
    Seen::One(one)
}

fn names(among: &[Recognised]) -> Vec<String> {
    among.iter().map(|known| known.vessel.name.clone()).collect()
}

fn slack(bench: &Bench, pan: &Pan) -> Mass {
    pan.scale.d * i64::from(bench.settings().vessel_known_d)
}

/// What a vessel for this weighing is for.
fn wanted(batch: &Batch, weigh: &Weigh) -> Purpose {
    match weigh.into {
        Vessel::Pot => Purpose::Pot,
        Vessel::Own if weigh.is_caustic() => Purpose::CausticCup,
        Vessel::Own if weigh.ingredient == batch.control.formula.liquid_id => Purpose::LyeJug,
        Vessel::Own => Purpose::Cup,
    }
}

/// What caustic does to the vessel, where caustic or lye comes into it.
fn suffers(wanted: Purpose, vessel: &KnownVessel) -> Option<&'static str> {
    vessel.material.attacked().filter(|_| wanted.meets_caustic())
}

fn misfit(batch: &Batch, weigh: &Weigh, vessel: &KnownVessel) -> Option<Misfit> {
    let wanted = wanted(batch, weigh);
    if wanted == Purpose::Pot && vessel.purpose == wanted && !batch.in_pot.is_empty() {
        return Some(Misfit::Empty);
    }
    if vessel.purpose == wanted {
        let planned = batch.control.pot.as_ref().map(|pot| &pot.name);
        let other = wanted == Purpose::Pot && planned.is_some_and(|pot| pot != &vessel.name);
        return match other {
            true => Some(Misfit::OtherPot),
            false => suffers(wanted, vessel).map(|_| Misfit::Etched),
        };
    }
    let attacked = match wanted {
        Purpose::CausticCup => vessel.material.attacked().is_some(),
        // lye comes into it later; that it etches glass is said with the question
        Purpose::Pot | Purpose::LyeJug => vessel.material.dissolves(),
        Purpose::Cup | Purpose::Mould => false,
    };
    if attacked {
        return Some(Misfit::Attacked);
    }
    let stock_lye = batch
        .control
        .formula
        .caustics
        .iter()
        .any(|caustic| caustic.id == weigh.ingredient && caustic.form == CausticForm::Lye);
    let serves = match (wanted, vessel.purpose) {
        (Purpose::LyeJug, Purpose::Cup) => vessel.material.attacked().is_none(),
        (Purpose::CausticCup, Purpose::LyeJug) => stock_lye,
        _ => false,
    };
    (!serves).then_some(Misfit::Purpose)
}

// --- answers -----------------------------------------------------------------------------------

/// How it is said that none of the register stands there, though it weighs like one.
pub const ANOTHER: &str = "another";

/// The operator says which vessel stands there. What it is on the pan must still be so.
pub fn said(bench: &mut Bench, id: &BatchId, prompt: PromptId, name: &str) -> Result<(), String> {
    let among = match asked(bench, id) {
        Some(Ask::WhichVessel { among }) => among,
        Some(Ask::WrongVessel { vessel }) if vessel.misfit == Some(Misfit::Attacked) => {
            if !name.trim().eq_ignore_ascii_case(ANOTHER) {
                return Err(wrong(bench, id, &vessel));
            }
            let is_guess = |there: &Recognised| there.is_like(&vessel);
            return said_another(bench, id, prompt, vessel.vessel.name.clone(), is_guess);
        }
        _ => return Err(not_among(&[])),
    };
    let is = |known: &str| known.eq_ignore_ascii_case(name.trim());
    if is(ANOTHER) {
        let is_guess = |there: &Recognised| among.contains(&there.vessel.name);
        return said_another(bench, id, prompt, among.join(" or "), is_guess);
    }
    if !among.iter().any(|known| is(known)) {
        return Err(not_among(&among));
    }
    let (pan, gross) = standing(bench, id)?;
    let there = still_near(bench, &pan, gross).into_iter().find(|there| is(&there.vessel.name));
    let vessel = there.ok_or_else(another_stands_there)?;
    let (batch, step) = (id.clone(), pan.step.clone());
    bench.emit(Fact::PromptClosed { batch: batch.clone(), prompt, answered: true });
    bench.emit(Fact::VesselSaid { batch, step, vessel: vessel.vessel.name.clone(), not: None });
    if vessel.misfit.is_some() {
        bench.ask(id, Ask::WrongVessel { vessel });
    } else {
        tare(bench, &pan, gross, Some(vessel));
    }
    Ok(())
}

/// The register guessed by weight, and wrongly: it is tared as one that nobody registered.
fn said_another(
    bench: &mut Bench,
    id: &BatchId,
    prompt: PromptId,
    guess: String,
    is_guess: impl Fn(&Recognised) -> bool,
) -> Result<(), String> {
    let (pan, gross) = standing(bench, id)?;
    if !still_near(bench, &pan, gross).iter().any(is_guess) {
        return Err(another_stands_there());
    }
    let (batch, step) = (id.clone(), pan.step.clone());
    let (vessel, not) = (ANOTHER.to_owned(), Some(guess));
    bench.emit(Fact::PromptClosed { batch: batch.clone(), prompt, answered: true });
    bench.emit(Fact::VesselSaid { batch, step, vessel, not });
    tare(bench, &pan, gross, None);
    Ok(())
}

/// It is to be used though it is for something else.
pub fn use_all_the_same(
    bench: &mut Bench,
    id: &BatchId,
    prompt: PromptId,
    vessel: &Recognised,
) -> Result<(), String> {
    if vessel.misfit == Some(Misfit::Attacked) {
        return Err(wrong(bench, id, vessel));
    }
    let (pan, gross) = standing(bench, id)?;
    if !still_near(bench, &pan, gross).iter().any(|there| there.is_like(vessel)) {
        return Err(another_stands_there());
    }
    bench.emit(Fact::PromptClosed { batch: id.clone(), prompt, answered: true });
    tare(bench, &pan, gross, Some(vessel.clone()));
    Ok(())
}

fn standing(bench: &Bench, id: &BatchId) -> Result<(Pan, Mass), String> {
    if bench.batch(id).is_some_and(|batch| is_unwatched(bench, batch)) {
        return Err("nobody watched the pan meanwhile: take everything off the pan, then put the \
                    vessel back"
            .to_owned());
    }
    let pan = Pan::look(bench, id).ok_or_else(refusals::not_at_rest)?;
    match weighing::standing(bench, &pan) {
        Some(gross) => Ok((pan, gross)),
        None if pan.rest.is_some() => Err(another_stands_there()),
        None => Err(refusals::not_at_rest()),
    }
}

/// The question is from before a restart: until the pan is clear nobody knows what stands there.
fn is_unwatched(bench: &Bench, batch: &Batch) -> bool {
    let own = batch.weigh().is_some_and(|(weigh, _)| weigh.into == Vessel::Own);
    own && !bench.pan_seen_clear(&batch.id)
}

// --- words -------------------------------------------------------------------------------------

/// The one thing to do while a vessel is asked about.
pub fn sentence(bench: &Bench, batch: &Batch) -> Option<String> {
    let asks = asked(bench, &batch.id)?;
    let words = match &asks {
        Ask::WhichVessel { .. } if is_unwatched(bench, batch) => {
            "Take everything off the pan, then put the vessel back: nobody watched it."
        }
        Ask::WhichVessel { .. } => "Hands off: say which vessel this is.",
        _ => "The wrong vessel: take it off the pan.",
    };
    let hint = if has_left(bench, batch, &asks) {
        " (If it is off: wipe the pan, gloves on, and press the scale's zero key.)"
    } else {
        ""
    };
    Some(format!("{words}{hint}"))
}

/// What the pan shows is not the vessel that was asked about: it may be what was spilt there.
fn has_left(bench: &Bench, batch: &Batch, asks: &Ask) -> bool {
    let pan = Pan::look(bench, &batch.id);
    let Some((pan, gross)) = pan.and_then(|pan| pan.gross.map(|gross| (pan, gross))) else {
        return false;
    };
    let near = still_near(bench, &pan, gross);
    !near.iter().any(|there| match asks {
        Ask::WhichVessel { among } => among.contains(&there.vessel.name),
        Ask::WrongVessel { vessel } => there.is_like(vessel),
        _ => true,
    })
}

pub fn which(among: &[String]) -> String {
    let all = among.join(" or ");
    format!(
        "{}? They weigh alike. Choose, say that it is another ({ANOTHER}), or put another vessel on.",
        words::capitalised(&all)
    )
}

/// It is another than the one that lye attacks, as a button says it.
pub const OF_ANOTHER_MATERIAL: &str =
    "It is another vessel, of a material that lye does not attack";

/// It is none of these, as a button says it.
pub fn another(bench: &Bench, batch: &Batch, among: &[String]) -> &'static str {
    let registered = bench.state.setup_ref().into_iter().flat_map(|setup| &setup.vessels);
    let mut guesses = registered.filter(|vessel| among.contains(&vessel.name));
    let is_attacked = |vessel: &KnownVessel| {
        let misfit = batch.weigh().and_then(|(weigh, _)| misfit(batch, weigh, vessel));
        misfit == Some(Misfit::Attacked)
    };
    match guesses.any(is_attacked) {
        true => OF_ANOTHER_MATERIAL,
        false => "It is another vessel, one that is not registered",
    }
}

/// Why this vessel is none for the job, and what to do.
pub fn wrong(bench: &Bench, id: &BatchId, there: &Recognised) -> String {
    let Recognised { vessel, misfit } = there;
    let name = words::capitalised(&vessel.name);
    let Some((batch, weigh)) = bench.batch(id).and_then(|b| Some((b, b.weigh()?.0))) else {
        return format!("{name} is not for this.");
    };
    let wanted = wanted(batch, weigh);
    let better = match fitting(bench, batch, weigh).as_slice() {
        [] => format!("another {}", wanted.words()),
        names => names.join(" or "),
    };
    let why = suffers(wanted, vessel).unwrap_or_default();
    let etched = match why {
        "" => String::new(),
        why => format!("{}. ", words::capitalised(why)),
    };
    let instead = format!("Take it off, and put {better} on the pan");
    match misfit {
        Some(Misfit::Attacked) => {
            format!(
                "{name} must not be used here: {why}. {instead}. It is known only by its weight: if \
                 it is another vessel, of a material that lye does not attack, say so."
            )
        }
        Some(Misfit::Etched) => format!(
            "{name} is of glass: {why}. {instead}, or confirm to use this one all the same."
        ),
        Some(Misfit::Empty) => format!(
            "{name} is empty by its weight, and {} were said to be in it. {etched}Put the pot with them on \
             the pan, or confirm that they are elsewhere and go in before the lye.",
            words::mass(&batch.control.units, declared(batch))
        ),
        Some(Misfit::OtherPot) => format!(
            "{name} stands there, and the batch was drawn up for {better}: its room was not \
             judged. {etched}{instead}, or confirm to use this one all the same."
        ),
        Some(Misfit::Purpose) | None => format!(
            "{name} is a {}, and {} wants a {}. {etched}{instead}, or confirm to use this one all the \
             same.",
            vessel.purpose.words(),
            weigh.name,
            wanted.words()
        ),
    }
}

/// Names of what the register has for this weighing.
fn fitting(bench: &Bench, batch: &Batch, weigh: &Weigh) -> Vec<String> {
    let registered = bench.state.setup_ref().into_iter().flat_map(|setup| &setup.vessels);
    let own = wanted(batch, weigh);
    let fits = |vessel: &&KnownVessel| {
        let misfit = misfit(batch, weigh, vessel);
        vessel.purpose == own && misfit.is_none_or(|misfit| misfit == Misfit::Empty)
    };
    registered.filter(fits).map(|vessel| vessel.name.clone()).collect()
}

/// The vessel as a screen names it; `None` where nobody keeps a register.
pub fn shown(bench: &Bench, batch: &Batch) -> Option<String> {
    let (weigh, weighing) = batch.weigh()?;
    let setup = bench.state.setup_ref().filter(|setup| !setup.vessels.is_empty())?;
    let tare = weighing.tare?;
    if let Some(known) = &weighing.vessel {
        let wrong = known.misfit.map(|misfit| match misfit {
            Misfit::Etched => " (glass)".to_owned(),
            _ => format!(" ({})", known.vessel.purpose.words()),
        });
        return Some(format!("{}{}", known.vessel.name, wrong.unwrap_or_default()));
    }
    if weigh.into == Vessel::Pot && batch.said_combined {
        return None;
    }
    let plain = "not in the register".to_owned();
    let names = fitting(bench, batch, weigh);
    let only = setup.vessels.iter().find(|vessel| names == [vessel.name.as_str()]);
    let Some(only) = only else { return Some(plain) };
    let more = tare - batch.zero - only.tare;
    let weighed_in = |(weigh, capture): (&Weigh, &super::batch::Capture)| {
        weigh.into == Vessel::Pot && capture.gross.is_some()
    };
    let begun = weigh.into == Vessel::Pot && batch.captured().any(weighed_in);
    if more <= Mass::ZERO || begun {
        return Some(plain);
    }
    let more = words::mass(&batch.control.units, more);
    let said = declared(batch);
    let said = (weigh.into == Vessel::Pot && said > Mass::ZERO)
        .then(|| format!(" ({} declared)", words::mass(&batch.control.units, said)));
    let said = said.unwrap_or_default();
    Some(format!("{plain}; if it is {}, {more} are in it{said}", only.name))
}

fn another_stands_there() -> String {
    "another vessel stands there, or there is something in it: take everything off the pan, then put \
     the empty vessel on it"
        .to_owned()
}

/// All that was said to be in the pot.
fn declared(batch: &Batch) -> Mass {
    batch.in_pot.values().map(|(mass, _)| *mass).sum()
}

pub fn not_among(among: &[String]) -> String {
    if among.is_empty() {
        return "it is not asked now which vessel stands on the pan".to_owned();
    }
    format!("it may be {}; say which, or `{ANOTHER}`", among.join(" or "))
}
