//! Every sentence and number format that Claymark shows to people: mail, page and report share them.
//!
//! Plain English for someone with wet hands at 02:00: what happened, what it means, what to do next, with units.
//!
//! - [`format`]: numbers, units, clock times and durations;
//! - [`doubt`]: why a level isn't believed, why nothing can be said;
//! - [`drying`], [`refill`], [`dosing`]: when a drum is dry, what to add to it, how to set pump and strength;
//! - [`clouding`]: how cloudy the clay makes the water, and who says so;
//! - [`settling`]: a drum whose air has failed;
//! - [`fieldlog`]: what hands did, as a sentence; [`bounds`]: which figures can't be;
//! - [`answers`]: what an answer to a notice comes to; [`replies`]: answers by mail;
//! - [`happening`]: what the data say has happened to a drum;
//! - [`names`]: what things are called;
//! - [`outbound`]: what goes out and doesn't arrive;
//! - [`page`]: the room on the page and on the wall;
//! - [`planning`], [`stock`], [`checks`]: the days ahead, the clay on the floor, checks by hand;
//! - [`caution`]: what keeps people and fish from harm;
//! - [`notice`]: the first line and the text of a notice;
//! - [`reasons`]: quality flags, reasons of quarantine and kinds of notices in words;
//! - [`report`]: the weekly report;
//! - [`standing`]: how old what is known is;
//! - [`told`]: what went to whom, and who answered;
//! - [`try_out`]: what a contact gets when its ways are tried;
//! - [`typed`]: what people and devices wrote, with nothing unseen in it.

pub mod alarms;
pub mod answers;
pub mod bounds;
pub mod caution;
pub mod checks;
pub mod clouding;
pub mod dosing;
pub mod doubt;
pub mod drying;
pub mod fieldlog;
pub mod format;
pub mod happening;
pub mod names;
pub mod notice;
pub mod outbound;
pub mod page;
pub mod planning;
pub mod reasons;
pub mod refill;
pub mod replies;
pub mod report;
pub mod settling;
pub mod standing;
pub mod stock;
pub mod told;
pub mod try_out;
pub mod typed;
mod unseen;
