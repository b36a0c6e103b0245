use std::collections::BTreeMap;
use std::path::Path;
use std::time::Duration;

use anyhow::Context;

use super::pty::SimPort;
use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::daemon::Desk;
use crate::quantity::Moment;
use crate::sim::fixture::SimBench;
use crate::sim::{Event, Story, World};

/// The simulated bench with its cables: what it says goes out through pseudo-terminals, what it
/// is asked comes in through them.
pub struct Rig {
    world: World,
    ports: BTreeMap<String, SimPort>,
    clock: Clock,
    began: Moment,
    /// Somebody at the page answers, so the simulated operator must not.
    visited: bool,
}

/// Looked at again at least this often, for questions that the daemon has asked.
const GLANCE: Duration = Duration::from_millis(4);

impl Rig {
    pub fn new(
        story: &Story,
        bench_file: &BenchFile,
        clock: &Clock,
        visited: bool,
    ) -> anyhow::Result<Rig> {
        let vessels =
            bench_file.vessels.iter().map(|vessel| (vessel.name.clone(), vessel.tare)).collect();
        let world = World::new(story, &SimBench { setup: bench_file.setup(), vessels });
        let mut ports = BTreeMap::new();
        for instrument in &bench_file.instruments {
            let mut port = SimPort::new(Path::new(&instrument.port).to_owned());
            port.plug().context("no pseudo-terminal for a simulated instrument")?;
            ports.insert(instrument.name.clone(), port);
        }
        Ok(Rig { world, ports, clock: clock.clone(), began: clock.now(), visited })
    }

    /// Lets the simulated bench go on to the present moment.
    pub async fn advance(&mut self, desk: &Desk) -> anyhow::Result<()> {
        let now = self.clock.now().since(self.began);
        let mut events = Vec::new();
        for (name, port) in &self.ports {
            let asked = port.read()?;
            if !asked.is_empty() {
                events.extend(self.world.receive(name, &asked, now));
            }
        }
        events.extend(self.world.advance(now, &desk.view()));
        for event in events {
            self.carry_out(event, desk).await?;
        }
        Ok(())
    }

    /// Until the simulated bench has something to say.
    pub async fn rest(&self) {
        let next = self.clock.until(self.began + self.world.next());
        tokio::time::sleep(next.min(GLANCE)).await;
    }

    async fn carry_out(&mut self, event: Event, desk: &Desk) -> anyhow::Result<()> {
        match event {
            Event::Bytes { instrument, bytes } => {
                if let Some(port) = self.ports.get(&instrument) {
                    port.write(&bytes)?;
                }
            }
            Event::Unplugged { instrument } => {
                if let Some(port) = self.ports.get_mut(&instrument) {
                    port.unplug()?;
                }
            }
            Event::Plugged { instrument } => {
                if let Some(port) = self.ports.get_mut(&instrument) {
                    port.plug()?;
                }
            }
            Event::Act(_) if self.visited => {}
            Event::Act(act) => {
                // a hand may be told no; it looks again and does otherwise
                desk.act(act).await.map_err(anyhow::Error::msg)?;
            }
            Event::Reading(_) | Event::Refused { .. } | Event::Note(_) => {}
        }
        Ok(())
    }
}
