use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::alarm::{AlarmChange, AlarmId};
use super::setup::{ProbeAt, Setup};
use super::vessels::Recognised;
use crate::chemistry::{DissolveVerdict, Guard, IngredientId};
use crate::plan::{ControlRecipe, Step, TestLimit, TestMethod, TestValue};
use crate::quantity::{Mass, MassUnit, Moment, Span, Temperature, Volume};
use crate::reading::Channel;

/// What was decided. Fold the facts and you have the state: nothing else is read at recovery.
///
/// Stored as JSON with [`FACT_VERSION`]; every shape ever shipped must decode for ever, so a field
/// may be added with a default, and none may change its meaning.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "fact", rename_all = "kebab-case")]
pub enum Fact {
    SessionOpened(SessionOpened),
    BatchStarted {
        batch: BatchId,
        control: Arc<ControlRecipe>,
        operator: Option<String>,
    },
    LeaseTaken {
        batch: BatchId,
        channel: Channel,
    },
    LeaseReturned {
        batch: BatchId,
        channel: Channel,
    },
    StepBegun {
        batch: BatchId,
        step: String,
        /// For weighings.
        #[serde(default)]
        target: Option<Target>,
        /// Cook time has facts of its own; without, as once written, it counts from here.
        #[serde(default)]
        clocked: bool,
    },
    /// The empty vessel, or the pot with what it already holds, from which the net is counted.
    Tared {
        batch: BatchId,
        step: String,
        gross: Mass,
        /// The vessel of the register that it was taken for.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        vessel: Option<Recognised>,
    },
    /// So much of an oil is in the pot already, says the operator: it is not weighed here.
    InPot {
        batch: BatchId,
        ingredient: IngredientId,
        mass: Mass,
        /// ±; `None`: as for any declared mass.
        doubt: Option<Mass>,
    },
    /// Two vessels weigh alike; the operator said which it is.
    VesselSaid {
        batch: BatchId,
        step: String,
        vessel: String,
        /// It is not this one of the register, though it weighs as much.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        not: Option<String>,
    },
    /// The vessel left the pan with the step unfinished, or came back.
    Lifted {
        batch: BatchId,
        step: String,
    },
    Returned {
        batch: BatchId,
        step: String,
        gross: Mass,
        /// Than when it left, and it is to hold caustic: some was taken out, or it is another cup.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lighter_by: Option<Mass>,
        /// Than when it left: poured in elsewhere, or something else stands there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        heavier_by: Option<Mass>,
    },
    Captured {
        batch: BatchId,
        step: String,
        ingredient: IngredientId,
        net: Mass,
        /// On the pan, vessel included; absent when declared by hand.
        gross: Option<Mass>,
        how: CaptureHow,
        /// How good a declared mass is, ±, where the operator said so.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        doubt: Option<Mass>,
    },
    /// The mass changed before the next ingredient was announced.
    Reopened {
        batch: BatchId,
        step: String,
        gross: Mass,
    },
    StepDone {
        batch: BatchId,
        step: String,
    },
    /// A vessel emptied elsewhere came back to the pan, or did not.
    VesselBack {
        batch: BatchId,
        ingredient: IngredientId,
        residue: Option<Mass>,
        verdict: BackVerdict,
    },
    /// After a silence the pan does not carry what the books say.
    ZeroDoubted {
        batch: BatchId,
        step: String,
        gross: Mass,
        expected: Mass,
    },
    /// What the empty pan read; everything counted from before moves by as much.
    ZeroChecked {
        batch: BatchId,
        step: String,
        offset: Mass,
    },
    /// The scale was told by command to take a zero, with this on the empty pan.
    ZeroAsked {
        /// The batch that holds the scale, if one does.
        batch: Option<BatchId>,
        channel: Channel,
        gross: Mass,
    },
    /// It obeyed: the empty pan reads this from now on, and what is counted moves with it.
    ZeroTaken {
        batch: Option<BatchId>,
        channel: Channel,
        offset: Mass,
    },
    /// It did not come to rest at zero in time.
    ZeroNotTaken {
        batch: Option<BatchId>,
        channel: Channel,
        /// Where it rests instead, if it does.
        gross: Option<Mass>,
        /// It may have obeyed unseen.
        #[serde(default)]
        in_doubt: bool,
    },
    /// What the peak of the lye says of its caustic.
    LyeJudged {
        batch: BatchId,
        step: String,
        peak: Temperature,
        verdict: DissolveVerdict,
    },
    /// Something about the handling worth saying and keeping.
    Noticed {
        batch: BatchId,
        step: String,
        notice: Notice,
    },
    /// The cook has been inside its window long enough to be watched for falling out of it.
    WindowReached {
        batch: BatchId,
        step: String,
    },
    /// The probe is out of the pot; its alarms come back by themselves.
    Shelved {
        batch: BatchId,
        at: ProbeAt,
        until: Moment,
    },
    /// A hand-held probe is in the lye, the oils or the pot of this batch, until it is said
    /// otherwise or the time is out; without a time it stays there.
    Held {
        batch: BatchId,
        channel: Channel,
        at: ProbeAt,
        until: Option<Moment>,
    },
    /// From now on the hand-held probe counts for nothing.
    PutAway {
        batch: BatchId,
        channel: Channel,
        why: PutAway,
    },
    /// One temperature that may be used for a while: where a hand-held probe had settled, or as the
    /// operator read it off a thermometer of their own.
    SpotRead {
        batch: BatchId,
        step: String,
        at: ProbeAt,
        temperature: Temperature,
        /// When it was so; its age counts from here.
        read_at: Moment,
        /// `None`: typed by hand, and marked so for ever.
        channel: Option<Channel>,
    },
    /// The soap was tested.
    Tested {
        batch: BatchId,
        step: String,
        /// The key of the recipe's test, or the name of one that it does not declare.
        test: String,
        name: String,
        method: TestMethod,
        /// How the sample was made.
        sample: String,
        value: TestValue,
        /// What would have passed; `None` where the recipe sets no limit for this.
        limit: Option<TestLimit>,
        passed: Option<bool>,
        /// From 1, for each test of the batch.
        attempt: u32,
    },
    /// Cook time begins to count, stands still while nobody knows how hot the pot is, or goes on.
    CookClock {
        batch: BatchId,
        step: String,
        runs: bool,
        /// From this moment.
        since: Moment,
    },
    /// The emergency card was opened; timers go on.
    EmergencyOpened {
        batch: Option<BatchId>,
    },
    PromptRaised {
        batch: BatchId,
        prompt: PromptId,
        asks: Ask,
    },
    /// No longer asked, because it was answered or because the question fell away.
    PromptClosed {
        batch: BatchId,
        prompt: PromptId,
        answered: bool,
    },
    RemedyChosen {
        batch: BatchId,
        remedy: Remedy,
        /// What it comes to on this batch: how much to take out, or to add.
        #[serde(default)]
        amount: Option<Mass>,
        /// What has to be done before the batch goes on where it was.
        #[serde(default)]
        steps: Vec<Step>,
    },
    /// An ingredient ran out: all that is still to come is brought down in proportion.
    BroughtDown {
        batch: BatchId,
        step: String,
        ingredient: IngredientId,
        /// What was planned of it, and what there was.
        from: Mass,
        to: Mass,
    },
    /// A mass on record was wrong; the record of it stays, and this one counts from now on.
    Corrected {
        batch: BatchId,
        ingredient: IngredientId,
        was: Mass,
        net: Mass,
        reason: String,
    },
    /// Another bottle of the same ingredient: from here on it is of this lot.
    LotOpened {
        batch: BatchId,
        step: String,
        ingredient: IngredientId,
        lot: String,
        /// What was in by then, if the pan told.
        net: Option<Mass>,
    },
    /// What is being weighed follows something that has just changed.
    Retargeted {
        batch: BatchId,
        step: String,
        target: Target,
    },
    /// A vessel from which something is to be taken out came to the pan.
    ContentWeighed {
        batch: BatchId,
        step: String,
        content: Mass,
        keep: Mass,
    },
    /// It holds no more than is to be kept; of what was in it the rest goes into waste.
    TakenOut {
        batch: BatchId,
        step: String,
        from: Mass,
        to: Mass,
    },
    AlarmChanged {
        alarm: AlarmId,
        change: AlarmChange,
        /// What was seen, in words an operator can act on.
        detail: String,
    },
    Silenced {
        until: Moment,
    },
    Observed {
        batch: BatchId,
        observation: Observation,
        note: String,
    },
    /// The temperature at a moment worth keeping: dissolving done, oils and lye brought together.
    Noted {
        batch: BatchId,
        step: String,
        channel: Channel,
        temperature: Temperature,
    },
    LookDue {
        batch: BatchId,
        step: String,
    },
    LookMade {
        batch: BatchId,
        step: String,
    },
    InstrumentLost {
        instrument: String,
        why: String,
    },
    InstrumentBack {
        instrument: String,
    },
    /// Facts after this one are held in memory until the journal takes them again.
    JournalLost {
        why: String,
    },
    JournalBack {
        away: Span,
    },
    BatchClosed {
        batch: BatchId,
        outcome: Outcome,
        note: String,
    },
}

