//! Why the server didn't do what it was asked, and what to do about it.

/// Why the server didn't do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum InfluxError {
    /// No answer, or none that could be read.
    #[error("the server doesn't answer ({0})")]
    NoAnswer(String),
    /// Another answer than the one wanted.
    #[error("the server answers {status}: {text}")]
    Refused {
        /// HTTP.
        status: u16,
        /// The beginning of what it says, on one line.
        text: String,
    },
    /// The client couldn't be made.
    #[error("requests to the server can't be prepared ({0})")]
    Setup(String),
}

/// What to do about an [`InfluxError`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorRemedy {
    /// The same again, later.
    Wait,
    /// Somebody must change a token, a name or the server; until then the same again, later.
    Person,
    /// Something in the points: find out which.
    Isolate,
}

impl InfluxError {
    /// What somebody should do about it.
    #[must_use]
    pub fn advice(&self) -> &'static str {
        match self {
            Self::NoAnswer(_) => {
                "See that the server runs and can be reached from here at the url in [influx]; with https:// also that ca_file vouches for its certificate."
            }
            Self::Setup(_) => "Check [influx] in the site file.",
            Self::Refused { status, .. } => match status {
                401 | 403 => {
                    "Make an API token in InfluxDB that may read and write the bucket, put it into the token file, alone, and reload."
                }
                404 => "Check org and bucket in [influx]: both must be there, spelt as in InfluxDB.",
                429 | 500.. => {
                    "The server is in trouble or overloaded: see its own log. Nothing is lost meanwhile."
                }
                _ => "See that the url in [influx] is that of an InfluxDB 2, and look at its log.",
            },
        }
    }

    /// What to do about it when points were written.
    ///
    /// InfluxDB 2 API, POST /api/v2/write: 400 malformed or partly rejected, 401 and 403 token, 404 bucket or
    /// org, 413 too large, 422 outside the retention, 429 quota, 5xx the server.
    #[must_use]
    pub fn remedy(&self) -> ErrorRemedy {
        match self {
            Self::NoAnswer(_) => ErrorRemedy::Wait,
            Self::Setup(_) => ErrorRemedy::Person,
            Self::Refused { status, .. } => match status {
                400 | 413 | 422 => ErrorRemedy::Isolate,
                408 | 429 | 500.. => ErrorRemedy::Wait,
                _ => ErrorRemedy::Person,
            },
        }
    }
}
