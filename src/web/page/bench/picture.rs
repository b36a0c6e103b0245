//! A whole view as markup. Everything shown is in the view; only words are arranged here.

use maud::{Markup, html};

use super::big::{self, Big, UNKNOWN};
use super::{dip_rule, soap_tests, warmth};
use crate::bench::{
    AlarmView, AnswerView, BatchView, CaptureHow, CaptureView, ChannelView, InstrumentView, Pace,
    Phase, Priority, ProbeAt, PromptView, Role, View, WeighingView,
};
use crate::plan::{Units, Window};
use crate::quantity::{Span, Temperature};
use crate::reading::Value;
use crate::web::page::layout;
use crate::web::page::trace::{self, Trace};

/// As far back as the view remembers.
const REACH: Span = Span::from_minutes(10);

/// Every piece that may come or go beside others has a key, so that what a hand is at (a held
/// button, a half-typed number) stays the same piece.
pub fn draw(view: &View) -> Markup {
    html! {
        (alarms(view))
        @if view.nobody_hears {
            p class="note careful" id="nobody-hears" data-key="nobody-hears" {
                strong { "Nobody can hear me. " }
                "No screen has passed a sound test: make one below."
            }
        }
        @if view.batches.is_empty() { (nothing_open()) }
        div class="pots" data-key="pots" data-count=(view.batches.len().min(4)) {
            @for batch in &view.batches { (pot(batch, view)) }
        }
        (instruments(view))
        (journal(view))
    }
}

fn nothing_open() -> Markup {
    html! {
        section class="idle" data-key="idle" {
            p class="sentence" { "No batch is open." }
            p { "Choose a recipe and start one: " a href="/recipes" { "to the recipes" } "." }
        }
    }
}

// --- alarms ------------------------------------------------------------------------------------

fn alarms(view: &View) -> Markup {
    html! {
        @if !view.alarms.is_empty() {
            section class="alarms" aria-label="Alarms" data-key="alarms" {
                ul {
                    @for (index, each) in view.alarms.iter().enumerate() {
                        (alarm(each, index == 0 && view.silenced.is_none()))
                    }
                }
                @if let Some(left) = view.silenced {
                    p class="soft" { "Quiet for another " (whole(left)) "." }
                }
            }
        }
    }
}

