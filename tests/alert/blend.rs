//! Antifreeze that would not hold a winter: one word, one that closes it, and none beside a freeze that says more.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::blend::{Filled, PastWinters, Word, decide_filled};
use rimeward::domain::alert::{Alert, AlertId, Concerned, Flat, System, table};
use rimeward::domain::boat::{BoatId, PersonId, SiteId};
use rimeward::domain::season::Hemisphere;

/// Antifreeze that stays as weak as it is, or what `change` says; looked at every third hour from 1 November to the end of April.
fn winter(change: impl Fn(&mut Filled<'_>, DateTime<Utc>)) -> (Vec<(String, Word)>, Option<Alert>) {
    let (boat, site, owner) = (BoatId::from("B11"), SiteId::from("BARN"), PersonId::from("P11"));
    let weak = [System { circuit: "coolers_raw".into(), instance: None }];
    let past = PastWinters::default();
    let mut now: DateTime<Utc> = "2022-11-01T04:07:00Z".parse().unwrap();
    let (mut open, mut closed): (Option<Alert>, Option<Alert>) = (None, None);
    let mut words = Vec::new();
    while now < "2023-05-01T00:00:00Z".parse::<DateTime<Utc>>().unwrap() {
        let (held, last) = (open.clone(), closed.clone());
        let mut look = Filled {
            of: Concerned {
                boat: &boat,
                site: &site,
                zone: chrono_tz::America::New_York,
                hemisphere: Hemisphere::Northern,
                reader: Some(&owner),
                freeze: None,
                open: held.as_ref(),
                closed: last.as_ref(),
                episodes_closed: u32::from(last.is_some()),
            },
            weak: &weak,
            past: &past,
            chance: 0.3,
            over: false,
            waits: false,
        };
        change(&mut look, now);
        if let Some((alert, step, word)) = decide_filled(&look, now) {
            let row = table::row(step.row).unwrap();
            assert!(row.in_force && row.allows(step.from, step.to), "{step:?} breaks the table");
            let local = now.with_timezone(&look.of.zone).format("%m-%d %H").to_string();
            words.extend(word.map(|word| (local, word)));
            if alert.closed.is_some() {
                (open, closed) = (None, Some(alert));
            } else {
                open = Some(alert);
            }
        }
        now += TimeDelta::hours(3);
    }
    (words, open.or(closed))
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[test]
fn it_is_told_once_a_winter_by_day_and_closed_when_the_cold_is_over() {
    let (words, last) = winter(|look, now| {
        if now >= at("2023-03-01T00:00:00Z") {
            look.weak = &[];
            look.over = true;
        }
    });
    let said: Vec<Word> = words.iter().map(|(_, word)| *word).collect();
    assert_eq!(said, [Word::Weak, Word::Over]);
    assert!(words.iter().all(|(at, _)| (8..20).contains(&at[6..].parse::<u32>().unwrap())));
    let last = last.unwrap();
    assert_eq!(last.flat(), Flat::Closed);
    assert!(last.told.values().all(|ledger| !ledger.awaits_closing && ledger.sent.len() == 2));
}

#[test]
fn what_is_renewed_is_closed_with_a_word_and_stays_quiet() {
    let (words, last) = winter(|look, now| {
        let renewed = at("2022-12-01T00:00:00Z")..at("2023-01-01T00:00:00Z");
        if renewed.contains(&now) {
            look.weak = &[];
        }
    });
    let said: Vec<Word> = words.iter().map(|(_, word)| *word).collect();
    assert_eq!(said, [Word::Weak, Word::Done], "weak again in the same winter: no second word");
    assert_eq!(last.unwrap().id.as_str(), "blend-B11-1");
}

#[test]
fn a_freeze_in_sight_takes_over_without_a_word_and_the_yards_boats_are_on_its_list() {
    let freeze: &AlertId = Box::leak(Box::new(AlertId::from("freeze-B11-1")));
    let (words, last) = winter(|look, now| {
        if now >= at("2022-12-20T00:00:00Z") {
            look.of.freeze = Some(freeze);
        }
    });
    assert_eq!(words.len(), 1);
    assert_eq!(last.unwrap().flat(), Flat::Closed);
    assert_eq!(winter(|look, _| look.of.freeze = Some(freeze)).0, []);
    // Cold that is in sight and not yet told, or weather that nobody sees: no word that it is over.
    let (words, last) = winter(|look, now| {
        if now >= at("2023-01-20T00:00:00Z") {
            (look.weak, look.over, look.waits) = (&[], true, true);
        }
    });
    assert_eq!(words.len(), 1);
    assert!(last.unwrap().closed.is_none());
    assert_eq!(winter(|look, _| look.of.reader = None).0, []);
    assert_eq!(winter(|look, _| look.weak = &[]).0, []);
}

/// One that was told and closed in one winter: does a boat that is weak again at `now` get a second letter?
fn second_letter(
    (zone, hemisphere): (chrono_tz::Tz, Hemisphere),
    (raised, now): (&str, &str),
) -> bool {
    let (boat, site, owner) = (BoatId::from("B11"), SiteId::from("BARN"), PersonId::from("P11"));
    let weak = [System { circuit: "coolers_raw".into(), instance: None }];
    let concerned = |closed| Concerned {
        boat: &boat,
        site: &site,
        zone,
        hemisphere,
        reader: Some(&owner),
        freeze: None,
        open: None,
        closed,
        episodes_closed: 1,
    };
    let past = PastWinters::default();
    let filled = |closed| Filled {
        of: concerned(closed),
        weak: &weak,
        past: &past,
        chance: 0.3,
        over: false,
        waits: false,
    };
    let (first, _, _) = decide_filled(&filled(None), at(raised)).unwrap();
    decide_filled(&filled(Some(&first)), at(now)).is_some()
}

#[test]
fn one_letter_a_winter_in_the_south_too_where_it_runs_over_midyear() {
    let south = (chrono_tz::Tz::Australia__Hobart, Hemisphere::Southern);
    assert!(!second_letter(south, ("2023-05-20T02:00:00Z", "2023-08-10T02:00:00Z")));
    assert!(second_letter(south, ("2023-08-10T02:00:00Z", "2024-05-20T02:00:00Z")), "the next");
    let north = (chrono_tz::America::New_York, Hemisphere::Northern);
    assert!(!second_letter(north, ("2022-11-20T16:00:00Z", "2023-02-10T16:00:00Z")));
    assert!(second_letter(north, ("2023-02-10T16:00:00Z", "2023-11-20T16:00:00Z")), "the next");
}
