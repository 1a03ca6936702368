//! Kind `blind`, and what it does to the rest.

use rimeward::domain::alert::{Act, Flat, Kind, Target};
use rimeward::domain::weather::ForecastState;

use super::world::{World, at};

#[test]
fn blind_is_told_once_and_ends_once() {
    let mut world = World::new(Target::Site { standing: Vec::new() });
    assert!(world.round(at(10, 12)).notifications.is_empty(), "we can see");
    world.situation.forecast = ForecastState::Blind;
    let raised = world.round(at(11, 12));
    let who: Vec<&str> = raised.notifications.iter().map(|t| t.recipient.as_str()).collect();
    assert_eq!(who, ["P51", "P54"], "nobody stands on our advice, so no owner is told");
    assert!(raised.notifications.iter().all(|t| t.kind == Kind::Blind && t.rollup.is_some()));
    assert!(world.round(at(11, 18)).notifications.is_empty());
    world.situation.forecast = ForecastState::Degraded;
    let closed = world.round(at(12, 6));
    assert_eq!(closed.notifications.len(), 2);
    assert!(closed.notifications.iter().all(|t| matches!(t.act, Act::Close { .. })));
    world.round(at(13, 7));
    assert_eq!(world.alerts[0].flat(), Flat::Closed);
}

#[test]
fn blind_before_the_first_forecast_is_blind_too() {
    let mut world = World::new(Target::Site { standing: Vec::new() });
    world.situation.forecast = ForecastState::Blind;
    world.situation.issued_at = None;
    assert_eq!(world.round(at(10, 12)).notifications.len(), 2);
}
