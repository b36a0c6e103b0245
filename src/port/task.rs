use std::sync::Arc;
use std::time::Duration;

use super::counters::Counters;
use super::health::{Health, Pulse};
use super::line::PortSettings;
use super::link::Link;
use super::marks::Piece;
use super::open::open;
use super::orders::{Orders, Teller};
use crate::clock::Clock;
use crate::quantity::{Moment, Span};
use crate::wire::{Command, Decoder, FrameRead, Item, Sheet, Talker};

/// What a port tells of itself.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The port is open.
    Back,
    /// It is gone, or cannot be opened.
    Lost {
        why: String,
    },
    /// Raw bytes, for the tape.
    Bytes {
        at: Moment,
        bytes: Vec<u8>,
    },
    /// A byte came with a wrong parity or stop bit; what it was nobody knows.
    Damaged {
        at: Moment,
    },
    /// A pause told the decoder something; for the tape.
    Quiet {
        at: Moment,
    },
    /// A question was written, counted as the sheet lists them.
    Asked {
        at: Moment,
        question: usize,
        bytes: Vec<u8>,
    },
    /// A command was written.
    Told {
        at: Moment,
        command: Command,
        bytes: Vec<u8>,
    },
    /// A whole frame that can be read; its readings follow. One that cannot comes as an item.
    Frame {
        at: Moment,
        bytes: Vec<u8>,
    },
    Item(Item),
    /// The open port does better or worse than it did.
    Health(Health),
}

const RETRY_FIRST: Duration = Duration::from_millis(100);
const RETRY_LONGEST: Duration = Duration::from_secs(1);
/// What cannot be written within this is not written: the line is blocked.
const WRITE_LONGEST: Duration = Duration::from_millis(500);
/// Looked at again at least this often, for frames that end by a pause and questions that are due.
const IDLE: Span = Span::from_millis(50);

/// Reads one port for ever: opens it, loses it, opens it again. Ends only by being dropped.
pub async fn run(
    settings: PortSettings,
    mut decoder: Decoder,
    clock: Clock,
    counters: Arc<Counters>,
    orders: Arc<Orders>,
    mut tell: impl FnMut(Event) + Send,
) {
    let sheet = Arc::new(decoder.sheet().clone());
    let mut retry = RETRY_FIRST;
    loop {
        let why = match open(&settings, sheet.frame.is_report()) {
            Ok(link) => {
                retry = RETRY_FIRST;
                counters.opened();
                decoder.reset();
                tell(Event::Back);
                let opened = clock.now();
                let mut session = Session {
                    link,
                    decoder: &mut decoder,
                    clock: &clock,
                    counters: &counters,
                    sheet: &sheet,
                    teller: Teller::new(&orders, opened),
                    talker: Talker::new(&sheet, opened),
                    pulse: Pulse::new(&sheet, opened),
                    health: Health::Good,
                };
                // the link is dropped at once: held, a replugged adapter would get another name
                let why = session.serve(&mut tell).await;
                format!("{} {why}", settings.path.display())
            }
            Err(error) => error.to_string(),
        };
        counters.lost();
        tell(Event::Lost { why });
        tokio::time::sleep(retry).await;
        retry = (retry * 2).min(RETRY_LONGEST);
    }
}

/// One opening of the port.
struct Session<'a> {
    link: Link,
    decoder: &'a mut Decoder,
    clock: &'a Clock,
    counters: &'a Counters,
    sheet: &'a Sheet,
    teller: Teller<'a>,
    talker: Option<Talker>,
    pulse: Pulse,
    health: Health,
}

