use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio_serial::SerialStream;

use super::counters::Counters;
use super::line::PortSettings;
use super::open::open;
use crate::clock::Clock;
use crate::quantity::{Moment, Span};
use crate::wire::{Decoder, Item, Talker};

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
    /// A question was written, and only its answer may be read.
    Asked {
        at: Moment,
        question: usize,
    },
    /// A pause told the decoder something; for the tape.
    Quiet {
        at: Moment,
    },
    Item(Item),
    /// Bytes come, but none of them can be read.
    Unreadable {
        why: String,
    },
}

const RETRY_FIRST: Duration = Duration::from_millis(100);
const RETRY_LONGEST: Duration = Duration::from_secs(1);
/// A question that cannot be written within this is not written: the line is blocked.
const WRITE_LONGEST: Duration = Duration::from_millis(500);
const READ_MAX: usize = 4096;
/// Looked at again at least this often, for frames that end by a pause and questions that are due.
const IDLE: Span = Span::from_millis(50);
/// So many refused frames without a reading between them, and the settings are in question.
const UNREADABLE_AFTER: u32 = 20;

/// Reads one port for ever: opens it, loses it, opens it again. Ends only by being dropped.
pub async fn run(
    settings: PortSettings,
    mut decoder: Decoder,
    clock: Clock,
    counters: Arc<Counters>,
    mut tell: impl FnMut(Event) + Send,
) {
    let sheet = Arc::new(decoder.sheet().clone());
    let mut retry = RETRY_FIRST;
    loop {
        let why = match open(&settings) {
            Ok(mut port) => {
                retry = RETRY_FIRST;
                counters.opened();
                decoder.reset();
                tell(Event::Back);
                let talker = Talker::new(&sheet, clock.now());
                let mut session = Session { decoder: &mut decoder, clock: &clock, talker };
                let why = session.serve(&mut port, &counters, &mut tell).await;
                format!("{} {why}", settings.path.display())
            }
            Err(error) => error.to_string(),
        };
        tell(Event::Lost { why });
        tokio::time::sleep(retry).await;
        retry = (retry * 2).min(RETRY_LONGEST);
    }
}

/// One opening of the port.
struct Session<'a> {
    decoder: &'a mut Decoder,
    clock: &'a Clock,
    talker: Option<Talker>,
}

impl Session<'_> {
    /// Returns why the port was lost.
    async fn serve(
        &mut self,
        port: &mut SerialStream,
        counters: &Counters,
        tell: &mut (impl FnMut(Event) + Send),
    ) -> String {
        let mut buffer = vec![0; READ_MAX];
        let mut unread = 0;
        loop {
            if let Err(why) = self.ask(port, tell).await {
                return why;
            }
            let now = self.clock.now();
            let look = now + IDLE;
            let look = self.talker.as_ref().map_or(look, |talker| talker.wakeup(now).min(look));
            let wait = self.clock.until(look);
            let mut items = Vec::new();
            match tokio::time::timeout(wait, port.read(&mut buffer)).await {
                Ok(Ok(0)) => return "was unplugged".to_owned(),
                Ok(Ok(count)) => {
                    let at = self.clock.now();
                    let bytes = &buffer[..count];
                    counters.bytes(count);
                    tell(Event::Bytes { at, bytes: bytes.to_vec() });
                    self.decoder.push(at, bytes, &mut items);
                }
                Ok(Err(error)) => return format!("cannot be read any more: {error}"),
                Err(_) => {
                    let at = self.clock.now();
                    if self.decoder.idle(at, &mut items) {
                        tell(Event::Quiet { at });
                    }
                }
            }
            for item in items {
                match &item {
                    Item::Reading(_) => {
                        counters.reading();
                        unread = 0;
                    }
                    Item::Refused { why, .. } => {
                        counters.refused();
                        unread += 1;
                        if unread == UNREADABLE_AFTER {
                            tell(Event::Unreadable { why: why.to_string() });
                        }
                    }
                }
                if let Some(talker) = &mut self.talker
                    && !beside_the_question(&item)
                {
                    talker.answered();
                }
                tell(Event::Item(item));
            }
        }
    }

    async fn ask(
        &mut self,
        port: &mut SerialStream,
        tell: &mut (impl FnMut(Event) + Send),
    ) -> Result<(), String> {
        let at = self.clock.now();
        let Some(talker) = &mut self.talker else { return Ok(()) };
        let Some(question) = talker.query(at) else { return Ok(()) };
        self.decoder.asked(question.index);
        tell(Event::Asked { at, question: question.index });
        match tokio::time::timeout(WRITE_LONGEST, port.write_all(&question.bytes)).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(error)) => Err(format!("cannot be written any more: {error}")),
            // a blocked line loses this question; the instrument's silence is noticed anyway
            Err(_) => Ok(()),
        }
    }
}

/// It came, but it is not what was asked for; that may still come.
fn beside_the_question(item: &Item) -> bool {
    matches!(item, Item::Refused { why, .. } if why.is_beside_the_question())
}
