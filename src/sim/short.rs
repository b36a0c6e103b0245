//! Facts, cues and the screen in few words: one line each, the same for every run of the same
//! story.

use std::collections::BTreeMap;

use crate::bench::{
    AlarmChange, AlarmId, Ask, BackVerdict, CaptureHow, ChannelView, Cue, Fact, Notice,
    Observation, Outcome, Phase, Priority, PromptId, PutAway, Reply, Source, Target, View,
};
use crate::quantity::{Mass, MassUnit, Temperature, TemperatureUnit};
use crate::reading::Value;

/// What the questions asked so far were, to name them when they are closed.
pub type Asked = BTreeMap<PromptId, &'static str>;

/// One fact. Kinds that no story asks about are named by their tag alone.
pub fn fact(fact: &Fact, asked: &mut Asked) -> String {
    match fact {
        Fact::StepBegun { step, target, .. } => match target {
            Some(of) => format!("begins {step}, target {}", target_words(of)),
            None => format!("begins {step}"),
        },
        Fact::Tared { step, gross, vessel, .. } => {
            let known = vessel.as_ref().map(|known| format!(", {}", known.vessel.name));
            format!("tared {step} at {}{}", mass(*gross), known.unwrap_or_default())
        }
        Fact::InPot { ingredient, mass: declared, .. } => {
            format!("in the pot {ingredient} {}", mass(*declared))
        }
        Fact::VesselSaid { vessel, not: None, .. } => format!("said {vessel}"),
        Fact::VesselSaid { vessel, not: Some(not), .. } => format!("said {vessel}, not {not}"),
        Fact::Lifted { step, .. } => format!("lifted {step}"),
        Fact::Returned { step, gross, .. } => format!("returned {step} at {}", mass(*gross)),
        Fact::Captured { ingredient, net, how, .. } => {
            format!("captured {ingredient} {} {}", mass(*net), how_words(*how))
        }
        Fact::Reopened { step, gross, .. } => format!("reopened {step} at {}", mass(*gross)),
        Fact::StepDone { step, .. } => format!("done {step}"),
        Fact::VesselBack { ingredient, residue, verdict, .. } => {
            let left = residue.map_or_else(|| "not seen".to_owned(), mass);
            format!("vessel of {ingredient} back {}, left {left}", verdict_words(*verdict))
        }
        Fact::ZeroDoubted { step, gross, expected, .. } => {
            format!("zero doubted {step}, {} for {}", mass(*gross), mass(*expected))
        }
        Fact::ZeroChecked { offset, .. } => format!("zero checked at {}", mass(*offset)),
        Fact::ZeroAsked { gross, .. } => format!("zero asked at {}", mass(*gross)),
        Fact::ZeroTaken { offset, .. } => format!("zero taken at {}", mass(*offset)),
        Fact::ZeroNotTaken { gross, .. } => {
            let at = gross.map_or_else(|| "no rest".to_owned(), mass);
            format!("zero not taken, {at}")
        }
        Fact::Noticed { notice, .. } => format!("noticed {}", notice_words(notice)),
        Fact::WindowReached { step, .. } => format!("window reached {step}"),
        Fact::Shelved { at, .. } => format!("shelved {}", at.words()),
        Fact::Held { channel, at, until, .. } => {
            let stays = if until.is_none() { ", stays" } else { "" };
            format!("holds {channel} in {}{stays}", at.words())
        }
        Fact::PutAway { channel, why, .. } => {
            format!("put away {channel}, {}", put_away_words(*why))
        }
        Fact::SpotRead { at, temperature, channel, .. } => {
            let by = channel.as_ref().map_or("hand", |channel| channel.as_str());
            format!("spot {} {} by {by}", at.words(), celsius(*temperature))
        }
        Fact::Tested { test, method, value, passed, attempt, .. } => {
            let result = match passed {
                Some(true) => "passed",
                Some(false) => "not passed",
                None => "no limit",
            };
            let (method, value) = (method.words(), value.words());
            format!("tested {test} by {method}, {value}, {result}, attempt {attempt}")
        }
        Fact::CookClock { runs: true, .. } => "cook time runs".to_owned(),
        Fact::CookClock { runs: false, .. } => "cook time stands".to_owned(),
        Fact::PromptRaised { prompt, asks, .. } => {
            asked.insert(*prompt, ask_name(asks));
            format!("asks {}", ask_words(asks))
        }
        Fact::PromptClosed { prompt, answered, .. } => {
            let name = asked.get(prompt).copied().unwrap_or("something");
            let how = if *answered { "answered" } else { "no longer asks" };
            format!("{how} {name}")
        }
        Fact::RemedyChosen { remedy, amount, .. } => match amount {
            Some(amount) => format!("chose {} {}", remedy.word(), mass(*amount)),
            None => format!("chose {}", remedy.word()),
        },
        Fact::BroughtDown { ingredient, from, to, .. } => {
            format!("brought down, {} of {ingredient} for {}", mass(*to), mass(*from))
        }
        Fact::LotOpened { ingredient, lot, net, .. } => {
            let from = net.map_or_else(|| "not seen".to_owned(), mass);
            format!("lot {lot} of {ingredient} after {from}")
        }
        Fact::Corrected { ingredient, was, net, reason, .. } => {
            format!("corrected {ingredient} from {} to {}: {reason}", mass(*was), mass(*net))
        }
        Fact::Retargeted { step, target, .. } => {
            format!("retargeted {step}, target {}", target_words(target))
        }
        Fact::ContentWeighed { content, keep, .. } => {
            format!("content {}, keep {}", mass(*content), mass(*keep))
        }
        Fact::TakenOut { from, to, .. } => {
            format!("taken out, {} left of {}", mass(*to), mass(*from))
        }
        Fact::AlarmChanged { alarm, change, .. } => {
            format!("{} {}", change_words(*change), alarm_name(alarm))
        }
        Fact::Observed { observation, note, .. } => {
            format!("observed {} {note}", observation_words(*observation)).trim_end().to_owned()
        }
        Fact::Noted { step, channel, temperature, .. } => {
            format!("noted {channel} {} at {step}", temperature.show(TemperatureUnit::Celsius, 1))
        }
        Fact::LookDue { step, .. } => format!("look due {step}"),
        Fact::LookMade { step, .. } => format!("look made {step}"),
        Fact::InstrumentLost { instrument, why } => format!("lost {instrument}: {why}"),
        Fact::InstrumentBack { instrument } => format!("back {instrument}"),
        Fact::JournalLost { why } => format!("journal lost: {why}"),
        Fact::JournalBack { away } => format!("journal back after {away}"),
        Fact::BatchClosed { outcome, note, .. } => {
            format!("closed {} {note}", outcome_words(*outcome)).trim_end().to_owned()
        }
        other => tag(other),
    }
}

