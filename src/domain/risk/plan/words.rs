//! The headline of the plan: by which day to start, what falls short, what would make it feasible.

use chrono::NaiveDate;

use super::crew::WorkDay;
use super::due::MustStart;
use crate::domain::units::work_time;

/// What the headline is made from.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    /// Days of the calendar.
    pub days: &'a [WorkDay],
    /// The check of due days.
    pub must: &'a MustStart,
    /// Boats on the list.
    pub boats: usize,
    /// Boats with open work for the crew.
    pub open: usize,
    /// Minutes of that work in all.
    pub open_minutes: u32,
    /// Boats that cannot be laid up completely in time, at the least.
    pub late: usize,
    /// Boats of which something ends after it falls due by the list.
    pub late_by_list: usize,
    /// Boats with circuits past their limit already.
    pub passed: usize,
    /// Those of them in which water still runs.
    pub runs: usize,
    /// The skill that binds the check of due days, where it is not the crew as a whole.
    pub bound_by: Option<&'a str>,
    /// Groups of work that ask for a skill which nobody of the crew has.
    pub outside: usize,
    /// Boats that fall due before their haul is planned.
    pub before_haul: usize,
    /// Boats at places without a usable forecast.
    pub unseen: usize,
    /// Boats of owners that have ice or fall due before the next working day, not confirmed.
    pub owners: usize,
    /// The first day on which work of the crew falls due.
    pub first_due: Option<usize>,
    /// Technicians who are away, by the question that was asked.
    pub away: &'a [String],
    /// Are there emergency drains to make tonight? The check of due days counts without them.
    pub drains: bool,
}

/// A few sentences for the head of the worklist. What is worse than work that falls due stands first: boats that have
/// passed their limit, and boats of which nothing can be said.
#[must_use]
pub fn headline(facts: &Facts<'_>) -> String {
    if facts.boats == 0 {
        return "No boat is on the list: bring in the yard's table with rimeward import boats FILE.".into();
    }
    let mut sentences = Vec::new();
    if facts.passed > 0 {
        sentences.push(format!(
            "Look first: parts of {} are past the limit already{}.",
            boats(facts.passed),
            match facts.runs {
                0 => ": frozen through, start nothing before it has thawed and been tested"
                    .to_owned(),
                runs if runs == facts.passed =>
                    ", water that still runs comes out at once".to_owned(),
                runs => format!(", and water that still runs in {} comes out at once", boats(runs)),
            }
        ));
    }
    if facts.unseen > 0 {
        sentences.push(format!(
            "{} without a usable forecast cannot be planned: see to the forecast, and take no calm from this list until then.",
            boats(facts.unseen)
        ));
    }
    if facts.before_haul > 0 {
        sentences.push(format!(
            "{} before the planned haul: haul earlier, or call in a technician.",
            if facts.before_haul == 1 {
                "1 boat falls due".to_owned()
            } else {
                format!("{} boats fall due", facts.before_haul)
            }
        ));
    }
    if facts.owners > 0 {
        sentences.push(format!(
            "{} due by the next working day or in ice already, and nobody has confirmed it: call, or drain with leave.",
            if facts.owners == 1 {
                "1 boat that its owner lays up is".to_owned()
            } else {
                format!("{} boats that their owners lay up are", facts.owners)
            }
        ));
    }
    if facts.outside > 0 {
        sentences.push(format!(
            "{} for a skill that nobody of this crew has: call somebody who may do it.",
            if facts.outside == 1 {
                "1 job asks".to_owned()
            } else {
                format!("{} jobs ask", facts.outside)
            }
        ));
    }
    match (facts.open, sentences.is_empty()) {
        (0, true) => sentences.push("No crew work is open on any boat: nothing to plan.".into()),
        (0, false) if facts.passed + facts.unseen < facts.boats => {
            sentences.push("No crew work is open on the others.".into());
        }
        (0, false) => {}
        _ => sentences.push(of_the_open(facts)),
    }
    match facts.late_by_list {
        0 => {}
        1 => sentences.push("By the list below 1 boat ends late: see LATE.".into()),
        late => sentences.push(format!("By the list below {late} boats end late: see LATE.")),
    }
    sentences.join(" ")
}

fn of_the_open(facts: &Facts<'_>) -> String {
    let work = work_time(facts.open_minutes);
    let boats = boats(facts.open);
    let have: u32 = facts.days.iter().map(|day| day.minutes).sum();
    if have == 0 {
        return without_hands(facts, &boats, &work);
    }
    let Some(binding) = facts.must.binding.last().and_then(|day| date_of(facts.days, *day)) else {
        let last = facts.days.last().map_or_else(String::new, |day| in_words(day.date));
        return format!(
            "Nothing falls due by {last}: {boats} with {work} of work can wait, and every dry day used now is one less to hurry later."
        );
    };
    let due = work_time(facts.must.due_minutes);
    let lay_ups = facts.bound_by.map_or_else(
        || "complete lay-ups".to_owned(),
        |skill| format!("complete lay-ups that ask for {skill}"),
    );
    let undrained = if facts.drains { " where tonight's drains are not made" } else { "" };
    match facts.must.latest_start {
        Some(0) => format!(
            "Start today: {due} of {lay_ups} fall due by {}{undrained}, and a day later they no longer fit ({work} open on {boats} in all).",
            in_words(binding)
        ),
        Some(day) => {
            let start = date_of(facts.days, day).map_or_else(String::new, in_words);
            format!(
                "Start by {start} at the latest: {due} of {lay_ups} are bound by {}{undrained} ({work} open on {boats} in all).",
                in_words(binding)
            )
        }
        None if hours_until(facts) == 0 => format!(
            "{} of {lay_ups} fall due by {} and nobody works before: call people in, drain tonight's list, or accept the risk ({work} open on {boats} in all).",
            work_time(facts.must.short_minutes),
            in_words(binding)
        ),
        None => format!(
            "{} short{} by {}, even when the crew starts today: {}{}, or emergency drains first; {} cannot be laid up completely in time, tonight's drains aside ({work} open on {boats} in all).",
            work_time(facts.must.short_minutes),
            facts.bound_by.map_or_else(String::new, |skill| format!(" of hands for {skill}")),
            in_words(binding),
            match (facts.must.binding.last(), facts.bound_by) {
                (Some(0), _) => "call in more people at once".to_owned(),
                (_, Some(_)) => format!(
                    "{} of theirs a working day would do",
                    work_time(facts.must.need_minutes)
                ),
                _ => format!("{} a working day would do", work_time(facts.must.need_minutes)),
            },
            match facts.away {
                [] => String::new(),
                away => format!(" (away: {}; ask who could come back)", away.join(", ")),
            },
            if facts.late == 1 {
                "1 boat".to_owned()
            } else {
                format!("at least {} boats", facts.late)
            },
        ),
    }
}

