//! The whole simulated bench: scene, instruments, faults and the hand, on simulated time.

use super::chance::Chance;
use super::fixture::SimBench;
use super::hand::Hand;
use super::instrument::{Device, Instrument};
use super::pan::Scale;
use super::scene::Scene;
use super::story::{Fault, FaultKind, Story, When};
use crate::bench::{Act, BatchId, ChannelSetup, ProbeAt, Role, Setup, View};
use crate::chemistry::{Alkali, IngredientId, ScaleFacts};
use crate::quantity::{Mass, MassUnit, Span};
use crate::reading::{Channel, Reading};

/// What the world does.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// An instrument says this. Never together with [`Event::Reading`], see
    /// [`World::with_readings`].
    Bytes {
        instrument: String,
        bytes: Vec<u8>,
    },
    Reading(Reading),
    /// Instead of bytes that are no frame.
    Refused {
        instrument: String,
    },
    /// The shell closes the port.
    Unplugged {
        instrument: String,
    },
    /// The shell opens it again.
    Plugged {
        instrument: String,
    },
    /// The hand presses a key.
    Act(Act),
    /// What somebody in the room would see.
    Note(String),
}

/// Physics goes by steps of this length.
const STEP: Span = Span::from_millis(10);
/// No two pots, cups or jugs weigh the same.
const VESSELS_APART_G: f64 = 31.0;
/// The hand looks at the screen this often.
const GLANCE: Span = Span::from_millis(100);

#[derive(Clone, Debug)]
pub struct World {
    /// One for each pot, with its vessels; the scale is in the first.
    scenes: Vec<Scene>,
    devices: Vec<Device>,
    faces: Vec<Instrument>,
    /// One for each pot; and the batches in the order in which they were first seen.
    hands: Vec<Hand>,
    batches: Vec<BatchId>,
    hand_due: Span,
    faults: Vec<(Fault, Stage)>,
    /// Physics has come this far.
    now: Span,
    as_readings: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    Waiting,
    Until(Option<Span>),
    Over,
}

impl World {
    /// The bench of a story at its beginning: everything on the table, nothing on the pan.
    pub fn new(story: &Story, bench: &SimBench) -> World {
        let chance = Chance::new(story.seed);
        let tenth = ScaleFacts {
            d: MassUnit::Gram.one(),
            capacity: MassUnit::Kilogram.one(),
            verified: None,
        };
        let facts = bench.setup.scale().map_or(tenth, |(_, facts)| facts);
        let scale = Scale::new(facts.d.grams(), facts.capacity.grams(), chance.branch("scale"));
        let devices: Vec<Device> = bench
            .setup
            .instruments()
            .into_iter()
            .map(|name| {
                let channels: Vec<_> = bench.setup.fed_by(name).cloned().collect();
                let pots = channels.iter().map(|channel| pot_of(&bench.setup, channel)).collect();
                Device::new(name, channels, pots, chance.branch(name))
            })
            .collect();
        World {
            scenes: (0..story.pots).map(|pot| scene(bench, &scale, pot)).collect(),
            faces: devices.iter().map(|device| device.face.clone()).collect(),
            devices,
            hands: (0..story.pots).map(|pot| hand(story, &chance, pot)).collect(),
            batches: Vec::new(),
            hand_due: GLANCE,
            faults: story.faults.iter().map(|fault| (fault.clone(), Stage::Waiting)).collect(),
            now: Span::ZERO,
            as_readings: false,
        }
    }

    /// Gives readings instead of bytes: for runs in one thread, far faster than real time.
    #[must_use]
    pub fn with_readings(mut self) -> World {
        self.as_readings = true;
        self
    }

    pub fn instruments(&self) -> &[Instrument] {
        &self.faces
    }

    /// When it wants to be advanced next.
    pub fn next(&self) -> Span {
        let devices = self.devices.iter().filter_map(|device| device.next(self.as_readings));
        devices.chain([self.hand_due]).min().unwrap_or(self.hand_due)
    }

    /// Lets time go by up to `now`. `view` is what the screen shows at that moment.
    pub fn advance(&mut self, now: Span, view: &View) -> Vec<Event> {
        let mut events = Vec::new();
        self.faults_begin_and_end(now, view, &mut events);
        while let Some(due) = self.device_due(now) {
            self.elapse(due);
            self.devices_speak(due, &mut events);
        }
        self.elapse(now);
        if self.hand_due <= now {
            self.hand_due = now + GLANCE;
            self.hands_act(now, view, &mut events);
        }
        events
    }

