//! The spreadsheets that yards keep: their own headings, ticks, dates in mixed forms, XLSX; and sheets that come again.

use rimeward::adapters::intake::layout::heading;
use rimeward::adapters::intake::{Imported, Known, Layout, TickColumn, csv};
use rimeward::domain::boat::{Evidence, LayupEvent, Precision};
use rimeward::domain::catalogue::Catalogue;

use super::command::Bench;
use super::demo::yard;
use super::xlsx::{Cell, workbook, workbook_of_two};

fn layout(catalogue: &Catalogue) -> Layout {
    let column = |theirs: &str, ours: &str| (heading(theirs), ours.to_owned());
    Layout {
        columns: [
            column("Boat #", "boat_id"),
            column("Date", "happened_at"),
            column("Remarks", "note"),
        ]
        .into(),
        ticks: [
            ("Engine AF", "blend_flush ENGINE_RAW"),
            ("Block drained", "drained block_raw"),
            ("Water sys", "house_blend"),
        ]
        .map(|(name, meaning)| TickColumn::parse(name, meaning, catalogue).unwrap())
        .into(),
        order: None,
        zone: Some(chrono_tz::America::New_York),
    }
}

fn events(bytes: &[u8]) -> Result<Imported<LayupEvent>, String> {
    let yard = yard();
    let known = Known::catalogue(&yard.catalogue)
        .with_sites(&yard.sites)
        .with_boats(&yard.boats)
        .with_layout(layout(&yard.catalogue))
        .with_now("2023-05-31T12:00:00Z".parse().unwrap());
    csv::events(bytes, "sheet", &known).map_err(|problems| problems.to_string())
}

#[test]
fn a_tick_is_claimed_and_an_order_is_no_entry() {
    let sheet = "Boat #;Date;Engine AF;Block drained;Water sys;Remarks\n\
        B02;10/14/22;x;JB 10/12/22;owner will do;\n\
        B03;10/20/2022;ordered;done;;engine by us, owner will do the water\n\
        B12;10/21/2022;-;;n/a;\n";
    let read = events(sheet.as_bytes()).unwrap();
    let told: Vec<_> = read
        .rows
        .iter()
        .map(|e| {
            (
                e.boat.as_ref().unwrap().as_str(),
                e.kind.as_str(),
                e.who.as_deref(),
                e.happened_at.date_naive().to_string(),
            )
        })
        .collect();
    let day = |text: &str| text.to_owned();
    assert_eq!(
        told,
        [
            ("B02", "blend_flush", None, day("2022-10-14")),
            ("B02", "drained", Some("JB"), day("2022-10-12")),
            ("B02", "declined", None, day("2022-10-14")),
            ("B03", "drained", None, day("2022-10-20")),
        ]
    );
    assert!(
        read.rows.iter().all(|e| e.evidence == Evidence::Claimed && e.precision == Precision::Day)
    );
    assert_eq!(read.rows[1].note.as_deref(), Some("block_drained: JB 10/12/22"), "kept as written");
    let notes = read.notes.join("\n");
    assert!(notes.contains("B03: engine_af is ordered and not done"), "{notes}");
    assert!(notes.contains("line 3, B03: the remark says \"owner will do\""), "{notes}");
    let again = events(sheet.as_bytes()).unwrap();
    let ids =
        |read: &Imported<LayupEvent>| read.rows.iter().map(|e| e.id.clone()).collect::<Vec<_>>();
    assert_eq!(ids(&read), ids(&again), "the same sheet gives the same ids");
}

