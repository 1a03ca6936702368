//! What does not arrive is told to the next contact, whatever keeps it from arriving.

use chrono::TimeDelta;
use rimeward::app::ports::{AlertFilter, OutboxState, Posted};
use rimeward::domain::alert::Alert;

use super::harness::World;
use crate::support::at;
use crate::support::smtp::{Act, At};

const START: &str = "2024-01-10T05:00:00Z";

fn letters_of_kind(world: &World, kind: &str) -> Vec<(String, bool)> {
    let letters = world.house().store.letters(None).unwrap();
    let own = letters.into_iter().filter(|letter| letter.row.kind == kind);
    own.map(|letter| (letter.row.recipient.to_string(), letter.row.closing)).collect()
}

fn alerts(world: &World, kind: &str) -> Vec<Alert> {
    let filter = AlertFilter { kind: Some(kind.into()), ..AlertFilter::default() };
    world.house().store.alerts(&filter).unwrap()
}

fn give_address(world: &World, id: &str, address: Option<&str>) {
    let store = &world.house().store;
    let mut people = store.people().unwrap();
    let person = people.iter_mut().find(|person| person.id.as_str() == id).unwrap();
    person.email = address.map(str::to_owned);
    store.put_yard(&store.sites().unwrap(), &people, &store.boats().unwrap()).unwrap();
}

/// The text of a letter with quoted-printable and folding undone as far as a search needs.
fn words(letter: &Posted) -> String {
    String::from_utf8_lossy(&letter.row.bytes).replace("=\r\n", "").replace("\r\n", " ")
}

fn passed_on(world: &World) -> Vec<Posted> {
    let letters = world.house().store.letters(None).unwrap();
    letters.into_iter().filter(|l| l.row.kind == "unreachable" && !l.row.closing).collect()
}

#[test]
fn an_address_that_takes_no_mail_goes_to_the_next_contact_once() {
    let mut world = World::new(3, at("2024-01-10T05:00:00Z"));
    // Until it shows that the relay takes the others' mail, nobody knows whose fault it is.
    world.relay.refuse("tess.drawbridge@example.com", "550 5.1.1 no such mailbox");
    let address = |world: &World| {
        let letters = world.house().store.letters(None).unwrap();
        letters.iter().any(|letter| letter.fault.as_deref() == Some("address"))
    };
    let until = world.now + TimeDelta::hours(40);
    while world.now < until && !address(&world) {
        world.run(TimeDelta::minutes(5));
    }
    world.relay.refuse_nobody();
    world.run(until - world.now);
    let letters = world.house().store.letters(None).unwrap();
    let failed: Vec<_> =
        letters.iter().filter(|letter| letter.fault.as_deref() == Some("address")).collect();
    assert_eq!(failed.len(), 1, "the first letter of the winter was refused");
    let told: Vec<_> =
        letters.iter().filter(|l| l.row.kind == "unreachable" && !l.row.closing).collect();
    let readers: Vec<String> = told.iter().map(|l| l.row.recipient.to_string()).collect();
    let refused = failed[0].row.recipient.as_str();
    assert!(!readers.contains(&refused.to_owned()), "{readers:?}");
    assert!(readers.contains(&"P54".to_owned()), "the operator: {readers:?}");
    for letter in &told {
        let text = String::from_utf8_lossy(&letter.row.bytes).into_owned();
        assert!(text.contains("no such mailbox"), "{text}");
        assert!(world.relay.received().iter().any(|m| m.bytes == letter.row.bytes));
    }
    let count = told.len();
    let of_kind = AlertFilter { kind: Some("unreachable".into()), ..AlertFilter::default() };
    let raised = world.house().store.alert_records(&of_kind).unwrap();
    assert_eq!(raised.len(), 1, "one alert about the person");
    assert_eq!(raised[0].id, format!("unreachable-{refused}-1"));
    // Only the first letter was refused, the next one arrived: everybody told hears that it is over, once.
    world.run(TimeDelta::hours(30));
    let all = letters_of_kind(&world, "unreachable");
    let closing = all.iter().filter(|(_, closing)| *closing).count();
    assert_eq!(
        (all.len() - closing, closing),
        (count, count),
        "told once, and once that it is over"
    );
    assert!(!world.house().store.alert_records(&of_kind).unwrap()[0].open);
}

#[test]
fn an_owner_without_an_address_is_no_silence() {
    let mut world = World::new(3, at(START));
    give_address(&world, "P02", None);
    world.run(TimeDelta::hours(40));
    let letters = world.house().store.letters(None).unwrap();
    let own: Vec<&Posted> = letters.iter().filter(|l| l.row.recipient.as_str() == "P02").collect();
    assert!(!own.is_empty(), "the danger was meant for the owner");
    for letter in &own {
        assert_eq!((letter.state, letter.fault.as_deref()), (OutboxState::Failed, Some("address")));
        assert_eq!(letter.answer.as_deref(), Some("no mail address is listed"));
        assert_eq!(letter.attempts, 0, "nothing was tried");
    }
    let told = passed_on(&world);
    let readers: Vec<&str> = told.iter().map(|letter| letter.row.recipient.as_str()).collect();
    assert!(readers.contains(&"P51") && readers.contains(&"P54"), "{readers:?}");
    let text = words(&told[0]);
    // Whom to call, where, about what.
    assert!(told[0].row.subject.starts_with("Call Tess Drawbridge"), "{}", told[0].row.subject);
    assert!(text.contains("207-555-0102") && text.contains("no mail address is listed"), "{text}");
    assert!(text.contains(own[0].row.subject.get(..20).unwrap()), "{text}");
    let raised = alerts(&world, "unreachable");
    assert!(raised.len() == 1 && raised[0].closed.is_none(), "{raised:?}");
    // An address is given: the next contacts hear that it is over, and she hears of the danger that still is.
    let open = alerts(&world, "freeze").iter().any(Alert::is_raised);
    give_address(&world, "P02", Some("tess@example.com"));
    world.run(TimeDelta::hours(4));
    assert!(alerts(&world, "unreachable")[0].closed.is_some());
    let closings = letters_of_kind(&world, "unreachable");
    let closings: Vec<&str> = closings.iter().filter(|l| l.1).map(|l| l.0.as_str()).collect();
    assert_eq!(closings, ["P51", "P54"]);
    let got = world.relay.received().iter().filter(|m| m.to == "tess@example.com").count();
    assert!(open, "this seed has a spell that lasts");
    assert!(got >= 1, "told anew at the address that works");
}

