//! Cook time counts from when the pot has reached its window, and only while somebody knows how
//! hot it is: a probe, a hand-held one, or a value by hand that is young enough.

use super::batch::Batch;
use super::fact::{BatchId, Fact};
use super::law::Bench;
use super::progress::cooking;
use super::setup::ProbeAt;
use super::spot;
use super::words;
use crate::quantity::{Moment, Temperature};

pub fn run(bench: &mut Bench, id: &BatchId) {
    let Some((cook, cooking)) = bench.batch(id).and_then(cooking) else { return };
    let (low, begun, runs) = (cook.window.low, cooking.begun, cooking.time.runs());
    let now = bench.now;
    let pot = pot(bench, id);
    // whoever stirs with the probe out stands beside the pot
    let lasting = bench.settings().temperature_on_delay;
    let watched = pot.is_some() || bench.is_shelved(id, ProbeAt::Pot);
    if !begun {
        let warm = pot.is_some_and(|pot| pot >= low);
        let sense = bench.senses.cooks.entry(id.clone()).or_default();
        sense.warm_since = warm.then(|| sense.warm_since.unwrap_or(now));
        let since = sense.warm_since;
        if let Some(since) = since.filter(|&since| now.since(since) >= lasting) {
            set(bench, id, true, since);
        }
    } else if runs {
        let sense = bench.senses.cooks.entry(id.clone()).or_default();
        sense.unknown_since = (!watched).then(|| sense.unknown_since.unwrap_or(now));
        // a probe that stutters does not stop the time; one that is gone stops it from then
        let since = sense.unknown_since;
        if let Some(since) = since.filter(|&since| now.since(since) >= lasting) {
            set(bench, id, false, since);
        }
    } else if pot.is_some() {
        set(bench, id, true, now);
    }
}

/// When a pot that is warm enough now, or unknown, counts as having been so.
pub fn deadlines(bench: &Bench) -> Vec<Moment> {
    let lasting = bench.settings().temperature_on_delay;
    let waiting = bench.state.batches.values().filter_map(|batch| {
        let (_, cooking) = cooking(batch)?;
        let sense = bench.senses.cooks.get(&batch.id)?;
        let since = if cooking.begun { sense.unknown_since } else { sense.warm_since };
        since.map(|since| since + lasting)
    });
    waiting.collect()
}

/// Why cook time does not count just now.
pub fn standing(batch: &Batch) -> Option<String> {
    let (cook, cooking) = cooking(batch)?;
    let units = &batch.control.units;
    if cooking.time.runs() {
        None
    } else if cooking.begun {
        Some(words::cook_stands_still())
    } else {
        Some(words::cook_begins_at(units, cook.window.low))
    }
}

/// How hot the pot is, as far as anybody knows.
pub fn pot(bench: &Bench, id: &BatchId) -> Option<Temperature> {
    spot::known(bench, id, ProbeAt::Pot).map(|known| known.temperature)
}

fn set(bench: &mut Bench, id: &BatchId, runs: bool, since: Moment) {
    // a remedy's own steps may be under way meanwhile
    let main = bench.batch(id).and_then(|batch| batch.main_work().0);
    let (batch, step) = (id.clone(), main.map(|step| step.key.clone()).unwrap_or_default());
    bench.emit(Fact::CookClock { batch, step, runs, since });
}
