use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::settings::Settings;
use super::vessels::KnownVessel;
use crate::chemistry::ScaleFacts;
use crate::quantity::{MassUnit, Span, TemperatureUnit};
use crate::reading::Channel;

/// What the bench file says of the channels, frozen into each session.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Setup {
    pub channels: Vec<ChannelSetup>,
    /// The SHA-256 of the bench file, in hex.
    pub digest: String,
    #[serde(default)]
    pub settings: Arc<Settings>,
    /// The register of vessels.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub vessels: Vec<KnownVessel>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelSetup {
    pub channel: Channel,
    /// The instrument that feeds it, as named in the bench file.
    pub instrument: String,
    pub role: Role,
    /// How far apart its readings normally come.
    pub period: Span,
    /// Its wire sheet has the command that sets it to zero.
    #[serde(default)]
    pub zeroes: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    Scale { facts: ScaleFacts, unit: MassUnit },
    Probe { at: ProbeAt, unit: TemperatureUnit },
}

/// Where a probe stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeAt {
    Oils,
    Lye,
    Pot,
    Room,
    /// In somebody's hand: it counts for nothing until it is said where it is.
    Hand,
}

impl Setup {
    pub fn channel(&self, channel: &Channel) -> Option<&ChannelSetup> {
        self.channels.iter().find(|setup| &setup.channel == channel)
    }

    /// The channels one instrument feeds.
    pub fn fed_by<'a>(&'a self, instrument: &'a str) -> impl Iterator<Item = &'a ChannelSetup> {
        self.channels.iter().filter(move |setup| setup.instrument == instrument)
    }

    /// Every instrument once, in the order of the bench file.
    pub fn instruments(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for setup in &self.channels {
            if !names.contains(&setup.instrument.as_str()) {
                names.push(&setup.instrument);
            }
        }
        names
    }

    pub fn scale(&self) -> Option<(&ChannelSetup, ScaleFacts)> {
        self.channels.iter().find_map(|setup| match setup.role {
            Role::Scale { facts, .. } => Some((setup, facts)),
            Role::Probe { .. } => None,
        })
    }

    pub fn probe(&self, at: ProbeAt) -> Option<&ChannelSetup> {
        self.channels
            .iter()
            .find(|setup| matches!(setup.role, Role::Probe { at: here, .. } if here == at))
    }
}

impl ProbeAt {
    pub const fn words(self) -> &'static str {
        match self {
            ProbeAt::Oils => "oils",
            ProbeAt::Lye => "lye",
            ProbeAt::Pot => "pot",
            ProbeAt::Room => "room",
            ProbeAt::Hand => "hand-held",
        }
    }
}
