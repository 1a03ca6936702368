//! Bad and odd input: all rows or none, and every bad row named with what would be right.

use rimeward::adapters::intake::{ImportProblems, Known, Layout, csv};
use rimeward::domain::boat::{Care, Evidence};
use rimeward::domain::catalogue::Catalogue;

use super::demo::yard;

const HEADER: &str =
    "event_id,recorded_at,happened_at,boat_id,site_id,event,circuits,litres_out,evidence,corrects";

/// Reads event rows against the demo yard, with `now` in May 2023.
fn read(rows: &[&str]) -> Result<Vec<rimeward::domain::boat::LayupEvent>, ImportProblems> {
    let yard = yard();
    let known = Known::catalogue(&yard.catalogue)
        .with_sites(&yard.sites)
        .with_boats(&yard.boats)
        .with_now("2023-05-31T12:00:00Z".parse().unwrap());
    let text = format!("{HEADER}\n{}\n", rows.join("\n"));
    csv::events(text.as_bytes(), "events.csv", &known).map(|imported| imported.rows)
}

fn row(id: &str, happened: &str, boat: &str, kind: &str, circuits: &str) -> String {
    format!("{id},{happened}T18:00:00-04:00,{happened}T10:00:00-04:00,{boat},,{kind},{circuits},,,")
}

fn refused(line: &str) -> String {
    read(&[line]).unwrap_err().to_string()
}

#[test]
fn what_is_not_known_is_refused_with_the_nearest_right_name() {
    let good = row("X1", "2022-10-10", "B02", "drained", "block_raw");
    assert_eq!(read(&[&good]).unwrap().len(), 1);
    for (bad, want) in [
        (row("X1", "2022-10-10", "B20", "drained", "block_raw"), "nearest is B"),
        (row("X1", "2022-10-10", "B02", "draned", "block_raw"), "nearest is drained"),
        (row("X1", "2022-10-10", "B02", "drained", "blok_raw"), "nearest is block_raw"),
        (row("X1", "2022-10-10", "B02", "flushed", "block_raw"), "with antifreeze"),
        (
            row("X1", "2022-10-10", "", "drained", "block_raw")
                .replace(",,drained", ",QUAY,drained"),
            "happens to a boat",
        ),
        (
            row("X1", "2022-10-10", "B02", "moved_to", "").replace(",,moved", ",UPER,moved"),
            "nearest is UPPER",
        ),
        (row("X1", "2022-10-10", "", "drained", "block_raw"), "boat_id"),
    ] {
        let told = refused(&bad);
        assert!(told.contains(want) && told.contains("line 2"), "{bad}: {told}");
    }
}

#[test]
fn the_future_and_the_time_before_the_boat_are_refused() {
    let told = refused(&row("X1", "2023-06-10", "B02", "engine_run", ""));
    assert!(told.contains("happened_at") && told.contains("future"), "{told}");
    // B01's hull number ends in 19: model year 2019, not built before 2018.
    let told = refused(&row("X1", "2016-10-10", "B01", "engine_run", ""));
    assert!(told.contains("before the boat existed") && told.contains("2018-01-01"), "{told}");
}

#[test]
fn impossible_litres_and_readings_without_scale_come_in_and_are_graded_down_later() {
    let line = "X1,2022-10-10T18:00:00-04:00,2022-10-10T10:00:00-04:00,B02,,drained,block_raw,4000,probed,";
    assert_eq!(read(&[line]).unwrap()[0].litres_out, Some(4000.0));
    let told = refused(&line.replace("4000", "-3"));
    assert!(told.contains("litres_out") && told.contains("\"-3\""), "{told}");
}

#[test]
fn characters_that_nobody_sees_are_refused_and_never_printed() {
    let told = refused(&row("X1\u{1b}[31m", "2022-10-10", "B02", "drained", "block_raw"));
    assert!(told.contains("line 2, column event_id") && told.contains("U+001B"), "{told}");
    assert!(!told.contains('\u{1b}'), "{told:?}");
    let yard = yard();
    let known = Known::catalogue(&yard.catalogue).with_sites(&yard.sites);
    let table = "boat_id,boat_name,site_id\nX1,\"Kite\r\nBcc: all@example.org\",UPPER\n";
    let told = csv::boats(table.as_bytes(), "boats.csv", &known).unwrap_err().to_string();
    assert!(told.contains("boat_name") && told.contains("one line"), "{told}");
}

