//! All sentences of the bench, in one voice: what is so, then what to do.
//!
//! They are spoken and read from two metres by somebody with wet gloves: short, no jargon of
//! programs, numbers in the maker's own unit.

use super::acts::may_bring_down;
use super::alarm::AlarmId;
use super::batch::Batch;
use super::fact::{Ask, BackVerdict, Fact, Notice, PutAway, Remedy, Target};
use super::law::Bench;
use super::pan::Pan;
use super::progress::cooking;
use super::setup::{ChannelSetup, ProbeAt, Role};
use super::state::State;
use super::view::Phase;
use super::work::Work;
use super::{
    combine, cook_clock, cook_end, cool, in_process, leases, names, pan_press, remedies,
    remedy_words, room_left, spot, vessel_back, vessels, watches, weighing, zeroing,
};
use crate::chemistry::IngredientId;
use crate::plan::{CookTest, StepKind, TestMethod, TestValue, Units, Vessel, Weigh, Window};
use crate::quantity::{Mass, Span, Temperature, TemperatureDelta};

/// The one thing to do, in one sentence; with several pots open it says which.
pub fn sentence(bench: &Bench, batch: &Batch, phase: Option<Phase>) -> String {
    let words = match leases::waits(bench, batch) {
        Some(wait) => names::wait(bench, &wait),
        None => what_to_do(bench, batch, phase),
    };
    names::addressed(&bench.state, &batch.id, words)
}

fn what_to_do(bench: &Bench, batch: &Batch, phase: Option<Phase>) -> String {
    if remedies::excess(bench, batch).is_some() && batch.under_way().is_none() {
        return "More caustic than the oils take: pour nothing, tip nothing; choose what to do."
            .to_owned();
    }
    if let Some(left) = leases::left_by_another(bench, &batch.id) {
        return names::clear_first(bench, left);
    }
    let Some(step) = batch.step() else {
        return "All steps are done: close the batch with its outcome.".to_owned();
    };
    match (&step.kind, &batch.work) {
        (StepKind::Weigh(weigh), Work::Weighing(weighing)) => {
            weighing_sentence(bench, batch, weigh, &weighing.target, phase)
        }
        (StepKind::TakeOut(take_out), _) => remedy_words::take_out(bench, batch, take_out),
        (StepKind::Dissolve | StepKind::Combine { .. }, _)
            if let Some(ingredient) = vessel_back::wanted(batch) =>
        {
            vessel_back::sentence(bench, batch, &ingredient)
        }
        (StepKind::Dissolve, _) => "Tip the caustic into the liquid, little by little, never the \
                                    reverse; stir until clear."
            .to_owned(),
        (StepKind::Combine { .. }, _) => {
            "When oils and lye are both in their windows, pour the lye into the oils.".to_owned()
        }
        (StepKind::Cook(cook), _) => {
            let standing =
                cook_clock::standing(batch).map(|why| format!(" {}.", capitalised(&why)));
            format!(
                "Cook between {} and {}; stir and look.{}",
                temperature(&batch.control.units, cook.window.low),
                temperature(&batch.control.units, cook.window.high),
                standing.unwrap_or_default()
            )
        }
        (StepKind::WhenCool { below }, _) if !cool::not_yet(bench, &batch.id).is_empty() => {
            let below = temperature(&batch.control.units, *below);
            format!("Wait until the pot is at most {below}: {}.", step.title)
        }
        _ => format!("{}.", capitalised(&step.title)),
    }
}

