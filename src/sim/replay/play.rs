//! Plays a fleet through a winter in memory: fold, judge, decide as the service does it, without a store and without
//! letters.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::app::assess::{left_places, low};
use crate::app::settings::schedule::Schedule;
use crate::domain::alert::{
    Act, Advice, Alert, AlertSettings, Decision, DecisionInput, Kind, Low, Notification, Situation,
    System, Target, WorklistTimes, decide,
};
use crate::domain::boat::{Boat, BoatId, BoatState, LayupEvent, SiteId, fold, heat_of_place};
use crate::domain::catalogue::Catalogue;
use crate::domain::risk::ambient::{Heat, PlacePast, PlaceWeather};
use crate::domain::risk::judge::{Judge, JudgeSettings};
use crate::domain::risk::timing::WorkingHours;
use crate::domain::risk::{CircuitRisk, Consequence, Priority};
use crate::domain::weather::errors::{Ensemble, ErrorModel};
use crate::domain::weather::{ForecastState, Step, place};
use crate::domain::yard::{Person, Role, Site, SiteKind};
use chrono::{DateTime, TimeDelta, Utc};

use crate::sim::replay::score::{Frozen, Message, Played};

/// Where the weather comes from.
pub trait Weather {
    /// The newest issue for a place at `now`: when it was made, and its hours.
    fn newest(&self, site: &Site, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)>;
    /// The hours that have passed, one by one; unknown hours are empty.
    fn past(&self, site: &Site, from: DateTime<Utc>, until: DateTime<Utc>) -> Vec<Step>;
}

/// Who and what is played.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// Places by id.
    pub sites: BTreeMap<SiteId, Site>,
    /// People.
    pub people: Vec<Person>,
    /// Boats, each with the events that concern it, those of its place too.
    pub boats: Vec<(Boat, Vec<LayupEvent>)>,
}

/// How it is played.
#[derive(Debug, Clone)]
pub struct Rules {
    /// Paths of the weather that are drawn.
    pub members: usize,
    /// Hours ahead for which chances are taken.
    pub horizon_h: usize,
    /// Hours between two looks.
    pub every_h: i64,
    /// Days of the past from which the ice at the start is computed.
    pub past_days: i64,
    /// Of the drawn paths.
    pub seed: u64,
    /// When people are told.
    pub alert: AlertSettings,
    /// When the worklist goes out, by cron.
    pub worklist: String,
    /// When people work.
    pub working_hours: WorkingHours,
}

/// Plays from `from` to `until`.
///
/// # Errors
/// In words, where a table lacks something.
pub fn play(
    fleet: &Fleet,
    weather: &dyn Weather,
    rules: &Rules,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Played, String> {
    let catalogue = Catalogue::built_in().map_err(|error| error.to_string())?;
    let schedule = Schedule::parse(&rules.worklist)?;
    let mut game = Game {
        fleet,
        catalogue: &catalogue,
        rules,
        played: Played::default(),
        states: BTreeMap::new(),
        open: BTreeMap::new(),
        closed: BTreeMap::new(),
        frozen: BTreeSet::new(),
    };
    let mut now = from;
    let mut worklist_last = from;
    while now < until {
        let zone = fleet.sites.values().next().map_or(chrono_tz::Tz::UTC, |site| site.time_zone);
        let due = schedule.next_after(worklist_last, zone).is_some_and(|due| due <= now);
        if due {
            worklist_last = now;
        }
        let next = schedule.next_after(now, zone);
        let times = next.map(|next| WorklistTimes { in_this_round: due, next });
        for site in fleet.sites.values() {
            game.place(site, weather, now, times)?;
        }
        game.played.rounds += 1;
        now += TimeDelta::hours(rules.every_h);
    }
    Ok(game.finish())
}

struct Game<'a> {
    fleet: &'a Fleet,
    catalogue: &'a Catalogue,
    rules: &'a Rules,
    played: Played,
    states: BTreeMap<BoatId, (DateTime<Utc>, BoatState)>,
    open: BTreeMap<BoatId, Alert>,
    closed: BTreeMap<BoatId, Vec<Alert>>,
    frozen: BTreeSet<(BoatId, System, Option<DateTime<Utc>>)>,
}