/// The shape in which facts are written today.
pub const FACT_VERSION: u32 = 1;

/// A fact with its place: the number counts all facts of the journal without a gap.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Numbered {
    pub number: u64,
    pub at: Moment,
    pub fact: Fact,
}

/// The head of a session: one run of the daemon.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SessionOpened {
    pub session: u32,
    pub setup: Setup,
    /// Civil time of this moment, UTC nanoseconds since 1970, as the machine's clock had it.
    pub utc_ns: i64,
    /// How long nobody watched since the last thing recorded; `None` for the first session.
    pub unwatched: Option<Span>,
    /// The last moment of the session before, on its own clock, at which something was recorded.
    pub last_seen: Option<Moment>,
}

/// The number of a batch, given when it starts: "2026-11-25-a".
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BatchId(pub String);

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PromptId(pub u64);

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Target {
    pub mass: Mass,
    pub low: Mass,
    pub high: Mass,
    /// For caustic only.
    #[serde(default)]
    pub guard: Option<Guard>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum CaptureHow {
    /// Stable and inside the tolerance.
    Weighed,
    /// Stable but below; the operator said that it stays so.
    Short,
    /// Stable but above, not over the guard; the operator said that it stays so.
    Long,
    /// Declared, not weighed.
    ByHand,
}

/// What the operator is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ask {
    /// Stable below the tolerance: take it short?
    TakeShort { missing: Mass },
    /// Stable above the tolerance (never caustic above its guard): take it as it is?
    TakeLong { excess: Mass },
    /// Caustic above its guard.
    Remedy { options: Vec<Remedy>, excess: Mass },
    /// Too little caustic for the fats: make good for it, or leave it?
    Under { options: Vec<Remedy>, missing: Mass },
    /// All of the caustic is in the liquid, clear and stirred?
    Dissolved,
    /// The vessel of this ingredient, emptied, back on the pan; a yes goes on without.
    VesselBack { ingredient: IngredientId },
    /// Lye poured into the oils?
    Combined,
    /// Outside the windows, or not known: combine all the same?
    CombineAnyway,
    /// Look at the pot.
    Look,
    /// The cook's time is over: cooked?
    Cooked,
    /// Something speaks against ending the cook: end it all the same?
    EndCookAnyway,
    /// The pot is too hot for it, or nobody knows: is it in all the same?
    AddAnyway,
    /// Said done by the operator.
    Done,
    /// After a restart: is the same vessel on the pan, untouched?
    StillThere,
    /// The scale shows nought where the books expect a load: is the pan clear?
    PanClear,
    /// The caustic's cup came back lighter than it left: is it the same?
    SameCup { lighter_by: Mass },
    /// A vessel came back heavier than it left: was so much poured in?
    PouredIn { more: Mass },
    /// The pot came back lighter than before anything was weighed into it: is it the same?
    LighterPot { lighter_by: Mass },
    /// The capture is not on the disk: go on all the same?
    LeaveUnrecorded,
    /// More was on the pan just before the vessel was lifted: was nothing added?
    NothingAdded { more: Mass },
    /// Vessels of the register that weigh alike: which of them stands on the pan?
    WhichVessel { among: Vec<String> },
    /// It is none for this weighing: use it all the same? (Never what caustic attacks; it may be another.)
    WrongVessel { vessel: Recognised },
}

