//! How the US National Weather Service is asked: the place's grid cell once a day, then the raw grid of that cell.

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::Url;

use super::cache::{clock_ahead, good_for_s};
use super::http::{Ask, Http, Reply, keep_validators};
use super::state::{Answer, Refusal, weigh};
use crate::adapters::weather::nws::points::Cell;
use crate::adapters::weather::nws::{parse_gridpoint, parse_points};
use crate::adapters::weather::{Context, PayloadError, Place};
use crate::app::ports::{FetchState, Outcome};
use crate::domain::weather::Forecast;

/// What is asked for, always in the same words: edge caches key on it.
const ACCEPT: &str = "application/geo+json";
/// Grids move without notice; the cell of a place is asked again after this, in hours (its own max-age).
const RESOLVE_HOURS: i64 = 24;
/// An issue older than this, in hours, is asked for once more with another User-Agent.
const OLD_ISSUE_HOURS: i64 = 24;
/// Clocks that differ by more than this, in minutes, are worth a warning.
const CLOCK_APART_MIN: i64 = 15;
/// What the service calls a point on the water.
const MARINE: &str = "marine";
/// How far from a place on the water land is looked for, degrees of latitude: one cell of 2.5 km.
const BESIDE_DEG: f64 = 0.025;

/// One call: at most two requests for the cell, three for its grid.
pub(super) async fn fetch(
    http: &Http,
    place: Place,
    stored_issue: Option<DateTime<Utc>>,
    state: &mut FetchState,
    now: DateTime<Utc>,
) -> Result<Answer, Refusal> {
    let known = known_grid(http, state, now);
    let just_resolved = known.is_none();
    let url = match known {
        Some(url) => url,
        None => resolve(http, place, state, now).await?,
    };
    let once = Once { http, place: state.land_or(place), stored_issue, now };
    match once.ask_grid(url, state).await {
        // The stored cell is no longer this place's: find the new one, once.
        Err(Miss::Cell(_)) if !just_resolved => {
            state.forget_grid();
            let url = resolve(http, place, state, now).await?;
            let once = Once { place: state.land_or(place), ..once };
            once.ask_grid(url, state).await.map_err(|miss| miss.into_refusal(state))
        }
        other => other.map_err(|miss| miss.into_refusal(state)),
    }
}

fn known_grid(http: &Http, state: &FetchState, now: DateTime<Utc>) -> Option<Url> {
    let age = now - state.resolved_at?;
    let is_recent = (TimeDelta::zero()..TimeDelta::hours(RESOLVE_HOURS)).contains(&age);
    http.at(state.grid_path.as_deref()?).filter(|_| is_recent)
}

/// Finds the cell of the place and notes it.
async fn resolve(
    http: &Http,
    place: Place,
    state: &mut FetchState,
    now: DateTime<Utc>,
) -> Result<Url, Refusal> {
    let malformed = |why| Refusal::new(Outcome::Malformed { why });
    let (land, cell) = match on_known_land(http, state, now).await {
        Some(Ok(found)) => (state.land.clone(), found),
        // The known cell goes on serving until the service says where it is now.
        Some(Err(refusal)) => match state.grid_path.as_deref().and_then(|path| http.at(path)) {
            Some(known) => return Ok(known),
            None => return Err(as_passing(refusal)),
        },
        None => place_or_land(http, place, state, now).await?,
    };
    let stated = cell.grid_url.as_deref().and_then(|address| http.adopt(address));
    let grid = stated
        .or_else(|| http.at(&cell.grid_path()))
        .ok_or_else(|| malformed(format!("{} is not a path", cell.grid_path())))?;
    if state.grid_path.as_deref() != Some(grid.path()) {
        state.forget_grid();
        state.grid_path = Some(grid.path().to_owned());
    }
    state.land = land;
    state.resolved_at = Some(now);
    Ok(grid)
}

