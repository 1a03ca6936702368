//! From the words on the command line to the cells of one row of the event table.

use chrono::{DateTime, DurationRound as _, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use ring::digest::{SHA256, digest};

use super::args::RecordArgs;
use crate::adapters::intake::{ImportProblems, entry};
use crate::app::context::YardBook;
use crate::app::salt::Salt;
use crate::cli::CliError;
use crate::cli::time::{at_wall, parse_time};
use crate::domain::boat::{Boat, CircuitId, EventId, LayupEvent, SiteId};
use crate::domain::catalogue::entry_word::plain;
use crate::domain::catalogue::{Catalogue, NotAKind, nearest};
use crate::domain::yard::{Person, Role, Site};

/// Free texts of an event that get a salt of their own: who, point, note.
pub(super) const TEXTS_PER_EVENT: usize = 3;

type Cells = Vec<(String, String)>;

/// What an entry is about.
pub(super) enum Subject<'a> {
    /// One boat.
    Boat(&'a Boat),
    /// All boats of a place.
    Place(&'a Site),
}

impl Subject<'_> {
    /// Where it is listed.
    pub(super) const fn site(&self) -> &SiteId {
        match self {
            Self::Boat(boat) => &boat.site,
            Self::Place(site) => &site.id,
        }
    }

    /// Name and number.
    pub(super) fn name(&self) -> String {
        match self {
            Self::Boat(boat) => format!("{} ({})", boat.name, boat.id),
            Self::Place(site) => format!("{} ({})", site.name, site.id),
        }
    }
}

/// The boat or the place with this number or name.
///
/// # Errors
/// The nearest right number.
pub(super) fn subject<'a>(words: &str, yard: &'a YardBook) -> Result<Subject<'a>, CliError> {
    let wanted = plain(words);
    let boats = || yard.boats.iter();
    let is = |id: &str, name: &str| plain(id) == wanted || plain(name) == wanted;
    let boat = boats()
        .find(|boat| boat.id.as_str() == words)
        .or_else(|| boats().find(|boat| is(boat.id.as_str(), &boat.name)));
    if let Some(boat) = boat {
        return Ok(Subject::Boat(boat));
    }
    if let Some(site) = yard.sites.values().find(|site| is(site.id.as_str(), &site.name)) {
        return Ok(Subject::Place(site));
    }
    let names = boats().flat_map(|boat| [boat.id.as_str(), boat.name.as_str()]);
    let names = names.chain(yard.sites.keys().map(SiteId::as_str));
    let hint = nearest(words, names).map(|like| {
        let id = boats().find(|boat| boat.name == like).map_or(like, |boat| boat.id.as_str());
        format!("; did you mean {id}?")
    });
    Err(CliError::bad_input(format!("no boat is called {words}{}", hint.unwrap_or_default())))
}

/// Everything but time and grade.
///
/// # Errors
/// Words that mean several things, and unknown names with the nearest right one.
pub(super) fn cells(
    args: &RecordArgs,
    subject: &Subject<'_>,
    yard: &YardBook,
    catalogue: &Catalogue,
) -> Result<Cells, CliError> {
    // How the engine is cooled is an answer, whichever way round it is typed.
    let is_answer = args.event.to_lowercase().starts_with("cooling=");
    let event = if is_answer { "question_answered" } else { args.event.as_str() };
    let kind = catalogue.kind_in_words(event).map_err(|why| {
        CliError::bad_input(match why {
            NotAKind::Ask(ask) => {
                format!("{:?} may mean more than one thing; please say which: {ask}", args.event)
            }
            NotAKind::Unknown(Some(like)) => {
                format!("no event is called {}; did you mean {like}?", args.event)
            }
            NotAKind::Unknown(None) => format!(
                "no event is called {}; some are drained, blend_flush, engine_run, outlet_measured, inspected",
                args.event
            ),
        })
    })?;
    let mut cells: Cells =
        vec![("event_id".into(), "new".into()), ("event".into(), kind.id.clone())];
    match subject {
        Subject::Boat(boat) => cells.push(("boat_id".into(), boat.id.to_string())),
        Subject::Place(site) => cells.push(("site_id".into(), site.id.to_string())),
    }
    for fact in is_answer.then_some(&args.event).into_iter().chain(&args.facts) {
        for (column, value) in entry::cells(fact, catalogue).map_err(CliError::bad_input)? {
            if cells.iter().any(|(there, _)| *there == column) {
                return Err(CliError::bad_input(format!("{column} is given twice; keep one")));
            }
            cells.push((column, value));
        }
    }
    // A word that is taken for a signature says what was asked for: it stays with the entry.
    if kind.flags.signs && plain(&args.event) != plain(&kind.id) {
        match cells.iter_mut().find(|(column, _)| column == "note") {
            Some((_, note)) => *note = format!("{}; {note}", args.event),
            None => cells.push(("note".into(), args.event.clone())),
        }
    }
    if let Some(by) = &args.by {
        let person = person(by, yard)?;
        cells.retain(|(column, _)| column != "who");
        cells.push(("who".into(), person.id.to_string()));
        if !cells.iter().any(|(column, _)| column == "role") {
            let role = match person.role {
                Role::Owner => "owner",
                Role::Technician => "technician",
                Role::Manager | Role::Operator => "yard",
            };
            cells.push(("role".into(), role.into()));
        }
    }
    Ok(cells)
}

