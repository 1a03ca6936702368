//! Nudges to lay up: three at most, apart, none once it is done, none beside a freeze that says more.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rimeward::domain::alert::deadline::{Autumn, Word, decide_autumn};
use rimeward::domain::alert::{Alert, AlertId, Concerned, Flat, System, table};
use rimeward::domain::boat::{BoatId, PersonId, SiteId};
use rimeward::domain::season::Hemisphere;

/// An owner who does nothing, or what `change` says; looked at every third hour from 1 October; the last day is 6 November.
fn autumn(change: impl Fn(&mut Autumn<'_>, DateTime<Utc>)) -> (Vec<(String, Word)>, Option<Alert>) {
    let (boat, site, owner) = (BoatId::from("B02"), SiteId::from("UPPER"), PersonId::from("P02"));
    let wet = [System { circuit: "block_raw".into(), instance: None }];
    let mut now: DateTime<Utc> = "2022-10-01T04:07:00Z".parse().unwrap();
    let (mut open, mut closed): (Option<Alert>, Option<Alert>) = (None, None);
    let mut words = Vec::new();
    while now < "2022-12-31T00:00:00Z".parse::<DateTime<Utc>>().unwrap() {
        let (held, last) = (open.clone(), closed.clone());
        let mut look = Autumn {
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
            wet: &wet,
            last_day: NaiveDate::from_ymd_opt(2022, 11, 6).unwrap(),
            tolerance: 0.1,
            minutes: 150.0,
            half_day: None,
            seasons: 20,
        };
        change(&mut look, now);
        if let Some((alert, step, word)) = decide_autumn(&look, now) {
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

fn days(words: &[(String, Word)]) -> Vec<&str> {
    words.iter().map(|(day, _)| day.get(..5).unwrap()).collect()
}

#[test]
fn whoever_does_nothing_gets_three_words_and_no_more() {
    let (words, last) = autumn(|_, _| {});
    assert_eq!(days(&words), ["10-16", "10-30", "11-04"], "{words:?}");
    assert_eq!(words[2].1, Word::Nudge(3));
    assert!(words.iter().all(|(at, _)| (8..20).contains(&at[6..].parse::<u32>().unwrap())));
    assert_eq!(last.unwrap().flat(), Flat::Closed, "the time of first freezes is over");
}

#[test]
fn none_comes_after_it_is_done_but_one_word_that_closes() {
    let done: DateTime<Utc> = "2022-10-20T00:00:00Z".parse().unwrap();
    let (words, last) = autumn(|look, now| {
        if now >= done {
            look.wet = &[];
        }
    });
    assert_eq!(days(&words), ["10-16", "10-19"], "{words:?}");
    assert_eq!(words[1].1, Word::Done);
    assert!(last.unwrap().told.values().all(|ledger| !ledger.awaits_closing));
    // Laid up in time: not one word.
    assert_eq!(autumn(|look, _| look.wet = &[]).0, []);
    // The yard sees to it.
    assert_eq!(autumn(|look, _| look.of.reader = None).0, []);
}

#[test]
fn a_freeze_in_sight_takes_over_without_a_word() {
    let freeze = AlertId::from("freeze-B02-1");
    let cold: DateTime<Utc> = "2022-10-25T00:00:00Z".parse().unwrap();
    let (words, last) = autumn(|look, now| {
        // The closure may hand in only what outlives it.
        if now >= cold {
            look.of.freeze = Some(Box::leak(Box::new(freeze.clone())));
        }
    });
    assert_eq!(days(&words), ["10-16"], "{words:?}");
    assert!(last.unwrap().closed.is_some());
}

#[test]
fn a_plan_is_waited_for() {
    let mut planned = None;
    let cell = std::cell::RefCell::new(&mut planned);
    let (words, _) = autumn(|look, now| {
        let Some(open) = look.of.open else { return };
        let plan: DateTime<Utc> = "2022-11-02T20:00:00Z".parse().unwrap();
        if now < plan && open.flat() == Flat::Unacknowledged {
            let seen = open.acknowledge("P02".into(), Some(plan), now).unwrap().0;
            **cell.borrow_mut() = Some(Box::leak(Box::new(seen)) as &Alert);
        }
        if now < plan + TimeDelta::days(1) {
            look.of.open = **cell.borrow();
        }
    });
    assert_eq!(
        days(&words),
        ["10-16", "11-03", "11-07"],
        "not on the 30th: a day was named; {words:?}"
    );
}