#[test]
fn every_bad_row_is_named_and_nothing_is_taken() {
    let good = row("X1", "2022-10-10", "B02", "drained", "block_raw");
    let told = read(&[
        &good,
        &row("X1", "2022-10-11", "B02", "drained", "block_raw"),
        &row("X2", "2022-10-10", "B02", "drained", "nothing_like_it"),
        "X3,yesterday,2022-10-10T10:00:00-04:00,B02,,drained,,,,",
        "X4,2022-10-10T18:00:00-04:00,2022-10-10T10:00:00-04:00,B02,,drained,,,sworn,",
    ])
    .unwrap_err();
    let lines: Vec<u64> = told.problems.iter().map(|problem| problem.line).collect();
    assert_eq!(lines, [3, 4, 5, 6], "{told}");
    let text = told.to_string();
    for words in [
        "event_id",
        "stands in the file already",
        "recorded_at",
        "offset",
        "\"sworn\"",
        "claimed, recorded",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}

#[test]
fn a_correction_must_point_at_an_event_that_is_there() {
    let run = row("X1", "2022-10-10", "B02", "engine_run", "");
    let correction = |of: &str| {
        format!("X2,2022-10-12T18:00:00-04:00,2022-10-12T10:00:00-04:00,B02,,correction,,,,{of}")
    };
    assert!(read(&[&run, &correction("X1")]).is_ok());
    let told = read(&[&run, &correction("X7")]).unwrap_err().to_string();
    assert!(told.contains("corrects") && told.contains("nearest is X1"), "{told}");
    assert!(read(&[&run, &correction("X2")]).is_err(), "not at itself");
}

#[test]
fn marks_separators_and_encodings_do_not_matter() {
    let catalogue = Catalogue::built_in().unwrap();
    let known = Known::catalogue(&catalogue);
    let table = |separator: &str| {
        ["boat_id,boat_name,site_id,boat_type,care", "B1,Frühstück,QUAY,petrol_sterndrive,shared"]
            .map(|line| line.replace(',', separator))
            .join("\r\n")
    };
    let check = |bytes: &[u8]| {
        let boats = csv::boats(bytes, "boats.csv", &known).unwrap().rows;
        assert_eq!((boats[0].name.as_str(), boats[0].care), ("Frühstück", Care::Shared));
    };
    for separator in [",", ";", "\t"] {
        let text = table(separator);
        check(text.as_bytes());
        check(&[&[0xEF, 0xBB, 0xBF], text.as_bytes()].concat());
        let latin: Vec<u8> =
            text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect();
        check(&latin);
        let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        check(&[&[0xFF, 0xFE], wide.as_slice()].concat());
    }
}

#[test]
fn missing_columns_are_named_and_extra_ones_noted() {
    let told =
        csv::people(b"person_id,nmae,role\nP1,A,owner\n", "people.csv").unwrap_err().to_string();
    assert!(told.contains("column name") && told.contains("is it nmae"), "{told}");
    let people =
        csv::people(b"person_id,name,role,shoe size\nP1,A,owner,43\n", "people.csv").unwrap();
    assert_eq!(people.notes, ["people.csv: the column shoe_size is not used"]);
}

#[test]
fn a_place_that_nobody_knows_is_refused_in_the_list_of_people_too() {
    let places = std::collections::BTreeSet::from(["UPPER".into(), "QUAY".into()]);
    let table = b"person_id,name,role,sites\nP1,A,manager,QUAY;UPER\n";
    let read = |places| csv::people_laid_out(table, "people.csv", (&Layout::default(), places));
    let told = read(Some(&places)).unwrap_err().to_string();
    assert!(told.contains("line 2") && told.contains("UPER") && told.contains("UPPER"), "{told}");
    assert!(read(None).is_ok(), "before any place is known");
}

#[test]
fn rows_with_too_few_cells_and_things_that_are_no_table_are_refused() {
    let told = csv::people(b"person_id,name,role\nP1,A\n", "people.csv").unwrap_err().to_string();
    assert!(told.contains("line 2") && told.contains("2 cells and the header 3"), "{told}");
    for bytes in [&b""[..], b"PK\x03\x04\x00\x00\x00", b"\"person_id"] {
        assert!(csv::people(bytes, "people.csv").is_err());
    }
}

#[test]
fn a_boat_of_which_only_engine_and_length_are_known_is_guessed_and_asked_about() {
    let catalogue = Catalogue::built_in().unwrap();
    let known = Known::catalogue(&catalogue);
    let table = b"boat_id;boat_name;site_id;engine_desc;loa_ft\nB1;Kettle;QUAY;2x5.7 I/O;27'6\"\n";
    let imported = csv::boats(table, "boats.csv", &known).unwrap();
    let boat = &imported.rows[0];
    assert_eq!((boat.kind.as_str(), boat.engines), ("petrol_sterndrive", 2));
    assert!((boat.length_m.unwrap() - 8.382).abs() < 1e-3, "27 ft 6 in is 8.382 m");
    assert!(boat.fitted.contains(&"block_raw".into()));
    assert!(
        imported.notes[0].contains("guessed") && imported.notes[0].contains('?'),
        "{:?}",
        imported.notes
    );
}

#[test]
fn instances_and_witnesses_are_read_as_agreed() {
    let catalogue = Catalogue::built_in().unwrap();
    let known = Known::catalogue(&catalogue);
    let table = b"boat_id,boat_name,site_id,engine_count,circuits_fitted\nB1,Kettle,QUAY,0,ac_raw#Saloon unit;ac_raw#forward unit\n";
    let boats = csv::boats(table, "boats.csv", &known).unwrap().rows;
    assert_eq!(boats[0].fitted.len(), 1);
    assert_eq!(boats[0].instances[0].1, "saloon unit");
    let line =
        "X1,2022-10-10T18:00:00-04:00,2022-10-10T10:00:00-04:00,B02,,KIND,block_raw,,witnessed,";
    let grade = |kind| read(&[&line.replace("KIND", kind)]).unwrap()[0].evidence;
    assert_eq!((grade("drained"), grade("ice_found")), (Evidence::Recorded, Evidence::Probed));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig {
        cases: 200, failure_persistence: None, ..Default::default()
    })]

    #[test]
    fn no_bytes_make_the_intake_panic(
        head in proptest::prelude::any::<bool>(),
        bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..400),
    ) {
        let catalogue = Catalogue::built_in().unwrap();
        let known = Known::catalogue(&catalogue);
        let mut file = if head { format!("{HEADER}\nX1,").into_bytes() } else { Vec::new() };
        file.extend(bytes);
        let _ = csv::events(&file, "events.csv", &known);
        let _ = csv::boats(&file, "boats.csv", &known);
        let _ = csv::sites(&file, "sites.csv");
        let _ = csv::people(&file, "people.csv");
    }
}

