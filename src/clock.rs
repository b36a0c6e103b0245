//! The only room that reads time.
