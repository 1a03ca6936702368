//! A heated place that is off, reads low, or is read no more: told to whoever runs it, once, and closed with a word.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::heat::{HeatedPlace, Outside, Trouble, Word, decide_heat};
use rimeward::domain::alert::{Alert, AlertSettings, Flat, table};
use rimeward::domain::boat::{PersonId, SiteId};
use rimeward::domain::risk::Priority;

/// Hour, word, and to whom.
type CommandOutput = Vec<(i64, Word, Vec<String>)>;

const START: &str = "2022-12-23T22:00:00Z";

fn hour(number: i64) -> DateTime<Utc> {
    START.parse::<DateTime<Utc>>().unwrap() + TimeDelta::hours(number)
}

fn off() -> Trouble {
    Trouble::Off { since: hour(-2) }
}

/// A week, hour by hour, of a shed with three boats whose power is away and frost outside, or what `change` says.
fn week(
    change: impl Fn(&mut HeatedPlace<'_>, i64),
    by_hand: impl Fn(&Alert, i64) -> Option<Alert>,
) -> (CommandOutput, Option<Alert>) {
    let (site, settings) = (SiteId::from("SHED"), AlertSettings::default());
    let (managers, next) = ([PersonId::from("P51")], [PersonId::from("P52")]);
    let (mut open, mut closed): (Option<Alert>, Option<Alert>) = (None, None);
    let mut words = Vec::new();
    for number in 0..168 {
        if let Some(next) = open.as_ref().and_then(|alert| by_hand(alert, number)) {
            open = Some(next);
        }
        let held = open.clone();
        let mut place = HeatedPlace {
            site: &site,
            managers: &managers,
            next: &next,
            trouble: Some(off()),
            boats: 3,
            in_danger: true,
            outside: Outside::Frost,
            chance: 0.4,
            issued_at: Some(hour(number)),
            open: held.as_ref(),
            episodes_closed: u32::from(closed.is_some()),
            settings: &settings,
        };
        change(&mut place, number);
        if let Some((alert, step, word)) = decide_heat(&place, hour(number)) {
            let row = table::row(step.row).unwrap();
            assert!(row.in_force && row.allows(step.from, step.to), "{step:?} breaks the table");
            words.extend(word.map(|(word, people)| {
                (number, word, people.iter().map(ToString::to_string).collect())
            }));
            if alert.closed.is_some() {
                (open, closed) = (None, Some(alert));
            } else {
                open = Some(alert);
            }
        }
    }
    (words, open.or(closed))
}

fn nobody(_: &Alert, _: i64) -> Option<Alert> {
    None
}

fn said(words: &[(i64, Word, Vec<String>)]) -> Vec<(i64, Word, &str)> {
    words.iter().map(|(at, word, who)| (*at, *word, who[0].as_str())).collect()
}

#[test]
fn it_is_told_at_once_passed_on_when_nobody_answers_and_closed_when_it_is_back() {
    let (words, last) = week(|place, now| place.trouble = (now < 70).then(off), nobody);
    assert_eq!(
        said(&words)[..2],
        [(0, Word::Trouble, "P51"), (1, Word::Trouble, "P52")],
        "{words:?}"
    );
    assert_eq!(words[2].0, 70);
    assert_eq!((words[2].1, words[2].2.len(), words.len()), (Word::Back, 2, 3));
    let last = last.unwrap();
    assert_eq!((last.id.as_str(), last.flat()), ("heat-SHED-1", Flat::Closed));
    assert!(last.told.values().all(|ledger| !ledger.awaits_closing));
}

#[test]
fn who_has_answered_is_not_passed_over() {
    let answer = |alert: &Alert, _: i64| {
        alert.acknowledge("P51".into(), Some(hour(1000)), hour(0)).map(|(next, _)| next)
    };
    let (words, last) = week(|_, _| {}, answer);
    assert_eq!(said(&words), [(0, Word::Trouble, "P51")]);
    assert!(last.unwrap().is_raised(), "it stays open as long as it is off");
}

#[test]
fn without_frost_or_boats_or_trouble_nothing_is_told() {
    for change in [
        (|place: &mut HeatedPlace<'_>| place.outside = Outside::Mild) as fn(&mut HeatedPlace<'_>),
        |place| place.outside = Outside::Between,
        |place| place.boats = 0,
        |place| place.in_danger = false,
        |place| place.trouble = None,
    ] {
        assert!(week(|place, _| change(place), nobody).0.is_empty());
    }
}

#[test]
fn it_is_let_go_after_half_a_day_without_frost_and_never_while_nobody_can_see() {
    let answer = |alert: &Alert, _: i64| {
        alert.acknowledge("P51".into(), Some(hour(1000)), hour(0)).map(|(next, _)| next)
    };
    let (words, _) = week(
        |place, now| {
            place.outside = match now {
                0..10 => Outside::Frost,
                // A few mild hours, then frost again, then nobody can see, then mild for good.
                10..15 => Outside::Mild,
                15..30 => Outside::Frost,
                30..100 => Outside::Unseen,
                _ => Outside::Mild,
            }
        },
        answer,
    );
    assert_eq!(said(&words), [(0, Word::Trouble, "P51"), (112, Word::Mild, "P51")]);
    let (words, last) = week(
        |place, now| place.outside = if now < 5 { Outside::Frost } else { Outside::Unseen },
        answer,
    );
    assert_eq!(words.len(), 1);
    assert!(last.unwrap().is_raised());
}

#[test]
fn that_nobody_reads_it_is_less_than_that_it_is_cold() {
    let silent = Trouble::Silent { last: "2022-12-20".parse().unwrap() };
    let low = Trouble::Low { read_c: -1.0, morning: "2022-12-26".parse().unwrap() };
    let (words, last) =
        week(|place, now| place.trouble = Some(if now < 48 { silent } else { low }), nobody);
    // Silent presses on nobody else; low does, and counts as news.
    assert_eq!(
        said(&words),
        [(0, Word::Trouble, "P51"), (48, Word::Trouble, "P51"), (49, Word::Trouble, "P52")]
    );
    let last = last.unwrap();
    assert_eq!(last.told.values().next().unwrap().last.priority, Priority::High);
}

#[test]
fn the_cold_outside_is_judged_by_its_likely_depth() {
    assert_eq!(Outside::of(Some(-0.1), 1.0), Outside::Frost);
    assert_eq!(Outside::of(Some(0.5), 1.0), Outside::Between);
    assert_eq!(Outside::of(Some(1.0), 1.0), Outside::Mild);
    assert_eq!(Outside::of(None, 1.0), Outside::Unseen);
}

#[test]
fn a_plan_that_was_not_kept_speaks_again_and_a_lost_letter_is_told_anew() {
    let plan = |alert: &Alert, now: i64| {
        (now == 1)
            .then(|| alert.acknowledge("P51".into(), Some(hour(6)), hour(1)))?
            .map(|(next, _)| next)
    };
    let (words, _) = week(|_, _| {}, plan);
    assert_eq!(
        said(&words)[..3],
        [(0, Word::Trouble, "P51"), (7, Word::Trouble, "P51"), (8, Word::Trouble, "P52")]
    );
    let lost = |alert: &Alert, now: i64| {
        let mut next = alert.clone();
        (now == 30).then(|| next.untell(&"P51".into()))?;
        Some(next)
    };
    let (words, last) = week(|place, now| place.trouble = (now < 70).then(off), lost);
    assert!(said(&words).contains(&(30, Word::Trouble, "P51")), "{words:?}");
    assert!(last.unwrap().told.values().all(|ledger| !ledger.awaits_closing));
}