#[test]
fn a_short_row_hides_no_other_mistake_and_lines_are_counted_as_the_reader_counts_them() {
    let table = "person_id,name,role,email\nP1,Ann,owner,ann@example.org\nP2,Bob,owner\nP3,Cy,admiral,cy@example.org\nP4,Di,owner,nobody\n";
    for table in [table.to_owned(), table.replace('\n', "\r\n")] {
        let problems = csv::people(table.as_bytes(), "people.csv").unwrap_err().problems;
        let told: Vec<(u64, &str)> =
            problems.iter().map(|problem| (problem.line, problem.column.as_str())).collect();
        assert_eq!(told, [(3, ""), (4, "role"), (5, "email")], "{problems:?}");
    }
}

#[test]
fn in_the_hour_that_comes_twice_what_undoes_comes_last() {
    let at = |kind: &str, happened: &str| {
        let line = format!("X1,2022-11-07T18:00:00-05:00,{happened},B02,,{kind},,,,");
        read(&[&line]).unwrap()[0].happened_at.to_rfc3339()
    };
    assert_eq!(at("drained", "2022-11-06T01:30"), "2022-11-06T05:30:00+00:00");
    assert_eq!(at("engine_run", "2022-11-06T01:30"), "2022-11-06T06:30:00+00:00");
    let stated = at("engine_run", "2022-11-06T01:30:00-04:00");
    assert_eq!(stated, "2022-11-06T05:30:00+00:00", "whoever states the offset knows which");
    assert_eq!(at("engine_run", "2022-11-06T03:30"), "2022-11-06T08:30:00+00:00");
}
