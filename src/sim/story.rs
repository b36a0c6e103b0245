//! What a story says, once it has been read: inputs in, facts and cues out.
//!
//! One form serves the demo, the tests and a bug report. [`parse()`](super::parse()) reads it,
//! [`run()`](super::run()) plays it.

use crate::bench::{Observation, Outcome, ProbeAt, Remedy};
use crate::chemistry::IngredientId;
use crate::plan::{TestMethod, TestValue};
use crate::quantity::{Mass, MassUnit, Share, Span, Temperature};
use crate::reading::Status;
use crate::recipe::InPot;

#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    pub title: String,
    /// Name of a control recipe, see [`fixture`](super::fixture).
    pub recipe: String,
    /// Name of a bench, see [`fixture`](super::fixture).
    pub bench: String,
    pub seed: u64,
    /// So many batches of the recipe at once, each with hands of its own.
    pub pots: usize,
    /// The story ends here at the latest.
    pub until: Span,
    /// Somebody works at the bench, with real masses on the pan. Without: inputs alone.
    pub hand: Option<Orders>,
    pub faults: Vec<Fault>,
    pub inputs: Vec<Line>,
    pub expect: Option<Expect>,
}

/// How the hand departs from good work.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Orders {
    /// Pours this much above the target (below, where negative).
    pub off_target: Vec<(IngredientId, Mass)>,
    /// Tips in this much more than was weighed, and says so when it has dissolved.
    pub tips_more: Option<(IngredientId, Mass)>,
    /// Over-poured caustic: discards instead of spooning back.
    pub discards: bool,
    /// Leaves the room at the first time, for the second.
    pub away: Vec<(Span, Span)>,
    /// Forgets the heat until the pot is this hot.
    pub overheats_to: Option<Temperature>,
    /// Does not answer when a look is due.
    pub ignores_looks: bool,
    /// Where no probe tells how hot the pot is, reads it off a thermometer and says so.
    pub measures: bool,
}

/// Something goes wrong with an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    pub kind: FaultKind,
    /// The instrument; for a dead probe the channel.
    pub of: String,
    pub when: When,
    /// `None`: to the end, or at once over.
    pub lasts: Option<Span>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// The port goes, and comes back after.
    Unplug,
    /// Bytes that are no frames.
    Garbage,
    /// Says its last frame again and again.
    Freeze,
    /// This share of the frames is never sent.
    DropOuts(Share),
    /// The zero walks this far in a minute.
    Drift(Mass),
    /// Somebody bumps the table.
    Knock,
    /// Somebody presses the unit key.
    Unit(MassUnit),
    /// Sleeps, and wakes with the load of that moment as its zero.
    Sleep,
    /// The probe's cable is broken.
    DeadProbe,
    /// Sends at another pace.
    Period(Span),
    /// The zero slips by this much at once: a foot of the scale has moved.
    Slip(Mass),
    /// Somebody takes the vessel off the pan, and puts it back after.
    Lift,
    /// Somebody takes the vessel off, and puts another one in its place after.
    Swap,
}

#[derive(Clone, Debug, PartialEq)]
pub enum When {
    At(Span),
    /// When this share of the target is on the pan.
    Poured(IngredientId, Share),
    /// When so much cook time is on the screen.
    Cooked(Span),
}