    /// Bytes from the daemon to an instrument; the answer comes with a later [`World::advance`].
    pub fn receive(&mut self, instrument: &str, bytes: &[u8], now: Span) -> Vec<Event> {
        let device = self.devices.iter_mut().find(|device| device.face.name == instrument);
        let answer = device.and_then(|device| device.receive(bytes, now));
        let instrument = instrument.to_owned();
        answer.map(|bytes| Event::Bytes { instrument, bytes }).into_iter().collect()
    }

    /// How much of an ingredient of a batch is really in its vessel, whatever any instrument says.
    pub fn really_holds(&self, batch: &BatchId, ingredient: &IngredientId) -> Option<Mass> {
        let pot = self.batches.iter().position(|known| known == batch).unwrap_or_default();
        let scene = self.scenes.get(pot)?;
        let held = scene.vessels.values().filter_map(|vessel| vessel.contents.get(ingredient));
        let grams: f64 = held.sum();
        (grams > 0.0).then(|| Mass::from_grams_rounded(grams))
    }

    /// Each hand sees its own pot, its own probes and the scale.
    fn hands_act(&mut self, now: Span, view: &View, events: &mut Vec<Event>) {
        for batch in &view.batches {
            if !self.batches.contains(&batch.batch) {
                self.batches.push(batch.batch.clone());
            }
        }
        for (pot, (hand, scene)) in self.hands.iter_mut().zip(&mut self.scenes).enumerate() {
            match self.batches.get(pot) {
                _ if self.batches.len() < 2 && pot == 0 => hand.act(now, view, scene, events),
                Some(batch) => hand.act(now, &view_of(view, batch, pot == 0), scene, events),
                None => {}
            }
        }
    }

    /// One step of physics; what stands on the pan presses on the one scale together.
    fn let_go_by(&mut self) {
        let (first, others) = self.scenes.split_at_mut(1);
        first[0].beside_g = others.iter().map(Scene::load_g).sum();
        for scene in first.iter_mut().chain(others) {
            scene.step(STEP.seconds());
        }
    }

    fn device_due(&self, now: Span) -> Option<Span> {
        let dues = self.devices.iter().filter_map(|device| device.next(self.as_readings));
        dues.min().filter(|&due| due <= now)
    }

    fn elapse(&mut self, until: Span) {
        while self.now + STEP <= until {
            self.let_go_by();
            self.now = self.now + STEP;
        }
    }

    fn devices_speak(&mut self, due: Span, events: &mut Vec<Event>) {
        for device in &mut self.devices {
            if device.next(self.as_readings).is_none_or(|next| next > due) {
                continue;
            }
            let instrument = device.face.name.clone();
            let Some(frame) = device.speak(due, &mut self.scenes) else { continue };
            if !self.as_readings {
                events.push(Event::Bytes { instrument, bytes: frame.bytes });
            } else if frame.garbage {
                events.push(Event::Refused { instrument });
            } else {
                events.extend(frame.readings.into_iter().map(Event::Reading));
            }
        }
    }

    fn faults_begin_and_end(&mut self, now: Span, view: &View, events: &mut Vec<Event>) {
        let mut faults = std::mem::take(&mut self.faults);
        for (fault, stage) in &mut faults {
            match *stage {
                Stage::Waiting if has_come(&fault.when, now, view) => {
                    self.set(fault, true, events);
                    *stage = Stage::Until(fault.lasts.map(|lasts| now + lasts));
                }
                Stage::Until(Some(end)) if end <= now => {
                    self.set(fault, false, events);
                    *stage = Stage::Over;
                }
                _ => {}
            }
        }
        self.faults = faults;
    }

