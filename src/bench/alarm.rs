//! The one alarm machine, for mass, temperature, instrument and disk.
//!
//! Terms of ISA-18.2 / IEC 62682: an alarm remembers two things, whether its condition is active
//! and whether somebody has acknowledged it; the state shown is derived from the two. Silencing,
//! acknowledging and resetting are three different things.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::fact::BatchId;
use super::setup::ProbeAt;
use crate::quantity::{Moment, Span};

/// Which alarm: its kind and what it watches.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(tag = "alarm", rename_all = "kebab-case")]
pub enum AlarmId {
    /// More caustic on the pan than the guard allows. Latches.
    CausticOver {
        batch: BatchId,
        step: String,
    },
    /// Caustic is being poured and the scale is silent.
    PouringBlind {
        batch: BatchId,
        step: String,
    },
    /// An instrument that the present step needs says nothing, or nothing usable.
    InstrumentLost {
        instrument: String,
    },
    TemperatureHigh {
        batch: BatchId,
        at: ProbeAt,
    },
    TemperatureHighHigh {
        batch: BatchId,
        at: ProbeAt,
    },
    /// Fallen out of a window it had been in.
    TemperatureLow {
        batch: BatchId,
        at: ProbeAt,
    },
    /// A cook goes on and nobody knows how hot the pot is.
    TemperatureUnknown {
        batch: BatchId,
        at: ProbeAt,
    },
    /// Heating fast near or inside its window.
    HeatingFast {
        batch: BatchId,
        at: ProbeAt,
    },
    /// The journal cannot be written.
    NotRecording,
    /// Nobody has looked at the pot though it was due.
    LookMissed {
        batch: BatchId,
    },
    /// More caustic is on record than the fats on record take.
    LyeHeavy {
        batch: BatchId,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    Low,
    Medium,
    High,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmChange {
    /// Normal → active, unacknowledged.
    Raised,
    Acknowledged,
    /// The condition has gone; stays shown until acknowledged, and while it latches.
    ReturnedToNormal,
    /// A latched alarm was let go by the act or the reading that alone may do so.
    Reset,
}

impl AlarmId {
    pub fn batch(&self) -> Option<&BatchId> {
        match self {
            AlarmId::CausticOver { batch, .. }
            | AlarmId::PouringBlind { batch, .. }
            | AlarmId::TemperatureHigh { batch, .. }
            | AlarmId::TemperatureHighHigh { batch, .. }
            | AlarmId::TemperatureLow { batch, .. }
            | AlarmId::TemperatureUnknown { batch, .. }
            | AlarmId::HeatingFast { batch, .. }
            | AlarmId::LookMissed { batch }
            | AlarmId::LyeHeavy { batch } => Some(batch),
            AlarmId::InstrumentLost { .. } | AlarmId::NotRecording => None,
        }
    }

    pub const fn priority(&self) -> Priority {
        match self {
            AlarmId::CausticOver { .. }
            | AlarmId::PouringBlind { .. }
            | AlarmId::LyeHeavy { .. }
            | AlarmId::TemperatureHighHigh { .. } => Priority::High,
            AlarmId::InstrumentLost { .. }
            | AlarmId::TemperatureHigh { .. }
            | AlarmId::TemperatureUnknown { .. }
            | AlarmId::HeatingFast { .. }
            | AlarmId::LookMissed { .. }
            | AlarmId::NotRecording => Priority::Medium,
            AlarmId::TemperatureLow { .. } => Priority::Low,
        }
    }

    /// Stays until reset even when its condition has gone.
    pub const fn latches(&self) -> bool {
        matches!(self, AlarmId::CausticOver { .. })
    }
}

/// An alarm that is in the operator's view. One that is normal and acknowledged is not kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alarm {
    pub active: bool,
    pub acknowledged: bool,
    /// When it was last raised.
    pub since: Moment,
    pub detail: String,
}

/// What a watch finds at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Finding {
    pub verdict: Verdict,
    pub on_delay: Span,
    pub off_delay: Span,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Beyond,
    Within,
    /// Inside the deadband, or not known: an alarm stays as it is, and none begins.
    Holds,
}

/// Since when a verdict has stood; volatile.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Watch {
    beyond_since: Option<Moment>,
    within_since: Option<Moment>,
}

impl Watch {
    /// Takes a verdict and says what becomes of the alarm, if anything does.
    pub fn judge(
        &mut self,
        now: Moment,
        finding: &Finding,
        alarm: Option<&Alarm>,
        latches: bool,
    ) -> Option<AlarmChange> {
        let keep = |since: Option<Moment>, holds: bool| holds.then(|| since.unwrap_or(now));
        self.beyond_since = keep(self.beyond_since, finding.verdict == Verdict::Beyond);
        self.within_since = keep(self.within_since, finding.verdict == Verdict::Within);
        let active = alarm.is_some_and(|alarm| alarm.active);
        let passed =
            |since: Option<Moment>, delay: Span| since.is_some_and(|s| now.since(s) >= delay);
        if !active && passed(self.beyond_since, finding.on_delay) {
            return Some(AlarmChange::Raised);
        }
        if active && passed(self.within_since, finding.off_delay) {
            return Some(if latches { AlarmChange::Reset } else { AlarmChange::ReturnedToNormal });
        }
        None
    }

