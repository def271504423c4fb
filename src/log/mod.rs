//! Append-only log of readings and events.