/// Nobody works on any of the days: what falls due all the same, and what would help.
fn without_hands(facts: &Facts<'_>, boats: &str, work: &str) -> String {
    let date = |day: usize| date_of(facts.days, day).map(in_words);
    let due = match (facts.first_due.and_then(date), facts.must.binding.last()) {
        (Some(first), Some(last)) => format!(
            " The first falls due by {first}, {} by {}: {} a working day would do.",
            work_time(facts.must.due_minutes),
            date(*last).unwrap_or_default(),
            work_time(facts.must.need_minutes)
        ),
        _ => " Nothing of it falls due in these days.".to_owned(),
    };
    let help = match facts.away {
        [] => "give hours in [crew] of the configuration or with --crew-hours, or call hands in"
            .to_owned(),
        away => {
            format!("ask who of {} could come back, or call other hands in", away.join(" and "))
        }
    };
    let pressing = if facts.first_due.is_some() {
        "; until then only the emergency drains below keep them"
    } else {
        ""
    };
    format!(
        "NOBODY TO DO IT: {boats} with {work} of work and no crew hours in the coming {} days.{due} What would help: {help}{pressing}.",
        facts.days.len()
    )
}

/// Crew minutes up to the last binding day.
fn hours_until(facts: &Facts<'_>) -> u32 {
    let last = facts.must.binding.last().copied().unwrap_or(0);
    facts.days.iter().take(last + 1).map(|day| day.minutes).sum()
}

/// `1 boat`, `2 boats`.
#[must_use]
pub fn boats(n: usize) -> String {
    if n == 1 { "1 boat".into() } else { format!("{n} boats") }
}

/// `Sat 19 Nov`.
#[must_use]
pub fn in_words(date: NaiveDate) -> String {
    date.format("%a %-d %b").to_string()
}

/// The date of a day by its number.
#[must_use]
pub fn date_of(days: &[WorkDay], day: usize) -> Option<NaiveDate> {
    days.get(day).map(|day| day.date)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(must: &MustStart, passed: usize, unseen: usize) -> String {
        headline(&Facts {
            days: &[],
            must,
            boats: 3,
            open: 0,
            open_minutes: 0,
            late: 0,
            late_by_list: 0,
            passed,
            runs: passed,
            bound_by: None,
            outside: 0,
            before_haul: 0,
            unseen,
            owners: 0,
            first_due: None,
            away: &[],
            drains: false,
        })
    }

    #[test]
    fn nothing_to_plan_is_said_only_of_boats_that_were_seen_and_hold() {
        let must = crate::domain::risk::plan::due::must_start(&[], &[]);
        assert_eq!(facts(&must, 0, 0), "No crew work is open on any boat: nothing to plan.");
        for (passed, unseen) in [(0, 3), (0, 1), (3, 0), (1, 0), (1, 2)] {
            let said = facts(&must, passed, unseen);
            assert!(!said.contains("nothing to plan"), "{passed} {unseen}: {said}");
            assert_eq!(said.contains("Look first"), passed > 0, "{said}");
            assert_eq!(said.contains("without a usable forecast"), unseen > 0, "{said}");
            assert_eq!(said.contains("the others"), passed + unseen < 3, "{said}");
        }
    }

    #[test]
    fn without_hands_the_due_day_the_hours_and_who_is_away_are_named() {
        let day = |n: u32| WorkDay {
            date: NaiveDate::from_ymd_opt(2022, 10, 28 + n).unwrap(),
            minutes: 0,
            opens: chrono::DateTime::UNIX_EPOCH,
            evening: chrono::DateTime::UNIX_EPOCH,
            share: 1.0,
        };
        let days: Vec<WorkDay> = (0..4).map(day).collect();
        let must = crate::domain::risk::plan::due::must_start(&[(90, 2), (60, 3)], &[0; 4]);
        let away = ["P52".to_owned(), "P53".to_owned()];
        let said = |away: &[String]| {
            headline(&Facts {
                days: &days,
                must: &must,
                boats: 2,
                open: 2,
                open_minutes: 150,
                late: 2,
                late_by_list: 2,
                passed: 0,
                runs: 0,
                bound_by: None,
                outside: 0,
                before_haul: 0,
                unseen: 0,
                owners: 0,
                first_due: Some(2),
                away,
                drains: false,
            })
        };
        let absent = said(&away);
        for words in ["no crew hours", "Sun 30 Oct", "Mon 31 Oct", "a working day", "P52 and P53"] {
            assert!(absent.contains(words), "{words}: {absent}");
        }
        assert!(!absent.contains("[crew]"), "the configuration is not what is wrong: {absent}");
        assert!(said(&[]).contains("[crew]"));
    }
}
