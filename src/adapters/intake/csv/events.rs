//! The table of lay-up events.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::adapters::intake::amounts::{LITRES_OF, MINUTES_OF, number, split_unit};
use crate::adapters::intake::ids::Ids;
use crate::adapters::intake::problems::{ImportProblems, Problem};
use crate::adapters::intake::row::{Row, unknown};
use crate::adapters::intake::sheet::Sheet;
use crate::adapters::intake::{Imported, Known, dates, remarks, tick};
use crate::domain::boat::fold::stranger;
use crate::domain::boat::{
    BoatId, CircuitId, EventId, Evidence, LayupEvent, Precision, SiteId, doubts,
};
use crate::domain::catalogue::{EventClass, NotAKind};
use crate::domain::local_time;

const REQUIRED: [&str; 2] = ["happened_at", "event"];
pub(in crate::adapters::intake) const KNOWN: [&str; 30] = [
    "event_id",
    "boat_name",
    "recorded_at",
    "happened_at",
    "time_precision",
    "boat_id",
    "site_id",
    "event",
    "circuits",
    "instance",
    "point",
    "fluid",
    "label",
    "method",
    "thermostat_open",
    "litres_in",
    "litres_out",
    "reading_value",
    "reading_unit",
    "scale",
    "minutes",
    "percent",
    "volts",
    "probed",
    "who",
    "role",
    "evidence",
    "sheet_id",
    "corrects",
    "note",
];
/// More litres than this in one entry are a slip of the pen, not a boat.
const LITRES_MAX: f64 = 100_000.0;

/// Reads a table of lay-up events.
///
/// # Errors
/// [`ImportProblems`] lists every bad row; nothing is taken then. Unknown boats, places, circuits and kinds of event are
/// refused with the nearest right name, and so are moments in the future or before the boat was built.
pub fn events(
    bytes: &[u8],
    file_name: &str,
    known: &Known<'_>,
) -> Result<Imported<LayupEvent>, ImportProblems> {
    let sheet = Sheet::read(bytes, file_name, &[], &known.layout)?;
    if sheet.column("event").is_none() && tick::has_ticks(&sheet, known) {
        return tick::events(&sheet, known);
    }
    sheet.require(&REQUIRED)?;
    of_sheet(&sheet, known)
}

/// As [`events`], from a sheet that was read already.
pub(in crate::adapters::intake) fn of_sheet(
    sheet: &Sheet,
    known: &Known<'_>,
) -> Result<Imported<LayupEvent>, ImportProblems> {
    let mut ids = Ids::default();
    let imported = super::import(
        sheet,
        "event_id",
        sheet.notes(&KNOWN),
        |row, notes| event(row, known, &mut ids, notes),
        |event| event.id.clone(),
    )?;
    check_corrections(imported, sheet, known)
}

fn check_corrections(
    mut imported: Imported<LayupEvent>,
    sheet: &Sheet,
    known: &Known<'_>,
) -> Result<Imported<LayupEvent>, ImportProblems> {
    let ids: BTreeSet<EventId> = imported.rows.iter().map(|event| event.id.clone()).collect();
    let boats: BTreeMap<EventId, Option<BoatId>> =
        imported.rows.iter().map(|event| (event.id.clone(), event.boat.clone())).collect();
    let boat_of = |id: &EventId| boats.get(id).or_else(|| known.events.get(id));
    let mut problems = Vec::new();
    for (event, (line, _)) in imported.rows.iter_mut().zip(&sheet.rows) {
        if event.kind != "correction" {
            continue;
        }
        // The id may also stand in `point`, where it is an id and not words.
        if event.corrects.is_none() {
            event.corrects = event.point.take().map(|point| EventId::from(point.trim()));
        }
        let target = event.corrects.clone();
        if target.as_ref().is_some_and(|id| *id == event.id) {
            problems.push(Problem {
                line: *line,
                column: "corrects".to_owned(),
                value: event.id.to_string(),
                remedy: "this is the correction itself: name the entry that it corrects".to_owned(),
            });
        } else if target.as_ref().is_none_or(|id| boat_of(id).is_none()) {
            let value = target.as_ref().map_or("", EventId::as_str).to_owned();
            let names = ids.iter().map(EventId::as_str);
            problems.push(Problem {
                line: *line,
                column: "corrects".to_owned(),
                remedy: unknown("event", &value, names, problems.len()),
                value,
            });
        } else if let Some(of) = target.as_ref().and_then(boat_of).filter(|of| **of != event.boat) {
            // It would otherwise do nothing, silently.
            let of = of.as_ref().map_or("a whole place", BoatId::as_str);
            problems.push(Problem {
                line: *line,
                column: "boat_id".to_owned(),
                remedy: format!(
                    "what it corrects is an entry about {of}; a correction names the same boat"
                ),
                value: event.boat.as_ref().map_or("", BoatId::as_str).to_owned(),
            });
        }
    }
    if problems.is_empty() {
        Ok(imported)
    } else {
        Err(ImportProblems { file: sheet.file.clone(), problems })
    }
}