pub fn cue(cue: &Cue) -> String {
    match cue {
        Cue::Say { words } => format!("say {words}"),
        Cue::Sound { alarm, priority, .. } => {
            format!("sound {} {}", priority_words(*priority), alarm_name(alarm))
        }
        Cue::Slow => "slow".to_owned(),
        Cue::Stop => "stop".to_owned(),
        Cue::Emergency => "emergency card".to_owned(),
        Cue::Hush => "hush".to_owned(),
    }
}

pub const fn reply(reply: &Reply) -> &'static str {
    match reply {
        Reply::Done => "done",
        Reply::AlreadyDone => "already-done",
        Reply::Refused { .. } => "refused",
    }
}

/// All a person could read off the screen that a story may check, one short line each.
pub fn screen(view: &View) -> Vec<String> {
    let mut lines: Vec<String> = view.channels.iter().map(channel).collect();
    for batch in &view.batches {
        lines.push(format!("step {}", batch.step));
        lines.push(format!("sentence {}", batch.sentence));
        if let Some(weighing) = &batch.weighing {
            lines.push(format!("phase {}", phase_words(weighing.phase)));
            lines.push(format!("net {}", weighing.net.map_or_else(|| "—".to_owned(), mass)));
            lines.push(format!("target {}", target_words(&weighing.target)));
        }
        for known in &batch.temperatures {
            let (place, source) = (known.at.words(), source_words(known.source));
            lines.push(format!("{place} {}, {source}", celsius(known.temperature)));
        }
        if let Some(cool) = &batch.cool {
            lines.extend(cool.not_yet.iter().map(|reason| format!("not yet {reason}")));
        }
        if let Some(combine) = &batch.combine {
            lines.extend(combine.not_yet.iter().map(|reason| format!("not yet {reason}")));
        }
        if let Some(cook) = &batch.cook {
            lines.push(format!("watched {}", cook.watched));
            lines.push(format!("clock {}", cook.standing.as_deref().unwrap_or("runs")));
        }
        match &batch.prompt {
            Some(prompt) => lines.push(format!("asks {}", ask_words(&prompt.asks))),
            None => lines.push("asks nothing".to_owned()),
        }
        for capture in &batch.captures {
            let recorded = if capture.recorded { "recorded" } else { "not recorded" };
            lines.push(format!("{} {}, {recorded}", capture.ingredient, mass(capture.net)));
        }
    }
    for alarm in &view.alarms {
        let active = if alarm.active { "active" } else { "returned" };
        let seen = if alarm.acknowledged { "acknowledged" } else { "unacknowledged" };
        lines.push(format!("alarm {} {active} {seen}", alarm_name(&alarm.alarm)));
    }
    lines
}

