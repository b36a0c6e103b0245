//! What a batch came to: deviations, times, alarms, superfat. No IO.
