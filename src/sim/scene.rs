//! What is really on the bench: vessels, masses, heat. The hand changes it, instruments measure
//! it.

use std::collections::BTreeMap;

use super::fixture::SimBench;
use super::heat::{Lye, Pot};
use super::pan::Scale;
use crate::bench::ProbeAt;
use crate::chemistry::{Alkali, IngredientId};

pub const POT: &str = "pot";
pub const CUP: &str = "cup";
pub const JUG: &str = "jug";
pub const BEAKER: &str = "beaker";

/// The caustic in the jug, whichever it is.
const IN_LYE: &str = "caustic";
const ROOM_C: f64 = 21.0;
/// A stream still falls after the bottle has been righted.
const FALL_S: f64 = 0.15;
/// A falling stream presses on the pan by its flow times its speed: about 1 m/s.
const STREAM_PRESS_S: f64 = 0.1;
/// A vessel that is put down strikes the pan.
const SET_DOWN_G_PER_S: f64 = 150.0;
/// A probe of steel follows its surroundings with this time constant.
const PROBE_S: f64 = 4.0;
/// No vessel is emptied to the last grain.
const CLINGS: f64 = 0.999;
/// Empty weights a bench does not name.
const TARE_DEFAULT_G: f64 = 60.0;

#[derive(Clone, Debug)]
pub struct Scene {
    pub scale: Scale,
    pub vessels: BTreeMap<String, Vessel>,
    /// The vessel on the pan.
    pub on_pan: Option<String>,
    /// What is being poured into it, and how fast.
    pub stream: Option<(IngredientId, f64)>,
    /// Grams a second that reach the vessel.
    arriving_g_per_s: f64,
    arriving: Option<IngredientId>,
    /// What others have put on the same pan.
    pub beside_g: f64,
    /// A hand or a spoon leans on the vessel.
    pub touch_g: f64,
    pub pot: Pot,
    pub lye: Lye,
    pub room_c: f64,
    probes: BTreeMap<ProbeAt, f64>,
}

#[derive(Clone, Debug, Default)]
pub struct Vessel {
    pub tare_g: f64,
    pub contents: BTreeMap<IngredientId, f64>,
}

impl Vessel {
    pub fn net_g(&self) -> f64 {
        self.contents.values().sum()
    }
}

impl Scene {
    pub fn new(bench: &SimBench, alkali: Alkali, scale: Scale) -> Scene {
        let mut vessels = BTreeMap::new();
        for (name, tare) in &bench.vessels {
            let tare_g = tare.grams();
            vessels.insert(name.clone(), Vessel { tare_g, ..Vessel::default() });
        }
        let pot_g = vessels.get(POT).map_or(800.0, |pot| pot.tare_g);
        Scene {
            scale,
            vessels,
            on_pan: None,
            stream: None,
            arriving_g_per_s: 0.0,
            arriving: None,
            touch_g: 0.0,
            beside_g: 0.0,
            pot: Pot::new(pot_g, ROOM_C),
            lye: Lye::new(alkali, ROOM_C),
            room_c: ROOM_C,
            probes: BTreeMap::new(),
        }
    }

    pub fn put(&mut self, vessel: &str) {
        self.vessel(vessel);
        self.on_pan = Some(vessel.to_owned());
        self.scale.knock_by(SET_DOWN_G_PER_S);
    }

    pub fn take(&mut self) {
        self.on_pan = None;
        self.stream = None;
        self.arriving_g_per_s = 0.0;
    }

    /// Takes grams of what is in the vessel on the pan out of it; of a lye, both that it is made of.
    pub fn spoon_out(&mut self, ingredient: &IngredientId, grams: f64) {
        if self.on_pan.as_deref() == Some(JUG) {
            let held = self.vessel(JUG).net_g();
            let taken = self.tip_out(JUG, grams);
            self.lye.keep(1.0 - if held > 0.0 { taken / held } else { 0.0 });
        } else if let Some(name) = self.on_pan.clone() {
            let held = self.vessel(&name).contents.entry(ingredient.clone()).or_default();
            *held = (*held - grams).max(0.0);
        }
    }

    /// Moves up to so many grams of all that a vessel holds; says how many.
    pub fn tip_out(&mut self, from: &str, grams: f64) -> f64 {
        let vessel = self.vessel(from);
        let held = vessel.net_g();
        let part = if held > 0.0 { (grams / held).min(CLINGS) } else { return 0.0 };
        vessel.contents.values_mut().for_each(|mass| *mass *= 1.0 - part);
        held * part
    }

    /// Tips up to so many grams of caustic into the liquid.
    pub fn tip_into_lye(&mut self, cup: &str, grams: f64) {
        let grams = self.tip_out(cup, grams);
        self.strew_into_lye(grams);
    }

    /// Caustic from wherever, into the jug.
    pub fn strew_into_lye(&mut self, grams: f64) {
        *self.vessel(JUG).contents.entry(IN_LYE.into()).or_default() += grams;
        self.lye.add_grains(grams, self.room_c);
    }

    pub fn vessel(&mut self, name: &str) -> &mut Vessel {
        self.vessels
            .entry(name.to_owned())
            .or_insert_with(|| Vessel { tare_g: TARE_DEFAULT_G, ..Vessel::default() })
    }

    /// Lets `dt_s` (at most 20 ms) go by.
    pub fn step(&mut self, dt_s: f64) {
        let poured = self.stream.as_ref().map_or(0.0, |(_, rate)| *rate);
        if let Some((ingredient, _)) = &self.stream {
            self.arriving = Some(ingredient.clone());
        }
        let part = 1.0 - (-dt_s / FALL_S).exp();
        self.arriving_g_per_s += (poured - self.arriving_g_per_s) * part;
        self.arrive(dt_s);
        let load = self.load_g() + self.beside_g;
        self.scale.step(load, dt_s);
        let room = self.room_c;
        self.pot.step(room, dt_s);
        self.lye.step(room, dt_s);
        for (at, real) in [
            (ProbeAt::Oils, self.pot.celsius),
            (ProbeAt::Pot, self.pot.celsius),
            (ProbeAt::Lye, self.lye.celsius),
            (ProbeAt::Room, room),
        ] {
            let shown = self.probes.entry(at).or_insert(real);
            *shown = super::heat::newton(*shown, real, PROBE_S, dt_s);
        }
    }

    /// What a probe at this place shows, °C.
    pub fn probe_c(&self, at: ProbeAt) -> f64 {
        self.probes.get(&at).copied().unwrap_or(self.room_c)
    }

    fn arrive(&mut self, dt_s: f64) {
        let grams = self.arriving_g_per_s * dt_s;
        let (Some(name), Some(ingredient)) = (self.on_pan.clone(), self.arriving.clone()) else {
            return;
        };
        if grams <= 0.0 {
            return;
        }
        *self.vessel(&name).contents.entry(ingredient).or_default() += grams;
        if name == POT {
            self.pot.add_oil(grams, self.room_c);
        } else if name == JUG {
            self.lye.add_water(grams, self.room_c);
        }
    }

    /// What presses on the pan from this scene's side.
    pub fn load_g(&self) -> f64 {
        let Some(vessel) = self.on_pan.as_ref().and_then(|name| self.vessels.get(name)) else {
            return self.touch_g;
        };
        let press = self.arriving_g_per_s * STREAM_PRESS_S;
        vessel.tare_g + vessel.net_g() + press + self.touch_g
    }
}
