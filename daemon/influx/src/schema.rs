//! The one list of what stands in InfluxDB: measurements, tags, fields.
//!
//! Each point's tags and time name it: writing it again changes nothing, and a correction replaces it.
//! Records that are more than numbers carry themselves as JSON in `json`, which is what is read back; the
//! fields beside it are for charts and tables. A field that is missing is one that has no value.
//!
//! `slot` keeps apart what else would have the same tags and time: "0" for the first of them, nearly always
//! the only one, then "1", …, in the order of the store's own key. All of a time are written together.

/// One kind of point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measurement {
    /// As in InfluxDB.
    pub name: &'static str,
    /// What the time of a point is.
    pub time: &'static str,
    /// In alphabetical order, as InfluxDB likes them.
    pub tags: &'static [&'static str],
    /// With their kinds.
    pub fields: &'static [Field],
}

/// One field of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Field {
    /// As in InfluxDB.
    pub name: &'static str,
    /// InfluxDB refuses another kind later.
    pub kind: FieldKind,
    /// For people.
    pub means: &'static str,
}

/// What InfluxDB tells apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// 64 bits.
    Float,
    /// Signed, 64 bits.
    Integer,
    /// True or false.
    Boolean,
    /// UTF-8, up to 64 KiB.
    Text,
}

/// All of them.
pub const ALL: [&Measurement; 12] = [
    &SITE,
    &READING,
    &ROLLUP,
    &FORECAST,
    &FIELD_LOG,
    &HAPPENING,
    &MARK_FORECAST,
    &CLAY_YIELD,
    &NOTICE,
    &DELIVERY,
    &ANSWER,
    &QUARANTINE,
];

/// The site file as it was checked, so that rows can be read back without it. It is longer than a text may be,
/// so it goes in parts; a site without changes is written again each day, else retention would lose it.
pub const SITE: Measurement = Measurement {
    name: "site",
    time: "the beginning (of UTC) of the day on which it was written",
    tags: &["part", "site"],
    fields: &[
        text(
            "json",
            "a part of the site, addresses and passwords left out; the parts in a row are the whole",
        ),
        integer("parts", "how many parts it has; parts of another time are left over from a longer site"),
    ],
};

/// One reading.
pub const READING: Measurement = Measurement {
    name: "reading",
    time: "when it was measured",
    tags: &["place", "quantity", "sensor", "site", "unit"],
    fields: &[
        float("value", "in the unit of the tag `unit`"),
        integer("flag", "aggregate QARTOD flag: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing"),
        integer("tests", "the flag of each test, packed as in the store's column `tests`"),
        integer("lag", "arrival minus time, ms"),
        integer("ahead", "by how much the device's clock was ahead, ms; missing where it was right"),
    ],
};

/// One hour of one sensor; *usable* are the flags 1, 2 and 3. Without a usable value `least` and `most` mean
/// nothing: what stands there was once written and can't be taken back.
pub const ROLLUP: Measurement = Measurement {
    name: "rollup",
    time: "when the hour (of UTC) begins",
    tags: &["place", "quantity", "sensor", "site", "unit"],
    fields: &[
        integer("passed", "readings with flag 1"),
        integer("not_evaluated", "flag 2"),
        integer("suspect", "flag 3"),
        integer("failed", "flag 4"),
        integer("missing", "flag 9"),
        float("least", "least usable value; missing without one"),
        float("most", "greatest usable value; missing without one"),
        float("total", "sum of the usable values"),
        float("low", "the site's lower limit when the hour began to fill; missing without one"),
        float("high", "upper limit, likewise"),
        integer("below", "usable values below the lower limit"),
        integer("above", "usable values above the upper limit"),
        integer("longest_lag", "the longest time that a reading took to arrive, ms"),
    ],
};

/// One forecast of a drum (`about` is "drum") or of all drums of a pump ("supply").
pub const FORECAST: Measurement = Measurement {
    name: "forecast",
    time: "when it was made",
    tags: &["about", "id", "site"],
    fields: &[
        text("json", "the forecast"),
        float("volume_l", "slurry, heel included, L; missing when nothing can be said"),
        float("draw_l_per_h", "net outflow, L/h; likewise"),
        float("hours_left_p05", "hours until the earliest time of being empty; missing: later than 72 h"),
        float("hours_left_p50", "until the likely time"),
        float("hours_left_p95", "until the latest time"),
    ],
};

/// One entry of the field log; `kind` as in the log.
pub const FIELD_LOG: Measurement = Measurement {
    name: "fieldlog",
    time: "when it was done",
    tags: &["kind", "site", "slot"],
    fields: &[
        text("json", "the entry, with its key and the key of the one it replaces"),
        text("by", "who wrote it"),
    ],
};

/// What the data say has happened to a drum; `kind` as in the store.
pub const HAPPENING: Measurement = Measurement {
    name: "happening",
    time: "when it happened",
    tags: &["drum", "kind", "site"],
    fields: &[text("json", "the happening")],
};

