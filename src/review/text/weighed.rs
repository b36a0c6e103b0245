//! Captures against targets, and fats against caustic.

use super::{Page, pair, pairs, words};
use crate::bench::BY_HAND_DOUBT;
use crate::bench::CaptureHow;
use crate::chemistry::{LYE_HEAVY_ASSUMPTIONS, show_ratio};
use crate::review::model::{Balance, CaptureReview, Review, StepReview};
use crate::review::table::{Side, Table};

pub fn weighed(page: &mut Page, review: &Review) {
    let mut table = Table::new(&[
        ("", Side::Left),
        ("target", Side::Right),
        ("net", Side::Right),
        ("off by", Side::Right),
        ("", Side::Right),
        ("", Side::Left),
    ]);
    for step in review.steps.iter().filter(|step| step.target.is_some() || step.capture.is_some()) {
        let target = step.target.map_or_else(words::unknown, |t| words::mass(review, t.mass));
        let capture = step.capture.as_ref();
        let net = capture.map_or_else(words::unknown, |c| words::mass(review, c.net));
        let deviation = capture.and_then(|c| c.deviation);
        let deviation =
            deviation.map_or_else(words::unknown, |off| words::signed_mass(review, off));
        let share = capture.and_then(|c| c.deviation_share);
        let share = share.map_or_else(words::unknown, words::signed_share);
        let lot = step.lot.as_ref().map(|lot| format!("lot {lot}"));
        let vessel = step.vessel.as_ref().map(|vessel| format!("in {vessel}"));
        let known: Vec<String> = lot.into_iter().chain(vessel).collect();
        let title = match known.is_empty() {
            true => step.title.clone(),
            false => format!("{} ({})", step.title, known.join("; ")),
        };
        table.row(vec![title, target, net, deviation, share, judged(step)]);
    }
    page.section("Weighed", &table);
}

fn judged(step: &StepReview) -> String {
    let mut said = match &step.capture {
        Some(capture) => captured(capture),
        None => "not captured".to_owned(),
    };
    match step.reopened {
        0 => {}
        1 => said.push_str("; reopened once"),
        times => said.push_str(&format!("; reopened {times} times")),
    }
    said
}

fn captured(capture: &CaptureReview) -> String {
    let how = match capture.how {
        CaptureHow::Weighed => "weighed",
        CaptureHow::Short => "taken short",
        CaptureHow::Long => "taken long",
        CaptureHow::ByHand => "declared by hand",
    };
    let inside = match capture.inside {
        Some(true) => "inside its tolerance",
        Some(false) => "OUTSIDE its tolerance",
        None => "tolerance not known",
    };
    format!("{how}, {inside}")
}

pub fn balance(page: &mut Page, review: &Review) {
    let balance = &review.balance;
    let mut table = pairs();
    pair(&mut table, "superfat planned", balance.planned.to_string());
    pair(&mut table, "superfat achieved", achieved(balance));
    if let Some(left) = balance.superfat_less_residue {
        let words = format!("{left} if what stayed behind in vessels never went in");
        pair(&mut table, "", words);
    }
    if let Some(free) = balance.free_fat {
        pair(&mut table, "fat left in the soap", format!("{free}, with what went in last"));
    }
    if let Some(dominant) = &balance.dominant {
        pair(&mut table, "most uncertain", dominant.as_str());
    }
    if !balance.by_hand.is_empty() {
        let other = balance.by_hand.iter().any(|name| name.contains('±'));
        let other = if other { ", where no other ± stands" } else { "" };
        let words = format!(
            "{}: taken to be good to ± {}{other}",
            balance.by_hand.join(", "),
            BY_HAND_DOUBT.show(0)
        );
        pair(&mut table, "by hand", words);
    }
    for base in &balance.bases {
        pair(&mut table, "earlier soap", base.as_str());
    }
    match balance.lye_heavy {
        Some(likelihood) => {
            let words = format!("{}, {LYE_HEAVY_ASSUMPTIONS}", likelihood.words());
            pair(&mut table, "lye-heavy", words);
        }
        None => pair(&mut table, "lye-heavy", words::unknown()),
    }
    let ratio =
        balance.liquid.map_or_else(words::unknown, |lye| show_ratio(lye.liquid, lye.caustic));
    let planned = balance.liquid_planned;
    pair(&mut table, "liquid to caustic", format!("{ratio}, the recipe says {planned}"));
    page.section("Fats and lye", &table);
}

fn achieved(balance: &Balance) -> String {
    match (balance.superfat, &balance.counted) {
        (Some(superfat), Some(counted)) => format!(
            "{} ± {} (twice the standard uncertainty, with {counted})",
            superfat.achieved, superfat.expanded
        ),
        _ if balance.missing.is_empty() => words::unknown(),
        _ => format!("{}, not on record: {}", words::unknown(), balance.missing.join(", ")),
    }
}