fn event(
    row: &mut Row<'_>,
    known: &Known<'_>,
    ids: &mut Ids,
    notes: &mut Vec<String>,
) -> Option<LayupEvent> {
    let boat = row.text("boat_id").or_else(|| row.text("boat_name")).map(|told| known.boat(told));
    let site = row.text("site_id").map(SiteId::from);
    let zone = known.zone(boat.as_ref(), site.as_ref());
    let happened = row.moment("happened_at", zone);
    let recorded = recorded(row, known, zone, happened);
    let precision = row.parse("time_precision", "minute or day", |text| match text {
        "minute" | "exact" | "hour" => Some(Precision::Minute),
        "day" => Some(Precision::Day),
        _ => None,
    });
    if boat.is_none() && site.is_none() {
        row.refuse("boat_id", "must not be blank unless site_id names the place");
    }
    check_names(row, boat.as_ref(), site.as_ref(), known);
    let kind = kind(row, known);
    if let (None, Some(_), Some(of)) =
        (&boat, &site, kind.as_ref().and_then(|kind| known.catalogue.event(kind)))
        && !of.may_be_of_a_place()
    {
        row.refuse("boat_id", format!("{} happens to a boat: name it", of.label));
    }
    let (circuits, instance) = circuits(row, known);
    check_instance(row, boat.as_ref(), (&circuits, instance.as_deref()), known);
    let ((happened, hour_known), recorded) = (happened?, recorded?);
    check_times(row, happened, recorded, boat.as_ref(), known);
    let assumed = if hour_known { Precision::Minute } else { Precision::Day };
    let kind = kind?;
    let happened = undoing_last(row, &kind, happened, known, zone);
    let evidence = evidence(row, &kind);
    let id = row.text("event_id").map(EventId::from);
    let precision = precision.unwrap_or(assumed);
    let id = id.unwrap_or_else(|| {
        ids.of_row((boat.as_ref(), site.as_ref()), &kind, (happened, precision))
    });
    if let Some(what) = row.text("note").and_then(|note| remarks::noticed(note, known.catalogue))
        && kind != "declined"
    {
        notes.push(format!("line {}, {id}: {what}", row.line));
    }
    let text = |row: &Row<'_>, column: &str| row.text(column).map(str::to_owned);
    // The unit may stand behind the figure, and the minus may be a typographer's.
    let unit_behind =
        row.text("reading_value").and_then(|text| split_unit(&text.replace('\u{2212}', "-")).1);
    let reading_value = row.parse("reading_value", "a number from -95 to 250", |text| {
        let figure = split_unit(&text.replace('\u{2212}', "-")).0;
        number(&figure).filter(|value| (-95.0..=250.0).contains(value))
    });
    let unit = row.parse("reading_unit", "C or F", |text| split_unit(&format!("1{text}")).1);
    let event = LayupEvent {
        id,
        happened_at: happened.with_timezone(&Utc),
        happened_offset_s: happened.offset().local_minus_utc(),
        precision,
        recorded_at: recorded.with_timezone(&Utc),
        boat,
        site,
        kind,
        circuits,
        instance,
        point: text(row, "point"),
        fluid: text(row, "fluid"),
        label: text(row, "label"),
        method: text(row, "method"),
        thermostat_open: text(row, "thermostat_open"),
        litres_in: litres(row, "litres_in"),
        litres_out: litres(row, "litres_out"),
        reading_value,
        reading_unit: unit.or(unit_behind),
        scale: text(row, "scale"),
        minutes: row.amount(
            "minutes",
            (0.0, 1.0e6),
            &MINUTES_OF,
            "a number of minutes, or one with min, h or s behind it",
        ),
        percent: row.number("percent", 0.0, 100.0),
        volts: row.number("volts", 0.0, 100.0),
        probed: row.yes_no("probed"),
        who: text(row, "who"),
        role: text(row, "role"),
        evidence,
        sheet: text(row, "sheet_id"),
        corrects: row.text("corrects").map(EventId::from),
        note: note_with_word(row, known),
    };
    for doubt in doubts(&event, None, known.catalogue) {
        notes.push(format!("line {}, {}: {doubt}", row.line, event.id));
    }
    Some(event)
}

