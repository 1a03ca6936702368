//! Signed notes to another program: a real receiver that is not there, refuses, sends elsewhere, and takes them at last.

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt as _;
use std::sync::{Arc, Mutex};

use data_encoding::BASE64;
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use ring::hmac;
use serde_json::Value;

use super::round::Yard;
use super::{code, json, rimeward, text};

const MORNING: &str = "2022-11-13T09:10:00-05:00";

/// One request as it came.
#[derive(Clone)]
struct Note {
    headers: Vec<(String, String)>,
    body: Vec<u8>,
}

impl Note {
    fn header(&self, name: &str) -> &str {
        let found = self.headers.iter().find(|(known, _)| known.eq_ignore_ascii_case(name));
        found.map_or("", |(_, value)| value.as_str())
    }
}

/// A receiver on the loopback that answers as it is told.
struct Receiver {
    port: u16,
    answer: Arc<Mutex<&'static str>>,
    notes: Arc<Mutex<Vec<Note>>>,
}

impl Receiver {
    fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let answer = Arc::new(Mutex::new("200 OK\r\n"));
        let notes = Arc::new(Mutex::new(Vec::new()));
        let (say, keep) = (Arc::clone(&answer), Arc::clone(&notes));
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let Ok(mut stream) = stream else { break };
                let mut reader = BufReader::new(stream.try_clone().unwrap());
                let (mut line, mut headers) = (String::new(), Vec::new());
                reader.read_line(&mut line).unwrap();
                loop {
                    let mut line = String::new();
                    if reader.read_line(&mut line).unwrap_or(0) == 0 || line.trim().is_empty() {
                        break;
                    }
                    let (name, value) = line.split_once(':').unwrap();
                    headers.push((name.to_owned(), value.trim().to_owned()));
                }
                let mut note = Note { headers, body: Vec::new() };
                note.body.resize(note.header("content-length").parse().unwrap_or(0), 0);
                if reader.read_exact(&mut note.body).is_err() {
                    continue;
                }
                keep.lock().unwrap().push(note);
                let head = *say.lock().unwrap();
                let _ =
                    write!(stream, "HTTP/1.1 {head}content-length: 0\r\nconnection: close\r\n\r\n");
            }
        });
        Self { port, answer, notes }
    }

    fn answers(&self, head: &'static str) {
        *self.answer.lock().unwrap() = head;
    }

    fn take(&self) -> Vec<Note> {
        std::mem::take(&mut *self.notes.lock().unwrap())
    }
}

fn yard(webhook: &str) -> Yard {
    let yard = Yard::open(MORNING);
    yard.import_everything();
    for (name, fill) in [("now.secret", 7_u8), ("old.secret", 9)] {
        let path = yard.config().with_file_name(name);
        fs::write(&path, format!("whsec_{}\n", BASE64.encode(&[fill; 32]))).unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    }
    let settings = fs::read_to_string(yard.config()).unwrap();
    let webhook = format!(
        "{settings}\n[webhook.office]\nsecret_file = \"now.secret\"\nprevious_secret_file = \"old.secret\"\n{webhook}\n"
    );
    fs::write(yard.config(), webhook).unwrap();
    yard
}

fn posted(yard: &Yard) -> Vec<Posted> {
    let path = yard.config().with_file_name("store.sqlite");
    let letters = Store::open(&path, Options::default()).unwrap().letters(None).unwrap();
    letters.into_iter().filter(|row| row.row.channel == WEBHOOKS).collect()
}

fn is_signed(note: &Note, fill: u8) -> bool {
    let key = hmac::Key::new(hmac::HMAC_SHA256, &[fill; 32]);
    let (id, time) = (note.header("webhook-id"), note.header("webhook-timestamp"));
    let signed = [format!("{id}.{time}.").as_bytes(), &note.body].concat();
    note.header("webhook-signature").split(' ').any(|one| {
        let tag = one.strip_prefix("v1,").and_then(|tag| BASE64.decode(tag.as_bytes()).ok());
        tag.is_some_and(|tag| hmac::verify(&key, &signed, &tag).is_ok())
    })
}

