use std::path::PathBuf;

/// Ports that are plugged in, by the names that stay the same when they are plugged in again.
pub fn there() -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir("/dev/serial/by-id") else { return Vec::new() };
    let mut ports: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    ports.sort();
    ports
}
