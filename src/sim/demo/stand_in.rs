//! A stand-in for the US weather service: an HTTP server on loopback inside the process that answers as of a virtual
//! instant that its owner sets.

use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_TYPE, DATE, ETAG, EXPIRES, HeaderName, IF_MODIFIED_SINCE, IF_NONE_MATCH,
    LAST_MODIFIED,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::Response;
use chrono::{DateTime, TimeDelta, Utc};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

use crate::adapters::weather::Place;
use crate::sim::demo::document;
use crate::sim::demo::issues::Issues;

/// For how long a grid document says it is good, in seconds.
pub const GRID_MAX_AGE_S: i64 = 900;
/// For how long a points document says it is good, in seconds.
const POINTS_MAX_AGE_S: i64 = 86_400;

/// How the stand-in misbehaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Trouble {
    /// Not at all.
    #[default]
    None,
    /// Every grid is unknown (404), as when an office has redefined its grid.
    GridNotFound,
    /// Every request is answered with 503.
    Unavailable,
}

struct World {
    issues: Arc<Issues>,
    base: String,
    now: DateTime<Utc>,
    trouble: Trouble,
    requests: u64,
    /// The newest document of each cell.
    documents: Vec<Option<(DateTime<Utc>, Bytes)>>,
}

/// A running stand-in; dropping it ends it.
pub struct StandIn {
    world: Arc<Mutex<World>>,
    base: String,
    task: JoinHandle<()>,
}

impl StandIn {
    /// Starts on a free port of the loopback address, at the instant `now`. Needs a tokio runtime.
    ///
    /// # Errors
    /// What the system says when no port can be opened.
    pub async fn start(issues: Arc<Issues>, now: DateTime<Utc>) -> std::io::Result<Self> {
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let base = format!("http://{}", listener.local_addr()?);
        let documents = vec![None; issues.winter().cells().len()];
        let trouble = Trouble::None;
        let world = World { issues, base: base.clone(), now, trouble, requests: 0, documents };
        let world = Arc::new(Mutex::new(world));
        let router = Router::new().fallback(answer).with_state(world.clone());
        let task = tokio::spawn(async move {
            if let Err(error) = axum::serve(listener, router).await {
                tracing::warn!(%error, "the weather stand-in has stopped");
            }
        });
        Ok(Self { world, base, task })
    }

    /// Its base address, for the client's settings.
    #[must_use]
    pub fn base(&self) -> &str {
        &self.base
    }

    /// Moves it to an instant: it then answers with the newest issue at or before it.
    pub fn set_now(&self, now: DateTime<Utc>) {
        lock(&self.world).now = now;
    }

    /// Makes it misbehave, or behave again.
    pub fn set_trouble(&self, trouble: Trouble) {
        lock(&self.world).trouble = trouble;
    }

    /// Requests answered so far.
    #[must_use]
    pub fn requests(&self) -> u64 {
        lock(&self.world).requests
    }
}

impl Drop for StandIn {
    fn drop(&mut self) {
        self.task.abort();
    }
}

fn lock(world: &Mutex<World>) -> std::sync::MutexGuard<'_, World> {
    world.lock().unwrap_or_else(PoisonError::into_inner)
}

async fn answer(State(world): State<Arc<Mutex<World>>>, request: Request) -> Response {
    let mut world = lock(&world);
    world.requests = world.requests.saturating_add(1);
    world.answer(request.uri().path(), request.headers())
}

/// What a path asks for.
enum Asked {
    Points(Place),
    Grid(String, u32, u32),
    Unknown,
}

fn read_path(path: &str) -> Asked {
    if let Some(place) = path.strip_prefix("/points/").and_then(|p| p.parse().ok()) {
        return Asked::Points(place);
    }
    let grid = |path: &str| {
        let (office, cell) = path.strip_prefix("/gridpoints/")?.split_once('/')?;
        let (x, y) = cell.split_once(',')?;
        Some(Asked::Grid(office.to_owned(), x.parse().ok()?, y.parse().ok()?))
    };
    grid(path).unwrap_or(Asked::Unknown)
}

