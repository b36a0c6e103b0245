//! Pressing the pan twice is a yes, for wet hands: where a plain yes is all that is asked, nothing
//! is wrong, and no caustic or lye stands on the pan.
//!
//! A yes that opens or ends something dangerous is never given so: not that caustic has dissolved,
//! that lye is in the oils, or that a vessel was not touched while nobody watched.

use super::acts;
use super::answers;
use super::batch::Batch;
use super::cue::Cue;
use super::fact::{Ask, BatchId, Fact, Notice, PromptId};
use super::input::Act;
use super::law::Bench;
use super::pan::Pan;
use super::setup::Setup;
use super::{names, words, zeroing};
use crate::plan::Vessel;
use crate::quantity::{Mass, Moment};

/// Takes a press that has just ended, if a question was there to be read before it began.
pub fn run(bench: &mut Bench) {
    let Some(scale) = bench.state.setup_ref().and_then(Setup::scale) else { return };
    let channel = scale.0.channel.clone();
    let pressed = bench.senses.channels.get_mut(&channel).and_then(|sense| sense.pressed.take());
    let Some(pressed) = pressed else { return };
    let Some((id, prompt)) = answers_to(bench, pressed.rest) else { return };
    let read_by = |asked: Moment| asked + bench.settings().press_read;
    let asked = bench.batch(&id).and_then(|batch| batch.prompt.as_ref()).map(|p| p.asked_at);
    if asked.is_none_or(|asked| pressed.began < read_by(asked)) {
        return;
    }
    let (step, notice) = (bench.step_key(&id), Notice::PanPressed { prompt });
    let Some(batch) = bench.batch(&id) else { return };
    let said = names::addressed(&bench.state, &id, words::notice(batch, notice));
    bench.cue(Cue::Say { words: said });
    bench.emit(Fact::Noticed { batch: id, step, notice });
    if let Err(words) = acts::confirm(bench, prompt) {
        bench.cue(Cue::Say { words });
    }
}

/// What the pan does just now may be a hand that answers; it is not yet to be taken for a pour.
pub fn is_awaited(bench: &Bench, pan: &Pan) -> bool {
    let scale = bench.state.scale_of(&pan.id).and_then(|(channel, _)| bench.sense(channel));
    let Some(resting) = scale.and_then(|sense| sense.press.resting()) else { return false };
    answers_to(bench, resting).is_some_and(|(id, _)| id == pan.id)
}

/// A question, and that the pan answers it too if it does.
pub fn said_with(bench: &Bench, batch: &Batch, question: String) -> String {
    let scale = bench.state.setup_ref().and_then(Setup::scale);
    let sense = scale.and_then(|(channel, facts)| Some((bench.sense(channel)?, channel, facts)));
    let resting = sense.and_then(|(sense, channel, facts)| {
        sense.mass(bench.now, bench.allowed_age(channel))?;
        let test = bench.settings().rest_test(facts.d, false);
        sense.press.resting().or_else(|| sense.rest.at_rest(&test))
    });
    match resting.and_then(|resting| answers_to(bench, resting)) {
        Some((id, _)) if id == batch.id => format!("{question} Or press the pan twice."),
        _ => question,
    }
}

/// The one question that two presses answer while the pan carries `resting` beside the hand.
fn answers_to(bench: &Bench, resting: Mass) -> Option<(BatchId, PromptId)> {
    let quiet = bench.state.alarms.is_empty() && bench.settings().press_within.nanos() > 0;
    let mut asking = bench.state.batches.values().filter(|batch| batch.prompt.is_some());
    let (Some(batch), None, true) = (asking.next(), asking.next(), quiet) else { return None };
    let prompt = batch.prompt.as_ref()?;
    let harmless = is_harmless(&prompt.asks) && batch.detour.is_none();
    let allowed = harmless && is_plain(bench, batch) && pan_is_harmless(bench, resting);
    allowed.then(|| (batch.id.clone(), prompt.id))
}

/// Nothing about caustic or lye hangs on this yes, nor on what the pan carries unseen.
const fn is_harmless(asks: &Ask) -> bool {
    match asks {
        Ask::TakeShort { .. }
        | Ask::TakeLong { .. }
        | Ask::NothingAdded { .. }
        | Ask::Look
        | Ask::Cooked
        | Ask::Done => true,
        Ask::Remedy { .. }
        | Ask::Under { .. }
        | Ask::Dissolved
        | Ask::VesselBack { .. }
        | Ask::Combined
        | Ask::CombineAnyway
        | Ask::EndCookAnyway
        | Ask::AddAnyway
        | Ask::StillThere
        | Ask::SameCup { .. }
        | Ask::PouredIn { .. }
        | Ask::LighterPot { .. }
        | Ask::PanClear
        | Ask::WhichVessel { .. }
        | Ask::WrongVessel { .. }
        | Ask::LeaveUnrecorded => false,
    }
}

/// One answer, and it is a yes that need not be held.
fn is_plain(bench: &Bench, batch: &Batch) -> bool {
    let Some(prompt) = &batch.prompt else { return false };
    let ways = answers::of(bench, batch, prompt.id, &prompt.asks);
    matches!(&ways[..], [only] if !only.hold && matches!(only.act, Act::Confirm { .. }))
}

/// Clear, or with a vessel that is known to hold neither caustic nor lye.
fn pan_is_harmless(bench: &Bench, resting: Mass) -> bool {
    let Some((channel, facts)) = bench.state.setup_ref().and_then(Setup::scale) else {
        return false;
    };
    let doubted = bench.sense(channel).is_none_or(|sense| sense.doubted)
        || zeroing::is_open(bench, &channel.channel);
    let batches = || bench.state.batches.values();
    if doubted || batches().any(Batch::weighs_caustic) {
        return false;
    }
    let holder = bench.state.leases.get(&channel.channel).and_then(|id| bench.batch(id));
    if holder.is_some_and(|holder| bench.load_is_doubted(&holder.id)) {
        return false;
    }
    let zero = bench.state.zeros.get(&channel.channel).copied().unwrap_or_default();
    if (resting - zero).abs() < bench.settings().marks(facts.d).vessel {
        return true;
    }
    let lye_about = batches().any(|batch| {
        let lye = batch.said_dissolved && !batch.said_combined;
        lye || batch.has_caustic()
    });
    let left = bench.state.left.contains_key(&channel.channel);
    !lye_about && !left && holder.is_some_and(is_known_vessel)
}

/// The vessel being filled, tared and not lifted since; never a pot with raw soap in it.
fn is_known_vessel(batch: &Batch) -> bool {
    batch.weigh().is_some_and(|(weigh, weighing)| {
        let raw = weigh.into == Vessel::Pot && batch.said_combined;
        weighing.tare.is_some() && !weighing.lifted && !weighing.unconfirmed && !raw
    })
}
