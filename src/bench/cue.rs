use serde::{Deserialize, Serialize};

use super::alarm::{AlarmId, Priority};

/// What is shown, said or sounded at once. Cues are never recovered and never wait for the disk.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cue {
    /// One sentence to speak or print.
    Say { words: String },
    /// An alarm sounds. `words` say what is wrong and what to do.
    Sound { alarm: AlarmId, priority: Priority, words: String },
    /// The emergency card is to be shown.
    Emergency,
    /// Pour slower: not much is left.
    Slow,
    /// Stop pouring: what is still running in will do.
    Stop,
    /// Sounds stop; banners stay.
    Hush,
}
