//! What stands out, worst first. Within a grade the order here is the order of harm.

use super::model::{AlarmReview, Finding, Grade, LookReview, Review, StepReview, UnseenKind};
use super::text::words;
use crate::bench::{AlarmId, BackVerdict, CaptureHow, Remedy};
use crate::chemistry::Likelihood;
use crate::quantity::{Mass, Share, Span};

/// Late enough to be worth a word: shorter is a hand that reached for the key.
const LATE: Span = Span::from_secs(30);
/// A look that was never made is later than any that was.
const NEVER: Span = Span::from_nanos(i64::MAX);

pub fn findings(review: &Review) -> Vec<Finding> {
    let mut list = List { review, found: Vec::new() };
    list.chain();
    list.emergency();
    list.caustic();
    list.superfat();
    list.vessels();
    list.heat();
    list.looks();
    list.soap_tests();
    list.tolerance();
    list.unseen();
    list.by_hand();
    let mut found = list.found;
    found.sort_by_key(|finding| std::cmp::Reverse(finding.grade));
    found
}

struct List<'a> {
    review: &'a Review,
    found: Vec<Finding>,
}

impl List<'_> {
    fn add(&mut self, grade: Grade, words: String) {
        self.found.push(Finding { grade, words });
    }

    fn mass(&self, mass: Mass) -> String {
        words::mass(self.review, mass)
    }

    fn chain(&mut self) {
        if self.review.verified == Some(false) {
            let words = "the stored record does not lead to its own head: it was changed after it \
                         was written, so nothing below can be relied on";
            self.add(Grade::Danger, words.to_owned());
        }
    }

    fn emergency(&mut self) {
        let times = self.review.emergencies.len();
        if let Some(at) = self.review.emergencies.first() {
            let again = if times > 1 { format!(", {times} times in all") } else { String::new() };
            let words = format!("the emergency card was opened {}{again}", words::offset(*at));
            self.add(Grade::Danger, words);
        }
    }

    fn caustic(&mut self) {
        let review = self.review;
        for alarm in &review.alarms {
            match &alarm.alarm {
                AlarmId::CausticOver { step, .. } => self.caustic_over(alarm, step),
                AlarmId::PouringBlind { step, .. } => {
                    let title = words::title(review, step);
                    let lasted = words::lasted(alarm);
                    let words =
                        format!("{title} was on the pan while the scale was silent, {lasted}");
                    self.add(Grade::Danger, words);
                }
                _ => {}
            }
        }
    }

    fn caustic_over(&mut self, alarm: &AlarmReview, step: &str) {
        let review = self.review;
        let title = words::title(review, step);
        let mut words = format!(
            "{title} went over its guard {} and stayed so {}",
            words::offset(alarm.raised),
            words::lasted(alarm)
        );
        let chosen = review.remedies.iter().rev().find(|remedy| {
            let until = alarm.ended.map_or(i64::MAX, |ended| ended.utc_ns);
            (alarm.raised.utc_ns..=until).contains(&remedy.at.utc_ns)
        });
        match chosen.map(|chosen| (chosen.remedy, chosen.amount)) {
            Some((Remedy::SpoonOut, Some(amount))) => {
                words.push_str(&format!("; {} were to be spooned out", self.mass(amount)));
            }
            Some((Remedy::SpoonOut, None)) => words.push_str("; it was to be spooned out"),
            Some((Remedy::Discard, _)) => words.push_str("; the batch was discarded"),
            Some((remedy, _)) => words.push_str(&format!("; chosen: {}", remedy.title())),
            None => words.push_str("; no remedy was chosen"),
        }
        self.add(Grade::Danger, words);
    }

    fn superfat(&mut self) {
        let balance = &self.review.balance;
        let Some(superfat) = balance.superfat else { return };
        let (achieved, floor) = (superfat.achieved, balance.floor);
        if achieved < floor {
            let words = format!("superfat {achieved} is below the floor of {floor}");
            self.add(Grade::Danger, words);
        } else if achieved - superfat.expanded < floor {
            let words = format!(
                "superfat {achieved} is uncertain by {}, which reaches below the floor of {floor}",
                superfat.expanded
            );
            self.add(Grade::Warning, words);
        }
        let Some(likelihood) = balance.lye_heavy else { return };
        let grade = match likelihood {
            Likelihood::VeryUnlikely | Likelihood::Unlikely => return,
            Likelihood::Possible => Grade::Warning,
            Likelihood::RealChance
            | Likelihood::SeriousChance
            | Likelihood::MoreLikelyThanNot
            | Likelihood::NearlyCertain => Grade::Danger,
        };
        self.add(grade, format!("lye-heavy soap is {}", likelihood.words()));
    }

    fn vessels(&mut self) {
        let review = self.review;
        for vessel in &review.vessels {
            let name = &vessel.name;
            match (vessel.verdict, vessel.residue) {
                (BackVerdict::Whole, _) => {}
                (BackVerdict::Residue, Some(left)) => {
                    let left = self.mass(left);
                    let words = format!("{left} stayed behind in the vessel of {name}");
                    self.add(Grade::Warning, words);
                }
                (BackVerdict::Residue | BackVerdict::Unknown, _) => {
                    let words =
                        format!("it is not known whether the vessel of {name} went in whole");
                    self.add(Grade::Note, words);
                }
            }
        }
    }

    fn heat(&mut self) {
        let review = self.review;
        for alarm in &review.alarms {
            let (what, grade) = match &alarm.alarm {
                AlarmId::TemperatureHighHigh { .. } => ("far too hot", Grade::Danger),
                AlarmId::TemperatureHigh { .. } => ("too hot", Grade::Warning),
                AlarmId::HeatingFast { .. } => ("heating too fast", Grade::Warning),
                AlarmId::TemperatureUnknown { .. } => ("not known to anybody", Grade::Warning),
                AlarmId::TemperatureLow { .. } => ("fallen out of its window", Grade::Note),
                _ => continue,
            };
            let place = words::place(&alarm.alarm);
            let peak = alarm.peak.map_or_else(String::new, |peak| {
                let side = if grade == Grade::Note { "down to" } else { "up to" };
                format!(", {side} {}", words::temperature(review, peak))
            });
            let (when, lasted) = (words::offset(alarm.raised), words::lasted(alarm));
            self.add(grade, format!("{place} {what} {when}{peak}, {lasted}"));
        }
    }

    fn soap_tests(&mut self) {
        for words in &self.review.not_passed {
            self.add(Grade::Warning, words.clone());
        }
    }

    fn looks(&mut self) {
        let looks = &self.review.looks;
        let missed: Vec<&LookReview> = looks.iter().filter(|look| look.missed).collect();
        if let Some(worst) = missed.iter().max_by_key(|look| look.late.unwrap_or(NEVER)) {
            let worst = match worst.late {
                Some(late) => format!("the worst {late} late"),
                None => "one never made".to_owned(),
            };
            let words = format!("{} of {} looks missed, {worst}", missed.len(), looks.len());
            self.add(Grade::Warning, words);
            return;
        }
        let late = looks.iter().filter_map(|look| look.late).filter(|late| *late >= LATE);
        if let Some(worst) = late.max() {
            self.add(Grade::Note, format!("looks made late, the worst by {worst}"));
        }
    }

    fn tolerance(&mut self) {
        let review = self.review;
        let first = review.steps.iter().find_map(|step| Some((step, self.left(step)?)));
        if let Some((step, how)) = first {
            let words = format!("the first step to leave its tolerance was {}: {how}", step.title);
            self.add(Grade::Warning, words);
        }
        let captures = review.steps.iter().filter_map(|step| {
            let capture = step.capture.as_ref()?;
            Some((step, capture.deviation?, capture.deviation_share?))
        });
        let largest = captures.max_by_key(|(_, _, share)| share.abs());
        if let Some((step, deviation, share)) = largest.filter(|(_, _, s)| *s != Share::ZERO) {
            let words = format!(
                "the largest deviation is {} of {} ({}) from its target",
                words::signed_mass(review, deviation),
                step.title,
                words::signed_share(share)
            );
            let outside = step.capture.as_ref().is_some_and(|c| c.inside == Some(false));
            self.add(if outside { Grade::Warning } else { Grade::Note }, words);
        }
    }

    /// How a step left its tolerance, if it did, even if it was brought back.
    fn left(&self, step: &StepReview) -> Option<String> {
        let review = self.review;
        let over = review.alarms.iter().any(|alarm| {
            matches!(&alarm.alarm, AlarmId::CausticOver { step: key, .. } if key == &step.key)
        });
        let capture = step.capture.as_ref().filter(|capture| capture.inside == Some(false));
        if over {
            let now = if step.capture.is_some() { ", brought back" } else { "" };
            return Some(format!("over its guard{now}"));
        }
        if let Some((capture, deviation)) = capture.and_then(|c| Some((c, c.deviation?))) {
            let share = capture
                .deviation_share
                .map_or_else(String::new, |share| format!(" ({})", words::signed_share(share)));
            return Some(format!("{}{share}", words::signed_mass(review, deviation)));
        }
        if step.combined_anyway {
            return Some("brought together outside the windows".to_owned());
        }
        let (from, until) = (step.begun?, step.done.map_or(i64::MAX, |done| done.utc_ns));
        let hot = review.alarms.iter().find(|alarm| {
            let at = alarm.raised.utc_ns;
            words::is_out_of_window(&alarm.alarm) && (from.utc_ns..=until).contains(&at)
        });
        hot.map(|alarm| words::alarm(review, &alarm.alarm))
    }

    fn unseen(&mut self) {
        let review = self.review;
        for (kind, grade, what) in [
            (UnseenKind::Unwatched, Grade::Warning, "nobody watched"),
            (UnseenKind::NotRecorded, Grade::Warning, "readings were not recorded"),
        ] {
            let of_kind = || review.unseen.iter().filter(|unseen| unseen.kind == kind);
            let times = of_kind().count();
            if times == 0 {
                continue;
            }
            let known = of_kind().filter_map(|unseen| unseen.lasted);
            let known = known.fold(Span::ZERO, |sum, span| sum + span);
            let all_known = of_kind().all(|unseen| unseen.lasted.is_some());
            let span = if all_known { known.to_string() } else { "an unknown time".to_owned() };
            let times = if times > 1 { format!(", {times} times") } else { String::new() };
            self.add(grade, format!("{what} for {span}{times}"));
        }
        for lost in &review.lost {
            let lasted = match lost.lasted {
                Some(lasted) => format!("for {lasted}"),
                None => "and had not come back".to_owned(),
            };
            let words =
                format!("{} was lost {} {lasted}", lost.instrument, words::offset(lost.from));
            self.add(Grade::Note, words);
        }
    }

    fn by_hand(&mut self) {
        let steps = self.review.steps.iter();
        let declared: Vec<&str> = steps
            .filter(|step| step.capture.as_ref().is_some_and(|c| c.how == CaptureHow::ByHand))
            .map(|step| step.title.as_str())
            .collect();
        if !declared.is_empty() {
            self.add(
                Grade::Warning,
                format!("declared by hand, not weighed: {}", declared.join(", ")),
            );
        }
    }
}