impl World {
    fn answer(&mut self, path: &str, headers: &HeaderMap) -> Response {
        if self.trouble == Trouble::Unavailable {
            let detail = "The resource is currently unavailable.";
            return self.problem(503, "UnavailableWebService", "Unavailable Resource", detail);
        }
        match read_path(path) {
            Asked::Points(place) => self.points(place),
            Asked::Grid(office, x, y) => {
                let cell = self.issues.winter().cell_of_grid(&office, x, y);
                match cell.filter(|_| self.trouble != Trouble::GridNotFound) {
                    Some(cell) => self.grid(cell, headers),
                    None => self.problem(404, "NotFound", "Not Found", "There is no such grid."),
                }
            }
            Asked::Unknown => self.problem(404, "NotFound", "Not Found", "There is no such page."),
        }
    }

    fn points(&self, place: Place) -> Response {
        let winter = self.issues.winter();
        let cell = winter.cell_at(place.latitude(), place.longitude());
        match cell.and_then(|at| winter.cells().get(at)) {
            Some(cell) => {
                let body = document::points(cell, place, &self.base);
                self.reply(200, "application/geo+json", POINTS_MAX_AGE_S, body.into(), &[])
            }
            None => {
                let detail = format!("Unable to provide data for requested point {place}");
                self.problem(404, "InvalidPoint", "Data Unavailable For Requested Point", &detail)
            }
        }
    }

    fn grid(&mut self, cell: usize, headers: &HeaderMap) -> Response {
        let Some(issued_at) = self.issues.newest(cell, self.now) else {
            let detail = "No forecast has been issued yet.";
            return self.problem(503, "ForecastGridExpired", "Forecast Grid Expired", detail);
        };
        let etag = format!("\"{cell}-{}\"", issued_at.timestamp());
        let modified = http_date(issued_at);
        let validators = [(ETAG, etag.clone()), (LAST_MODIFIED, modified)];
        if is_known(headers, &etag, issued_at) {
            let none = Bytes::new();
            return self.reply(304, "application/geo+json", GRID_MAX_AGE_S, none, &validators);
        }
        let body = self.document(cell, issued_at);
        self.reply(200, "application/geo+json", GRID_MAX_AGE_S, body, &validators)
    }

    fn document(&mut self, cell: usize, issued_at: DateTime<Utc>) -> Bytes {
        if let Some(Some((at, body))) = self.documents.get(cell)
            && *at == issued_at
        {
            return body.clone();
        }
        let made = self.issues.winter().cells().get(cell).zip(self.issues.issue(cell, issued_at));
        let body = made.map(|(cell, issue)| document::gridpoint(cell, &issue, &self.base));
        let body = Bytes::from(body.unwrap_or_default());
        if let Some(slot) = self.documents.get_mut(cell) {
            *slot = Some((issued_at, body.clone()));
        }
        body
    }

    fn problem(&self, status: u16, kind: &str, title: &str, detail: &str) -> Response {
        let body = document::problem(status, kind, title, detail);
        self.reply(status, "application/problem+json", 0, body.into(), &[])
    }

    fn reply(
        &self,
        status: u16,
        kind: &'static str,
        max_age_s: i64,
        body: Bytes,
        more: &[(HeaderName, String)],
    ) -> Response {
        let mut response = Response::new(Body::from(body));
        *response.status_mut() = StatusCode::from_u16(status).unwrap_or_default();
        let until = self.now.checked_add_signed(TimeDelta::seconds(max_age_s)).unwrap_or(self.now);
        let headers = response.headers_mut();
        headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
        let timing = [
            (DATE, http_date(self.now)),
            (EXPIRES, http_date(until)),
            (CACHE_CONTROL, format!("public, max-age={max_age_s}")),
        ];
        for (name, value) in timing.iter().chain(more) {
            if let Ok(value) = HeaderValue::from_str(value) {
                headers.insert(name.clone(), value);
            }
        }
        response
    }
}

/// Does the asker hold this issue already? The entity tag decides where it is given (RFC 9110, 13.2.2).
fn is_known(headers: &HeaderMap, etag: &str, issued_at: DateTime<Utc>) -> bool {
    let text = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
    match (text(IF_NONE_MATCH), text(IF_MODIFIED_SINCE)) {
        (Some(tags), _) => tags.split(',').any(|tag| tag.trim() == etag),
        (None, Some(since)) => {
            DateTime::parse_from_rfc2822(since).is_ok_and(|since| issued_at <= since)
        }
        (None, None) => false,
    }
}

fn http_date(time: DateTime<Utc>) -> String {
    time.format("%a, %d %b %Y %H:%M:%S GMT").to_string()
}