async fn cell_of(http: &Http, place: Place, now: DateTime<Utc>) -> Result<Cell, Refusal> {
    let malformed = |why| Refusal::new(Outcome::Malformed { why });
    let path = format!("/points/{place}");
    let url = http.at(&path).ok_or_else(|| malformed(format!("{path} is not a path")))?;
    let reply = http.get(url, &Ask { accept: ACCEPT, ..Ask::default() }, now).await?;
    let context = Context { place: Some(place), now: Some(now) };
    parse_points(&reply.body.unwrap_or_default(), &context).map_err(|e| malformed(e.to_string()))
}

/// The cell of the land that stands for a place on the water, as far as that is known. `None` where none is, or where the
/// service knows no land there any more.
async fn on_known_land(
    http: &Http,
    state: &FetchState,
    now: DateTime<Utc>,
) -> Option<Result<Cell, Refusal>> {
    let land = state.land.as_deref()?.parse().ok()?;
    match cell_of(http, land, now).await {
        Ok(cell) if cell.kind.as_deref() == Some(MARINE) => None,
        Err(refusal) if matches!(refusal.outcome, Outcome::Permanent { .. }) => None,
        found => Some(found),
    }
}

/// The place's own cell, or that of the land beside it where its own is water or none.
async fn place_or_land(
    http: &Http,
    place: Place,
    state: &mut FetchState,
    now: DateTime<Utc>,
) -> Result<(Option<String>, Cell), Refusal> {
    let own = cell_of(http, place, now).await;
    let is_water = match &own {
        Ok(cell) => cell.kind.as_deref() == Some(MARINE),
        Err(refusal) => matches!(refusal.outcome, Outcome::Permanent { .. }),
    };
    // A point at sea may be none at all; one abroad is asked around once a day.
    let is_time = state.searched_at.is_none_or(|at| {
        !(TimeDelta::zero()..TimeDelta::hours(RESOLVE_HOURS)).contains(&(now - at))
    });
    if is_water && is_time {
        let found = land_beside(http, place, now).await?;
        state.searched_at = Some(now);
        if let Some((land, cell)) = found {
            return Ok((Some(land.to_string()), cell));
        }
    }
    match own {
        Ok(cell) => Ok((None, cell)),
        // A place that has been served does not stop existing: one office's points have failed for hours.
        Err(refusal) if state.last_answer_at.is_some() => Err(as_passing(refusal)),
        Err(refusal) => Err(refusal),
    }
}

/// The nearest of four places around one on the water whose cell is land: cells of water carry no temperature of the air over
/// the shore, or are not served.
///
/// # Errors
/// What kept it from asking: that is no word about the land.
async fn land_beside(
    http: &Http,
    place: Place,
    now: DateTime<Utc>,
) -> Result<Option<(Place, Cell)>, Refusal> {
    let east = BESIDE_DEG / place.latitude().to_radians().cos().max(0.1);
    for (up, right) in [(0, 1), (0, -1), (1, 0), (-1, 0)] {
        let latitude = place.latitude() + f64::from(up) * BESIDE_DEG;
        let longitude = place.longitude() + f64::from(right) * east;
        let Ok(beside) = Place::new(latitude, longitude) else { continue };
        match cell_of(http, beside, now).await {
            Ok(cell) if cell.kind.as_deref() != Some(MARINE) => return Ok(Some((beside, cell))),
            Ok(_) => {}
            Err(refusal) if matches!(refusal.outcome, Outcome::Permanent { .. }) => {}
            Err(refusal) => return Err(as_passing(refusal)),
        }
    }
    Ok(None)
}

/// Why a grid did not serve.
enum Miss {
    /// It may be the wrong cell.
    Cell(Outcome),
    Other(Refusal),
}

impl Miss {
    fn into_refusal(self, state: &mut FetchState) -> Refusal {
        match self {
            Self::Cell(outcome) => {
                state.forget_grid();
                let refusal = Refusal::new(outcome);
                if state.last_answer_at.is_some() { as_passing(refusal) } else { refusal }
            }
            Self::Other(refusal) => refusal,
        }
    }
}

