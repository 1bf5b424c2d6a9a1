//! Mail servers that nobody would wish for.

use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use claymark_tests::mail::MailServer;

/// Takes connections and never says a word.
pub struct Tarpit {
    over: Arc<AtomicBool>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Tarpit {
    /// On that port of this machine.
    pub fn at(port: u16) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", port)).expect("the port is free");
        listener.set_nonblocking(true).expect("a socket can be asked without waiting");
        let over = Arc::new(AtomicBool::new(false));
        let ends = Arc::clone(&over);
        let thread = std::thread::spawn(move || {
            let mut held = Vec::new();
            while !ends.load(Ordering::Relaxed) {
                match listener.accept() {
                    Ok((connection, _)) => held.push(connection),
                    Err(_nobody) => std::thread::sleep(BETWEEN_LOOKS),
                }
            }
        });
        Self { over, thread: Some(thread) }
    }
}

impl Drop for Tarpit {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        self.thread.take().map(std::thread::JoinHandle::join);
    }
}

/// Refuses everybody for good.
pub fn refusing(port: u16) -> MailServer {
    MailServer::start(&["--port", &port.to_string(), "--rcpt", "550 5.1.1 no such person"])
}

const BETWEEN_LOOKS: Duration = Duration::from_millis(10);
