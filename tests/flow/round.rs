//! `round` against a real HTTP server and a real SMTP server named in the configuration.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rimeward::sim::demo::issues::Issues;
use rimeward::sim::demo::stand_in::{StandIn, Trouble};
use rimeward::sim::demo::winter::{DEMO_SEED, Winter, past_days};
use tokio::runtime::Runtime;

use super::{code, json, rimeward, text};
use rimeward::adapters::sqlite::{Options, Store};
use rimeward::app::ports::*;
use rimeward::domain::weather::learned::ReadNight;

use crate::support::smtp::{Received, SmtpServer};
use crate::support::{TempDir, at};

/// A weather service, a relay and a yard of our own, each reached only through the configuration.
pub(super) struct Yard {
    runtime: Runtime,
    weather: StandIn,
    pub(super) relay: SmtpServer,
    folder: TempDir,
}

impl Yard {
    pub(super) fn open(now: &str) -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        let issues = Arc::new(Issues::new(Winter::reconstruct(DEMO_SEED).unwrap(), DEMO_SEED));
        let weather = runtime.block_on(StandIn::start(issues, at(now))).unwrap();
        let yard =
            Self { runtime, weather, relay: SmtpServer::start(&[]), folder: TempDir::new("round") };
        fs::write(yard.config(), yard.settings()).unwrap();
        yard
    }

    pub(super) fn config(&self) -> PathBuf {
        self.folder.path().join("rimeward.toml")
    }

    pub(super) fn settings(&self) -> String {
        format!(
            r#"
[yard]
name = "Quillback Cove"
time_zone = "America/New_York"
[store]
path = "store.sqlite"
[forecast]
contact = "office@example.org"
[forecast.nws]
base = "{}"
[judge]
members = 64
past_days = 14
[mail]
from = "freeze-desk@example.org"
[mail.smtp]
host = "127.0.0.1"
port = {}
security = "plaintext-loopback"
"#,
            self.weather.base(),
            self.relay.port,
        )
    }

    /// A file beside the configuration, by its whole path.
    pub(super) fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    pub(super) fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    /// The weather service answers no more.
    pub(super) fn lose_the_weather(&self) {
        self.weather.set_trouble(Trouble::Unavailable);
    }

    pub(super) fn import_everything(&self) {
        let tables = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/demo");
        for (table, file) in [
            ("sites", "sites.csv"),
            ("people", "people.csv"),
            ("boats", "boats.csv"),
            ("events", "layup_events.csv"),
        ] {
            let output = rimeward(
                Some(&self.config()),
                &["import", table, tables.join(file).to_str().unwrap()],
            );
            assert_eq!(code(&output), 0, "{table}: {}", text(&output));
        }
    }

    pub(super) fn round(&self, now: &str, more: &[&str]) -> std::process::Output {
        self.weather.set_now(at(now));
        let args: Vec<&str> = ["round", "--at", now].iter().chain(more).copied().collect();
        rimeward(Some(&self.config()), &args)
    }
}

#[test]
fn a_round_fetches_judges_tells_once_and_repeats_nothing() {
    let morning = "2022-11-13T09:10:00-05:00";
    let yard = Yard::open(morning);
    yard.import_everything();
    let first = yard.round(morning, &["--json"]);
    assert_eq!(code(&first), 0, "{}", text(&first));
    let report = json(&first);
    assert!(report["fetched"].as_array().unwrap().iter().all(|f| f["new_issue"] == true));
    let sent = report["delivered"]["sent"].as_u64().unwrap();
    assert!(sent > 0, "cold nights are ahead of boats that hold water");
    let received = yard.relay.received();
    assert_eq!(received.len() as u64, sent);
    let to_owner = received.iter().find(|m| m.to == "tess.drawbridge@example.com");
    let letter =
        String::from_utf8(to_owner.expect("the owner of the wet block").bytes.clone()).unwrap();
    assert!(letter.contains("Second Biscuit"), "{letter}");

    let again = yard.round("2022-11-13T09:40:00-05:00", &["--json"]);
    assert_eq!(json(&again)["queued"], 0, "nothing is worse than what was told");
    assert_eq!(yard.relay.received().len() as u64, sent);
}

