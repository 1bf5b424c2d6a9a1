//! The second floor of the centre: clay, water and oxygen, and what follows for scale, pump and bags.
//!
//! How cloudy a mass of clay makes the water:
//! - [`Yield`], [`Clouding`]: this clay in this water; [`yields`] learns it while the room runs;
//! - [`balance`]: what flows into the head tank, what it then holds, and what overflows;
//! - [`feed`]: the clay that a turbidity demands, by pump setting or by strength;
//! - [`sharing`]: several pumps at one head tank, each with its share of the water;
//! - [`levers`]: both together, for now and for the night;
//! - [`response`]: how long a change takes to reach the fish;
//! - [`density`], [`gauge`]: how heavy slurry is, and what a level sensor says of the volume;
//! - [`settling`]: what happens when a drum's air fails.
//!
//! What to do:
//! - [`refill`]: what to add to a drum;
//! - [`ahead`], [`stock`]: what the coming days need, and when to order;
//! - [`bounds`], [`verify`]: which figures can be meant, and checks by hand against the sensors.
//!
//! The water itself:
//! - [`water`], [`oxygen`], [`trend`]: how much flows and how cloudy it is, how full of oxygen, and where a value goes.

pub mod ahead;
pub mod balance;
pub mod bounds;
mod clouding;
pub mod density;
pub mod feed;
pub mod gauge;
pub mod levers;
pub mod oxygen;
pub mod refill;
pub mod response;
pub mod settling;
pub mod sharing;
pub mod stock;
pub mod trend;
pub mod verify;
pub mod water;
pub mod yields;

#[cfg(test)]
#[path = "../../model/src/checks.rs"]
mod checks;

pub use clouding::{Clouding, LearnedYield, Yield};
