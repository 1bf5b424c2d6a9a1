//! The site itself as points: whoever reads the rows back needs it, and has no site file.

use jiff::Timestamp;

use claymark_model::site::Site;

use crate::line::{BadPoint, LONGEST_TEXT, Lines, TaggedSeries, Value};
use crate::schema;

/// Adds the site as it stands at `now`. Twice on a day (of UTC), the second replaces the first: call it at the
/// start, when the site changes, and on each new day.
pub fn push(lines: &mut Lines, site: &Site, now: Timestamp) -> Result<(), BadPoint> {
    let json = serde_json::to_string(site).expect("a site is plain data with text keys");
    let parts = parts(&json);
    let count = Value::Integer(i64::try_from(parts.len()).expect("a site fits in memory"));
    let day = Timestamp::from_second(now.as_second().div_euclid(DAY_S) * DAY_S)
        .expect("the beginning of a day lies within the times, as the day does");
    for (number, part) in parts.iter().enumerate() {
        let series = TaggedSeries::new(&schema::SITE, &[&number.to_string(), site.id.as_str()])?;
        lines.push(&series, day, &[("json", Value::Text(part)), ("parts", count)])?;
    }
    Ok(())
}

/// Cut where a letter ends, each as long as a text may be.
fn parts(json: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut rest = json;
    while !rest.is_empty() {
        let (part, after) = rest.split_at(rest.floor_char_boundary(LONGEST_TEXT));
        parts.push(part);
        rest = after;
    }
    parts
}

const DAY_S: i64 = 24 * 60 * 60;
