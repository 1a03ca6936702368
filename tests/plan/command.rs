//! `rimeward plan` as a user runs it, on the yard of the demonstration in its first days, and what it says to bad input.

use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

use crate::support::TempDir;

pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

pub fn run(args: &[&str]) -> Answer {
    let output = Command::new(env!("CARGO_BIN_EXE_rimeward")).args(args).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Answer {
        code: output.status.code().unwrap(),
        out: text(&output.stdout),
        err: text(&output.stderr),
    }
}

/// The store of the demonstration on the morning of 3 October, made once.
pub fn config() -> &'static str {
    static CONFIG: OnceLock<(TempDir, String)> = OnceLock::new();
    let (_, config) = CONFIG.get_or_init(|| {
        let folder = TempDir::new("plan");
        let kept = folder.path().join("demo");
        let kept = kept.to_str().unwrap().to_owned();
        let made = run(&["demo", "--keep", &kept, "--at", AT]);
        assert_eq!(made.code, 0, "{}", made.err);
        assert!(
            made.out.contains("of complete lay-ups"),
            "the worklist carries the crew line: {}",
            made.out
        );
        (folder, format!("{kept}/rimeward.toml"))
    });
    config
}

pub const AT: &str = "2022-10-03T06:30";

fn plan(more: &[&str]) -> Answer {
    let mut args = vec!["--config", config(), "plan", "--at", AT];
    args.extend(more);
    run(&args)
}

pub fn plan_json(more: &[&str]) -> Value {
    let mut args = vec!["--config", config(), "--json", "plan", "--at", AT];
    args.extend(more);
    let answer = run(&args);
    assert_eq!(answer.code, 0, "{}", answer.err);
    serde_json::from_str(&answer.out).unwrap()
}

