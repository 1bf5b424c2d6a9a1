//! Connections: so many at once, so many from one address, and none that dawdles over its greeting or its headers.
//!
//! Whoever finds no place is let go at once and waits nowhere: what waits would hold the file descriptors that the watch needs.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;

use super::gate;
use super::visitor::Peer;

/// Who is let in, and how.
pub(super) struct Entrance {
    pub(super) listener: TcpListener,
    /// HTTPS by ourselves.
    pub(super) tls: Option<TlsAcceptor>,
    /// Proxies; nobody else is answered where there are any.
    pub(super) behind: Vec<IpAddr>,
}

/// Serves until `stop`; then no connection outlives it.
pub(super) async fn serve(entrance: Entrance, router: Router, stop: CancellationToken) {
    let Entrance { listener, tls, behind } = entrance;
    let places = Places::default();
    loop {
        let accepted = tokio::select! {
            () = stop.cancelled() => return,
            accepted = listener.accept() => accepted,
        };
        let (stream, peer) = match accepted {
            Ok((stream, peer)) => (stream, peer.ip().to_canonical()),
            Err(error) => {
                tracing::warn!("a connection to the page can't be taken: {error}");
                // Out of file descriptors: others need them more.
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        // This machine's own programs, and a proxy, are many in one.
        let many = peer.is_loopback() || !behind.is_empty();
        let place = gate::lets_in(&behind, peer).then(|| places.take(peer, many)).flatten();
        let Some(place) = place else {
            tracing::debug!("no place for a connection to the page");
            continue;
        };
        let (router, tls, stop) = (router.clone(), tls.clone(), stop.clone());
        tokio::spawn(async move {
            tokio::select! {
                () = stop.cancelled() => {}
                () = tokio::time::sleep(LONGEST) => {}
                () = greet(stream, tls, router, peer) => {}
            }
            drop(place);
        });
    }
}

async fn greet(stream: TcpStream, tls: Option<TlsAcceptor>, router: Router, peer: IpAddr) {
    let Some(tls) = tls else { return converse(stream, router, peer).await };
    match tokio::time::timeout(GREETING, tls.accept(stream)).await {
        Ok(Ok(stream)) => converse(stream, router, peer).await,
        Ok(Err(error)) => tracing::debug!("a greeting at the page failed: {error}"),
        Err(_late) => tracing::debug!("a greeting at the page took too long"),
    }
}

async fn converse(stream: impl AsyncRead + AsyncWrite + Unpin, router: Router, peer: IpAddr) {
    let inner = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(Peer(peer));
        inner.call(request)
    });
    let mut server = http1::Builder::new();
    server.timer(TokioTimer::new()).header_read_timeout(HEADERS).max_buf_size(MOST_HEADERS);
    if let Err(error) = server.serve_connection(TokioIo::new(stream), service).await {
        tracing::debug!("a connection to the page ended: {error}");
    }
}

/// How many connections there are, by where they come from.
#[derive(Debug, Clone, Default)]
struct Places(Arc<Mutex<HashMap<IpAddr, usize>>>);

/// One of them; free again when it is dropped.
#[derive(Debug)]
struct TakenPlace {
    of: Places,
    peer: IpAddr,
}

impl Places {
    fn take(&self, peer: IpAddr, many: bool) -> Option<TakenPlace> {
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = taken.values().sum();
        let own = taken.get(&peer).copied().unwrap_or(0);
        if all >= CONNECTIONS || !many && own >= FROM_ONE_ADDRESS {
            return None;
        }
        taken.insert(peer, own + 1);
        Some(TakenPlace { of: self.clone(), peer })
    }
}

impl Drop for TakenPlace {
    fn drop(&mut self) {
        let mut taken = self.of.0.lock().unwrap_or_else(PoisonError::into_inner);
        let left = taken.get(&self.peer).copied().unwrap_or(0).saturating_sub(1);
        if left == 0 {
            taken.remove(&self.peer);
        } else {
            taken.insert(self.peer, left);
        }
    }
}

/// At once. A program has 1024 file descriptors unless more are asked for (the shipped unit has 4096), and the watch needs
/// some dozens.
const CONNECTIONS: usize = 512;

/// A telephone needs two, a hall behind one router some dozens.
const FROM_ONE_ADDRESS: usize = 64;

/// For the head of a request, from the end of the one before.
const HEADERS: Duration = Duration::from_secs(20);

/// For TLS.
const GREETING: Duration = Duration::from_secs(10);

/// Of a request's head.
const MOST_HEADERS: usize = 32 * 1024;

/// A page that stays open connects anew, and shows by that whether it may still look.
const LONGEST: Duration = Duration::from_secs(60 * 60);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_leaves_places_for_others_and_all_together_have_a_bound() {
        let ip = |n: u32| IpAddr::V4(n.into());
        let places = Places::default();
        let mut taken: Vec<_> = (0..1000).filter_map(|_| places.take(ip(1), false)).collect();
        assert_eq!(taken.len(), FROM_ONE_ADDRESS);
        taken.extend((0..1000).filter_map(|_| places.take(ip(2), true)));
        assert_eq!(taken.len(), CONNECTIONS);
        assert!(places.take(ip(3), false).is_none());
        taken.clear();
        assert!(places.0.lock().unwrap().is_empty());
        assert!(places.take(ip(1), false).is_some());
    }
}
