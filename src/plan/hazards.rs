//! Hazards, named where they are. They advise; the safety data sheet and local codes decide.

use super::Window;
use crate::quantity::{Temperature, TemperatureUnit};

pub(super) const CAUSTIC: [&str; 4] = [
    "goggles, gloves and long sleeves on before the tin is opened, children and pets out",
    "dry cup of its own, stainless steel or polypropylene, never aluminium, zinc or tin",
    "a splash: rinse at once with plenty of water, for many minutes, then get help",
    "lid back on the tin: caustic draws water from the air",
];

pub(super) const LIQUID: [&str; 1] =
    ["jug of at least twice the volume, stainless steel or polypropylene, no aluminium, no glass"];

pub(super) const DISSOLVE: [&str; 4] = [
    "caustic into the liquid, a little at a time, stirring, never liquid onto caustic",
    "goggles and gloves stay on, fan on or window open, face away from the fumes",
    "jug on a flat heat-proof place, out of reach: it gets hot by itself",
    "a splash: rinse at once with plenty of water, for many minutes, then get help",
];

pub(super) const COMBINE: [&str; 3] = [
    "goggles and gloves stay on, pour the lye in a thin stream, low over the oils",
    "blender: blade under the surface before it runs, unplugged before a finger comes near",
    "raw soap burns skin like lye does: rinse with plenty of water",
];

/// Pots were seen to climb between these; common practice, no source.
const CLIMBS: Window =
    Window { low: Temperature::from_celsius(82), high: Temperature::from_celsius(95) };

pub(super) fn cook(unit: TemperatureUnit) -> Vec<String> {
    let (low, high) = (CLIMBS.low.show(unit, 0), CLIMBS.high.show(unit, 0));
    vec![
        format!(
            "a pot can climb at {low} to {high}, and no probe sees foam: stay within reach, stir \
             it down, flame or coil off"
        ),
        "pot at most half full, hot handles, hot steam".to_owned(),
        "raw soap still burns: goggles and gloves while stirring".to_owned(),
    ]
}

pub(super) const STIR_IN: [&str; 1] = ["hot soap spits when cold liquid comes in: add it slowly"];

pub(super) const POUR: [&str; 2] =
    ["hot soap sticks and burns: gloves on, both hands, nobody behind you", "no aluminium mould"];

pub(super) const ALUMINIUM: &str = "no aluminium, zinc or tin: pot, spoon and blender shaft too";
