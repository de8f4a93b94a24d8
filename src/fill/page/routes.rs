//! The addresses of the page: three files that are compiled in, the state, operations, photos, pairing.

use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Query, State};
use axum::http::HeaderMap;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Json, middleware};
use http_body_util::BodyExt;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use tokio::sync::Semaphore;

use super::guard::{COOKIE, Peer, Sender, client, guard};
use super::pairing::NotPaired;
use super::state::{App, Later, Op, OpResult};
use crate::evidence::hash::Sha256Digest;
use crate::fill::Key;
use crate::fill::photo;

/// Largest body of an answer.
const ANSWER: usize = 64 << 10;
/// Longest id of an operation.
const ID: usize = 64;
/// Photos that are received at one time.
const UPLOADS: usize = 4;
/// A photo's next piece must come within this time.
const PIECE: Duration = Duration::from_secs(20);

pub(super) fn router(app: Arc<App>) -> Router {
    let uploads = Arc::new(Semaphore::new(UPLOADS));
    let router = Router::new();
    #[cfg(feature = "measuring")]
    let router = router.route("/api/measure", post(measure)).route("/api/codes", get(codes));
    router
        .route(
            "/",
            get(|| file("text/html; charset=utf-8", include_str!("../../../templates/bench/index.html"))),
        )
        .route(
            "/app.css",
            get(|| file("text/css; charset=utf-8", include_str!("../../../templates/bench/app.css"))),
        )
        .route(
            "/app.js",
            get(|| file("text/javascript; charset=utf-8", include_str!("../../../templates/bench/app.js"))),
        )
        .route(
            "/measure.js",
            get(|| {
                file("text/javascript; charset=utf-8", include_str!("../../../templates/bench/measure.js"))
            }),
        )
        .route("/api/state", get(state))
        .route("/api/next", get(next))
        .route("/api/op", post(operate))
        .route("/api/pair", post(pair))
        .route("/api/devices", get(devices))
        .route("/api/revoke", post(revoke))
        .route("/api/picture", get(picture))
        .route(
            "/api/photo",
            post(move |State(app), Extension(from), Query(query), body| {
                upload(app, uploads, from, query, body)
            }),
        )
        .layer(DefaultBodyLimit::max(ANSWER))
        .layer(middleware::from_fn_with_state(Arc::clone(&app), guard))
        .with_state(app)
}

async fn file(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}

impl IntoResponse for Later {
    fn into_response(self) -> Response {
        (StatusCode::SERVICE_UNAVAILABLE, self.0).into_response()
    }
}

/// Runs what touches the disk where it does not hold up other clients.
async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Later> + Send + 'static,
) -> Result<T, Later> {
    match tokio::task::spawn_blocking(work).await {
        Ok(result) => result,
        Err(_) => Err(Later("the answer could not be handled".to_owned())),
    }
}

#[derive(Deserialize)]
struct Since {
    #[serde(default)]
    since: String,
}

async fn state(State(app): State<Arc<App>>, Query(query): Query<Since>) -> Response {
    match blocking(move || app.state(&query.since)).await {
        Ok(Some(json)) => ([(header::CONTENT_TYPE, "application/json")], Body::from(json)).into_response(),
        Ok(None) => StatusCode::NO_CONTENT.into_response(),
        Err(later) => later.into_response(),
    }
}

async fn next(State(app): State<Arc<App>>) -> Response {
    match blocking(move || app.next()).await {
        Ok(next) => Json(next).into_response(),
        Err(later) => later.into_response(),
    }
}

async fn operate(
    State(app): State<Arc<App>>,
    Extension(Sender(device)): Extension<Sender>,
    Json(op): Json<Op>,
) -> Response {
    if op.id.is_empty() || op.id.len() > ID || !op.id.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') {
        return (StatusCode::BAD_REQUEST, "the id of the answer is not usable").into_response();
    }
    match blocking(move || app.operate(&op, device)).await {
        Ok(result) => Json(result).into_response(),
        Err(later) => later.into_response(),
    }
}

#[derive(Deserialize)]
struct Code {
    code: String,
}

/// The paired devices; none where no pairing is needed.
async fn devices(State(app): State<Arc<App>>, Extension(Sender(own)): Extension<Sender>) -> Response {
    Json(app.pairing.as_ref().map(|pairing| pairing.devices(own)).unwrap_or_default()).into_response()
}

#[derive(Deserialize)]
struct Number {
    number: u32,
}

async fn revoke(State(app): State<Arc<App>>, Json(given): Json<Number>) -> Response {
    let revoked = app.pairing.as_ref().is_some_and(|pairing| pairing.revoke(given.number));
    if revoked { StatusCode::NO_CONTENT } else { StatusCode::NOT_FOUND }.into_response()
}