/// When a drum was to come down to a mark, and what became of that: the forecasts are scored by it.
pub const MARK_FORECAST: Measurement = Measurement {
    name: "mark_forecast",
    time: "when it was said; written again when it is settled",
    tags: &["drum", "lead", "site"],
    fields: &[
        text("json", "what was said, with its five quantiles"),
        float("mark_l", "the mark, heel included, L"),
        text("fate", "open, came, or dropped: a refill, a change or a doubt came first"),
        float("late_min", "when it came less the likely time, min; missing unless it came"),
    ],
};

/// How cloudy the clay makes the water, as the readings told.
pub const CLAY_YIELD: Measurement = Measurement {
    name: "clay_yield",
    time: "when it was reckoned: once a day, and when it moved by more than its doubt",
    tags: &["site"],
    fields: &[
        text("json", "the yield with its standard deviation, its exponent and since when it holds"),
        float("ntu_per_mg_l", "NTU above the background for each mg/L of clay, where the exponent is 1"),
        float("sd", "its standard deviation, in the same unit"),
    ],
};

/// One notice; `kind` as in the notices.
pub const NOTICE: Measurement = Measurement {
    name: "notice",
    time: "when it was decided",
    tags: &["kind", "priority", "site", "slot"],
    fields: &[
        text("json", "the notice with its sentences"),
        integer("number", "the notice's number"),
        text("subject", "its first line"),
    ],
};

/// How far a notice came on its way to one contact by one channel.
pub const DELIVERY: Measurement = Measurement {
    name: "delivery",
    time: "when the notice was decided",
    tags: &["channel", "contact", "site", "slot"],
    fields: &[
        text("json", "the delivery"),
        integer("notice", "the notice's number"),
        text("state", "pending, unanswered, sent or given-up"),
    ],
};

/// "I'm on it".
pub const ANSWER: Measurement = Measurement {
    name: "answer",
    time: "when it arrived",
    tags: &["site", "slot"],
    fields: &[text("json", "the answer"), integer("notice", "the notice's number")],
};

/// How often something was kept aside in an hour.
pub const QUARANTINE: Measurement = Measurement {
    name: "quarantine",
    time: "when the hour (of UTC) begins",
    tags: &["reason", "site"],
    fields: &[integer("count", "things kept aside")],
};

const fn float(name: &'static str, means: &'static str) -> Field {
    Field { name, kind: FieldKind::Float, means }
}

const fn integer(name: &'static str, means: &'static str) -> Field {
    Field { name, kind: FieldKind::Integer, means }
}

const fn text(name: &'static str, means: &'static str) -> Field {
    Field { name, kind: FieldKind::Text, means }
}

#[cfg(test)]
mod tests {
    use claymark_model::quarantine::Reason;
    use claymark_model::skill::Lead;

    use super::*;

    #[test]
    fn the_operators_page_names_all_that_is_written() {
        let page = include_str!("../../../deploy/influxdb.md");
        for measurement in ALL {
            let row = page.lines().find(|line| line.starts_with(&format!("| `{}` |", measurement.name)));
            let row = row.unwrap_or_else(|| panic!("the page has no row for {}", measurement.name));
            let fields = measurement.fields.iter().map(|field| field.name);
            for name in measurement.tags.iter().copied().chain(fields) {
                assert!(row.contains(&format!("`{name}`")), "{} lacks {name} on the page", measurement.name);
            }
        }
    }

    /// The numbers of a text.
    fn numbers(text: &str) -> Vec<usize> {
        text.split(|c: char| !c.is_ascii_digit()).filter_map(|digits| digits.parse().ok()).collect()
    }

    #[test]
    fn the_operators_page_counts_the_series_of_all_that_is_written() {
        let page = include_str!("../../../deploy/influxdb.md");
        let table = page.split("### Series").nth(1).and_then(|rest| rest.split("### Size").next()).unwrap();
        let row = |begins: &str| {
            let line = table.lines().find_map(|line| line.strip_prefix(begins));
            let line = line.unwrap_or_else(|| panic!("no row begins with {begins}"));
            let mut cells = line.split('|');
            let of = cells.next().unwrap();
            (of, numbers(&cells.collect::<String>().replace("**", " ")))
        };
        let (mut most, mut measured) = (0, 0);
        for measurement in ALL {
            let (of, series) = row(&format!("| `{}`:", measurement.name));
            // The limits are fields that only some sensors have.
            let (always, limits) = of.split_once(", and").unwrap_or((of, ""));
            let fields = measurement.fields.len() - if limits.is_empty() { 0 } else { 2 };
            assert_eq!(numbers(always).last(), Some(&fields), "fields of {}", measurement.name);
            let product = numbers(always).iter().product::<usize>() + numbers(limits).iter().sum::<usize>();
            assert!(series.len() == 2 && series[0] == product && series[1] <= product, "{of}: {series:?}");
            (most, measured) = (most + series[0], measured + series[1]);
        }
        assert_eq!(row("| **all**").1, [most, measured]);
        assert!(row("| `mark_forecast`:").0.contains(&format!("{} leads", Lead::ALL.len())));
        assert!(row("| `quarantine`:").0.contains(&format!("{} reasons", Reason::ALL.len())));
    }
}