/// The alarm without the number of its batch: "caustic-over", "instrument-lost/scale".
pub fn alarm_name(alarm: &AlarmId) -> String {
    let whole = alarm.to_string();
    match alarm.batch() {
        Some(batch) => {
            whole.strip_suffix(&format!("/{batch}")).map_or_else(|| whole.clone(), str::to_owned)
        }
        None => whole,
    }
}

fn channel(view: &ChannelView) -> String {
    let value = match view.value {
        Some(Value::Mass { mass, unit, decimals, .. }) => mass.show(unit, decimals),
        Some(Value::Temperature { temperature, unit, decimals }) => {
            temperature.show(unit, decimals)
        }
        None => "—".to_owned(),
    };
    format!("{} {value}", view.channel)
}

fn target_words(target: &Target) -> String {
    let guard = target.guard.map(|guard| format!(", guard {}", number(guard.mass)));
    let (low, high) = (number(target.low), number(target.high));
    format!("{} ({low} to {high}{})", mass(target.mass), guard.unwrap_or_default())
}

fn ask_words(asks: &Ask) -> String {
    let name = ask_name(asks);
    match asks {
        Ask::TakeShort { missing } => format!("{name}, missing {}", mass(*missing)),
        Ask::TakeLong { excess } => format!("{name}, excess {}", mass(*excess)),
        Ask::Remedy { options, excess } => {
            let options: Vec<_> = options.iter().map(|remedy| remedy.word()).collect();
            format!("{name} {}, excess {}", options.join(" or "), mass(*excess))
        }
        Ask::Under { options, missing } => {
            let options: Vec<_> = options.iter().map(|remedy| remedy.word()).collect();
            format!("{name} {}, missing {}", options.join(" or "), mass(*missing))
        }
        _ => name.to_owned(),
    }
}

const fn ask_name(asks: &Ask) -> &'static str {
    match asks {
        Ask::TakeShort { .. } => "take-short",
        Ask::TakeLong { .. } => "take-long",
        Ask::Remedy { .. } => "remedy",
        Ask::Under { .. } => "under",
        Ask::Dissolved => "dissolved",
        Ask::VesselBack { .. } => "vessel-back",
        Ask::Combined => "combined",
        Ask::CombineAnyway => "combine-anyway",
        Ask::Look => "look",
        Ask::Cooked => "cooked",
        Ask::EndCookAnyway => "end-cook-anyway",
        Ask::AddAnyway => "add-anyway",
        Ask::Done => "done",
        Ask::StillThere => "still-there",
        Ask::SameCup { .. } => "same-cup",
        Ask::PouredIn { .. } => "poured-in",
        Ask::LighterPot { .. } => "lighter-pot",
        Ask::PanClear => "pan-clear",
        Ask::LeaveUnrecorded => "leave-unrecorded",
        Ask::NothingAdded { .. } => "nothing-added",
        Ask::WhichVessel { .. } => "which-vessel",
        Ask::WrongVessel { .. } => "wrong-vessel",
    }
}

