use std::sync::Arc;

use crate::bench::InstrumentView;
use crate::bench_file::BenchFile;
use crate::port::Counters;

/// The counters of every instrument, where the ports write them and the screens see them.
#[derive(Clone)]
pub struct Dials(Arc<Vec<Dial>>);

struct Dial {
    instrument: String,
    port: String,
    counters: Arc<Counters>,
}

impl Dials {
    pub fn new(bench_file: &BenchFile) -> Dials {
        let dial = |instrument: &crate::bench_file::Instrument| Dial {
            instrument: instrument.name.clone(),
            port: instrument.port.clone(),
            counters: Arc::default(),
        };
        Dials(Arc::new(bench_file.instruments.iter().map(dial).collect()))
    }

    /// `None` for an instrument that the bench file does not have.
    pub fn of(&self, instrument: &str) -> Option<Arc<Counters>> {
        let dial = self.0.iter().find(|dial| dial.instrument == instrument)?;
        Some(Arc::clone(&dial.counters))
    }

    pub fn look(&self) -> Vec<InstrumentView> {
        let view = |dial: &Dial| {
            let counts = dial.counters.counts();
            InstrumentView {
                instrument: dial.instrument.clone(),
                port: dial.port.clone(),
                open: dial.counters.is_open(),
                trouble: dial.counters.health().words(),
                bytes: counts.bytes,
                readings: counts.readings,
                refused: counts.refused,
                damaged: counts.damaged,
                opened: counts.opened,
            }
        };
        self.0.iter().map(view).collect()
    }
}
