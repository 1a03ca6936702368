//! Against Debian's `smtp-sink` (package postfix), which knows faults that we did not write.

use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use super::kill::queue;
use super::{Home, relay_on, until};
use crate::flow::rimeward;
use rimeward::app::ports::*;

const SINK: &str = "/usr/sbin/smtp-sink";

/// A port that nobody listens on.
pub fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

struct Sink {
    child: Child,
    port: u16,
}

impl Sink {
    fn start(manner: &[&str]) -> Self {
        let port = free_port();
        let child = Command::new(SINK)
            .args(["-u", "nobody"])
            .args(manner)
            .args([&format!("127.0.0.1:{port}"), "10"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        until("smtp-sink listens", || TcpStream::connect(("127.0.0.1", port)).is_ok());
        Self { child, port }
    }
}

impl Drop for Sink {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
#[expect(clippy::disallowed_methods, reason = "whether this is CI comes from outside")]
fn every_fault_of_smtp_sink_ends_in_the_right_state() {
    if !Path::new(SINK).exists() {
        assert!(std::env::var("CI").is_err(), "{SINK} is missing: apt-get install postfix");
        println!("{SINK} is not installed (apt-get install postfix): passed over");
        return;
    }
    for (manner, wanted, words) in [
        (&[][..], OutboxState::Sent, ""),
        (&["-r", "RCPT"], OutboxState::Deferred, "4"),
        (&["-f", "RCPT"], OutboxState::Deferred, "5"),
        (&["-r", "."], OutboxState::Deferred, "4"),
        (&["-f", "."], OutboxState::Deferred, "5"),
        (&["-q", "."], OutboxState::Deferred, ""),
        (&["-q", "MAIL"], OutboxState::Deferred, ""),
        (&["-q", "CONNECT"], OutboxState::Deferred, ""),
    ] {
        let sink = Sink::start(manner);
        let home = Home::new("sink", &relay_on(sink.port));
        queue(&home.store(), 0..1);
        rimeward(Some(&home.config()), &["round"]);
        let letters = home.store().letters(Some("test-0")).unwrap();
        let answer = letters[0].answer.clone().unwrap_or_default();
        assert_eq!(letters[0].state, wanted, "{manner:?}: {answer}");
        assert!(answer.contains(words), "{manner:?}: {answer}");
    }
}
