//! Lines to the server, those that it refuses told apart.
//!
//! A refused body is halved until the points stand alone that it was refused for. Where the server takes
//! part of a body and refuses the rest, the halves repeat what was taken, which changes nothing.

use std::ops::Range;

use crate::client::{Client, ErrorRemedy, InfluxError};
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
        Err(error) if error.remedy() != ErrorRemedy::Isolate => Err(error),
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
            Err(error) if error.remedy() == ErrorRemedy::Isolate && !names_points(&error) => {}
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
            Err(error) if error.remedy() != ErrorRemedy::Isolate => return Err(error),
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

/// No server to be had refuses single points, so a few lines here play one that does.
#[cfg(test)]
mod tests {
    use std::io::{BufRead, BufReader, Read, Write};
    use std::net::TcpListener;
    use std::time::Duration;

    use jiff::Timestamp;

    use super::*;
    use crate::line::{TaggedSeries, Value};
    use crate::schema;
    use crate::settings::{Server, Settings, Token};

    /// Answers each write by its lines, with a status and a word.
    fn server(answer: impl Fn(&str) -> (u16, &'static str) + Send + 'static) -> Client {
        let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let mut stream = stream.unwrap();
                let mut reader = BufReader::new(stream.try_clone().unwrap());
                loop {
                    let mut length = 0;
                    let mut line = String::new();
                    while reader.read_line(&mut line).unwrap_or(0) > 2 {
                        let lower = line.to_lowercase();
                        if let Some(value) = lower.strip_prefix("content-length:") {
                            length = value.trim().parse().unwrap();
                        }
                        line.clear();
                    }
                    if line.is_empty() {
                        break;
                    }
                    let mut body = vec![0; length];
                    reader.read_exact(&mut body).unwrap();
                    let (status, word) = answer(std::str::from_utf8(&body).unwrap());
                    let head = if status == 204 {
                        String::new()
                    } else {
                        format!("content-length: {}\r\n", word.len())
                    };
                    write!(
                        stream,
                        "HTTP/1.1 {status} X\r\n{head}\r\n{}",
                        if status == 204 { "" } else { word }
                    )
                    .unwrap();
                }
            }
        });
        let settings = Settings {
            server: Server::parse(&format!("http://127.0.0.1:{port}")).unwrap(),
            org: "o".to_owned(),
            bucket: "b".to_owned(),
            token: Token::new("invented").unwrap(),
            ca_pem: None,
            timeout: Duration::from_secs(20),
        };
        Client::new(&settings).unwrap()
    }

    fn lines(count: i64) -> Lines {
        let series = TaggedSeries::new(&schema::ANSWER, &["alder-bend", "0"]).unwrap();
        let mut lines = Lines::default();
        for notice in 0..count {
            let at = Timestamp::from_millisecond(notice).unwrap();
            lines.push(&series, at, &[("notice", Value::Integer(notice))]).unwrap();
        }
        lines
    }

    fn notices(refused: &[Refused]) -> Vec<&str> {
        refused.iter().filter_map(|refused| refused.line.split(' ').nth(1)).collect()
    }

    #[tokio::test]
    async fn points_that_are_refused_are_told_apart_and_all_others_arrive() {
        let (arrived, seen) = std::sync::mpsc::channel::<String>();
        let client = server(move |body| {
            if body.lines().any(|line| line.contains("notice=7i") || line.contains("notice=612i")) {
                return (400, "unable to parse a point");
            }
            for line in body.lines() {
                arrived.send(line.to_owned()).unwrap();
            }
            (204, "")
        });
        let Sent::Taken { refused } = send(&client, &lines(1000)).await else { panic!("taken") };
        assert_eq!(notices(&refused), ["notice=7i", "notice=612i"]);
        assert_eq!(refused[0].reason, "the server answers 400: unable to parse a point");
        let mut all: Vec<String> = seen.try_iter().collect();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), 998);
    }

    #[tokio::test]
    async fn a_server_that_refuses_whatever_comes_is_waited_for_and_nothing_is_put_aside() {
        for (status, word) in
            [(400, "no such org"), (401, "unauthorized"), (503, "busy"), (404, "bucket not found")]
        {
            let client = server(move |_| (status, word));
            let Sent::NotNow(error) = send(&client, &lines(100)).await else {
                panic!("{status} isn't taken")
            };
            assert_eq!(error.to_string(), format!("the server answers {status}: {word}"));
        }
    }

    #[tokio::test]
    async fn what_lies_beyond_the_retention_is_put_aside_though_it_is_all() {
        let client = server(|_| (422, "partial write: points beyond retention policy dropped=1"));
        let Sent::Taken { refused } = send(&client, &lines(20)).await else { panic!("taken") };
        assert_eq!(refused.len(), 20);
    }
}