pub const fn observation_words(observation: Observation) -> &'static str {
    match observation {
        Observation::Trace => "trace",
        Observation::Separation => "separation",
        Observation::Paste => "paste",
        Observation::Gel => "gel",
        Observation::Cooked => "cooked",
        Observation::Foam => "foam",
        Observation::Other => "other",
    }
}

pub const fn outcome_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Finished => "finished",
        Outcome::Failed => "failed",
        Outcome::Abandoned => "abandoned",
    }
}

const fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::AwaitingVessel => "awaiting-vessel",
        Phase::Taring => "taring",
        Phase::Pouring => "pouring",
        Phase::Settling => "settling",
        Phase::Captured => "captured",
        Phase::Over => "over",
        Phase::Lifted => "lifted",
        Phase::Blind => "blind",
        Phase::ZeroDoubted => "zero-doubted",
        Phase::TakingOut => "taking-out",
    }
}

const fn verdict_words(verdict: BackVerdict) -> &'static str {
    match verdict {
        BackVerdict::Whole => "whole",
        BackVerdict::Residue => "with residue",
        BackVerdict::Unknown => "unknown",
    }
}

fn notice_words(notice: &Notice) -> String {
    match notice {
        Notice::PutOn { mass: load } => format!("{} put on", mass(*load)),
        Notice::Unsteady => "unsteady".to_owned(),
        Notice::OffCentre => "off centre".to_owned(),
        Notice::NoRoomOnScale { lacks } => format!("no room on scale for {}", mass(*lacks)),
        Notice::NoRoomInVessel { wants, most } => format!("{wants} for a vessel of {most}"),
        Notice::DrawingMoisture => "moisture".to_owned(),
        Notice::PanPressed { prompt } => format!("pan pressed for {prompt}"),
        Notice::UnitChanged { from, to } => format!("unit changed from {from} to {to}"),
        Notice::TemperaturesApart { at, by_hand, probe } => {
            let (by_hand, probe) = (celsius(*by_hand), celsius(*probe));
            format!("{} apart: {by_hand} by hand, {probe} by probe", at.words())
        }
        Notice::DecimalsChanged { from, to } => format!("decimals changed from {from} to {to}"),
        Notice::UnitSuspected { before, shown } => {
            format!("unit suspected: {} became {}", mass(*before), mass(*shown))
        }
        Notice::ChangedBeforeLift { by } => format!("{} more before the lift", mass(*by)),
    }
}

const fn put_away_words(why: PutAway) -> &'static str {
    match why {
        PutAway::Said => "said",
        PutAway::Moved => "moved",
        PutAway::TimeOut => "time out",
        PutAway::TakenOut => "taken out",
    }
}

const fn source_words(source: Source) -> &'static str {
    match source {
        Source::Probe => "by its probe",
        Source::HandHeld => "hand-held",
        Source::Spot => "spot",
        Source::ByHand => "by hand",
    }
}

fn celsius(temperature: Temperature) -> String {
    temperature.show(TemperatureUnit::Celsius, 1).replace('−', "-")
}

const fn how_words(how: CaptureHow) -> &'static str {
    match how {
        CaptureHow::Weighed => "weighed",
        CaptureHow::Short => "short",
        CaptureHow::Long => "long",
        CaptureHow::ByHand => "by-hand",
    }
}

const fn change_words(change: AlarmChange) -> &'static str {
    match change {
        AlarmChange::Raised => "raised",
        AlarmChange::Acknowledged => "acknowledged",
        AlarmChange::ReturnedToNormal => "returned to normal",
        AlarmChange::Reset => "reset",
    }
}

const fn priority_words(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "low",
        Priority::Medium => "medium",
        Priority::High => "high",
    }
}

fn mass(mass: Mass) -> String {
    mass.show(MassUnit::Gram, 1).replace('−', "-")
}

fn number(mass: Mass) -> String {
    mass.show_number(MassUnit::Gram, 1).replace('−', "-")
}

/// The name a fact is stored under.
fn tag(fact: &Fact) -> String {
    let stored = serde_json::to_value(fact).unwrap_or_default();
    stored.get("fact").and_then(|tag| tag.as_str()).unwrap_or("fact").replace('-', " ")
}
