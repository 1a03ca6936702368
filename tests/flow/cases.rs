//! Cases that must come out right, each from the tables through the door of the weather service to the mail, on the winter that
//! is reconstructed from published figures.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;

use rimeward::sim::demo::winter::{DEMO_SEED, past_days};

use super::round::{Yard, words};
use super::{code, rimeward, text};
use crate::support::smtp::Received;

/// Subjects and words of what one address got.
fn letters(mails: &[Received], to: &str) -> Vec<String> {
    mails.iter().filter(|mail| mail.to == to).map(|mail| words(&mail.bytes)).collect()
}

/// The only letter to an address that speaks of a boat.
fn the_letter(yard: &Yard, to: &str, about: &str) -> String {
    let mails = yard.relay.received();
    let mut found = letters(&mails, to);
    found.retain(|mail| mail.contains(about) && !mail.contains("How we write to you"));
    assert_eq!(found.len(), 1, "{to}, {about}: {found:#?}");
    found.remove(0)
}

/// A yard with everything in it after these rounds.
fn after(rounds: &[&str]) -> Yard {
    let yard = Yard::open(rounds[0]);
    yard.import_everything();
    should_continue(&yard, rounds);
    yard
}

fn should_continue(yard: &Yard, rounds: &[&str]) {
    for at in rounds {
        let round = yard.round(at, &[]);
        assert_eq!(code(&round), 0, "{at}: {}", text(&round));
    }
}

fn says(letter: &str, words: &[&str]) {
    for expect in words {
        assert!(letter.contains(expect), "lacks {expect:?}: {letter}");
    }
}

#[test]
fn a_boat_made_ready_and_run_in_spring_is_told_before_a_frost_in_may() {
    // Emptied in December; run on the hose on 12 May, "to hear it run". Frost came to the hollow in the night to 17 May.
    let yard = after(&[
        "2023-05-13T07:10:00-04:00",
        "2023-05-13T10:10:00-04:00",
        "2023-05-14T09:10:00-04:00",
        "2023-05-15T09:10:00-04:00",
    ]);
    let letter = the_letter(&yard, "tess.drawbridge@example.com", "Second Biscuit");
    says(
        &letter,
        &[
            // Full since that run of November, which nobody drained there; the block since the run of May.
            "water passages of the drive leg: fresh water (claimed, since Sat 12 Nov",
            "engine block: fresh water (claimed, since Fri 12 May",
            "before Thu 18 May",
        ],
    );
}

#[test]
fn afloat_with_water_behind_a_closed_ball_valve_is_told_that_it_can_sink_her() {
    // Both sides of the valve were filled when the head was used over the week-end of 10 December.
    let yard = after(&["2023-01-31T09:10:00-05:00", "2023-02-01T09:10:00-05:00"]);
    let mut told = letters(&yard.relay.received(), "nell.candlewick@example.com");
    told.retain(|mail| mail.contains("Fog Lantern") && !mail.contains("How we write to you"));
    says(
        &told[0],
        &["seacocks: fresh water", "can sink the boat when it thaws", "Never force a frozen valve"],
    );
    // By noon of the second day it is mild for some hours: what froze in the night thaws, and she floats.
    assert_eq!(told.len(), 2, "{told:#?}");
    says(&told[1], &["Changed:", "it begins to thaw about", "lets water in then"]);
}

#[test]
fn the_first_mild_frost_is_worded_otherwise_than_a_night_that_splits_blocks() {
    let yard = after(&[
        "2022-10-23T12:10:00-04:00",
        "2022-10-24T12:10:00-04:00",
        "2022-10-25T12:10:00-04:00",
        "2022-10-26T12:10:00-04:00",
    ]);
    let small = the_letter(&yard, "dot.windowsill@example.com", "Applecart");
    says(
        &small,
        &["Small parts only", "This is not about the engine block", "gear oil of the drive"],
    );
    should_continue(&yard, &["2022-11-10T10:10:00-05:00", "2022-11-10T14:10:00-05:00"]);
    // What was put in through a cold engine under no known label protects her pump by no known strength, and was told before.
    let mut told = letters(&yard.relay.received(), "tess.drawbridge@example.com");
    told.retain(|mail| mail.contains("Second Biscuit") && !mail.contains("How we write to you"));
    let block = told.pop().unwrap();
    says(&block, &["engine block"]);
    assert!(!block.to_lowercase().contains("small parts"), "{block}");
}

