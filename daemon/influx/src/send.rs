//! Lines to the server, those that it refuses told apart.
//!
//! A refused body is halved until the points stand alone that it was refused for. Where the server takes
//! part of a body and refuses the rest, the halves repeat what was taken, which changes nothing.

use std::ops::Range;

use crate::client::{Client, InfluxError, Remedy};
use crate::line::Lines;

/// What became of lines.
#[derive(Debug)]
pub enum Sent {
    /// The server took all but these.
    Taken {
        /// Each with what the server said.
        refused: Vec<Refused>,
    },
    /// The same again, later: the server doesn't answer, is busy, or refuses whatever comes.
    NotNow(InfluxError),
}

/// A line that the server refuses even when it comes alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// As it was sent.
    pub line: String,
    /// What the server said.
    pub reason: String,
}

/// Sends all of `lines`, some thousand at a time.
pub async fn send(client: &Client, lines: &Lines) -> Sent {
    let mut refused = Vec::new();
    for start in (0..lines.len()).step_by(LINES_AT_ONCE) {
        let part = start..lines.len().min(start + LINES_AT_ONCE);
        match send_part(client, lines, part).await {
            Ok(more) => refused.extend(more),
            Err(error) => return Sent::NotNow(error),
        }
    }
    Sent::Taken { refused }
}

async fn send_part(client: &Client, lines: &Lines, part: Range<usize>) -> Result<Vec<Refused>, InfluxError> {
    match client.write(lines.slice(part.clone())).await {
        Ok(()) => Ok(Vec::new()),
        Err(error) if error.remedy() != Remedy::Isolate => Err(error),
        Err(error) if part.len() >= SUSPICIOUS && refuses_all(client, lines, part.clone()).await => {
            Err(error)
        }
        Err(_) => isolate(client, lines, part).await,
    }
}

/// Whether the server refuses whatever comes: then it isn't the points. Some of them are tried alone.
async fn refuses_all(client: &Client, lines: &Lines, part: Range<usize>) -> bool {
    for n in 0..SUSPICIOUS {
        let line = part.start + n * (part.len() - 1) / (SUSPICIOUS - 1);
        match client.write(lines.slice(line..line + 1)).await {
            Err(error) if error.remedy() == Remedy::Isolate && !names_points(&error) => {}
            Ok(()) | Err(_) => return false,
        }
    }
    true
}

async fn isolate(client: &Client, lines: &Lines, whole: Range<usize>) -> Result<Vec<Refused>, InfluxError> {
    let mut refused = Vec::new();
    // The front part lies on top, so that what is refused keeps its order.
    let mut parts = vec![whole];
    while let Some(part) = parts.pop() {
        let text = lines.slice(part.clone());
        match client.write(text).await {
            Ok(()) => {}
            Err(error) if error.remedy() != Remedy::Isolate => return Err(error),
            Err(error) if part.len() <= 1 => {
                refused.push(Refused { line: text.trim_end().to_owned(), reason: error.to_string() });
            }
            Err(_) => {
                let middle = part.start + part.len() / 2;
                parts.extend([middle..part.end, part.start..middle]);
            }
        }
    }
    Ok(refused)
}

/// Whether the answer is about points rather than about us.
fn names_points(error: &InfluxError) -> bool {
    let InfluxError::Refused { text, .. } = error else { return false };
    ["partial write", "retention", "type conflict"].iter().any(|words| text.contains(words))
}

/// So many, tried alone, say that no point will be taken.
const SUSPICIOUS: usize = 8;

/// InfluxDB documentation, "Optimize writes": "the optimal batch size is 5000 lines of line protocol".
const LINES_AT_ONCE: usize = 5_000;
