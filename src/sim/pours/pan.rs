//! A vessel on a scale, and what falls into it.

use super::super::chance::Chance;
use super::super::pan::Scale;
use super::Terms;

/// A stream still falls after the bottle has been righted, and presses on the pan by its flow
/// times its speed, about 1 m/s; as in the scene of the whole bench.
const FALL_S: f64 = 0.15;
const STREAM_PRESS_S: f64 = 0.1;
const SET_DOWN_G_PER_S: f64 = 150.0;

pub struct Pan {
    pub scale: Scale,
    vessel_g: Option<f64>,
    /// What is really in the vessel.
    pub net_g: f64,
    arriving_g_per_s: f64,
}

impl Pan {
    pub fn new(terms: &Terms, capacity_g: f64, chance: Chance) -> Pan {
        let mut scale = Scale::new(terms.d_g, capacity_g, chance);
        scale.noise_d = terms.noise_d;
        scale.drift_g_per_s = terms.drift_d_per_min * terms.d_g / 60.0;
        Pan { scale, vessel_g: None, net_g: 0.0, arriving_g_per_s: 0.0 }
    }

    pub fn put(&mut self, vessel_g: f64) {
        self.vessel_g = Some(vessel_g);
        self.scale.knock_by(SET_DOWN_G_PER_S);
    }

    pub fn take(&mut self) {
        self.vessel_g = None;
        self.net_g = 0.0;
        self.arriving_g_per_s = 0.0;
    }

    /// Lets `dt_s` (at most 20 ms) go by.
    pub fn step(&mut self, flow_g_per_s: f64, dt_s: f64) {
        let part = 1.0 - (-dt_s / FALL_S).exp();
        self.arriving_g_per_s += (flow_g_per_s - self.arriving_g_per_s) * part;
        let mut load = 0.0;
        if let Some(vessel_g) = self.vessel_g {
            self.net_g += self.arriving_g_per_s * dt_s;
            load = vessel_g + self.net_g + self.arriving_g_per_s * STREAM_PRESS_S;
        }
        self.scale.step(load, dt_s);
    }
}
