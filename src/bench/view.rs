use serde::{Deserialize, Serialize};

use super::alarm::{AlarmId, Priority};
use super::fact::{Ask, BatchId, CaptureHow, PromptId, Target};
use super::input::Act;
use super::setup::{ProbeAt, Role};
use super::zeroing::ZeroCame;
use crate::chemistry::{DissolveVerdict, ExpectedLye, IngredientId};
use crate::plan::{TestMethod, Units, Vessel, Window};
use crate::quantity::{Mass, Span, Temperature, TemperatureDelta};
use crate::reading::{Channel, Status, Value};

/// One whole picture of the bench: all that any screen shows, and nothing a screen must work out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    pub channels: Vec<ChannelView>,
    pub batches: Vec<BatchView>,
    /// Worst first.
    pub alarms: Vec<AlarmView>,
    pub journal: JournalView,
    /// Silenced for this much longer.
    pub silenced: Option<Span>,
    /// A step that must be heard runs, and no screen has passed a sound test.
    pub nobody_hears: bool,
    /// How the ports do. Counted by those who read them, beside the law.
    #[serde(default)]
    pub instruments: Vec<InstrumentView>,
}

/// What one instrument has sent since the daemon started.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentView {
    pub instrument: String,
    pub port: String,
    pub open: bool,
    /// The port is open and yet of no use: silent, unreadable, frozen; and what to look at.
    pub trouble: Option<String>,
    pub bytes: u64,
    pub readings: u64,
    /// Frames that could not be read.
    pub refused: u64,
    /// Bytes that came with a wrong parity or stop bit.
    pub damaged: u64,
    /// Times the port was opened.
    pub opened: u64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelView {
    pub channel: Channel,
    pub instrument: String,
    pub role: Role,
    /// `None` when there is no value, or when it is older than it may be: shown as "—".
    pub value: Option<Value>,
    pub status: Option<Status>,
    pub stable: bool,
    /// Age of the last reading.
    pub age: Option<Span>,
    pub lost: Option<String>,
    /// A scale that can be told to take a zero.
    #[serde(default)]
    pub zeroes: bool,
    /// What became of it when it was last told.
    #[serde(default)]
    pub zero: Option<ZeroCame>,
    /// For probes: the last ten minutes, oldest first.
    #[serde(default)]
    pub trace: Vec<TracePoint>,
    /// Where a hand-held probe is said to be; nowhere, it counts for nothing.
    #[serde(default)]
    pub held: Option<HeldView>,
    /// The batch that has it.
    #[serde(default)]
    pub holder: Option<BatchId>,
}

/// One point of a drawn line; without a temperature it is a gap.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TracePoint {
    pub age: Span,
    pub temperature: Option<Temperature>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeldView {
    pub batch: BatchId,
    pub at: ProbeAt,
    /// It has come to show the place it is in.
    pub settled: bool,
    /// For this much longer; `None`: until it is said otherwise.
    pub left: Option<Span>,
}

