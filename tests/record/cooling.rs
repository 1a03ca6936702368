//! The answer about cooling as people give it: by a table, at the first start, by an entry, in reply to a letter.

use serde_json::Value;

use super::command::{Bench, said};

const SITES: &str = "site_id,site_name,kind,latitude,longitude,time_zone\nYARD,Trial yard,outdoor,44.2,-69.1,America/New_York\n";

fn bench() -> Bench {
    let bench = Bench::new();
    let sites = bench.write("sites.csv", SITES);
    bench.text(&["import", "sites", &sites], 0);
    bench
}

fn import(bench: &Bench, table: &str) -> String {
    let file = bench.write("boats.csv", table);
    bench.text(&["import", "boats", &file], 0)
}

/// How she is cooled, how often that is asked in the document, in the text and on the sheet, and whether she has a block.
fn shown(bench: &Bench, more: &[&str]) -> (String, [usize; 3], bool) {
    let view: Value = bench.json(&[&["boat", "B1"], more].concat());
    let asked = |text: &str| text.matches("cooled").count();
    let questions = view["open_questions"].as_array().unwrap();
    let in_json = questions.iter().filter(|ask| ask.as_str().unwrap().contains("cooled")).count();
    let text = bench.text(&[&["boat", "B1"], more].concat(), 0);
    let sheet = bench.text(&["sheet", "B1"], 0);
    let block =
        view["circuits"].as_array().unwrap().iter().any(|one| one["circuit"] == "block_raw");
    let told = text.lines().filter(|line| line.starts_with("- ") && asked(line) > 0).count();
    (view["cooling"].as_str().unwrap().to_owned(), [in_json, told, asked(&sheet).min(1)], block)
}

const BLANK: &str =
    "boat_id,boat_name,boat_type,cooling_kind,site_id\nB1,Paper Kite,petrol_sterndrive,,YARD\n";

#[test]
fn an_entry_answers_and_ends_the_question_everywhere() {
    let bench = bench();
    let told = import(&bench, BLANK);
    assert!(told.contains("cooled raw or half closed"), "{told}");
    assert_eq!(shown(&bench, &[]), ("raw".to_owned(), [1, 1, 1], true));
    let done = bench.json(&["record", "B1", "cooling=closed_full"]);
    assert_eq!(done["event"]["kind"], "question_answered");
    assert_eq!(shown(&bench, &[]), ("closed_full".to_owned(), [0, 0, 0], false));
    let before = ["--at", "2022-11-01T10:00", "--known-at", "2022-11-01T10:00"];
    let (cooling, asked, block) = shown(&bench, &before);
    assert_eq!((cooling.as_str(), asked[0], asked[1], block), ("raw", 1, 1, true));
    let again = bench.json(&["record", "B1", "question_answered", "cooling=raw cooled"]);
    assert_eq!(again["event"]["method"], "cooling: raw cooled");
    assert_eq!(shown(&bench, &[]).0, "raw");
    let refused = bench.text(&["record", "B1", "cooling=warm"], 2);
    assert!(refused.contains("closed_full"), "{refused}");
}

#[test]
fn a_column_answers_by_an_entry_of_the_log_and_a_stale_table_takes_nothing_back() {
    let bench = bench();
    import(&bench, BLANK);
    let said_raw = BLANK.replace("petrol_sterndrive,,", "petrol_sterndrive,half,");
    let told = import(&bench, &said_raw);
    assert!(told.contains("kept in the log as an answer"), "{told}");
    assert_eq!(shown(&bench, &[]), ("closed_half".to_owned(), [0, 0, 0], false));
    let (cooling, asked, _) =
        shown(&bench, &["--at", "2022-11-01T10:00", "--known-at", "2022-11-01T10:00"]);
    assert_eq!((cooling.as_str(), asked[0]), ("raw", 1));
    // Said again it is no news, also where somebody has answered otherwise since; a blank takes nothing back.
    assert!(!import(&bench, &said_raw).contains("kept in the log"));
    bench.json(&["record", "B1", "cooling=closed_full"]);
    assert!(!import(&bench, &said_raw).contains("kept in the log"));
    import(&bench, BLANK);
    assert_eq!(shown(&bench, &[]).0, "closed_full");
}