fn boats(document: &Value, key: &str) -> Vec<String> {
    let rows = document[key].as_array().unwrap();
    rows.iter().map(|row| row["boat"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn the_plan_of_the_demonstration_is_whole_and_repeats() {
    let found = plan_json(&[]);
    assert_eq!(found, plan_json(&[]), "the same question, the same list");
    let rows = boats(&found, "rows");
    assert!(rows.contains(&"B02".into()) && rows.len() >= 8, "{rows:?}");
    assert!(!rows.contains(&"B01".into()), "its owner lays B01 up");
    assert!(boats(&found, "owners").contains(&"B01".into()));
    let bound = found["bound"].as_f64().unwrap();
    assert!(found["expected_loss"].as_f64().unwrap() >= bound - 1e-3);
    assert!(found["must_start"]["due_h"].as_f64().unwrap() > 0.0);
    let engine = &found["rows"][0]["groups"][0];
    let record = engine["record"][0].as_str().unwrap();
    assert!(record.starts_with("rimeward record B"), "{record}");
    let loops = found.to_string();
    assert!(!loops.contains("drained circuits=\\\"closed_loop"), "a closed loop is never drained");
}

#[test]
fn fewer_hands_and_deeper_cold_never_leave_more_time() {
    let day = |document: &Value| {
        document["must_start"]["latest_start"].as_str().unwrap_or("0000").to_owned()
    };
    let short = |document: &Value| document["must_start"]["short_h"].as_f64().unwrap();
    let (plain, colder) = (plan_json(&[]), plan_json(&["--cold", "3"]));
    assert!(day(&colder) <= day(&plain) && short(&colder) >= short(&plain));
    let (alone, hour) = (plan_json(&["--without", "P52"]), plan_json(&["--crew-hours", "0.5"]));
    assert!(day(&alone) <= day(&plain));
    assert!(short(&hour) > 0.0, "{}", hour["must_start"]);
    assert!(hour["headline"].as_str().unwrap().contains("short"), "{}", hour["headline"]);
    let tolerant = plan_json(&["--tolerance", "0.25"]);
    assert!(day(&tolerant) >= day(&plain));
}

/// Fourteen kelvins colder than forecast, what the boats hold freezes in the coming night.
#[test]
fn tonights_round_has_clock_times_and_leaves_the_rest_of_the_day_to_the_list() {
    let found = plan_json(&["--cold", "14"]);
    let tonight = &found["tonight"];
    let stops = tonight["stops"].as_array().unwrap();
    assert!(stops.len() >= 5, "{tonight}");
    let times: Vec<&str> = stops.iter().map(|stop| stop["done_at"].as_str().unwrap()).collect();
    let early = |stop: &&Value| stop["before_work_begins"] == true;
    let (called, crew): (Vec<&Value>, Vec<&Value>) = stops.iter().partition(early);
    let at = |stop: &&Value| stop["done_at"].as_str().unwrap().to_owned();
    assert!(times.is_sorted() && crew.len() >= 4, "{times:?}");
    assert!(crew.iter().all(|stop| at(stop).as_str() > "2022-10-03T08:00"), "{times:?}");
    assert!(called.iter().all(|stop| at(stop).as_str() < "2022-10-03T08:00"), "{times:?}");
    let drained: Vec<&Value> = found["rows"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|row| row["drained_tonight"] == true)
        .collect();
    assert_eq!(drained.len(), stops.len());
    let ends_today: u64 = found["rows"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|row| row["done_on"] == "2022-10-03")
        .map(|row| row["crew_minutes"].as_u64().unwrap())
        .sum();
    let have = (found["days"][0]["crew_h"].as_f64().unwrap() * 60.0).round();
    let round = tonight["work_s"].as_u64().unwrap() / 60;
    assert!(
        f64::from(u32::try_from(ends_today + round).unwrap()) <= have,
        "{ends_today} {round} {have}"
    );
    let text = plan(&["--cold", "14"]).out;
    assert!(text.contains("of it for tonight's drains") && text.contains("done about"), "{text}");
}

/// With so few hours that complete lay-ups come too late, drains are asked for before; and tonight, where they must begin now.
#[test]
fn a_shortfall_asks_for_emergency_drains_in_time() {
    let some = plan(&["--crew-hours", "0.4"]).out;
    assert!(some.contains("emergency drain (") && !some.contains("Nothing falls due"), "{some}");
    let hardly = plan_json(&["--crew-hours", "0.1"]);
    let stops = hardly["tonight"]["stops"].as_array().unwrap().len();
    let left = hardly["tonight"]["left_over"].as_array().unwrap().len();
    assert!(stops + left > 0, "{}", hardly["headline"]);
    let nobody = plan(&["--crew-hours", "0"]).out;
    assert!(!nobody.contains("Waiting one") && !nobody.contains("TONIGHT"), "{nobody}");
}

/// What does not fit tonight is on the page too, and nobody takes the page for all there is.
#[test]
fn every_boat_of_the_plan_is_on_the_page() {
    let folder = TempDir::new("plan-whole-page");
    let page = folder.path().join("p.html");
    let args = ["--cold", "14", "--crew-hours", "0.5"];
    let found = plan_json(&args);
    assert!(!found["tonight"]["left_over"].as_array().unwrap().is_empty(), "{found}");
    let answer = plan(&[&args[..], &["--html", page.to_str().unwrap()]].concat());
    assert_eq!(answer.code, 0, "{}", answer.err);
    let page = std::fs::read_to_string(page).unwrap();
    for boat in boats(&found, "rows") {
        assert!(page.contains(&format!("<td>{boat} ")), "{boat}");
    }
    assert!(page.contains("DOES NOT FIT") && answer.out.contains("Does not fit"), "{page}");
}

/// A boat that is hauled later is not laid up ashore before.
#[test]
fn no_complete_lay_up_before_the_haul() {
    let found = plan_json(&[]);
    let rows = found["rows"].as_array().unwrap();
    let held: Vec<&Value> = rows.iter().filter(|row| !row["not_before"].is_null()).collect();
    assert!(held.len() >= 3, "{found}");
    for row in held {
        if let Some(done) = row["done_on"].as_str() {
            assert!(done >= row["not_before"].as_str().unwrap(), "{row}");
        }
    }
}

/// Work for which nobody has the skill does not count as done by the plan.
#[test]
fn work_that_nobody_may_do_is_named_and_not_planned() {
    let folder = TempDir::new("plan-skill");
    let own = folder.path().join("rimeward.toml");
    let text = std::fs::read_to_string(config()).unwrap();
    let store = std::path::Path::new(config()).with_file_name("rimeward.sqlite");
    let text = text.replace("rimeward.sqlite", store.to_str().unwrap());
    let crew = "\n[crew]\nskills_needed = { aircon = \"refrigeration\" }\ntechnicians = [{ person = \"P52\", skills = [\"engines\"] }]\n";
    std::fs::write(&own, text + crew).unwrap();
    let answer = run(&["--config", own.to_str().unwrap(), "--json", "plan", "--at", AT]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let found: Value = serde_json::from_str(&answer.out).unwrap();
    let outside = found["outside"].as_array().unwrap();
    assert!(outside.iter().any(|one| one["boat"] == "B05" && one["group"] == "aircon"), "{found}");
    for row in found["rows"].as_array().unwrap() {
        let own = row["groups"].as_array().unwrap().iter();
        let (barred, open): (Vec<&Value>, Vec<&Value>) =
            own.partition(|group| group["group"] == "aircon");
        let minutes = open.iter().map(|group| group["minutes"].as_u64().unwrap()).sum::<u64>();
        assert!(barred.iter().all(|group| group["barred_for"] == "refrigeration"), "{row}");
        assert_eq!(row["minutes"].as_u64().unwrap(), minutes, "only what the crew may do: {row}");
    }
    assert!(found["headline"].as_str().unwrap().contains("nobody of this crew has"));
    // Whoever is left when the licensed one is away does not inherit the licence.
    let both =
        "technicians = [{ person = \"P52\", skills = [\"refrigeration\"] }, { person = \"P53\" }]";
    let text = std::fs::read_to_string(&own).unwrap();
    let line = text.lines().find(|line| line.starts_with("technicians")).unwrap().to_owned();
    std::fs::write(&own, text.replace(&line, both)).unwrap();
    let own = own.to_str().unwrap();
    let outside = |more: &[&str]| {
        let args = [&["--config", own, "--json", "plan", "--at", AT], more].concat();
        let found: Value = serde_json::from_str(&run(&args).out).unwrap();
        found["outside"].as_array().unwrap().len()
    };
    assert_eq!(outside(&[]), 0);
    assert!(outside(&["--without", "P52"]) > 0);
}

#[test]
fn after_hours_the_plan_asks_for_overtime_and_on_sunday_for_a_call() {
    let at = |time: &str| run(&["--config", config(), "plan", "--at", time, "--cold", "14"]).out;
    let evening = at("2022-10-03T20:00");
    assert!(evening.contains("Today's hours are over"), "{evening}");
    assert!(!evening.contains("before dark") && !evening.contains("call somebody in"), "{evening}");
    let sunday = at("2022-10-02T09:00");
    assert!(sunday.contains("Nobody is on the roster today"), "{sunday}");
}

#[test]
fn no_crew_hours_and_impossible_numbers_are_answered_in_words() {
    let none = plan(&["--crew-hours", "0"]);
    assert_eq!(none.code, 0);
    assert!(none.out.contains("no crew hours") && none.out.contains("[crew]"), "{}", none.out);
    for (args, words) in [
        (["--crew-hours", "-3"], "0 to 1000"),
        (["--cold", "400"], "-20 to 20"),
        (["--tolerance", "0.6"], "0 to 0.25"),
        (["--without", "Nobody"], "the crew is P52, P53"),
    ] {
        let answer = plan(&args);
        assert_eq!(answer.code, 2, "{args:?}");
        assert!(answer.err.contains(words), "{args:?}: {}", answer.err);
    }
}

#[test]
fn the_page_and_the_table_hold_every_group_and_no_key_place() {
    let folder = TempDir::new("plan-page");
    let (page, table) = (folder.path().join("p.html"), folder.path().join("p.csv"));
    let answer = plan(&["--html", page.to_str().unwrap(), "--csv", table.to_str().unwrap()]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("&#9744;") && page.contains("rimeward record B02 drained"));
    assert!(
        page.contains("rimeward record B02 blend_flush"),
        "what was put through is written too"
    );
    for secret in ["lock box", "yard office"] {
        assert!(!page.contains(secret), "the page says where keys hang");
    }
    // Keys in one place have one code, those elsewhere another.
    let found = plan_json(&[]);
    let code = |boat: &str| {
        let rows = found["rows"].as_array().unwrap().iter();
        let row = rows.chain(found["owners"].as_array().unwrap()).find(|row| row["boat"] == boat);
        row.map(|row| row["key"].as_str().unwrap().to_owned()).unwrap()
    };
    assert_eq!(code("B02"), code("B12"));
    assert_ne!(code("B02"), code("B04"));
    assert!(page.contains(&format!("key {}", code("B02"))), "{}", code("B02"));
    let groups = ["rows", "owners"]
        .iter()
        .flat_map(|part| found[part].as_array().unwrap())
        .map(|row| row["groups"].as_array().unwrap().len())
        .sum::<usize>();
    let mut reader = csv::Reader::from_path(table).unwrap();
    assert_eq!(reader.records().map(Result::unwrap).count(), groups);
}

#[test]
fn an_empty_yard_is_told_what_to_bring_in() {
    let folder = TempDir::new("plan-empty");
    let path = folder.path().join("rimeward.toml");
    let text = "[yard]\nname = \"Y\"\ntime_zone = \"America/New_York\"\n[store]\npath = \"s.sqlite\"\n[forecast]\ncontact = \"a@example.org\"\n[mail]\nfrom = \"a@example.org\"\nmaildir = \"M\"\n";
    std::fs::write(&path, text).unwrap();
    let answer = run(&["--config", path.to_str().unwrap(), "plan"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert!(answer.out.contains("rimeward import boats"), "{}", answer.out);
}

/// A boat that is still in the water is judged in its cradle from the day of its haul on, not only once it stands there.
#[test]
fn the_cold_after_the_haul_is_seen_before_it() {
    let chance = |more: &[&str]| {
        let found = plan_json(more);
        let row =
            found["rows"].as_array().unwrap().iter().find(|row| row["boat"] == "B03").cloned();
        let row = row.unwrap_or_else(|| panic!("{found}"));
        assert_eq!((&row["still_afloat"], &row["location"]), (&true.into(), &"berth: ask".into()));
        assert_eq!(row["not_before"], "2022-10-11");
        let engine = row["groups"].as_array().unwrap().iter().find(|g| g["group"] == "engine");
        engine.unwrap()["chance_by_end"].as_f64().unwrap()
    };
    // The water would not freeze it in any of these; the lot does.
    assert!(chance(&["--cold", "6"]) > 0.5, "{}", chance(&["--cold", "6"]));
}

#[test]
fn colder_never_means_less_likely() {
    let mut before: Option<Vec<(String, f64)>> = None;
    for cold in ["-8", "-3", "0", "3", "8"] {
        let found = plan_json(&["--cold", cold, "--tolerance", "0"]);
        let mut chances = Vec::new();
        for row in found["rows"].as_array().unwrap() {
            for group in row["groups"].as_array().unwrap() {
                let name = format!("{} {}", row["boat"], group["group"]);
                chances.push((name, group["chance_by_end"].as_f64().unwrap()));
            }
        }
        if let Some(before) = &before {
            for (name, chance) in before {
                let now = chances.iter().find(|(own, _)| own == name);
                let now = now.unwrap_or_else(|| panic!("{name} is gone at {cold}")).1;
                assert!(now >= chance - 0.02, "{name} at {cold}: {now} after {chance}");
            }
        }
        before = Some(chances);
    }
}

/// One of two may work on engines: the check of due days goes by that one's hours.
#[test]
fn a_scarce_licence_binds_the_start() {
    let folder = TempDir::new("plan-scarce");
    let own = folder.path().join("rimeward.toml");
    let text = std::fs::read_to_string(config()).unwrap();
    let store = std::path::Path::new(config()).with_file_name("rimeward.sqlite");
    let text = text.replace("rimeward.sqlite", store.to_str().unwrap());
    let crew = "\n[crew]\nskills_needed = { engine = \"engines\" }\ntechnicians = [{ person = \"P52\", skills = [\"engines\"] }, { person = \"P53\" }]\n";
    std::fs::write(&own, text + crew).unwrap();
    let own = own.to_str().unwrap();
    let ask = |more: &[&str]| {
        let args = [&["--config", own, "--json", "plan", "--at", AT, "--cold", "6"], more].concat();
        let found: Value = serde_json::from_str(&run(&args).out).unwrap();
        found
    };
    let scarce = ask(&["--crew-hours", "3"]);
    assert_eq!(scarce["must_start"]["bound_by_skill"], "engines", "{}", scarce["must_start"]);
    assert!(scarce["headline"].as_str().unwrap().contains("engines"), "{}", scarce["headline"]);
    for row in scarce["rows"].as_array().unwrap().iter().filter(|row| row["late"] == true) {
        let why = row["why"].as_str().unwrap();
        let is_named = row["drained_tonight"] == true
            || why.contains("emergency drain")
            || why.contains("fit");
        assert!(
            is_named || row["groups"].as_array().unwrap().iter().all(|g| g["frozen"] == true),
            "{row}"
        );
        assert!(!why.contains("hardly any risk"), "{row}");
    }
    // Tonight's rows may hold boats of which the list has none: nobody here may do their complete work.
    for cold in ["0", "6", "14"] {
        let answer =
            run(&["--config", own, "plan", "--at", AT, "--cold", cold, "--without", "P52"]);
        assert_eq!(answer.code, 0, "{}", answer.err);
        assert!(answer.out.contains("THE LIST"), "{}", answer.out);
    }
}

/// With nobody on the crew no boat is calmer than with somebody: what is drained with a crew is asked for without one.
#[test]
fn a_yard_without_hands_is_no_calmer() {
    let asked = |document: &Value| -> Vec<String> {
        let mut found: Vec<String> = Vec::new();
        for row in document["rows"].as_array().unwrap() {
            if row["drained_tonight"] == true || !row["drain_by"].is_null() {
                found.push(row["boat"].as_str().unwrap().to_owned());
            }
        }
        let left = document["tonight"]["left_over"].as_array().cloned().unwrap_or_default();
        found.extend(left.iter().map(|boat| boat.as_str().unwrap().to_owned()));
        found
    };
    for cold in ["6", "14"] {
        let with = asked(&plan_json(&["--cold", cold]));
        for args in [
            &["--cold", cold, "--crew-hours", "0"][..],
            &["--cold", cold, "--without", "P52", "--without", "P53"],
        ] {
            let nobody = plan_json(args);
            let without = asked(&nobody);
            assert!(
                with.iter().all(|boat| without.contains(boat)),
                "{args:?} {with:?} {without:?}"
            );
            let late = nobody["rows"].as_array().unwrap().iter().filter(|row| row["late"] == true);
            for row in late.filter(|row| row["not_before"].is_null()) {
                let boat = row["boat"].as_str().unwrap().to_owned();
                assert!(without.contains(&boat), "{args:?}: {row}");
            }
        }
    }
    let away = plan(&["--cold", "6", "--without", "P52", "--without", "P53"]).out;
    assert!(away.contains("P52 and P53 could come back"), "{away}");
}

/// What an owner has not confirmed comes back to the round's sheet, on lines of its own.
#[test]
fn an_owners_boat_that_presses_is_on_the_sheet() {
    let found = plan_json(&["--cold", "14"]);
    let owners = boats(&found, "owners_tonight");
    assert!(owners.contains(&"B01".into()), "{owners:?}");
    assert!(found["headline"].as_str().unwrap().contains("owner"), "{}", found["headline"]);
    let stops = found["tonight"]["stops"].as_array().unwrap();
    assert!(stops.iter().all(|stop| stop["boat"] != "B01"), "it is in nobody's hours");
    let folder = TempDir::new("plan-owners");
    let page = folder.path().join("p.html");
    let text = plan(&["--cold", "14", "--html", page.to_str().unwrap()]).out;
    assert!(text.contains("not confirmed: call, or drain with leave"), "{text}");
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("OWNER&#x27;S OWN, not confirmed"), "{page}");
}

#[test]
fn a_what_if_says_so_on_paper_and_in_the_table() {
    let folder = TempDir::new("plan-what-if");
    let (page, table) = (folder.path().join("p.html"), folder.path().join("p.csv"));
    let files = ["--html", page.to_str().unwrap(), "--csv", table.to_str().unwrap()];
    plan(&[&["--cold=-5"][..], &files].concat());
    assert!(std::fs::read_to_string(&page).unwrap().contains("WHAT IF, not the plan: 5 K warmer"));
    assert!(std::fs::read_to_string(&table).unwrap().contains("5 K warmer than forecast"));
    plan(&[&["--cold=6"][..], &files].concat());
    let printed = std::fs::read_to_string(&page).unwrap();
    for words in ["How good", "by Mon", "propylene glycol"] {
        assert!(printed.contains(words), "{words}");
    }
    plan(&files);
    assert!(!std::fs::read_to_string(&page).unwrap().contains("WHAT IF"));
}

/// A table of which nothing can be said is not an empty one.
#[test]
fn a_blind_yard_stands_in_the_table() {
    let folder = TempDir::new("plan-blind");
    let table = folder.path().join("p.csv");
    let late = "2022-11-20T08:00";
    let known = ["plan", "--at", late, "--known-at", late, "--csv", table.to_str().unwrap()];
    let answer = run(&[&["--config", config()], &known[..]].concat());
    assert!(
        answer.out.contains("CANNOT SAY") && !answer.out.contains("Forecast: ."),
        "{}",
        answer.out
    );
    let table = std::fs::read_to_string(table).unwrap();
    assert!(table.lines().count() > 1 && table.contains("CANNOT SAY"), "{table}");
}
