//! Stability, pour rate, heating rate: what readings say together, each with its delay stated.
