//! `[sign_of_life]`: who outside is called each minute.

use toml::Spanned;

use super::Surroundings;
use super::broker::certificates;
use super::keeping::given;
use super::table::Table;
use super::ways::web_address;
use crate::sign_of_life::Settings;

/// Reads the section, where there is one.
#[expect(clippy::option_option, reason = "outside: after a mistake; inside: nobody is called")]
pub(super) fn sign_of_life(file: &Table<'_>, around: &Surroundings) -> Option<Option<Settings>> {
    given(file.table("sign_of_life").map(|table| section(table, around)))
}

fn section(table: Table<'_>, around: &Surroundings) -> Option<Settings> {
    let url = table.need("url", "\"https://watch.example.org/alder-bend\"", web_address);
    let failing = table.maybe("failing_url", web_address);
    let ca_pem = certificates(&table, around).map(|(_, pem)| pem);
    table.finish();
    Some(Settings { address: url?.into_inner(), failing: failing.map(Spanned::into_inner), ca_pem })
}