async fn pair(
    State(app): State<Arc<App>>,
    Extension(peer): Extension<Peer>,
    headers: HeaderMap,
    Json(given): Json<Code>,
) -> Response {
    let Some(pairing) = &app.pairing else {
        return StatusCode::NO_CONTENT.into_response();
    };
    match pairing.pair(&given.code, &client(peer, &headers)) {
        Ok(token) => {
            let secure = if app.scheme == "https" { "; Secure" } else { "" };
            let cookie = format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict{secure}");
            (StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response()
        }
        Err(NotPaired::Wrong) => {
            (StatusCode::FORBIDDEN, "this is not the code that the terminal shows now").into_response()
        }
        Err(NotPaired::Paused) => {
            (StatusCode::TOO_MANY_REQUESTS, "too many wrong codes from here; try again in half a minute")
                .into_response()
        }
        Err(NotPaired::Unable) => (StatusCode::FORBIDDEN, "no more devices can be paired").into_response(),
    }
}

#[derive(Deserialize)]
struct Named {
    name: String,
    #[serde(default)]
    large: bool,
}

/// A photo of the record, upright and small enough for a phone.
async fn picture(State(app): State<Arc<App>>, Query(query): Query<Named>) -> Response {
    match blocking(move || app.picture(&query.name, query.large)).await {
        Ok(Ok(jpeg)) => ([(header::CONTENT_TYPE, "image/jpeg")], jpeg).into_response(),
        Ok(Err(words)) => (StatusCode::NOT_FOUND, words).into_response(),
        Err(later) => later.into_response(),
    }
}

/// What points in a photo measure.
#[cfg(feature = "measuring")]
async fn measure(State(app): State<Arc<App>>, Json(points): Json<super::points::Points>) -> Response {
    match blocking(move || app.measure(&points)).await {
        Ok(Ok(told)) => Json(told).into_response(),
        Ok(Err(words)) => (StatusCode::NOT_FOUND, words).into_response(),
        Err(later) => later.into_response(),
    }
}

/// What the codes in a photo of the record say, to be confirmed.
#[cfg(feature = "measuring")]
async fn codes(State(app): State<Arc<App>>, Query(query): Query<Named>) -> Response {
    match blocking(move || app.codes(&query.name)).await {
        Ok(Ok(codes)) => Json(codes).into_response(),
        Ok(Err(words)) => (StatusCode::NOT_FOUND, words).into_response(),
        Err(later) => later.into_response(),
    }
}

#[derive(Deserialize)]
struct PhotoOf {
    key: String,
    record: String,
}

async fn upload(
    app: Arc<App>,
    uploads: Arc<Semaphore>,
    from: Sender,
    query: PhotoOf,
    body: Body,
) -> Response {
    match receive(app, uploads, from, query, body).await {
        Ok(result) => Json(result).into_response(),
        Err(later) => later.into_response(),
    }
}

/// Receives a photo piece by piece into a file beside the others, hashing on the way.
async fn receive(
    app: Arc<App>,
    uploads: Arc<Semaphore>,
    Sender(device): Sender,
    query: PhotoOf,
    mut body: Body,
) -> Result<OpResult, Later> {
    let busy = || Later("too many photos at once; send it again".to_owned());
    let _turn =
        tokio::time::timeout(PIECE, uploads.acquire()).await.map_err(|_| busy())?.map_err(|_| busy())?;
    let key: Key = match query.key.parse() {
        Ok(key) => key,
        Err(never) => match never {},
    };
    let (asked, of) = (Arc::clone(&app), key.clone());
    let shows = match blocking(move || asked.shows(&query.record, &of)).await? {
        Ok(shows) => shows,
        Err(refused) => return Ok(refused),
    };
    let folder = app.session.folder.clone();
    let begun = blocking(move || photo::begin(&folder).map_err(Later)).await?;
    let mut beside = begun;
    let mut hasher = Sha256::new();
    let mut size = 0_u64;
    loop {
        let piece = match tokio::time::timeout(PIECE, body.frame()).await {
            Err(_) => return Err(Later("the photo came too slowly; send it again".to_owned())),
            Ok(None) => break,
            Ok(Some(Err(_))) => {
                return Err(Later("the photo was cut off; send it again".to_owned()));
            }
            Ok(Some(Ok(frame))) => frame,
        };
        let Ok(bytes) = piece.into_data() else {
            continue;
        };
        size += bytes.len() as u64;
        if size > photo::LARGEST {
            return Ok(OpResult::refused(photo::too_large()));
        }
        hasher.update(&bytes);
        beside = blocking(move || {
            beside.write_all(&bytes).map_err(|error| Later(format!("the photo was not kept: {error}")))?;
            Ok(beside)
        })
        .await?;
    }
    let digest = Sha256Digest::from_hasher(hasher);
    blocking(move || {
        let kept = match photo::finish(&app.session.folder, beside, digest, &shows) {
            Ok(kept) => kept,
            Err(words) => return Ok(OpResult::refused(words)),
        };
        app.tie(&key, &kept, device)
    })
    .await
}