#[test]
fn a_service_that_goes_away_leaves_the_last_forecast_then_blindness_and_no_all_clear() {
    let yard = Yard::open("2022-11-20T09:10:00-05:00");
    yard.import_everything();
    assert_eq!(code(&yard.round("2022-11-20T09:10:00-05:00", &[])), 0);
    yard.weather.set_trouble(Trouble::Unavailable);
    let later = yard.round("2022-11-20T20:10:00-05:00", &["--json"]);
    assert_eq!(code(&later), 0, "judged on the last good one: {}", text(&later));
    let places = json(&later);
    assert!(places["places"].as_array().unwrap().iter().all(|p| p["state"] == "degraded"));
    let before = yard.relay.received().len();
    let blind = yard.round("2022-11-22T09:10:00-05:00", &["--json"]);
    assert_eq!(code(&blind), 3, "{}", text(&blind));
    let changes = json(&blind)["changes"].to_string();
    assert!(!changes.contains("CLOSED") && !changes.contains("RTN"), "{changes}");
    // The manager's worklist of the morning comes besides.
    let about =
        |bytes: &[u8]| String::from_utf8_lossy(bytes).contains("Subject: No usable forecast");
    let after = yard.relay.received().split_off(before);
    let told: Vec<String> =
        after.into_iter().filter(|m| about(&m.bytes)).map(|message| message.to).collect();
    for reader in ["operator@example.org", "office@example.org", "tess.drawbridge@example.com"] {
        assert_eq!(told.iter().filter(|to| *to == reader).count(), 1, "{reader} in {told:?}");
    }
    drop(yard.runtime);
}

#[test]
fn a_relay_that_is_away_keeps_every_letter_for_the_next_round() {
    let morning = "2022-11-13T09:10:00-05:00";
    let yard = Yard::open(morning);
    yard.import_everything();
    let right = fs::read_to_string(yard.config()).unwrap();
    let port = format!("port = {}", yard.relay.port);
    fs::write(yard.config(), right.replace(&port, "port = 9")).unwrap();
    let first = yard.round(morning, &["--json"]);
    assert_eq!(code(&first), 1, "letters that cannot go are no success: {}", text(&first));
    let queued = json(&first)["queued"].as_u64().unwrap();
    assert_eq!(json(&first)["delivered"]["sent"], 0);
    assert!(json(&first)["delivered"]["relay_trouble"].as_str().is_some_and(|why| !why.is_empty()));
    fs::write(yard.config(), right).unwrap();
    let second = yard.round("2022-11-13T09:40:00-05:00", &["--json"]);
    assert_eq!(json(&second)["delivered"]["sent"].as_u64().unwrap(), queued);
    assert_eq!(yard.relay.received().len() as u64, queued);
}

#[test]
fn wrong_use_has_its_exit_codes_and_words() {
    let yard = Yard::open("2022-11-13T09:10:00-05:00");
    let config = yard.config();
    let empty = rimeward(Some(&config), &["round"]);
    assert_eq!(code(&empty), 2, "{}", text(&empty));
    assert!(text(&empty).contains("rimeward import sites"), "{}", text(&empty));
    yard.import_everything();
    for (args, said) in [
        (&["worklist", "--site", "NOWHERE"][..], "the yard has BARN"),
        (&["boat", "B20"], "no boat is called B20"),
        (&["boat", "B02", "--at", "yesterday"], "is not a time"),
        (&["boat", "B02", "--at", "2023-03-12T02:30"], "the clock skips it"),
        (&["import", "boats", "no-such-file.csv"], "cannot read"),
    ] {
        let output = rimeward(Some(&config), args);
        assert_eq!(code(&output), 2, "{args:?}: {}", text(&output));
        assert!(text(&output).contains(said), "{args:?}: {}", text(&output));
    }
    let mistakes = yard.folder.path().join("mistakes.toml");
    fs::write(
        &mistakes,
        yard.settings().replace("office@example.org", "nobody").replace("= 64", "= 3"),
    )
    .unwrap();
    let output = rimeward(Some(&mistakes), &["worklist"]);
    assert_eq!(code(&output), 2);
    for key in ["forecast.contact", "judge.members"] {
        assert!(text(&output).contains(key), "all problems at once: {}", text(&output));
    }
    let away = yard.folder.path().join("away.toml");
    fs::write(&away, yard.settings().replace("store.sqlite", "no/such/folder/store.sqlite"))
        .unwrap();
    assert_eq!(code(&rimeward(Some(&away), &["worklist"])), 4);
}