fn weighing_sentence(
    bench: &Bench,
    batch: &Batch,
    weigh: &Weigh,
    target: &Target,
    phase: Option<Phase>,
) -> String {
    let units = &batch.control.units;
    let name = &weigh.name;
    if let Some(words) = zeroing::sentence(bench, &batch.id) {
        return words.to_owned();
    }
    match phase {
        // in doubt no load can be believed, and no vessel is known by it
        Some(Phase::ZeroDoubted) => zero_doubted(bench, batch),
        _ if let Some(words) = vessels::sentence(bench, batch) => words,
        Some(Phase::AwaitingVessel) if weigh.into == Vessel::Own => {
            if bench.pan_seen_clear(&batch.id) {
                format!("Put the empty vessel for {name} on the pan.")
            } else {
                format!(
                    "Clear the pan, then put the empty vessel for {name} on it. (A clear pan that \
                     shows a weight: press the scale's zero key.)"
                )
            }
        }
        Some(Phase::AwaitingVessel) if batch.pot_gross.is_some() => {
            "Put the pot back on the pan. (If it stands there, lift it off, wait until the scale is \
             still, and put it back.)"
                .to_owned()
        }
        Some(Phase::AwaitingVessel) => "Put the pot on the pan.".to_owned(),
        Some(Phase::Taring)
            if Pan::look(bench, &batch.id).is_some_and(|pan| {
                pan.rest.is_some_and(|rest| weighing::is_caustic_cup(bench, &pan, rest))
            }) =>
        {
            "That weighs what the cup of caustic does: take it off, and use another vessel."
                .to_owned()
        }
        Some(Phase::Taring) => "Hands off: taking the weight of the vessel. (If it goes on: lift it \
                                off, empty it, wait until the scale is still, put it back.)"
            .to_owned(),
        Some(Phase::Lifted) if batch.weigh().is_some_and(|(_, weighing)| weighing.displaced) => {
            let vessel = match weigh.into {
                Vessel::Pot => "the pot".to_owned(),
                Vessel::Own => format!("the vessel for {name}"),
            };
            format!(
                "Take everything off the pan and wait until the scale is still; then put {vessel} \
                 back, with what is in it."
            )
        }
        Some(Phase::Lifted) => "Put the same vessel back on the pan. (If it stands there, lift it off, wait until the scale is still, \
             and put it back.)"
            .to_owned(),
        Some(Phase::Blind) => pouring_blind(bench, Some(batch)),
        // its own sentence stands with the remedies
        Some(Phase::TakingOut) => String::new(),
        Some(Phase::Over) if bench.load_is_doubted(&batch.id) => format!(
            "Stop: too much {name}. The scale was away and may have another zero: take everything \
             off the pan, then put the same vessel back."
        ),
        Some(Phase::Over) => format!("Stop: too much {name}. Choose what to do."),
        Some(Phase::Pouring | Phase::Settling | Phase::Captured)
            if batch.weigh().is_some_and(|(_, weighing)| weighing.unlike.is_some()) =>
        {
            "Pour nothing: say first whether the right vessel stands on the pan.".to_owned()
        }
        Some(Phase::Settling) => "Hands off: waiting for the scale to settle.".to_owned(),
        Some(Phase::Captured) if weigh.into == Vessel::Own => {
            format!("{} is weighed: take the vessel off the pan.", capitalised(name))
        }
        Some(Phase::Captured) => format!("{} is weighed.", capitalised(name)),
        Some(Phase::Pouring) | None => {
            let into = if weigh.into == Vessel::Pot { "into the pot" } else { "into its vessel" };
            format!("Add {} of {name} {into}.", mass(units, target.mass))
        }
    }
}

/// The way out of a doubt about the zero, from what the pan shows.
fn zero_doubted(bench: &Bench, batch: &Batch) -> String {
    if !awaits_vessel(Some(batch)) {
        return ZERO_DOUBTED.to_owned();
    }
    let shows_a_weight = Pan::look(bench, &batch.id)
        .is_none_or(|pan| pan.gross.is_none_or(|gross| gross - pan.zero >= pan.marks.vessel));
    let way_out = match shows_a_weight {
        true => "If it is bare and shows a weight all the same, press the scale's own zero key.",
        false => {
            "If it is bare, put the vessel on it, and take it off again once the scale is still."
        }
    };
    format!("The scale was away and may have another zero: take everything off the pan. {way_out}")
}

