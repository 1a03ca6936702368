//! What comes back by mail, on the demonstration's letters: answers acknowledge, bounces turn to the next contact.

use std::fs;
use std::path::{Path, PathBuf};

use rimeward::store::outbox::Posted;
use rimeward::store::{Options, OutboxState, Store};

use super::{code, rimeward, text};
use crate::plan::command::config;
use crate::support::TempDir;

const AT: &str = "2022-10-03T06:35";

/// A copy of the demonstration on 3 October with an inbox.
struct Yard {
    folder: TempDir,
}

impl Yard {
    fn new(name: &str) -> Self {
        let folder = TempDir::new(name);
        let from = Path::new(config()).parent().unwrap();
        for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
            if entry.path().is_file() {
                fs::copy(entry.path(), folder.path().join(entry.file_name())).unwrap();
            }
        }
        let own = folder.path().join("rimeward.toml");
        let text = fs::read_to_string(&own).unwrap();
        fs::write(&own, text.replace("[mail]\n", "[mail]\ninbox = \"Inbox\"\n")).unwrap();
        fs::create_dir_all(folder.path().join("Inbox/new")).unwrap();
        Self { folder }
    }

    fn run(&self, args: &[&str]) -> String {
        let output = rimeward(Some(&self.folder.path().join("rimeward.toml")), args);
        assert_eq!(code(&output), 0, "{args:?}: {}", text(&output));
        text(&output)
    }

    fn store(&self) -> Store {
        Store::open(&self.folder.path().join("rimeward.sqlite"), Options::default()).unwrap()
    }

    fn letter(&self, alert: &str, person: &str) -> Posted {
        let letters = self.store().letters(None).unwrap();
        let own = |letter: &Posted| {
            letter.row.recipient == person.into() && letter.row.alert.starts_with(alert)
        };
        letters
            .into_iter()
            .find(own)
            .unwrap_or_else(|| panic!("no letter about {alert} to {person}"))
    }

    /// Puts a message into the inbox that came to an address with the letter's token.
    fn post(&self, letter: &Posted, to: &str, rest: &str) -> PathBuf {
        let (token, domain) = letter.row.message_id.split_once('@').unwrap();
        let path = self.folder.path().join(format!("Inbox/new/{token}"));
        let head = format!("From: x@example.com\r\nTo: {to}+{token}@{domain}\r\n");
        fs::write(&path, head + rest).unwrap();
        path
    }
}

/// The left part of the address that the demonstration's letters come from.
fn desk(yard: &Yard) -> String {
    let text = fs::read_to_string(yard.folder.path().join("rimeward.toml")).unwrap();
    let line = text.lines().find(|line| line.starts_with("from = ")).unwrap();
    line.split('"').nth(1).unwrap().split('@').next().unwrap().to_owned()
}

#[test]
fn an_answer_acknowledges_and_is_filed_and_a_wish_reaches_the_yard() {
    let yard = Yard::new("answer");
    let desk = desk(&yard);
    let letter = yard.letter("freeze-B02", "P02");
    let path = yard.post(&letter, &desk, "\r\nYARD, I am away.\r\n> drain\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("P02 Tess Drawbridge answers yard") && said.contains("to ACK"), "{said}");
    assert!(
        !path.exists() && yard.folder.path().join("Inbox/cur").read_dir().unwrap().count() == 1
    );
    let shown = yard.run(&["alerts", "show", &letter.row.alert, "--at", AT]);
    assert!(shown.contains("ACK"), "{shown}");
    let passed = yard.letter("answer-", "P51");
    assert!(
        passed.row.subject.contains("Tess Drawbridge asks the yard to do it"),
        "{}",
        passed.row.subject
    );
    assert_eq!(yard.run(&["receive", "--at", AT]), "nothing new\n");
}

#[test]
fn an_answer_to_a_round_acknowledges_all_that_it_told_of() {
    let yard = Yard::new("round-answer");
    let letter = yard.letter("rollup-P51", "P51");
    yard.post(&letter, &desk(&yard), "\r\nseen, thanks\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("P51 Perry Clothesline answers seen"), "{said}");
    assert!(said.matches("freeze-").count() >= 2, "{said}");
}

#[test]
fn a_question_changes_nothing_and_reaches_a_person() {
    let yard = Yard::new("question");
    let letter = yard.letter("freeze-B02", "P02");
    let before = yard.store().alert(&letter.row.alert).unwrap();
    yard.post(&letter, &desk(&yard), "\r\nWhich plug is it?\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("which we cannot read"), "{said}");
    assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before);
    let passed = yard.letter("answer-", "P51");
    let bytes = String::from_utf8_lossy(&passed.row.bytes).into_owned();
    assert!(bytes.contains("Which plug is it?"), "{bytes}");
    // A machine that answers has read nothing.
    yard.post(&letter, &desk(&yard), "Auto-Submitted: auto-replied\r\n\r\ndone\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("nobody has read anything"), "{said}");
    assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before);
}

#[test]
fn a_bounce_makes_the_address_faulty_and_the_next_contact_hears_of_it() {
    let yard = Yard::new("bounce");
    let letter = yard.letter("freeze-B01", "P01");
    assert_eq!(letter.state, OutboxState::Sent);
    let status = "MIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain\r\n\r\nSorry.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example.org\r\n\r\nFinal-Recipient: rfc822; dot@example.org\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n--b--\r\n";
    yard.post(&letter, "bounce", status);
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("the address of P01 takes no mail: 5.1.1"), "{said}");
    let back = yard.letter("freeze-B01", "P01");
    assert_eq!((back.state, back.fault.as_deref()), (OutboxState::Failed, Some("address")));
    let own = yard.folder.path().join("rimeward.toml");
    let round = rimeward(Some(&own), &["round", "--at", AT]);
    let letters = yard.store().letters(None).unwrap();
    let unreached = letters.iter().filter(|letter| letter.row.alert.contains("unreachable"));
    assert!(unreached.count() > 0, "{}", text(&round));
}
