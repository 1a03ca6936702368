//! What whoever runs the yard does to alerts by hand, and what those concerned hear of it.

use super::round::{Yard, words};
use super::{code, json, rimeward, text};

#[test]
fn out_of_service_and_issued_in_error_are_told_to_everybody_who_counts_on_it() {
    let morning = "2022-11-13T09:10:00-05:00";
    let yard = Yard::open(morning);
    yard.import_everything();
    assert_eq!(code(&yard.round(morning, &[])), 0);
    let listed = json(&rimeward(Some(&yard.config()), &["alerts", "list", "--json"]));
    let told = |alert: &&serde_json::Value| {
        let id = alert["id"].as_str().unwrap();
        id.starts_with("freeze-") && !alert["told"].as_array().unwrap().is_empty()
    };
    let all = listed["alerts"].as_array().unwrap();
    let open: Vec<&str> = all.iter().filter(told).map(|a| a["id"].as_str().unwrap()).collect();
    let [out, wrong] = open[..2] else { panic!("{listed}") };
    let by_hand = |args: &[&str]| {
        let at = ["--at", "2022-11-13T09:20:00-05:00"];
        rimeward(Some(&yard.config()), &[&["alerts"], args, &at[..]].concat())
    };
    let done = by_hand(&[
        "out-of-service",
        out,
        "--review-on",
        "2022-11-20",
        "--reason",
        "sold, <b>to be</b> fetched",
    ]);
    assert_eq!(code(&done), 0, "{}", text(&done));
    let done = by_hand(&["cancel", wrong, "--reason", "entered for the wrong boat", "--by", "P51"]);
    assert_eq!(code(&done), 0, "{}", text(&done));
    for refused in [
        vec!["out-of-service", wrong, "--review-on", "2022-11-20", "--reason", "sold"],
        vec!["out-of-service", out, "--review-on", "2025-11-20", "--reason", "sold"],
        vec!["in-service", wrong],
        vec!["cancel", "freeze-none-1", "--reason", "x"],
    ] {
        assert_eq!(code(&by_hand(&refused)), 2, "{refused:?}");
    }
    let before = yard.relay.received().len();
    assert_eq!(code(&yard.round("2022-11-13T09:30:00-05:00", &[])), 0);
    let mails = yard.relay.received().split_off(before);
    let said = |sentence: &str| {
        let mails = mails.iter().map(|mail| words(&mail.bytes));
        mails.filter(|mail| mail.contains(sentence)).collect::<Vec<_>>()
    };
    let dropped = said("WE NO LONGER FOLLOW THE FREEZE");
    assert!(!dropped.is_empty());
    assert!(dropped[0].contains("Why: sold, <b>to be</b> fetched."), "{}", dropped[0]);
    assert!(dropped[0].contains("&lt;b&gt;"), "what a person typed is no markup: {}", dropped[0]);
    assert!(dropped[0].contains("it does not say that she is out of danger"));
    let taken = said("WAS ISSUED IN ERROR");
    assert!(!taken.is_empty() && taken[0].contains("entered for the wrong boat"));
    let shown = json(&rimeward(Some(&yard.config()), &["alerts", "show", wrong, "--json"]));
    assert_eq!(shown["alert"]["closed"]["reason"]["reason"], "cancelled", "{shown:#}");
    let listed = rimeward(Some(&yard.config()), &["alerts", "list"]);
    assert!(text(&listed).contains("out of service until"), "{}", text(&listed));
}
