//! What every request passes: the host, the origin, the pairing, a time limit; and the headers of every answer.

use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Reach;
use super::pairing::Client;
use super::state::App;

/// The cookie that holds a paired device's token.
pub(super) const COOKIE: &str = "underlid";
/// A request is answered within this time.
const PATIENCE: Duration = Duration::from_secs(20);
/// A photo over a weak link.
const PHOTO_PATIENCE: Duration = Duration::from_secs(180);

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; \
    connect-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'";

/// The address that a connection comes from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer(pub(super) IpAddr);

/// The paired device that a request comes from; none where no pairing is needed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sender(pub(super) Option<u32>);

/// Longest part of a browser's name for itself that is kept.
const BROWSER: usize = 200;

/// Where a request comes from.
pub(super) fn client(Peer(ip): Peer, headers: &HeaderMap) -> Client {
    let browser = text(headers, &header::USER_AGENT).unwrap_or_default();
    Client { ip, browser: browser.chars().take(BROWSER).collect() }
}

pub(super) async fn guard(State(app): State<Arc<App>>, mut request: Request, next: Next) -> Response {
    let mut response = match refused(&app, &request) {
        Err(refusal) => refusal.into_response(),
        Ok(device) => {
            request.extensions_mut().insert(Sender(device));
            let patience = if request.uri().path() == "/api/photo" { PHOTO_PATIENCE } else { PATIENCE };
            match tokio::time::timeout(patience, next.run(request)).await {
                Ok(response) => response,
                Err(_) => (StatusCode::REQUEST_TIMEOUT, "too slow").into_response(),
            }
        }
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    for (name, value) in
        [("cross-origin-opener-policy", "same-origin"), ("cross-origin-resource-policy", "same-origin")]
    {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

type Refusal = (StatusCode, &'static str);

/// The paired device that a request comes from, or why it is refused.
fn refused(app: &App, request: &Request) -> Result<Option<u32>, Refusal> {
    let headers = request.headers();
    let host = match text(headers, &header::HOST) {
        Some(host) if host_is_ours(host, app.reach, app.port) => host,
        _ => {
            return Err((
                StatusCode::MISDIRECTED_REQUEST,
                "this host is not served; use the address that the terminal shows",
            ));
        }
    };
    match *request.method() {
        Method::GET => {}
        Method::POST => {
            // Browsers send the origin with every post; another page's post is refused, and so is one without.
            let origin = text(headers, &header::ORIGIN).and_then(|origin| origin.split_once("://"));
            if origin != Some((app.scheme, host)) || !headers.contains_key("x-underlid") {
                return Err((StatusCode::FORBIDDEN, "posts are taken from this page only"));
            }
        }
        _ => return Err((StatusCode::METHOD_NOT_ALLOWED, "only GET and POST")),
    }
    let path = request.uri().path();
    let open = !path.starts_with("/api/") || path == "/api/pair";
    let Some(pairing) = &app.pairing else { return Ok(None) };
    let peer = request.extensions().get::<Peer>();
    let known =
        token(headers).zip(peer).and_then(|(token, peer)| pairing.knows(token, &client(*peer, headers)));
    match known {
        None if !open => Err((
            StatusCode::UNAUTHORIZED,
            "this device is not paired from this address; pair it with the code that the terminal shows",
        )),
        known => Ok(known),
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &header::HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (Some(only), None) => only.to_str().ok(),
        _ => None,
    }
}

fn token(headers: &HeaderMap) -> Option<&str> {
    let cookies = text(headers, &header::COOKIE)?;
    cookies
        .split(';')
        .filter_map(|cookie| cookie.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, value)| value)
}

/// An address, not a name: a name can be made to point here by whoever owns it. `localhost` is this machine's own.
fn host_is_ours(host: &str, reach: Reach, port: u16) -> bool {
    let (name, given) = match host.rsplit_once(':') {
        Some((name, given)) if !given.contains(']') => (name, given.parse().ok()),
        _ => (host, Some(80)),
    };
    if given != Some(port) {
        return false;
    }
    if name == "localhost" {
        return true;
    }
    let name = name.strip_prefix('[').and_then(|name| name.strip_suffix(']')).unwrap_or(name);
    match name.parse::<IpAddr>() {
        Ok(ip) => reach == Reach::Network || ip.is_loopback(),
        Err(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hosts_by_name_are_refused() {
        for (host, reach, ours) in [
            ("127.0.0.1:8024", Reach::ThisMachine, true),
            ("localhost:8024", Reach::ThisMachine, true),
            ("[::1]:8024", Reach::ThisMachine, true),
            ("127.0.0.1:80", Reach::ThisMachine, false),
            ("127.0.0.1", Reach::ThisMachine, false),
            ("192.168.1.20:8024", Reach::ThisMachine, false),
            ("192.168.1.20:8024", Reach::Network, true),
            ("bench.example:8024", Reach::Network, false),
            ("127.0.0.1.bench.example:8024", Reach::ThisMachine, false),
            ("localhost.bench.example:8024", Reach::Network, false),
            ("", Reach::Network, false),
        ] {
            assert_eq!(host_is_ours(host, reach, 8024), ours, "{host} {reach:?}");
        }
    }
}