    fn set(&mut self, fault: &Fault, on: bool, events: &mut Vec<Event>) {
        let name = fault.of.as_str();
        let channel = Channel::new(name);
        let found = self
            .devices
            .iter_mut()
            .find(|device| device.face.name == name || device.face.channels.contains(&channel));
        let Some(device) = found else { return };
        let instrument = device.face.name.clone();
        let wrong = &mut device.wrong;
        match fault.kind {
            FaultKind::Unplug => {
                wrong.unplugged = on;
                events.push(if on {
                    Event::Unplugged { instrument }
                } else {
                    Event::Plugged { instrument }
                });
            }
            FaultKind::Garbage => wrong.garbage = on,
            FaultKind::Freeze => wrong.frozen = on,
            FaultKind::DropOuts(share) => wrong.drop_outs = if on { share.fraction() } else { 0.0 },
            FaultKind::Unit(unit) => wrong.unit = on.then_some(unit),
            FaultKind::Period(period) => wrong.period = on.then_some(period),
            FaultKind::DeadProbe => wrong.dead = on.then_some(channel),
            FaultKind::Drift(per_minute) => {
                let drift = if on { per_minute.grams() / 60.0 } else { 0.0 };
                self.scenes[0].scale.drift_g_per_s = drift;
            }
            FaultKind::Knock => {
                if on {
                    self.scenes[0].scale.knock();
                }
            }
            FaultKind::Sleep => {
                wrong.asleep = on;
                if !on {
                    self.scenes[0].scale.zero_here();
                }
            }
        }
        let verb = if on { "begins" } else { "ends" };
        events.push(Event::Note(format!("{} {verb}: {}", fault.of, words(fault.kind))));
    }
}

/// Of several probes of one kind, each stands in the next pot.
fn pot_of(setup: &Setup, channel: &ChannelSetup) -> usize {
    let Role::Probe { at, .. } = channel.role else { return 0 };
    let alike =
        |other: &&ChannelSetup| matches!(other.role, Role::Probe { at: of, .. } if of == at);
    let mut alike = setup.channels.iter().filter(alike);
    alike.position(|other| other.channel == channel.channel).unwrap_or_default()
}

/// The vessels of each pot weigh a little more than those of the one before.
fn scene(bench: &SimBench, scale: &Scale, pot: usize) -> Scene {
    let mut scene = Scene::new(bench, Alkali::SodiumHydroxide, scale.clone());
    for vessel in scene.vessels.values_mut() {
        vessel.tare_g += VESSELS_APART_G * pot as f64;
    }
    scene
}

fn hand(story: &Story, chance: &Chance, pot: usize) -> Hand {
    let branch = if pot == 0 { "hand".to_owned() } else { format!("hand {}", pot + 1) };
    Hand::new(story.hand.clone().unwrap_or_default(), chance.branch(&branch))
}

/// What whoever minds one pot looks at: its batch, its alarms, its probes and the scale. What
/// concerns the whole bench is answered by the first of them.
fn view_of(view: &View, batch: &BatchId, first: bool) -> View {
    let mut view = view.clone();
    view.batches.retain(|shown| &shown.batch == batch);
    view.alarms.retain(|alarm| alarm.alarm.batch().map_or(first, |of| of == batch));
    view.channels.retain(|channel| {
        let shared =
            matches!(channel.role, Role::Scale { .. } | Role::Probe { at: ProbeAt::Room, .. });
        shared || channel.holder.as_ref() == Some(batch)
    });
    view
}

fn has_come(when: &When, now: Span, view: &View) -> bool {
    match when {
        When::At(at) => *at <= now,
        When::Cooked(time) => {
            let mut cooks = view.batches.iter().filter_map(|batch| batch.cook.as_ref());
            cooks.any(|cook| cook.watched >= *time)
        }
        When::Poured(ingredient, share) => view.batches.iter().any(|batch| {
            let weighing = batch.weighing.as_ref().filter(|w| &w.ingredient == ingredient);
            weighing.is_some_and(|weighing| {
                let part = weighing.target.mass.grams() * share.fraction();
                weighing.net.is_some_and(|net| net.grams() >= part)
            })
        }),
    }
}

const fn words(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Unplug => "unplugged",
        FaultKind::Garbage => "garbage on the wire",
        FaultKind::Freeze => "the same value again and again",
        FaultKind::DropOuts(_) => "frames are lost",
        FaultKind::Drift(_) => "the zero walks",
        FaultKind::Knock => "a bump",
        FaultKind::Unit(_) => "another unit",
        FaultKind::Sleep => "asleep",
        FaultKind::DeadProbe => "a broken probe",
        FaultKind::Period(_) => "another pace",
    }
}

#[cfg(test)]
mod tests {
    use super::super::{fixture, parse};
    use super::*;

    const QUIET: &str = "title x\nseed 3\nhand\n";

