//! From the outbox to the server, fault by fault.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::adapters::delivery::{Channel, Maildir, Relay, RelaySettings, to_bytes};
use rimeward::adapters::sqlite::Store;
use rimeward::app::notify::deliver::{DeliverReport, Limits, deliver_due};
use rimeward::app::ports::*;
use rimeward::domain::message::Email;

use super::mime::letter as mail;
use super::{relay, wait_for};
use crate::store::letter;
use crate::support::smtp::{Act, At, SmtpServer};
use crate::support::{TempDir, at};

const NOON: &str = "2023-02-02T12:00:00Z";
const PATIENCE: Patience = Patience { urgent: TimeDelta::minutes(30), other: TimeDelta::hours(4) };

fn queue(store: &Store, letters: Vec<OutboxRow>) {
    store.commit_round(&RoundCommit { letters, ..RoundCommit::default() }).unwrap();
}

fn pass(store: &Store, settings: RelaySettings, now: DateTime<Utc>) -> DeliverReport {
    let mut channel = Channel::Smtp(Box::new(Relay::new(settings).unwrap()));
    wait_for(deliver_due(store, &mut channel, now, &Limits::default())).unwrap()
}

fn one_letter() -> Store {
    let store = Store::open_in_memory().unwrap();
    let bytes = to_bytes(&mail()).unwrap();
    queue(&store, vec![OutboxRow { bytes, ..letter("a", 1, "P02") }]);
    store
}

/// One fault, then a server in good order: where the letter stands after the first pass, and that it arrives once the
/// fault is gone, with the same bytes.
fn check(at_place: At, act: Act, state: OutboxState, fault: Option<&str>) {
    let store = one_letter();
    let server = SmtpServer::start(&[(at_place, act)]);
    let settings = RelaySettings { deadline: Duration::from_millis(300), ..relay(server.port) };
    let report = pass(&store, settings.clone(), at(NOON));
    let posted = store.letters(None).unwrap().remove(0);
    let what = format!("{at_place:?} {act:?}: {:?}", posted.answer);
    assert_eq!((posted.state, posted.fault.as_deref()), (state, fault), "{what}");
    assert_eq!(report.failed + report.deferred, 1, "{what}");
    let before = server.received().len();
    // What may have been accepted goes again late and seldom.
    let unknown = at_place == At::Dot && !matches!(act, Act::Reply(_));
    let least = TimeDelta::seconds(48) + TimeDelta::minutes(if unknown { 30 } else { 0 });
    let most = least + TimeDelta::seconds(25);
    let later = pass(&store, settings, at(NOON) + most);
    if state == OutboxState::Deferred {
        let wait = posted.row.due_at - at(NOON);
        assert!(wait >= least && wait <= most, "{wait}");
        assert_eq!(later.sent, 1, "{what}");
        let received = server.received();
        assert_eq!(received.len(), before + 1);
        let last = &received.last().unwrap().bytes;
        assert!(received.iter().all(|found| found.bytes == *last), "other bytes: {what}");
        let id = format!("Message-ID: <{}>\r\n", mail().message_id);
        assert!(String::from_utf8_lossy(last).contains(&id));
    } else {
        assert_eq!((later, server.received().len()), (DeliverReport::default(), before), "{what}");
    }
}

#[test]
fn every_fault_ends_in_its_state() {
    use OutboxState::Deferred;
    for (place, act, state, fault) in [
        (At::Greeting, Act::Reply("421 4.3.2 not now"), Deferred, None),
        (At::Greeting, Act::Reply("554 no service here"), Deferred, None),
        (At::Greeting, Act::Drop, Deferred, None),
        (At::Greeting, Act::Stall, Deferred, None),
        (At::Mail, Act::Reply("421 4.3.2 shutting down"), Deferred, None),
        (At::Mail, Act::Reply("451 4.3.0 local trouble"), Deferred, None),
        (At::Mail, Act::Drop, Deferred, None),
        (At::Rcpt, Act::Reply("450 4.2.1 busy"), Deferred, None),
        (At::Rcpt, Act::Reply("452 4.2.2 over quota"), Deferred, None),
        (At::Rcpt, Act::Reply("552 5.2.2 mailbox full"), Deferred, None),
        (At::Rcpt, Act::Stall, Deferred, None),
        (At::Data, Act::Reply("451 4.3.0 local trouble"), Deferred, None),
        (At::Dot, Act::Reply("451 4.3.0 local trouble"), Deferred, None),
        (At::Dot, Act::Drop, Deferred, None),
        (At::Dot, Act::Stall, Deferred, None),
        // Of a relay that takes nothing else nobody knows whose fault that is.
        (At::Rcpt, Act::Reply("550 5.1.1 user unknown"), Deferred, Some("policy")),
        (At::Rcpt, Act::Reply("550-5.1.1 user\r\n550 5.1.1 unknown"), Deferred, Some("policy")),
        (At::Rcpt, Act::Reply("554 5.7.1 relay access denied"), Deferred, Some("policy")),
        (At::Dot, Act::Reply("554 5.6.0 bad content"), Deferred, Some("other")),
    ] {
        check(place, act, state, fault);
    }
}

