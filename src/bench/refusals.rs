//! Why an act is refused, in the voice of [`words`](super::words).

use super::alarm::AlarmId;
use super::batch::Batch;
use super::fact::{BatchId, PromptId, Remedy};
use super::setup::{ChannelSetup, ProbeAt, Role, Setup};
use super::words::{mass, temperature};
use crate::chemistry::IngredientId;
use crate::plan::{StepKind, TestMethod, Units, Window};
use crate::quantity::{Mass, Temperature, TemperatureUnit};
use crate::reading::Channel;

pub fn remedy_too_early() -> String {
    "oils and lye are not together yet; too little caustic is made good for after that, and a \
     little less only leaves more free fat"
        .to_owned()
}

pub fn nothing_to_make_good() -> String {
    "caustic and fats on record agree; there is nothing to make good for".to_owned()
}

pub fn under_way(remedy: Remedy) -> String {
    format!("under way already: {}; finish that first, or give the batch up", remedy.title())
}

pub fn not_weighed_yet(ingredient: &IngredientId) -> String {
    format!("`{ingredient}` has not been weighed, so there is nothing to correct")
}

pub fn no_lot(longest: usize) -> String {
    format!(
        "a lot is what the label says, like \"OL-23\"; one word or more, {longest} letters at most"
    )
}

pub fn still_on_the_pan(name: &str) -> String {
    format!(
        "{name} has just been weighed and counts as it stands on the pan: take some out or add to \
         it there, or correct it once the next step has begun"
    )
}

pub fn correction_needs_reason() -> String {
    "a correction needs its reason, like \"a third of the jug was spilled\"".to_owned()
}

pub fn number_in_use(id: &BatchId) -> String {
    format!("batch number {id} is taken; every batch needs its own")
}

pub fn unfit(why: &str) -> String {
    format!("this batch cannot be started on this bench: {why}")
}

pub fn no_scale() -> String {
    "the bench file names no scale; a batch cannot be weighed".to_owned()
}

pub fn no_such_batch(id: &BatchId) -> String {
    format!("no open batch has the number {id}")
}

pub fn not_asked(prompt: PromptId) -> String {
    format!("question {prompt} is not asked now; look at the screen and answer what it asks")
}

pub fn answered_otherwise(prompt: PromptId) -> String {
    format!("question {prompt} was answered otherwise a moment ago; look at the screen")
}

pub fn choose_a_remedy() -> String {
    "too much caustic is no question of yes or no; choose a remedy".to_owned()
}

pub fn nothing_to_choose() -> String {
    "no remedy is asked for".to_owned()
}

pub fn not_offered() -> String {
    "this remedy is not among those offered".to_owned()
}

pub fn not_at_rest() -> String {
    "the scale is not at rest; wait until it is, then confirm again".to_owned()
}

pub fn barred_by_caustic() -> String {
    "barred: the caustic is over its guard; bring it back or choose a remedy".to_owned()
}

pub fn nothing_to_weigh() -> String {
    "nothing is being weighed now".to_owned()
}

pub fn weighing_something_else(name: &str) -> String {
    format!("{name} is being weighed now")
}

pub fn not_a_mass() -> String {
    "a declared mass must be above zero and at most a tonne".to_owned()
}

pub fn far_from_target(units: &Units, target: Mass) -> String {
    format!(
        "that is less than half or more than twice the {} that are wanted; check the unit",
        mass(units, target)
    )
}

pub fn weighed_already() -> String {
    "it has been weighed; take some out or add to it on the scale to change that".to_owned()
}

pub fn declared_over_guard() -> String {
    "that is more caustic than the guard allows; it must not go into this batch".to_owned()
}

pub fn weigh_it_or_take_it_off() -> String {
    "its cup is on the pan: let the scale weigh it, or take the cup off the pan and declare it then"
        .to_owned()
}

pub fn no_such_alarm(alarm: &AlarmId) -> String {
    format!("no alarm {alarm} is raised")
}

pub fn test_how(batch: &Batch, name: &str) -> String {
    let cooks = batch.control.steps.iter().filter_map(|step| match &step.kind {
        StepKind::Cook(cook) => Some(cook),
        _ => None,
    });
    let known: Vec<&str> =
        cooks.flat_map(|cook| &cook.tests).map(|test| test.name.as_str()).collect();
    let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
    format!(
        "the recipe declares no test `{name}` (it declares: {known}); say by what it was done, and \
         how the sample was made"
    )
}

pub fn test_of_what() -> String {
    "say how the sample was made, like `1 g of soap in 99 g of distilled water`".to_owned()
}

pub fn test_too_long(most: usize) -> String {
    format!("a test has a name; name, sample and result are of at most {most} letters each")
}

