//! Short texts beside the mail: a real relay that refuses and delays them, named in the configuration.

use std::collections::BTreeMap;
use std::fs;

use mail_parser::MessageParser;
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rimeward::domain::message::short::{SEGMENTS, size};

use super::round::Yard;
use super::{code, json, rimeward, text};
use crate::support::smtp::Received;

const MORNING: &str = "2022-11-13T09:10:00-05:00";
const LATER: &str = "2022-11-13T09:40:00-05:00";
const GATEWAY: &str = "@texts.example.org";

fn yard_with(texts: &str) -> Yard {
    let yard = Yard::open(MORNING);
    yard.import_everything();
    let settings = fs::read_to_string(yard.config()).unwrap();
    fs::write(yard.config(), format!("{settings}\n[text]\n{texts}\n")).unwrap();
    yard
}

fn yard() -> Yard {
    yard_with("gateway = \"{number}@texts.example.org\"\ncountry = \"1\"")
}

fn posted(yard: &Yard) -> (Vec<Posted>, Vec<Posted>) {
    let path = yard.config().with_file_name("store.sqlite");
    let store = Store::open(&path, Options::default()).unwrap();
    store.letters(None).unwrap().into_iter().partition(|row| row.row.channel == TEXTS)
}

fn to_gateway(received: Vec<Received>) -> Vec<Received> {
    received.into_iter().filter(|one| one.to.contains(GATEWAY)).collect()
}

fn body(bytes: &[u8]) -> String {
    let message = MessageParser::default().parse(bytes).unwrap();
    assert_eq!(message.parts.len(), 1, "text alone");
    message.body_text(0).unwrap().trim_end().to_owned()
}

/// Telephone to consent, as the demonstration's list has them.
fn consents() -> BTreeMap<String, bool> {
    let list = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo/people.csv");
    let mut rows = csv::Reader::from_path(list).unwrap();
    let rows = rows.records().map(Result::unwrap);
    rows.map(|row| (row[0].to_owned(), &row[5] == "yes")).collect()
}

#[test]
fn those_who_agreed_get_a_short_text_beside_their_letter_and_nobody_else_does() {
    let yard = yard();
    let first = yard.round(MORNING, &["--json"]);
    assert_eq!(code(&first), 0, "{}", text(&first));
    let (texts, letters) = posted(&yard);
    assert!(!texts.is_empty() && texts.len() < letters.len());
    let agreed = consents();
    for letter in letters.iter().filter(|letter| letter.row.kind == "freeze") {
        let person = letter.row.recipient.as_str();
        let beside = texts.iter().filter(|one| {
            one.row.recipient == letter.row.recipient && one.row.alert == letter.row.alert
        });
        let expected = usize::from(agreed[person]);
        assert_eq!(beside.count(), expected, "{person}");
    }
    for one in &texts {
        assert!(agreed[one.row.recipient.as_str()] && one.row.address.starts_with("1207555"));
        let words = body(&one.row.bytes);
        let size = size(&words);
        assert!(size.segments <= SEGMENTS, "{size:?}: {words}");
        assert!(words.contains("freeze desk: ") || words.contains("Freeze desk: "), "{words}");
        assert!(words.contains("WARNING: "), "{words}");
        assert!(!words.contains('\n') && !words.contains("  "), "{words:?}");
    }
    let due = texts.iter().filter(|one| one.state == OutboxState::Sent).count();
    assert_eq!(to_gateway(yard.relay.received()).len(), due);
    assert!(due > 0);
    let again = yard.round(LATER, &["--json"]);
    assert_eq!(code(&again), 0, "{}", text(&again));
    assert_eq!(posted(&yard).0.len(), texts.len(), "once");
}

