use serde::{Deserialize, Serialize};

use super::cue::Cue;
use super::fact::Fact;
use super::law::{Bench, Reply};

/// What to do when caustic has hit somebody, as any screen shows it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EmergencyCard {
    pub title: String,
    pub lines: Vec<String>,
}

/// The usual first measures for caustic soda and potash. The safety data sheet of the product and
/// the local emergency service have the last word.
pub fn emergency_card() -> EmergencyCard {
    let lines = [
        "Skin: take off what is soaked, rinse with plenty of running water for at least 15 minutes.",
        "Eyes: rinse at once with plenty of water, lids held open, for at least 15 minutes; call for \
         help while rinsing.",
        "Swallowed: rinse the mouth, drink a little water, do not make the person vomit.",
        "Do not put vinegar or any acid on it: water, and more water.",
        "Call the local emergency number or poison centre; have the safety data sheet at hand.",
        "Turn the heat off when it can be done without danger. The timers go on.",
    ];
    EmergencyCard {
        title: "Caustic splash: rinse with plenty of water now".to_owned(),
        lines: lines.map(str::to_owned).to_vec(),
    }
}

pub fn open(bench: &mut Bench) -> Reply {
    let open: Vec<_> = bench.state.batches.keys().cloned().map(Some).collect();
    // nobody can tell here which pot it was: the time is kept with each
    for batch in if open.is_empty() { vec![None] } else { open } {
        bench.emit(Fact::EmergencyOpened { batch });
    }
    bench.cue(Cue::Emergency);
    Reply::Done
}
