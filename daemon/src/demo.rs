//! An invented hatchery.

pub mod hatchery;
mod instruments;
mod messages;
mod physics;
mod staff;
mod story;

#[cfg(test)]
mod tests;