/// The letter as the outbox would hold it: HTML beside the text, one Message-ID in the row and in the bytes.
fn one_letter_with_html() -> Store {
    let store = Store::open_in_memory().unwrap();
    let mail = Email { html: Some("<p>Drain her by Thu 18:00.</p>".repeat(200)), ..mail() };
    let bytes = to_bytes(&mail).unwrap();
    let message_id = mail.message_id;
    queue(&store, vec![OutboxRow { bytes, message_id, ..letter("a", 1, "P02") }]);
    store
}

#[test]
fn a_letter_too_big_for_the_server_goes_as_plain_text_under_an_id_of_its_own() {
    let store = one_letter_with_html();
    let whole = store.letters(None).unwrap().remove(0).row;
    let server = SmtpServer::start(&[(At::Dot, Act::Reply("552 5.3.4 too big"))]);
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.sent, report.deferred, report.rejected.len()), (1, 1, 0));
    let sent = store.letters(None).unwrap().remove(0);
    assert_eq!(sent.state, OutboxState::Sent);
    let text = String::from_utf8(server.received().last().unwrap().bytes.clone()).unwrap();
    assert!(text.contains("Content-Type: text/plain") && !text.contains("text/html"), "{text}");
    assert!(
        text.contains("Subject: ") && text.contains("Auto-Submitted: auto-generated"),
        "{text}"
    );
    assert!(!text.contains("\r\n--=_"), "no trace of the parts: {text}");
    let (old, new) = (whole.message_id, sent.row.message_id);
    assert!(old != new && text.contains(&format!("Message-ID: <{new}>\r\n")), "{text}");
    assert!(sent.row.return_path.contains(new.split('@').next().unwrap()));
}

#[test]
fn what_is_too_big_even_as_plain_text_is_tried_on_and_named() {
    let store = one_letter_with_html();
    let server = SmtpServer::start(&[]);
    server.always(Some((At::Dot, Act::Reply("552 5.3.4 too big"))));
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.sent, report.rejected.len()), (0, 1));
    let posted = store.letters(None).unwrap().remove(0);
    assert_eq!((posted.state, posted.fault.as_deref()), (OutboxState::Deferred, Some("size")));
    let late = store.undelivered(PATIENCE, at(NOON)).unwrap();
    assert_eq!((late.len(), late[0].cause), (1, Cause::Size));
}

#[test]
fn a_letter_that_waits_at_a_relay_that_takes_others_is_named_after_its_time() {
    let store = Store::open_in_memory().unwrap();
    let urgent = OutboxRow { urgent: true, ..letter("a", 1, "P02") };
    queue(&store, vec![urgent, letter("b", 1, "P03")]);
    let grey = (At::Rcpt, Act::Reply("450 4.7.1 not yet"));
    let server = SmtpServer::start(&[grey]);
    pass(&store, relay(server.port), at(NOON));
    // The other letter went at the same time; only one sent after the first attempt shows that the relay works.
    queue(&store, vec![letter("c", 1, "P03")]);
    let later = at("2023-02-02T12:00:30Z");
    let report = pass(&store, relay(server.port), later);
    assert_eq!(report.sent, 1);
    let at_half_past = at("2023-02-02T12:30:00Z");
    assert!(store.undelivered(PATIENCE, at("2023-02-02T12:29:59Z")).unwrap().is_empty(), "not yet");
    let late = store.undelivered(PATIENCE, at_half_past).unwrap();
    assert_eq!((late.len(), late[0].cause, late[0].urgent), (1, Cause::Waits, true));
    assert_eq!(late[0].recipient, "P02".into());
    assert_eq!(store.next_overdue(PATIENCE, at(NOON)).unwrap(), Some(at_half_past));
    assert_eq!(store.next_overdue(PATIENCE, at_half_past).unwrap(), None);
}

