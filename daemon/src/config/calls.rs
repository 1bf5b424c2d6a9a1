//! `[calls]`: when water endangers the fish, and how often people are told.

use jiff::SignedDuration;
use toml::Spanned;
use toml::de::DeValue;

use claymark_model::calls::{CallRules, LONGEST_SILENCE};

use super::roster;
use super::table::Table;
use super::value::{self, Wrong};

/// What is written down; the rest as usual.
pub(super) fn calls(file: &Table<'_>) -> CallRules {
    let usual = CallRules::default();
    let Some(table) = file.table("calls") else { return usual };
    let rules = CallRules {
        danger_every: table.or("danger_every", usual.danger_every, up_to(LONGEST_SILENCE)),
        next_person: table.or("next_person", usual.next_person, up_to(LONGEST_SILENCE)),
        clear_share: table.or("clear_share", usual.clear_share, value::within(0.05..=1.0)),
        cloudy_times: table.or("cloudy_times", usual.cloudy_times, value::within(1.0..=20.0)),
        beyond_c: table.or("beyond_c", usual.beyond_c, value::within(0.0..=10.0)),
        test: table.maybe("test", roster::weekly_time).map(Spanned::into_inner),
    };
    table.finish();
    rules
}

/// Danger can't be made silent by the site file.
fn up_to(most: SignedDuration) -> impl FnOnce(&DeValue<'_>) -> Result<SignedDuration, Wrong> {
    move |value| {
        let written = value::duration(value)?;
        let least = SignedDuration::from_mins(2);
        if (least..=most).contains(&written) {
            return Ok(written);
        }
        value::wrong(
            "a danger that nobody sees to may not be told that rarely, nor people worn out",
            "Write 2 to 30 minutes, for instance \"10 min\".",
        )
    }
}
