//! Somebody outside who takes signs of life: a small HTTP server that takes anything and keeps the bodies.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, channel};

use crate::wait::PATIENCE;

/// Listens until the test ends.
pub struct OutsideWatcher {
    port: u16,
    calls: Receiver<String>,
}

impl OutsideWatcher {
    /// Listens on a free port of this machine.
    ///
    /// # Panics
    /// When there is none.
    #[must_use]
    pub fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port is free");
        let port = listener.local_addr().expect("it is bound").port();
        let (called, calls) = channel();
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let Some(body) = take(stream) else { continue };
                if called.send(body).is_err() {
                    return;
                }
            }
        });
        Self { port, calls }
    }

    /// Its port.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Waits for the next call's body.
    ///
    /// # Panics
    /// When none comes.
    #[must_use]
    pub fn call(&self) -> String {
        self.calls.recv_timeout(PATIENCE).expect("a call comes")
    }
}

fn take(stream: TcpStream) -> Option<String> {
    let mut reader = BufReader::new(stream);
    let (mut line, mut length) = (String::new(), 0);
    while reader.read_line(&mut line).ok()? > 2 {
        if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
            length = value.trim().parse().ok()?;
        }
        line.clear();
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    reader.get_mut().write_all(b"HTTP/1.1 204 No Content\r\nContent-Length: 0\r\n\r\n").ok()?;
    String::from_utf8(body).ok()
}
