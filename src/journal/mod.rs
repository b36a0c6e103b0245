//! The SQLite journal: facts, packed readings, byte tape. The only room that names rusqlite.
