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
