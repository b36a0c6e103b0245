// The bench, live.
