//! Plays a fleet through a winter: the service's own round over a store in memory, from look to look. Nothing is asked of
//! anybody and nothing is sent: what people would have got is read off the outbox, of every kind of alert.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

pub use super::fleet::Fleet;
use super::postbox::Postbox;
use super::reckoning::Reckoning;
use super::score::Played;
use crate::adapters::sqlite::Store;
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::Composer;
use crate::app::notify::deliver::{Limits, deliver_due};
use crate::app::ports::{FetchState, StateDocuments as _};
use crate::app::round::{Memory, RoundDeps, round};
use crate::app::salt::seeded;
use crate::app::settings::Settings;
use crate::app::settings::services::ServiceName;
use crate::domain::boat::{Boat, LayupEvent};
use crate::domain::catalogue::Catalogue;
use crate::domain::weather::measured::Measured;
use crate::domain::weather::{Forecast, Step};
use crate::domain::yard::Site;

/// The service under whose name the played forecasts are kept: one whose errors are those of the usual model.
const SERVICE: &str = "met-norway";
/// Salts of the played log.
const SALTS: u64 = 7;

/// Where the weather comes from.
pub trait Weather {
    /// The newest issue for a place at `now`: when it was made, and its hours.
    fn newest(&self, site: &Site, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)>;
    /// The hours that have passed, one by one; unknown hours are empty.
    fn past(&self, site: &Site, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step>;
}

/// How it is played.
#[derive(Debug, Clone)]
pub struct Rules {
    /// The configuration, as the service would have it; its store, its ways out and its weather services are not used.
    pub settings: Settings,
    /// Hours between two looks.
    pub every_h: i64,
}

impl Rules {
    /// A plain yard in a time zone, with the usual settings.
    ///
    /// # Errors
    /// The settings that are compiled in do not parse.
    pub fn usual(zone: Tz, every_h: i64) -> Result<Self, String> {
        let text = format!(
            "[yard]\nname = \"Replayed yard\"\ntime_zone = \"{zone}\"\n[store]\npath = \"none.sqlite\"\n\
             [forecast]\ncontact = \"office@example.org\"\n\
             [mail]\nfrom = \"desk@example.org\"\nmaildir = \"none\"\n"
        );
        let settings = Settings::parse(&text, Path::new(".")).map_err(|all| all.join("\n"))?;
        Ok(Self { settings, every_h })
    }
}

/// Plays from `from` to `until`.
///
/// # Errors
/// The store's, or a hole in the tables.
pub fn play(
    fleet: &Fleet,
    weather: &dyn Weather,
    rules: &Rules,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Played, ServiceError> {
    let app = open(fleet, rules, from)?;
    let composer = Composer::of(&app.settings, &*app.mailer)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build();
    let runtime = runtime.map_err(ServiceError::Runtime)?;
    let mut game =
        Game { fleet, weather, app: &app, composer: &composer, postbox: Postbox::default() };
    let mut reckoning = Reckoning::new(&app, fleet);
    let mut memory = Memory::default();
    game.run_up(from)?;
    let mut now = from;
    while now < until {
        game.bring_weather(now)?;
        let seen = runtime.block_on(game.look(&mut memory, now))?;
        let read = std::mem::take(&mut game.postbox.letters);
        reckoning.look(&read, seen.as_ref(), now)?;
        now += TimeDelta::hours(rules.every_h);
    }
    reckoning.finish()
}

/// The service over a store in memory that holds the fleet.
fn open(fleet: &Fleet, rules: &Rules, from: DateTime<Utc>) -> Result<AppContext, ServiceError> {
    let mut settings = rules.settings.clone();
    settings.forecast.services = vec![ServiceName::MetNorway];
    settings.webhook.clear();
    settings.text = Default::default();
    settings.mail.smtp = None;
    settings.mail.inbox = None;
    let app =
        AppContext::over(settings, Catalogue::built_in()?, Box::new(Store::open_in_memory()?));
    let sites: Vec<Site> = fleet.sites.values().cloned().collect();
    let boats: Vec<Boat> = fleet.boats.iter().map(|(boat, _)| boat.clone()).collect();
    app.store.put_yard(&sites, &fleet.people, &boats)?;
    // An event of a place stands with each of its boats.
    let events = fleet.boats.iter().flat_map(|(_, events)| events);
    let once: BTreeMap<&str, &LayupEvent> =
        events.map(|event| (event.id.as_str(), event)).collect();
    let once: Vec<LayupEvent> = once.into_values().cloned().collect();
    app.store.append_events(&once, from, &mut seeded(SALTS))?;
    Ok(app)
}

struct Game<'a> {
    fleet: &'a Fleet,
    weather: &'a dyn Weather,
    app: &'a AppContext,
    composer: &'a Composer,
    postbox: Postbox,
}

impl Game<'_> {
    /// The weeks before the first look, as they were: kept like a forecast of that time.
    fn run_up(&self, from: DateTime<Utc>) -> Result<(), ServiceError> {
        let began = from - TimeDelta::days(i64::from(self.app.settings.judge.past_days));
        for site in self.fleet.sites.values() {
            let steps = self.weather.past(site, began, from);
            self.app.store.put_forecast(&site.id, &issue(began, steps), began)?;
        }
        Ok(())
    }

    /// The newest issue of each place, and what a thermometer beside it has shown since the last look.
    fn bring_weather(&self, now: DateTime<Utc>) -> Result<(), ServiceError> {
        let store = &self.app.store;
        for site in self.fleet.sites.values() {
            if let Some((issued_at, steps)) = self.weather.newest(site, now) {
                store.put_forecast(&site.id, &issue(issued_at, steps), now)?;
                let answered = FetchState { last_answer_at: Some(now), ..FetchState::default() };
                store.put_fetch_state(SERVICE, &site.id, &answered, Some(now))?;
            }
            for step in self.weather.past(site, now - TimeDelta::hours(DAY_H), now) {
                if step.temperature_c.is_some() {
                    store.put_observation(&site.id, &beside(site, step), now)?;
                }
            }
        }
        Ok(())
    }

    /// One round of the service. What waited until before this look has left by then.
    async fn look(
        &mut self,
        memory: &mut Memory,
        now: DateTime<Utc>,
    ) -> Result<Option<crate::app::assess::Assessment>, ServiceError> {
        deliver_due(&*self.app.store, &mut self.postbox, now, &Limits::default()).await?;
        let mut deps = RoundDeps {
            house: self.app,
            composer: self.composer,
            client: None,
            channel: Some(&mut self.postbox),
            endpoints: None,
            clock: None,
        };
        Ok(round(&mut deps, memory, now).await?.assessment)
    }
}

/// Hours of readings that are brought at each look; those that are there already are passed over.
const DAY_H: i64 = 24;

fn issue(issued_at: DateTime<Utc>, steps: Vec<Step>) -> Forecast {
    Forecast {
        service: SERVICE.to_owned(),
        issued_at,
        cell_elevation_m: None,
        steps,
        minima: Vec::new(),
        members: Vec::new(),
        missing: 0,
        warnings: Vec::new(),
    }
}

fn beside(site: &Site, step: Step) -> Measured {
    Measured {
        station: "beside the place".to_owned(),
        distance_km: 0.0,
        elevation_m: Some(site.elevation_m),
        step,
    }
}