pub fn test_value(method: TestMethod) -> String {
    if method.gives_ph() {
        format!("a test by {} gives a pH from 0 to 14, like `9.8`", method.words())
    } else {
        format!("a test by {} gives a word, like `clear`, not a pH", method.words())
    }
}

pub fn no_zap_after_an_over_pour() -> String {
    "too much caustic was poured in this batch: no tongue on it; measure the pH of a solution"
        .to_owned()
}

pub fn no_such_channel(channel: &Channel) -> String {
    format!("no channel is called `{channel}`; the bench file names them")
}

pub fn not_hand_held(channel: &Channel) -> String {
    format!(
        "`{channel}` always stands in one place; a probe that goes from place to place has \
         role = \"hand-held\" in the bench file"
    )
}

pub fn say_where_it_is(channel: &Channel) -> String {
    format!("`{channel}` is hand-held: say where it is now, oils, lye, pot or room")
}

pub fn no_place() -> String {
    "say where it is: oils, lye, pot or room".to_owned()
}

pub fn not_possible(units: &Units, at: ProbeAt, typed: Temperature, possible: Window) -> String {
    format!(
        "{} cannot be that of the {}, which lies between {} and {}; check number and unit",
        temperature(units, typed),
        at.words(),
        temperature(units, possible.low),
        temperature(units, possible.high)
    )
}

pub fn wrong_unit(
    units: &Units,
    at: ProbeAt,
    typed: Temperature,
    before: Temperature,
    meant: TemperatureUnit,
) -> String {
    format!(
        "that is {}, and the {} was at {} a moment ago; was it {} and not the other unit?",
        temperature(units, typed),
        at.words(),
        temperature(units, before),
        meant.symbol()
    )
}

pub fn no_such_scale(channel: &Channel, setup: Option<&Setup>) -> String {
    let scale = setup.and_then(Setup::scale).map(|(setup, _)| setup.channel.as_str());
    match scale {
        Some(scale) => format!("`{channel}` is no scale; the scale is called `{scale}`"),
        None => format!("`{channel}` is no scale, and the bench file names none"),
    }
}

pub fn no_zero_command(channel: &Channel) -> String {
    format!(
        "the wire sheet of `{channel}` has no command for that: clear the pan and press the zero \
         key on the scale itself"
    )
}

pub fn scale_is_lost(channel: &Channel, why: &str) -> String {
    format!("`{channel}` cannot be told anything: {why}")
}

pub fn no_zero_while_weighing(pot: &str) -> String {
    format!(
        "{pot} is being weighed on it, and what has been counted would move: finish this \
         ingredient, then clear the pan"
    )
}

pub fn no_zero_near_caustic(pot: &str) -> String {
    format!(
        "the caustic of {pot} is or may be on the pan: take everything off and wait until the \
         scale is still"
    )
}

pub fn no_zero_with_caustic_about(pot: &str) -> String {
    format!(
        "the caustic of {pot} is being weighed or not dissolved yet, and a command that reaches the \
         scale late could hide its cup: go on without, a small drift is allowed for; a bare pan \
         that shows more than that is set to zero by the scale's own key, with the cup away from it"
    )
}

pub fn no_zero_in_doubt() -> String {
    "nobody saw what became of the last command: take everything off the pan; if it is bare, put a \
     vessel on it and take that off again"
        .to_owned()
}

pub fn no_zero_in_motion() -> String {
    "the scale is not at rest, or says nothing: clear the pan, wait until it is still, and ask \
     again"
        .to_owned()
}

pub fn no_zero_with_a_load(setup: &ChannelSetup, gross: Mass) -> String {
    let shown = match setup.role {
        Role::Scale { unit, .. } => gross.show(unit, unit.bench_decimals()),
        Role::Probe { .. } => gross.to_string(),
    };
    format!(
        "the pan reads {shown}, so something stands on it: take everything off; if it is empty, \
         press the zero key on the scale itself"
    )
}

pub fn no_step_left() -> String {
    "no step is left; close the batch".to_owned()
}

pub fn another_step(title: &str) -> String {
    format!("the present step is: {title}")
}

pub fn not_yet(reasons: &[String]) -> String {
    format!("not yet: {}; confirm again to go on all the same", reasons.join("; "))
}

pub fn say_so() -> String {
    "this step ends when what it asks is confirmed".to_owned()
}

pub fn weigh_it() -> String {
    "an ingredient is weighed, taken short or declared by hand; it cannot be skipped".to_owned()
}

pub fn steps_left(batch: &Batch) -> String {
    let title = batch.step().map_or("", |step| &step.title);
    format!("steps are left, the next is: {title}; close it as failed, or abandon it")
}

pub const fn discarded() -> &'static str {
    "discarded: too much caustic"
}

pub const fn closed_with_batch() -> &'static str {
    "the batch was closed"
}