#[test]
fn a_repeat_after_a_lost_answer_is_the_only_one() {
    let store = one_letter();
    let server = SmtpServer::start(&[(At::Dot, Act::Drop)]);
    pass(&store, relay(server.port), at(NOON));
    pass(&store, relay(server.port), at("2023-02-02T12:02:00Z"));
    pass(&store, relay(server.port), at("2023-02-02T13:00:00Z"));
    let accepted = server.received();
    assert_eq!(accepted.len(), 2);
    assert!(accepted.iter().all(|found| found.accepted));
    assert_eq!(accepted[0], accepted[1]);
}

#[test]
fn a_bad_address_is_named_for_the_next_contact() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02"), letter("a", 1, "P03")]);
    let server = SmtpServer::start(&[(At::Rcpt, Act::Reply("550 5.1.1 user unknown"))]);
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.sent, report.failed), (1, 1));
    assert_eq!(report.refused[0].recipient, "P02".into());
    let late = store.undelivered(PATIENCE, at(NOON)).unwrap();
    assert_eq!((late[0].address.as_str(), late[0].cause), ("p02@example.org", Cause::Address));
}

/// A list of users that is lost leaves an alias or two that work.
#[test]
fn a_relay_that_refuses_more_than_it_takes_is_at_fault_itself() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, vec![letter("a", 1, "P02")]);
    let server = SmtpServer::start(&[]);
    assert_eq!(pass(&store, relay(server.port), at(NOON)).sent, 1);
    let people = ["P03", "P04", "P05", "P06"];
    queue(&store, people.map(|person| letter("a", 1, person)).to_vec());
    server.always(Some((At::Rcpt, Act::Reply("550 5.1.1 user unknown"))));
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.failed, report.deferred), (0, 4), "{report:?}");
    server.always(None);
    let report = pass(&store, relay(server.port), at("2023-02-02T13:00:00Z"));
    assert_eq!(report.sent, 4);
}

#[test]
fn a_relay_that_refuses_everybody_is_at_fault_and_nobody_is_given_up() {
    for words in ["550 relay not permitted", "550 5.1.1 user unknown"] {
        let store = Store::open_in_memory().unwrap();
        let people = ["P02", "P03", "P04", "P05"];
        queue(&store, people.map(|person| letter("a", 1, person)).to_vec());
        let server = SmtpServer::start(&[]);
        server.always(Some((At::Rcpt, Act::Reply(words))));
        let report = pass(&store, relay(server.port), at(NOON));
        assert_eq!((report.failed, report.deferred), (0, 4), "{words}");
        assert!(report.is_trouble() && report.refused.is_empty(), "{words}: {report:?}");
        // One by one as well, as they come due.
        for minute in [1, 2, 5, 9, 20, 40] {
            let report = pass(&store, relay(server.port), at(NOON) + TimeDelta::minutes(minute));
            assert_eq!(report.failed, 0, "{words}, after {minute} minutes");
        }
        server.always(None);
        assert_eq!(pass(&store, relay(server.port), at("2023-02-02T13:30:00Z")).sent, 4, "{words}");
    }
}

#[test]
fn a_relay_that_takes_its_time_over_the_message_is_waited_for_and_gets_it_once() {
    let store = one_letter();
    let server = SmtpServer::start(&[(At::Dot, Act::Late(500))]);
    let settings = RelaySettings {
        deadline: Duration::from_millis(200),
        accept_deadline: Duration::from_secs(5),
        ..relay(server.port)
    };
    assert_eq!(pass(&store, settings.clone(), at(NOON)).sent, 1);
    assert_eq!(pass(&store, settings, at("2023-02-02T13:00:00Z")), DeliverReport::default());
    assert_eq!(server.received().len(), 1);
}

#[test]
fn a_letter_whose_outcome_stays_unknown_goes_three_times_and_no_more() {
    let store = Store::open_in_memory().unwrap();
    let expires_at = at("2023-02-06T12:00:00Z");
    queue(&store, vec![OutboxRow { expires_at, ..letter("a", 1, "P02") }]);
    let server = SmtpServer::start(&[]);
    server.always(Some((At::Dot, Act::Drop)));
    for hour in 0..24 {
        let now = at(NOON) + TimeDelta::hours(hour);
        assert!(hour > 2 || pass(&store, relay(server.port), now).is_trouble(), "{hour}");
        pass(&store, relay(server.port), now + TimeDelta::minutes(20));
    }
    assert_eq!(server.received().len(), 3);
    let posted = store.letters(None).unwrap().remove(0);
    assert_eq!((posted.state, posted.fault.as_deref()), (OutboxState::Failed, Some("other")));
}

