//! What the tests against real parts share; the tests themselves are in `tests/`.
//!
//! - [`oracle`]: asks the reference libraries that `tests/run` installs;
//! - [`river`]: nine months of a real river's readings, with what technicians said of them.

pub mod oracle;
pub mod river;