fn person<'a>(words: &str, yard: &'a YardBook) -> Result<&'a Person, CliError> {
    let wanted = plain(words);
    let people = || yard.people.values();
    let is =
        |person: &&Person| plain(person.id.as_str()) == wanted || plain(&person.name) == wanted;
    people().find(is).ok_or_else(|| {
        let names = people().flat_map(|person| [person.id.as_str(), person.name.as_str()]);
        let hint = nearest(words, names)
            .and_then(|like| people().find(|p| p.id.as_str() == like || p.name == like))
            .map_or_else(String::new, |person| format!("; did you mean {}?", person.id));
        CliError::bad_input(format!(
            "nobody on the list of people is called {words}{hint}; for somebody who is not on it write who=..."
        ))
    })
}

/// The grade of an entry, and why it is that.
pub(super) struct Stated {
    /// As the event table writes it; none for a correction that leaves the grade as it was.
    pub(super) grade: Option<String>,
    /// What to tell about it.
    pub(super) note: Option<String>,
}

/// The grade that was given, else what the entry itself bears out.
pub(super) fn grade(given: Option<&str>, cells: &Cells) -> Stated {
    if let Some(given) = given {
        return Stated { grade: Some(given.trim().to_lowercase()), note: None };
    }
    let value = |wanted: &str| {
        cells.iter().find(|(column, _)| column == wanted).map(|(_, value)| value.as_str())
    };
    if value("event") == Some("correction") {
        return Stated { grade: None, note: None };
    }
    let has = |wanted: &str| value(wanted).is_some_and(|value| !value.is_empty());
    let probed = value("probed").is_some_and(|value| {
        ["yes", "y", "x", "true", "1"].contains(&value.to_lowercase().as_str())
    });
    let (grade, why) = if has("reading_value") && has("scale") && has("reading_unit") {
        ("measured", "a reading with its unit and scale is given")
    } else if has("volts") {
        ("measured", "volts are given")
    } else if probed {
        ("probed", "the drains were probed")
    } else if has("minutes") || has("litres_out") || has("reading_value") {
        ("recorded", "minutes, litres or a reading are given")
    } else {
        ("claimed", "nothing was counted, probed or measured")
    };
    let note = format!("graded {grade}, because {why}; --evidence says otherwise");
    Stated { grade: Some(grade.into()), note: Some(note) }
}

