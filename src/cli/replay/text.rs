//! What `rimeward replay` prints.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::domain::boat::SiteId;
use crate::domain::message::words::temperature;
use crate::domain::units::TemperatureScale;
use crate::domain::yard::Role;
use crate::sim::replay::play::Fleet;
use crate::sim::replay::score::Message;
use crate::sim::replay::winter::Replayed;

/// What was played, what people would have been told, what froze, and the score.
pub(super) fn text(
    rows: &[Replayed],
    (fleet, without): (&Fleet, &[SiteId]),
    told: &[Message],
    seed: u64,
) -> String {
    let zone = fleet.sites.values().next().map_or(Tz::UTC, |site| site.time_zone);
    let mut text = String::new();
    if let [one] = rows {
        let _ = writeln!(
            text,
            "The cold of {} over the record of {}, {} to {}.",
            season(one.weather),
            season(one.record),
            day(one.span.0, zone),
            day(one.span.1, zone)
        );
    } else if let Some(first) = rows.first() {
        let _ = writeln!(
            text,
            "The cold of {} winters over the record of {}.",
            rows.len(),
            season(first.record)
        );
    }
    let _ = writeln!(
        text,
        "Forecasts are drawn from the error model around what was observed (seed {seed}); nobody acts on anything. Letters of\nevery kind count; the daily worklist is left out of the list, and nudges need season.archives."
    );
    if !without.is_empty() {
        let names: Vec<&str> = without.iter().map(SiteId::as_str).collect();
        let _ = writeln!(text, "NOT PLAYED, no weather: {}", names.join(", "));
    }
    match rows {
        [one] => {
            coldest(&mut text, one);
            messages(&mut text, fleet, told, zone);
            froze(&mut text, one, fleet, zone);
            score(&mut text, one);
        }
        _ => table(&mut text, rows, fleet),
    }
    text
}

fn season(year: i32) -> String {
    format!("{year}-{:02}", (year + 1).rem_euclid(100))
}

fn day(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone).format("%-d %b %Y").to_string()
}

fn coldest(text: &mut String, row: &Replayed) {
    let places = row.coldest_c.iter();
    let words: Vec<String> = places
        .map(|(site, low)| format!("{site} {}", temperature(*low, TemperatureScale::F)))
        .collect();
    let _ = writeln!(text, "Coldest hour: {}\n", words.join(", "));
}

fn messages(text: &mut String, fleet: &Fleet, told: &[Message], zone: Tz) {
    let _ = writeln!(text, "What people would have been told");
    for person in &fleet.people {
        let own: Vec<_> = told.iter().filter(|message| message.person == person.id).collect();
        if own.is_empty() {
            continue;
        }
        let _ = writeln!(text, "  {} {}: {} messages", person.id, person.name, own.len());
        for message in own {
            let at = message.at.with_timezone(&zone).format("%a %-d %b %Y %H:%M");
            let _ = writeln!(text, "    {at}  {}", message.subject);
        }
    }
    if told.is_empty() {
        let _ = writeln!(text, "  nothing");
    }
}

fn froze(text: &mut String, row: &Replayed, fleet: &Fleet, zone: Tz) {
    let _ = writeln!(text, "\nSevere parts that would have frozen");
    for frozen in &row.played.frozen {
        let boat = fleet.boats.iter().map(|(boat, _)| boat).find(|boat| boat.id == frozen.boat);
        let name = boat.map_or("", |boat| boat.name.as_str());
        let when = frozen.at.with_timezone(&zone).format("%a %-d %b %Y %H:%M");
        let told = match frozen.told {
            Some(at) => format!("the owner was told {} before", length(frozen.at - at)),
            None => "THE OWNER WAS NEVER TOLD".to_owned(),
        };
        let _ = writeln!(text, "  {when}  {} {name}, {}: {told}", frozen.boat, frozen.circuit);
    }
    if row.played.frozen.is_empty() {
        let _ = writeln!(text, "  none");
    }
}

fn length(span: TimeDelta) -> String {
    match span.num_hours() {
        hours @ 0..48 => format!("{hours} h"),
        hours => format!("{} days", hours / 24),
    }
}

fn score(text: &mut String, row: &Replayed) {
    let played = &row.played;
    let [before, later, never] = played.froze;
    let early = played.leads_h.iter().filter(|lead| **lead >= 48.0).count();
    let _ = writeln!(
        text,
        "\nScore: severe parts frozen with their owner told a day or more before {before}, later {later}, never {never}.\n{} episodes; in {} of them nothing that was named froze. First word 48 h or more before the danger: {early} of {} of\nthe upper priorities. Episodes of less than 3 h: {}.",
        played.episodes,
        played.false_alarms,
        played.leads_h.len(),
        played.fleeting
    );
}

fn table(text: &mut String, rows: &[Replayed], fleet: &Fleet) {
    let _ = writeln!(
        text,
        "\n                         messages to                          severe parts frozen, the owner told\nwinter      coldest hour  owners: middle, most  manager  episodes  false  a day before  later  never"
    );
    for row in rows {
        let counts = |wanted: fn(Role) -> bool| {
            let people = fleet.people.iter().filter(move |person| wanted(person.role));
            let mut counts: Vec<usize> =
                people.map(|person| row.played.count(&person.id).0).collect();
            counts.sort_unstable();
            counts
        };
        let owners = counts(|role| role == Role::Owner);
        let managers = counts(|role| role == Role::Manager);
        let middle = owners.get(owners.len() / 2).copied().unwrap_or(0);
        let low = row.coldest_c.values().copied().fold(f64::INFINITY, f64::min);
        let [before, later, never] = row.played.froze;
        let _ = writeln!(
            text,
            "{}  {:>15}  {middle:>14}  {:>5}  {:>7}  {:>8}  {:>5}  {before:>12}  {later:>5}  {never:>5}",
            season(row.weather),
            temperature(low, TemperatureScale::F),
            owners.last().copied().unwrap_or(0),
            managers.last().copied().unwrap_or(0),
            row.played.episodes,
            row.played.false_alarms,
        );
    }
}
