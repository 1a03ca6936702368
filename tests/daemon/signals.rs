//! What the daemon says to the service manager, and what it does when it is told to reload or to stop.

use rimeward::app::ports::*;
use std::os::unix::net::UnixDatagram;
use std::time::{Duration, Instant};

use super::{Home, relay_on, signal, until};
use crate::flow::{code, rimeward, text};
use crate::support::smtp::{Act, At, SmtpServer};

/// A service manager that listens.
struct Manager {
    socket: UnixDatagram,
    path: String,
    heard: Vec<String>,
}

impl Manager {
    fn listen(home: &Home) -> Self {
        let path = home.folder.path().join("notify");
        let socket = UnixDatagram::bind(&path).unwrap();
        socket.set_read_timeout(Some(Duration::from_millis(20))).unwrap();
        Self { socket, path: path.to_str().unwrap().to_owned(), heard: Vec::new() }
    }

    fn hears(&mut self, wanted: &str) -> bool {
        let mut buffer = [0_u8; 4096];
        while let Ok(length) = self.socket.recv(&mut buffer) {
            self.heard.push(String::from_utf8_lossy(&buffer[..length]).into_owned());
        }
        self.heard.iter().any(|message| message.contains(wanted))
    }

    fn wait_for(&mut self, wanted: &str) {
        until(&format!("the manager hears {wanted}"), || self.hears(wanted));
    }
}

#[test]
fn the_service_manager_hears_ready_alive_reloading_and_stopping() {
    let home = Home::new("notify", "maildir = \"Maildir\"");
    let mut manager = Manager::listen(&home);
    let path = manager.path.clone();
    let mut child = home.start(&[
        ("NOTIFY_SOCKET", path.as_str()),
        ("WATCHDOG_USEC", "400000"),
        ("JOURNAL_STREAM", "8:1"),
    ]);
    manager.wait_for("READY=1\nSTATUS=6 places");
    manager.wait_for("WATCHDOG=1");
    manager.wait_for("6 places without a usable forecast");

    home.configure("maildir = \"Maildir\"\nmaildri = \"Elsewhere\"");
    signal(&child, "HUP");
    manager.wait_for("STATUS=the new configuration is refused, the old one stays");
    let log = home.log();
    assert!(log.contains("<3>the new configuration is refused"), "{log}");
    assert!(log.contains("maildri"), "{log}");

    home.configure("maildir = \"Elsewhere\"");
    manager.heard.clear();
    signal(&child, "HUP");
    manager.wait_for("RELOADING=1\nMONOTONIC_USEC=");
    manager.wait_for("READY=1");
    assert!(home.log().contains("<6>the configuration was read again"), "{}", home.log());

    let begun = Instant::now();
    signal(&child, "TERM");
    manager.wait_for("STOPPING=1");
    assert!(child.wait().unwrap().success(), "{}", home.log());
    assert!(begun.elapsed() < Duration::from_secs(10));
    assert!(!home.log().contains("did not end cleanly"), "{}", home.log());
}

#[test]
fn a_relay_that_says_nothing_does_not_keep_the_daemon_from_stopping() {
    let relay = SmtpServer::start(&[]);
    relay.always(Some((At::Mail, Act::Stall)));
    let home = Home::new("stall", &relay_on(relay.port));
    let mut child = home.start(&[]);
    until("the relay has a letter in hand", || {
        relay.commands().iter().any(|command| command.starts_with("MAIL"))
    });
    let begun = Instant::now();
    signal(&child, "TERM");
    assert!(child.wait().unwrap().success(), "{}", home.log());
    assert!(begun.elapsed() < Duration::from_secs(10), "took {:?}", begun.elapsed());
    assert!(home.log().contains("deliver was left in the middle"), "{}", home.log());
    // Only the letter in hand waits for the end of its lease: the others are there for whoever comes next.
    let outbox = home.store().outbox_summary().unwrap();
    let (leased, queued) = (outbox.count(OutboxState::Leased), outbox.count(OutboxState::Queued));
    assert!(leased <= 1 && queued >= 1, "{leased} leased, {queued} queued");
}

#[test]
fn one_store_has_one_daemon_and_a_restore_waits_for_its_end() {
    let home = Home::new("held", "maildir = \"Maildir\"");
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running"));
    let second = rimeward(Some(&home.config()), &["run"]);
    assert_eq!(code(&second), 4, "{}", text(&second));
    assert!(text(&second).contains("held by a running daemon"), "{}", text(&second));
    let copy = home.folder.path().join("copy.sqlite");
    let copy = copy.to_str().unwrap();
    let backup = rimeward(Some(&home.config()), &["backup", copy]);
    assert_eq!(code(&backup), 0, "{}", text(&backup));
    assert_eq!(code(&rimeward(Some(&home.config()), &["backup", copy])), 2, "never over a file");
    let restore = rimeward(Some(&home.config()), &["restore", copy]);
    assert_eq!(code(&restore), 4, "{}", text(&restore));
    child.kill().unwrap();
    child.wait().unwrap();
    let restore = rimeward(Some(&home.config()), &["restore", copy]);
    assert_eq!(code(&restore), 0, "{}", text(&restore));
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running"));
    child.kill().unwrap();
    child.wait().unwrap();
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running"));
    assert!(home.log().contains("did not end cleanly: checking the store"), "{}", home.log());
    signal(&child, "TERM");
    assert!(child.wait().unwrap().success());
}

#[test]
fn a_mistyped_store_is_refused_at_reload_and_the_old_one_stays() {
    let home = Home::new("mistyped", "maildir = \"Maildir\"");
    let mut child = home.start(&[]);
    until("it runs", || home.log().contains("running; the store is"));
    let good = std::fs::read_to_string(home.config()).unwrap();
    let empty = home.folder.path().join("empty.sqlite");
    drop(
        rimeward::adapters::sqlite::Store::open(
            &empty,
            rimeward::adapters::sqlite::Options::default(),
        )
        .unwrap(),
    );
    for (name, words) in
        [("rimewrad.sqlite", "there is no store"), ("empty.sqlite", "holds no place")]
    {
        let other = home.folder.path().join(name);
        let line = format!("path = {:?}", other.to_str().unwrap());
        let changed: Vec<String> = good
            .lines()
            .map(|l| if l.trim_start().starts_with("path =") { line.clone() } else { l.to_owned() })
            .collect();
        assert_ne!(changed.join("\n"), good.trim_end(), "the store's line is changed");
        std::fs::write(home.config(), changed.join("\n")).unwrap();
        signal(&child, "HUP");
        until("the new configuration is refused", || home.log().contains(words));
    }
    assert!(!home.folder.path().join("rimewrad.sqlite").exists());
    signal(&child, "TERM");
    assert!(child.wait().unwrap().success(), "{}", home.log());
}

#[test]
fn a_stop_during_a_reload_takes_no_longer_than_another() {
    let relay = SmtpServer::start(&[]);
    relay.always(Some((At::Mail, Act::Stall)));
    let home = Home::new("stall-reload", &relay_on(relay.port));
    let mut child = home.start(&[]);
    until("the relay has a letter in hand", || {
        relay.commands().iter().any(|command| command.starts_with("MAIL"))
    });
    signal(&child, "HUP");
    std::thread::sleep(Duration::from_millis(700));
    let begun = Instant::now();
    signal(&child, "TERM");
    assert!(child.wait().unwrap().success(), "{}", home.log());
    assert!(begun.elapsed() < Duration::from_secs(10), "took {:?}", begun.elapsed());
}