/// The same with a vessel counted.
pub const ZERO_DOUBTED: &str = "The scale was away and may have another zero: take everything off \
                                the pan, then put the vessel back. (If it was bare: once the scale \
                                is still, take the vessel off again, and put it back.)";

/// What to say when a fact is recorded; most facts need no words.
pub fn said_of(bench: &Bench, fact: &Fact) -> Option<String> {
    let words = words_of(bench, fact)?;
    Some(match fact {
        Fact::LeaseTaken { .. } => words,
        _ => match fact.batch() {
            Some(id) => names::addressed(&bench.state, id, words),
            None => words,
        },
    })
}

fn words_of(bench: &Bench, fact: &Fact) -> Option<String> {
    let batch = fact.batch().and_then(|id| bench.batch(id));
    Some(match fact {
        Fact::StepBegun { target, .. } => {
            let batch = batch?;
            let step = batch.step()?;
            match (&step.kind, target) {
                (StepKind::Weigh(weigh), Some(target)) => {
                    format!("Next: {} of {}.", mass(&batch.control.units, target.mass), weigh.name)
                }
                _ => format!("Next: {}.", step.title),
            }
        }
        Fact::LeaseTaken { batch, channel } if bench.state.batches.len() > 1 => {
            let is_scale = bench.state.scale_of(batch).is_some_and(|(s, _)| &s.channel == channel);
            if is_scale {
                names::moved(&bench.state, batch)
            } else {
                names::probe_moved(&bench.state, batch, channel)
            }
        }
        Fact::PromptRaised { asks, .. } => prompt(bench, batch?, asks),
        Fact::RemedyChosen { remedy: Remedy::SpoonOut, amount, steps, .. } if steps.is_empty() => {
            let units = &batch?.control.units;
            let amount = amount.map_or_else(|| "the excess".to_owned(), |m| mass(units, m));
            format!("Spoon out {amount} of caustic, into waste, never back to stock.")
        }
        Fact::LotOpened { lot, net, .. } => {
            let units = batch?.control.units;
            let from = net.map(|net| format!(", after {}", mass(&units, net)));
            format!("From here on lot {lot}{}.", from.unwrap_or_default())
        }
        Fact::BroughtDown { from, to, .. } => remedy_words::brought_down(*from, *to),
        Fact::TakenOut { .. } => "Enough is out. What came out goes into waste.".to_owned(),
        Fact::VesselBack { ingredient, residue, verdict, .. } => {
            vessel_back_words(batch?, ingredient, *residue, *verdict)
        }
        Fact::LyeJudged { verdict, .. } => format!("{}.", capitalised(verdict.words())),
        Fact::ZeroDoubted { .. } if awaits_vessel(batch) => zero_doubted(bench, batch?),
        Fact::ZeroDoubted { .. } => {
            "The scale may have another zero: take everything off the pan, then put it back."
                .to_owned()
        }
        Fact::ZeroChecked { .. } if awaits_vessel(batch) => {
            "The empty pan is known again: put the vessel on it.".to_owned()
        }
        Fact::ZeroChecked { .. } => {
            "The empty pan is known again: put the same vessel back.".to_owned()
        }
        Fact::ZeroAsked { .. } => "The scale takes its zero: leave the pan alone.".to_owned(),
        Fact::ZeroTaken { .. } => "The scale has taken its zero.".to_owned(),
        Fact::ZeroNotTaken { in_doubt: true, .. } => zeroing::IN_DOUBT.to_owned(),
        Fact::ZeroNotTaken { .. } => {
            "The scale did not take the zero: clear the pan, wait until it is still, and ask again, \
             or press its own key."
                .to_owned()
        }
        Fact::Held { at, .. } => format!("The probe is in the {} now.", at.words()),
        Fact::PutAway { why, .. } => put_away(*why).to_owned(),
        Fact::SpotRead { at, temperature: read, channel, .. } => {
            let units = &batch?.control.units;
            let by_hand = if channel.is_none() { ", by hand" } else { "" };
            format!("{}: {}{by_hand}.", capitalised(at.words()), temperature(units, *read))
        }
        Fact::Tested { name, value, passed, attempt, method, .. } => {
            tested(name, value, *passed, *attempt, *method)
        }
        Fact::CookClock { runs: true, .. } => "Cook time counts now.".to_owned(),
        Fact::CookClock { runs: false, .. } => format!("{}.", capitalised(&cook_stands_still())),
        Fact::Shelved { .. } => {
            "The probe may be out for a while; it is watched again by itself.".to_owned()
        }
        Fact::SessionOpened(session) => {
            format!("Nobody watched for {}.", session.unwatched?)
        }
        _ => return None,
    })
}

