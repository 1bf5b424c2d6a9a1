//! An invented hatchery.

pub mod hatchery;
mod instruments;
mod messages;
mod physics;
pub mod site;
pub mod staff;
pub mod story;

#[cfg(test)]
mod tests;
