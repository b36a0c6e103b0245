//! The bench file: instruments, channels, roles, units, limits and vessels of one bench.
