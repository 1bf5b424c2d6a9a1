//! The site file of the invented hatchery.

use std::fmt::Write as _;

/// The file, for a broker on this machine at `port`; the store lies beside it.
#[must_use]
pub fn file(port: u16) -> String {
    let mut text =
        format!("{MARK}\n{}", include_str!("site.toml").replace("port = 1883", &format!("port = {port}")));
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

/// The first line: what lies in a folder with such a site file was made by the demo and may be replaced.
pub const MARK: &str =
    "# Written by `claymark demo`. Alder Bend Hatchery, its room and its people are invented.";
const TANKS: u32 = 12;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{self, Around, Secrets};

    #[test]
    fn the_site_file_has_no_mistake() {
        let around = Around {
            name: "site.toml".to_owned(),
            folder: "/nowhere".into(),
            credentials: None,
            secrets: Secrets::Left,
        };
        let site = config::parse(&file(4711), &around)
            .unwrap_or_else(|mistakes| panic!("{}", mistakes.render(false)));
        assert_eq!(site.settings.intake.port, 4711);
        assert_eq!(site.settings.site.sensors.len(), 3 + 3 + 1 + 36);
        assert!(site.settings.notify.smtp.is_none());
    }
}
