//! Connections: so many at once, and none that dawdles over its headers.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;

/// Serves until `stop`; then no connection outlives it.
pub(super) async fn serve(listener: TcpListener, router: Router, stop: CancellationToken) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let (place, stream) = tokio::select! {
            () = stop.cancelled() => return,
            next = next(&listener, &places) => match next {
                Some(next) => next,
                None => continue,
            },
        };
        let service = TowerToHyperService::new(router.clone());
        let stop = stop.clone();
        tokio::spawn(async move {
            let mut server = http1::Builder::new();
            server.timer(TokioTimer::new()).header_read_timeout(HEADERS).max_buf_size(MOST_HEADERS);
            let connection = server.serve_connection(TokioIo::new(stream), service);
            tokio::select! {
                () = stop.cancelled() => {}
                ended = connection => {
                    if let Err(error) = ended {
                        tracing::debug!("a connection to the page ended: {error}");
                    }
                }
            }
            drop(place);
        });
    }
}

/// The next connection, once there is a place for it.
async fn next(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
) -> Option<(tokio::sync::OwnedSemaphorePermit, tokio::net::TcpStream)> {
    let place = Arc::clone(places).acquire_owned().await.ok()?;
    match listener.accept().await {
        Ok((stream, _peer)) => Some((place, stream)),
        Err(error) => {
            tracing::warn!("a connection to the page can't be taken: {error}");
            // Out of file descriptors: others need them more.
            tokio::time::sleep(Duration::from_millis(100)).await;
            None
        }
    }
}

/// At once; whoever comes later waits.
const CONNECTIONS: usize = 512;

/// For the head of a request, from the end of the one before.
const HEADERS: Duration = Duration::from_secs(20);

/// Of a request's head.
const MOST_HEADERS: usize = 32 * 1024;
