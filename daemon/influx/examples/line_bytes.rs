//! What a store costs as line protocol: points and bytes of each measurement, plain and packed.
//!
//! `cargo run --release -p claymark-influx --example line_bytes -- demo-out/claymark.db`

#![expect(clippy::print_stdout, reason = "it is a program that prints")]

use std::collections::BTreeMap;
use std::error::Error;
use std::io::Write;
use std::path::Path;

use claymark_influx::line::Lines;
use claymark_influx::source::Source;
use flate2::Compression;
use flate2::write::GzEncoder;
use jiff::SignedDuration;

fn main() -> Result<(), Box<dyn Error>> {
    let store = std::env::args().nth(1).ok_or("name a store")?;
    let site = claymark_store::Reader::open(Path::new(&store))?.site()?;
    let mut source = Source::open(Path::new(&store), site.id.clone())?;
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
    println!("{:<12} {:>8} {:>10} {:>8} {:>8}", "measurement", "points", "bytes", "a point", "packed");
    for (measurement, lines) in &lines_of {
        let points = lines.lines().count();
        let packed = packed_bytes(lines)? / points;
        println!("{measurement:<12} {points:>8} {:>10} {:>8} {packed:>8}", lines.len(), lines.len() / points);
    }
    let points: usize = lines_of.values().map(|lines| lines.lines().count()).sum();
    println!("all, packed by the hour: {packed} bytes, {} a point", packed / points);
    Ok(())
}

/// As the client packs.
fn packed_bytes(lines: &str) -> Result<usize, std::io::Error> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
    packer.write_all(lines.as_bytes())?;
    Ok(packer.finish()?.len())
}
