//! The one file that reads the clock.
