//! Where the rows of a report come from, as the command line and the site file say.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use clap::{Args, ValueEnum};
use serde::Deserialize;

use claymark_influx::Settings;
use claymark_influx::settings::{NotAServer, Server, Token};
use claymark_model::id::{Id, NotAnId};

use crate::source::Unread;

/// The store on this machine, or one bucket of InfluxDB.
#[derive(Debug, Args)]
pub struct Origin {
    /// The site file; only the places of the store and of InfluxDB are read from it.
    #[arg(long, value_name = "FILE", required_unless_present_any = ["store", "url"], conflicts_with = "store")]
    config: Option<PathBuf>,
    /// The store itself.
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
    /// Where the rows are.
    #[arg(long, value_enum, default_value_t = RowPlace::Local, conflicts_with = "store")]
    from: RowPlace,
    #[command(flatten)]
    influx: Influx,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum RowPlace {
    /// The store on this machine.
    Local,
    /// InfluxDB 2: as [influx] in the site file says, or the options below.
    Influx,
}

/// Each stands over its key in `[influx]`.
#[derive(Debug, Args)]
struct Influx {
    /// InfluxDB's address, for example http://127.0.0.1:8086.
    #[arg(long, value_name = "URL", conflicts_with = "store")]
    url: Option<String>,
    /// InfluxDB's organisation.
    #[arg(long, value_name = "NAME", conflicts_with = "store")]
    org: Option<String>,
    /// The bucket.
    #[arg(long, value_name = "NAME", conflicts_with = "store")]
    bucket: Option<String>,
    /// A file that holds a token with the right to read the bucket.
    #[arg(long, value_name = "FILE", conflicts_with = "store")]
    token_file: Option<PathBuf>,
    /// A file (PEM) with the authority that signed InfluxDB's certificate; without it, those of the system.
    #[arg(long, value_name = "FILE", conflicts_with = "store")]
    ca_file: Option<PathBuf>,
    /// The id of the site; without it, that of the site file, or the bucket's only one.
    #[arg(long, value_name = "ID", conflicts_with = "store")]
    site: Option<String>,
}

/// Rows within reach.
#[derive(Debug)]
pub enum OpenedRows {
    /// The store on this machine.
    Store(claymark_store::Reader),
    /// InfluxDB.
    Influx(Box<claymark_influx::BucketReader>),
}

/// Why no rows are within reach.
#[derive(Debug, thiserror::Error)]
pub enum Unopened {
    /// A file that was named can't be read.
    #[error("{what} {path} can't be read: {why}")]
    File {
        /// What it is.
        what: &'static str,
        /// Which.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// The site file doesn't say where the rows are.
    #[error("the site file {path} doesn't tell where {what} is: line {line}: {why}")]
    Untold {
        /// The store or InfluxDB.
        what: &'static str,
        /// Which.
        path: PathBuf,
        /// Where; the line itself may hold a secret.
        line: usize,
        /// What was found.
        why: String,
    },
    /// Something that InfluxDB needs is said nowhere.
    #[error("to read from InfluxDB, its {0} must be known")]
    Unsaid(&'static str),
    /// The address is none.
    #[error("the url can't be InfluxDB's: {0}")]
    Server(#[from] NotAServer),
    /// The token is none.
    #[error("{0} holds no token: one line of letters, digits and signs is wanted")]
    NoToken(PathBuf),
    /// The site's id is none.
    #[error(transparent)]
    Site(#[from] NotAnId),
    /// The store or InfluxDB can't be read.
    #[error(transparent)]
    Unread(#[from] Unread),
}

impl Unopened {
    /// What to do about it, in a sentence.
    #[must_use]
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::File { .. } => {
                "Check the path and that you may read it: --config, --store, --token-file or --ca-file."
            }
            Self::Untold { .. } => {
                "Run `claymark check --config FILE`, or name the store with --store, or InfluxDB with --from \
                 influx and --url, --org, --bucket, --token-file."
            }
            Self::Unsaid(_) => {
                "Give --url, --org, --bucket and --token-file, or --config with a site file that has [influx]."
            }
            Self::Server(bad) => bad.remedy(),
            Self::NoToken(_) => {
                "Copy the token from InfluxDB's page of API tokens into that file, nothing else."
            }
            Self::Site(_) => "Give the site's id as it stands in its site file.",
            Self::Unread(unread) => unread.remedy(),
        }
    }

    /// Whether the command line or the site file is wrong, rather than what they lead to.
    #[must_use]
    pub fn is_about_the_command(&self) -> bool {
        !matches!(self, Self::Unread(_))
    }
}

impl Origin {
    /// Opens the store, or finds the site in InfluxDB.
    pub fn open(&self) -> Result<OpenedRows, Unopened> {
        match self.from {
            RowPlace::Local => {
                let store = claymark_store::Reader::open(&self.store_path()?).map_err(Unread::from)?;
                Ok(OpenedRows::Store(store))
            }
            RowPlace::Influx => {
                let told = self.told()?;
                let site = self.influx.site.as_ref().or(told.site.id.as_ref());
                let site = site.map(|id| Id::new(id)).transpose()?;
                let reader = claymark_influx::BucketReader::open(&self.settings(told.influx)?, site.as_ref())
                    .map_err(Unread::from)?;
                Ok(OpenedRows::Influx(Box::new(reader)))
            }
        }
    }

    /// Where the store is, told or read from the site file; a relative path starts at the site file.
    fn store_path(&self) -> Result<PathBuf, Unopened> {
        match (&self.store, &self.config) {
            (Some(store), _) => Ok(store.clone()),
            (None, Some(config)) => {
                let file: WithStore = parsed(config, "the store")?;
                Ok(beside(config, &file.store.path))
            }
            // The command line asks for one of the two, or for InfluxDB's address.
            (None, None) => Err(Unopened::Unsaid("place (--from influx)")),
        }
    }

    /// What the site file says of InfluxDB; nothing without one.
    fn told(&self) -> Result<WithInflux, Unopened> {
        let Some(config) = &self.config else { return Ok(WithInflux::default()) };
        let mut told: WithInflux = parsed(config, "InfluxDB")?;
        for path in [&mut told.influx.token_file, &mut told.influx.ca_file].into_iter().flatten() {
            *path = beside(config, path);
        }
        Ok(told)
    }

    fn settings(&self, told: InfluxSection) -> Result<Settings, Unopened> {
        let given = &self.influx;
        let said = |given: &Option<String>, told: Option<String>, what| {
            given.clone().or(told).ok_or(Unopened::Unsaid(what))
        };
        let url = said(&given.url, told.url, "address (--url)")?;
        let server = Server::parse(&url)?;
        let token_file = given.token_file.clone().or(told.token_file);
        let token_file = token_file.ok_or(Unopened::Unsaid("token (--token-file)"))?;
        let token = read("the token file", &token_file)?;
        let ca_file = given.ca_file.clone().or(told.ca_file);
        Ok(Settings {
            server,
            org: said(&given.org, told.org, "organisation (--org)")?,
            bucket: said(&given.bucket, told.bucket, "bucket (--bucket)")?,
            token: Token::new(token.trim()).ok_or(Unopened::NoToken(token_file))?,
            ca_pem: ca_file
                .map(|file| read("the authority's certificate", &file).map(String::into_bytes))
                .transpose()?,
            timeout: TIMEOUT,
        })
    }
}

fn read(what: &'static str, path: &Path) -> Result<String, Unopened> {
    fs::read_to_string(path).map_err(|why| Unopened::File { what, path: path.to_owned(), why })
}

fn parsed<T: for<'de> Deserialize<'de>>(config: &Path, what: &'static str) -> Result<T, Unopened> {
    let text = read("the site file", config)?;
    toml::from_str(&text).map_err(|bad: toml::de::Error| {
        let before = bad.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
        let line = before.matches('\n').count() + 1;
        Unopened::Untold { what, path: config.to_owned(), line, why: bad.message().to_owned() }
    })
}

/// A relative path in the site file starts at the site file.
fn beside(config: &Path, path: &Path) -> PathBuf {
    config.parent().unwrap_or(Path::new("")).join(path)
}

/// The only part of the site file that a report from the store reads.
#[derive(Debug, Deserialize)]
struct WithStore {
    store: StoreSection,
}

#[derive(Debug, Deserialize)]
struct StoreSection {
    path: PathBuf,
}

/// The only part of the site file that a report from InfluxDB reads. Everything may be said on the command line.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct WithInflux {
    site: SiteSection,
    influx: InfluxSection,
}

#[derive(Debug, Default, Deserialize)]
struct SiteSection {
    id: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
struct InfluxSection {
    url: Option<String>,
    org: Option<String>,
    bucket: Option<String>,
    token_file: Option<PathBuf>,
    ca_file: Option<PathBuf>,
}

/// A week's forecasts come in one answer, over a line that may be slow.
const TIMEOUT: Duration = Duration::from_secs(120);
