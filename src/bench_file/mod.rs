//! The bench file: instruments, channels, roles, units, limits and vessels of one bench.

pub mod edit;
pub mod heard;
mod instrument;
mod law;
mod read;
mod vessel;

use std::sync::Arc;

use crate::bench::{ChannelSetup, Role, Settings, Setup};
use crate::plan::Units;
use crate::quantity::{Mass, Span};

pub use instrument::{ChannelFile, Instrument, Parity, ScaleFile, SerialOverrides, StopBits};
pub use vessel::{Material, Purpose, VesselFile};

/// A complete bench file with a remark for every key: what a maker starts from.
pub const EXAMPLE: &str = include_str!("example.toml");

/// A bench file, checked: one scale and one room probe at most, each channel with one role, each port used once.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchFile {
    pub file: String,
    /// SHA-256 of the file's text, in hex.
    pub digest: String,
    pub name: Option<String>,
    pub units: Units,
    /// Metres above the sea; water boils lower up there.
    pub altitude_m: i32,
    pub instruments: Vec<Instrument>,
    pub vessels: Vec<VesselFile>,
    /// The figures of the bench law.
    pub settings: Settings,
    /// A command and its arguments, to be run when an alarm sounds and nobody may be near.
    pub alarm_command: Vec<String>,
}

/// How often a scale of the bench usually speaks when neither file nor sheet says. Ours.
const SCALE_PERIOD: Span = Span::from_millis(200);
/// How often a probe usually speaks. Ours.
const PROBE_PERIOD: Span = Span::from_secs(1);

impl BenchFile {
    /// What the bench law knows of the channels, frozen into each session.
    pub fn setup(&self) -> Setup {
        let channels = self.instruments.iter().flat_map(|instrument| {
            instrument.channels.iter().map(|channel| ChannelSetup {
                channel: channel.channel.clone(),
                instrument: instrument.name.clone(),
                role: channel.role,
                period: channel.period.unwrap_or(match channel.role {
                    Role::Scale { .. } => SCALE_PERIOD,
                    Role::Probe { .. } => PROBE_PERIOD,
                }),
                // what its wire sheet has, the bench file does not know
                zeroes: false,
            })
        });
        Setup {
            channels: channels.collect(),
            digest: self.digest.clone(),
            settings: Arc::new(self.settings.clone()),
            vessels: self.vessels.iter().map(VesselFile::known).collect(),
        }
    }

    /// The scale of the bench, with what its plate says.
    pub fn scale(&self) -> Option<(&ChannelFile, &ScaleFile)> {
        self.instruments
            .iter()
            .flat_map(|instrument| &instrument.channels)
            .find_map(|channel| channel.scale.as_ref().map(|scale| (channel, scale)))
    }

    pub fn vessel(&self, name: &str) -> Option<&VesselFile> {
        self.vessels.iter().find(|vessel| vessel.name.eq_ignore_ascii_case(name.trim()))
    }

    pub fn pots(&self) -> impl Iterator<Item = &VesselFile> {
        self.vessels.iter().filter(|vessel| vessel.purpose == Purpose::Pot)
    }

    /// The only vessel for this purpose; `None` where there is none, or a choice.
    pub fn only_vessel(&self, purpose: Purpose) -> Option<&VesselFile> {
        let mut fitting = self.vessels.iter().filter(|vessel| vessel.purpose == purpose);
        fitting.next().filter(|_| fitting.next().is_none())
    }
}

impl ScaleFile {
    /// Below this the scale is not meant to be used: as its plate says, or as its class implies.
    pub fn least(&self) -> Option<Mass> {
        self.minimum.or_else(|| self.facts.verified.map(|verified| verified.minimum_capacity()))
    }
}
