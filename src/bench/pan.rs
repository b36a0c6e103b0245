//! The pan as one weighing sees it just now, and what the weighing is at.

use super::alarm::AlarmId;
use super::batch::Batch;
use super::fact::BatchId;
use super::law::Bench;
use super::settings::Marks;
use super::view::Phase;
use super::work::Weighing;
use super::{leases, zeroing};
use crate::chemistry::{IngredientId, ScaleFacts};
use crate::plan::{Nature, Vessel};
use crate::quantity::Mass;

/// What the rules of one weighing need, taken together once.
pub struct Pan {
    pub id: BatchId,
    pub step: String,
    pub ingredient: IngredientId,
    pub into: Vessel,
    pub nature: Nature,
    pub weighing: Weighing,
    pub scale: ScaleFacts,
    pub marks: Marks,
    /// What it reads empty, as far as the books know.
    pub zero: Mass,
    /// The newest load, if it may be used.
    pub gross: Option<Mass>,
    /// The load at rest, by the instrument's flag and our own test.
    pub rest: Option<Mass>,
    /// All loads of the rest window.
    pub extent: Option<(Mass, Mass)>,
}

impl Pan {
    pub fn look(bench: &Bench, id: &BatchId) -> Option<Pan> {
        let batch = bench.batch(id)?;
        let (weigh, weighing) = batch.weigh()?;
        let (channel, scale) = bench.state.scale_of(id)?;
        let caustic = weighing.target.guard.is_some();
        let sense = bench.sense(channel);
        let gross = sense.and_then(|s| s.mass(bench.now, bench.allowed_age(channel)));
        let test = bench.settings().rest_test(scale.d, caustic);
        // a window that has gone silent tells of the past
        let rest = sense.filter(|_| gross.is_some()).and_then(|s| s.rest.at_rest(&test));
        Some(Pan {
            id: id.clone(),
            step: batch.step()?.key.clone(),
            ingredient: weigh.ingredient.clone(),
            into: weigh.into,
            nature: weigh.nature,
            weighing: weighing.clone(),
            scale,
            marks: bench.settings().marks(scale.d),
            zero: batch.zero,
            gross,
            rest,
            extent: sense.and_then(|s| s.rest.extent()),
        })
    }
}

/// What the weighing is at, for every screen.
pub fn phase(bench: &Bench, batch: &Batch) -> Option<Phase> {
    let (_, weighing) = batch.weigh()?;
    let pan = Pan::look(bench, &batch.id)?;
    let blind = AlarmId::PouringBlind { batch: batch.id.clone(), step: batch.step()?.key.clone() };
    Some(match weighing.tare {
        _ if bench.is_caustic_over(&batch.id) => Phase::Over,
        _ if weighing.zero_doubted || zeroing::is_open_for(bench, &batch.id) => Phase::ZeroDoubted,
        _ if bench.state.alarms.get(&blind).is_some_and(|alarm| alarm.active) => Phase::Blind,
        _ if weighing.captured.is_some() => Phase::Captured,
        _ if weighing.lifted && weighing.tare.is_some() => Phase::Lifted,
        Some(tare) => {
            let near = pan.gross.is_some_and(|gross| gross - tare >= weighing.target.low);
            if near { Phase::Settling } else { Phase::Pouring }
        }
        None => {
            let load = pan.gross.unwrap_or_default();
            let ours = leases::pan_is_ours(bench, &batch.id);
            let cleared = ours && (pan.into == Vessel::Pot || bench.pan_seen_clear(&batch.id));
            let pot = leases::is_a_pot(bench, &batch.id, pan.into, load);
            if cleared && !pot && load - pan.zero >= pan.marks.vessel {
                Phase::Taring
            } else {
                Phase::AwaitingVessel
            }
        }
    })
}
