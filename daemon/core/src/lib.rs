//! The pure centre of Claymark: what it knows about drums, clay, water and warnings.
//!
//! Values in, values out. No clock, socket, file, environment or async: time comes in as an argument,
//! and the same inputs give the same outputs.
//!
//! In the order in which data flows:
//! - [`id`], [`units`], [`site`], [`strapping`]: what stands in the room, and the only conversion factors;
//! - [`reading`], [`quality`], [`quarantine`]: a value, its QARTOD flags, and what couldn't be used;
//! - [`oxygen`], [`water`]: how full of it the water is, how cloudy and how fast;
//! - [`plan`]: which fish stand where, and what each day wants of the water;
//! - [`stock`], [`ledger`], [`verify`]: the clay on the floor, what is remembered for weeks, checks by hand;
//! - [`trend`]: where a value is going, and how long until it reaches a limit;
//! - [`fieldlog`], [`unseen`]: what hands did, and a refill that no level shows yet;
//! - [`bounds`]: which figures and texts can be meant, and which hardly;
//! - [`drum`]: one drum under watch, from its level to
//! - [`happening`], [`forecast`]: what happened to it, and when it runs empty;
//! - [`clay`], [`refill`]: how cloudy clay makes water, and what to add to a drum;
//! - [`link`]: how the connection to the broker stands;
//! - [`notice`]: what people are told, as facts;
//! - [`room`]: the one door in, and what must be done.

pub mod bounds;
pub mod clay;
pub mod drum;
pub mod fieldlog;
pub mod forecast;
pub mod gauge;
pub mod happening;
pub mod id;
pub mod ledger;
pub mod link;
pub mod notice;
pub mod outlook;
pub mod oxygen;
pub mod plan;
pub mod quality;
pub mod quarantine;
pub mod reading;
pub mod refill;
pub mod room;
pub mod score;
pub mod site;
pub mod skill;
pub mod stock;
pub mod strapping;
pub mod trend;
pub mod units;
pub mod unseen;
pub mod verify;
pub mod water;
