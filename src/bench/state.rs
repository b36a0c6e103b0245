//! What the facts add up to. Nothing else is recovered after a restart.

use std::collections::BTreeMap;

use super::alarm::{self, Alarm, AlarmChange, AlarmId};
use super::batch::{Batch, Held};
use super::fact::{BatchId, Fact, Numbered, Outcome, PromptId, SessionOpened};
use super::repeat::Answered;
use super::setup::{ChannelSetup, ProbeAt, Role, Setup};
use crate::chemistry::ScaleFacts;
use crate::quantity::{Mass, Moment};
use crate::reading::Channel;

#[derive(Clone, Debug, Default, PartialEq)]
pub struct State {
    pub session: Option<SessionOpened>,
    /// The moment this session began.
    pub session_at: Moment,
    /// Batches that are open.
    pub batches: BTreeMap<BatchId, Batch>,
    /// Every batch number ever used.
    pub closed: BTreeMap<BatchId, Outcome>,
    pub leases: BTreeMap<Channel, BatchId>,
    /// Scales whose pan may still carry what belongs to somebody else, or to nobody known.
    pub left: BTreeMap<Channel, Left>,
    /// What each empty pan reads, since its scale took another zero.
    pub zeros: BTreeMap<Channel, Mass>,
    /// Scales told to take a zero of which nobody knows what became, and what the pan read then.
    pub zero_asked: BTreeMap<Channel, Mass>,
    pub alarms: BTreeMap<AlarmId, Alarm>,
    pub silenced_until: Option<Moment>,
    /// Probes that are out of their pot, and until when.
    pub shelved: BTreeMap<(BatchId, ProbeAt), Moment>,
    /// Hand-held probes that stand somewhere.
    pub held: BTreeMap<Channel, Held>,
    /// Instruments whose port is gone, and why.
    pub lost: BTreeMap<String, String>,
    /// Why and since when nothing is recorded.
    pub journal_lost: Option<(Moment, String)>,
    pub last_number: u64,
    pub last_prompt: u64,
    /// Questions lately answered, and how.
    pub answers: BTreeMap<PromptId, Answered>,
}

/// What may stand on a pan though it is not of the batch that holds the scale now.
#[derive(Clone, Debug, PartialEq)]
pub struct Left {
    /// Who had the scale before.
    pub by: BatchId,
    /// It may be a cup with caustic.
    pub caustic: bool,
}

impl State {
    pub fn setup(&self) -> Setup {
        self.session.as_ref().map(|session| session.setup.clone()).unwrap_or_default()
    }

    pub fn setup_ref(&self) -> Option<&Setup> {
        self.session.as_ref().map(|session| &session.setup)
    }

    /// The scale this batch holds.
    pub fn scale_of(&self, batch: &BatchId) -> Option<(&ChannelSetup, ScaleFacts)> {
        self.setup_ref()?.channels.iter().find_map(|setup| match setup.role {
            Role::Scale { facts, .. } if self.leases.get(&setup.channel) == Some(batch) => {
                Some((setup, facts))
            }
            _ => None,
        })
    }

    /// The probe that stands in this place of this batch; the room is everybody's.
    pub fn probe_of(&self, batch: &BatchId, at: ProbeAt) -> Option<&ChannelSetup> {
        self.setup_ref()?.channels.iter().find(|setup| {
            let here = matches!(setup.role, Role::Probe { at: place, .. } if place == at);
            let ours = self.leases.get(&setup.channel) == Some(batch);
            here && (ours || at == ProbeAt::Room)
        })
    }

    fn scale_channel_of(&self, batch: &BatchId) -> Option<Channel> {
        self.scale_of(batch).map(|(setup, _)| setup.channel.clone())
    }

    fn is_scale(&self, channel: &Channel) -> bool {
        let setup = self.setup_ref().and_then(|setup| setup.channel(channel));
        setup.is_some_and(|setup| matches!(setup.role, Role::Scale { .. }))
    }

    /// What is counted for this batch is counted from the zero this scale has now.
    fn take_lease(&mut self, id: &BatchId, channel: &Channel) {
        self.leases.insert(channel.clone(), id.clone());
        if !self.is_scale(channel) {
            return;
        }
        if let (Some(&zero), Some(batch)) = (self.zeros.get(channel), self.batches.get_mut(id)) {
            batch.count_from(zero);
        }
        match self.left.get_mut(channel) {
            Some(left) if &left.by == id => {
                self.left.remove(channel);
            }
            // it was given only once the pan had been seen clear of caustic
            Some(left) => left.caustic = false,
            None => {}
        }
    }

    /// A batch with work before it may leave something on the pan; what it was weighing has gone
    /// off the pan for it, and must be seen again.
    fn return_lease(&mut self, id: &BatchId, channel: &Channel) {
        self.leases.remove(channel);
        if !self.is_scale(channel) {
            return;
        }
        let Some(batch) = self.batches.get_mut(id).filter(|batch| batch.step().is_some()) else {
            return;
        };
        let left = Left { by: id.clone(), caustic: batch.has_caustic_cup() };
        if let Some(weighing) = batch.weighing_mut().filter(|weighing| weighing.tare.is_some()) {
            weighing.lifted = true;
            weighing.unconfirmed = weighing.captured.is_none();
        }
        self.left.insert(channel.clone(), left);
    }

