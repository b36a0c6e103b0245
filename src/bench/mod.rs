//! The bench law: inputs in, facts and cues out. No clock, file, port or thread in here.

mod acts;
mod alarm;
mod cue;
mod fact;
mod input;
mod law;
mod picture;
mod progress;
mod senses;
mod settings;
mod setup;
mod state;
mod view;
mod watches;
mod weighing;
mod words;

pub use alarm::{AlarmChange, AlarmId, Priority};
pub use cue::Cue;
pub use fact::{
    Ask, BatchId, CaptureHow, FACT_VERSION, Fact, Numbered, Observation, Outcome, PromptId, Remedy,
    SessionOpened, Target,
};
pub use input::{Act, Input, JournalStatus};
pub use law::{Bench, Output, Reply};
pub use settings::Settings;
pub use setup::{ChannelSetup, ProbeAt, Role, Setup};
pub use state::{Batch, State};
pub use view::{
    AlarmView, BatchView, CaptureView, ChannelView, CookView, JournalView, Phase, PromptView, View,
    WeighingView,
};