#[test]
fn three_hundred_boats_crossing_at_once_are_one_letter_to_each_owner_and_one_to_the_yard() {
    let noon = "2022-11-11T14:10:00-05:00";
    let yard = Yard::open(noon);
    let tables = concat!(env!("CARGO_MANIFEST_DIR"), "/config/demo");
    let mut people = String::from(
        "person_id,name,role,email,sites,quiet_from,quiet_to\nM,Perry Clothesline,manager,office@example.org,UPPER,21:00,05:30\n",
    );
    let mut boats = String::from(
        "boat_id,boat_name,boat_type,loa_m,engine_count,fuel,cooling_kind,site_id,owner_id,drain_permission,circuits_fitted,care\n",
    );
    for number in 0..300 {
        let _ = writeln!(people, "O{number:03},Owner {number},owner,o{number}@example.org,,,");
        let _ = writeln!(
            boats,
            "B{number:03},Biscuit {number},petrol_sterndrive,7.3,1,petrol,raw,UPPER,O{number:03},yes,raw_pump;block_raw;manifold_raw,owner"
        );
    }
    yard.write("people.csv", &people);
    yard.write("boats.csv", &boats);
    for (table, file) in [
        ("sites", format!("{tables}/sites.csv")),
        ("people", yard.path("people.csv")),
        ("boats", yard.path("boats.csv")),
    ] {
        let imported = rimeward(Some(&yard.config()), &["import", table, &file]);
        assert_eq!(code(&imported), 0, "{table}: {}", text(&imported));
    }
    for at in [noon, "2022-11-11T15:10:00-05:00", "2022-11-11T16:10:00-05:00"] {
        let round = yard.round(at, &[]);
        assert_eq!(code(&round), 0, "{}", text(&round));
    }
    let mut got: BTreeMap<String, usize> = BTreeMap::new();
    for mail in yard.relay.received() {
        if !words(&mail.bytes).contains("How we write to you") {
            *got.entry(mail.to).or_default() += 1;
        }
    }
    assert_eq!(got.remove("office@example.org"), Some(1), "the yard");
    assert_eq!(got.len(), 300);
    assert!(got.values().all(|count| *count == 1), "{got:?}");
}

#[test]
fn whoever_has_not_laid_up_gets_three_nudges_with_a_day_and_an_hour_and_none_once_it_is_done() {
    let first = "2022-10-01T10:10:00-04:00";
    let yard = Yard::open(first);
    yard.write("coast.csv", &past_days(DEMO_SEED, false).unwrap());
    let archives = "[season.archives]\nBARN = \"coast.csv\"\n";
    fs::write(yard.config(), format!("{}{archives}", yard.settings())).unwrap();
    yard.import_everything();
    let nudges = |yard: &Yard| {
        let mails = letters(&yard.relay.received(), "juniper.doorbell@example.com");
        mails.into_iter().filter(|m| m.contains("is not recorded as laid up.")).collect::<Vec<_>>()
    };
    for day in 1..=9 {
        assert_eq!(code(&yard.round(&format!("2022-10-{day:02}T10:10:00-04:00"), &[])), 0);
    }
    let told = nudges(&yard);

    assert_eq!(told.len(), 3, "{told:#?}");
    for nudge in &told {
        says(nudge, &["of 30 past autumns", "Hour:", "Wobble"]);
    }
    // What is to be put into a calendar: a day and an hour before the last day. On that day it is said that it is the last.
    says(&told[0], &["text/calendar", "BEGIN:VEVENT", "DTSTART"]);
    says(&told[0], &["Day:", "Pick a day and an hour now"]);
    says(&told[2], &["TODAY, Sunday 9 October", "lay up today"]);
    let record = rimeward(
        Some(&yard.config()),
        &[
            "record",
            "B08",
            "drained",
            "circuits=exhaust_wet;coolers_raw",
            "litres_out=3.5",
            "minutes=15",
            "probed=yes",
            "--happened",
            "2022-10-09T12:00",
            "--by",
            "P08",
            "--yes",
        ],
    );
    assert_eq!(code(&record), 0, "{}", text(&record));
    for day in 10..=14 {
        assert_eq!(code(&yard.round(&format!("2022-10-{day:02}T10:10:00-04:00"), &[])), 0);
    }
    assert_eq!(nudges(&yard).len(), 3, "none after it is done");
}
