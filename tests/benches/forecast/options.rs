//! What the command line asks for.

use std::path::PathBuf;

use claymark_tests::season::rooms::RoomKind;
use claymark_tests::season::{DAYS, Simulator, seeds};

/// What is to be done.
#[derive(Debug, Clone)]
pub struct Options {
    /// Fewer days, no reference library.
    pub quick: bool,
    /// Who makes the seasons.
    pub simulator: Simulator,
    /// Which rooms.
    pub rooms: Vec<RoomKind>,
    /// Which seeds.
    pub seeds: Vec<u64>,
    /// How long a season lasts.
    pub days: u32,
    /// One season, written to a file.
    pub trace: Option<(RoomKind, u64, PathBuf)>,
    /// Where lines of JSON go.
    pub json: Option<PathBuf>,
    /// So many of the worst forecasts.
    pub worst: usize,
    /// The nights instead of the forecasts.
    pub nights: bool,
}

impl Options {
    /// Reads the arguments; cargo's own `--bench` is passed over.
    pub fn read(arguments: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut arguments = arguments.filter(|argument| argument != "--bench");
        let mut options = Self {
            quick: false,
            simulator: Simulator::Mechanistic,
            rooms: RoomKind::ALL.to_vec(),
            seeds: seeds::JUDGING.collect(),
            days: DAYS,
            trace: None,
            json: None,
            worst: 5,
            nights: false,
        };
        while let Some(name) = arguments.next() {
            let mut value = || arguments.next().ok_or(format!("{name} needs a value"));
            match name.as_str() {
                "--quick" => {
                    options.quick = true;
                    options.days = QUICK_DAYS;
                }
                "--simulator" => {
                    let text = value()?;
                    options.simulator = Simulator::parse(&text).ok_or(format!("no simulator {text}"))?;
                }
                "--rooms" => options.rooms = value()?.split(',').map(room).collect::<Result<_, _>>()?,
                "--nights" => options.nights = true,
                "--seeds" => options.seeds = seeds_of(&value()?)?,
                "--days" => options.days = number(&value()?)?,
                "--worst" => options.worst = number(&value()?)?,
                "--json" => options.json = Some(value()?.into()),
                "--trace" => {
                    let place = value()?;
                    let (kind, seed) = place.split_once(':').ok_or("--trace needs room:seed and a file")?;
                    options.trace = Some((room(kind)?, number(seed)?, value()?.into()));
                }
                _ => return Err(format!("{name}? See the head of tests/benches/forecast.rs")),
            }
        }
        Ok(options)
    }
}

fn room(name: &str) -> Result<RoomKind, String> {
    RoomKind::parse(name).ok_or(format!("no room {name}"))
}

/// `3`, `1..8` (both included) or `1,5,9`.
fn seeds_of(text: &str) -> Result<Vec<u64>, String> {
    match text.split_once("..") {
        Some((first, last)) => Ok((number(first)?..=number(last.trim_start_matches('='))?).collect()),
        None => text.split(',').map(number).collect(),
    }
}

fn number<T: std::str::FromStr>(text: &str) -> Result<T, String> {
    text.parse().map_err(|_not_a_number| format!("{text} is not a whole number"))
}

/// Days of a quick season.
const QUICK_DAYS: u32 = 14;
