//! Channels that read what a story's lines say.

use std::collections::BTreeMap;

use crate::bench::{Role, Setup};
use crate::quantity::{Mass, Moment, Span, Temperature, TemperatureDelta};
use crate::reading::{Channel, Reading, Status, Value};

/// One number on a channel, or none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    Mass(Mass),
    Temperature(Temperature),
    None,
}

/// All channels a story has spoken of.
#[derive(Clone, Debug, Default)]
pub struct Script {
    streams: BTreeMap<Channel, Stream>,
}

#[derive(Clone, Debug)]
struct Stream {
    from: Number,
    to: Number,
    begun: Span,
    lasts: Span,
    /// While it moves, and after.
    status_moving: Status,
    status: Status,
    due: Span,
    /// Silent, or its instrument is lost.
    quiet: bool,
}

impl Script {
    /// The channel reads this from now on, the first time at once.
    pub fn reads(&mut self, channel: &Channel, now: Span, number: Number, status: Status) {
        let stream = Stream {
            from: number,
            to: number,
            begun: now,
            lasts: Span::ZERO,
            status_moving: status,
            status,
            due: now,
            quiet: false,
        };
        self.streams.insert(channel.clone(), stream);
    }

    /// The channel moves from where it is; says how long that takes.
    pub fn moves(
        &mut self,
        channel: &Channel,
        now: Span,
        to: Number,
        per_second: f64,
        status_moving: Status,
    ) -> Option<Span> {
        let stream = self.streams.get_mut(channel)?;
        let distance = match (stream.number(now), to) {
            (Number::Mass(from), Number::Mass(to)) => (to - from).grams(),
            (Number::Temperature(from), Number::Temperature(to)) => (to - from).kelvin(),
            _ => return None,
        };
        let lasts = Span::from_nanos((distance.abs() / per_second * 1e9) as i64);
        let (from, status) = (stream.number(now), stream.status);
        *stream = Stream { from, to, begun: now, lasts, status_moving, status, ..stream.clone() };
        Some(lasts)
    }

    pub fn hush(&mut self, channel: &Channel, quiet: bool, now: Span) {
        if let Some(stream) = self.streams.get_mut(channel) {
            stream.quiet = quiet;
            stream.due = now;
        }
    }

    /// When the next reading is due.
    pub fn next(&self) -> Option<Span> {
        self.streams.values().filter(|stream| !stream.quiet).map(|stream| stream.due).min()
    }

    /// The readings due now, each channel's next one set.
    pub fn take(&mut self, now: Span, at: Moment, setup: &Setup) -> Vec<Reading> {
        let mut readings = Vec::new();
        for (channel, stream) in &mut self.streams {
            if stream.quiet || stream.due > now {
                continue;
            }
            let known = setup.channel(channel);
            stream.due = now + known.map_or(Span::from_secs(1), |known| known.period);
            let moving = now < stream.begun + stream.lasts;
            let status = if moving { stream.status_moving } else { stream.status };
            let role = known.map(|known| known.role);
            let value = value_of(stream.number(now), role);
            readings.push(Reading { channel: channel.clone(), at, value, status });
        }
        readings
    }
}

impl Stream {
    fn number(&self, now: Span) -> Number {
        let gone = (now - self.begun).seconds();
        if gone >= self.lasts.seconds() {
            return self.to;
        }
        let part = gone / self.lasts.seconds();
        match (self.from, self.to) {
            (Number::Mass(from), Number::Mass(to)) => {
                Number::Mass(from + Mass::from_grams_rounded((to - from).grams() * part))
            }
            (Number::Temperature(from), Number::Temperature(to)) => {
                let way = TemperatureDelta::from_kelvin_rounded((to - from).kelvin() * part);
                Number::Temperature(from + way)
            }
            _ => self.to,
        }
    }
}

/// As the instrument would show it: a scale in steps of its interval, a probe in tenths.
pub fn value_of(number: Number, role: Option<Role>) -> Option<Value> {
    match (number, role) {
        (Number::Mass(mass), Some(Role::Scale { facts, unit })) => Some(Value::Mass {
            mass: mass.round_to(facts.d),
            unit,
            decimals: unit.bench_decimals(),
            unit_on_wire: true,
        }),
        (Number::Temperature(temperature), Some(Role::Probe { unit, .. })) => {
            Some(Value::Temperature { temperature, unit, decimals: 1 })
        }
        _ => None,
    }
}
