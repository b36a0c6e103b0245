use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;
use std::time::Duration;

use anyhow::Context;
use tokio::sync::{broadcast, oneshot, watch};

use super::dials::Dials;
use super::folder::Folder;
use super::past::Past;
use crate::bench::{
    Act, Bench, Cue, Input, Order, Output, Reply, Role, SessionOpened, Setup, View,
};
use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::journal::{Journal, Writer};
use crate::quantity::Moment;
use crate::reading::Reading;
use crate::replay::Taken;
use crate::wire::{Command, SheetLibrary};

/// One thing for the bench thread to do.
pub enum Message {
    Input(Moment, Input),
    /// Reading or refusal, with the instrument it came from and its number there.
    Item(Moment, Input, Arc<str>, u64),
    Act(Act, oneshot::Sender<Answer>),
    Stop,
}

/// What became of an act, and the last fact that tells of it.
pub struct Answer {
    pub reply: Reply,
    pub up_to: u64,
}

/// The way to the bench for ports and screens.
#[derive(Clone)]
pub struct Handle {
    messages: SyncSender<Message>,
    pub views: watch::Receiver<Arc<View>>,
    pub cues: broadcast::Sender<Cue>,
    pub journal: Writer,
    pub dials: Dials,
}

pub struct BenchThread {
    pub handle: Handle,
    thread: JoinHandle<()>,
    journal: Journal,
}

/// Two seconds of five busy instruments; the bench takes microseconds for each.
const QUEUE: usize = 1024;
/// Ages on the screens grow even when nothing else happens.
const REFRESH: Duration = Duration::from_millis(250);
const CUES_KEPT: usize = 256;

/// Opens the journal, recovers the bench and starts its thread.
pub fn start(
    folder: &Folder,
    bench_file: &BenchFile,
    sheets: &SheetLibrary,
    clock: Clock,
) -> anyhow::Result<BenchThread> {
    let (messages, inbox) = sync_channel(QUEUE);
    let status = messages.clone();
    let status_clock = clock.clone();
    let (journal, recovered) = Journal::open(&folder.journal(), &clock, move |status_now| {
        // the journal thread may wait here; the bench never waits for the journal
        let _ = status.send(Message::Input(status_clock.now(), Input::Journal(status_now)));
    })
    .with_context(|| format!("journal {} cannot be opened", folder.journal().display()))?;
    let bench = Bench::recover(&recovered.facts);
    let session = SessionOpened {
        session: recovered.session,
        setup: setup(bench_file, sheets),
        utc_ns: clock.utc_ns(),
        unwatched: recovered.unwatched,
        last_seen: recovered.last_seen,
    };
    let (views_out, views) = watch::channel(Arc::new(View::default()));
    let (cues, _) = broadcast::channel(CUES_KEPT);
    let past = Past::read(&folder.journal(), &session.setup, &clock).unwrap_or_else(|error| {
        tracing::warn!("traces begin empty: {error}");
        Past::nothing(&clock)
    });
    let (writer, dials) = (journal.writer(), Dials::new(bench_file));
    let handle = Handle {
        messages,
        views,
        cues: cues.clone(),
        journal: writer.clone(),
        dials: dials.clone(),
    };
    let desk = Loop { bench, clock, journal: writer, views: views_out, cues, dials, past };
    let thread = std::thread::Builder::new()
        .name("bench".to_owned())
        .spawn(move || {
            let _guard = AbortOnPanic;
            desk.run(session, &inbox);
        })
        .context("bench thread cannot be started")?;
    Ok(BenchThread { handle, thread, journal })
}

/// What the bench file says of the channels, and what their wire sheets add.
fn setup(bench_file: &BenchFile, sheets: &SheetLibrary) -> Setup {
    let mut setup = bench_file.setup();
    for channel in &mut setup.channels {
        let mut feeding = bench_file.instruments.iter();
        let instrument = feeding.find(|instrument| instrument.name == channel.instrument);
        let sheet = instrument.and_then(|instrument| sheets.find(&instrument.sheet).ok());
        let has = sheet.is_some_and(|sheet| sheet.commands.of(Command::Zero).is_some());
        channel.zeroes = has && matches!(channel.role, Role::Scale { .. });
    }
    setup
}

