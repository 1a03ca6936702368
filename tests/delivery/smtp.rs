//! The relay: what each answer means, and how the connection is protected.

use std::time::{Duration, Instant};

use rimeward::adapters::delivery::secret::Secret;
use rimeward::adapters::delivery::smtp::{Parcel, Relay, RelaySettings, Security, Verdict};

use super::{relay, wait_for};
use crate::support::smtp::{AUTHORITY, Act, At, SmtpServer, Tls};

const BYTES: &[u8] = b"Subject: x\r\n\r\n.dots\r\n..and more\r\nend";

fn parcel() -> Parcel<'static> {
    Parcel { return_path: "bounce+abc@rimeward.example", address: "zoe@example.org", bytes: BYTES }
}

fn send(settings: RelaySettings) -> Verdict {
    wait_for(async { Relay::new(settings).unwrap().send(parcel()).await })
}

#[test]
fn a_letter_arrives_byte_for_byte() {
    let server = SmtpServer::start(&[]);
    let verdict = send(relay(server.port));
    assert_eq!(verdict, Verdict::Sent { reply: "250 2.0.0 queued as 4711".to_owned() });
    let received = server.received();
    assert_eq!(received.len(), 1);
    assert_eq!(received[0].from, "bounce+abc@rimeward.example");
    assert_eq!(received[0].to, "zoe@example.org");
    assert_eq!(received[0].bytes, [BYTES, b"\r\n"].concat());
}

#[test]
fn many_letters_share_a_connection_and_a_refused_one_does_not_cost_it() {
    let server = SmtpServer::start(&[(At::Rcpt, Act::Reply("550 5.1.1 who"))]);
    wait_for(async {
        let mut relay = Relay::new(relay(server.port)).unwrap();
        assert!(matches!(
            relay.send(parcel()).await,
            Verdict::AddressRefused { code: Some(550), .. }
        ));
        for _ in 0..5 {
            assert!(matches!(relay.send(parcel()).await, Verdict::Sent { .. }));
        }
        relay.quit().await;
    });
    assert_eq!((server.connections(), server.received().len()), (1, 5));
    assert_eq!(server.commands().last().unwrap(), "QUIT");
}

#[test]
fn a_relay_that_closed_the_idle_connection_is_called_again() {
    for act in [Act::Drop, Act::Reply("421 4.3.2 too many letters")] {
        let server = SmtpServer::start(&[]);
        wait_for(async {
            let mut relay = Relay::new(relay(server.port)).unwrap();
            assert!(matches!(relay.send(parcel()).await, Verdict::Sent { .. }));
            server.add(At::Mail, act);
            assert!(matches!(relay.send(parcel()).await, Verdict::Sent { .. }), "{act:?}");
        });
        assert_eq!((server.connections(), server.received().len()), (2, 2));
    }
}

#[test]
fn a_stalled_relay_costs_one_deadline_and_its_connection() {
    for (at, unknown) in
        [(At::Greeting, false), (At::Mail, false), (At::Data, false), (At::Dot, true)]
    {
        let server = SmtpServer::start(&[(at, Act::Stall)]);
        wait_for(async {
            let settings =
                RelaySettings { deadline: Duration::from_millis(300), ..relay(server.port) };
            let mut relay = Relay::new(settings).unwrap();
            let begun = Instant::now();
            let verdict = relay.send(parcel()).await;
            let took = begun.elapsed();
            assert!(
                took >= Duration::from_millis(290) && took < Duration::from_secs(2),
                "{took:?}"
            );
            match verdict {
                Verdict::Unknown { .. } => assert!(unknown, "{at:?}"),
                Verdict::Relay { .. } => assert!(!unknown, "{at:?}"),
                other => panic!("{at:?}: {other:?}"),
            }
            // The next letter goes over a fresh connection.
            assert!(matches!(relay.send(parcel()).await, Verdict::Sent { .. }), "{at:?}");
        });
        assert_eq!(server.connections(), 2, "{at:?}");
    }
}

#[test]
fn a_connection_without_tls_goes_to_this_machine_only() {
    let away = RelaySettings { host: "192.0.2.1".to_owned(), ..relay(2525) };
    match send(away) {
        Verdict::Relay { why } => assert!(why.contains("loopback only"), "{why}"),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_relay_that_is_not_there_is_the_relays_trouble() {
    // Bound and dropped: nobody listens there now.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    match send(relay(port)) {
        Verdict::Relay { why } => {
            assert!(why.contains("127.0.0.1") && why.contains("refused"), "{why}")
        }
        other => panic!("{other:?}"),
    }
}

fn with_tls(server: &SmtpServer, security: Security) -> RelaySettings {
    RelaySettings {
        host: "localhost".to_owned(),
        security,
        extra_ca_pem: Some(AUTHORITY.to_vec()),
        deadline: Duration::from_secs(10),
        ..relay(server.port)
    }
}

#[test]
fn tls_from_the_first_byte_and_after_starttls() {
    for (tls, security) in
        [(Tls::Implicit, Security::ImplicitTls), (Tls::Upgrade, Security::StartTlsRequired)]
    {
        let server = SmtpServer::start_with(&[], tls, Some("yard\0hunter two"));
        let mut settings = with_tls(&server, security);
        settings.login = Some(("yard".to_owned(), Secret::new("hunter two".to_owned())));
        assert!(matches!(send(settings.clone()), Verdict::Sent { .. }), "{tls:?}");
        settings.login = Some(("yard".to_owned(), Secret::new("wrong".to_owned())));
        match send(settings.clone()) {
            Verdict::Relay { why } => {
                assert!(why.contains("logging in") && why.contains("5.7.8"), "{why}");
                assert!(!why.contains("wrong") || why.contains("wrong password"), "{why}");
            }
            other => panic!("{other:?}"),
        }
        assert_eq!(server.received().len(), 1);
        assert!(!format!("{settings:?}").contains("hunter"));
    }
}

#[test]
fn nothing_is_sent_when_the_protection_cannot_be_had() {
    let plain = SmtpServer::start(&[]);
    let implicit = SmtpServer::start_with(&[], Tls::Implicit, None);
    let unknown =
        RelaySettings { extra_ca_pem: None, ..with_tls(&implicit, Security::ImplicitTls) };
    let other_name = RelaySettings {
        host: "127.0.0.1".to_owned(),
        ..with_tls(&implicit, Security::ImplicitTls)
    };
    for (settings, words) in [
        (with_tls(&plain, Security::StartTlsRequired), "STARTTLS"),
        (unknown, "certificate"),
        (other_name, "certificate"),
    ] {
        match send(settings) {
            Verdict::Relay { why } => assert!(why.contains(words), "{why}"),
            other => panic!("{other:?}"),
        }
    }
    assert!(plain.received().is_empty() && implicit.received().is_empty());
    assert!(!plain.commands().iter().any(|line| line.starts_with("MAIL")));
}

#[test]
fn the_self_test_says_what_is_wrong() {
    let server = SmtpServer::start(&[(At::Greeting, Act::Reply("554 no service here"))]);
    wait_for(async {
        let mut relay = Relay::new(relay(server.port)).unwrap();
        let error = relay.check().await.unwrap_err();
        assert!(error.line().contains("no service here"), "{}", error.line());
        relay.check().await.unwrap();
    });
}