    /// When the verdict, if it stands, will change the alarm.
    pub fn deadline(&self, finding: &Finding, active: bool) -> Option<Moment> {
        if active {
            self.within_since.map(|since| since + finding.off_delay)
        } else {
            self.beyond_since.map(|since| since + finding.on_delay)
        }
    }
}

/// The alarm after a change; `None` once nothing of it is left to show.
pub fn after(alarm: Option<Alarm>, at: Moment, change: AlarmChange, detail: &str) -> Option<Alarm> {
    let mut alarm = alarm.unwrap_or_else(|| Alarm {
        active: false,
        acknowledged: false,
        since: at,
        detail: String::new(),
    });
    match change {
        AlarmChange::Raised => {
            alarm =
                Alarm { active: true, acknowledged: false, since: at, detail: detail.to_owned() };
        }
        AlarmChange::Acknowledged => alarm.acknowledged = true,
        AlarmChange::ReturnedToNormal | AlarmChange::Reset => alarm.active = false,
    }
    (alarm.active || !alarm.acknowledged).then_some(alarm)
}

impl fmt::Display for AlarmId {
    /// One word a person can type after "acknowledge".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AlarmId::CausticOver { batch, .. } => write!(f, "caustic-over/{batch}"),
            AlarmId::PouringBlind { batch, .. } => write!(f, "pouring-blind/{batch}"),
            AlarmId::InstrumentLost { instrument } => write!(f, "instrument-lost/{instrument}"),
            AlarmId::TemperatureHigh { batch, at } => write!(f, "high-{}/{batch}", at.words()),
            AlarmId::TemperatureHighHigh { batch, at } => {
                write!(f, "high-high-{}/{batch}", at.words())
            }
            AlarmId::TemperatureLow { batch, at } => write!(f, "low-{}/{batch}", at.words()),
            AlarmId::TemperatureUnknown { batch, at } => {
                write!(f, "unknown-{}/{batch}", at.words())
            }
            AlarmId::HeatingFast { batch, at } => write!(f, "heating-{}/{batch}", at.words()),
            AlarmId::NotRecording => f.write_str("not-recording"),
            AlarmId::LookMissed { batch } => write!(f, "look-missed/{batch}"),
            AlarmId::LyeHeavy { batch } => write!(f, "lye-heavy/{batch}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: i64) -> Moment {
        Moment::from_nanos(0) + Span::from_millis(ms)
    }

    fn finding(verdict: Verdict) -> Finding {
        Finding { verdict, on_delay: Span::from_millis(500), off_delay: Span::from_secs(2) }
    }

    #[test]
    fn the_on_delay_is_whole_and_unbroken() {
        let mut watch = Watch::default();
        let beyond = finding(Verdict::Beyond);
        assert_eq!(watch.judge(at(0), &beyond, None, false), None);
        assert_eq!(watch.deadline(&beyond, false), Some(at(500)));
        assert_eq!(watch.judge(at(499), &beyond, None, false), None);
        assert_eq!(watch.judge(at(500), &beyond, None, false), Some(AlarmChange::Raised));
        let mut watch = Watch::default();
        watch.judge(at(0), &beyond, None, false);
        watch.judge(at(300), &finding(Verdict::Within), None, false);
        assert_eq!(watch.judge(at(600), &beyond, None, false), None);
    }

    #[test]
    fn the_deadband_holds_and_the_off_delay_returns() {
        let alarm = after(None, at(0), AlarmChange::Raised, "hot");
        let mut watch = Watch::default();
        assert_eq!(watch.judge(at(0), &finding(Verdict::Within), alarm.as_ref(), false), None);
        assert_eq!(watch.judge(at(1000), &finding(Verdict::Holds), alarm.as_ref(), false), None);
        assert_eq!(watch.judge(at(1500), &finding(Verdict::Within), alarm.as_ref(), false), None);
        let change = watch.judge(at(3500), &finding(Verdict::Within), alarm.as_ref(), false);
        assert_eq!(change, Some(AlarmChange::ReturnedToNormal));
        let change = watch.judge(at(3500), &finding(Verdict::Within), alarm.as_ref(), true);
        assert_eq!(change, Some(AlarmChange::Reset));
    }

    /// ISA-18.2: an alarm leaves the view only when it is both normal and acknowledged.
    #[test]
    fn both_memories_must_be_clear() {
        let raised = after(None, at(0), AlarmChange::Raised, "hot");
        let returned = after(raised.clone(), at(1), AlarmChange::ReturnedToNormal, "");
        assert!(returned.is_some());
        assert_eq!(after(returned, at(2), AlarmChange::Acknowledged, ""), None);
        let acknowledged = after(raised, at(1), AlarmChange::Acknowledged, "");
        assert!(acknowledged.as_ref().is_some_and(|alarm| alarm.active));
        assert_eq!(after(acknowledged, at(2), AlarmChange::ReturnedToNormal, ""), None);
    }
}