#[test]
fn a_note_goes_until_it_is_taken_with_the_same_id_and_bytes_and_signed_by_both_secrets() {
    let receiver = Receiver::start();
    let url = format!("url = \"http://127.0.0.1:{}/in\"\nreach_private = true", receiver.port);
    let yard = yard(&url);
    receiver.answers("503 Busy\r\nretry-after: 120\r\n");
    let done = yard.round(MORNING, &[]);
    assert_eq!(code(&done), 0, "{}", text(&done));
    let refused = receiver.take();
    assert!(!refused.is_empty());
    let waiting = posted(&yard);
    assert!(waiting.iter().all(|note| note.state == OutboxState::Deferred));
    assert_eq!(refused.len(), 1, "an endpoint that is busy is left alone until the next pass");
    let asked =
        |note: &&Posted| note.row.due_at >= note.row.queued_at + chrono::TimeDelta::seconds(120);
    assert_eq!(waiting.iter().filter(asked).count(), 1, "as long as it asked for");
    // Sent elsewhere is no delivery, and is not followed.
    receiver.answers("302 Found\r\nlocation: http://127.0.0.1:1/\r\n");
    yard.round("2022-11-13T09:20:00-05:00", &[]);
    receiver.take();
    assert!(posted(&yard).iter().all(|note| note.state == OutboxState::Deferred));
    receiver.answers("204 No Content\r\n");
    yard.round("2022-11-13T10:10:00-05:00", &[]);
    let taken = receiver.take();
    let old = |id: &str| refused.iter().find(|note| note.header("webhook-id") == id);
    let again: Vec<&Note> =
        taken.iter().filter(|note| old(note.header("webhook-id")).is_some()).collect();
    assert_eq!(again.len(), refused.len(), "every one of them, once");
    for note in &taken {
        assert!(is_signed(note, 7) && is_signed(note, 9) && !is_signed(note, 8));
        assert!(
            note.header("webhook-id").starts_with("msg_")
                && !note.header("webhook-id").contains('.')
        );
        if let Some(first) = old(note.header("webhook-id")) {
            assert_eq!(first.body, note.body);
        }
        let body: Value = serde_json::from_slice(&note.body).unwrap();
        assert!(body["type"].as_str().unwrap().contains('.') && note.body.len() < 20_000);
        let said = String::from_utf8_lossy(&note.body).into_owned();
        assert!(
            !said.contains('@') && !said.contains("Pepperpot"),
            "nobody's name or address: {said}"
        );
    }
    let raised: Vec<Value> = taken
        .iter()
        .map(|note| serde_json::from_slice(&note.body).unwrap())
        .filter(|body: &Value| body["type"] == "alert.raised" && body["data"]["kind"] == "freeze")
        .collect();
    assert!(!raised.is_empty());
    assert_eq!(raised[0]["data"]["cap"]["msgType"], "Alert");
    // Answered by hand: told too.
    let alert = raised[0]["data"]["alert_id"].as_str().unwrap();
    let words =
        ["alerts", "acknowledge", alert, "--by", "P51", "--at", "2022-11-13T10:15:00-05:00"];
    let done = rimeward(Some(&yard.config()), &words);
    assert_eq!(code(&done), 0, "{}", text(&done));
    yard.round("2022-11-13T10:20:00-05:00", &[]);
    let bodies: Vec<Value> =
        receiver.take().iter().map(|note| serde_json::from_slice(&note.body).unwrap()).collect();
    assert!(
        bodies.iter().any(|b| b["type"] == "alert.acknowledged" && b["data"]["alert_id"] == alert)
    );
    // A receiver that wants no more of them gets no more of this one.
    receiver.answers("410 Gone\r\n");
    yard.round("2022-11-14T09:10:00-05:00", &[]);
    assert!(posted(&yard).iter().any(|note| note.state == OutboxState::Failed));
    let shown = json(&rimeward(Some(&yard.config()), &["alerts", "list", "--json"]));
    assert!(!shown.to_string().contains("unreachable"), "a program is nobody to call: {shown}");
}

