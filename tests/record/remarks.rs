//! What remarks say: our own sentences, and the published ones where the data folder is there.

use rimeward::domain::boat::Evidence;
use rimeward::domain::catalogue::{Says, remark_words};

use super::build::{Entry, at_new_year, event, sterndrive};

const OWN: &[(&str, &str)] = &[
    ("ran", "idled ten minutes in the slip"),
    ("ran", "run up to check the charging"),
    ("ran", "quick test on the flusher"),
    ("ran", "brought over under her own power"),
    ("ran", "mtored across the harbour"),
    ("half", "aft plug rusted in"),
    ("half", "couldn't reach the cooler"),
    ("half", "only a dribble from prt"),
    ("half", "did stbd, port later"),
    ("half", "ran short of pink"),
    ("half", "colour weak at the last tap"),
    ("half", "manifold drain plugged"),
    ("none", "postponed"),
    ("none", "entered by mistake"),
    ("none", "he will do it"),
    ("wet", "found ice in strainer"),
    ("wet", "few drops of water"),
    ("wet", "oil looks creamy"),
    ("refilled", "water turned on again"),
    ("refilled", "guests used the shower"),
    ("refilled", "hosed through after"),
    ("foreign", "nur Backbord entleert"),
    ("foreign", "vatten kvar i slangen"),
    ("harmless", "port and starboard done"),
    ("harmless", "plugs bagged on the wheel"),
    ("harmless", "blower 4 min first"),
    ("harmless", "no water in oil"),
    ("harmless", "oil clear"),
    ("harmless", "petcocks left open"),
    ("harmless", "strainer lid back on"),
    ("harmless", "calibrated refractometer"),
    ("harmless", "probed with wire"),
    ("harmless", "6 litres from each side"),
    ("harmless", "cranked, not started"),
    ("harmless", "J. Pepperpot 24 Oct"),
    ("harmless", "dripping stopped"),
    ("harmless", "drained into bucket"),
    ("harmless", "no engine run, never ran on the muffs"),
];

#[test]
fn what_our_own_sentences_say_is_heard() {
    for (says, text) in OWN {
        let remark = remark_words().read(text);
        assert_eq!(remark.asks(), *says != "harmless", "{text}: {remark:?}");
        if *says == "ran" {
            assert!(remark.tells(Says::Ran), "{text}: {remark:?}");
        }
    }
}

/// Asks or caps: on the entry that the remark stands on, after everything was drained and proven.
fn asks_or_caps(kind: &str, remark: &str) -> bool {
    let log = |note: Option<&str>| -> Vec<Entry> {
        let drained =
            event("1", "2022-10-20T09:00", "drained").on("ENGINE_RAW").probed().minutes(20.0);
        let mut entry = event("2", "2022-10-22T09:00", kind);
        if kind == "drained" {
            entry = entry.on("block_raw").probed().minutes(20.0);
        }
        entry.0.note = note.map(str::to_owned);
        vec![drained, entry]
    };
    let (with, bare) = (
        at_new_year(&sterndrive(), &log(Some(remark))).0,
        at_new_year(&sterndrive(), &log(None)).0,
    );
    let questions = |state: &rimeward::domain::boat::BoatState| {
        state.open_questions.len()
            + state.circuits.iter().map(|c| c.open_questions.len()).sum::<usize>()
    };
    let grades = |state: &rimeward::domain::boat::BoatState| -> Vec<(bool, Evidence)> {
        state.circuits.iter().map(|c| (c.holds.is_protected(), c.evidence)).collect()
    };
    questions(&with) > questions(&bare) || grades(&with) != grades(&bare)
}

#[test]
fn what_a_remark_says_is_asked_about_and_what_it_does_not_say_is_not() {
    for (says, text) in OWN {
        assert_eq!(asks_or_caps("drained", text), *says != "harmless", "{text}");
        assert_eq!(asks_or_caps("inspected", text), *says != "harmless", "inspected: {text}");
    }
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the tests' own switch is an environment variable")]
fn of_the_published_remarks_those_that_say_something_are_heard_and_the_others_left_alone() {
    let Ok(folder) = std::env::var("RIMEWARD_REAL_DATA") else { return };
    let folder = std::path::Path::new(&folder);
    let places = [folder.join("remarks_public.csv"), folder.join("../trade/remarks_public.csv")];
    let Some(path) = places.iter().find(|path| path.exists()) else { return };
    let (mut said, mut heard, mut plain, mut asked) = (0, 0, 0, 0);
    for row in
        csv::Reader::from_path(path).unwrap().deserialize::<(String, String, String, String)>()
    {
        let (phrase, on_event, _, effect) = row.unwrap();
        let asks = asks_or_caps(&on_event, &phrase);
        if effect == "none" {
            plain += 1;
            asked += usize::from(asks);
        } else {
            said += 1;
            heard += usize::from(asks);
            if !asks {
                println!("not heard on {on_event}: {phrase}");
            }
        }
    }
    println!("heard {heard} of {said}, asked about {asked} of {plain} harmless ones");
    assert!(
        heard * 100 >= said * 95 && asked * 10 <= plain,
        "{heard} of {said}, {asked} of {plain}"
    );
}
