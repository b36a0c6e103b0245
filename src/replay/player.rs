use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use super::tape::{Broken, Instrument, Mark, Piece, Recording, Strip, Taken};
use crate::bench::{Bench, Cue, Input, Numbered, View};
use crate::problem::Source;
use crate::quantity::Moment;
use crate::wire::{Decoder, Item, Sheet};

/// Plays one session, an input at a time.
pub struct Player {
    bench: Bench,
    taken: Strip<Taken>,
    tracks: BTreeMap<Arc<str>, TrackPlayer>,
}

/// What one input of the session led to, played again.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub at: Moment,
    pub facts: Vec<Numbered>,
    pub cues: Vec<Cue>,
}

impl Player {
    /// Gives back the facts that are due beside the player.
    ///
    /// # Errors
    /// When a recorded wire sheet cannot be read by this version.
    pub fn new(recording: Recording) -> Result<(Player, Vec<Numbered>), Broken> {
        let mut tracks = BTreeMap::new();
        for track in recording.tracks {
            let name = Arc::clone(&track.instrument.name);
            tracks.insert(name, TrackPlayer::new(&track.instrument, track.pieces)?);
        }
        let bench = Bench::recover(&recording.before);
        Ok((Player { bench, taken: recording.taken, tracks }, recording.facts))
    }

    pub fn view(&self, at: Moment) -> View {
        self.bench.view(at)
    }

    /// The next input and what follows from it; `None` at the end of the tape.
    ///
    /// # Errors
    /// When the tape cannot be read on.
    pub fn step(&mut self) -> Result<Option<Step>, Broken> {
        let Some(taken) = self.taken.next().transpose()? else { return Ok(None) };
        let (at, input) = self.input(taken)?;
        let output = self.bench.handle(at, &input);
        Ok(Some(Step { at, facts: output.facts, cues: output.cues }))
    }

    fn input(&mut self, taken: Taken) -> Result<(Moment, Input), Broken> {
        match taken {
            Taken::Input { at, input } => Ok((at, input)),
            Taken::Missing { .. } => Err(Broken(
                "what the bench took was not kept whole, because nothing could be written".into(),
            )),
            Taken::Item { instrument, number, at } => {
                let track = self
                    .tracks
                    .get_mut(&instrument)
                    .ok_or_else(|| Broken(format!("no wire sheet of {instrument} was kept")))?;
                match (track.item(number)?, at) {
                    (Item::Reading(reading), None) => Ok((reading.at, Input::Reading(reading))),
                    (Item::Refused { .. }, Some(at)) => {
                        Ok((at, Input::Refused { instrument: instrument.to_string() }))
                    }
                    (item, _) => Err(Broken(format!(
                        "item {number} of {instrument} was {}, and now it is {}",
                        if at.is_none() { "a reading" } else { "refused" },
                        if matches!(item, Item::Reading(_)) { "a reading" } else { "refused" },
                    ))),
                }
            }
        }
    }
}

/// Plays the bytes of one instrument.
pub(super) struct TrackPlayer {
    name: Arc<str>,
    decoder: Decoder,
    pieces: Strip<Piece>,
    ready: VecDeque<Item>,
    next: u64,
}

impl TrackPlayer {
    fn new(instrument: &Instrument, pieces: Strip<Piece>) -> Result<TrackPlayer, Broken> {
        Ok(TrackPlayer {
            name: Arc::clone(&instrument.name),
            decoder: decoder(instrument)?,
            pieces,
            ready: VecDeque::new(),
            next: 0,
        })
    }

    /// The item of this number; those before it were dropped when they came.
    fn item(&mut self, number: u64) -> Result<Item, Broken> {
        loop {
            while let Some(item) = self.ready.pop_front() {
                self.next += 1;
                if self.next > number {
                    return Ok(item);
                }
            }
            let Some(piece) = self.pieces.next().transpose()? else {
                return Err(Broken(format!(
                    "the bytes of {} end before item {number}; {} came of them",
                    self.name, self.next
                )));
            };
            let mut items = Vec::new();
            feed(&mut self.decoder, &piece, &mut items).map_err(|Broken(why)| {
                Broken(format!("the tape of {} cannot be played on: {why}", self.name))
            })?;
            self.ready.extend(items);
        }
    }
}

pub(super) fn decoder(instrument: &Instrument) -> Result<Decoder, Broken> {
    let file = format!("wire sheet `{}` as recorded", instrument.sheet);
    let sheet = Sheet::read(Source { file: &file, text: &instrument.sheet_text })
        .map_err(|problems| Broken(problems.to_string()))?;
    Ok(Decoder::new(Arc::new(sheet), instrument.channels.clone()))
}

/// Does to a decoder what was done to it then.
pub(super) fn feed(
    decoder: &mut Decoder,
    piece: &Piece,
    items: &mut Vec<Item>,
) -> Result<(), Broken> {
    match &piece.mark {
        Mark::Opened => decoder.reset(),
        Mark::Asked { question } => decoder.asked(*question),
        Mark::Bytes(bytes) => decoder.push(piece.at, bytes, items),
        Mark::Damaged => {
            decoder.damaged(piece.at).into_iter().for_each(|frame| frame.into_items(items));
        }
        Mark::Quiet => {
            decoder.idle(piece.at, items);
        }
        Mark::Missing => {
            return Err(Broken("bytes were not kept, because nothing could be written".into()));
        }
    }
    Ok(())
}