#[test]
fn what_was_known_then_can_be_asked_later() {
    let yard = Yard::open("2022-11-13T09:10:00-05:00");
    yard.import_everything();
    let ask = |known: &str| {
        let args = ["boat", "B11", "--at", "2022-11-18T17:00", "--known-at", known, "--json"];
        let answer = json(&rimeward(Some(&yard.config()), &args));
        let circuits = answer["circuits"].as_array().unwrap().clone();
        circuits.into_iter().filter(|c| c["circuit"] == "exhaust_wet").collect::<Vec<_>>()
    };
    for then in ask("2022-11-18T17:00") {
        assert_eq!((&then["holds"], &then["evidence"]), (&"blend".into(), &"measured".into()));
        assert!((then["first_ice_c"].as_f64().unwrap() + 11.0).abs() < 0.1, "{then}");
    }
    for now in ask("2023-05-31T12:00") {
        assert_eq!((&now["holds"], &now["undone_by"]), (&"fresh".into(), &"E115".into()));
        assert!(now["since"].as_str().unwrap().starts_with("2022-11-05"), "{now}");
    }
}

/// A blend that was slush at Christmas has a weak layer in February, when the weather of Christmas has long been forgotten.
#[test]
fn a_blend_that_was_slush_is_weak_for_the_rest_of_the_winter() {
    let before = "2022-12-23T09:10:00-05:00";
    let yard = Yard::open(before);
    yard.import_everything();
    let store =
        || Store::open(&yard.folder.path().join("store.sqlite"), Options::default()).unwrap();
    assert_eq!(code(&yard.round(before, &[])), 0);
    assert!(store().separated(at("2023-05-01T00:00:00Z")).unwrap().is_empty(), "not yet");
    let after = "2022-12-26T09:10:00-05:00";
    assert_eq!(code(&yard.round(after, &[])), 0);
    let slush = store().separated(at("2023-05-01T00:00:00Z")).unwrap();
    assert!(!slush.is_empty(), "a weak blend was slush at Christmas");
    let later = "2023-02-02T09:10:00-05:00";
    let separated = |yard: &Yard| {
        assert_eq!(code(&yard.round(later, &[])), 0);
        let listed = rimeward(Some(&yard.config()), &["worklist", "--at", later, "--json"]);
        let listed = json(&listed);
        listed.to_string().matches("it was slush before").count()
    };
    let new = Yard::open(later);
    new.import_everything();
    let (remembered, unknown) = (separated(&yard), separated(&new));
    assert!(remembered > unknown, "{remembered} against {unknown} where nobody looked: {slush:#?}");
}

/// What protects a dear circuit by somebody's word alone stands on the worklist before a cold, and what was measured does not.
#[test]
fn what_is_only_said_to_be_done_is_asked_about_before_a_cold() {
    let start = "2022-12-21T09:10:00-05:00";
    let yard = Yard::open(start);
    yard.import_everything();
    assert_eq!(code(&yard.round(start, &[])), 0);
    let before = yard.relay.received().len();
    assert_eq!(code(&yard.round("2022-12-22T09:10:00-05:00", &[])), 0);
    let mails = yard.relay.received().split_off(before);
    let list =
        mails.iter().map(|mail| words(&mail.bytes)).find(|mail| mail.contains("Cannot say:"));
    let list = list.expect("a worklist in the morning");
    let (_, asked) = list.split_once("only said to be done").expect("a cold is coming");
    let asked = asked.split("Besides").next().unwrap();
    // The owner did the taps, by phone; those of Harbor Mouse were measured at the deck wash. Of a part that only the cooling
    // implies it is asked whether it is aboard.
    assert!(asked.contains("Applecart: drinking-water pump and lines"), "{asked}");
    assert!(!asked.contains("Harbor Mouse: drinking-water"), "{asked}");
    assert!(!asked.contains("exhaust riser"), "{asked}");
    // The taps of Marzipan were done with something pink: of no known strength, they are no claim but work.
    assert!(list.contains("Marzipan") && !asked.contains("Marzipan"), "{list}");
}

