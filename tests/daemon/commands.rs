//! The commands around the daemon, as processes.

use std::process::{Command, Stdio};

use rimeward::adapters::sqlite::Options;
use rimeward::app::ports::*;

use super::{Home, relay_on, until};
use crate::flow::{code, json, rimeward, text};
use crate::support::smtp::{Act, At, SmtpServer};
use crate::support::{TempDir, at};

/// A home where one round has found no weather and told so.
fn blind_home() -> Home {
    let home = Home::new("alerts", "maildir = \"Maildir\"");
    let output = rimeward(Some(&home.config()), &["round"]);
    assert_eq!(code(&output), 3, "{}", text(&output));
    home
}

#[test]
fn alerts_are_listed_shown_acknowledged_and_explained() {
    let home = blind_home();
    let run = |args: &[&str]| rimeward(Some(&home.config()), args);
    let list = json(&run(&["alerts", "--json"]));
    let rows = list["alerts"].as_array().unwrap();
    assert_eq!(rows.len(), 6);
    assert!(rows.iter().all(|row| row["kind"] == "blind" && row["state"] == "UNACK"), "{list}");
    let shown = json(&run(&["alerts", "show", "blind-QUAY-1", "--json"]));
    let letters = shown["letters"].as_array().unwrap();
    assert_eq!(letters.len(), 2, "manager and operator: {shown}");
    assert!(letters.iter().all(|letter| letter["state"] == "sent"), "{shown}");

    let by_nobody = run(&["alerts", "acknowledge", "blind-QUAY-1", "--by", "P0"]);
    assert_eq!(code(&by_nobody), 2);
    assert!(text(&by_nobody).contains("P01"), "{}", text(&by_nobody));
    let past = ["--plan-until", "2001-01-01"];
    let acknowledge = ["alerts", "acknowledge", "blind-QUAY-1", "--by", "P51"];
    assert_eq!(code(&run(&[&acknowledge[..], &past[..]].concat())), 2);
    assert_eq!(code(&run(&acknowledge)), 0);
    let again = run(&acknowledge);
    assert_eq!(code(&again), 2, "{}", text(&again));

    let explained = json(&run(&["alerts", "explain", "blind-QUAY-1", "--json"]));
    let rows = explained["transitions"].as_array().unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0]["decided_on"]["transition"]["reason"], "no usable forecast");
    assert_eq!(rows[1]["decided_on"]["transition"]["actor"], "P51");
    assert_eq!(code(&run(&["alerts", "show", "freeze-B99-1"])), 2);
}

#[test]
fn the_chain_of_the_log_is_verified_and_a_break_is_named() {
    let home = blind_home();
    let events = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo/layup_events.csv");
    assert_eq!(code(&rimeward(Some(&home.config()), &["import", "events", events])), 0);
    let whole = json(&rimeward(Some(&home.config()), &["verify-log", "--json"]));
    assert_eq!((&whole["holds"], &whole["rows"]), (&true.into(), &159.into()));
    let connection = rusqlite::Connection::open(home.path()).unwrap();
    connection
        .execute_batch(
            "DROP TRIGGER log_never_changes;
             UPDATE log SET happened_ms = happened_ms - 1, document = replace(document, 'drained', 'dry') WHERE seq = 40;",
        )
        .unwrap();
    let broken = rimeward(Some(&home.config()), &["verify-log"]);
    assert_eq!(code(&broken), 1, "{}", text(&broken));
    assert!(text(&broken).contains("broken at row 40"), "{}", text(&broken));
}

#[test]
fn the_self_test_names_what_cannot_be_reached() {
    let relay = SmtpServer::start(&[]);
    let home = Home::new("self-test", &relay_on(relay.port));
    let found = rimeward(Some(&home.config()), &["self-test", "--json"]);
    assert_eq!(code(&found), 1, "nobody answers for the weather");
    let found = json(&found);
    let of = |what: &str| {
        let rows = found["findings"].as_array().unwrap();
        rows.iter().find(|row| row["what"].as_str().unwrap().starts_with(what)).unwrap().clone()
    };
    assert_eq!(of("store")["ok"], true, "{found}");
    assert_eq!(of("mail")["ok"], true, "{found}");
    assert_eq!(of("nws-gridpoint")["ok"], false, "{found}");
    relay.always(Some((At::Greeting, Act::Reply("554 5.7.1 not you"))));
    let refused = rimeward(Some(&home.config()), &["self-test"]);
    assert!(text(&refused).contains("WRONG  mail"), "{}", text(&refused));
    assert!(relay.received().is_empty(), "a test sends nothing");
}

