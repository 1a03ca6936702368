//! One GET: identified, bounded in bytes and seconds, redirected only within its own host.

use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{
    ACCEPT, CONTENT_TYPE, ETAG, HeaderMap, IF_MODIFIED_SINCE, IF_NONE_MATCH, LAST_MODIFIED,
    USER_AGENT,
};
use reqwest::redirect::Policy;
use reqwest::{Response, Url};

use super::cache::{clock_ahead, retry_after_s, text};
use super::error::ClientError;
use super::service::ClientSettings;
use super::state::Refusal;
use crate::adapters::weather::nws::problem::{Problem, parse_problem};
use crate::adapters::weather::{BODY_BYTES_MAX, PayloadError};
use crate::app::ports::Service;
use crate::app::ports::{FetchState, Outcome, SetAside};

/// Most redirects that are followed.
const REDIRECTS_MAX: usize = 3;
/// Longest time until a connection stands.
const CONNECT_DEADLINE: Duration = Duration::from_secs(10);
/// Longest contact text.
const CONTACT_BYTES_MAX: usize = 200;

/// A client bound to one origin.
#[derive(Debug, Clone)]
pub(super) struct Http {
    client: reqwest::Client,
    base: Url,
    user_agent: String,
    deadline: Duration,
    /// The most that the server's clock was ahead of ours since somebody asked.
    ahead: Arc<Mutex<Option<TimeDelta>>>,
    /// The pass in hand.
    pass: Arc<Mutex<Option<Pass>>>,
    /// The last answer that cannot be true, until somebody takes it.
    aside: Arc<Mutex<Option<SetAside>>>,
}

/// The time that a pass goes by, and when it began.
type Pass = (DateTime<Utc>, Instant);

/// A whole answer with status 200 or 304.
pub(super) struct Reply {
    pub headers: HeaderMap,
    /// `None` for "not modified".
    pub body: Option<Vec<u8>>,
}

/// How to ask.
#[derive(Default)]
pub(super) struct Ask<'a> {
    pub accept: &'static str,
    /// Send the validators of this state.
    pub known: Option<&'a FetchState>,
    /// Add a mark to the User-Agent: edge caches that keep stale copies key on it.
    pub other_agent: bool,
}

impl Http {
    pub fn new(service: Service, settings: &ClientSettings) -> Result<Self, ClientError> {
        let refusal =
            || ClientError::Base { base: settings.base.clone(), example: service.public_base() };
        let base = Url::parse(&settings.base).map_err(|_| refusal())?;
        let is_web = matches!(base.scheme(), "http" | "https") && base.host().is_some();
        if !is_web || base.path() != "/" || base.query().is_some() || !base.username().is_empty() {
            return Err(refusal());
        }
        let contact = settings.contact.trim();
        let is_plain =
            contact.bytes().all(|b| (b' '..=b'~').contains(&b) && b != b'(' && b != b')');
        let is_reachable = contact.contains('@') || contact.contains("://");
        if !is_plain || !is_reachable || contact.len() > CONTACT_BYTES_MAX {
            return Err(ClientError::Contact { contact: settings.contact.clone() });
        }
        if rustls::crypto::CryptoProvider::get_default().is_none() {
            return Err(ClientError::NoProvider);
        }
        let mut builder = reqwest::Client::builder()
            .redirect(within_one_host())
            .connect_timeout(CONNECT_DEADLINE.min(settings.deadline))
            .timeout(settings.deadline)
            .tcp_nodelay(true);
        if base.scheme() == "http" {
            // A stand-in on this machine needs no certificates, and the machine may have none.
            builder = builder.tls_certs_only([]);
        }
        let client = builder
            .build()
            .map_err(|source| ClientError::Build { base: settings.base.clone(), source })?;
        let user_agent = format!("rimeward/{} ({contact})", env!("CARGO_PKG_VERSION"));
        let deadline = settings.deadline;
        let (ahead, pass, aside) = (Arc::default(), Arc::default(), Arc::default());
        Ok(Self { client, base, user_agent, deadline, ahead, pass, aside })
    }

