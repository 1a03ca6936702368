//! A haul that is only planned: from when on she counts as ashore.

use chrono::NaiveDate;

use super::build::{event, folded, sterndrive};

#[test]
fn a_planned_haul_counts_from_noon_of_its_day_and_a_recorded_one_from_its_hour() {
    let mut boat = sterndrive();
    boat.haul_date = NaiveDate::from_ymd_opt(2022, 10, 11);
    let afloat = |entries: &[_], at: &str| folded(&boat, entries, at, at).0.afloat;
    // The entries of these tests are an hour behind the clock of the place (EST, EDT).
    // Not in the night before: nobody could act on it, and the lift has not been there.
    assert!(afloat(&[], "2022-10-11T01:00") && afloat(&[], "2022-10-11T10:59"));
    assert!(!afloat(&[], "2022-10-11T11:00"), "with the afternoon left to act");
    let hauled = [event("E1", "2022-10-11T09:30", "hauled")];
    assert!(afloat(&hauled, "2022-10-11T09:00") && !afloat(&hauled, "2022-10-11T10:00"));
}

#[test]
fn a_haul_that_was_planned_for_before_now_takes_her_out_of_her_berth_and_is_asked_about() {
    let mut boat = sterndrive();
    boat.site = "BERTH".into();
    let state = |boat: &_, entries: &[_], at: &str| folded(boat, entries, at, at).0;
    assert!(state(&boat, &[], "2022-10-20T12:00").afloat, "listed at a berth");
    boat.haul_date = NaiveDate::from_ymd_opt(2022, 10, 11);
    assert!(state(&boat, &[], "2022-10-10T12:00").afloat);
    let passed = state(&boat, &[], "2022-10-20T12:00");
    assert!(!passed.afloat && passed.assumed_ashore);
    let asks = |questions: &[String]| questions.iter().any(|one| one.contains("is she ashore"));
    assert!(asks(&passed.open_questions), "{:?}", passed.open_questions);
    let launched = [event("E1", "2022-10-15T09:30", "launched")];
    let launched = state(&boat, &launched, "2022-10-20T12:00");
    assert!(launched.afloat && !asks(&launched.open_questions), "the record knows better");
    assert!(state(&boat, &[], "2024-01-20T12:00").afloat, "of an earlier year");
}