/// What a table does not speak of stays; what it takes away is said; an owner whom nobody knows is refused.
#[test]
fn an_import_takes_no_address_away_unseen() {
    let home = Home::new("keep", "maildir = \"Maildir\"");
    let import = |table: &str, text: &str| {
        let file = home.folder.path().join(format!("{table}.csv"));
        std::fs::write(&file, text).unwrap();
        rimeward(Some(&home.config()), &["import", table, file.to_str().unwrap()])
    };
    let person = |id: &str| {
        let people = home.store().people().unwrap();
        people.into_iter().find(|person| person.id.as_str() == id).unwrap()
    };
    let before = person("P51");
    // Two columns only: everything else stays.
    assert_eq!(code(&import("people", "person_id,name,role\nP51,Perry C.,manager\n")), 0);
    assert_eq!(person("P51").email, before.email);
    assert_eq!(person("P51").sites, before.sites);
    assert_eq!(person("P51").name, "Perry C.");
    // A blank cell is meant, and said.
    let blank = import("people", "person_id,name,role,email\nP51,Perry C.,manager,\n");
    assert!(text(&blank).contains("a blank email takes away"), "{}", text(&blank));
    assert!(text(&blank).contains("has no mail address"), "{}", text(&blank));
    let boats = "boat_id,boat_name,site_id,owner_id\nB02,Second Biscuit,UPPER,P022\n";
    let wrong = import("boats", boats);
    assert_eq!(code(&wrong), 2);
    assert!(text(&wrong).contains("owner_id") && text(&wrong).contains("P02"), "{}", text(&wrong));
    let named = import("boats", "boat_id,boat_name,site_id\nB02,Second Biscuit II,UPPER\n");
    assert_eq!(code(&named), 0, "{}", text(&named));
    let boats = home.store().boats().unwrap();
    let boat = boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap();
    assert_eq!(boat.owner, Some("P02".into()), "the list did not speak of the owner");
}

/// The very stores that say "restore a backup" must be restored over: damaged ones, and those of a newer program.
#[test]
fn a_store_that_cannot_be_opened_is_set_aside_and_restored() {
    let home = Home::new("aside", "maildir = \"Maildir\"");
    let run = |words: &[&str]| rimeward(Some(&home.config()), words);
    let copy = home.folder.path().join("good.backup");
    let copy = copy.to_str().unwrap();
    assert_eq!(code(&run(&["backup", copy])), 0);
    let store = home.path();
    let garbage = || std::fs::write(&store, [0xA5_u8; 8192]).unwrap();
    let newer = || {
        let connection = rusqlite::Connection::open(&store).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
    };
    for break_it in [&newer as &dyn Fn(), &garbage] {
        break_it();
        for ending in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(store.with_file_name(format!("store.sqlite{ending}")));
        }
        assert_ne!(code(&run(&["worklist"])), 0, "it is broken");
        let restored = run(&["restore", copy]);
        assert_eq!(code(&restored), 0, "{}", text(&restored));
        assert!(text(&restored).contains(".set-aside-"), "{}", text(&restored));
        home.store().full_check().unwrap();
        assert_eq!(home.store().boats().unwrap().len(), 12);
    }
    // A file that is no backup leaves everything as it is.
    garbage();
    let bad = home.folder.path().join("bad.backup");
    std::fs::write(&bad, "no store").unwrap();
    assert_ne!(code(&run(&["restore", bad.to_str().unwrap()])), 0);
    assert_eq!(std::fs::read(&store).unwrap(), [0xA5_u8; 8192], "not touched");
}

#[test]
fn init_writes_an_explained_configuration_once_and_it_works() {
    let folder = TempDir::new("init");
    let config = folder.path().join("own.toml");
    let flags = [
        "init",
        "--name",
        "Larch Hollow",
        "--time-zone",
        "America/New_York",
        "--contact",
        "me@example.com",
        "--latitude",
        "44.29",
        "--longitude",
        "-69.25",
        "--boat",
        "Marigold",
        "--boat-type",
        "petrol_sterndrive",
        "--maildir",
        "Maildir",
    ];
    let few = rimeward(Some(&config), &flags[..5]);
    assert_eq!(code(&few), 2);
    assert!(text(&few).contains("--contact") && text(&few).contains("--relay"), "{}", text(&few));
    let wrong: Vec<&str> = flags
        .iter()
        .map(|flag| if *flag == "America/New_York" { "New York" } else { flag })
        .collect();
    assert_eq!(code(&rimeward(Some(&config), &wrong)), 2);
    assert!(!config.exists(), "nothing is written on a wrong answer");
    let written = rimeward(Some(&config), &flags);
    assert_eq!(code(&written), 0, "{}", text(&written));
    assert_eq!(code(&rimeward(Some(&config), &["check-config"])), 0);
    let boat = json(&rimeward(Some(&config), &["boat", "BOAT1", "--json"]));
    let circuits = boat["circuits"].as_array().unwrap();
    assert!(!circuits.is_empty() && circuits.iter().all(|c| c["holds"] == "unknown"), "{boat}");
    let before = std::fs::read(&config).unwrap();
    assert_eq!(code(&rimeward(Some(&config), &flags)), 2, "never written over");
    assert_eq!(std::fs::read(&config).unwrap(), before);
}

