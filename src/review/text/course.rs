//! How the batch went: steps and their times, alarms, heat, looks, and what nobody saw.

use super::{Page, words};
use crate::bench::{BackVerdict, Remedy};
use crate::review::model::{
    AlarmEnd, CookHeat, HeatReview, LookReview, Review, StepReview, UnseenKind, VesselReview,
};
use crate::review::table::{Side, Table};

pub fn course(page: &mut Page, review: &Review) {
    steps(page, review);
    alarms(page, review);
    remedies(page, review);
    vessels(page, review);
    heat(page, review);
    looks(page, review);
    soap_tests(page, review);
    seen(page, review);
    lost(page, review);
    unseen(page, review);
}

fn steps(page: &mut Page, review: &Review) {
    let mut table = Table::new(&[
        ("", Side::Right),
        ("", Side::Left),
        ("begun", Side::Right),
        ("watched", Side::Right),
        ("", Side::Left),
    ]);
    for step in &review.steps {
        let begun = step.begun.map_or_else(words::unknown, words::short_offset);
        let watched = words::span(step.watched);
        let number = step.number.to_string();
        table.row(vec![number, step.title.clone(), begun, watched, step_words(review, step)]);
    }
    page.section("Steps", &table);
}

fn step_words(review: &Review, step: &StepReview) -> String {
    let mut said = Vec::new();
    match (step.begun, step.done) {
        (None, _) => said.push("not begun".to_owned()),
        (Some(_), None) if review.ended.is_some() => said.push("not done".to_owned()),
        (Some(_), None) => said.push("under way".to_owned()),
        (Some(_), Some(_)) => {}
    }
    if step.sessions > 1 {
        said.push(format!("over {} sessions, time between them not counted", step.sessions));
    }
    if step.combined_anyway {
        said.push("brought together outside the windows, on the operator's word".to_owned());
    }
    if step.done_anyway {
        said.push("ended against what spoke for waiting, on the operator's word".to_owned());
    }
    said.join("; ")
}

fn alarms(page: &mut Page, review: &Review) {
    let mut table = Table::new(&[
        ("raised", Side::Right),
        ("", Side::Left),
        ("priority", Side::Left),
        ("lasted", Side::Right),
        ("seen after", Side::Right),
        ("", Side::Left),
    ]);
    for alarm in &review.alarms {
        let mut said = match alarm.end {
            AlarmEnd::StillRaised => "still raised",
            AlarmEnd::ReturnedToNormal => "returned to normal",
            AlarmEnd::NoLongerWatched => "until no longer watched",
            AlarmEnd::Reset => "reset",
            AlarmEnd::BatchClosed => "until the batch was closed",
        }
        .to_owned();
        if let Some(peak) = alarm.peak {
            said.push_str(&format!(", furthest {}", words::temperature(review, peak)));
        }
        table.row(vec![
            words::short_offset(alarm.raised),
            words::alarm(review, &alarm.alarm),
            words::priority(alarm.priority).to_owned(),
            words::span(alarm.lasted),
            alarm.acknowledged_after.map_or("nobody".to_owned(), |after| after.to_string()),
            said,
        ]);
    }
    page.section("Alarms", &table);
}

/// When, what, and what of it.
fn timed() -> Table {
    Table::new(&[("", Side::Right), ("", Side::Left), ("", Side::Left)])
}

fn remedies(page: &mut Page, review: &Review) {
    let mut table = timed();
    for remedy in &review.remedies {
        let words = match (remedy.remedy, remedy.amount) {
            (Remedy::SpoonOut, Some(amount)) => {
                format!("spoon out {}, into waste", words::mass(review, amount))
            }
            (Remedy::SpoonOut, None) => "spoon out the excess, into waste".to_owned(),
            (remedy, Some(amount)) => {
                format!("{}, {} in all", remedy.title(), words::mass(review, amount))
            }
            (remedy, None) => remedy.title().to_owned(),
        };
        table.row(vec![words::short_offset(remedy.at), words, String::new()]);
    }
    page.section("Remedies chosen", &table);
}

fn vessels(page: &mut Page, review: &Review) {
    let mut table = timed();
    for vessel in &review.vessels {
        let at = words::short_offset(vessel.at);
        let whose = format!("vessel of {}", vessel.name);
        table.row(vec![at, whose, vessel_words(review, vessel)]);
    }
    page.section("Vessels weighed back", &table);
}

fn vessel_words(review: &Review, vessel: &VesselReview) -> String {
    let left = vessel.residue.map_or_else(words::unknown, |left| words::mass(review, left));
    match vessel.verdict {
        BackVerdict::Whole => format!("emptied, {left} left in it"),
        BackVerdict::Residue => format!("{left} stayed in it"),
        BackVerdict::Unknown => "did not come back: not known whether all of it went in".to_owned(),
    }
}

