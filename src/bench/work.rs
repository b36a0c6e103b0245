//! What one batch is at: the work of its present step, as far as facts tell.

use super::fact::{Ask, Target};
use super::vessels::Recognised;
use crate::quantity::{Mass, Moment, Span};

#[derive(Clone, Debug, PartialEq)]
pub enum Work {
    /// The step has not begun, or the batch has no more steps.
    Between,
    Weighing(Weighing),
    /// For the operator's word.
    Waiting,
    Cooking(Cooking),
    TakingOut(TakingOut),
}

/// What a vessel held when it came to the pan, and what is to be left in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TakingOut {
    pub from: Option<(Mass, Mass)>,
}

/// How the vessel that came back differs from the one that left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unlike {
    Lighter { by: Mass },
    Heavier { by: Mass },
}

#[derive(Clone, Debug, PartialEq)]
pub struct Weighing {
    pub target: Target,
    pub tare: Option<Mass>,
    /// The vessel of the register that it was taken for.
    pub vessel: Option<Recognised>,
    pub lifted: bool,
    /// A remedy came in between: the pan has not been seen without the vessels of that since.
    pub displaced: bool,
    pub captured: Option<Moment>,
    /// Nobody watched for a while: what is on the pan is unknown until confirmed.
    pub unconfirmed: bool,
    /// It came back at another weight than it left, and nobody has said that it is the same.
    pub unlike: Option<Unlike>,
    /// After a silence the pan does not carry what the books say.
    pub zero_doubted: bool,
    /// The empty pan has just been seen: whatever comes back is counted from it.
    pub zero_known: bool,
    /// What the books say the pan carries.
    pub expected: Option<Mass>,
    /// More was on the pan just before the captured vessel was lifted.
    pub changed_before_lift: Option<Mass>,
    /// The operator goes on though the capture is not on the disk.
    pub leave_unrecorded: bool,
}

impl Weighing {
    /// What is to be asked of the vessel before anything is captured.
    pub fn doubt(&self) -> Option<Ask> {
        if self.unconfirmed {
            return Some(Ask::StillThere);
        }
        self.unlike.map(|unlike| match unlike {
            Unlike::Lighter { by } => Ask::SameCup { lighter_by: by },
            Unlike::Heavier { by } => Ask::PouredIn { more: by },
        })
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Cooking {
    /// Counts from when the pot has reached its window, while somebody knows how hot it is.
    pub time: Stopwatch,
    /// Cook time has begun to count.
    pub begun: bool,
    pub since_look: Stopwatch,
    /// Since when a look is due.
    pub look_due: Option<Moment>,
    /// Nobody watched for a while: look at once.
    pub look_now: bool,
    /// Long enough inside the window to be watched for falling out of it.
    pub reached: bool,
}

/// Counts watched time only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stopwatch {
    before: Span,
    /// `None` while it stands still.
    since: Option<Moment>,
}

impl Stopwatch {
    pub const fn started(at: Moment) -> Stopwatch {
        Stopwatch { before: Span::ZERO, since: Some(at) }
    }

    pub const fn standing() -> Stopwatch {
        Stopwatch { before: Span::ZERO, since: None }
    }

    pub const fn runs(&self) -> bool {
        self.since.is_some()
    }

    pub fn elapsed(&self, now: Moment) -> Span {
        self.before + self.since.map_or(Span::ZERO, |since| now.since(since))
    }

    /// When `span` will have been counted, if it runs and watching goes on.
    pub fn reaches(&self, span: Span) -> Option<Moment> {
        self.since.map(|since| since + (span - self.before))
    }

    pub(super) fn set(&mut self, runs: bool, at: Moment) {
        self.before = self.elapsed(at);
        self.since = runs.then_some(at);
    }

    /// What was counted of the session before; it stands still until it is set going.
    fn carry_over(&mut self, last_seen: Option<Moment>) {
        self.before = last_seen.map_or(self.before, |last_seen| self.elapsed(last_seen));
        self.since = None;
    }
}

impl Work {
    pub(super) fn carry_over(&mut self, last_seen: Option<Moment>, at: Moment) {
        match self {
            Work::Weighing(weighing) => {
                weighing.unconfirmed = weighing.tare.is_some() && weighing.captured.is_none();
                weighing.captured = weighing.captured.map(|_| at);
            }
            Work::Cooking(cooking) => {
                cooking.time.carry_over(last_seen);
                cooking.since_look.carry_over(last_seen);
                cooking.since_look.set(true, at);
                cooking.look_due = cooking.look_due.map(|_| at);
                cooking.look_now = cooking.look_due.is_none();
            }
            Work::Between | Work::Waiting | Work::TakingOut(_) => {}
        }
    }
}
