//! What a person reads off the screen from where they stand.

use crate::bench::{AlarmId, ProbeAt, Role, View};
use crate::reading::Value;

/// An alarm the hand answers with "seen". Too much caustic is answered by a remedy.
pub fn unacknowledged(view: &View) -> Option<AlarmId> {
    let seen = |alarm: &AlarmId| matches!(alarm, AlarmId::CausticOver { .. });
    let mut open = view.alarms.iter().filter(|alarm| !alarm.acknowledged && !seen(&alarm.alarm));
    open.next().map(|alarm| alarm.alarm.clone())
}

pub fn grams_shown(view: &View) -> Option<f64> {
    let scale = view.channels.iter().find(|channel| matches!(channel.role, Role::Scale { .. }))?;
    match scale.value {
        Some(Value::Mass { mass, .. }) => Some(mass.grams()),
        _ => None,
    }
}

/// By the probe that stands there, or as the screen has it from elsewhere.
pub fn celsius_at(view: &View, place: ProbeAt) -> Option<f64> {
    let probe = view
        .channels
        .iter()
        .find(|channel| matches!(channel.role, Role::Probe { at, .. } if at == place));
    match probe.and_then(|probe| probe.value) {
        Some(Value::Temperature { temperature, .. }) => Some(temperature.celsius()),
        _ => {
            let mut known = view.batches.iter().flat_map(|batch| &batch.temperatures);
            known.find(|known| known.at == place).map(|known| known.temperature.celsius())
        }
    }
}