impl BenchThread {
    pub fn stop(self) -> anyhow::Result<()> {
        let _ = self.handle.messages.send(Message::Stop);
        // the thread aborts the process when it panics, so this join cannot fail
        let _ = self.thread.join();
        self.journal.close()?;
        Ok(())
    }
}

impl Handle {
    /// Hands an input over without waiting. What a full queue drops is silence to the bench, and
    /// silence is guarded.
    pub fn offer(&self, at: Moment, input: Input) {
        self.send(Message::Input(at, input));
    }

    /// The same for what a decoder made; a replay finds it again by its number.
    pub fn offer_item(&self, at: Moment, input: Input, instrument: Arc<str>, number: u64) {
        self.send(Message::Item(at, input, instrument, number));
    }

    fn send(&self, message: Message) {
        if let Err(TrySendError::Full(_)) = self.messages.try_send(message) {
            tracing::warn!("the bench is behind; an input is dropped");
        }
    }

    pub async fn act(&self, act: Act) -> Result<Answer, &'static str> {
        let (sender, answer) = oneshot::channel();
        self.messages
            .try_send(Message::Act(act, sender))
            .map_err(|_| "the bench is busy or stopping; try again")?;
        answer.await.map_err(|_| "the bench has stopped")
    }
}

struct Loop {
    bench: Bench,
    clock: Clock,
    journal: Writer,
    views: watch::Sender<Arc<View>>,
    cues: broadcast::Sender<Cue>,
    dials: Dials,
    past: Past,
}

impl Loop {
    fn run(mut self, session: SessionOpened, inbox: &Receiver<Message>) {
        self.input(self.clock.now(), Input::Session(session));
        loop {
            let wait = self.bench.next_wakeup().map(|at| self.clock.until(at));
            match inbox.recv_timeout(wait.map_or(REFRESH, |wait| wait.min(REFRESH))) {
                Ok(Message::Input(at, input)) => drop(self.input(at, input)),
                Ok(Message::Item(at, input, instrument, number)) => {
                    self.item(at, &input, instrument, number);
                }
                Ok(Message::Act(act, sender)) => {
                    if let Some(reply) = self.input(self.clock.now(), Input::Act(act)) {
                        let up_to = self.bench.state().last_number;
                        let _ = sender.send(Answer { reply, up_to });
                    }
                }
                Err(RecvTimeoutError::Timeout) => drop(self.input(self.clock.now(), Input::Tick)),
                Ok(Message::Stop) | Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    fn input(&mut self, at: Moment, input: Input) -> Option<Reply> {
        let output = self.bench.handle(at, &input);
        self.route(at, Taken::Input { at, input }, output)
    }

    fn item(&mut self, at: Moment, input: &Input, instrument: Arc<str>, number: u64) {
        let output = self.bench.handle(at, input);
        let own_at = match input {
            Input::Reading(reading) => {
                self.journal.reading(Reading::clone(reading));
                None
            }
            _ => Some(at),
        };
        self.route(at, Taken::Item { instrument, number, at: own_at }, output);
    }

    fn route(&mut self, at: Moment, taken: Taken, output: Output) -> Option<Reply> {
        for fact in &output.facts {
            tracing::debug!(
                number = fact.number,
                "{}",
                serde_json::to_string(&fact.fact).unwrap_or_default()
            );
        }
        self.journal.decided(at, taken, output.facts);
        for Order::Zero { instrument } in &output.orders {
            if let Some(orders) = self.dials.orders(instrument) {
                orders.give(self.clock.now(), Command::Zero);
            }
        }
        for cue in output.cues {
            // nobody may be listening, which is no fault of the bench
            let _ = self.cues.send(cue);
        }
        let now = self.clock.now();
        let mut view = self.bench.view(now);
        self.past.fill(&mut view, now);
        view.instruments = self.dials.look();
        self.views.send_replace(Arc::new(view));
        output.reply
    }
}

/// A bench that has panicked guards nothing: better no process, which a supervisor starts again
/// and every screen notices, than one that looks alive.
struct AbortOnPanic;

impl Drop for AbortOnPanic {
    fn drop(&mut self) {
        if std::thread::panicking() {
            std::process::abort();
        }
    }
}
