//! What must never break, looked at after every activation and at the end.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::app::assess::outlook::standings_of;
use rimeward::app::assess::{AsOf, assess};
use rimeward::app::context::AppContext;
use rimeward::app::ports::*;
use rimeward::domain::alert::{Alert, AlertSettings, Kind};
use rimeward::domain::boat::SiteId;
use rimeward::domain::risk::Priority;
use rimeward::domain::weather::ForecastState;

use crate::support::smtp::SmtpServer;

/// Blindness is noticed within this time of its limit.
const NOTICED_WITHIN: TimeDelta = TimeDelta::minutes(15);
/// Episodes of one boat do not follow each other faster; clocks that step by hours are allowed for.
const EPISODES_APART: TimeDelta = TimeDelta::hours(3);

#[derive(Default)]
pub struct Checks {
    /// Until then nobody was there to notice anything.
    away_until: Option<DateTime<Utc>>,
    /// Messages that the relay took without saying so.
    pub lost_replies: usize,
    looked_on: Option<DateTime<Utc>>,
    /// Boats that were over their limit a day ago.
    over: BTreeSet<String>,
    /// The longest that blindness went unnoticed, for the record.
    pub slowest_notice: TimeDelta,
    blind_told: BTreeSet<String>,
    /// Looks at the whole yard.
    pub looks: usize,
}

impl Checks {
    pub fn was_away(&mut self, now: DateTime<Utc>) {
        self.away_until = Some(now);
        self.over.clear();
    }

    pub fn after(
        &mut self,
        judged: bool,
        house: &AppContext,
        relay: &SmtpServer,
        now: DateTime<Utc>,
        clock: DateTime<Utc>,
    ) {
        self.blindness_is_noticed(house, now, clock);
        // The loop that judges has nothing left to do: whoever is over the limit must stand in an alert.
        if judged && self.looked_on.is_none_or(|at| now - at >= TimeDelta::hours(24)) {
            self.looked_on = Some(now);
            self.looks += 1;
            self.no_boat_is_passed_over(house, clock);
            same_id_same_bytes(relay);
        }
    }

    fn blindness_is_noticed(
        &mut self,
        house: &AppContext,
        now: DateTime<Utc>,
        clock: DateTime<Utc>,
    ) {
        let site = SiteId::from("UPPER");
        let standing = standings_of(house.forecasts(), &site, AsOf::now(clock)).unwrap()[0];
        let limits = house.settings.forecast.limits;
        if limits.state(&standing, clock) != ForecastState::Blind {
            return;
        }
        let since = limits.blind_from(&standing).map_or(now, |limit| now - (clock - limit));
        let since = since.max(self.away_until.unwrap_or(since));
        let open = house.store.open_alerts().unwrap();
        let told = open.iter().find(|alert| alert.kind == Kind::Blind && alert.revision > 0);
        match told {
            Some(alert) => {
                if self.blind_told.insert(alert.id.to_string()) {
                    self.slowest_notice = self.slowest_notice.max(now - since);
                }
            }
            None => assert!(
                now - since <= NOTICED_WITHIN,
                "blind since {since}, now {now}, and nobody is told"
            ),
        }
    }

    /// No silence: a boat far over its limit has an alert, and a day later a raised one.
    fn no_boat_is_passed_over(&mut self, house: &AppContext, clock: DateTime<Utc>) {
        let seen = assess(house, AsOf::now(clock), |_| true).unwrap();
        let blind = seen.is_blind();
        let settings = AlertSettings::default();
        let open: Vec<Alert> = open_freeze(house);
        let mut over = BTreeSet::new();
        for view in &seen.boats {
            let far = view.rows.iter().any(|row| {
                let on = settings.threshold(row.consequence).on;
                row.priority > Priority::Notice && row.chance_limit >= (on + 0.1).min(1.0)
            });
            if !far || blind {
                continue;
            }
            let id = view.boat.id.to_string();
            let own = open.iter().find(|alert| alert.subject.as_str() == id).cloned();
            // Closed by the last look with a word to everybody: the next look opens the next episode.
            let alert = own
                .or_else(|| just_closed(house, &id, clock))
                .unwrap_or_else(|| panic!("{id} is over its limit at {clock}: no alert"));
            if self.over.contains(&id) {
                // What is frozen through and was told before is not told a second time: it stands on the worklist.
                let heard = alert.raised_at.is_some() || !alert.known.is_empty();
                assert!(heard, "{id}: over for a day at {clock}, nobody told");
            }
            over.insert(id);
        }
        self.over = over;
    }

    pub fn at_the_end(&self, house: &AppContext, relay: &SmtpServer, now: DateTime<Utc>) {
        house.store.full_check().unwrap();
        let letters = house.store.letters(None).unwrap();
        every_letter_has_an_end(&letters, now);
        self.what_was_sent_arrived(&letters, relay);
        alerts_tell_and_close(&*house.store, &letters);
        decided_on_what_could_be_seen(house);
    }