#[test]
fn other_answers_in_between_do_not_start_the_count_anew() {
    let store = Store::open_in_memory().unwrap();
    let expires_at = at("2023-02-06T12:00:00Z");
    queue(&store, vec![OutboxRow { expires_at, ..letter("a", 1, "P02") }]);
    let server = SmtpServer::start(&[]);
    for hour in 0..24 {
        let lost = hour % 2 == 0;
        let act =
            if lost { (At::Dot, Act::Drop) } else { (At::Mail, Act::Reply("451 4.3.0 later")) };
        server.always(Some(act));
        pass(&store, relay(server.port), at(NOON) + TimeDelta::hours(hour));
    }
    assert_eq!(server.received().len(), 3);
}

#[test]
fn a_pass_that_is_dropped_over_a_slow_dot_counts_as_unknown_and_one_before_it_as_not_tried() {
    for (place, wait, attempts) in [(At::Dot, 30, 1), (At::Mail, 0, 0)] {
        let store = one_letter();
        let server = SmtpServer::start(&[(place, Act::Stall)]);
        let settings = RelaySettings {
            deadline: Duration::from_secs(30),
            accept_deadline: Duration::from_secs(30),
            ..relay(server.port)
        };
        let mut channel = Channel::Smtp(Box::new(Relay::new(settings).unwrap()));
        wait_for(async {
            let limits = Limits::default();
            let pass = deliver_due(&store, &mut channel, at(NOON), &limits);
            let cut = tokio::time::timeout(Duration::from_millis(400), pass).await;
            assert!(cut.is_err(), "it hangs");
        });
        let posted = store.letters(None).unwrap().remove(0);
        assert!(
            posted.row.due_at >= at(NOON) + TimeDelta::minutes(wait) || wait == 0,
            "{posted:?}"
        );
        assert_eq!((posted.attempts, posted.unknown_times), (attempts, u32::from(wait > 0)));
        assert_ne!(posted.state, OutboxState::Leased);
    }
}

#[test]
fn a_relay_that_puts_everything_off_is_trouble_with_its_own_words() {
    let store = one_letter();
    let server = SmtpServer::start(&[(At::Mail, Act::Reply("451 4.3.0 try later"))]);
    let report = pass(&store, relay(server.port), at(NOON));
    assert!(
        report.is_trouble() && report.postponed[0].contains("451 4.3.0 try later"),
        "{report:?}"
    );
}

#[test]
fn what_was_accepted_and_could_not_be_marked_does_not_go_again() {
    let dir = TempDir::new("unmarked");
    let path = dir.path().join("store.sqlite");
    let store = Store::open(&path, rimeward::adapters::sqlite::Options::default()).unwrap();
    queue(&store, vec![letter("a", 1, "P02")]);
    let other = rusqlite::Connection::open(&path).unwrap();
    let no_room = "CREATE TRIGGER no_room BEFORE UPDATE ON outbox WHEN NEW.state = 'sent'
        BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END";
    other.execute_batch(no_room).unwrap();
    let server = SmtpServer::start(&[]);
    let mut channel = Channel::Smtp(Box::new(Relay::new(relay(server.port)).unwrap()));
    let mut go =
        |now: &str| wait_for(deliver_due(&store, &mut channel, at(now), &Limits::default()));
    assert!(go(NOON).is_err(), "it cannot be marked");
    assert!(go("2023-02-02T12:10:00Z").is_err(), "nothing is handed out before it is marked");
    other.execute_batch("DROP TRIGGER no_room").unwrap();
    assert_eq!(go("2023-02-02T12:20:00Z").unwrap(), DeliverReport::default());
    assert_eq!(server.received().len(), 1);
    assert_eq!(store.letters(None).unwrap()[0].state, OutboxState::Sent);
}

#[test]
fn a_mailbox_that_stays_full_for_a_day_is_a_bad_address() {
    let store = Store::open_in_memory().unwrap();
    let expires_at = at("2023-02-06T12:00:00Z");
    queue(&store, vec![OutboxRow { expires_at, ..letter("a", 1, "P02") }]);
    let full = (At::Rcpt, Act::Reply("552 5.2.2 mailbox full"));
    let server = SmtpServer::start(&[full, full]);
    assert_eq!(pass(&store, relay(server.port), at("2023-02-03T11:00:00Z")).deferred, 1);
    let report = pass(&store, relay(server.port), at("2023-02-03T12:00:00Z"));
    assert_eq!((report.failed, report.refused.len()), (1, 1));
}