/// Something is to be weighed, and no vessel is counted yet.
fn awaits_vessel(batch: Option<&Batch>) -> bool {
    batch.and_then(Batch::weigh).is_some_and(|(_, weighing)| weighing.tare.is_none())
}

/// Captures that have just come onto the disk.
pub fn recorded(state: &State, after: u64, up_to: u64) -> Vec<String> {
    let mut words = Vec::new();
    for batch in state.batches.values() {
        for (weigh, capture) in batch.captured() {
            if (after + 1..=up_to).contains(&capture.number) {
                let net = mass(&batch.control.units, capture.net);
                let said = format!("{}: {net}, recorded.", capitalised(&weigh.name));
                words.push(names::addressed(state, &batch.id, said));
            }
        }
    }
    words
}

/// A question with its ways to answer.
pub fn prompt(bench: &Bench, batch: &Batch, asks: &Ask) -> String {
    pan_press::said_with(bench, batch, prompt_alone(bench, batch, asks))
}

fn prompt_alone(bench: &Bench, batch: &Batch, asks: &Ask) -> String {
    let units = &batch.control.units;
    match asks {
        Ask::TakeShort { missing } => {
            let ran_out = if may_bring_down(batch) {
                " All gone? Choose bring-down: what is still to come comes down with it."
            } else {
                ""
            };
            let missing = mass(units, *missing);
            format!("{missing} is missing. Go on adding, or confirm to leave it so.{ran_out}")
        }
        Ask::TakeLong { excess } => {
            format!("{} too much. Take some out, or confirm to leave it so.", mass(units, *excess))
        }
        Ask::Remedy { excess, .. } if !bench.is_caustic_over(&batch.id) => {
            remedy_words::over(bench, batch, *excess)
        }
        Ask::Remedy { options, excess } => {
            let excess = &bench.caustic_excess(&batch.id).unwrap_or(*excess);
            let mut ways = Vec::new();
            if options.contains(&Remedy::SpoonOut) {
                ways.push(format!("spoon out {}, into waste", mass(units, *excess)));
            } else {
                ways.push(format!(
                    "go on spooning out, {} in all, into waste",
                    mass(units, *excess)
                ));
            }
            if options.contains(&Remedy::Discard) {
                ways.push("discard the batch as the safety data sheet says".to_owned());
            }
            format!("Too much caustic. Either {}.", ways.join(", or "))
        }
        Ask::Under { options, missing } => remedy_words::under(bench, batch, options, *missing),
        Ask::Dissolved => {
            "Confirm when all of the caustic is in the liquid and it is clear.".to_owned()
        }
        Ask::VesselBack { ingredient } => {
            let name = ingredient_name(batch, ingredient);
            let nearly = vessel_back::shown(bench, &batch.id, ingredient).map(|left| {
                format!(" {} of {name} is still in it.", mass(units, left.max(Mass::ZERO)))
            });
            let nearly = nearly.unwrap_or_default();
            format!("Confirm to go on without weighing the vessel of {name} back.{nearly}")
        }
        Ask::CombineAnyway => {
            let reasons = combine::not_yet(bench, &batch.id);
            format!(
                "{} Wait, or confirm that the lye is in the oils all the same.",
                sentences(&reasons)
            )
        }
        Ask::Combined => "Confirm when the lye is in the oils.".to_owned(),
        Ask::Look => "Look at the pot: foam, separation, colour. Confirm when you have.".to_owned(),
        Ask::Cooked => {
            let tests = sentences(&in_process::missing(batch));
            let tests = if tests.is_empty() { tests } else { format!(" {tests}") };
            format!("The cook's time is over. Look, and confirm when it is cooked.{tests}")
        }
        Ask::EndCookAnyway => {
            let reasons = cook_end::not_yet(bench, &batch.id);
            format!("{} Cook on, or confirm to end the cook all the same.", sentences(&reasons))
        }
        Ask::AddAnyway => {
            let reasons = cool::not_yet(bench, &batch.id);
            format!("{} Wait, or confirm that it is in all the same.", sentences(&reasons))
        }
        Ask::Done => "Confirm when it is done.".to_owned(),
        Ask::StillThere => "Is the same vessel on the pan, with nothing added or taken while \
                            nobody watched? Confirm if so."
            .to_owned(),
        Ask::PanClear => "The scale shows nought, though by the record something stands on it. \
                          Confirm if the pan is clear. If not: take off what stands there, press \
                          the scale's zero key, and confirm then."
            .to_owned(),
        Ask::SameCup { lighter_by } => format!(
            "The cup of {} came back {} lighter than it left. Confirm if it is the same cup and \
             that much was taken out, into waste. If not, take it off, and put the right one back.",
            batch.weigh().map_or("caustic", |(weigh, _)| &weigh.name),
            mass(units, *lighter_by)
        ),
        Ask::PouredIn { more } => format!(
            "{} more stands on the pan than when the vessel left it. Confirm if so much {} was \
             poured in. If not: take it off, and put the right vessel back without anything else.",
            mass(units, *more),
            batch.weigh().map_or("of it", |(weigh, _)| &weigh.name),
        ),
        Ask::LighterPot { lighter_by } => format!(
            "The pot is {} lighter than before. Confirm if it is the same pot and only what is no oil \
             is gone (a spatula, a drop wiped off). If oil is gone, correct its mass first: the \
             caustic is reckoned from the oils on record. If it is another pot, take it off.",
            mass(units, *lighter_by)
        ),
        Ask::NothingAdded { more } => format!(
            "{} more was on the pan just before it was lifted. Put it back, or confirm that nothing \
             was added.",
            mass(units, *more)
        ),
        Ask::WhichVessel { among } => vessels::which(among),
        Ask::WrongVessel { vessel } => vessels::wrong(bench, &batch.id, vessel),
        Ask::LeaveUnrecorded => {
            "This weight is not recorded. Write it down, and confirm to go on all the same."
                .to_owned()
        }
    }
}

