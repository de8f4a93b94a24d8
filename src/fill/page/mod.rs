//! The page on the bench: the same questions for a phone or tablet, served by the program itself.
//!
//! Reached from this machine only, unless asked otherwise; then each device needs a pairing code that works once.
//! Refused: hosts by name (a rebound name in a browser could otherwise read the record), posts from other pages,
//! bodies beyond their limits, files that are no pictures, clients that are too slow or too many. Plain HTTP can be
//! overheard on a local network: the help and the terminal say so. With the feature `tls` the network is served by TLS.

mod guard;
#[cfg(feature = "measuring")]
mod measure;
mod pairing;
#[cfg(feature = "measuring")]
mod points;
mod routes;
mod state;
#[cfg(feature = "tls")]
mod tls;
mod view;

use std::collections::HashMap;
use std::io::{self, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Extension;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

use super::FillSession;
use crate::units::terminal;
use guard::Peer;
use pairing::Pairing;
use state::App;

/// Who can reach the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Programs on this machine.
    ThisMachine,
    /// Paired devices of the local network.
    Network,
}

/// Connections at one time.
const MOST_CONNECTIONS: usize = 512;
/// Connections of one address at one time, so that one flooding device leaves room for the others.
const MOST_OF_ONE: usize = 128;
/// Where devices are paired: connections of an address from which none was, and of all such addresses. Whoever opens
/// connections and never sends a whole request leaves the rest to the paired.
const MOST_OF_STRANGER: usize = 16;
const MOST_OF_STRANGERS: usize = 192;
/// A request's head must be there within this time; an idle connection is closed after it.
const HEAD: Duration = Duration::from_secs(15);
/// No connection lasts longer.
const LIFE: Duration = Duration::from_secs(900);

/// Serves the page until the program is stopped. Nothing is lost by stopping it at any time. `own` is the folder of the
/// user's settings, where the key of TLS lies.
///
/// # Errors
/// When the port cannot be had, or the key.
pub fn serve(session: FillSession, reach: Reach, port: u16, own: Option<&Path>) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .worker_threads(2)
        .max_blocking_threads(16)
        // Judging a record goes deep in a build without optimisation.
        .thread_stack_size(8 << 20)
        .build()?;
    runtime.block_on(run(session, reach, port, Secrecy::of(reach, own)?))
}

/// Whether what goes over the network can be read by others.
#[derive(Clone)]
enum Secrecy {
    Plain,
    #[cfg(feature = "tls")]
    Tls(tls::Identity),
}

impl Secrecy {
    #[cfg(feature = "tls")]
    fn of(reach: Reach, own: Option<&Path>) -> io::Result<Self> {
        match reach {
            Reach::ThisMachine => Ok(Self::Plain),
            Reach::Network => tls::Identity::of(own).map(Self::Tls),
        }
    }

    #[cfg(not(feature = "tls"))]
    #[expect(clippy::unnecessary_wraps, reason = "a key can be refused")]
    fn of(_: Reach, _: Option<&Path>) -> io::Result<Self> {
        Ok(Self::Plain)
    }

    fn scheme(&self) -> &'static str {
        match self {
            Self::Plain => "http",
            #[cfg(feature = "tls")]
            Self::Tls(_) => "https",
        }
    }

    /// The fingerprint of the certificate.
    fn fingerprint(&self) -> Option<&str> {
        match self {
            Self::Plain => None,
            #[cfg(feature = "tls")]
            Self::Tls(identity) => Some(&identity.fingerprint),
        }
    }
}