/// The hour of the clock change comes twice: what undoes is taken to have come after what it undoes, as on a day without an
/// hour; not where that is still to come, or where the entry states its offset.
fn undoing_last(
    row: &Row<'_>,
    kind: &str,
    happened: DateTime<FixedOffset>,
    known: &Known<'_>,
    zone: Option<Tz>,
) -> DateTime<FixedOffset> {
    let undoes = known.catalogue.event(kind).is_some_and(|kind| kind.class == EventClass::Undoing);
    let stated = row.text("happened_at").is_some_and(dates::has_offset);
    let (true, false, Some(zone)) = (undoes, stated, zone) else { return happened };
    let later = local_time::last(zone, happened.naive_local());
    let is_past = known.now.is_none_or(|now| later <= now);
    if is_past { later.with_timezone(&zone).fixed_offset() } else { happened }
}

/// When the yard learnt of it: as stated, else now; a table without that column says nothing of it.
fn recorded(
    row: &mut Row<'_>,
    known: &Known<'_>,
    zone: Option<Tz>,
    happened: Option<(DateTime<FixedOffset>, bool)>,
) -> Option<DateTime<FixedOffset>> {
    if row.text("recorded_at").is_some() {
        return row.moment("recorded_at", zone).map(|(at, _)| at);
    }
    known.now.map(|now| now.fixed_offset()).or(happened.map(|(at, _)| at))
}

/// The remark; with the word itself where it was taken for a signature.
fn note_with_word(row: &Row<'_>, known: &Known<'_>) -> Option<String> {
    let note = row.text("note").map(str::to_owned);
    let word = row.text("event").filter(|word| known.catalogue.synonym(word).is_some());
    let signs =
        |word: &&str| known.catalogue.kind_in_words(word).is_ok_and(|kind| kind.flags.signs);
    match (word.filter(signs), note) {
        (Some(word), Some(note)) => Some(format!("{word}; {note}")),
        (Some(word), None) => Some(word.to_owned()),
        (None, note) => note,
    }
}

fn litres(row: &mut Row<'_>, column: &str) -> Option<f64> {
    let right = "a number of litres from 0 to 100000, or one with gal, qt, pt or ml behind it";
    row.amount(column, (0.0, LITRES_MAX), &LITRES_OF, right)
}

fn evidence(row: &mut Row<'_>, kind: &str) -> Evidence {
    let right = "claimed, recorded, probed, measured or witnessed";
    row.parse("evidence", right, |text| match text.to_lowercase().as_str() {
        "none" => Some(Evidence::None),
        "claimed" => Some(Evidence::Claimed),
        "recorded" => Some(Evidence::Recorded),
        "probed" => Some(Evidence::Probed),
        "measured" => Some(Evidence::Measured),
        // A photograph or second initials: as recorded, unless it is of the ice or the damage itself.
        "witnessed" if kind == "ice_found" || kind == "damage_found" => Some(Evidence::Probed),
        "witnessed" | "photo" | "photograph" => Some(Evidence::Recorded),
        _ => None,
    })
    .unwrap_or_default()
}

fn check_names(row: &mut Row<'_>, boat: Option<&BoatId>, site: Option<&SiteId>, known: &Known<'_>) {
    if let (Some(boat), Some(boats)) = (boat, &known.boats)
        && !boats.contains_key(boat)
    {
        let remedy = row.unknown("boat", boat.as_str(), boats.keys().map(BoatId::as_str));
        row.refuse("boat_id", remedy);
    }
    if let (Some(site), Some(sites)) = (site, &known.sites)
        && !sites.contains(site)
    {
        let remedy = row.unknown("place", site.as_str(), sites.iter().map(SiteId::as_str));
        row.refuse("site_id", remedy);
    }
}