impl Game<'_> {
    fn state(&mut self, boat: &Boat, events: &[LayupEvent], now: DateTime<Utc>) -> BoatState {
        let fresh = self.states.get(&boat.id).filter(|(at, _)| {
            now - *at < TimeDelta::hours(24)
                && !events.iter().any(|event| event.recorded_at > *at && event.recorded_at <= now)
        });
        if let Some((_, state)) = fresh {
            return state.clone();
        }
        let state = fold(boat, &self.fleet.sites, events, now, now, self.catalogue);
        self.states.insert(boat.id.clone(), (now, state.clone()));
        state
    }

    fn place(
        &mut self,
        site: &Site,
        weather: &dyn Weather,
        now: DateTime<Utc>,
        worklist: Option<WorklistTimes>,
    ) -> Result<(), String> {
        let fleet = self.fleet;
        let mut here = Vec::new();
        for (boat, events) in &fleet.boats {
            let state = self.state(boat, events, now);
            if state.site == site.id {
                here.push((boat, state));
            }
        }
        let Some((issued_at, steps)) = weather.newest(site, now) else { return Ok(()) };
        if here.is_empty() || now - issued_at > TimeDelta::hours(24) {
            return Ok(());
        }
        let hour = crate::app::assess::whole_hour(now);
        let local = place::at_the_place(site, &steps);
        let coming: Vec<Step> =
            local.into_iter().filter(|step| step.time >= hour).take(self.rules.horizon_h).collect();
        let past = self.past(site, weather, hour);
        let lead_h = (hour - issued_at).as_seconds_f64().max(0.0) / 3600.0;
        let paths = Ensemble::draw(
            &coming,
            lead_h,
            &ErrorModel::default(),
            self.rules.members,
            self.rules.seed ^ u64::from(site.id.as_str().bytes().map(u32::from).sum::<u32>()),
        );
        let heat = self.heat(site, now);
        let low = low(&paths, hour, self.rules.horizon_h);
        let (site_here, elsewhere) = (site.clone(), self.elsewhere(&here, weather, hour));
        let view = PlaceWeather { site: site_here, at: hour, past, coming, paths, heat, elsewhere };
        let settings = JudgeSettings {
            horizon_h: self.rules.horizon_h,
            working_hours: self.rules.working_hours,
            ..JudgeSettings::default()
        };
        let mut judge = Judge::new(&view, self.catalogue, settings);
        for (boat, state) in here {
            let rows = judge.boat(boat, &state).map_err(|error| error.to_string())?;
            self.froze(boat, &rows, now);
            self.boat(boat, state, rows, (site, issued_at, low), now, worklist);
        }
        Ok(())
    }

    fn heat(&self, site: &Site, now: DateTime<Utc>) -> Heat {
        if site.kind != SiteKind::IndoorHeated {
            return Heat::default();
        }
        let of_places = self.fleet.boats.iter().flat_map(|(_, events)| events);
        let said: Vec<&LayupEvent> = of_places.filter(|event| event.boat.is_none()).collect();
        Heat::switched(heat_of_place(&site.id, &said, now, now, self.catalogue))
    }

    fn past(&self, site: &Site, weather: &dyn Weather, hour: DateTime<Utc>) -> Vec<Step> {
        let past = weather.past(site, hour - TimeDelta::days(self.rules.past_days), hour);
        place::at_the_place(site, &past)
    }

    /// The past of the places from which the boats have come.
    fn elsewhere(
        &self,
        boats: &[(&Boat, BoatState)],
        weather: &dyn Weather,
        hour: DateTime<Utc>,
    ) -> Arc<BTreeMap<SiteId, PlacePast>> {
        let left: BTreeSet<&SiteId> =
            boats.iter().flat_map(|(_, state)| left_places(state)).collect();
        let past = |site: &Site| PlacePast {
            site: site.clone(),
            past: self.past(site, weather, hour),
            heat: self.heat(site, hour),
        };
        let places = left.into_iter().filter_map(|site| self.fleet.sites.get(site));
        Arc::new(places.map(|site| (site.id.clone(), past(site))).collect())
    }

    /// What has newly gone past its limit: was the owner told in time?
    fn froze(&mut self, boat: &Boat, rows: &[CircuitRisk], now: DateTime<Utc>) {
        for row in rows.iter().filter(|row| row.frozen_now && row.priority > Priority::Notice) {
            let key = (boat.id.clone(), System::of(row), row.since);
            if row.consequence != Consequence::Severe || !self.frozen.insert(key) {
                continue;
            }
            // Learnt of after it had frozen: nobody could have said it before.
            let news = TimeDelta::hours(36);
            let log = self.fleet.boats.iter().find(|(other, _)| other.id == boat.id);
            let learnt = log.is_some_and(|(_, events)| {
                events
                    .iter()
                    .any(|event| event.recorded_at <= now && now - event.recorded_at < news)
            });
            if learnt {
                continue;
            }
            let alerts = self.open.get(&boat.id).into_iter();
            let alerts = alerts.chain(self.closed.get(&boat.id).into_iter().flatten());
            let told = alerts
                .flat_map(|alert| &alert.known)
                .filter(|known| Some(&known.person) == boat.owner.as_ref())
                .filter(|known| known.system == System::of(row) && known.since == row.since)
                .map(|known| known.told_at)
                .min();
            let (boat, circuit) = (boat.id.clone(), row.circuit.clone());
            let frozen = Frozen { at: now, boat, circuit, told };
            if let Some(count) = self.played.froze.get_mut(frozen.slot()) {
                *count += 1;
            }
            self.played.frozen.push(frozen);
        }
    }

    fn boat(
        &mut self,
        boat: &Boat,
        state: BoatState,
        rows: Vec<CircuitRisk>,
        (site, issued_at, low): (&Site, DateTime<Utc>, Option<Low>),
        now: DateTime<Utc>,
        worklist: Option<WorklistTimes>,
    ) {
        let closed = self.closed.get(&boat.id);
        let open = self.open.get(&boat.id).cloned();
        let since = now - TimeDelta::hours(24);
        let own = open.as_ref().map(|alert| alert.id.to_string());
        let recent = self
            .played
            .messages
            .iter()
            .rev()
            .take_while(|message| message.at > since - TimeDelta::hours(24))
            .filter(|message| message.at > since)
            .filter(|message| {
                message.alerts.len() > 1
                    || message.alerts.iter().all(|(id, _)| Some(id) != own.as_ref())
            })
            .map(|message| (message.person.clone(), message.at))
            .collect();
        let mine = |person: &&Person| match person.role {
            Role::Owner => boat.owner.as_ref() == Some(&person.id),
            _ => person.sites.contains(&site.id),
        };
        let situation = Situation {
            heated: false,
            target: Target::Boat { boat: Box::new(boat.clone()), state: Box::new(state), rows },
            site: site.clone(),
            forecast: ForecastState::Fresh,
            service: "replay".into(),
            issued_at: Some(issued_at),
            until: now + TimeDelta::hours(i64::try_from(self.rules.horizon_h).unwrap_or(72)),
            low,
            open,
            known: closed.and_then(|all| all.last()).map(|a| a.known.clone()).unwrap_or_default(),
            worklist,
            episodes_closed: closed.map_or(0, |all| u32::try_from(all.len()).unwrap_or(0)),
            people: self.fleet.people.iter().filter(mine).cloned().collect(),
            recent,
            working_hours: self.rules.working_hours,
            settings: self.rules.alert.clone(),
        };
        let decision: Decision =
            decide(DecisionInput::Outlook(&situation), now).into_iter().collect();
        // What a manager reads on the worklist is no message of its own.
        let told = decision.notifications.iter().flat_map(Notification::advice);
        for advice in told.filter(|advice| !advice.with_worklist) {
            self.heard(advice, boat, now);
        }
        for alert in decision.alerts {
            if alert.closed.is_some() {
                self.open.remove(&boat.id);
                self.closed.entry(boat.id.clone()).or_default().push(alert);
            } else {
                self.open.insert(boat.id.clone(), alert);
            }
        }
    }

    fn heard(&mut self, advice: &Advice, boat: &Boat, now: DateTime<Utc>) {
        let closing = matches!(advice.act, Act::Close { .. });
        let priority = if closing { Priority::Low } else { advice.facts.priority };
        let name = (advice.alert.to_string(), advice.revision);
        if matches!(advice.act, Act::Raise { .. }) && boat.owner.as_ref() == Some(&advice.recipient)
        {
            self.played.raised.entry(boat.id.clone()).or_default().push(now);
        }
        let joined = advice.rollup.is_some().then(|| {
            self.played.messages.iter_mut().rev().take_while(|m| m.at >= now).find(|message| {
                message.at == now
                    && message.person == advice.recipient
                    && !message.alerts.is_empty()
            })
        });
        if let Some(Some(message)) = joined {
            message.alerts.push(name);
            message.notifications.push(advice.clone());
            message.closing &= closing;
            message.priority = message.priority.max(priority);
            return;
        }
        self.played.messages.push(Message {
            at: now,
            person: advice.recipient.clone(),
            alerts: vec![name],
            notifications: vec![advice.clone()],
            closing,
            priority,
        });
    }

    fn finish(mut self) -> Played {
        let open = std::mem::take(&mut self.open).into_values();
        let closed = std::mem::take(&mut self.closed).into_values().flatten();
        self.played.alerts =
            open.chain(closed).filter(|alert| alert.kind == Kind::Freeze).collect();
        for alert in self.played.alerts.iter().filter(|alert| alert.raised_at.is_some()) {
            self.played.episodes += 1;
            let froze = alert.members.iter().any(|member| {
                self.frozen.iter().any(|(boat, system, _)| {
                    Some(boat) == alert.subject.boat() && *system == member.system
                })
            });
            self.played.false_alarms += usize::from(!froze);
            let first =
                alert.told.values().filter_map(|ledger| ledger.sent.first()).map(|s| s.at).min();
            let told =
                alert.told.values().map(|ledger| &ledger.worst).map(|heard| heard.priority).max();
            let danger = alert.decided_on.as_ref().and_then(|facts| facts.first_danger);
            if let (Some(first), Some(told), Some(danger)) = (first, told, danger)
                && told >= Priority::Medium
            {
                self.played.leads_h.push((danger - first).as_seconds_f64() / 3600.0);
            }
            let ends = alert.closed.as_ref().map(|closing| closing.at).zip(alert.raised_at);
            self.played.fleeting +=
                usize::from(ends.is_some_and(|(end, start)| end - start < TimeDelta::hours(3)));
        }
        self.played
    }
}