/// A limit on the size of files behaves as a full disk does: writing fails, nothing else.
#[test]
fn a_full_disk_fails_loudly_and_the_next_pass_succeeds() {
    let home = Home::new("full", "maildir = \"Maildir\"");
    // Of 512 bytes: enough to open the store, too few for the log of the change.
    let blocks = 100;
    let events = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo/layup_events.csv");
    let under_limit = |command: &str| {
        let line = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec {} --config {} {command}",
            env!("CARGO_BIN_EXE_rimeward"),
            home.config().display()
        );
        Command::new("/bin/sh")
            .args(["-c", &line])
            .env_clear()
            .stdin(Stdio::null())
            .output()
            .unwrap()
    };
    let full = under_limit(&format!("import events {events}"));
    assert_eq!(code(&full), 4, "{}", text(&full));
    assert!(text(&full).contains("full"), "{}", text(&full));
    assert_eq!(home.store().verify_log(None).unwrap().rows, 0, "all rows or none");
    home.store().full_check().unwrap();
    assert_eq!(code(&rimeward(Some(&home.config()), &["import", "events", events])), 0);
    assert_eq!(home.store().verify_log(None).unwrap().rows, 159);
}

#[test]
fn two_rounds_at_once_tell_everybody_once() {
    let relay = SmtpServer::start(&[]);
    let home = Home::new("two", &relay_on(relay.port));
    let start = || {
        Command::new(env!("CARGO_BIN_EXE_rimeward"))
            .env_clear()
            .args(["round", "--config"])
            .arg(home.config())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    for round in [start(), start(), start()] {
        let output = round.wait_with_output().unwrap();
        assert_eq!(code(&output), 3, "blind, and done: {}", text(&output));
    }
    until("all has gone", || {
        let waiting = home.store().outbox_summary().unwrap().oldest_waiting;
        waiting.is_none()
    });
    let mut seen = std::collections::BTreeSet::new();
    for message in relay.received() {
        // By day in winter the letter that opens the season goes too: once as well.
        let text = String::from_utf8_lossy(&message.bytes).into_owned();
        let opening = text.contains("Subject: How we write");
        assert!(seen.insert((message.to.clone(), opening)), "{} was told twice", message.to);
    }
    assert_eq!(seen.iter().filter(|(_, opening)| !opening).count(), 2, "{seen:?}");
}

#[test]
fn a_second_name_of_the_store_is_no_second_store() {
    let home = blind_home();
    let link = home.folder.path().join("hard.sqlite");
    std::fs::hard_link(home.path(), &link).unwrap();
    for path in [&link, &home.path().to_path_buf()] {
        let held = rimeward::adapters::sqlite::Hold::take(path).map(drop);
        assert!(held.is_err_and(|error| error.to_string().contains("second name")));
    }
}

#[test]
fn check_config_names_every_file_that_is_missing_or_open_to_others() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = TempDir::new("files");
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at("secret"), "s3cret\n").unwrap();
    std::fs::set_permissions(at("secret"), std::fs::Permissions::from_mode(0o644)).unwrap();
    std::fs::write(at("ca.pem"), "nothing\n").unwrap();
    let text = r#"
[yard]
name = "Y"
time_zone = "America/New_York"
[store]
path = "gone/rimeward.sqlite"
[forecast]
contact = "office@example.org"
[season.archives]
QUAY = "none.csv"
[mail]
from = "desk@example.org"
inbox = "no-inbox"
[mail.smtp]
host = "relay.example.org"
port = 465
security = "tls"
user = "desk"
password_file = "secret"
ca_file = "ca.pem"
"#;
    std::fs::write(at("rimeward.toml"), text).unwrap();
    let output = rimeward(Some(&at("rimeward.toml")), &["check-config"]);
    assert_eq!(code(&output), 2, "{}", text_of(&output));
    for words in
        ["password_file", "ca_file", "archives.QUAY", "store.path", "mail.inbox", "5 to mend"]
    {
        assert!(text_of(&output).contains(words), "{words}: {}", text_of(&output));
    }
    // Beside a wrong value they are named all the same, each with its line, and one key is not blamed twice.
    let wrong =
        text.replace("America/New_York", "Mars/Base").replace("\"gone/rimeward.sqlite\"", "7");
    std::fs::write(at("rimeward.toml"), wrong).unwrap();
    let said = text_of(&rimeward(Some(&at("rimeward.toml")), &["check-config"]));
    for words in
        ["line 4: ", "Mars/Base", "line 6: ", "line 13: mail.inbox", "ca_file", "6 to mend"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
}

