use std::sync::Arc;

use tokio::sync::watch::Receiver;

use crate::bench::View;

/// Whether the bench itself still works, not only the task that feeds a screen.
///
/// The bench publishes a view after everything it does, and at least four times a second when
/// nothing happens. A beat is passed on only if it has done so since the beat before: a bench that
/// hangs falls silent on every screen.
pub struct Pulse {
    views: Receiver<Arc<View>>,
}

impl Pulse {
    pub fn new(views: Receiver<Arc<View>>) -> Pulse {
        Pulse { views }
    }

    /// To be asked once a beat.
    pub fn beats(&mut self) -> bool {
        let beats = self.views.has_changed().unwrap_or(false);
        self.views.mark_unchanged();
        beats
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bench_that_publishes_nothing_does_not_beat() {
        let (bench, views) = tokio::sync::watch::channel(Arc::new(View::default()));
        let mut pulse = Pulse::new(views);
        assert!(!pulse.beats());
        bench.send_replace(Arc::new(View::default()));
        assert!(pulse.beats());
        assert!(!pulse.beats(), "one view is one beat");
        bench.send_replace(Arc::new(View::default()));
        drop(bench);
        assert!(!pulse.beats(), "a bench that is gone does not beat");
    }
}
