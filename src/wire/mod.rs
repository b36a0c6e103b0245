//! From bytes to readings, by wire sheets. No port and no clock in here.