/// The cells for when it happened and when it is written down.
///
/// # Errors
/// Words that say which forms are read.
pub(super) fn moment(
    happened: Option<&str>,
    now: DateTime<Utc>,
    zone: Tz,
) -> Result<Cells, CliError> {
    let local_now = now.with_timezone(&zone);
    let (text, mut hour_known) = (happened.unwrap_or("now").trim().to_lowercase(), true);
    let clock = |text: &str| {
        ["%H:%M", "%I:%M%p", "%I:%M %p"]
            .iter()
            .find_map(|form| NaiveTime::parse_from_str(text, form).ok())
    };
    let behind = |day| {
        Some((day, text.strip_prefix(day)?.trim_matches([' ', ',']).trim_start_matches("at ")))
    };
    let (day, rest) = behind("yesterday").or_else(|| behind("today")).unwrap_or((&text, ""));
    let date = match day {
        "today" => Some(local_now.date_naive()),
        "yesterday" => local_now.date_naive().pred_opt(),
        other => clock(other).map(|_| local_now.date_naive()),
    };
    let at = match (date, text.as_str()) {
        (_, "now") => now.duration_trunc(TimeDelta::minutes(1)).unwrap_or(now),
        (Some(date), _) => {
            let time = clock(day).or_else(|| clock(rest));
            if time.is_none() && !rest.is_empty() {
                return Err(CliError::bad_input(format!(
                    "{rest:?} is not a time of day; write 14:30"
                )));
            }
            hour_known = time.is_some();
            let wall = date.and_time(time.unwrap_or(NOON));
            at_wall(wall, zone)?
        }
        (None, _) if text.parse::<chrono::NaiveDate>().is_ok() => {
            hour_known = false;
            parse_time(&format!("{text}T12:00"), zone)?
        }
        (None, _) => {
            let text = happened.unwrap_or_default().trim();
            match (parse_time(text, zone), entry::moment(text, zone)) {
                (Ok(at), _) => at,
                // As sheets have it: 10/26/2026, 20 Oct 2026 9:30.
                (Err(_), Some((at, known))) => {
                    hour_known = known;
                    at.to_utc()
                }
                (Err(why), None) => return Err(why),
            }
        }
    };
    // The hour of a day without one is a placeholder; today's must not lie ahead.
    let same_day = at.with_timezone(&zone).date_naive() == local_now.date_naive();
    let at = if !hour_known && same_day { at.min(now) } else { at };
    let stamp = |at: DateTime<Utc>| at.with_timezone(&zone).to_rfc3339();
    Ok(vec![
        ("happened_at".into(), stamp(at)),
        ("recorded_at".into(), stamp(now)),
        ("time_precision".into(), if hour_known { "minute" } else { "day" }.into()),
    ])
}

/// Noon, the placeholder of a day without an hour.
const NOON: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

/// What was wrong, without the lines and columns of a table that nobody wrote.
pub(super) fn refusal(problems: &ImportProblems) -> CliError {
    let lines: Vec<String> = problems
        .problems
        .iter()
        // Its fault is that of the time that was given.
        .filter(|problem| problem.column != "recorded_at")
        .map(|problem| match problem.column.as_str() {
            "happened_at" => format!("--happened: {}", problem.remedy),
            "evidence" => format!("--evidence {}: {}", problem.value, problem.remedy),
            column => format!("{column}={}: {}", problem.value, problem.remedy),
        })
        .collect();
    CliError::bad_input(format!("nothing was appended: {}", lines.join("\n  ")))
}

/// What an entry without parts would change is nothing.
///
/// # Errors
/// The parts that the boat has.
pub(super) fn must_name_parts(
    event: &LayupEvent,
    subject: &Subject<'_>,
    catalogue: &Catalogue,
) -> Result<(), CliError> {
    let Subject::Boat(boat) = subject else { return Ok(()) };
    let wants = catalogue.event(&event.kind).filter(|kind| kind.wants_parts());
    let Some(kind) = wants.filter(|_| event.circuits.is_empty()) else { return Ok(()) };
    let parts: Vec<&str> = boat.fitted.iter().map(CircuitId::as_str).collect();
    Err(CliError::bad_input(format!(
        "nothing was appended: {} of which parts? Say circuits=...; those of {} are {}",
        kind.label,
        boat.id,
        parts.join(" ")
    )))
}

/// An id that says what and when, with a tail from the content and one that chance gives.
pub(super) fn event_id(event: &LayupEvent, salt: Salt) -> EventId {
    let hash = digest(&SHA256, format!("{event:?}").as_bytes());
    let hex =
        |bytes: &[u8]| bytes.iter().take(2).map(|byte| format!("{byte:02x}")).collect::<String>();
    let about = event.boat.as_ref().map(|boat| boat.as_str());
    let about = about.or(event.site.as_ref().map(SiteId::as_str)).unwrap_or("yard");
    let day = event.happened_at.format("%Y%m%dT%H%MZ");
    EventId::from(format!("{about}-{day}-{}{}", hex(hash.as_ref()), hex(&salt)))
}

/// Whether an entry of the log says just what this one does, apart from its id and when it was written down.
pub(super) fn says_the_same(old: &LayupEvent, new: &LayupEvent) -> bool {
    let minute = |event: &LayupEvent| event.happened_at.timestamp().div_euclid(60);
    minute(old) == minute(new)
        && LayupEvent {
            id: new.id.clone(),
            recorded_at: new.recorded_at,
            happened_at: new.happened_at,
            happened_offset_s: new.happened_offset_s,
            ..old.clone()
        } == *new
}