fn heat(page: &mut Page, review: &Review) {
    let mut table = Table::new(&[
        ("", Side::Left),
        ("", Side::Left),
        ("lowest", Side::Right),
        ("highest", Side::Right),
        ("below", Side::Right),
        ("inside", Side::Right),
        ("above", Side::Right),
        ("unmeasured", Side::Right),
    ]);
    for probe in &review.heat {
        table.row(probe_row(review, probe));
        for cook in &probe.cooks {
            table.row(cook_row(review, cook));
        }
    }
    page.section("Temperatures", &table);
}

fn probe_row(review: &Review, probe: &HeatReview) -> Vec<String> {
    let mut row = vec![probe.channel.to_string(), format!("{}, whole batch", probe.at.words())];
    for extreme in [probe.lowest, probe.highest] {
        row.push(
            extreme.map_or_else(words::unknown, |e| words::temperature(review, e.temperature)),
        );
    }
    row
}

fn cook_row(review: &Review, cook: &CookHeat) -> Vec<String> {
    let (low, high) = (cook.window.low, cook.window.high);
    let window =
        format!("{} to {}", words::temperature(review, low), words::temperature(review, high));
    let mut row = vec![String::new(), format!("{}, {window}", cook.step)];
    for extreme in [cook.lowest, cook.highest] {
        row.push(
            extreme.map_or_else(words::unknown, |e| words::temperature(review, e.temperature)),
        );
    }
    for span in [cook.below, cook.inside, cook.above, cook.unmeasured] {
        row.push(span.to_string());
    }
    row
}

fn looks(page: &mut Page, review: &Review) {
    let mut table = timed();
    for look in &review.looks {
        let due = words::short_offset(look.due);
        table.row(vec![due, look_words(look), String::new()]);
    }
    page.section("Looks due", &table);
}

fn soap_tests(page: &mut Page, review: &Review) {
    let mut table = timed();
    for test in &review.soap_tests {
        let result = match test.passed {
            Some(true) => ", passed",
            Some(false) => ", not passed",
            None => "",
        };
        let limit = test.limit.as_ref().map_or_else(String::new, |limit| format!(" ({limit})"));
        let of = if test.sample.is_empty() { "" } else { ", " };
        let how = format!(
            "attempt {}, by {}{of}{}: {}{result}{limit}",
            test.attempt,
            test.method.words(),
            test.sample,
            test.value
        );
        table.row(vec![words::short_offset(test.at), test.name.clone(), how]);
    }
    page.section("Tests of the soap", &table);
}

fn look_words(look: &LookReview) -> String {
    let made = match (look.made, look.late) {
        (Some(_), Some(late)) => format!("made {late} later"),
        (Some(_), None) => "made".to_owned(),
        (None, _) => "not made".to_owned(),
    };
    let alarmed = if look.missed { ", after an alarm" } else { "" };
    format!("{made}{alarmed}")
}

/// Observations, temperatures noted, remarks and the emergency card, in one line of time.
fn seen(page: &mut Page, review: &Review) {
    let mut rows = Vec::new();
    for seen in &review.observations {
        let note = seen.note.trim();
        let sep = if note.is_empty() { "" } else { ": " };
        let words = format!("{}{sep}{note}", words::observation(seen.observation));
        rows.push((seen.at, "seen".to_owned(), words));
    }
    for noted in &review.noted {
        let temperature = words::temperature(review, noted.temperature);
        rows.push((noted.at, noted.step.clone(), format!("{} {temperature}", noted.channel)));
    }
    for remark in &review.remarks {
        rows.push((remark.at, remark.step.clone().unwrap_or_default(), remark.words.clone()));
    }
    for at in &review.emergencies {
        rows.push((*at, String::new(), "emergency card opened".to_owned()));
    }
    rows.sort_by_key(|(at, ..)| at.utc_ns);
    let mut table = timed();
    for (at, what, words) in rows {
        table.row(vec![words::short_offset(at), what, words]);
    }
    page.section("Noted along the way", &table);
}

fn lost(page: &mut Page, review: &Review) {
    let mut table = timed();
    for lost in &review.lost {
        let lasted = match lost.lasted {
            Some(lasted) => format!("for {lasted}"),
            None if lost.until.is_some() => "for an unknown time".to_owned(),
            None => "not back".to_owned(),
        };
        let words = format!("{lasted}: {}", lost.why);
        table.row(vec![words::short_offset(lost.from), lost.instrument.clone(), words]);
    }
    page.section("Instruments lost", &table);
}

fn unseen(page: &mut Page, review: &Review) {
    let mut table = timed();
    for unseen in &review.unseen {
        let from = unseen.from.map_or_else(words::unknown, words::short_offset);
        let kind = match unseen.kind {
            UnseenKind::Unwatched => "nobody watched",
            UnseenKind::NotRecorded => "not recorded",
        };
        let lasted = match (unseen.lasted, unseen.until) {
            (Some(lasted), _) => format!("for {lasted}"),
            (None, Some(_)) => "for an unknown time".to_owned(),
            (None, None) => "to the end".to_owned(),
        };
        let sep = if unseen.why.is_empty() { "" } else { ": " };
        let words = format!("{lasted}{sep}{}", unseen.why);
        table.row(vec![from, kind.to_owned(), words]);
    }
    page.section("Not seen", &table);
}