fn alarm(alarm: &AlarmView, sounds: bool) -> Markup {
    let (kind, mark, word) = match (alarm.active, alarm.priority) {
        (false, _) => ("over", "○", "Over"),
        (true, Priority::High) => ("high", "⬣", "Stop"),
        (true, Priority::Medium) => ("medium", "▲", "Warning"),
        (true, Priority::Low) => ("low", "■", "Notice"),
    };
    let act = crate::bench::Act::Acknowledge { alarm: alarm.alarm.clone() };
    html! {
        li class={ "alarm " (kind) } data-key=(alarm.alarm) {
            p class="alarm-words" {
                span class="mark" aria-hidden="true" { (mark) }
                strong { (word) ". " }
                (alarm.words)
                span class="soft" { " " (whole(alarm.age)) @if alarm.acknowledged { ", seen" } }
            }
            div class="answers" {
                @if !alarm.acknowledged {
                    button type="button" class="seen" data-act=(json(&act)) { "Seen" }
                }
                @if sounds && alarm.active {
                    button type="button" data-act=(r#""silence""#) { "Quiet, one minute" }
                }
            }
        }
    }
}

// --- one pot -----------------------------------------------------------------------------------

fn pot(batch: &BatchView, view: &View) -> Markup {
    let number = big::of(batch, &view.channels);
    let heading = format!("{} {}", batch.recipe, batch.batch);
    html! {
        section class={
                "pot" @if batch.prompt.is_some() { " asking" } @if batch.waits { " waits" }
            } data-key=(batch.batch) data-pour=(pour(batch)) data-share=[share(batch)]
            aria-label=(heading) {
            p class="where soft" {
                @if view.batches.len() > 1 {
                    b class="pot-name" { (words_of_pot(batch)) }
                    @if batch.has_scale { " has the scale" } " · "
                }
                b { (batch.recipe) } " · " (batch.batch) " · step " (batch.step_number) " of "
                (batch.step_count) ": " (batch.title)
            }
            div class=(if batch.weighing.is_some() { "stand with-rule" } else { "stand" }) {
                @if let Some(weighing) = &batch.weighing { (dip_rule::svg(weighing, &batch.units)) }
                div class="say" data-key="say" {
                    h2 class={ "sentence" @if number.is_none() { " alone" } } aria-live="polite" {
                        (batch.sentence)
                    }
                    @if let Some(prompt) = &batch.prompt { (question(prompt)) }
                    @if let Some(number) = &number { (the_number(number)) }
                    @if let Some(combine) = &batch.combine {
                        (warmth::pair(combine, batch, &view.channels))
                    }
                    @if let Some(weighing) = &batch.weighing {
                        p class="limits soft" { (dip_rule::words(weighing, &batch.units)) "." }
                        (place(weighing, &batch.units))
                    }
                }
            }
            div class="aside" {
            @for reason in not_yet(batch) {
                p class="note careful" { "Not yet: " (reason) "." }
            }
            (soap_tests::section(batch))
            @if !batch.hazards.is_empty() {
                ul class="hazards" aria-label="Hazards" {
                    @for hazard in &batch.hazards {
                        li { span aria-hidden="true" { "⚠ " } (hazard) }
                    }
                }
            }
            (warmth::section(batch))
            @if let Some(next) = &batch.next { p class="next soft" { "Then: " (next) "." } }
            (more(batch))
            }
        }
    }
}

/// Why lye and oils may not come together, or nothing may go into the pot.
fn not_yet(batch: &BatchView) -> impl Iterator<Item = &String> {
    let combine = batch.combine.iter().flat_map(|combine| &combine.not_yet);
    combine.chain(batch.cool.iter().flat_map(|cool| &cool.not_yet))
}

/// The vessel, and what still goes onto the scale and into it.
fn place(weighing: &WeighingView, units: &Units) -> Markup {
    let room = weighing.room.as_ref();
    let left = room.and_then(|room| room.left);
    html! {
        @if weighing.vessel.is_some() || left.is_some() {
            p class="limits soft" {
                @if let Some(vessel) = &weighing.vessel { "Vessel: " (vessel) ". " }
                @if let Some(left) = left {
                    "Room on the scale: " span data-live { (left.show(units.mass, units.mass_decimals)) } "."
                }
            }
        }
        @for words in room.iter().flat_map(|room| &room.tight) {
            p class="note careful" { (words) }
        }
    }
}

fn words_of_pot(batch: &BatchView) -> String {
    layout::sentence(&batch.pot).trim_end_matches('.').to_owned()
}

fn the_number(big: &Big) -> Markup {
    html! {
        p class="big number" data-letters=(big.letters()) {
            span data-live { (big.number) }
            @if !big.unit.is_empty() { span class="unit" { " " (big.unit) } }
        }
        p class="label" { (big.label) }
        @if let Some(source) = &big.source { p class="beneath" data-live { (source) } }
        @if let Some(beneath) = &big.beneath { p class="beneath number" data-live { (beneath) } }
    }
}

/// How the pour goes, for the tone.
fn pour(batch: &BatchView) -> &'static str {
    let Some(weighing) = &batch.weighing else { return "none" };
    match (weighing.phase, weighing.pace) {
        (Phase::Pouring, Pace::Free) => "free",
        (Phase::Pouring, Pace::Slow) => "slow",
        (Phase::Pouring, Pace::Stop) => "stop",
        _ => "none",
    }
}

/// The part of the target that is left, for the tone.
fn share(batch: &BatchView) -> Option<String> {
    let weighing = batch.weighing.as_ref()?;
    let left = weighing.left?.grams() / weighing.target.mass.grams().max(f64::MIN_POSITIVE);
    Some(format!("{:.3}", left.clamp(0.0, 1.0)))
}

fn question(prompt: &PromptView) -> Markup {
    html! {
        div class="question" data-key=(prompt.prompt) data-prompt=(prompt.prompt) {
            p class="asked" { (prompt.question) }
            div class="answers" {
                @for (index, each) in prompt.answers.iter().enumerate() { (answer(each, index == 0)) }
            }
        }
    }
}

pub fn answer(answer: &AnswerView, usual: bool) -> Markup {
    let class = match (answer.hold, usual) {
        (true, _) => "hold",
        (false, true) => "main",
        (false, false) => "",
    };
    let act = json(&answer.act);
    html! {
        // another act is another button: none changes its meaning under a finger
        button type="button" class=(class) data-key=(act) data-act=(act) data-hold[answer.hold] {
            span { (answer.words) }
            @if answer.hold { span class="how" { "hold for one second" } }
        }
    }
}

fn more(batch: &BatchView) -> Markup {
    html! {
        @if !batch.captures.is_empty() {
            details data-key="weighed" {
                summary { "Weighed so far: " (batch.captures.len()) }
                ul class="captures" { @for each in &batch.captures { (capture(batch, each)) } }
            }
        }
        @if batch.step.is_empty() {
            div class="answers" {
                @for (index, each) in batch.offers.iter().enumerate() { (answer(each, index == 0)) }
            }
        } @else if !batch.offers.is_empty() {
            details data-key="offers" {
                summary { "Say what you see, or do something else" }
                div class="answers" { @for each in &batch.offers { (answer(each, false)) } }
            }
        }
    }
}

