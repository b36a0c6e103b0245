use serde::{Deserialize, Serialize};

use super::soap_tests::SoapTestReview;
use crate::bench::{
    AlarmId, BackVerdict, BatchId, CaptureHow, Observation, Outcome, Priority, ProbeAt, Remedy,
    Target,
};
use crate::chemistry::{IngredientId, Likelihood, LiquidRule, Superfat};
use crate::plan::{Units, Window};
use crate::quantity::{Mass, Share, Span, Temperature};
use crate::reading::Channel;

/// What one batch came to. Every `None` is something that is not known or did not happen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Review {
    pub batch: BatchId,
    pub recipe: String,
    pub recipe_digest: String,
    /// The maker's own.
    pub units: Units,
    pub operator: Option<String>,
    pub started: At,
    pub ended: Option<At>,
    /// `None` while it is open.
    pub outcome: Option<Outcome>,
    pub note: String,
    /// All steps of the control recipe, in the order of work.
    pub steps: Vec<StepReview>,
    pub balance: Balance,
    /// In the order they were raised.
    pub alarms: Vec<AlarmReview>,
    pub remedies: Vec<RemedyReview>,
    pub vessels: Vec<VesselReview>,
    pub heat: Vec<HeatReview>,
    pub noted: Vec<NotedReview>,
    pub observations: Vec<ObservationReview>,
    #[serde(default)]
    pub soap_tests: Vec<SoapTestReview>,
    /// Tests the recipe declares and the cook ended without, in words.
    #[serde(default)]
    pub not_passed: Vec<String>,
    pub looks: Vec<LookReview>,
    pub remarks: Vec<Remark>,
    pub lost: Vec<LostReview>,
    pub unseen: Vec<Unseen>,
    /// When the emergency card was opened.
    pub emergencies: Vec<At>,
    pub head: Option<String>,
    pub verified: Option<bool>,
    /// What stands out, worst first.
    pub findings: Vec<Finding>,
}

impl Review {
    /// More caustic than its guard allowed was in the cup, even if it was brought back.
    pub fn went_over_guard(&self) -> bool {
        self.alarms.iter().any(|alarm| matches!(alarm.alarm, AlarmId::CausticOver { .. }))
    }
}

/// An instant of the batch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct At {
    pub utc_ns: i64,
    /// `None` before the batch began, by the civil clock.
    pub after_start: Option<Span>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StepReview {
    /// From 1.
    pub number: usize,
    pub key: String,
    pub title: String,
    pub begun: Option<At>,
    pub done: Option<At>,
    /// Time watched, to the end or to the last fact; time when nobody watched does not count.
    pub watched: Option<Span>,
    /// How many sessions it took part in; more than one says that watching was interrupted.
    pub sessions: usize,
    /// How often a capture was undone because the mass changed.
    pub reopened: usize,
    /// For weighings that have begun.
    pub target: Option<Target>,
    /// The capture that stands.
    pub capture: Option<CaptureReview>,
    /// Lye and oils brought together outside their windows, on the operator's word.
    pub combined_anyway: bool,
    /// For weighings: the lot it was taken from, as far as it was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// For weighings: the vessel of the register that it was weighed in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vessel: Option<String>,
    /// The cook was ended, or something put into the pot, though something spoke against it.
    #[serde(default)]
    pub done_anyway: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaptureReview {
    pub ingredient: IngredientId,
    pub at: At,
    pub net: Mass,
    pub how: CaptureHow,
    /// Net less target; `None` when the target is not on record.
    pub deviation: Option<Mass>,
    /// The same as a part of the target.
    pub deviation_share: Option<Share>,
    pub inside: Option<bool>,
}

/// Fats against caustic, from the captured masses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    pub planned: Share,
    pub floor: Share,
    /// Names of what the superfat needs and nobody weighed; with any, nothing is reckoned.
    pub missing: Vec<String>,
    pub superfat: Option<Superfat>,
    pub lye_heavy: Option<Likelihood>,
    /// Where most of the uncertainty comes from.
    pub dominant: Option<String>,
    /// The superfat if what stayed behind in vessels never went in.
    pub superfat_less_residue: Option<Share>,
    /// All fat left in the soap, with what was added after the cook, where the recipe has such.
    pub free_fat: Option<Share>,
    /// Names of what was declared, not weighed, and counts in the superfat.
    pub by_hand: Vec<String>,
    /// Soap of earlier batches that went in: how much, of which batch, and what is assumed.
    #[serde(default)]
    pub bases: Vec<String>,
    /// What of the scale's errors is counted.
    pub counted: Option<String>,
    pub liquid_planned: LiquidRule,
    pub liquid: Option<LiquidReview>,
}

/// The lye as the recipe's rule sees it: a stock lye's own water counts as liquid.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LiquidReview {
    pub liquid: Mass,
    pub caustic: Mass,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlarmReview {
    pub alarm: AlarmId,
    pub priority: Priority,
    pub raised: At,
    /// What was seen when it was raised, as the operator was told.
    pub detail: String,
    pub end: AlarmEnd,
    pub ended: Option<At>,
    pub lasted: Option<Span>,
    /// From being raised to being acknowledged by somebody.
    pub acknowledged_after: Option<Span>,
    /// For alarms of temperature: the furthest it went while raised.
    pub peak: Option<Temperature>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmEnd {
    /// Nothing on record ends it.
    StillRaised,
    ReturnedToNormal,
    /// The step went on; whether it returned was not watched.
    NoLongerWatched,
    /// Latched, and let go by what alone may let it go.
    Reset,
    BatchClosed,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RemedyReview {
    pub at: At,
    pub remedy: Remedy,
    pub amount: Option<Mass>,
}

/// A vessel emptied elsewhere and weighed back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VesselReview {
    pub at: At,
    pub ingredient: IngredientId,
    pub name: String,
    pub residue: Option<Mass>,
    pub verdict: BackVerdict,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeatReview {
    pub channel: Channel,
    pub at: ProbeAt,
    pub lowest: Option<Extreme>,
    pub highest: Option<Extreme>,
    /// For the pot: each cook of the recipe that has begun.
    pub cooks: Vec<CookHeat>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Extreme {
    pub temperature: Temperature,
    pub at: At,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CookHeat {
    pub step: String,
    pub window: Window,
    pub lowest: Option<Extreme>,
    pub highest: Option<Extreme>,
    pub below: Span,
    pub inside: Span,
    pub above: Span,
    /// No reading that was young enough.
    pub unmeasured: Span,
}

/// A temperature kept at the end of a step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NotedReview {
    pub at: At,
    /// Title of the step.
    pub step: String,
    pub channel: Channel,
    pub temperature: Temperature,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ObservationReview {
    pub at: At,
    pub observation: Observation,
    pub note: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LookReview {
    pub due: At,
    /// `None`: nobody looked.
    pub made: Option<At>,
    pub late: Option<Span>,
    /// So late that it alarmed.
    pub missed: bool,
}

/// Something about the handling, in words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Remark {
    pub at: At,
    /// Title of the step, where it belongs to one.
    pub step: Option<String>,
    pub words: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LostReview {
    pub instrument: String,
    pub from: At,
    /// `None`: it had not come back.
    pub until: Option<At>,
    pub lasted: Option<Span>,
    pub why: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum UnseenKind {
    /// The daemon did not run.
    Unwatched,
    /// Watched, and not written down.
    NotRecorded,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unseen {
    pub kind: UnseenKind,
    pub from: Option<At>,
    pub until: Option<At>,
    pub lasted: Option<Span>,
    pub why: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Grade {
    Note,
    Warning,
    Danger,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    pub grade: Grade,
    pub words: String,
}