#[test]
fn a_tick_that_cannot_be_read_or_dated_is_named() {
    let told =
        events(b"Boat #;Engine AF\nB02;x\nB99;x\nB03;half of it\nB03;10/14/2099\n").unwrap_err();
    for words in [
        "line 2, column engine_af",
        "nobody says when",
        "nearest is B09",
        "line 4",
        "must be x, done",
        "lies in the future",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
}

#[test]
fn dates_are_read_in_the_order_that_the_file_shows() {
    let sheet = |dates: [&str; 2]| {
        let rows: Vec<String> =
            dates.iter().map(|date| format!("B02,\"{date}\",drained,block_raw")).collect();
        format!("boat_id,happened_at,event,circuits\n{}\n", rows.join("\n"))
    };
    let days = |dates| {
        let read = events(sheet(dates).as_bytes()).unwrap();
        let days: Vec<String> =
            read.rows.iter().map(|e| e.happened_at.date_naive().to_string()).collect();
        (days, read.notes.join("\n"))
    };
    assert_eq!(days(["3/10/2022", "31/10/2022"]).0, ["2022-10-03", "2022-10-31"]);
    assert_eq!(days(["10/3/2022", "Oct 31, 2022 2:30 pm"]).0, ["2022-10-03", "2022-10-31"]);
    let (read, notes) = days(["10/3/22", "10/4/22"]);
    assert_eq!(read, ["2022-10-03", "2022-10-04"]);
    assert!(notes.contains("month, day, year") && notes.contains("import.day_first"), "{notes}");
    let told = events(sheet(["31/10/2022", "10/31/2022"]).as_bytes()).unwrap_err();
    assert!(told.contains("line 3") && told.contains("other way round than in line 2"), "{told}");
    let exact = events(sheet(["2022-10-03 14:30", "44838"]).as_bytes()).unwrap().rows;
    assert_eq!(
        exact[0].happened_at.to_rfc3339(),
        "2022-10-03T18:30:00+00:00",
        "by the clocks of the place"
    );
    assert_eq!((exact[0].precision, exact[1].precision), (Precision::Minute, Precision::Day));
}

#[test]
fn a_spreadsheet_is_read_like_a_table_of_text() {
    use Cell::{Date, Number, Text};
    let book = workbook(
        &[
            vec![
                Text("Boat #"),
                Text("Date"),
                Text("Event"),
                Text("Circuits"),
                Text("litres_out"),
                Text("minutes"),
            ],
            vec![
                Text("B02"),
                Date(44_837.0),
                Text("drop plugs"),
                Text("block; manifolds"),
                Number(19.5),
                Number(6.0),
            ],
            vec![
                Text(""),
                Date(44_838.604_166_67),
                Text("engine_run"),
                Text(""),
                Text(""),
                Text(""),
            ],
        ],
        "A2:A3",
    );
    let read = events(&book).unwrap();
    let (drain, run) = (&read.rows[0], &read.rows[1]);
    assert_eq!(
        (drain.kind.as_str(), drain.litres_out, drain.minutes),
        ("drained", Some(19.5), Some(6.0))
    );
    assert_eq!(drain.happened_at.date_naive().to_string(), "2022-10-03");
    assert_eq!(drain.circuits.len(), 2);
    assert_eq!(run.boat, drain.boat, "the merged cell speaks for both rows");
    assert_eq!(run.happened_at.to_rfc3339(), "2022-10-04T18:30:00+00:00");
    assert_eq!((drain.precision, run.precision), (Precision::Day, Precision::Minute));
    let told = events(&book[..book.len() / 2]).unwrap_err();
    assert!(told.contains("not a spreadsheet that can be read"), "{told}");
}

#[test]
fn a_sheet_that_comes_again_changes_nothing_and_a_changed_row_makes_a_correction() {
    let bench = Bench::with_demo();
    let text = include_str!("../../config/demo/layup_events.csv");
    let same = bench.write("same.csv", text);
    let told = bench.text(&["import", "events", &same], 0);
    assert!(told.contains("159 rows: 0 added, 0 changed, 159 unchanged"), "{told}");
    let line = text.lines().find(|line| line.starts_with("E118,")).unwrap();
    let changed = bench
        .write("changed.csv", text.replace(line, &line.replace("fuel_treat_run", "fuel_treated")));
    let dry = bench.json(&["import", "events", &changed, "--dry-run"]);
    let fate = dry["fates"].as_array().unwrap().iter().find(|row| row["id"] == "E118").unwrap();
    assert_eq!(fate["fate"], "changed", "{fate}");
    let told = bench.text(&["import", "events", &changed], 0);
    assert!(
        told.contains("0 added, 1 changed, 158 unchanged") && told.contains("never edited"),
        "{told}"
    );
    let again = bench.text(&["import", "events", &changed], 0);
    assert!(again.contains("0 added, 0 changed, 159 unchanged"), "{again}");
    let pump = |known: &str| {
        let state = bench.json(&["boat", "B02", "--at", "2022-11-21T08:00", "--known-at", known]);
        let circuits = state["circuits"].as_array().unwrap();
        circuits.iter().find(|circuit| circuit["circuit"] == "raw_pump").unwrap()["undone_by"]
            .clone()
    };
    assert_eq!(pump("2022-11-21T08:00"), "E118", "what was known then stays known then");
    assert!(pump("2099-01-01").is_null(), "and from now on the run did not happen");
    let back = bench.text(&["import", "events", &same], 0);
    assert!(back.contains("1 changed"), "{back}");
    assert_eq!(pump("2099-01-01"), "E118~3");
}

#[test]
fn a_dry_run_of_the_boats_says_which_fields_would_change() {
    let bench = Bench::with_demo();
    let text = include_str!("../../config/demo/boats.csv");
    let line = text.lines().find(|line| line.starts_with("B02,")).unwrap();
    let path = bench
        .write("boats.csv", text.replace(line, &line.replace("Second Biscuit", "Third Biscuit")));
    let told = bench.text(&["import", "boats", &path, "--dry-run"], 0);
    assert!(told.contains("0 added, 1 changed, 11 unchanged; nothing was changed"), "{told}");
    assert!(told.contains("B02: changed: name \"Second Biscuit\" -> \"Third Biscuit\""), "{told}");
    assert!(bench.text(&["boat", "B02"], 0).contains("Second Biscuit"));
}

#[test]
fn headings_and_ticks_of_the_configuration_are_used_and_checked() {
    let bench = Bench::with_demo();
    let config = std::fs::read_to_string(bench.path("rimeward.toml")).unwrap();
    let sheet = bench.write("wide.csv", "Hull;When;AF\nB02;14.10.2022;x\n");
    let told = bench.text(&["import", "events", &sheet], 2);
    assert!(told.contains("column happened_at") && told.contains("[import.columns]"), "{told}");
    let with = |ticks: &str| {
        format!(
            "{config}\n[import.columns]\nHull = \"boat_id\"\nWhen = \"happened_at\"\n[import.ticks]\nAF = \"{ticks}\"\n"
        )
    };
    bench.write("rimeward.toml", with("blend_flsh ENGINE_RAW"));
    assert!(bench.text(&["import", "events", &sheet], 2).contains("did you mean blend_flush?"));
    bench.write("rimeward.toml", with("blend_flush ENGINE_RAW"));
    let told = bench.text(&["import", "events", &sheet], 0);
    assert!(told.contains("1 rows: 1 added"), "{told}");
}

#[test]
fn a_list_of_berths_takes_no_engine_and_no_drain_away() {
    let bench = Bench::with_demo();
    let berths = "boat_id,boat_name,site_id,location_in_site\nB02,Second Biscuit,UPPER,U-9\nB05,Old Lamplighter,QUAY,Row D-3\n";
    let path = bench.write("berths.csv", berths);
    let told = bench.text(&["import", "boats", &path, "--dry-run"], 0);
    for lost in ["kind", "engines", "cooling", "hull_id", "length_m", "keys", "instances", "notes"]
    {
        assert!(!told.contains(&format!("changed: {lost} ")), "{lost}: {told}");
        assert!(!told.contains(&format!(", {lost} ")), "{lost}: {told}");
    }
    assert!(!told.contains("fit-out"), "{told}");
    assert!(told.contains("location \"U-3\" -> \"U-9\""), "{told}");
}

#[test]
fn what_only_looks_like_initials_is_refused_and_a_day_without_a_year_is_of_this_season() {
    for junk in ["nope", "ND", "N.D.", "leak", "tmrw", "ASAP", "wip", "DNF", "miss", "undo"] {
        let told = events(format!("Boat #;Date;Block drained\nB02;10/14/22;{junk}\n").as_bytes());
        assert!(
            told.as_ref().is_err_and(|told| told.contains("must be x, done")),
            "{junk}: {told:?}"
        );
    }
    let read = events("Boat #;Block drained\nB02;10/28 JP\nB03;done Jean\n".as_bytes());
    assert!(read.unwrap_err().contains("nobody says when"), "the second has no day");
    let read = events("Boat #;Block drained\nB02;10/28 JP\n".as_bytes()).unwrap();
    let [row] = read.rows.as_slice() else { panic!("{read:?}") };
    assert_eq!(
        (row.happened_at.date_naive().to_string().as_str(), row.who.as_deref()),
        ("2022-10-28", Some("JP"))
    );
    let early = events("Boat #;Date;Block drained\nB03;10/20/2010;x\n".as_bytes()).unwrap_err();
    assert!(early.contains("before the boat existed"), "{early}");
}

#[test]
fn a_tick_that_is_taken_back_protects_no_longer() {
    let bench = Bench::with_demo();
    let config = std::fs::read_to_string(bench.path("rimeward.toml")).unwrap();
    bench.write(
        "rimeward.toml",
        format!("{config}\n[import.ticks]\n\"Block drained\" = \"drained block_raw\"\n"),
    );
    let holds = || {
        let boat = bench.json(&["boat", "B02", "--at", "2023-05-30T12:00"]);
        let circuits = boat["circuits"].as_array().unwrap();
        circuits.iter().find(|c| c["circuit"] == "block_raw").unwrap()["evidence"].clone()
    };
    let import = |cell: &str| {
        let sheet = format!("boat_id,happened_at,Block drained\nB02,2023-05-29,{cell}\n");
        bench.text(&["import", "events", &bench.write("ticks.csv", sheet)], 0)
    };
    let before = holds();
    for _ in 0..2 {
        import("x");
        assert_eq!(holds(), "claimed");
        let told = import("ordered");
        assert!(told.contains("no longer ticked"), "{told}");
        assert_eq!(holds(), before);
    }
}

#[test]
fn midnight_of_a_spreadsheet_is_a_day_and_no_hour() {
    let bytes = "Boat #;Date;Block drained\nB02;2022-10-20 00:00:00;x\n";
    let read = events(bytes.as_bytes()).unwrap();
    assert_eq!(read.rows[0].precision, Precision::Day);
}

#[test]
fn separators_hints_and_units_of_other_programs_are_read() {
    for sheet in [
        "boat_id|happened_at|event|circuits|minutes\nB02|2022-10-20|drained|block_raw|20 min\n",
        "sep=;\nboat_id;happened_at;event;circuits;minutes\nB02;2022-10-20;drained;block_raw;20 min\n",
    ] {
        let read = events(sheet.as_bytes()).unwrap();
        assert_eq!(read.rows[0].minutes, Some(20.0), "{sheet}");
    }
}

#[test]
fn nothing_of_a_file_is_lost_without_a_word() {
    let open = "boat_id,happened_at,event,note\nB02,2022-10-03,fogged,\nB02,2022-10-04,engine_run,\"ran it\nB02,2022-10-05,engine_run,\n";
    let told = events(open.as_bytes()).unwrap_err();
    assert!(told.contains("line 3") && told.contains("never closed"), "{told}");
    let inches = open.replace("\"ran it", "27'6\" hose");
    assert_eq!(events(inches.as_bytes()).unwrap().rows.len(), 3);
    use Cell::Text;
    let book = workbook_of_two(&[
        vec![Text("boat_id"), Text("happened_at"), Text("event")],
        vec![Text("B02"), Text("2022-10-03"), Text("fogged")],
    ]);
    let notes = events(&book).unwrap().notes.join("; ");
    assert!(notes.contains("only the sheet Winter") && notes.contains("November"), "{notes}");
}

#[test]
fn what_a_tick_says_that_is_no_work_done_stays_with_the_boat() {
    let sheet = "Boat #;Date;Water sys\nB02;10/14/22;owner will do\n";
    let declined = &events(sheet.as_bytes()).unwrap().rows[0];
    assert_eq!(declined.kind, "declined");
    assert!(declined.circuits.contains(&"pot_lines".into()), "{:?}", declined.circuits);
    let yard = yard();
    let known = |log: &[LayupEvent]| {
        Known::catalogue(&yard.catalogue)
            .with_boats(&yard.boats)
            .with_layout(layout(&yard.catalogue))
            .with_events(log)
            .with_now("2023-05-31T12:00:00Z".parse().unwrap())
    };
    let ticked = "Boat #;Date;Water sys\nB02;10/14/22;x\n";
    let before = csv::events(ticked.as_bytes(), "sheet", &known(&[])).unwrap().rows;
    let blank = ticked.replace(";x", ";");
    let after = csv::events(blank.as_bytes(), "sheet", &known(&before)).unwrap();
    assert!(after.rows.is_empty());
    let notes = after.notes.join("; ");
    assert!(notes.contains("ticked before and is blank now"), "{notes}");
}

#[test]
fn amounts_come_with_the_unit_that_was_written() {
    let sheet = "boat_id,happened_at,event,circuits,litres_out,minutes\n\
        B02,2022-10-03,drained,block_raw,4 gal,1 h\nB02,2022-10-04,drained,block_raw,16 L,12 min\n";
    let rows = events(sheet.as_bytes()).unwrap().rows;
    assert_eq!((rows[0].litres_out, rows[0].minutes), (Some(15.14), Some(60.0)));
    assert_eq!((rows[1].litres_out, rows[1].minutes), (Some(16.0), Some(12.0)));
    let told = events(sheet.replace("4 gal", "2 buckets").as_bytes()).unwrap_err();
    assert!(told.contains("gal, qt, pt or ml"), "{told}");
}

#[test]
fn an_engine_that_the_boat_does_not_have_is_refused() {
    let row = |boat: &str, which: &str| {
        let sheet = format!(
            "boat_id,happened_at,event,circuits,instance\n{boat},2022-10-20,drained,coolers_raw,{which}\n"
        );
        events(sheet.as_bytes()).map(|read| read.rows.len())
    };
    assert_eq!(row("B11", "port"), Ok(1));
    assert_eq!(row("B11", "both"), Ok(1));
    let told = row("B11", "aft").unwrap_err();
    assert!(told.contains("port engine, starboard engine"), "{told}");
    // Of one engine a name is that engine or a side of it.
    assert_eq!(row("B02", "port"), Ok(1));
    let told = row("B02", "aft").unwrap_err();
    assert!(told.contains("has one engine"), "{told}");
}

#[test]
fn a_berth_list_of_numbers_and_engines_makes_boats_that_ask() {
    let bench = Bench::with_demo();
    let list = "boat_id,length,engine_desc,site_id\nN1,10.5 m,5.7 I/O,QUAY\n";
    bench.text(&["import", "boats", &bench.write("list.csv", list)], 0);
    let boat = bench.json(&["boat", "N1", "--at", "2022-11-21T08:00"]);
    let asked = boat["open_questions"].to_string();
    assert!(asked.contains("fit-out guessed from") && asked.contains("cooled raw"), "{asked}");
}

#[test]
fn a_cell_that_says_two_things_or_half_is_refused_and_an_ordinary_one_read() {
    let cell = |cell: &str, date: &str| {
        let sheet = format!("Boat #;Date;Block drained\nB02;{date};{cell}\n");
        events(sheet.as_bytes()).map(|read| {
            read.rows.first().map(|row| (row.who.clone(), row.happened_at.date_naive().to_string()))
        })
    };
    for bad in [
        "\u{2610}",
        "\u{2717}",
        ".",
        "ok not done",
        "x NOT",
        "done tomorrow",
        "done half",
        "x port",
        "1 port",
        "ordered x",
        "ordered 1",
    ] {
        assert!(cell(bad, "10/14/2022").is_err(), "{bad}: {:?}", cell(bad, "10/14/2022"));
    }
    let jp = |day: &str| Some((Some("JP".to_owned()), day.to_owned()));
    for good in ["done - JP", "x/JP", "\u{2714}JP", "done by JP", "x \u{2013} JP"] {
        assert_eq!(cell(good, "10/14/2022").unwrap(), jp("2022-10-14"), "{good}");
    }
    // A day without a year is of the row's own season, whenever the sheet is read.
    assert_eq!(cell("done 10/14 JP", "10/20/2020").unwrap(), jp("2020-10-14"));
    assert_eq!(cell("FALSE", "10/14/2022").unwrap(), None);
    assert!(cell("TRUE", "10/14/2022").unwrap().is_some());
}

#[test]
fn cells_are_read_as_yards_write_them() {
    let sheet = "boat_id,happened_at,event,circuits,reading_value,litres_out,evidence,point\n\
        b02,2022-10-03,drained,\"block_raw, manifold_raw\",,~14 L,Probed,\n\
        Second Biscuit,2022-10-04,block sample,block and manifolds,\u{2212}31 C,,Measured,drains\n";
    let rows = events(sheet.as_bytes()).unwrap().rows;
    assert!(rows.iter().all(|row| row.boat == Some("B02".into()) && row.circuits.len() == 2));
    assert_eq!((rows[0].litres_out, rows[0].evidence), (Some(14.0), Evidence::Probed));
    assert_eq!((rows[1].reading_value, rows[1].reading_unit.as_deref()), (Some(-31.0), Some("C")));
}

#[test]
fn rows_without_ids_that_were_moved_or_written_otherwise_are_the_same_rows() {
    let bench = Bench::with_demo();
    let header = "boat_id,happened_at,event,circuits,minutes";
    let import = |name: &str, rows: &[&str]| {
        let text = format!("{header}\n{}\n", rows.join("\n"));
        bench.text(&["import", "events", &bench.write(name, text)], 0)
    };
    let (a, b, c) = (
        "B02,2022-10-20,drained,coolers_raw,9",
        "B02,2022-10-20,drained,block_raw,20",
        "B02,2022-10-20,drained,manifold_raw,8",
    );
    assert!(import("1.csv", &[a, b, c]).contains("3 added"));
    let same = |told: String| assert!(told.contains("0 added, 0 changed"), "{told}");
    same(import("2.csv", &[c, a, b]));
    let other = [a, b, c].map(|row| row.replace("2022-10-20", "10/20/22"));
    same(import("3.csv", &other.each_ref().map(String::as_str)));
    same(import("4.csv", &[a, c]));
    let block = |bench: &Bench| {
        let boat = bench.json(&[
            "boat",
            "B02",
            "--at",
            "2022-10-21T12:00",
            "--known-at",
            "2030-01-01T12:00",
        ]);
        let circuits = boat["circuits"].as_array().unwrap();
        let block = circuits.iter().find(|circuit| circuit["circuit"] == "block_raw").unwrap();
        block["holds"].as_str().unwrap().to_owned()
    };
    // The drains of the demo come later: only these rows have drained it by then.
    assert_eq!(block(&bench), "drained", "a row that is gone from the sheet is not withdrawn");
    let told = import("5.csv", &["B02,2022-10-20,drained,intake_hose,7", a, b, c]);
    assert!(told.contains("1 added, 0 changed, 3 unchanged"), "{told}");
    same(import("6.csv", &[a, "B02,2022-10-20,drained,intake_hose,7", b, c]));
    let told = import("7.csv", &[a, &b.replace("20\n", "25"), &c.replace(",8", ",11")]);
    assert!(told.contains("1 changed"), "{told}");
}