    /// How far the server's clock was ahead of ours in the answers since this was last asked; `None` without answers.
    pub fn take_clock_ahead(&self) -> Option<TimeDelta> {
        self.ahead.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    /// Puts an answer aside that cannot be true; what the service itself calls an error is none.
    pub fn set_aside(&self, why: &PayloadError, body: &[u8]) {
        if matches!(why, PayloadError::Problem(_)) {
            return;
        }
        let answer = SetAside { why: why.to_string(), body: body.to_vec() };
        *self.aside.lock().unwrap_or_else(PoisonError::into_inner) = Some(answer);
    }

    /// What was put aside since this was last asked.
    pub fn take_aside(&self) -> Option<SetAside> {
        self.aside.lock().unwrap_or_else(PoisonError::into_inner).take()
    }

    /// Does the server stand on this machine?
    pub fn is_on_this_machine(&self) -> bool {
        let host = self.base.host_str().unwrap_or_default();
        let address = host.trim_matches(['[', ']']).parse::<IpAddr>();
        host == "localhost" || address.is_ok_and(|address| address.is_loopback())
    }

    /// An address on the configured origin, from a path that we made.
    pub fn at(&self, path: &str) -> Option<Url> {
        self.base.join(path).ok().filter(|url| self.owns(url))
    }

    /// An address that somebody else stated, if it is on the configured origin.
    pub fn adopt(&self, address: &str) -> Option<Url> {
        Url::parse(address).ok().filter(|url| self.owns(url) && url.query().is_none())
    }

    fn owns(&self, url: &Url) -> bool {
        url.origin() == self.base.origin() && url.username().is_empty()
    }

    /// How long the pass that began at `now` has gone on.
    fn since(&self, now: DateTime<Utc>) -> Duration {
        let mut pass = self.pass.lock().unwrap_or_else(PoisonError::into_inner);
        match *pass {
            Some((began, at)) if began == now => at.elapsed(),
            _ => {
                *pass = Some((now, Instant::now()));
                Duration::ZERO
            }
        }
    }

    /// Gets a document.
    ///
    /// # Errors
    /// A classified [`CliError`]; a 404 is `Permanent` and for the caller to interpret.
    pub async fn get(&self, url: Url, ask: &Ask<'_>, now: DateTime<Utc>) -> Result<Reply, Refusal> {
        let whole = tokio::time::timeout(self.deadline, self.get_unbounded(url.clone(), ask, now));
        whole.await.unwrap_or_else(|_| {
            let seconds = self.deadline.as_secs();
            Err(transient(format!("{} did not finish answering within {seconds} s", shown(&url))))
        })
    }

    async fn get_unbounded(
        &self,
        url: Url,
        ask: &Ask<'_>,
        now: DateTime<Utc>,
    ) -> Result<Reply, Refusal> {
        let _ = self.since(now);
        let agent = if ask.other_agent {
            format!("{} second try", self.user_agent)
        } else {
            self.user_agent.clone()
        };
        let mut request =
            self.client.get(url.clone()).header(USER_AGENT, agent).header(ACCEPT, ask.accept);
        if let Some(known) = ask.known {
            if let Some(etag) = &known.etag {
                request = request.header(IF_NONE_MATCH, etag);
            }
            if let Some(modified) = &known.last_modified {
                request = request.header(IF_MODIFIED_SINCE, modified);
            }
        }
        let mut response = request.send().await.map_err(|e| {
            transient(format!("asking {}: {}", shown(&url), chain(&e.without_url())))
        })?;
        let status = response.status().as_u16();
        // A long pass goes on with the time at which it began.
        let asked = self.since(now);
        let now_then = now + TimeDelta::from_std(asked).unwrap_or_default();
        if let Some(ahead) = clock_ahead(response.headers(), now_then) {
            let mut most = self.ahead.lock().unwrap_or_else(PoisonError::into_inner);
            *most = Some(most.map_or(ahead, |before| before.max(ahead)));
        }
        if status == 304 {
            return Ok(Reply { headers: response.headers().clone(), body: None });
        }
        let headers = response.headers().clone();
        let body = bounded_body(&mut response).await;
        if status == 200 || status == 203 {
            let body = body?;
            refuse_other_type(&headers, &url, ask.accept)?;
            return Ok(Reply { headers, body: Some(body) });
        }
        let body = body.unwrap_or_default();
        let problem = parse_problem(&body).or_else(|| stated_reason(status, &body));
        Err(classify(status, problem.as_ref(), &headers, &url, now))
    }
}

/// Keeps the validators of an answer for the next request.
pub(super) fn keep_validators(state: &mut FetchState, headers: &HeaderMap) {
    state.etag = text(headers, &ETAG).map(str::to_owned);
    state.last_modified = text(headers, &LAST_MODIFIED).map(str::to_owned);
}

fn within_one_host() -> Policy {
    Policy::custom(|attempt| {
        let same = attempt.previous().first().is_some_and(|f| f.origin() == attempt.url().origin());
        if same && attempt.previous().len() <= REDIRECTS_MAX {
            attempt.follow()
        } else {
            attempt.stop()
        }
    })
}

async fn bounded_body(response: &mut Response) -> Result<Vec<u8>, Refusal> {
    let url = response.url().clone();
    let too_large = || {
        let why = format!("{} answered with more than {BODY_BYTES_MAX} bytes", shown(&url));
        Refusal::new(Outcome::Malformed { why })
    };
    let limit = u64::try_from(BODY_BYTES_MAX).unwrap_or(u64::MAX);
    if response.content_length().is_some_and(|length| length > limit) {
        return Err(too_large());
    }
    let mut body = Vec::new();
    loop {
        match response.chunk().await {
            Ok(Some(chunk)) if body.len().saturating_add(chunk.len()) > BODY_BYTES_MAX => {
                return Err(too_large());
            }
            Ok(Some(chunk)) => body.extend_from_slice(&chunk),
            Ok(None) => return Ok(body),
            Err(e) => {
                return Err(transient(format!(
                    "the answer of {} broke off: {}",
                    shown(&url),
                    chain(&e.without_url())
                )));
            }
        }
    }
}

/// An address without its query, which may hold a key.
fn shown(url: &Url) -> String {
    let mut bare = url.clone();
    bare.set_query(None);
    bare.set_fragment(None);
    let _ = bare.set_username("").and_then(|()| bare.set_password(None));
    bare.into()
}

/// The `reason` of an error document that has nothing else (Open-Meteo).
fn stated_reason(status: u16, body: &[u8]) -> Option<Problem> {
    let document: serde_json::Value = serde_json::from_slice(body).ok()?;
    let title = document.get("reason")?.as_str()?.chars().take(300).collect();
    Some(Problem { kind: String::new(), status: Some(status), title, detail: String::new() })
}

/// How long a limit lasts that names the hour or the day.
fn limit_wait_s(problem: &Problem) -> Option<i64> {
    let words = problem.title.to_ascii_lowercase();
    if words.contains("daily") {
        Some(DAILY_LIMIT_WAIT_S)
    } else if words.contains("hourly") {
        Some(HOURLY_LIMIT_WAIT_S)
    } else {
        None
    }
}

fn refuse_other_type(headers: &HeaderMap, url: &Url, accept: &str) -> Result<(), Refusal> {
    let Some(kind) = text(headers, &CONTENT_TYPE) else { return Ok(()) };
    let kind = kind.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    if kind == "application/json" || kind.ends_with("+json") {
        return Ok(());
    }
    if !accept.contains("json") {
        // File servers name archives as they like; a page is none.
        if kind != "text/html" {
            return Ok(());
        }
        let why = format!("{} answered with a page instead of a file", shown(url));
        return Err(Refusal::new(Outcome::Malformed { why }));
    }
    let why = format!("{} answered with {kind:?} instead of JSON", shown(url));
    Err(Refusal::new(Outcome::Malformed { why }))
}

/// What a status other than 200 and 304 means for us.
fn classify(
    status: u16,
    problem: Option<&Problem>,
    headers: &HeaderMap,
    url: &Url,
    now: DateTime<Utc>,
) -> Refusal {
    let said = problem.map_or_else(|| status.to_string(), ToString::to_string);
    let why = format!("{} answered {said}", shown(url));
    let wait_s = retry_after_s(headers, now);
    match status {
        429 => Refusal {
            outcome: Outcome::Throttled { until: now },
            wait_s: wait_s.or(problem.and_then(limit_wait_s)).or(Some(THROTTLED_WAIT_S)),
        },
        401 | 403 | 407 | 451 => {
            let why = format!("{why}; check the contact and the base address in the configuration");
            Refusal { outcome: Outcome::Blocked { why }, wait_s }
        }
        300..=399 => {
            // What it echoes of our own question may hold a key.
            let stated = text(headers, &reqwest::header::LOCATION);
            let to =
                stated.and_then(|to| url.join(to).ok()).map_or("nowhere".into(), |to| shown(&to));
            let why = format!("{why}, sending us on to {to}, which is not followed");
            Refusal { outcome: Outcome::Permanent { why }, wait_s }
        }
        408 | 425 | 500..=599 => {
            let expired = problem.is_some_and(|p| p.kind.starts_with("ForecastGrid"));
            let wait_s = wait_s.or(expired.then_some(GRID_EXPIRED_WAIT_S));
            Refusal { outcome: Outcome::Transient { why }, wait_s }
        }
        400..=499 => Refusal { outcome: Outcome::Permanent { why }, wait_s },
        _ => Refusal { outcome: Outcome::Malformed { why }, wait_s },
    }
}

/// Without a `Retry-After`.
const THROTTLED_WAIT_S: i64 = 600;
/// A limit of the hour.
const HOURLY_LIMIT_WAIT_S: i64 = 3_600;
/// A limit of the day; the longest wait that is ever set.
const DAILY_LIMIT_WAIT_S: i64 = 6 * 3_600;
/// The office has not delivered: asking again soon helps nobody.
const GRID_EXPIRED_WAIT_S: i64 = 900;

fn transient(why: String) -> Refusal {
    Refusal::new(Outcome::Transient { why })
}

/// An error with its causes, in one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        next = cause.source();
    }
    text
}