    pub fn apply(&mut self, numbered: &Numbered) {
        let Numbered { number, at, fact } = numbered;
        self.last_number = *number;
        self.remember_answer(fact);
        match fact {
            Fact::SessionOpened(session) => self.open_session(*at, session),
            Fact::BatchStarted { batch, control, .. } => {
                self.batches.insert(batch.clone(), Batch::new(batch, control));
            }
            Fact::LeaseTaken { batch, channel } => self.take_lease(batch, channel),
            Fact::LeaseReturned { batch, channel } => self.return_lease(batch, channel),
            Fact::AlarmChanged { alarm: id, change, detail } => {
                if let (AlarmId::CausticOver { batch, .. }, AlarmChange::Raised) = (id, change)
                    && let Some(batch) = self.batches.get_mut(batch)
                {
                    batch.over_poured = true;
                }
                let old = self.alarms.remove(id);
                if let Some(alarm) = alarm::after(old, *at, *change, detail) {
                    self.alarms.insert(id.clone(), alarm);
                }
            }
            Fact::Shelved { batch, at: place, until } => {
                self.shelved.insert((batch.clone(), *place), *until);
            }
            Fact::Held { batch, channel, at: place, until } => {
                // said again, it is still the same place
                let same = self.held.get(channel).filter(|h| &h.batch == batch && h.at == *place);
                let since = same.map_or(*at, |held| held.since);
                let held = Held { batch: batch.clone(), at: *place, since, until: *until };
                self.held.insert(channel.clone(), held);
            }
            Fact::PutAway { channel, .. } => {
                self.held.remove(channel);
            }
            Fact::Silenced { until } => self.silenced_until = Some(*until),
            Fact::InstrumentLost { instrument, why } => {
                self.lost.insert(instrument.clone(), why.clone());
            }
            Fact::InstrumentBack { instrument } => {
                self.lost.remove(instrument);
            }
            Fact::JournalLost { why } => self.journal_lost = Some((*at, why.clone())),
            Fact::JournalBack { .. } => self.journal_lost = None,
            Fact::BatchClosed { batch, outcome, .. } => {
                self.batches.remove(batch);
                self.held.retain(|_, held| &held.batch != batch);
                self.closed.insert(batch.clone(), *outcome);
            }
            Fact::PromptRaised { prompt, .. } => {
                self.last_prompt = self.last_prompt.max(prompt.0);
                self.apply_to_batch(*number, *at, fact);
            }
            Fact::Tared { batch, .. } | Fact::Returned { batch, .. } => {
                if let Some(channel) = self.scale_channel_of(batch) {
                    self.left.remove(&channel);
                }
                self.apply_to_batch(*number, *at, fact);
            }
            Fact::ZeroChecked { batch, offset, .. } => {
                if let Some(channel) = self.scale_channel_of(batch) {
                    self.zero_asked.remove(&channel);
                    self.zeros.insert(channel, *offset);
                }
                self.apply_to_batch(*number, *at, fact);
            }
            Fact::ZeroAsked { channel, gross, .. } => {
                self.zero_asked.insert(channel.clone(), *gross);
            }
            Fact::ZeroNotTaken { channel, in_doubt: false, .. } => {
                self.zero_asked.remove(channel);
            }
            Fact::ZeroTaken { channel, offset, .. } => {
                self.zero_asked.remove(channel);
                self.zeros.insert(channel.clone(), *offset);
                let holder = self.leases.get(channel);
                if let Some(batch) = holder.and_then(|id| self.batches.get_mut(id)) {
                    batch.count_from(*offset);
                }
            }
            _ => self.apply_to_batch(*number, *at, fact),
        }
    }

    fn apply_to_batch(&mut self, number: u64, at: Moment, fact: &Fact) {
        if let Some(batch) = fact.batch().and_then(|id| self.batches.get_mut(id)) {
            batch.apply(number, at, fact);
        }
    }

    /// Moments of an older session say nothing on this session's clock.
    fn open_session(&mut self, at: Moment, session: &SessionOpened) {
        if self.batches.is_empty() {
            // between batches anybody may have set a scale to nought
            self.zeros.clear();
        }
        for alarm in self.alarms.values_mut() {
            alarm.since = at;
        }
        for batch in self.batches.values_mut() {
            batch.carry_over(session.last_seen, at);
        }
        if let Some((since, _)) = &mut self.journal_lost {
            *since = at;
        }
        self.silenced_until = None;
        self.shelved.clear();
        self.held.clear();
        self.lost.clear();
        self.session_at = at;
        self.session = Some(session.clone());
        self.doubt_the_pan();
    }

    /// With several batches open, nobody knows after a restart whose vessel is on the pan; where
    /// one was being filled, that is asked.
    fn doubt_the_pan(&mut self) {
        if self.batches.len() < 2 {
            return;
        }
        let Some((scale, _)) = self.setup_ref().and_then(Setup::scale) else { return };
        let scale = scale.channel.clone();
        let Some(holder) = self.leases.get(&scale).and_then(|id| self.batches.get(id)) else {
            return;
        };
        if holder.weigh().is_none_or(|(_, weighing)| weighing.tare.is_none()) {
            let left = Left { by: holder.id.clone(), caustic: holder.has_caustic_cup() };
            self.left.insert(scale, left);
        }
    }
}