impl Session<'_> {
    /// Returns why the port was lost.
    async fn serve(&mut self, tell: &mut (impl FnMut(Event) + Send)) -> String {
        loop {
            if let Err(why) = self.speak(tell).await {
                return why;
            }
            let now = self.clock.now();
            let look = now + IDLE;
            let look = self.talker.as_ref().map_or(look, |talker| talker.wakeup(now).min(look));
            let wait = self.clock.until(look);
            match tokio::time::timeout(wait, self.link.read()).await {
                Ok(Ok(pieces)) if pieces.is_empty() => return "was unplugged".to_owned(),
                Ok(Ok(pieces)) => {
                    let at = self.clock.now();
                    pieces.into_iter().for_each(|piece| self.piece(at, piece, tell));
                }
                Ok(Err(error)) => return format!("cannot be read any more: {error}"),
                Err(_) => {
                    let now = self.clock.now();
                    if let Some(frames) = self.decoder.idle_frames(now) {
                        tell(Event::Quiet { at: now });
                        self.frames(now, frames, tell);
                    }
                }
            }
            let health = self.pulse.health(self.clock.now());
            if health != self.health {
                self.counters.does(&health);
                tell(Event::Health(health.clone()));
                self.health = health;
            }
        }
    }

    fn piece(&mut self, at: Moment, piece: Piece, tell: &mut (impl FnMut(Event) + Send)) {
        self.pulse.bytes(at);
        let frames = match piece {
            Piece::Bytes(bytes) => {
                self.counters.bytes(bytes.len());
                let frames = self.decoder.push_frames(at, &bytes);
                tell(Event::Bytes { at, bytes });
                frames
            }
            Piece::Damaged => {
                self.counters.damaged();
                tell(Event::Damaged { at });
                self.decoder.damaged(at)
            }
        };
        self.frames(at, frames, tell);
    }

    fn frames(
        &mut self,
        at: Moment,
        frames: Vec<FrameRead>,
        tell: &mut (impl FnMut(Event) + Send),
    ) {
        for frame in frames {
            self.pulse.frame(&frame);
            match &frame.read {
                Ok(readings) => {
                    readings.iter().for_each(|_| self.counters.reading());
                    tell(Event::Frame { at, bytes: frame.bytes.clone() });
                }
                Err(_) => self.counters.refused(),
            }
            // what came beside the question leaves the answer due
            let beside = matches!(&frame.read, Err(why) if why.is_beside_the_question());
            let known = matches!(&frame.read, Ok(readings) if readings.is_empty());
            if let Some(talker) = &mut self.talker {
                if beside || known { talker.heard_nothing_of_use() } else { talker.answered() }
            }
            let mut items = Vec::new();
            frame.into_items(&mut items);
            items.into_iter().for_each(|item| tell(Event::Item(item)));
        }
    }

    /// Writes the command or the question that is due; a command goes first, and neither while an
    /// answer may come.
    async fn speak(&mut self, tell: &mut (impl FnMut(Event) + Send)) -> Result<(), String> {
        let at = self.clock.now();
        if self.talker.as_ref().is_some_and(|talker| talker.is_waiting(at)) {
            return Ok(());
        }
        if let Some((command, bytes)) = self.teller.due(at, self.sheet) {
            if let Some(talker) = &mut self.talker {
                talker.told(at);
            }
            if self.write(&bytes).await? {
                tell(Event::Told { at, command, bytes });
            }
            return Ok(());
        }
        let Some(question) = self.talker.as_mut().and_then(|talker| talker.query(at)) else {
            return Ok(());
        };
        self.decoder.asked(question.index);
        if self.write(&question.bytes).await? {
            tell(Event::Asked { at, question: question.index, bytes: question.bytes });
        }
        Ok(())
    }

    /// Whether it was written. A blocked line loses it; that the instrument does not answer is
    /// noticed anyway.
    async fn write(&mut self, bytes: &[u8]) -> Result<bool, String> {
        match tokio::time::timeout(WRITE_LONGEST, self.link.write_all(bytes)).await {
            Ok(Ok(())) => Ok(true),
            Ok(Err(error)) => Err(format!("cannot be written any more: {error}")),
            Err(_) => Ok(false),
        }
    }
}
