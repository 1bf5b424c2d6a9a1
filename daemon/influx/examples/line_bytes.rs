//! What a store costs as line protocol: series, points and bytes of each measurement, plain and packed.
//!
//! `cargo run --release -p claymark-influx --example line_bytes -- demo-out/claymark.db`

#![expect(clippy::print_stdout, reason = "it is a program that prints")]

use std::collections::{BTreeMap, BTreeSet};
use std::error::Error;
use std::io::Write;
use std::path::Path;

use claymark_influx::line::Lines;
use claymark_influx::source::PointSource;
use flate2::Compression;
use flate2::write::GzEncoder;
use jiff::SignedDuration;

fn main() -> Result<(), Box<dyn Error>> {
    let store = std::env::args().nth(1).ok_or("name a store")?;
    let site = claymark_store::Reader::open(Path::new(&store))?.site()?;
    let mut source = PointSource::open(Path::new(&store), site.id.clone())?;
    let (first, last) = source.store().extent()?.ok_or("the store has no readings")?;
    let mut lines_of: BTreeMap<String, String> = BTreeMap::new();
    let (mut from, mut packed) = (first, 0);
    while from <= last {
        let to = from.checked_add(SignedDuration::from_hours(1))?;
        let page = source.range(from, to)?;
        packed += packed_bytes(page.lines.text())?;
        for line in page.lines.text().lines() {
            let measurement = line.split(',').next().unwrap_or_default().to_owned();
            let lines = lines_of.entry(measurement).or_default();
            lines.push_str(line);
            lines.push('\n');
        }
        from = to;
    }
    let mut of_the_site = Lines::default();
    claymark_influx::site::push(&mut of_the_site, &site, last)?;
    lines_of.insert("site".to_owned(), of_the_site.text().to_owned());
    println!("measurement    series   points      bytes  a point   packed");
    let mut all = (0, 0);
    for (measurement, lines) in &lines_of {
        let (points, bytes) = (lines.lines().count(), lines.len());
        let (series, packed) = (series(lines)?, packed_bytes(lines)? / points);
        println!("{measurement:<12} {series:>8} {points:>8} {bytes:>10} {:>8} {packed:>8}", bytes / points);
        all = (all.0 + series, all.1 + points);
    }
    println!("all: {} series; packed hour by hour {packed} bytes, {} a point", all.0, packed / all.1);
    Ok(())
}

/// As InfluxDB counts them: each field of each set of tags.
fn series(lines: &str) -> Result<usize, influxdb_line_protocol::Error> {
    let mut series = BTreeSet::new();
    for line in influxdb_line_protocol::parse_lines(lines) {
        let line = line?;
        let tags: Vec<String> =
            line.series.tag_set.iter().flatten().map(|(tag, value)| format!("{tag}={value}")).collect();
        series.extend(line.field_set.iter().map(|(field, _)| (tags.join(","), field.to_string())));
    }
    Ok(series.len())
}

/// As the client packs.
fn packed_bytes(lines: &str) -> Result<usize, std::io::Error> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(lines.as_bytes())?;
    Ok(packer.finish()?.len())
}