/// The plain text of a mail on one line.
pub(super) fn words(mail: &[u8]) -> String {
    let text = String::from_utf8_lossy(mail).replace("=\r\n", "");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The blend of B11 was measured at -12 C; past winters here would have broken it. Told once, before any such cold is in sight,
/// and closed by the freeze that comes in sight or by the record.
#[test]
fn a_blend_that_past_winters_would_have_broken_is_told_in_good_time() {
    let early = "2022-12-06T09:10:00-05:00";
    let yard = Yard::open(early);
    for (name, inland) in [("coast.csv", false), ("inland.csv", true)] {
        fs::write(yard.folder.path().join(name), past_days(DEMO_SEED, inland).unwrap()).unwrap();
    }
    let archives =
        "[season.archives]\nQUAY = \"coast.csv\"\nBARN = \"inland.csv\"\nUPPER = \"inland.csv\"\n";
    fs::write(yard.config(), format!("{}{archives}", yard.settings())).unwrap();
    yard.import_everything();
    // Her list lacks an exchanger and risers, and by her cooling she would have both, full of the lake: her owner says no.
    let answer = "event_id,recorded_at,happened_at,boat_id,event,circuits,method,evidence\n\
        A1,2022-12-01T10:00:00-05:00,2022-12-01T10:00:00-05:00,B11,question_answered,hx_raw;exhaust_riser,not fitted,claimed\n";
    let file = yard.folder.path().join("answer.csv");
    fs::write(&file, answer).unwrap();
    let told = rimeward(Some(&yard.config()), &["import", "events", file.to_str().unwrap()]);
    assert_eq!(code(&told), 0, "{}", text(&told));
    assert_eq!(code(&yard.round(early, &[])), 0);
    let to_owner = |mails: &[Received]| {
        let own = mails.iter().filter(|mail| mail.to == "wren.clothespeg@example.org");
        let told = own.map(|mail| words(&mail.bytes));
        told.filter(|mail| mail.contains("TOO WEAK FOR A WINTER HERE")).collect::<Vec<_>>()
    };
    let first = yard.relay.received();
    let told = to_owner(&first);
    assert_eq!(told.len(), 1, "once");
    for said in ["first ice at 11 F (-12 C)", "of 30 past winters", "never top up", "WARNING"] {
        assert!(told[0].contains(said), "{said}: {}", told[0]);
    }
    for day in ["2022-12-07", "2022-12-08", "2022-12-09"] {
        assert_eq!(code(&yard.round(&format!("{day}T09:10:00-05:00"), &[])), 0);
    }
    let later = yard.relay.received().split_off(first.len());
    assert!(to_owner(&later).is_empty(), "once a winter");
    let listed: Vec<String> = later.iter().map(|mail| words(&mail.bytes)).collect();
    let listed = listed.iter().find_map(|mail| mail.split_once("antifreeze too weak for a winter"));
    let (_, listed) = listed.expect("the yard has its own boats on its worklist");
    let listed: String = listed.chars().take(300).collect();
    assert!(listed.contains("Applecart: drinking-water pump and lines"), "{listed}");
    assert!(!listed.contains("Long Pencil"), "her owner sees to her: {listed}");
    // The outbreak of February comes in sight: the freeze says more and takes over.
    assert_eq!(code(&yard.round("2023-02-02T09:10:00-05:00", &[])), 0);
    assert_eq!(code(&yard.round("2023-02-02T15:10:00-05:00", &[])), 0);
    let shown = json(&rimeward(Some(&yard.config()), &["alerts", "show", "blend-B11-1", "--json"]));
    assert_eq!(shown["alert"]["closed"]["reason"]["by"], "freeze-B11-1", "{shown:#}");
    let why = rimeward(Some(&yard.config()), &["alerts", "explain", "blend-B11-1"]);
    let why = String::from_utf8_lossy(&why.stdout).into_owned();
    assert!(why.contains("too weak for 13 % of the past winters"), "{why}");
}

/// A run that fills the coolers with lake water again is no renewal: nothing says that the antifreeze has been renewed.
#[test]
fn what_is_undone_after_it_was_told_is_not_called_renewed() {
    let early = "2022-10-19T09:10:00-04:00";
    let yard = Yard::open(early);
    fs::write(yard.folder.path().join("inland.csv"), past_days(DEMO_SEED, true).unwrap()).unwrap();
    let archives = "[season.archives]\nBARN = \"inland.csv\"\n";
    fs::write(yard.config(), format!("{}{archives}", yard.settings())).unwrap();
    yard.import_everything();
    assert_eq!(code(&yard.round(early, &[])), 0);
    let sheet = yard.folder.path().join("run.csv");
    let rows = "event_id,recorded_at,happened_at,time_precision,boat_id,event,circuits,method,minutes,who,role,evidence\nT01,2022-10-19T12:00:00-04:00,2022-10-19T11:00:00-04:00,minute,B11,engine_run,ENGINE_RAW,lake,20,Wren Clothespeg,owner,recorded\n";
    fs::write(&sheet, rows).unwrap();
    let imported = rimeward(Some(&yard.config()), &["import", "events", sheet.to_str().unwrap()]);
    assert_eq!(code(&imported), 0, "{}", text(&imported));
    for day in ["2022-10-20", "2022-10-21", "2022-10-24"] {
        assert_eq!(code(&yard.round(&format!("{day}T09:10:00-04:00"), &[])), 0);
    }
    let mails = yard.relay.received();
    let said = |words_of: &str| mails.iter().any(|mail| words(&mail.bytes).contains(words_of));
    assert!(said("TOO WEAK FOR A WINTER HERE"));
    assert!(!said("antifreeze recorded as renewed") && !said("NOTHING TOO WEAK IS LEFT"));
}

/// The storm of 23 December takes the power of the heated shed: whoever runs it is told once, with the hours that each boat has,
/// and hears when it is back.
#[test]
fn the_heat_of_a_shed_that_fails_is_told_to_the_yard_with_the_hours_left() {
    let yard = Yard::open("2022-12-23T09:10:00-05:00");
    yard.import_everything();
    assert_eq!(code(&yard.round("2022-12-23T09:10:00-05:00", &[])), 0);
    let before = yard.relay.received().len();
    // Written up at 17:30: the power is away since 11:10.
    for at in
        ["2022-12-23T17:40:00-05:00", "2022-12-23T20:40:00-05:00", "2022-12-24T09:10:00-05:00"]
    {
        assert_eq!(code(&yard.round(at, &[])), 0);
    }
    let mails = yard.relay.received().split_off(before);
    let of_heat: Vec<(String, String)> = mails
        .iter()
        .map(|mail| (mail.to.clone(), words(&mail.bytes)))
        .filter(|(_, mail)| mail.contains("CHECK THE HEAT"))
        .collect();
    let to: Vec<&str> = of_heat.iter().map(|(to, _)| to.as_str()).collect();
    assert_eq!(to, ["office@example.org", "pepperpot@example.org"], "the yard, then who is next");
    let letter = &of_heat[0].1;
    for said in ["the heat is off since Fri 23 Dec 11:10", "Blue Thimble", "bay 2", "WARNING"] {
        assert!(letter.contains(said), "{said}: {letter}");
    }
    let shown = json(&rimeward(Some(&yard.config()), &["alerts", "show", "heat-SHED-1", "--json"]));
    assert_eq!(shown["alert"]["subject"]["site"], "SHED", "{shown:#}");
    let before = yard.relay.received().len();
    assert_eq!(code(&yard.round("2022-12-26T17:40:00-05:00", &[])), 0);
    let mails = yard.relay.received().split_off(before);
    let back = mails.iter().filter(|mail| words(&mail.bytes).contains("IS HEATED AGAIN")).count();
    assert_eq!(back, 2, "to everybody who was told");
}

/// By the record the heat is on; the thermometer in the shed says otherwise.
#[test]
fn a_thermometer_that_reads_low_counts_for_more_than_the_record() {
    let yard = Yard::open("2022-12-17T09:10:00-05:00");
    yard.import_everything();
    let night = |morning: &str, low_c| ReadNight {
        site: "SHED".into(),
        morning: morning.parse().unwrap(),
        low_c,
        high_c: None,
    };
    let path = yard.folder.path().join("store.sqlite");
    let store = Store::open(&path, Options::default()).unwrap();
    let nights = [night("2022-12-16", 6.5), night("2022-12-17", 1.5)];
    store.put_nights(&nights, at("2022-12-17T08:00:00-05:00")).unwrap();
    drop(store);
    assert_eq!(code(&yard.round("2022-12-17T09:10:00-05:00", &[])), 0);
    let mails = yard.relay.received();
    let letter =
        mails.iter().map(|mail| words(&mail.bytes)).find(|mail| mail.contains("CHECK THE HEAT"));
    let letter = letter.expect("told");
    assert!(
        letter.contains("showed 35 F (2 C)") && letter.contains("set to 45 F (7 C)"),
        "{letter}"
    );
}