/// What is wrong and what to do, for one alarm as things stand.
pub fn alarm(bench: &Bench, id: &AlarmId) -> String {
    let words = alarm_words(bench, id);
    match id.batch() {
        Some(batch) => names::addressed(&bench.state, batch, words),
        None => words,
    }
}

fn alarm_words(bench: &Bench, id: &AlarmId) -> String {
    let batch = id.batch().and_then(|id| bench.batch(id));
    match id {
        AlarmId::CausticOver { .. } => caustic_over(bench, batch),
        AlarmId::PouringBlind { .. } => pouring_blind(bench, batch),
        AlarmId::InstrumentLost { instrument } => lost(bench, instrument),
        AlarmId::TemperatureHigh { at, .. } => too_hot(bench, batch, *at, false),
        AlarmId::TemperatureHighHigh { at, .. } => too_hot(bench, batch, *at, true),
        AlarmId::TemperatureLow { at, .. } => {
            let window = batch.and_then(cooking).map(|(cook, _)| cook.window);
            let units = batch.map(|batch| batch.control.units).unwrap_or_default();
            let low = window.map_or_else(String::new, |w| temperature(&units, w.low));
            format!("{} has fallen below {low}. Turn the heat up.", capitalised(at.words()))
        }
        AlarmId::TemperatureUnknown { at, .. } => {
            format!("Nobody knows how hot the {} is. Measure it by hand and say so.", at.words())
        }
        AlarmId::HeatingFast { at, .. } => format!(
            "{} is heating fast so near its window. Turn the heat down; it goes on rising.",
            capitalised(at.words())
        ),
        AlarmId::NotRecording => {
            let why = bench.state.journal_lost.as_ref().map_or("", |(_, why)| why);
            format!("Nothing is being recorded: {why}. Guarding goes on; write weights down.")
        }
        AlarmId::LookMissed { .. } => "Nobody has looked at the pot. Go and look now.".to_owned(),
        AlarmId::LyeHeavy { .. } => remedy_words::lye_heavy(bench, batch),
    }
}

