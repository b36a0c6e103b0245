use std::sync::Arc;

use crate::bench::InstrumentView;
use crate::bench_file::BenchFile;
use crate::port::{Counters, Orders};

/// The counters of every instrument, where the ports write them and the screens see them; and
/// what each is to be told, where the bench writes it and the ports see it.
#[derive(Clone)]
pub struct Dials(Arc<Vec<Dial>>);

struct Dial {
    instrument: String,
    port: String,
    counters: Arc<Counters>,
    orders: Arc<Orders>,
}

impl Dials {
    pub fn new(bench_file: &BenchFile) -> Dials {
        let dial = |instrument: &crate::bench_file::Instrument| Dial {
            instrument: instrument.name.clone(),
            port: instrument.port.clone(),
            counters: Arc::default(),
            orders: Arc::new(Orders::new(instrument.keep_awake)),
        };
        Dials(Arc::new(bench_file.instruments.iter().map(dial).collect()))
    }

    /// `None` for an instrument that the bench file does not have.
    pub fn counters(&self, instrument: &str) -> Option<Arc<Counters>> {
        self.dial(instrument).map(|dial| Arc::clone(&dial.counters))
    }

    /// What it is to be told, as [`Dials::counters`].
    pub fn orders(&self, instrument: &str) -> Option<Arc<Orders>> {
        self.dial(instrument).map(|dial| Arc::clone(&dial.orders))
    }

    fn dial(&self, instrument: &str) -> Option<&Dial> {
        self.0.iter().find(|dial| dial.instrument == instrument)
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