#[test]
fn a_text_waits_with_the_letter_that_the_yard_looks_at_first_and_goes_with_it() {
    let yard = yard();
    let of_held = |yard: &Yard| {
        let (texts, letters) = posted(yard);
        let held = letters.into_iter().filter(|letter| letter.row.held.is_some());
        held.filter_map(|letter| {
            let beside = texts.iter().find(|text| {
                text.row.recipient == letter.row.recipient
                    && text.row.alert == letter.row.alert
                    && text.row.revision == letter.row.revision
            });
            Some((letter.state, beside?.state))
        })
        .collect::<Vec<_>>()
    };
    for at in
        ["2022-11-10T11:10:00-05:00", "2022-11-11T05:10:00-05:00", "2022-11-11T11:10:00-05:00"]
    {
        assert_eq!(code(&yard.round(at, &[])), 0);
    }
    let waiting = of_held(&yard);
    assert!(waiting.contains(&(OutboxState::Queued, OutboxState::Queued)), "{waiting:?}");
    for hours in [12, 13, 14, 17] {
        assert_eq!(code(&yard.round(&format!("2022-11-11T{hours}:40:00-05:00"), &[])), 0);
        let now = of_held(&yard);
        assert!(
            now.iter().all(|(letter, text)| {
                (*text == OutboxState::Sent) == (*letter == OutboxState::Sent)
            }),
            "{now:?}"
        );
    }
    assert!(of_held(&yard).contains(&(OutboxState::Sent, OutboxState::Sent)));
}

#[test]
fn without_a_gateway_there_are_no_texts() {
    let yard = yard_with("country = \"1\"");
    assert_eq!(code(&yard.round(MORNING, &[])), 0);
    assert!(posted(&yard).0.is_empty());
}

#[test]
fn a_gateway_that_refuses_and_delays_keeps_no_letter_back() {
    let yard = yard();
    let told = {
        let trial = self::yard();
        assert_eq!(code(&trial.round(MORNING, &[])), 0);
        to_gateway(trial.relay.received())
    };
    let address = told[0].to.clone();
    yard.relay.refuse(&address, "451 4.3.0 later");
    let first = yard.round(MORNING, &["--json"]);
    let (texts, letters) = posted(&yard);
    let waits: Vec<&Posted> =
        texts.iter().filter(|one| one.state == OutboxState::Deferred).collect();
    assert_eq!(waits.len(), 1, "{}", text(&first));
    assert_eq!(waits[0].row.address, address);
    let due = letters.iter().filter(|one| one.row.due_at <= one.row.queued_at);
    assert!(due.into_iter().all(|letter| letter.state == OutboxState::Sent));
    yard.relay.refuse_nobody();
    yard.round(LATER, &[]);
    let after = posted(&yard).0.into_iter().find(|one| one.id == waits[0].id).unwrap();
    assert_eq!((after.state, &after.row.bytes), (OutboxState::Sent, &waits[0].row.bytes));

    let yard = self::yard();
    yard.relay.refuse(&address, "550 5.1.1 no such number");
    yard.round(MORNING, &[]);
    let (texts, letters) = posted(&yard);
    let failed: Vec<&Posted> =
        texts.iter().filter(|one| one.state == OutboxState::Failed).collect();
    assert_eq!((failed.len(), failed[0].fault.as_deref()), (1, Some("address")));
    let beside = letters.iter().find(|one| one.row.alert == failed[0].row.alert).unwrap();
    assert_eq!(beside.state, OutboxState::Sent, "the letter has gone all the same");
    yard.round(LATER, &[]);
    let alerts = json(&rimeward(Some(&yard.config()), &["alerts", "list", "--json"])).to_string();
    assert!(alerts.contains("freeze-") && !alerts.contains("unreachable-"), "{alerts}");
}

#[test]
fn a_wrong_gateway_is_named_by_line_and_a_number_without_country_by_the_self_test() {
    let yard = yard_with("gateway = \"texts.example.org\"\ncountry = \"+1\"\nnumbers = 3");
    let output = rimeward(Some(&yard.config()), &["check-config"]);
    assert_eq!(code(&output), 2);
    let said = text(&output);
    let lines = fs::read_to_string(yard.config()).unwrap();
    let line = |key: &str| 1 + lines.lines().position(|line| line.starts_with(key)).unwrap();
    for key in ["gateway", "country", "numbers"] {
        assert!(said.contains(&format!("line {}", line(key))) && said.contains(key), "{said}");
    }
    let yard = yard_with("gateway = \"{number}@texts.example.org\"");
    let said = json(&rimeward(Some(&yard.config()), &["self-test", "--json"]));
    let finding = said["findings"].as_array().unwrap().iter().find(|f| f["what"] == "texts");
    let finding = finding.unwrap();
    assert_eq!(finding["ok"], false);
    assert!(finding["words"].as_str().unwrap().contains("P01"), "{finding}");
}
