//! What a contact gets when its ways are tried.

use claymark_model::id::Id;

/// The first line.
pub const SUBJECT: &str = "Test from Claymark: nothing is wrong. Please answer.";

/// What to do.
#[must_use]
pub fn text(contact: &Id) -> String {
    format!(
        "This is a test of how {contact} is reached. Nothing is wrong in the room.\n\nPlease answer, so that whoever tries it \
         sees that you can: claymark answer 0 --by {contact}\n"
    )
}
