//! What comes back by mail, on the demonstration's letters: answers acknowledge, bounces turn to the next contact.

use std::fs;
use std::path::{Path, PathBuf};

use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;

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
        let from = if rest.starts_with("From: ") {
            String::new()
        } else {
            format!("From: Reader <{}>\r\n", letter.row.address)
        };
        let head = format!("{from}To: {to}+{token}@{domain}\r\n");
        fs::write(&path, head + rest).unwrap();
        path
    }
}

/// The left part of the address that the demonstration's letters come from.
fn composer(yard: &Yard) -> String {
    let text = fs::read_to_string(yard.folder.path().join("rimeward.toml")).unwrap();
    let line = text.lines().find(|line| line.starts_with("from = ")).unwrap();
    line.split('"').nth(1).unwrap().split('@').next().unwrap().to_owned()
}

#[test]
fn an_answer_acknowledges_and_is_filed_and_a_wish_reaches_the_yard() {
    let yard = Yard::new("answer");
    let composer = composer(&yard);
    let letter = yard.letter("freeze-B02", "P02");
    let path = yard.post(&letter, &composer, "\r\nYARD, I am away.\r\n> drain\r\n");
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
    yard.post(&letter, &composer(&yard), "\r\nseen, thanks\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("P51 Perry Clothesline answers seen"), "{said}");
    assert!(said.matches("freeze-").count() >= 2, "{said}");
}

#[test]
fn a_question_changes_nothing_and_reaches_a_person() {
    let yard = Yard::new("question");
    let letter = yard.letter("freeze-B02", "P02");
    let before = yard.store().alert(&letter.row.alert).unwrap();
    yard.post(&letter, &composer(&yard), "\r\nWhich plug is it?\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("for people to read; passed on"), "{said}");
    assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before);
    let passed = yard.letter("answer-", "P51");
    let bytes = String::from_utf8_lossy(&passed.row.bytes).into_owned();
    assert!(bytes.contains("Which plug is it?"), "{bytes}");
    // A machine that answers has read nothing.
    yard.post(&letter, &composer(&yard), "Auto-Submitted: auto-replied\r\n\r\ndone\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("nobody has read anything"), "{said}");
    assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before);
}

#[test]
fn a_word_with_more_behind_it_or_from_elsewhere_changes_nothing_and_is_read_by_people() {
    for (rest, said_of_it) in [
        ("\r\nDone nothing so far - I broke my leg,\r\nsomebody must go AT ONCE\r\n", "for people"),
        ("\r\nHello Perry,\r\n\r\nthe heater has failed, come AT ONCE\r\n", "for people"),
        ("From: x@evil.example\r\n\r\ndone\r\n", "which is not their address: done"),
    ] {
        let yard = Yard::new("more");
        let letter = yard.letter("freeze-B02", "P02");
        let before = yard.store().alert(&letter.row.alert).unwrap();
        yard.post(&letter, &composer(&yard), rest);
        let said = yard.run(&["receive", "--at", AT]);
        assert!(said.contains(said_of_it) && said.contains("passed on"), "{said}");
        assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before, "{rest}");
        let bytes = yard.letter("answer-", "P51").row.bytes;
        let passed = String::from_utf8_lossy(&bytes).replace("=\r\n", "").replace("\r\n", " ");
        let own = if rest.starts_with("From") { "x@evil.example" } else { "AT ONCE" };
        assert!(passed.contains(own), "{passed}");
        assert!(passed.contains(&letter.row.address), "whom to answer: {passed}");
    }
}

#[test]
fn answers_without_end_are_passed_on_a_few_times() {
    let yard = Yard::new("flood");
    let letter = yard.letter("freeze-B02", "P02");
    let mut said = String::new();
    for number in 0..7 {
        yard.post(&letter, &composer(&yard), &format!("\r\nAnd what of plug {number}?\r\n"));
        said += &yard.run(&["receive", "--at", AT]);
    }
    let passed = said.matches("passed on").count();
    assert!(passed == 5 && said.matches("too many answers").count() == 2, "{said}");
}