    fn what_was_sent_arrived(&self, letters: &[Posted], relay: &SmtpServer) {
        let copies = same_id_same_bytes(relay);
        let known: BTreeMap<&str, &Posted> =
            letters.iter().map(|letter| (letter.row.message_id.as_str(), letter)).collect();
        let mut repeats = 0;
        for (id, (count, bytes)) in &copies {
            let letter = known.get(id.as_str()).unwrap_or_else(|| panic!("{id}: never queued"));
            assert_eq!(&letter.row.bytes, bytes, "{id}: other bytes than the outbox holds");
            repeats += count - 1;
        }
        assert!(
            repeats <= self.lost_replies,
            "{repeats} repeats, {} lost replies",
            self.lost_replies
        );
        for letter in letters.iter().filter(|letter| letter.state == OutboxState::Sent) {
            let id = &letter.row.message_id;
            assert!(copies.contains_key(id), "{id}: marked as sent, never received");
        }
    }
}

/// The alert about a boat that was closed within the longest time between two looks.
fn just_closed(house: &AppContext, boat: &str, clock: DateTime<Utc>) -> Option<Alert> {
    let filter = AlertFilter {
        open: Some(false),
        kind: Some("freeze".to_owned()),
        boat: Some(boat.into()),
        site: None,
    };
    let last = house.store.alerts(&filter).unwrap().pop()?;
    let closed_at = last.closed.as_ref().map(|closing| closing.at);
    closed_at.is_some_and(|at| clock - at <= TimeDelta::hours(3)).then_some(last)
}

fn open_freeze(house: &AppContext) -> Vec<Alert> {
    let open = house.store.open_alerts().unwrap();
    open.into_iter().filter(|alert| alert.kind == Kind::Freeze).collect()
}

/// What the relay took over, by Message-ID: how often, and the bytes, which are the same each time.
pub fn same_id_same_bytes(relay: &SmtpServer) -> BTreeMap<String, (usize, Vec<u8>)> {
    let mut copies: BTreeMap<String, (usize, Vec<u8>)> = BTreeMap::new();
    for message in relay.received().into_iter().filter(|message| message.accepted) {
        let id = message_id(&message.bytes);
        let entry = copies.entry(id.clone()).or_insert_with(|| (0, message.bytes.clone()));
        entry.0 += 1;
        assert_eq!(entry.1, message.bytes, "{id}: a repeat with other bytes");
    }
    copies
}

pub fn message_id(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let line = text.lines().find(|line| line.to_ascii_lowercase().starts_with("message-id:"));
    let line = line.expect("every message has an id");
    line.split(['<', '>']).nth(1).unwrap().to_owned()
}

fn every_letter_has_an_end(letters: &[Posted], now: DateTime<Utc>) {
    for letter in letters {
        let ended = match letter.state {
            OutboxState::Sent => true,
            OutboxState::Expired | OutboxState::Superseded | OutboxState::Failed => {
                letter.answer.is_some()
            }
            // Held until the morning.
            OutboxState::Queued | OutboxState::Deferred => letter.row.due_at > now,
            OutboxState::Leased => false,
        };
        assert!(ended, "{} to {}: {:?}", letter.row.alert, letter.row.recipient, letter.state);
        assert_ne!(letter.state, OutboxState::Failed, "{:?}", letter.answer);
    }
}

/// Each telling has its letter; who was told of a danger that has ended waits for no word any more; no chattering.
pub fn alerts_tell_and_close(store: &dyn AppStore, letters: &[Posted]) {
    let keys: BTreeSet<(String, u32, String)> = letters
        .iter()
        .map(|l| (l.row.alert.clone(), l.row.revision, l.row.recipient.to_string()))
        .collect();
    let mut raised: BTreeMap<String, DateTime<Utc>> = BTreeMap::new();
    for alert in store.alerts(&AlertFilter::default()).unwrap() {
        for (person, ledger) in &alert.told {
            if alert.closed.is_some() {
                assert!(!ledger.awaits_closing, "{}: {person} never heard the end", alert.id);
            }
            for sent in &ledger.sent {
                let own = (alert.id.to_string(), sent.revision, person.to_string());
                let rolled = format!("rollup-{person}-{}", sent.at.timestamp());
                let found = keys.contains(&own) || keys.contains(&(rolled, 1, person.to_string()));
                // A manager hears of an end in the next worklist.
                let listed = letters.iter().any(|letter| {
                    letter.row.kind == "worklist"
                        && letter.row.recipient == *person
                        && letter.row.queued_at >= sent.at
                });
                assert!(found || listed, "{} {}: no letter to {person}", alert.id, sent.revision);
            }
        }
        let Some(at) = alert.raised_at else { continue };
        let subject = format!("{} {}", alert.kind.as_str(), alert.subject.as_str());
        if let Some(before) = raised.insert(subject, at) {
            assert!(
                (at - before).abs() >= EPISODES_APART,
                "{}: raised at {before} and {at}",
                alert.id
            );
        }
    }
}

/// Nothing is let go on a forecast older than its limit.
fn decided_on_what_could_be_seen(house: &AppContext) {
    let blind_h = TimeDelta::hours(24);
    for record in house.store.alert_records(&AlertFilter::default()).unwrap() {
        if record.kind != "freeze" {
            continue;
        }
        for row in house.store.transitions(&record.id).unwrap() {
            let transition = &row.decided_on["transition"];
            // A move from a state to itself notes that nothing can be seen and the state is kept.
            if transition["to"] != "RTN" || transition["from"] == "RTN" {
                continue;
            }
            let issue: DateTime<Utc> = transition["issue"].as_str().unwrap().parse().unwrap();
            assert!(row.at - issue <= blind_h, "{}: let go at {} on {issue}", record.id, row.at);
        }
    }
}