fn as_passing(refusal: Refusal) -> Refusal {
    match refusal.outcome {
        Outcome::Permanent { why } => Refusal {
            outcome: Outcome::Transient {
                why: format!("{why}, though it has served this place before"),
            },
            wait_s: refusal.wait_s,
        },
        outcome => Refusal { outcome, wait_s: refusal.wait_s },
    }
}

struct Once<'a> {
    http: &'a Http,
    place: Place,
    stored_issue: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
}

impl Once<'_> {
    async fn ask_grid(&self, url: Url, state: &mut FetchState) -> Result<Answer, Miss> {
        let known = self.stored_issue.map(|_| state.clone());
        let ask = Ask { accept: ACCEPT, known: known.as_ref(), other_agent: false };
        let reply = self.get(url.clone(), &ask).await?;
        let Some(mut body) = reply.body.as_deref() else {
            let good_for_s = good_for_s(&reply.headers, self.now);
            return Ok(Answer { outcome: Outcome::NotModified, good_for_s });
        };
        let mut forecast = self.read(body, &reply)?;
        if let Some(land) = &state.land {
            forecast.warnings.push(format!(
                "the place lies on the water: this is the forecast for the land beside it ({land})"
            ));
        }
        let mut used = &reply;
        let again;
        if self.is_old(&forecast) {
            tracing::warn!(place = %self.place, issued_at = %forecast.issued_at, "old forecast in the answer, asking once more");
            let ask = Ask { accept: ACCEPT, known: None, other_agent: true };
            if let Ok(second) = self.get(url, &ask).await {
                again = second;
                if let Some(other_body) = again.body.as_deref()
                    && let Ok(other) = self.read(other_body, &again)
                    && other.issued_at > forecast.issued_at
                {
                    (forecast, body, used) = (other, other_body, &again);
                }
            }
        }
        let outcome = weigh(forecast, body.len(), self.stored_issue, self.now);
        if matches!(outcome, Outcome::Fresh(..) | Outcome::NotModified) {
            keep_validators(state, &used.headers);
        }
        Ok(Answer { outcome, good_for_s: good_for_s(&used.headers, self.now) })
    }

    async fn get(&self, url: Url, ask: &Ask<'_>) -> Result<Reply, Miss> {
        self.http.get(url, ask, self.now).await.map_err(|refusal| match refusal.outcome {
            outcome @ Outcome::Permanent { .. } => Miss::Cell(outcome),
            _ => Miss::Other(refusal),
        })
    }

    fn read(&self, body: &[u8], reply: &Reply) -> Result<Forecast, Miss> {
        let context = Context { place: Some(self.place), now: Some(self.now) };
        let apart = clock_ahead(&reply.headers, self.now).map(|ahead| ahead.num_minutes());
        let apart = apart.filter(|minutes| minutes.saturating_abs() > CLOCK_APART_MIN);
        let read = parse_gridpoint(body, &context);
        match read.inspect_err(|why| self.http.set_aside(why, body)) {
            Ok(mut forecast) => {
                if let Some(minutes) = apart {
                    forecast
                        .warnings
                        .push(format!("the service's clock and ours differ by {minutes} minutes"));
                }
                Ok(forecast)
            }
            Err(why @ PayloadError::WrongPlace { .. }) => {
                Err(Miss::Cell(Outcome::Malformed { why: why.to_string() }))
            }
            Err(why) => {
                let clock = apart
                    .map(|m| format!("; the service's clock is {m} minutes ahead of ours"))
                    .unwrap_or_default();
                let why = format!("{why}{clock}");
                Err(Miss::Other(Refusal::new(Outcome::Malformed { why })))
            }
        }
    }

    fn age(&self, forecast: &Forecast) -> TimeDelta {
        self.now - forecast.issued_at
    }

    fn is_old(&self, forecast: &Forecast) -> bool {
        self.stored_issue.is_some_and(|stored| forecast.issued_at < stored)
            || self.age(forecast) > TimeDelta::hours(OLD_ISSUE_HOURS)
    }
}
