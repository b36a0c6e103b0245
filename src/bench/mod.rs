//! The bench law: inputs in, facts and cues out. No clock, file, port or thread in here.

mod acts;
mod alarm;
mod answers;
mod batch;
mod before_lift;
mod by_hand;
mod combine;
mod cook_clock;
mod cook_end;
mod cool;
mod cue;
mod detour;
mod emergency;
mod fact;
mod fold;
mod foreseen;
mod handling;
mod heat;
mod in_pot;
mod in_process;
mod input;
mod law;
mod leases;
mod lye;
mod names;
mod pace;
mod pan;
mod pan_press;
mod picture;
mod progress;
mod refusals;
mod remedies;
mod remedy_words;
mod repeat;
mod room_left;
mod same_cup;
mod senses;
mod settings;
mod setup;
mod spot;
mod state;
mod takeout;
mod target;
mod unit_key;
mod vessel_back;
mod vessels;
mod view;
mod watches;
mod weighing;
mod words;
mod work;
mod zero;
mod zeroing;

pub use alarm::{AlarmChange, AlarmId, Priority};
pub use batch::Batch;
pub use cue::Cue;
pub use detour::spread;
pub use emergency::{EmergencyCard, emergency_card};
pub use fact::{
    Ask, BackVerdict, BatchId, CaptureHow, FACT_VERSION, Fact, Notice, Numbered, Observation,
    Outcome, PromptId, PutAway, Remedy, SessionOpened, Target,
};
pub use in_pot::{BY_HAND_DOUBT, doubt_of};
pub use input::{Act, Input, JournalStatus};
pub use law::{Bench, Order, Output, Reply};
pub use senses::allowed_age;
pub use settings::{CAUSTIC_PERIOD_MAX, Settings};
pub use setup::{ChannelSetup, ProbeAt, Role, Setup};
pub use state::{Left, State};
pub use vessels::{KnownVessel, Misfit, Recognised};
pub use view::{
    AlarmView, AnswerView, BatchView, CaptureView, ChannelView, CombineView, CookView, CoolView,
    HeldView, InstrumentView, JournalView, KnownView, LyeView, Pace, Phase, PromptView, RoomView,
    Source, TestView, TracePoint, View, WeighingView,
};
pub use zeroing::ZeroCame;