/// One input, check or wait.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Line number in the text, from 1.
    pub number: usize,
    pub at: At,
    /// The batch that is meant, by the letter of its number; otherwise the first.
    pub pot: Option<char>,
    pub does: Does,
    /// As written, for messages.
    pub text: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    Time(Span),
    /// When the line before is over.
    Then,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Does {
    Start {
        operator: Option<String>,
    },
    /// One reading.
    Reading {
        channel: String,
        level: Level,
        status: Status,
    },
    /// The channel reads this at its own pace until told otherwise.
    Reads {
        channel: String,
        level: Level,
        status: Status,
    },
    /// The channel moves from where it is, at this pace a second, and then reads the end.
    Moves {
        channel: String,
        to: Level,
        per_second: f64,
        status: Status,
    },
    Silent {
        channel: String,
    },
    Refused {
        instrument: String,
    },
    Lost {
        instrument: String,
        why: String,
    },
    Back {
        instrument: String,
    },
    Confirm {
        prompt: Option<u64>,
    },
    Choose {
        remedy: Remedy,
    },
    /// In the pot from the start, which comes after it.
    InPot(InPot),
    /// Of vessels that weigh alike, this one.
    Vessel {
        vessel: String,
    },
    Correct {
        ingredient: IngredientId,
        mass: Mass,
        reason: String,
    },
    AskRemedy,
    /// Another bottle is opened.
    Lot {
        lot: String,
    },
    Declare {
        ingredient: IngredientId,
        mass: Mass,
    },
    Observe {
        observation: Observation,
        note: String,
    },
    /// An alarm by its name without the batch: "caustic-over".
    Acknowledge {
        alarm: String,
    },
    /// The probe is out for stirring.
    ProbeOut {
        at: ProbeAt,
    },
    /// A hand-held probe is here now.
    Hold {
        channel: String,
        at: ProbeAt,
        stays: bool,
    },
    PutAway {
        channel: String,
    },
    /// Read off by hand.
    Measured {
        at: ProbeAt,
        temperature: Temperature,
    },
    /// The soap is tested.
    Test {
        test: String,
        method: Option<TestMethod>,
        sample: Option<String>,
        value: TestValue,
    },
    /// The scale is now with this batch.
    TakeScale,
    /// The scale is told to take a zero.
    TakeZero {
        channel: String,
    },
    /// This probe is now with this batch.
    TakeProbe {
        channel: String,
    },
    Emergency,
    /// So many screens can be heard.
    Hearing {
        audible: u32,
    },
    Silence,
    Advance {
        step: String,
    },
    Abandon {
        reason: String,
    },
    Close {
        outcome: Outcome,
        note: String,
    },
    JournalFails {
        why: String,
    },
    /// The disk says nothing: neither done nor failed.
    JournalHolds,
    /// All is on the disk, and it is quick again.
    JournalCommits,
    /// The process is killed, and started again after so long.
    Restart {
        after: Span,
    },
    Tick,
    Wait(Span),
    Check(Check),
}

/// What a channel reads.
#[derive(Clone, Debug, PartialEq)]
pub enum Level {
    /// A sum of vessels, of marks of the present weighing, and of a mass.
    Mass(Vec<Term>),
    Temperature(Temperature),
    /// A condition instead of a number.
    None,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Term {
    Mass(Mass),
    /// The empty weight of a vessel of the bench.
    Vessel(String),
    Mark(Mark),
}

/// A mark of the weighing that is going on, as a person reads it off the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    Target,
    Low,
    High,
    /// The guard, rounded down to what the scale can show.
    Guard,
}

/// What must be so at this moment; blessing never touches a check.
#[derive(Clone, Debug, PartialEq)]
pub enum Check {
    /// A line of the trace so far begins like this.
    Seen(String),
    Unseen(String),
    /// The screen shows this, as [`short::screen`](super::short) writes it.
    Screen(String),
    ScreenNot(String),
    /// The last act was answered like this: "done", "already-done", "refused".
    Answer(String),
}

/// The whole of what must come out; blessing writes it anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expect {
    pub shows: Shows,
    pub lines: Vec<String>,
    /// Line number of the heading in the text, from 1.
    pub number: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    Facts,
    FactsAndCues,
}

impl Orders {
    pub fn off_target_grams(&self, ingredient: &IngredientId) -> f64 {
        let found = self.off_target.iter().find(|(id, _)| id == ingredient);
        found.map_or(0.0, |(_, mass)| mass.grams())
    }

    pub fn is_away(&self, now: Span) -> bool {
        self.away.iter().any(|&(from, lasts)| from <= now && now < from + lasts)
    }
}