#[cfg(unix)]
#[test]
fn what_cannot_be_taken_stays_and_keeps_nobody_waiting() {
    use std::os::unix::ffi::OsStrExt as _;
    let yard = Yard::new("maildir");
    let letter = yard.letter("freeze-B02", "P02");
    let message = fs::read(yard.post(&letter, &composer(&yard), "\r\nseen\r\n")).unwrap();
    let new = yard.folder.path().join("Inbox/new");
    // Was in hand twice when a program ended; in hand once; no text; no mail server's.
    for name in [&b"a.taking.taking"[..], b"b.taking", b"c\xff", b"c\xfe", b".hidden"] {
        fs::write(new.join(std::ffi::OsStr::from_bytes(name)), &message).unwrap();
    }
    std::os::unix::fs::symlink("/etc/passwd", new.join("link")).unwrap();
    fs::create_dir(new.join("folder")).unwrap();
    let own = yard.folder.path().join("rimeward.toml");
    let output = rimeward(Some(&own), &["receive", "--at", AT]);
    let said = text(&output);
    assert_eq!(code(&output), 1, "{said}");
    assert_eq!(said.matches("P02 Tess Drawbridge answers seen").count(), 4, "{said}");
    assert!(said.contains("a.taking.taking: the program ended over it twice"), "{said}");
    let names = |folder: &str| {
        let entries = fs::read_dir(yard.folder.path().join(folder)).unwrap();
        let mut names: Vec<Vec<u8>> =
            entries.map(|entry| entry.unwrap().file_name().as_bytes().to_vec()).collect();
        names.sort();
        names
    };
    assert_eq!(names("Inbox/new"), [&b".hidden"[..], b"folder", b"link"]);
    let filed = names("Inbox/cur");
    assert_eq!(filed.len(), 5);
    for name in [&b"a:2,"[..], b"b:2,S", b"c\xfe:2,S", b"c\xff:2,S"] {
        assert!(filed.iter().any(|one| one == name), "{name:?}: {filed:?}");
    }
}

#[test]
fn a_folder_that_cannot_be_filed_into_takes_nothing() {
    let yard = Yard::new("no-cur");
    let letter = yard.letter("freeze-B02", "P02");
    let before = yard.store().alert(&letter.row.alert).unwrap();
    let path = yard.post(&letter, &composer(&yard), "\r\nseen\r\n");
    fs::write(yard.folder.path().join("Inbox/cur"), "").unwrap();
    let own = yard.folder.path().join("rimeward.toml");
    let output = rimeward(Some(&own), &["receive", "--at", AT]);
    assert_eq!(code(&output), 1, "{}", text(&output));
    assert!(path.exists() && text(&output).contains("mail.inbox"), "{}", text(&output));
    assert_eq!(yard.store().alert(&letter.row.alert).unwrap(), before);
}

#[test]
fn messages_within_messages_end_no_program() {
    let yard = Yard::new("nested");
    let path = yard.folder.path().join("Inbox/new/x");
    let nested = "Content-Type: message/rfc822\r\n\r\n".repeat(80_000);
    fs::write(&path, "To: stranger@example.net\r\n".to_owned() + &nested).unwrap();
    assert!(yard.run(&["receive", "--at", AT]).contains("left alone"));
    assert!(!path.exists());
}

#[test]
fn a_bounce_makes_the_address_faulty_and_the_next_contact_hears_of_it() {
    let yard = Yard::new("bounce");
    let letter = yard.letter("freeze-B01", "P01");
    assert_eq!(letter.state, OutboxState::Sent);
    let status = "MIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain\r\n\r\nSorry.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example.org\r\n\r\nFinal-Recipient: rfc822; dot@example.org\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n--b--\r\n";
    yard.post(&letter, "bounce", status);
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("our letter to P01 came back: 5.1.1"), "{said}");
    let back = yard.letter("freeze-B01", "P01");
    assert_eq!((back.state, back.fault.as_deref()), (OutboxState::Failed, Some("address")));
    let own = yard.folder.path().join("rimeward.toml");
    let round = rimeward(Some(&own), &["round", "--at", AT]);
    let letters = yard.store().letters(None).unwrap();
    let unreached = letters.iter().filter(|letter| letter.row.alert.contains("unreachable"));
    assert!(unreached.count() > 0, "{}", text(&round));
    // Known, it is known; and a relay that takes a later letter takes it as it took this one.
    yard.post(&letter, "bounce", status);
    assert!(yard.run(&["receive", "--at", AT]).contains("known already"));
}

/// What a reader says of the cooling in one line is an entry of the log; a doubt is for people.
#[test]
fn an_answer_about_cooling_goes_into_the_log() {
    let yard = Yard::new("cooling-answer");
    let composer = composer(&yard);
    let letter = yard.letter("freeze-B02", "P02");
    yard.post(&letter, &composer, "\r\nNot sure, maybe half closed?\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("for people to read"), "{said}");
    let cooling = |at: &str| {
        let shown = yard.run(&["boat", "B02", "--at", at, "--known-at", at, "--json"]);
        serde_json::from_str::<serde_json::Value>(&shown).unwrap()["cooling"].clone()
    };
    yard.post(&letter, &composer, "\r\nHalf closed.\r\nTess\r\n");
    let said = yard.run(&["receive", "--at", AT]);
    assert!(said.contains("answers cooling: closed_half for B02: in the log"), "{said}");
    assert_eq!(
        (cooling("2022-10-03T06:40"), cooling("2022-10-03T06:20")),
        ("closed_half".into(), "raw".into())
    );
}