/// A temperature that no fixed probe shows, with its age.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownView {
    pub at: ProbeAt,
    pub temperature: Temperature,
    pub source: Source,
    pub age: Span,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// A probe that always stands there.
    Probe,
    /// A hand-held probe that is there now.
    HandHeld,
    /// A hand-held probe that was there.
    Spot,
    /// The operator.
    ByHand,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BatchView {
    pub batch: BatchId,
    /// How it is called: "pot B".
    #[serde(default)]
    pub pot: String,
    /// The scale is with it.
    #[serde(default)]
    pub has_scale: bool,
    /// It waits for the scale, or for the caustic of another: the sentence says why.
    #[serde(default)]
    pub waits: bool,
    pub recipe: String,
    pub units: Units,
    pub step: String,
    pub step_number: usize,
    pub step_count: usize,
    pub title: String,
    /// The one thing to do, in one sentence.
    pub sentence: String,
    pub hazards: Vec<String>,
    pub weighing: Option<WeighingView>,
    /// Temperatures of this batch that no fixed probe shows.
    #[serde(default)]
    pub temperatures: Vec<KnownView>,
    pub cook: Option<CookView>,
    #[serde(default)]
    pub cool: Option<CoolView>,
    pub combine: Option<CombineView>,
    pub lye: Option<LyeView>,
    pub prompt: Option<PromptView>,
    pub captures: Vec<CaptureView>,
    /// What comes after this step.
    pub next: Option<String>,
    /// What may be done unasked, in this step.
    #[serde(default)]
    pub offers: Vec<AnswerView>,
    /// Where a hand-held probe may be said to be.
    #[serde(default)]
    pub probes: Vec<AnswerView>,
    /// Where a temperature typed by hand tells something.
    #[serde(default)]
    pub places: Vec<ProbeAt>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WeighingView {
    pub ingredient: IngredientId,
    pub name: String,
    /// The pot, or a vessel of its own.
    pub into: Vessel,
    pub phase: Phase,
    pub target: Target,
    /// `None` when the scale's value is too old, in doubt, or the vessel is not there.
    pub net: Option<Mass>,
    /// Target less net.
    pub left: Option<Mass>,
    pub pace: Pace,
    /// Which vessel of the register it is, in words; `None` without a register or a vessel.
    #[serde(default)]
    pub vessel: Option<String>,
    /// What the scale and the vessel have left.
    #[serde(default)]
    pub room: Option<RoomView>,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoomView {
    /// Capacity of the scale less what is on the pan, if the pan tells.
    pub left: Option<Mass>,
    /// What does not fit, or hardly, and what to do; empty where all is well.
    pub tight: Vec<String>,
}

/// How to go on pouring, from the rate and from what is left.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pace {
    #[default]
    Free,
    Slow,
    Stop,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    AwaitingVessel,
    Taring,
    Pouring,
    Settling,
    Captured,
    Over,
    Lifted,
    Blind,
    /// After a silence the pan does not carry what the books say.
    ZeroDoubted,
    /// Something is to be taken out of the vessel: the target is what is to be left.
    TakingOut,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CookView {
    pub at: ProbeAt,
    pub window: Window,
    /// Warned above the first, alarmed above the second.
    #[serde(default)]
    pub limits: Option<(Temperature, Temperature)>,
    /// Cook time so far: from reaching the window, while somebody knew how hot the pot was.
    pub watched: Span,
    /// Why cook time does not count just now, in words; `None` while it does.
    #[serde(default)]
    pub standing: Option<String>,
    pub duration: Span,
    pub next_look: Option<Span>,
    /// The probe is out for stirring for this much longer.
    pub shelved: Option<Span>,
    /// Tests to be passed before it ends.
    #[serde(default)]
    pub tests: Vec<TestView>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TestView {
    pub name: String,
    pub method: TestMethod,
    /// How the sample is made.
    pub sample: String,
    /// What passes, in words.
    pub limit: String,
    /// The words that pass, where the test gives a word.
    #[serde(default)]
    pub passes: Vec<String>,
    pub attempts: u32,
    /// What the newest attempt says; `None` before the first.
    pub passed: Option<bool>,
    /// A zap is not, after too much caustic.
    pub offered: bool,
    /// What to mind with this method.
    pub note: Option<String>,
}

/// An addition that waits for the pot to cool.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CoolView {
    pub below: Temperature,
    pub now: Option<Temperature>,
    /// Why not yet, in words; empty when it may go in.
    pub not_yet: Vec<String>,
}

/// The lye while it dissolves, against what its caustic should make of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LyeView {
    pub expected: ExpectedLye,
    /// The highest temperature seen so far.
    pub peak: Option<Temperature>,
    pub verdict: Option<DissolveVerdict>,
}

/// Oils and lye against their windows, before they come together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CombineView {
    pub oils: Option<Window>,
    pub lye: Option<Window>,
    pub difference_max: Option<TemperatureDelta>,
    /// Why not yet, in words; empty when they may come together.
    pub not_yet: Vec<String>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PromptView {
    pub prompt: PromptId,
    pub asks: Ask,
    pub words: String,
    /// The same without the ways out, for a screen that shows those as buttons.
    #[serde(default)]
    pub question: String,
    /// What may be answered, the usual answer first.
    #[serde(default)]
    pub answers: Vec<AnswerView>,
}

/// Something an operator may do, as a button says it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AnswerView {
    pub words: String,
    pub act: Act,
    /// Held for a second, so that no knock and no splash chooses it.
    pub hold: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CaptureView {
    pub ingredient: IngredientId,
    pub name: String,
    pub target: Mass,
    pub net: Mass,
    pub how: CaptureHow,
    /// On the disk.
    pub recorded: bool,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlarmView {
    pub alarm: AlarmId,
    pub priority: Priority,
    pub active: bool,
    pub acknowledged: bool,
    pub latched: bool,
    /// What is wrong and what to do.
    pub words: String,
    pub age: Span,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct JournalView {
    /// Why nothing is being recorded, if so.
    pub failed: Option<String>,
    /// Facts decided and not yet on the disk.
    pub waiting: u64,
    /// Facts up to this number are on the disk.
    pub committed: u64,
}