#[test]
fn a_relay_that_is_away_is_asked_once_a_pass_and_later_gets_everything() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, (0..50).map(|n| letter(&format!("a{n}"), 1, "P02")).collect());
    let busy = (At::Greeting, Act::Reply("421 4.3.2 not now"));
    let server = SmtpServer::start(&[busy]);
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.deferred, server.connections()), (20, 1), "one batch was put off");
    assert!(report.relay_trouble.unwrap().contains("421"));
    let report = pass(&store, relay(server.port), at("2023-02-02T12:02:00Z"));
    assert_eq!((report.sent, server.received().len(), server.connections()), (50, 50, 2));
}

#[test]
fn outcomes_that_stay_unknown_stop_the_pass() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, (0..10).map(|n| letter(&format!("a{n}"), 1, "P02")).collect());
    let server = SmtpServer::start(&[(At::Dot, Act::Drop); 10]);
    let report = pass(&store, relay(server.port), at(NOON));
    assert_eq!((report.deferred, server.received().len()), (10, 3));
}

#[test]
fn a_slow_relay_gives_back_what_it_did_not_come_to() {
    let store = Store::open_in_memory().unwrap();
    queue(&store, (0..4).map(|n| letter(&format!("a{n}"), 1, "P02")).collect());
    // The first letter uses up the time of the batch; the others are taken again in the same pass.
    let server = SmtpServer::start(&[(At::Dot, Act::Stall)]);
    let settings = RelaySettings { deadline: Duration::from_millis(200), ..relay(server.port) };
    let report = pass(&store, settings, at(NOON));
    assert_eq!((report.sent, report.deferred), (3, 1));
    let attempts: Vec<u32> = store.letters(None).unwrap().iter().map(|p| p.attempts).collect();
    assert_eq!(attempts, [1; 4], "a letter that was given back was not tried");
}

#[test]
fn a_relay_away_for_two_days_gets_the_newest_words_only() {
    let store = Store::open_in_memory().unwrap();
    let away = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let mut now = at(NOON);
    for revision in 1..=4 {
        let expires_at = now + TimeDelta::days(4);
        let mut row =
            OutboxRow { queued_at: now, due_at: now, expires_at, ..letter("a", revision, "P02") };
        row.closing = revision == 4;
        queue(&store, vec![row]);
        for _ in 0..24 {
            pass(&store, relay(away), now);
            now += TimeDelta::minutes(30);
        }
    }
    let server = SmtpServer::start(&[]);
    let report = pass(&store, relay(server.port), now);
    assert_eq!((report.sent, report.expired), (1, 0));
    let states: Vec<OutboxState> = store.letters(None).unwrap().iter().map(|p| p.state).collect();
    assert_eq!(states[..3], [OutboxState::Superseded; 3]);
    assert_eq!(states[3], OutboxState::Sent);
}

#[test]
fn the_maildir_takes_its_own_letters() {
    let dir = TempDir::new("outbox");
    let store = Store::open_in_memory().unwrap();
    let maildir = OutboxRow { channel: "maildir".to_owned(), ..letter("a", 1, "P02") };
    queue(&store, vec![maildir, letter("b", 1, "P02")]);
    let folder = dir.path().join("mail");
    let mut channel = Channel::Maildir(Maildir::new(folder.clone()));
    let limits = Limits::default();
    let report = wait_for(deliver_due(&store, &mut channel, at(NOON), &limits)).unwrap();
    assert_eq!((report.sent, store.outbox_summary().unwrap().count(OutboxState::Queued)), (1, 1));
    assert_eq!(std::fs::read_dir(folder.join("new")).unwrap().count(), 1);
    // A folder that cannot be written: put off, with words.
    std::fs::write(dir.path().join("file"), "").unwrap();
    let blocked = OutboxRow { channel: "maildir".to_owned(), ..letter("c", 1, "P02") };
    queue(&store, vec![blocked]);
    let mut channel = Channel::Maildir(Maildir::new(dir.path().join("file/mail")));
    let report = wait_for(deliver_due(&store, &mut channel, at(NOON), &limits)).unwrap();
    assert_eq!(report.deferred, 1);
    assert!(report.relay_trouble.unwrap().contains("file/mail"));
}

#[test]
fn a_pass_can_run_on_any_thread() {
    fn is_send<T: Send>(_: &T) {}
    let store = Store::open_in_memory().unwrap();
    let mut channel = Channel::Smtp(Box::new(Relay::new(relay(1)).unwrap()));
    is_send(&deliver_due(&store, &mut channel, at(NOON), &Limits::default()));
}