pub const fn alarm_over(id: &AlarmId) -> &'static str {
    match id {
        AlarmId::CausticOver { .. } => "Caustic is back at or below its guard.",
        AlarmId::PouringBlind { .. } => "The scale is back.",
        AlarmId::InstrumentLost { .. } => "The instrument is back.",
        AlarmId::TemperatureHigh { .. } | AlarmId::TemperatureHighHigh { .. } => {
            "The temperature is back below its limit."
        }
        AlarmId::TemperatureLow { .. } => "The temperature is back in its window.",
        AlarmId::TemperatureUnknown { .. } => "The temperature is known again.",
        AlarmId::HeatingFast { .. } => "Heating has slowed.",
        AlarmId::NotRecording => "Recording again.",
        AlarmId::LookMissed { .. } => "Looked at.",
        AlarmId::LyeHeavy { .. } => "Caustic and fats agree again.",
    }
}

fn caustic_over(bench: &Bench, batch: Option<&Batch>) -> String {
    let stop = "Stop pouring caustic";
    let Some(batch) = batch else { return format!("{stop}.") };
    let (Some((_, weighing)), Some((channel, _))) =
        (batch.weigh(), bench.state.scale_of(&batch.id))
    else {
        return format!("{stop}.");
    };
    let gross = bench.sense(channel).and_then(|s| s.mass(bench.now, bench.allowed_age(channel)));
    match (gross, weighing.tare) {
        (Some(gross), Some(tare)) if gross - tare > weighing.target.mass => {
            let excess = gross - tare - weighing.target.mass;
            format!(
                "{stop}: {} too much. It must not be dissolved.",
                mass(&batch.control.units, excess)
            )
        }
        _ => format!("{stop}: more than the guard allows. It must not be dissolved."),
    }
}

fn pouring_blind(bench: &Bench, batch: Option<&Batch>) -> String {
    if batch.is_some_and(|batch| bench.load_is_doubted(&batch.id)) {
        return "Stop pouring: the scale was away and may count from another zero.".to_owned();
    }
    "Stop pouring: the scale is silent.".to_owned()
}

fn lost(bench: &Bench, instrument: &str) -> String {
    if let Some(why) = bench.state.lost.get(instrument) {
        return format!(
            "{} is lost: {why}. Check its cable; it is tried again all the time.",
            capitalised(instrument)
        );
    }
    match watches::silent_channel(bench, instrument) {
        Some(channel) => silent(bench, channel),
        None => format!("{} is lost.", capitalised(instrument)),
    }
}

fn silent(bench: &Bench, channel: &ChannelSetup) -> String {
    let newest = bench.sense(channel).and_then(|sense| sense.last.as_ref());
    let doubt = newest.filter(|last| !last.status.is_trusted()).map(|last| last.status.words());
    let what = match channel.role {
        Role::Scale { .. } if channel.channel.as_str().contains("scale") => {
            capitalised(channel.channel.as_str())
        }
        Role::Scale { .. } => format!("Scale {}", channel.channel),
        Role::Probe { at, .. } if channel.channel.as_str() == at.words() => {
            format!("Probe in the {}", at.words())
        }
        Role::Probe { at, .. } => format!("Probe {} in the {}", channel.channel, at.words()),
    };
    match doubt {
        Some(doubt) => format!("{what} shows no usable value: {doubt}."),
        None => format!("{what} says nothing. Check power and cable."),
    }
}