#[test]
fn a_server_that_refuses_what_we_say_is_tried_on_and_the_next_contact_hears_at_once() {
    let mut world = World::new(3, at(START));
    world.relay.refuse("tess.drawbridge@example.com", "554 5.7.1 content rejected");
    world.run(TimeDelta::hours(9));
    let letters = world.house().store.letters(None).unwrap();
    let own: Vec<&Posted> = letters.iter().filter(|l| l.row.recipient.as_str() == "P02").collect();
    let first = own.first().unwrap();
    assert!(own.iter().all(|l| l.state != OutboxState::Sent && l.state != OutboxState::Failed));
    assert!(own.iter().any(|l| l.attempts > 5), "tried while it matters: {}", first.attempts);
    let told = passed_on(&world);
    let delay = told[0].row.queued_at - first.row.due_at;
    assert!(delay <= TimeDelta::minutes(2), "{delay}");
    assert!(words(&told[0]).contains("refuses our letters"), "{}", words(&told[0]));
    // Tried on for hours, it is told once for each letter that did not arrive, not for each attempt.
    let contact = told.iter().filter(|l| l.row.recipient.as_str() == "P51").count();
    assert!(contact <= own.len(), "{contact} letters about {}", own.len());
    world.relay.refuse_nobody();
    world.run(TimeDelta::hours(4));
    assert!(alerts(&world, "unreachable").iter().all(|alert| alert.closed.is_some()));
}

#[test]
fn the_next_danger_that_does_not_arrive_is_passed_on_too() {
    let mut world = World::new(2, at(START));
    world.relay.refuse("tess.drawbridge@example.com", "550 5.1.1 no such mailbox");
    world.run(TimeDelta::days(3));
    let letters = world.house().store.letters(None).unwrap();
    let meant_for = |l: &Posted| l.row.recipient.as_str() == "P02" && l.row.kind == "freeze";
    let dangers: Vec<&Posted> = letters.iter().filter(|l| meant_for(l) && !l.row.closing).collect();
    assert!(dangers.len() >= 2, "{} dangers in three days", dangers.len());
    let told: String = passed_on(&world)
        .iter()
        .filter(|letter| letter.row.recipient.as_str() == "P51")
        .map(words)
        .collect();
    for letter in dangers {
        let start: String = letter.row.subject.chars().take(24).collect();
        assert!(told.contains(&start), "{start} is not in {told}");
    }
    assert_eq!(alerts(&world, "unreachable").len(), 1, "one alert, with revisions");
}

#[test]
fn what_expired_while_nothing_ran_is_told_anew_while_it_still_holds() {
    let mut world = World::new(3, at(START));
    world.relay.always(Some((At::Greeting, Act::Drop)));
    world.run(TimeDelta::hours(9));
    let open =
        || alerts(&world, "freeze").iter().any(|alert| alert.told.contains_key(&"P02".into()));
    assert!(open(), "meant for the owner");
    assert!(world.relay.received().is_empty());
    // The machine is off for longer than any letter keeps.
    world.sleep(TimeDelta::days(5));
    world.relay.always(None);
    world.run(TimeDelta::hours(8));
    let alert = alerts(&world, "freeze").into_iter().find(|alert| alert.closed.is_none());
    let got: Vec<_> = world
        .relay
        .received()
        .iter()
        .filter(|message| message.to == "tess.drawbridge@example.com")
        .map(|message| String::from_utf8_lossy(&message.bytes).into_owned())
        .collect();
    assert!(alert.is_none() || !got.is_empty(), "an alert stands and its owner has no word of it");
    assert!(!got.is_empty(), "this seed's danger lasts or has passed: either is told");
}

#[test]
fn a_letter_that_waits_goes_to_the_address_that_is_listed_now() {
    let mut world = World::new(3, at(START));
    world.relay.refuse("tess.drawbridge@example.com", "451 4.7.1 not yet");
    world.run(TimeDelta::hours(8));
    assert!(world.relay.received().iter().all(|m| m.to != "tess@example.com"));
    give_address(&world, "P02", Some("tess@example.com"));
    world.run(TimeDelta::hours(4));
    let got: Vec<_> =
        world.relay.received().into_iter().filter(|m| m.to == "tess@example.com").collect();
    assert!(!got.is_empty(), "within hours, not when the old letter expires");
    let text = String::from_utf8_lossy(&got[0].bytes).into_owned();
    assert!(text.contains("<tess@example.com>") && !text.contains("tess.drawbridge"), "{text}");
}
