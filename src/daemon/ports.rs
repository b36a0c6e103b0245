use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use tokio::task::JoinHandle;

use super::bench_loop::Handle;
use crate::bench::{Input, Role};
use crate::bench_file::{BenchFile, Instrument};
use crate::clock::Clock;
use crate::port::{self, Counters, Event, Orders, PortSettings};
use crate::replay::{self, Mark, Piece};
use crate::wire::{ChannelMap, Command, Decoder, Item, Sheet, SheetLibrary};

/// One task for each instrument.
pub struct Ports {
    tasks: Vec<JoinHandle<()>>,
}

/// # Errors
/// When the bench file names a wire sheet that is not known.
pub fn start(
    bench_file: &BenchFile,
    sheets: &SheetLibrary,
    clock: &Clock,
    bench: &Handle,
) -> anyhow::Result<Ports> {
    let mut ports = Ports { tasks: Vec::new() };
    let mut heard = Vec::new();
    for instrument in &bench_file.instruments {
        let sheet = sheets.find(&instrument.sheet)?;
        heard.push(replay::Instrument {
            name: Arc::from(instrument.name.as_str()),
            sheet: sheet.name.clone(),
            sheet_text: sheets.text(&sheet.name).unwrap_or_default(),
            channels: channels(instrument),
        });
        let keeper = Keeper {
            name: Arc::from(instrument.name.as_str()),
            settings: PortSettings::new(&instrument.port, sheet.line, instrument.serial),
            sheet: Arc::clone(sheet),
            channels: channels(instrument),
            clock: clock.clone(),
            counters: bench.dials.counters(&instrument.name).unwrap_or_default(),
            orders: bench.dials.orders(&instrument.name).unwrap_or_default(),
            bench: bench.clone(),
        };
        ports.tasks.push(tokio::spawn(keeper.keep()));
    }
    bench.journal.instruments(heard);
    Ok(ports)
}

impl Ports {
    pub async fn stop(self) {
        for task in self.tasks {
            task.abort();
            // cancelled, as asked
            let _ = task.await;
        }
    }
}

struct Keeper {
    name: Arc<str>,
    settings: PortSettings,
    sheet: Arc<Sheet>,
    channels: Vec<ChannelMap>,
    clock: Clock,
    counters: Arc<Counters>,
    orders: Arc<Orders>,
    bench: Handle,
}

impl Keeper {
    /// A port task that panics is a lost instrument, and is started again.
    async fn keep(self) {
        let mut guard = AbortOnDrop(None);
        let items = Arc::new(AtomicU64::new(0));
        loop {
            let decoder = Decoder::new(Arc::clone(&self.sheet), self.channels.clone());
            let router = Router {
                bench: self.bench.clone(),
                clock: self.clock.clone(),
                name: Arc::clone(&self.name),
                items: Arc::clone(&items),
            };
            let run = port::run(
                self.settings.clone(),
                decoder,
                self.clock.clone(),
                Arc::clone(&self.counters),
                Arc::clone(&self.orders),
                move |event| router.route(event),
            );
            let task = guard.0.insert(tokio::spawn(run));
            let Err(error) = task.await else { return };
            if error.is_cancelled() {
                return;
            }
            tracing::error!("{}: its task broke down and is started again: {error}", self.name);
            let why = "its reader broke down and was started again".to_owned();
            let instrument = self.name.to_string();
            self.bench.offer(self.clock.now(), Input::InstrumentLost { instrument, why });
        }
    }
}

/// Stops the inner task together with its keeper.
struct AbortOnDrop(Option<JoinHandle<()>>);

impl Drop for AbortOnDrop {
    fn drop(&mut self) {
        if let Some(task) = &self.0 {
            task.abort();
        }
    }
}

/// Brings what a port tells to the bench, and what a replay needs to the tape.
struct Router {
    bench: Handle,
    clock: Clock,
    name: Arc<str>,
    /// Items so far in this session.
    items: Arc<AtomicU64>,
}

impl Router {
    fn route(&self, event: Event) {
        let name = &self.name;
        let instrument = || name.to_string();
        let now = || self.clock.now();
        let tape = |at, mark| self.bench.journal.tape(name, Piece { at, mark });
        match event {
            Event::Back => {
                tracing::info!("{name}: open");
                tape(now(), Mark::Opened);
                self.bench.offer(now(), Input::InstrumentBack { instrument: instrument() });
            }
            Event::Lost { why } => {
                tracing::debug!("{name}: {why}");
                self.bench.offer(now(), Input::InstrumentLost { instrument: instrument(), why });
            }
            Event::Bytes { at, bytes } => tape(at, Mark::Bytes(bytes)),
            Event::Asked { at, question, .. } => tape(at, Mark::Asked { question }),
            // the decoder is not told of it, so the tape need not be
            Event::Told { command: Command::KeepAwake, .. } => {}
            Event::Told { command, .. } => tracing::info!("{name}: told to {}", command.key()),
            Event::Quiet { at } => tape(at, Mark::Quiet),
            Event::Item(item) => {
                let number = self.items.fetch_add(1, Ordering::Relaxed);
                let (at, input) = match item {
                    Item::Reading(reading) => (reading.at, Input::Reading(reading)),
                    Item::Refused { why, .. } => {
                        tracing::debug!("{name}: a frame is refused: {why}");
                        (now(), Input::Refused { instrument: instrument() })
                    }
                };
                self.bench.offer_item(at, input, Arc::clone(name), number);
            }
            Event::Damaged { at } => tape(at, Mark::Damaged),
            Event::Health(health) => match health.words() {
                Some(words) => tracing::warn!("{name}: {words}"),
                None => tracing::info!("{name}: good again"),
            },
            Event::Frame { .. } => {}
        }
    }
}

/// What the wire leaves out comes from the bench file.
fn channels(instrument: &Instrument) -> Vec<ChannelMap> {
    let map = |channel: &crate::bench_file::ChannelFile| ChannelMap {
        source: channel.source.clone().unwrap_or_default(),
        channel: channel.channel.clone(),
        mass_unit: match channel.role {
            Role::Scale { unit, .. } => Some(unit),
            Role::Probe { .. } => None,
        },
        temperature_unit: match channel.role {
            Role::Scale { .. } => None,
            Role::Probe { unit, .. } => Some(unit),
        },
    };
    instrument.channels.iter().map(map).collect()
}
