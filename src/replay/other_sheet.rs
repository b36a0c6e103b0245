use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::player::{decoder, feed};
use super::tape::{Broken, Mark, Recording};
use crate::bench::{BatchId, CaptureHow, Fact};
use crate::chemistry::IngredientId;
use crate::quantity::{Mass, Moment};
use crate::reading::{Channel, Reading};
use crate::wire::{Decoder, Item, Sheet};

/// What one instrument would have said, had another sheet read it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct OtherSheet {
    /// Readings and refusals as they were, and as they would have been.
    pub was: Count,
    pub would_be: Count,
    /// Moments at which the two say different things, in their order.
    pub different: Vec<Pair>,
    /// All of them; more than are listed when there are very many.
    pub different_count: u64,
    pub captures: Vec<Captured>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Count {
    pub readings: u64,
    pub refused: u64,
}

/// One channel at one moment; `None` where nothing was read.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    pub at: Moment,
    pub channel: Channel,
    pub was: Option<Reading>,
    pub would_be: Option<Reading>,
}

/// A capture, and what the scale would have said between its tare and it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Captured {
    pub at: Moment,
    pub batch: BatchId,
    pub ingredient: IngredientId,
    pub was: Mass,
    /// `None` when the tare or the load would not have been read.
    pub would_be: Option<Mass>,
}

/// More differences than this are counted, not listed.
const LISTED_MAX: usize = 10_000;

/// Reads the bytes of one instrument with the sheet it had and with another, side by side.
///
/// The bench is not run on what comes out: the operator saw other numbers then, and would have done
/// otherwise. A capture is what the scale would have shown at that moment less what it would have
/// shown when the tare was taken.
///
/// # Errors
/// When the tape of the instrument is missing or cannot be read on.
pub fn other_sheet(
    recording: Recording,
    instrument: &str,
    sheet: &Arc<Sheet>,
) -> Result<OtherSheet, Broken> {
    let track = recording
        .tracks
        .into_iter()
        .find(|track| &*track.instrument.name == instrument)
        .ok_or_else(|| Broken(format!("nothing was kept of an instrument `{instrument}`")))?;
    let mut then = decoder(&track.instrument)?;
    let mut now = Decoder::new(Arc::clone(sheet), track.instrument.channels.clone());
    let mut found = OtherSheet::default();
    let mut books = Books::new(&recording.facts);
    for piece in track.pieces {
        let piece = piece?;
        if piece.mark == Mark::Missing {
            // what is left of a frame is not joined to what comes after
            then.reset();
            now.reset();
            continue;
        }
        books.look(piece.at, &mut found.captures);
        let (mut was, mut would_be) = (Vec::new(), Vec::new());
        feed(&mut then, &piece, &mut was)?;
        feed(&mut now, &piece, &mut would_be)?;
        found.was.add(&was);
        found.would_be.add(&would_be);
        books.hear(&was, &would_be);
        found.pair(piece.at, &was, &would_be);
    }
    books.look(Moment::from_nanos(i64::MAX), &mut found.captures);
    Ok(found)
}

impl Count {
    fn add(&mut self, items: &[Item]) {
        for item in items {
            match item {
                Item::Reading(_) => self.readings += 1,
                Item::Refused { .. } => self.refused += 1,
            }
        }
    }
}

impl OtherSheet {
    fn pair(&mut self, at: Moment, was: &[Item], would_be: &[Item]) {
        let mut pairs: BTreeMap<(Channel, usize), [Option<Reading>; 2]> = BTreeMap::new();
        for (side, items) in [was, would_be].into_iter().enumerate() {
            let mut seen: BTreeMap<Channel, usize> = BTreeMap::new();
            for item in items {
                let Item::Reading(reading) = item else { continue };
                let place = seen.entry(reading.channel.clone()).or_default();
                let pair = pairs.entry((reading.channel.clone(), *place)).or_default();
                pair[side] = Some(reading.clone());
                *place += 1;
            }
        }
        for ((channel, _), [was, would_be]) in pairs {
            if was == would_be {
                continue;
            }
            self.different_count += 1;
            if self.different.len() < LISTED_MAX {
                self.different.push(Pair { at, channel, was, would_be });
            }
        }
    }
}

/// Follows the tares and captures of the recorded facts.
struct Books {
    scales: Vec<Channel>,
    facts: std::vec::IntoIter<(Moment, Fact)>,
    waiting: Option<(Moment, Fact)>,
    /// The loads of the newest bytes, as they were read and as they would be.
    heard: Vec<[Option<Mass>; 2]>,
    tares: BTreeMap<BatchId, Option<Mass>>,
}

impl Books {
    fn new(facts: &[crate::bench::Numbered]) -> Books {
        let of_interest = facts
            .iter()
            .filter(|numbered| matches!(numbered.fact, Fact::Tared { .. } | Fact::Captured { .. }))
            .map(|numbered| (numbered.at, numbered.fact.clone()))
            .collect::<Vec<_>>();
        let scales = facts
            .iter()
            .filter_map(|numbered| match &numbered.fact {
                Fact::SessionOpened(opened) => {
                    opened.setup.scale().map(|(setup, _)| setup.channel.clone())
                }
                _ => None,
            })
            .collect();
        Books {
            scales,
            facts: of_interest.into_iter(),
            waiting: None,
            heard: Vec::new(),
            tares: BTreeMap::new(),
        }
    }

    /// What was decided before `at` was decided on what has been heard so far.
    fn look(&mut self, at: Moment, captures: &mut Vec<Captured>) {
        loop {
            let next = self.waiting.take().or_else(|| self.facts.next());
            match next {
                Some(fact) if fact.0 < at => self.fact(fact, captures),
                later => {
                    self.waiting = later;
                    return;
                }
            }
        }
    }

    fn fact(&mut self, (at, fact): (Moment, Fact), captures: &mut Vec<Captured>) {
        match fact {
            Fact::Tared { batch, gross, .. } => {
                self.tares.insert(batch, self.would_be(Some(gross)));
            }
            Fact::Captured { batch, ingredient, net, gross, how, .. }
                if how != CaptureHow::ByHand =>
            {
                let tare = self.tares.get(&batch).copied().flatten();
                let would_be = self.would_be(gross).zip(tare).map(|(gross, tare)| gross - tare);
                captures.push(Captured { at, batch, ingredient, was: net, would_be });
            }
            _ => {}
        }
    }

    fn hear(&mut self, was: &[Item], would_be: &[Item]) {
        let (was, would_be) = (self.loads(was), self.loads(would_be));
        if was.is_empty() && would_be.is_empty() {
            return;
        }
        let of = |loads: &[Option<Mass>], index| loads.get(index).copied().flatten();
        let count = was.len().max(would_be.len());
        self.heard = (0..count).map(|index| [of(&was, index), of(&would_be, index)]).collect();
    }

    fn loads(&self, items: &[Item]) -> Vec<Option<Mass>> {
        let readings = items.iter().filter_map(|item| match item {
            Item::Reading(reading) if self.scales.contains(&reading.channel) => Some(reading),
            _ => None,
        });
        readings.map(|reading| reading.mass().filter(|_| reading.status.is_trusted())).collect()
    }

    /// Several lines may have come in one read, at one instant: what was decided tells on which.
    fn would_be(&self, gross: Option<Mass>) -> Option<Mass> {
        let decided = self.heard.iter().rev().find(|[was, _]| was.is_some() && *was == gross);
        decided.or(self.heard.last()).and_then(|[_, would_be]| *would_be)
    }
}
