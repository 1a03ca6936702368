//! Published tables, each value with its source beside it, through the harness of `verify`.

use std::path::PathBuf;

use rimeward::cli::verify::{CheckedRow, VerifyArgs, check, verify};

fn check_table(name: &str, text: &str) {
    let report = check(name, text).unwrap();
    let bad: Vec<&CheckedRow> = report.rows.iter().filter(|row| !row.passes()).collect();
    assert!(bad.is_empty(), "{name}: {bad:#?}");
    println!("{name}: {} published values met", report.passed());
}

#[test]
fn sea_water_is_that_of_teos_10() {
    check_table("sea_water.csv", include_str!("published/sea_water.csv"));
}

#[test]
fn glycol_by_volume_is_that_of_the_handbook() {
    check_table("antifreeze.csv", include_str!("published/antifreeze.csv"));
}

#[test]
fn the_night_sky_cools_as_worked_out() {
    check_table("night_sky.csv", include_str!("published/night_sky.csv"));
}

#[test]
fn pipes_freeze_in_the_hours_worked_out() {
    check_table("pipes.csv", include_str!("published/pipes.csv"));
}

#[test]
fn a_battery_freezes_by_its_charge() {
    check_table("battery.csv", include_str!("published/battery.csv"));
}

#[test]
fn the_check_values_of_the_recorded_data_are_all_met() {
    let Some(folder) = std::env::var_os("RIMEWARD_REAL_DATA") else {
        println!("RIMEWARD_REAL_DATA is not set: the check values there were not read");
        return;
    };
    let file = PathBuf::from(folder).join("physics/checks_public.csv");
    assert!(file.is_file(), "{} is missing", file.display());
    let (text, json, code) = verify(&VerifyArgs { file: Some(file) });
    let rows = json["rows"].as_array().unwrap();
    let widest = rows
        .iter()
        .map(|row| {
            let off =
                row["computed"].as_f64().unwrap_or(f64::NAN) - row["expected"].as_f64().unwrap();
            (off.abs() / row["tolerance"].as_f64().unwrap(), row["quantity"].to_string())
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap();
    println!(
        "{} check values: {} passed, {} failed, {} unknown; the widest uses {:.0} % of its tolerance ({})",
        rows.len(),
        json["passed"],
        json["failed"],
        json["unknown"],
        widest.0 * 100.0,
        widest.1
    );
    assert_eq!(code, 0, "{text}");
    assert_eq!(json["failed"], 0);
    assert_eq!(json["unknown"], 0);
    assert!(rows.len() > 100);
}