#[test]
fn nothing_is_sent_into_the_own_network_unless_it_is_allowed() {
    let yard_at = |url: &str| yard(&format!("url = \"{url}\""));
    let hidden = yard_at("https://localhost:8443/in");
    let done = hidden.round(MORNING, &[]);
    assert_eq!(code(&done), 0, "{}", text(&done));
    let notes = posted(&hidden);
    assert!(!notes.is_empty());
    assert!(notes.iter().all(|note| note.state == OutboxState::Deferred));
    let why = notes.iter().filter_map(|note| note.answer.as_deref());
    assert!(
        why.clone().any(|why| why.contains("is inside this network")),
        "{:?}",
        why.collect::<Vec<_>>()
    );
    assert!(notes.iter().all(|note| note.row.address == "office"), "no url that may hold a token");
    for url in ["https://127.0.0.1:8443/in", "https://[::1]:8443/in", "https://10.0.0.1/"] {
        let yard = yard_at(url);
        let done = rimeward(None, &["check-config", yard.config().to_str().unwrap()]);
        assert_eq!(code(&done), 2, "{url}: {}", text(&done));
    }
    // Taken out of the configuration, what waits for it leaves the queue.
    let settings = fs::read_to_string(hidden.config()).unwrap();
    let named = settings.find("[webhook.office]").unwrap();
    let other = settings.replace("[webhook.office]", "[webhook.other]");
    assert!(named > 0);
    fs::write(hidden.config(), other).unwrap();
    hidden.round("2022-11-13T10:10:00-05:00", &[]);
    let notes = posted(&hidden);
    let left: Vec<&Posted> =
        notes.iter().filter(|note| note.row.recipient.as_str() == "office").collect();
    assert!(left.iter().all(|note| note.state == OutboxState::Failed), "{left:?}");
    let open = yard("url = \"https://hooks.example.org/\"");
    fs::write(open.config().with_file_name("now.secret"), "not a secret\n").unwrap();
    let done = rimeward(Some(&open.config()), &["self-test"]);
    assert!(text(&done).contains("WRONG  webhooks: webhook office"), "{}", text(&done));
    let yard = yard("url = \"http://hooks.example.org/\"");
    let done = rimeward(None, &["check-config", yard.config().to_str().unwrap()]);
    assert_eq!(code(&done), 2, "{}", text(&done));
    assert!(text(&done).contains("webhook.office.url"), "{}", text(&done));
}

/// CAP 1.2 (OASIS, 2010): the order of the elements is the schema's; times have an offset in figures and no Z; identifiers have
/// no spaces, commas, `<` or `&`.
#[test]
fn an_alert_is_written_as_cap() {
    let yard = Yard::open(MORNING);
    yard.import_everything();
    assert_eq!(code(&yard.round(MORNING, &[])), 0);
    let listed = json(&rimeward(Some(&yard.config()), &["alerts", "list", "--json"]));
    let all = listed["alerts"].as_array().unwrap();
    let ids: Vec<&str> = all.iter().filter_map(|alert| alert["id"].as_str()).collect();
    assert!(!ids.is_empty(), "{listed}");
    let mut written = 0;
    for id in ids {
        let done = rimeward(Some(&yard.config()), &["alerts", "cap", id, "--at", MORNING]);
        if code(&done) == 2 {
            assert!(text(&done).contains("nobody has been told"), "{}", text(&done));
            continue;
        }
        written += 1;
        let cap = String::from_utf8(done.stdout).unwrap();
        let place =
            |name: &str| cap.find(&format!("<{name}>")).unwrap_or_else(|| panic!("{name}: {cap}"));
        let order = [
            "identifier",
            "sender",
            "sent",
            "status",
            "msgType",
            "scope",
            "restriction",
            "note",
            "info",
            "language",
            "category",
            "event",
            "responseType",
            "urgency",
            "severity",
            "certainty",
            "effective",
            "expires",
            "senderName",
            "headline",
            "description",
            "parameter",
            "area",
            "areaDesc",
            "circle",
        ];
        let places: Vec<usize> = order.iter().map(|name| place(name)).collect();
        assert!(places.is_sorted(), "{places:?}: {cap}");
        let value = |name: &str| {
            let start = place(name) + name.len() + 2;
            cap[start..].split('<').next().unwrap().to_owned()
        };
        for name in ["sent", "effective", "expires"] {
            let time = value(name);
            assert_eq!(time.len(), 25, "{time}");
            assert!(!time.ends_with('Z') && chrono::DateTime::parse_from_rfc3339(&time).is_ok());
        }
        assert!(!value("identifier").contains([' ', ',', '&']) && value("sender").contains('@'));
        assert!(value("headline").chars().count() <= 160);
        assert!(cap.contains("not an official warning"), "{cap}");
        assert!(["Alert", "Update"].contains(&value("msgType").as_str()));
    }
    assert!(written > 0);
}
