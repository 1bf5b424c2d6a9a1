//! The site file of the invented hatchery.

use std::fmt::Write as _;
use std::net::SocketAddr;

use jiff::ToSpan as _;
use jiff::civil::Date;

/// The file, for a broker on this machine at `port`, a page at `page`, and a story that begins on `first_day`; the store
/// lies beside it.
#[must_use]
pub fn file(port: u16, page: SocketAddr, first_day: Date) -> String {
    let mut text =
        format!("{MARK}\n{}", include_str!("site.toml").replace("port = 1883", &format!("port = {port}")));
    text = text.replace("127.0.0.1:8080", &page.to_string());
    text.push_str(&fish_and_clay(first_day));
    for tank in 1..=TANKS {
        let written = write!(
            text,
            r#"
[[tank]]
id = "t{tank}"
name = "Tank {tank}"
volume_l = 280
"#
        );
        written.expect("a String takes all");
        for (quantity, unit) in [("turbidity", "NTU"), ("temperature", "°C"), ("oxygen", "mg/L")] {
            let written = write!(
                text,
                r#"
[[sensor]]
id = "t{tank}-{quantity}"
topic = "alder-bend/tank/t{tank}"
at = "tank:t{tank}"
measures = "{quantity}"
unit = "{unit}"
payload = {{ json = "/{quantity}", time = "/time" }}
every = "10 min"
"#
            );
            written.expect("a String takes all");
        }
    }
    text
}

/// Two batches one after the other; the first is weaned from the clay in the second week of the story. And the clay
/// on the floor.
fn fish_and_clay(first_day: Date) -> String {
    let date = |day: i32| first_day.checked_add(day.days()).unwrap_or(first_day);
    let mut text = String::new();
    let spring = date(-FISH_DAY_AT_START);
    let leaves = date(LEAVES);
    for (id, name, stocked, ended) in [
        ("spring", "Pikeperch, spring", spring, leaves),
        (
            "early-summer",
            "Pikeperch, early summer",
            date(LEAVES + 3),
            date(LEAVES + 3 + FISH_DAY_AT_START + LEAVES),
        ),
    ] {
        let written = write!(
            text,
            r#"
[[batch]]
id = "{id}"
name = "{name}"
stocked = {stocked}
dph = 3
ended = {ended}
day = [
  {{ day = 0, turbidity = [50, 80], exchanges_per_h = 0.4, temperature_c = [19, 21], oxygen_min_mg_l = 6, biomass = "250 g" }},
  {{ day = 15, exchanges_per_h = 0.6 }},
  {{ day = 24, exchanges_per_h = 0.715, biomass = "1.8 kg" }},
  {{ day = {WEANING}, turbidity = [50, 80] }},
  {{ day = {WEANED}, turbidity = [5, 20], biomass = "6.5 kg" }},
]
"#
        );
        written.expect("a String takes all");
    }
    let counted_on = first_day;
    let written = write!(
        text,
        r#"
[stock]
counted_bags = 5
counted_on = {counted_on}
delivery = "12 days"
delivery_spread = "3 days"
freight = 90
bag_price = 12
pallet_bags = 20
floor_bags = 60
"#
    );
    written.expect("a String takes all");
    text
}

/// The first line: what lies in a folder with such a site file was made by the demo and may be replaced.
pub const MARK: &str =
    "# Written by `claymark demo`. Alder Bend Hatchery, its room and its people are invented.";
/// Where the hatchery stands.
pub const ZONE: &str = "Europe/Helsinki";
const TANKS: u32 = 12;
/// How old the first batch is on the first day of the story.
const FISH_DAY_AT_START: i32 = 25;
/// The fish day from which on the clay is taken away, and the one on which little is left.
const WEANING: i32 = 30;
const WEANED: i32 = 40;
/// The day of the story on which the first batch leaves.
const LEAVES: i32 = 30;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{self, Secrets, Surroundings};

    #[test]
    fn the_site_file_has_no_mistake() {
        let around = Surroundings {
            name: "site.toml".to_owned(),
            folder: "/nowhere".into(),
            credentials: None,
            secrets: Secrets::Left,
        };
        let site = config::parse(
            &file(4711, ([127, 0, 0, 1], 8080).into(), jiff::civil::date(2027, 4, 17)),
            &around,
        )
        .unwrap_or_else(|mistakes| panic!("{}", mistakes.render(false)));
        assert_eq!(site.settings.intake.port, 4711);
        assert_eq!(site.settings.site.time_zone.iana_name(), Some(ZONE));
        assert_eq!(site.settings.site.sensors.len(), 3 + 4 + 1 + 36);
        assert!(site.settings.notify.smtp.is_none());
        // People turn the pumps down as the plan has it.
        let plan = &site.settings.site.batches[0].plan;
        for day in 0..16 {
            let band = plan.band(FISH_DAY_AT_START + day).unwrap();
            let (wanted, turned) =
                (f64::midpoint(band.min(), band.max()), super::super::story::share_of_clay(day));
            let clay = |ntu: f64| ntu - 2.0;
            assert!((clay(wanted) / clay(65.0) - turned).abs() < 1e-9, "day {day}: {wanted} NTU, {turned}");
        }
    }
}
