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
    /// Sounds stop; banners stay.
    Hush,
}
