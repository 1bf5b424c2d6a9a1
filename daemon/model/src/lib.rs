//! The lowest floor of the centre: data and its laws.
//!
//! Values in, values out, as on all floors of the centre (`model`, `clay`, `drum`, `notice`, `room`): no clock, socket,
//! file, environment or async; time comes in as an argument, and the same inputs give the same outputs. A floor knows
//! only those below it.
//!
//! In the order in which data flows:
//! - [`id`], [`units`]: names, and the only conversion factors;
//! - [`place`], [`limits`], [`strapping`]: where something is and what is measured there, the water that suits the fish, level
//!   to volume;
//! - [`calls`]: how far outside them fish are in danger, and how often that is told;
//! - [`plan`], [`routine`]: which fish stand where, what hands do each week;
//! - [`roster`], [`calendar`]: who is called at which hour, when people are about;
//! - [`site`], [`fishdays`]: all that stands in the room, and what its fish want day by day;
//! - [`reading`], [`quality`], [`quarantine`]: a value, its QARTOD flags, and what couldn't be used;
//! - [`device_clock`]: what the times that a device says tell of its clock, and when it is our own that is off;
//! - [`fieldlog`], [`ledger`], [`unseen`]: what hands did, what is remembered for weeks, a refill that no level shows yet;
//! - [`happening`]: what happened by what the sensors say; [`doubt`]: why a level isn't believed;
//! - [`median`]: the one piece of statistics that several floors need;
//! - [`forecast`], [`score`], [`skill`]: when a drum runs empty, and how well that was forecast.

#[cfg(test)]
extern crate self as claymark_model;

pub mod calendar;
pub mod calls;
pub mod device_clock;
pub mod doubt;
pub mod fieldlog;
pub mod fishdays;
pub mod forecast;
pub mod happening;
pub mod id;
pub mod ledger;
pub mod limits;
pub mod median;
pub mod place;
pub mod plan;
pub mod quality;
pub mod quarantine;
pub mod reading;
pub mod roster;
pub mod routine;
pub mod score;
pub mod site;
pub mod skill;
pub mod strapping;
pub mod units;
pub mod unseen;

#[cfg(test)]
#[expect(dead_code, reason = "rows with inputs are for the floor above")]
mod checks;
#[cfg(test)]
#[expect(dead_code, reason = "what only the floors above use")]
#[path = "../../../tests/invented/src/lib.rs"]
mod invented;
