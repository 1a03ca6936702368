//! The polite client against the stand-in of the demonstration, on a virtual clock.

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::weather::Place;
use rimeward::adapters::weather::client::{Client, ClientSettings, FetchState, Outcome, Service};
use rimeward::sim::demo::stand_in::{StandIn, Trouble};

use super::issues::first_winter;

fn client(stand_in: &StandIn) -> Client {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = ClientSettings {
        base: stand_in.base().to_owned(),
        contact: "harbour@example.org".to_owned(),
        deadline: Duration::from_secs(10),
    };
    Client::new(Service::NwsGridpoint, &settings).unwrap()
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[tokio::test]
async fn a_month_of_rounds_sees_every_issue_once() {
    let issues = first_winter();
    let start = at("2022-11-01T00:00:00Z");
    let stand_in = StandIn::start(issues.clone(), start).await.unwrap();
    let client = client(&stand_in);
    let place: Place = "44.29,-69.25".parse().unwrap();
    let index = issues.winter().cell_at(44.29, -69.25).unwrap();
    let (mut state, mut stored) = (FetchState::default(), None);
    let (mut fresh, mut kept, mut now) = (Vec::new(), 0, start);
    let began = Instant::now();
    while now < start + TimeDelta::days(30) {
        stand_in.set_now(now);
        match client.fetch(place, stored, &mut state, now).await {
            Outcome::Fresh(forecast, _) => {
                assert_eq!(forecast.warnings, Vec::<String>::new());
                stored = Some(forecast.issued_at);
                fresh.push(forecast.issued_at);
            }
            Outcome::NotModified => kept += 1,
            other => panic!("{now}: {other:?}"),
        }
        now += TimeDelta::minutes(60);
    }
    let requests = stand_in.requests();
    println!("{requests} requests in {:?}: {} fresh, {kept} kept", began.elapsed(), fresh.len());
    let expect: Vec<_> = (issues.round_instants(index).iter().copied())
        .filter(|t| *t > fresh[0] && *t <= now - TimeDelta::minutes(60))
        .collect();
    assert_eq!(fresh[1..], expect);
    assert_eq!(usize::try_from(requests).unwrap(), 720 + 30, "the cell is asked once a day");
}

#[tokio::test]
async fn switches_make_it_misbehave() {
    let issues = first_winter();
    let now = at("2022-12-01T00:00:00Z");
    let stand_in = StandIn::start(issues, now).await.unwrap();
    let client = client(&stand_in);
    let place: Place = "44.8,-68.78".parse().unwrap();
    stand_in.set_trouble(Trouble::Unavailable);
    let outcome = client.fetch(place, None, &mut FetchState::default(), now).await;
    assert!(matches!(outcome, Outcome::Transient { .. }), "{outcome:?}");
    stand_in.set_trouble(Trouble::GridNotFound);
    let outcome = client.fetch(place, None, &mut FetchState::default(), now).await;
    assert!(matches!(outcome, Outcome::Permanent { .. }), "{outcome:?}");
    stand_in.set_trouble(Trouble::None);
    let outcome = client.fetch(place, None, &mut FetchState::default(), now).await;
    assert!(matches!(outcome, Outcome::Fresh(..)), "{outcome:?}");
    let sea: Place = "40,-60".parse().unwrap();
    let outcome = client.fetch(sea, None, &mut FetchState::default(), now).await;
    let Outcome::Permanent { why } = outcome else { panic!("{outcome:?}") };
    assert!(why.contains("40,-60"), "{why}");
}