fn too_hot(bench: &Bench, batch: Option<&Batch>, at: ProbeAt, highest: bool) -> String {
    let place = capitalised(at.words());
    let Some((batch, (cook, _))) = batch.and_then(|batch| Some((batch, cooking(batch)?))) else {
        return format!("{place} is too hot.");
    };
    let units = &batch.control.units;
    let limit = if highest { cook.high_high } else { cook.high };
    let hottest = spot::known(bench, &batch.id, at).map(|known| known.temperature);
    let hottest = hottest.max(spot::spot(bench, &batch.id, at).map(|spot| spot.temperature));
    let shown =
        hottest.map_or_else(String::new, |value| format!(" at {}", temperature(units, value)));
    let act = if highest {
        "Heat off, take the pot off the heat, stir down the foam; it can boil over."
    } else {
        "Turn the heat down and look: foam climbs before it boils."
    };
    format!("{place} is above {}{shown}. {act}", temperature(units, limit))
}

/// Something about the handling.
pub fn notice(batch: &Batch, notice: Notice) -> String {
    let units = &batch.control.units;
    match notice {
        Notice::PutOn { mass: load } => format!("Something of {} was put on.", mass(units, load)),
        Notice::Unsteady => "The scale is unsteady: blender, draught, soft table?".to_owned(),
        Notice::NoRoomOnScale { lacks } => {
            let caustic = batch.weigh().is_some_and(|(weigh, _)| weigh.is_caustic());
            room_left::no_room_on_scale(&mass(units, lacks), caustic)
        }
        Notice::NoRoomInVessel { wants, most } => room_left::no_room_in_vessel(wants, most),
        Notice::OffCentre => {
            "It weighs differently each time: centre it on the pan, again.".to_owned()
        }
        Notice::DrawingMoisture => "The caustic is drawing moisture: close the lid.".to_owned(),
        Notice::PanPressed { .. } => "The pan was pressed twice: yes.".to_owned(),
        Notice::UnitChanged { from, to } => {
            format!("The scale now shows {to}, it showed {from} before; nothing is lost by it.")
        }
        Notice::TemperaturesApart { at, by_hand, probe } => format!(
            "The {}: {} by hand, {} by its probe. One of them is wrong; go by the hotter.",
            at.words(),
            temperature(units, by_hand),
            temperature(units, probe)
        ),
        Notice::DecimalsChanged { from, to } => {
            format!("The scale now shows {to} decimals, it showed {from} before.")
        }
        Notice::UnitSuspected { before, shown } => format!(
            "Stop: {} became {} at once. Was the unit key pressed? Press it until the display \
             shows what it showed before, with the same vessel on the pan.",
            mass(units, before),
            mass(units, shown)
        ),
        Notice::ChangedBeforeLift { by } => format!(
            "{} more was on the pan just before it was lifted: put it back.",
            mass(units, by)
        ),
    }
}

pub fn outside(
    units: &Units,
    at: ProbeAt,
    now: Option<Temperature>,
    window: Option<Window>,
) -> String {
    let place = capitalised(at.words());
    let window = window.map_or_else(String::new, |window| {
        format!("{} to {}", temperature(units, window.low), temperature(units, window.high))
    });
    match now {
        Some(now) => format!("{place}: {}, the window is {window}", temperature(units, now)),
        None => format!("{place}: not known, the window is {window}"),
    }
}

pub fn cook_begins_at(units: &Units, low: Temperature) -> String {
    format!("cook time begins at {}", temperature(units, low))
}

pub fn cook_stands_still() -> String {
    "cook time stands still: nobody knows how hot the pot is".to_owned()
}