#[test]
fn a_sheet_never_says_of_a_raw_cooled_engine_that_its_coolant_stays() {
    let bench = bench();
    import(&bench, &BLANK.replace(",,", ",raw,"));
    let sheet = bench.text(&["sheet", "B1"], 0);
    assert!(sheet.contains("Drain block, manifolds"), "{sheet}");
    assert!(!sheet.contains("tested and not drained"), "{sheet}");
    let listed = "boat_id,boat_name,boat_type,cooling_kind,circuits_fitted,site_id\nB1,Paper Kite,petrol_sterndrive,raw,closed_loop;block_raw,YARD\n";
    import(&bench, listed);
    let sheet = bench.text(&["sheet", "B1"], 0);
    assert!(
        !sheet.contains("tested and not drained") && sheet.contains("find out which is right"),
        "{sheet}"
    );
    bench.json(&["record", "B1", "cooling=closed_half"]);
    assert!(bench.text(&["sheet", "B1"], 0).contains("tested and not drained"));
}

#[test]
fn the_mark_stands_in_text_and_document() {
    let bench = bench();
    import(&bench, BLANK);
    let view = bench.json(&["boat", "B1"]);
    let mark = |id: &str| {
        let circuits = view["circuits"].as_array().unwrap();
        circuits.iter().find(|one| one["circuit"] == id).unwrap()["fitted"].clone()
    };
    assert_eq!((mark("block_raw"), mark("head")), ("always".into(), "often".into()));
    let text = bench.text(&["boat", "B1"], 0);
    assert!(text.contains("(head) [often: many such boats have it]"), "{text}");
    import(
        &bench,
        "boat_id,boat_name,boat_type,cooling_kind,circuits_fitted,site_id\nB1,Paper Kite,petrol_sterndrive,raw,head,YARD\n",
    );
    let view = bench.json(&["boat", "B1"]);
    let marks: Vec<&Value> =
        view["circuits"].as_array().unwrap().iter().map(|one| &one["fitted"]).collect();
    assert_eq!(marks, ["added", "added", "added", "stated"]);
}

/// A store of before: its boats have no marks, and the list that was guessed no block.
#[test]
fn a_store_of_an_older_program_is_marked_when_it_is_opened_and_its_log_stays() {
    let bench = bench();
    import(&bench, BLANK);
    bench.json(&["record", "B1", "drained", "circuits=manifold_raw", "minutes=20"]);
    let store = rusqlite::Connection::open(bench.path("store.sqlite")).unwrap();
    let (old, head): (String, String) = store
        .query_row(
            "SELECT document, (SELECT group_concat(document) FROM log) FROM boat",
            [],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .unwrap();
    let mut old: Value = serde_json::from_str(&old).unwrap();
    old.as_object_mut().unwrap().remove("fitting");
    old["fitted"].as_array_mut().unwrap().retain(|id| id != "block_raw");
    store.execute("UPDATE boat SET document = ?1", [old.to_string()]).unwrap();
    drop(store);
    assert_eq!(shown(&bench, &[]), ("raw".to_owned(), [1, 1, 1], true));
    let store = rusqlite::Connection::open(bench.path("store.sqlite")).unwrap();
    let (new, log): (String, String) = store
        .query_row(
            "SELECT document, (SELECT group_concat(document) FROM log) FROM boat",
            [],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .unwrap();
    assert_eq!(log, head);
    assert!(
        new.contains(r#"["raw_pump","always"]"#) && new.contains(r#"["block_raw","added"]"#),
        "{new}"
    );
}

#[test]
fn the_first_start_takes_the_answer_as_an_entry() {
    let bench = Bench::new();
    std::fs::remove_file(bench.path("rimeward.toml")).unwrap();
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
        "sail_shaft",
        "--maildir",
        "Maildir",
        "--cooling",
    ];
    let wrong = bench.run(&[&flags[..], &["warm"]].concat());
    assert!(
        wrong.status.code() == Some(2) && said(&wrong).contains("closed_full"),
        "{}",
        said(&wrong)
    );
    bench.text(&[&flags[..], &["raw"]].concat(), 0);
    let view = bench.json(&["boat", "BOAT1"]);
    assert_eq!(view["cooling"], "raw");
    assert!(view["circuits"].as_array().unwrap().iter().any(|one| one["circuit"] == "block_raw"));
    assert!(!view["open_questions"].to_string().contains("cooled"), "{view}");
    let earlier = bench.json(&[
        "boat",
        "BOAT1",
        "--at",
        "2022-11-01T10:00",
        "--known-at",
        "2022-11-01T10:00",
    ]);
    assert_eq!(earlier["cooling"], "closed_full");
}