fn text_of(output: &std::process::Output) -> String {
    text(output)
}

/// What keeps honest programs from changing the log.
fn drop_triggers(store: &rusqlite::Connection) {
    let mut found = store.prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'").unwrap();
    let names = found.query_map([], |row| row.get::<_, String>(0)).unwrap();
    for name in names.map(Result::unwrap).collect::<Vec<_>>() {
        store.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
}

#[test]
fn damage_that_the_nightly_check_finds_is_told_and_stays_told_until_it_is_mended() {
    let home = Home::new("damage", "maildir = \"Maildir\"");
    let settings = rimeward::app::settings::Settings::load(&home.config()).unwrap();
    let _ = rustls::crypto::ring::default_provider().install_default();
    let daemon = rimeward::daemon::Daemon::open(settings, Options::default());
    let mut daemon = daemon.unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let mut look = |now: &str| {
        let housekeep = daemon.loops.last_mut().unwrap();
        runtime.block_on(housekeep.activate(at(now), &|| true))
    };
    assert!(look("2023-01-10T12:00:00Z").unwrap().ok);
    let other = rusqlite::Connection::open(home.path()).unwrap();
    other
        .execute_batch(
            "PRAGMA foreign_keys = OFF; INSERT INTO log_text (seq, field, text) VALUES (9999, 'note', 'x')",
        )
        .unwrap();
    for night in ["2023-01-11T09:00:00Z", "2023-01-12T09:00:00Z"] {
        assert!(look(night).is_err(), "the check fails");
    }
    let later = look("2023-01-12T10:30:00Z").unwrap();
    assert!(!later.ok && later.text.contains("rimeward restore"), "{later:?}");
    let letters = home.store().letters(None).unwrap();
    let told: Vec<_> = letters.iter().filter(|letter| letter.row.kind == "damage").collect();
    assert_eq!(told.len(), 1, "once, to the operator");
    assert_eq!(told[0].row.recipient, "P54".into());
    let found = rimeward(Some(&home.config()), &["self-test"]);
    assert!(text(&found).contains("WRONG  store"), "{}", text(&found));
    drop_triggers(&other);
    other.execute_batch("DELETE FROM log_text WHERE seq = 9999").unwrap();
    assert!(look("2023-01-13T09:00:00Z").unwrap().ok);
}

#[test]
fn a_head_that_was_written_down_shows_whether_the_end_of_the_log_was_cut_off() {
    let home = blind_home();
    let head = home.store().log_head().unwrap();
    let with = |head: &str| rimeward(Some(&home.config()), &["verify-log", "--head", head]);
    let events =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo/layup_events.csv");
    let entered = rimeward(Some(&home.config()), &["import", "events", events.to_str().unwrap()]);
    assert_eq!(code(&entered), 0, "{}", text(&entered));
    let newer = home.store().log_head().unwrap();
    assert_ne!(head, newer);
    assert_eq!(code(&with(&newer)), 0, "{}", text(&with(&newer)));
    let other = rusqlite::Connection::open(home.path()).unwrap();
    drop_triggers(&other);
    other.execute_batch("PRAGMA foreign_keys = OFF; DELETE FROM log WHERE seq > 100").unwrap();
    let cut = with(&newer);
    assert_eq!(code(&cut), 1, "{}", text(&cut));
    assert!(text(&cut).contains("taken out"), "{}", text(&cut));
}

/// No disk that takes nothing: `/sys`, where even root makes no file.
#[test]
fn a_store_where_nothing_can_be_written_is_refused_in_words() {
    if !std::path::Path::new("/sys/kernel").exists() {
        println!("no /sys here: a disk that takes nothing is not tried");
        return;
    }
    let home = Home::new("read-only", "maildir = \"Maildir\"");
    let text = std::fs::read_to_string(home.config()).unwrap();
    std::fs::write(home.config(), text.replace("store.sqlite", "/sys/rimeward.sqlite")).unwrap();
    for command in ["worklist", "round", "run", "self-test"] {
        let output = rimeward(Some(&home.config()), &[command]);
        assert_eq!(code(&output), 4, "{command}: {}", text_of(&output));
        let said = text_of(&output);
        assert!(said.contains("/sys/rimeward.sqlite") && said.contains("writable"), "{said}");
    }
}
