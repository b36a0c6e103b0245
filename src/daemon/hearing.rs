use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use super::bench_loop::Handle;
use crate::bench::Input;
use crate::clock::Clock;
use crate::quantity::{Moment, Span};

/// Which screens can be heard. Each says so again and again; one that falls silent, or whose
/// stream ends, is not counted any more.
pub struct Hearing {
    handle: Handle,
    /// Of the bench.
    clock: Clock,
    /// Never faster than life: a tablet's pulse is not.
    life: Clock,
    screens: Mutex<BTreeMap<ScreenId, Moment>>,
    next: AtomicU64,
}

/// One open stream of one screen, unique in this run of the daemon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ScreenId(pub u64);

/// A screen that has passed a sound test says so every four seconds; three lost pulses are an
/// absence.
const SILENT_AFTER: Span = Span::from_secs(12);

impl Hearing {
    pub(super) fn new(handle: Handle, clock: Clock) -> Hearing {
        let (life, screens) = (Clock::new(), Mutex::default());
        Hearing { handle, clock, life, screens, next: AtomicU64::new(1) }
    }

    /// A stream has begun; it counts as silent until its screen has passed a sound test.
    pub fn stream(self: &Arc<Hearing>) -> Listener {
        let screen = ScreenId(self.next.fetch_add(1, Ordering::Relaxed));
        Listener { hearing: Arc::clone(self), screen }
    }

    /// What a screen says of itself: that it was heard, or that it is silent now.
    pub fn say(&self, screen: ScreenId, audible: bool) {
        let known = screen.0 < self.next.load(Ordering::Relaxed);
        self.change(|screens, now| {
            if audible && known {
                screens.insert(screen, now);
            } else {
                screens.remove(&screen);
            }
        });
    }

    /// Forgets screens whose pulse has stopped.
    pub fn sweep(&self) {
        self.change(|_, _| {});
    }

    fn change(&self, change: impl FnOnce(&mut BTreeMap<ScreenId, Moment>, Moment)) {
        let mut screens = self.screens.lock().unwrap_or_else(PoisonError::into_inner);
        let before = screens.len();
        let now = self.life.now();
        change(&mut screens, now);
        screens.retain(|_, said| now.since(*said) < SILENT_AFTER);
        if screens.len() != before {
            let audible = u32::try_from(screens.len()).unwrap_or(u32::MAX);
            self.handle.offer(self.clock.now(), Input::Hearing { audible });
        }
    }
}

/// Held as long as a screen's stream is open.
pub struct Listener {
    hearing: Arc<Hearing>,
    pub screen: ScreenId,
}

impl Listener {
    pub fn sweep(&self) {
        self.hearing.sweep();
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.hearing.say(self.screen, false);
    }
}
