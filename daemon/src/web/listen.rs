//! Takes connections and serves the routes on them. Owns how many there may be, how long a request's head may take, and
//! that all of them end with the server.

use super::came::Peer;
use crate::access::network;
use axum::Router;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::collections::HashMap;
use std::io::{self, ErrorKind};
use std::net::{IpAddr, SocketAddr};
use std::pin::pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;

/// Connections from this machine; a page holds one and its live feed another. A proxy here comes under it too.
const NEAR_MAX: usize = 128;
/// Connections from elsewhere together, so that nobody there shuts out this machine,
const FAR_MAX: usize = 128;
/// and from one address (of a network, in IPv6): a household of phones, each with the six that browsers open at most.
const FAR_EACH_MAX: usize = 32;
/// A request's head comes within this, and a connection without a request is kept no longer.
const HEAD_WITHIN: Duration = Duration::from_secs(20);
/// The largest head, bytes, and what a connection holds of a body at a time.
const BUFFER_MAX: usize = 64 * 1024;
/// The pause after an error that is not one connection's, such as too many open files.
const PAUSE: Duration = Duration::from_secs(1);

/// Serves until the server closes and the last connection has ended.
pub(super) async fn serve(listener: TcpListener, routes: Router, mut closing: watch::Receiver<bool>) {
    let (seats, mut connections) = (Seats::default(), JoinSet::new());
    loop {
        let accepted = tokio::select! {
            // An error means that the server is gone.
            _ = closing.wait_for(|closing| *closing) => break,
            Some(_) = connections.join_next() => continue,
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, peer)) => {
                // Who finds no seat finds a closed door: there is no room for words either.
                if let Some(seat) = seats.take(peer.ip()) {
                    connections.spawn(answer(stream, peer, routes.clone(), closing.clone(), seat));
                }
            }
            Err(error) if is_of_one_connection(&error) => {}
            Err(error) => {
                tracing::warn!(%error, "the dashboard can't take a connection; it tries again");
                tokio::time::sleep(PAUSE).await;
            }
        }
    }
    while connections.join_next().await.is_some() {}
}

fn is_of_one_connection(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::ConnectionRefused | ErrorKind::ConnectionAborted | ErrorKind::ConnectionReset)
}

/// One connection's life.
async fn answer(stream: TcpStream, peer: SocketAddr, routes: Router, mut closing: watch::Receiver<bool>, seat: Seat) {
    // A small page leaves at once. Without it, it only comes a little later.
    stream.set_nodelay(true).unwrap_or_else(|error| tracing::debug!(%error, "no delay can't be set"));
    let routes = TowerToHyperService::new(routes);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(Peer(peer));
        routes.call(request)
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_WITHIN).max_buf_size(BUFFER_MAX);
    let mut connection = pin!(http.serve_connection(TokioIo::new(stream), service));
    let ended = tokio::select! {
        ended = connection.as_mut() => ended,
        () = async { drop(closing.wait_for(|closing| *closing).await) } => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    ended.unwrap_or_else(|error| tracing::trace!(%error, "a connection broke off"));
    drop(seat);
}

#[derive(Debug, Default)]
struct Taken {
    near: usize,
    far: usize,
    each: HashMap<IpAddr, usize>,
}

/// The connections that there may be.
#[derive(Clone, Debug, Default)]
struct Seats(Arc<Mutex<Taken>>);

/// One of them, while it lasts.
#[derive(Debug)]
struct Seat {
    all: Seats,
    address: IpAddr,
}

impl Seats {
    fn take(&self, address: IpAddr) -> Option<Seat> {
        let address = network(address);
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if address.is_loopback() {
            if taken.near >= NEAR_MAX {
                return None;
            }
            taken.near += 1;
        } else {
            let of_it = taken.each.get(&address).copied().unwrap_or(0);
            if taken.far >= FAR_MAX || of_it >= FAR_EACH_MAX {
                return None;
            }
            taken.far += 1;
            taken.each.insert(address, of_it + 1);
        }
        Some(Seat { all: self.clone(), address })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut taken = self.all.0.lock().unwrap_or_else(PoisonError::into_inner);
        if self.address.is_loopback() {
            taken.near -= 1;
            return;
        }
        taken.far -= 1;
        let left = taken.each.get(&self.address).map_or(0, |n| n - 1);
        if left == 0 {
            taken.each.remove(&self.address);
        } else {
            taken.each.insert(self.address, left);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn v4(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn neither_one_address_nor_all_of_elsewhere_shut_out_the_rest() {
        let seats = Seats::default();
        let take = |last: u8, n: usize| (0..n).filter_map(|_| seats.take(v4(last))).collect::<Vec<_>>();
        let held = take(1, 200);
        assert_eq!(held.len(), FAR_EACH_MAX);
        let others: Vec<_> = (2..40).flat_map(|last| take(last, 10)).collect();
        assert_eq!(held.len() + others.len(), FAR_MAX);
        assert!(seats.take(IpAddr::from([127, 0, 0, 1])).is_some());
        drop(held);
        assert!(seats.take(v4(1)).is_some() && seats.take(v4(2)).is_some());
    }

    #[test]
    fn a_seat_that_is_left_is_free_and_nothing_of_it_is_kept() {
        let seats = Seats::default();
        for _ in 0..1000 {
            drop((seats.take(v4(1)), seats.take(IpAddr::from([0, 0, 0, 0, 0, 0, 0, 1]))));
        }
        let taken = seats.0.lock().unwrap_or_else(PoisonError::into_inner);
        assert_eq!((taken.near, taken.far, taken.each.len()), (0, 0, 0));
    }
}