fn capture(batch: &BatchView, capture: &CaptureView) -> Markup {
    let show = |mass: crate::quantity::Mass| mass.show(batch.units.mass, batch.units.mass_decimals);
    let how = match capture.how {
        CaptureHow::Weighed => "",
        CaptureHow::Short => ", left short",
        CaptureHow::Long => ", left long",
        CaptureHow::ByHand => ", by hand",
    };
    html! {
        li data-key=(capture.ingredient) {
            (capture.name) ": " span class="number" { (show(capture.net)) } " of "
            span class="number" { (show(capture.target)) } (how)
            @if !capture.recorded { strong { ", not yet recorded" } }
        }
    }
}

// --- instruments -------------------------------------------------------------------------------

fn instruments(view: &View) -> Markup {
    html! {
        section class="instruments" aria-label="Instruments" data-key="instruments" {
            @for channel in &view.channels { (instrument(channel, view)) }
        }
        @for instrument in &view.instruments {
            @if let Some(trouble) = &instrument.trouble {
                p class="lost-why" { (instrument.instrument) ": " (trouble) "." }
            }
        }
    }
}

/// "scale: 1204 readings, 2 refused, opened 3 times"; what is nothing is left out.
fn counters(instrument: &InstrumentView) -> Markup {
    html! {
        li data-key=(instrument.instrument) {
            (instrument.instrument) ": "
            @if !instrument.open { strong { "not open, " } }
            span class="number" { (instrument.readings) } " readings"
            @for (count, what) in
                [(instrument.refused, "frames refused"), (instrument.damaged, "bytes damaged")] {
                @if count > 0 { ", " span class="number" { (count) } " " (what) }
            }
            @if instrument.opened > 1 { ", opened " (instrument.opened) " times" }
        }
    }
}

fn instrument(channel: &ChannelView, view: &View) -> Markup {
    let (role, number, unit) = match channel.role {
        Role::Scale { unit, .. } => {
            let shown = match channel.value {
                Some(Value::Mass { mass, decimals, unit, .. }) => Some(mass.show(unit, decimals)),
                _ => None,
            };
            let unit = if shown.is_some() { "" } else { unit.symbol() };
            ("pan", shown, unit)
        }
        Role::Probe { at, unit } => (at.words(), warmth::number(channel, unit), unit.symbol()),
    };
    let age = match (channel.value, channel.age) {
        (Some(_), Some(age)) => warmth::age(age),
        (None, Some(age)) => format!("silent for {}", whole(age)),
        (_, None) => "never heard".to_owned(),
    };
    html! {
        div class={ "instrument" @if channel.value.is_none() { " missing" } }
            data-key=(channel.channel) {
            p class="role" {
                (role)
                @if channel.channel.as_str() != role { span class="soft" { " · " (channel.channel) } }
            }
            p class="reading number" {
                span data-live { (number.as_deref().unwrap_or(UNKNOWN)) }
                @if !unit.is_empty() { span class="unit" { " " (unit) } }
            }
            p class="age soft" data-live { (age) }
            @if let Some(lost) = &channel.lost { p class="lost-why" { (lost) } }
            (warmth::held(channel, view))
            @if let Role::Probe { at, unit } = channel.role {
                @let (window, limits) = marks(at, view);
                (trace::svg(&Trace {
                    label: channel.channel.as_str(),
                    unit,
                    reach: REACH,
                    points: &channel.trace,
                    window,
                    limits: &limits,
                }))
            }
        }
    }
}

/// The window and the limits that count for a place now.
fn marks(at: ProbeAt, view: &View) -> (Option<Window>, Vec<Temperature>) {
    for batch in &view.batches {
        if let Some(cook) = batch.cook.as_ref().filter(|cook| cook.at == at) {
            let limits = cook.limits.map(|(high, highest)| vec![high, highest]);
            return (Some(cook.window), limits.unwrap_or_default());
        }
        let combine = batch.combine.as_ref();
        let window = combine.and_then(|combine| match at {
            ProbeAt::Oils => combine.oils,
            ProbeAt::Lye => combine.lye,
            ProbeAt::Pot | ProbeAt::Room | ProbeAt::Hand => None,
        });
        if window.is_some() {
            return (window, Vec::new());
        }
    }
    (None, Vec::new())
}

fn journal(view: &View) -> Markup {
    html! {
        p class="journal soft" data-key="journal" {
            @if let Some(why) = &view.journal.failed {
                strong { "Not recording: " (why) "." }
            } @else {
                "Every reading is being recorded."
            }
        }
        @if !view.instruments.is_empty() {
            details data-key="counters" {
                summary { "What each instrument has sent" }
                ul class="captures" { @for each in &view.instruments { (counters(each)) } }
            }
        }
    }
}

/// Tenths of a second flicker and tell nothing.
pub fn whole(span: Span) -> String {
    if span < Span::from_secs(10) {
        return format!("{} s", span.millis() / 1000);
    }
    span.to_string()
}

fn json(value: &impl serde::Serialize) -> String {
    // acts are plain data; one that could not be written would be refused when it is sent
    serde_json::to_string(value).unwrap_or_default()
}