/// What the emptied vessel says of what was in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BackVerdict {
    /// Next to nothing is left in it.
    Whole,
    /// Some of it is still there.
    Residue,
    /// It did not come back.
    Unknown,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Notice {
    /// A load came at once, not by pouring.
    PutOn { mass: Mass },
    /// The pan never rests though nothing is added.
    Unsteady,
    /// The same vessel weighs differently each time it is put down.
    OffCentre,
    /// Caustic gains mass by itself.
    DrawingMoisture,
    /// The unit key was pressed.
    UnitChanged { from: MassUnit, to: MassUnit },
    /// The number has more or fewer decimals than before.
    DecimalsChanged { from: u8, to: u8 },
    /// The number of a resting pan changed by the ratio of two units, with no unit on the wire.
    UnitSuspected { before: Mass, shown: Mass },
    /// The load rose just before the vessel was lifted, after its capture.
    ChangedBeforeLift { by: Mass },
    /// A question was answered by pressing the pan twice.
    PanPressed { prompt: PromptId },
    /// With all of it in, the scale would be over its capacity by so much.
    NoRoomOnScale { lacks: Mass },
    /// With all of it in, the vessel would hold more than it may.
    NoRoomInVessel { wants: Volume, most: Volume },
    /// What was read by hand and what the probe says cannot both be right.
    TemperaturesApart { at: ProbeAt, by_hand: Temperature, probe: Temperature },
}