/// In whole seconds, as a person reads it.
pub fn cooked_only(cooked: Span, of: Span) -> String {
    let whole = |span: Span| Span::from_secs(span.millis() / 1000);
    format!("it has cooked for {} of {}", whole(cooked), whole(of))
}

pub fn pot_unknown() -> String {
    "nobody knows how hot the pot is".to_owned()
}

pub fn too_hot_to_add(units: &Units, now: Option<Temperature>, below: Temperature) -> String {
    let below = temperature(units, below);
    match now {
        Some(now) => {
            // one decimal: 60.4 °C is not shown as 60 °C when 60 °C is the limit
            let now = now.show(units.temperature, 1);
            format!("Pot: {now}, it goes in at {below} or below")
        }
        None => format!("Pot: not known, it goes in at {below} or below"),
    }
}

pub fn test_missing(test: &CookTest, offered: bool, attempts: u32) -> String {
    let (name, method) = (capitalised(&test.name), test.method.words());
    let limit = test.limit.words();
    if !offered {
        return format!(
            "{name}: not offered, too much caustic was poured in this batch; measure the pH of a \
             solution"
        );
    }
    match attempts {
        0 => format!("{name} by {method} is not tested yet; {limit} passes"),
        1 => format!("{name} by {method} has not passed; {limit} passes"),
        more => format!("{name} by {method} has not passed in {more} attempts; {limit} passes"),
    }
}

fn tested(
    name: &str,
    value: &TestValue,
    passed: Option<bool>,
    attempt: u32,
    method: TestMethod,
) -> String {
    let result = match passed {
        Some(true) => "passed",
        Some(false) => "not passed: cook on, stir, test again",
        None => "recorded",
    };
    let note = method.note().filter(|_| method == TestMethod::Indicator);
    let note = note.map_or_else(String::new, |note| format!(" {}.", capitalised(note)));
    format!("{}, attempt {attempt}: {}, {result}.{note}", capitalised(name), value.words())
}

const fn put_away(why: PutAway) -> &'static str {
    match why {
        PutAway::Said => "The probe counts for nothing now.",
        PutAway::Moved => "The probe has left its place.",
        PutAway::TimeOut => {
            "Nobody has said for a while where the probe is: it counts for nothing."
        }
        PutAway::TakenOut => "The probe cools: it has been taken out, and counts for nothing.",
    }
}

pub fn too_far_apart(units: &Units, apart: TemperatureDelta, most: TemperatureDelta) -> String {
    let show = |delta: TemperatureDelta| delta.show(units.temperature, 0);
    format!("Lye and oils are {} apart, {} is the most", show(apart), show(most))
}

pub fn difference_unknown() -> String {
    "How far apart lye and oils are is not known".to_owned()
}

fn vessel_back_words(
    batch: &Batch,
    ingredient: &IngredientId,
    residue: Option<Mass>,
    verdict: BackVerdict,
) -> String {
    let name = capitalised(&ingredient_name(batch, ingredient));
    match (verdict, residue) {
        (BackVerdict::Whole, _) => format!("{name} went in whole."),
        (BackVerdict::Residue, Some(left)) => {
            format!("{} of {name} did not go in.", mass(&batch.control.units, left))
        }
        (BackVerdict::Residue | BackVerdict::Unknown, _) => {
            format!("{name}: it is not known whether all of it went in.")
        }
    }
}

pub fn ingredient_name(batch: &Batch, ingredient: &IngredientId) -> String {
    let weigh = batch.control.weighings().find(|weigh| &weigh.ingredient == ingredient);
    weigh.map_or_else(|| ingredient.to_string(), |weigh| weigh.name.clone())
}

fn sentences(reasons: &[String]) -> String {
    reasons.iter().map(|reason| format!("{reason}.")).collect::<Vec<_>>().join(" ")
}

pub fn mass(units: &Units, mass: Mass) -> String {
    mass.show(units.mass, units.mass_decimals)
}

pub fn temperature(units: &Units, temperature: Temperature) -> String {
    temperature.show(units.temperature, 0)
}

pub fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
