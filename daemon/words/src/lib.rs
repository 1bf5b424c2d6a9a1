//! Every sentence and number format that Claymark shows to people: mail, page and report share them.
//!
//! Plain English for someone with wet hands at 02:00: what happened, what it means, what to do next, with units.
//!
//! - [`format`]: numbers, units, clock times and durations;
//! - [`names`]: what things are called;
//! - [`caution`]: what keeps people and fish from harm;
//! - [`notice`]: the first line and the text of a notice;
//! - [`reasons`]: quality flags, reasons of quarantine and kinds of notices in words;
//! - [`report`]: the weekly report;
//! - [`standing`]: how old what is known is.

pub mod caution;
pub mod format;
pub mod names;
pub mod notice;
pub mod reasons;
pub mod report;
pub mod standing;