async fn run(session: FillSession, reach: Reach, port: u16, secrecy: Secrecy) -> io::Result<()> {
    let ip = match reach {
        Reach::ThisMachine => Ipv4Addr::LOCALHOST,
        Reach::Network => Ipv4Addr::UNSPECIFIED,
    };
    let listener = TcpListener::bind(SocketAddr::new(IpAddr::V4(ip), port)).await?;
    let port = listener.local_addr()?.port();
    let pairing = match reach {
        Reach::ThisMachine => None,
        Reach::Network => {
            let address = format!("{}://{}:{port}", secrecy.scheme(), own_address());
            Some(Pairing::new(address, secrecy.fingerprint())?)
        }
    };
    announce(port, pairing.as_ref(), &secrecy)?;
    let app = Arc::new(App::new(session, pairing, reach, port, secrecy.scheme()));
    let router = routes::router(Arc::clone(&app));
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let peers: Peers = Arc::default();
    loop {
        let (stream, peer) = match listener.accept().await {
            Ok(accepted) => accepted,
            // Out of file handles or a connection that went away: the others go on.
            Err(_) => {
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        let stranger = app.pairing.as_ref().is_some_and(|pairing| !pairing.is_from(peer.ip()));
        let Some(guest) = Guest::enter(&peers, peer.ip(), stranger) else {
            continue;
        };
        let Ok(permit) = Arc::clone(&room).try_acquire_owned() else {
            continue;
        };
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone().layer(Extension(Peer(peer.ip()))));
        let secrecy = secrecy.clone();
        tokio::spawn(async move {
            match secrecy {
                Secrecy::Plain => talk(stream, service).await,
                #[cfg(feature = "tls")]
                Secrecy::Tls(identity) => {
                    if let Ok(Ok(stream)) = tokio::time::timeout(HEAD, identity.accept(stream)).await {
                        talk(stream, service).await;
                    }
                }
            }
            drop(guest);
            drop(permit);
        });
    }
}

/// Answers a client until it goes.
async fn talk(stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static, service: Service) {
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(64 << 10)
        .serve_connection(TokioIo::new(stream), service);
    // A connection that fails harms nobody but its client, who sends again.
    let _ = tokio::time::timeout(LIFE, connection).await;
}

type Service = TowerToHyperService<axum::Router>;

/// Connections of each address; apart those that began before a device was paired from it.
type Peers = Arc<Mutex<HashMap<(IpAddr, bool), usize>>>;

/// A connection counted for its address.
struct Guest {
    peers: Peers,
    of: (IpAddr, bool),
}

impl Guest {
    fn enter(peers: &Peers, ip: IpAddr, stranger: bool) -> Option<Self> {
        let mut counted = peers.lock().unwrap_or_else(PoisonError::into_inner);
        let strangers =
            || counted.iter().filter(|((_, stranger), _)| *stranger).map(|(_, count)| count).sum();
        let full = stranger && {
            let all: usize = strangers();
            all >= MOST_OF_STRANGERS
        };
        let most = if stranger { MOST_OF_STRANGER } else { MOST_OF_ONE };
        let of = (ip, stranger);
        if full || counted.get(&of).is_some_and(|count| *count >= most) {
            return None;
        }
        *counted.entry(of).or_insert(0) += 1;
        drop(counted);
        Some(Self { peers: Arc::clone(peers), of })
    }
}

impl Drop for Guest {
    fn drop(&mut self) {
        let mut counted = self.peers.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = counted.get_mut(&self.of) {
            *count -= 1;
            if *count == 0 {
                counted.remove(&self.of);
            }
        }
    }
}

/// This machine's address on the local network. No packet is sent: connecting a datagram socket only asks the
/// routing table which address would be used towards a documentation address (RFC 5737).
fn own_address() -> IpAddr {
    UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))
        .and_then(|socket| {
            socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9))?;
            socket.local_addr()
        })
        .map_or(IpAddr::V4(Ipv4Addr::LOCALHOST), |address| address.ip())
}

fn announce(port: u16, pairing: Option<&Pairing>, secrecy: &Secrecy) -> io::Result<()> {
    let mut out = terminal::out();
    match pairing {
        Some(pairing) => {
            match secrecy.fingerprint() {
                None => writeln!(
                    out,
                    "The page is open to the local network. It is plain HTTP: whoever shares the network can overhear it: \
                     answers, photos, the code and the session."
                )?,
                Some(fingerprint) => writeln!(
                    out,
                    "The page is open to the local network by TLS. The browser warns once, as nobody vouches for this \
                     machine: go on only where the certificate it shows has this SHA-256 fingerprint:\n{fingerprint}"
                )?,
            }
            pairing.show(&mut out)?;
        }
        None => writeln!(out, "The page is at http://127.0.0.1:{port}/ (this machine only).")?,
    }
    writeln!(out, "Every answer is in the record before it is confirmed. Ctrl-C stops the page.")?;
    out.flush()
}