/// Why a hand-held probe counts for nothing any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PutAway {
    /// The operator says so.
    Said,
    /// It is somewhere else now.
    Moved,
    /// Nobody has said for a while where it is.
    TimeOut,
    /// It cools faster than what it stood in can: it has been taken out.
    TakenOut,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Remedy {
    /// Still dry: take the excess out, into waste, never back to stock.
    SpoonOut,
    /// Dissolved, not yet in the oils: use only that part of the lye which the oils take.
    UsePart,
    /// Combined: more of every oil, and liquid.
    Restore,
    /// Combined: more of the largest oil alone, and liquid.
    RestoreOne,
    /// Too little, combined: a small lye made apart.
    SmallLye,
    /// Too little: leave it, the soap keeps more free fat.
    LeaveIt,
    /// An ingredient ran out: take it short and bring down all that is still to come.
    BringDown,
    /// No sound remedy, or none wanted: dispose of it as the safety data sheet says.
    Discard,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Observation {
    Trace,
    Separation,
    Paste,
    Gel,
    Cooked,
    Foam,
    Other,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    Finished,
    Failed,
    Abandoned,
}

impl fmt::Display for BatchId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for PromptId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl Fact {
    /// The batch whose record this fact belongs to; `None` for facts of the bench.
    pub fn batch(&self) -> Option<&BatchId> {
        match self {
            Fact::BatchStarted { batch, .. }
            | Fact::LeaseTaken { batch, .. }
            | Fact::LeaseReturned { batch, .. }
            | Fact::StepBegun { batch, .. }
            | Fact::Tared { batch, .. }
            | Fact::VesselSaid { batch, .. }
            | Fact::InPot { batch, .. }
            | Fact::Lifted { batch, .. }
            | Fact::Returned { batch, .. }
            | Fact::Captured { batch, .. }
            | Fact::Reopened { batch, .. }
            | Fact::StepDone { batch, .. }
            | Fact::VesselBack { batch, .. }
            | Fact::ZeroDoubted { batch, .. }
            | Fact::ZeroChecked { batch, .. }
            | Fact::LyeJudged { batch, .. }
            | Fact::Noticed { batch, .. }
            | Fact::WindowReached { batch, .. }
            | Fact::Shelved { batch, .. }
            | Fact::Held { batch, .. }
            | Fact::PutAway { batch, .. }
            | Fact::SpotRead { batch, .. }
            | Fact::CookClock { batch, .. }
            | Fact::Tested { batch, .. }
            | Fact::PromptRaised { batch, .. }
            | Fact::PromptClosed { batch, .. }
            | Fact::RemedyChosen { batch, .. }
            | Fact::BroughtDown { batch, .. }
            | Fact::Corrected { batch, .. }
            | Fact::LotOpened { batch, .. }
            | Fact::Retargeted { batch, .. }
            | Fact::ContentWeighed { batch, .. }
            | Fact::TakenOut { batch, .. }
            | Fact::Observed { batch, .. }
            | Fact::Noted { batch, .. }
            | Fact::LookDue { batch, .. }
            | Fact::LookMade { batch, .. }
            | Fact::BatchClosed { batch, .. } => Some(batch),
            Fact::AlarmChanged { alarm, .. } => alarm.batch(),
            Fact::EmergencyOpened { batch }
            | Fact::ZeroAsked { batch, .. }
            | Fact::ZeroTaken { batch, .. }
            | Fact::ZeroNotTaken { batch, .. } => batch.as_ref(),
            Fact::SessionOpened(_)
            | Fact::Silenced { .. }
            | Fact::InstrumentLost { .. }
            | Fact::InstrumentBack { .. }
            | Fact::JournalLost { .. }
            | Fact::JournalBack { .. } => None,
        }
    }
}
