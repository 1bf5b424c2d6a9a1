//! Appends each arriving message to a daily compressed file, kept for some days.
//!
//! The files hold whole Zstandard frames, each written at once: after a crash a file ends with its last
//! whole frame, or with a torn one that is cut off at the next start, and stays readable for `replay`.

mod files;

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use crate::message::Message;
use crate::recording;
use files::Files;

/// Where recordings go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Folder.
    pub dir: PathBuf,
    /// Older files are removed.
    pub keep_days: u16,
}

/// Reaches the thread that writes; it ends, and writes what is left, when all recorders are gone.
#[derive(Clone)]
pub struct Recorder(SyncSender<StampedLine>);

/// The message wasn't recorded: the disk is slower than the messages, or the thread has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a message could not be recorded")]
pub struct NotRecorded;

struct StampedLine {
    at: Timestamp,
    text: String,
}

/// Lines that will be one frame.
struct Frame {
    /// Arrival of its first line.
    began: Timestamp,
    text: String,
}

impl Recorder {
    /// Starts the thread.
    pub fn start(settings: Settings) -> std::io::Result<(Self, JoinHandle<()>)> {
        std::fs::create_dir_all(&settings.dir)?;
        let (lines, inbox) = sync_channel(LINES);
        let thread =
            thread::Builder::new().name("record".to_owned()).spawn(move || write(settings, &inbox))?;
        Ok((Self(lines), thread))
    }

    /// Records a message, without waiting for the disk.
    pub fn record(&self, message: &Message) -> Result<(), NotRecorded> {
        let line = StampedLine { at: message.received_at, text: recording::line(message) };
        self.0.try_send(line).map_err(|error| match error {
            TrySendError::Full(_) | TrySendError::Disconnected(_) => NotRecorded,
        })
    }
}

fn write(settings: Settings, lines: &Receiver<StampedLine>) {
    let mut files = Files::new(settings);
    let mut frame: Option<Frame> = None;
    loop {
        match lines.recv_timeout(FRAME_SPAN) {
            Ok(line) => frame = Some(add(&mut files, frame, &line)),
            Err(RecvTimeoutError::Timeout) => flush(&mut files, frame.take()),
            Err(RecvTimeoutError::Disconnected) => {
                flush(&mut files, frame);
                return;
            }
        }
    }
}

/// Adds a line to the frame, or begins a new one when it is full or old enough.
fn add(files: &mut Files, frame: Option<Frame>, line: &StampedLine) -> Frame {
    let goes_on = |frame: &Frame| {
        let span = line.at.duration_since(frame.began);
        let same_day = files::day(frame.began) == files::day(line.at);
        same_day
            && span < SignedDuration::from_secs(FRAME_SPAN.as_secs().cast_signed())
            && frame.text.len() < FRAME_BYTES
    };
    let mut frame = match frame {
        Some(frame) if goes_on(&frame) => frame,
        full => {
            flush(files, full);
            Frame { began: line.at, text: String::new() }
        }
    };
    frame.text.push_str(&line.text);
    frame.text.push('\n');
    frame
}

fn flush(files: &mut Files, frame: Option<Frame>) {
    let Some(frame) = frame else { return };
    files.append(frame.began, &frame.text);
}

/// A crash loses no more than this from the recording; the store loses nothing.
const FRAME_SPAN: Duration = Duration::from_secs(10);
const FRAME_BYTES: usize = 256 * 1024;

/// Lines that may wait for the disk.
const LINES: usize = 10_000;

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn message(at: &str, payload: &str) -> Message {
        Message {
            topic: "alder-bend/drum/a/level".to_owned(),
            payload: payload.as_bytes().to_vec(),
            retained: false,
            received_at: at.parse().unwrap(),
        }
    }

    fn record(settings: &Settings, messages: &[Message]) {
        let (recorder, thread) = Recorder::start(settings.clone()).unwrap();
        for message in messages {
            recorder.record(message).unwrap();
        }
        drop(recorder);
        thread.join().unwrap();
    }

    fn lines(settings: &Settings, day: &str) -> Vec<String> {
        let file = fs::read(settings.dir.join(format!("messages-{day}.ndjson.zst"))).unwrap();
        let text = String::from_utf8(zstd::decode_all(file.as_slice()).unwrap()).unwrap();
        text.lines().map(str::to_owned).collect()
    }

    #[test]
    fn each_message_stands_in_the_file_of_its_day_in_the_order_of_arrival() {
        let dir = tempfile::tempdir().unwrap();
        let settings = Settings { dir: dir.path().join("rec"), keep_days: 30 };
        let first = message("2027-04-20T23:59:59.999Z", "412");
        let second = message("2027-04-21T00:00:00Z", "411");
        let third = message("2027-04-21T06:00:00Z", "410");
        record(&settings, &[first.clone(), second.clone(), third.clone()]);
        assert_eq!(lines(&settings, "2027-04-20"), [recording::line(&first)]);
        assert_eq!(lines(&settings, "2027-04-21"), [recording::line(&second), recording::line(&third)]);
    }

    #[test]
    fn a_torn_end_is_cut_off_and_the_file_goes_on() {
        let dir = tempfile::tempdir().unwrap();
        let settings = Settings { dir: dir.path().to_path_buf(), keep_days: 30 };
        let first = message("2027-04-20T10:00:00Z", "1");
        let second = message("2027-04-20T11:00:00Z", "2");
        record(&settings, &[first.clone(), message("2027-04-20T10:30:00Z", "torn")]);
        let path = dir.path().join("messages-2027-04-20.ndjson.zst");
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() - 3]).unwrap();
        record(&settings, std::slice::from_ref(&second));
        assert_eq!(lines(&settings, "2027-04-20"), [recording::line(&first), recording::line(&second)]);
    }

    #[test]
    fn files_older_than_the_days_to_keep_are_removed_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let settings = Settings { dir: dir.path().to_path_buf(), keep_days: 3 };
        let names = ["messages-2027-04-16.ndjson.zst", "messages-2027-04-17.ndjson.zst", "notes.txt"];
        for name in names {
            fs::write(dir.path().join(name), "").unwrap();
        }
        record(&settings, &[message("2027-04-20T10:00:00Z", "1")]);
        assert_eq!(names.map(|name| dir.path().join(name).exists()), [false, true, true]);
    }
}