fn kind(row: &mut Row<'_>, known: &Known<'_>) -> Option<String> {
    let word = row.required("event")?;
    let remedy = match known.catalogue.kind_in_words(word) {
        Ok(kind) => return Some(kind.id.clone()),
        Err(NotAKind::Ask(ask)) => format!("this word may mean more than one thing: {ask}"),
        Err(NotAKind::Unknown(_)) => {
            row.unknown("event", word, known.catalogue.events().iter().map(|kind| kind.id.as_str()))
        }
    };
    row.refuse("event", remedy);
    None
}

/// The circuits of the list; an instance written as `ac_raw#saloon unit` joins the column `instance`.
fn circuits(row: &mut Row<'_>, known: &Known<'_>) -> (Vec<CircuitId>, Option<String>) {
    let mut circuits = Vec::new();
    let mut instances: Vec<String> = row.text("instance").map(str::to_owned).into_iter().collect();
    let listed = row.text("circuits").unwrap_or_default().replace(" and ", ";");
    for part in listed.split([';', '|', ',', '/', '+', '&']).map(str::trim) {
        let (circuit, instance) = part.split_once('#').unwrap_or((part, ""));
        if part.is_empty() {
            continue;
        }
        let Ok(ids) = known.catalogue.circuits_in_words(circuit.trim()) else {
            let remedy = row.unknown("circuit", circuit, known.catalogue.circuit_words());
            row.refuse("circuits", format!("{circuit}: {remedy}"));
            continue;
        };
        if !instance.trim().is_empty() {
            instances.push(instance.trim().to_owned());
        }
        for id in ids {
            if !circuits.contains(&id) {
                circuits.push(id);
            }
        }
    }
    (circuits, (!instances.is_empty()).then(|| instances.join(";")))
}

/// An engine that the boat does not have is a slip of the pen: it would stand there as one more.
fn check_instance(
    row: &mut Row<'_>,
    boat: Option<&BoatId>,
    (circuits, instance): (&[CircuitId], Option<&str>),
    known: &Known<'_>,
) {
    let Some((boat, names)) = boat.and_then(|boat| Some((boat, known.engines.get(boat)?))) else {
        return;
    };
    let Some(instance) = instance else { return };
    let sets = circuits.iter().filter_map(|id| known.catalogue.circuit(id));
    let nouns: BTreeSet<&str> = sets.map(|kind| kind.instance_noun.as_str()).collect();
    // Only where nothing but engines can be meant.
    if nouns.iter().any(|noun| *noun != "engine") || nouns.is_empty() {
        return;
    }
    let Some(stranger) = stranger(instance, names) else { return };
    let remedy = match names.as_slice() {
        [] => format!("{boat} has one engine: leave it blank"),
        names => {
            format!("no engine of {boat} is called {stranger}; there are {}", names.join(", "))
        }
    };
    row.refuse("instance", remedy);
}

fn check_times(
    row: &mut Row<'_>,
    happened: DateTime<FixedOffset>,
    recorded: DateTime<FixedOffset>,
    boat: Option<&BoatId>,
    known: &Known<'_>,
) {
    if let Some(now) = known.now {
        if happened > now {
            row.refuse("happened_at", "lies in the future: enter it when it has happened");
        }
        if recorded > now {
            row.refuse("recorded_at", "lies in the future: enter it when it is known");
        }
    }
    // Sheets are written up in the evening, and the hour of a day-precise entry is a placeholder: a day is let pass.
    if recorded + TimeDelta::days(1) < happened {
        row.refuse(
            "recorded_at",
            "lies before the event itself: the two times are swapped or wrong",
        );
    }
    let existed = boat.and_then(|boat| known.boats.as_ref()?.get(boat).copied().flatten());
    if let Some(from) = existed.filter(|from| happened.date_naive() < *from) {
        row.refuse(
            "happened_at",
            format!(
                "lies before the boat existed: by its hull number it was not built before {from}"
            ),
        );
    }
}