    fn world(text: &str) -> World {
        World::new(&parse("x", text).unwrap(), &fixture::standard())
    }

    /// Lets the world go by as a shell would, with a screen that shows nothing.
    fn events_until(world: &mut World, until: Span) -> Vec<Event> {
        let mut events = Vec::new();
        while world.next() <= until {
            events.extend(world.advance(world.next(), &View::default()));
        }
        events
    }

    fn lines(events: &[Event], wanted: &str) -> Vec<String> {
        let said = events.iter().filter_map(|event| match event {
            Event::Bytes { instrument, bytes } if instrument == wanted => {
                Some(String::from_utf8_lossy(bytes).into_owned())
            }
            _ => None,
        });
        said.collect()
    }

    #[test]
    fn instruments_stream_at_their_pace() {
        let events = events_until(&mut world(QUIET), Span::from_secs(10));
        let scale = lines(&events, "scale");
        assert_eq!(scale.len(), 100);
        assert!(scale.iter().all(|line| line.len() == 17 && line.ends_with("g\r\n")), "{scale:?}");
        assert_eq!(lines(&events, "thermometer").len(), 10);
        assert_eq!(lines(&events, "thermometer")[0].split(',').count(), 3);
        assert_eq!(lines(&events, "pot-probe"), Vec::<String>::new(), "nobody asked");
    }

    #[test]
    fn the_answering_probe_answers_late_and_refuses_nonsense() {
        let mut world = world(QUIET);
        let asked = Span::from_secs(1);
        events_until(&mut world, asked);
        assert!(world.receive("pot-probe", b"T1", asked).is_empty(), "half a question");
        assert!(world.receive("pot-probe", b"\r\n", asked).is_empty());
        assert!(lines(&events_until(&mut world, Span::from_millis(1079)), "pot-probe").is_empty());
        let answer = lines(&events_until(&mut world, Span::from_millis(1081)), "pot-probe");
        assert_eq!(answer.len(), 1);
        assert!(answer[0].starts_with("T1 +02") && answer[0].ends_with("C\r\n"), "{answer:?}");
        let nonsense = world.receive("pot-probe", b"X9\r", Span::from_millis(1100));
        assert_eq!(lines(&nonsense, "pot-probe"), ["E1\r\n"]);
        for _ in 0..1000 {
            world.receive("pot-probe", &[b'x'; 1000], Span::from_millis(1100));
            world.receive("pot-probe", b"\nT1\n", Span::from_millis(1100));
        }
        let answers = lines(&events_until(&mut world, Span::from_secs(5)), "pot-probe");
        assert!(answers.len() <= 16, "open questions are bounded: {}", answers.len());
    }

    #[test]
    fn unplugged_is_silent_and_garbage_is_no_line() {
        let faults = "faults\nunplug scale for 2 s at 1 s\ngarbage scale for 1 s at 5 s\n";
        let mut world = world(&format!("{QUIET}{faults}"));
        let events = events_until(&mut world, Span::from_secs(4));
        assert_eq!(lines(&events, "scale").len(), 40 - 20);
        let of = |event: &Event| {
            let instrument = "scale".to_owned();
            (*event == Event::Unplugged { instrument: instrument.clone() })
                || *event == Event::Plugged { instrument }
        };
        assert_eq!(events.iter().filter(|event| of(event)).count(), 2);
        let events = events_until(&mut world, Span::from_secs(7));
        let odd = lines(&events, "scale").iter().filter(|l| !l.starts_with("ST,")).count();
        assert_eq!(odd, 10);
    }

    #[test]
    fn bytes_and_readings_tell_the_same() {
        let mut told = events_until(&mut world(QUIET), Span::from_secs(3)).into_iter();
        let mut readings = world(QUIET).with_readings();
        let readings = events_until(&mut readings, Span::from_secs(3));
        let mut compared = 0;
        for event in &readings {
            let Event::Reading(reading) = event else { continue };
            let Some(mass) = reading.mass() else { continue };
            let line = told.find_map(|event| match event {
                Event::Bytes { instrument, bytes } if instrument == "scale" => Some(bytes),
                _ => None,
            });
            let line = String::from_utf8(line.unwrap()).unwrap();
            let number: f64 = line[3..12].parse().unwrap();
            assert!((number - mass.grams()).abs() < 1e-9, "{line} {mass}");
            compared += 1;
        }
        assert_eq!(compared, 30);
    }
}
