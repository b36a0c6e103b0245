//! A pure simulated bench: physics, a hand, faults, a seed.
