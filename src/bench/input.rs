use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::alarm::AlarmId;
use super::fact::{BatchId, Observation, Outcome, PromptId, Remedy, SessionOpened};
use super::setup::ProbeAt;
use crate::plan::{ControlRecipe, TestMethod, TestValue};
use crate::quantity::{Mass, Temperature};
use crate::reading::{Channel, Reading};
use crate::recipe::InPot;

/// Anything that reaches the bench. Each gets one bench-wide sequence number where it is received.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// The daemon has started: instruments as the bench file names them, and how long nobody
    /// watched.
    Session(SessionOpened),
    Reading(Reading),
    /// A frame came that may not be read: refused checksum, unknown shape.
    Refused {
        instrument: String,
    },
    InstrumentLost {
        instrument: String,
        why: String,
    },
    InstrumentBack {
        instrument: String,
    },
    Act(Act),
    Journal(JournalStatus),
    /// How many screens have passed a sound test and can be heard.
    Hearing {
        audible: u32,
    },
    /// Time has passed; nothing else did.
    Tick,
}

/// What the journal says of itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum JournalStatus {
    /// Every fact up to and including this number is on the disk.
    Committed {
        up_to: u64,
    },
    Failed {
        why: String,
    },
}

/// What an operator does, by key, pedal, touch or command. Answers name the prompt they answer.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Act {
    Start {
        batch: BatchId,
        control: Arc<ControlRecipe>,
        /// Who is at the bench; blank is kept as blank.
        operator: Option<String>,
        /// Oils that are in the pot already: on record with the start, or not at all.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        in_pot: Vec<InPot>,
    },
    Confirm {
        prompt: PromptId,
    },
    Choose {
        prompt: PromptId,
        remedy: Remedy,
    },
    /// Of several vessels that weigh alike, this one stands on the pan.
    Vessel {
        prompt: PromptId,
        vessel: String,
    },
    /// A mass declared by hand, marked so for ever.
    Declare {
        batch: BatchId,
        ingredient: crate::chemistry::IngredientId,
        mass: Mass,
    },
    /// A mass on record was wrong: this one counts from now on, with the reason.
    Correct {
        batch: BatchId,
        ingredient: crate::chemistry::IngredientId,
        mass: Mass,
        reason: String,
    },
    /// Another bottle of what is being weighed is opened.
    Lot {
        batch: BatchId,
        lot: String,
    },
    /// What can be done about too much or too little caustic?
    AskRemedy {
        batch: BatchId,
    },
    Observe {
        batch: BatchId,
        observation: Observation,
        note: String,
    },
    Acknowledge {
        alarm: AlarmId,
    },
    /// The probe is taken out for stirring: its alarms wait, and come back by themselves.
    ProbeOut {
        batch: BatchId,
        at: ProbeAt,
    },
    /// A hand-held probe is now here.
    Hold {
        batch: BatchId,
        channel: Channel,
        at: ProbeAt,
        /// Until it is said otherwise, however long that is.
        stays: bool,
    },
    /// The hand-held probe is nowhere any more.
    PutAway {
        channel: Channel,
    },
    /// A temperature read off a thermometer of the operator's own, marked "by hand" for ever.
    Measured {
        batch: BatchId,
        at: ProbeAt,
        temperature: Temperature,
    },
    /// The soap was tested.
    Test {
        batch: BatchId,
        /// A test of the recipe, or another that then needs its method and sample.
        test: String,
        method: Option<TestMethod>,
        sample: Option<String>,
        value: TestValue,
    },
    /// The scale is now with this batch.
    Scale {
        batch: BatchId,
    },
    /// The pan is empty: the scale is told to call that zero.
    Zero {
        channel: Channel,
    },
    /// This probe now stands with this batch.
    Probe {
        batch: BatchId,
        channel: Channel,
    },
    /// The emergency card is opened; timers go on.
    Emergency,
    /// Quiet for at most a minute; neither acknowledges nor resets.
    Silence,
    /// The step's work is done as far as it will be: end the cook, leave the wait.
    Advance {
        batch: BatchId,
        step: String,
    },
    Abandon {
        batch: BatchId,
        reason: String,
    },
    Close {
        batch: BatchId,
        outcome: Outcome,
        note: String,
    },
}

impl Act {
    /// A batch with an empty pot, and nobody named.
    pub fn start(batch: BatchId, control: Arc<ControlRecipe>) -> Act {
        Act::Start { batch, control, operator: None, in_pot: Vec::new() }
    }
}
