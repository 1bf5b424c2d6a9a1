//! An invented hatchery.
