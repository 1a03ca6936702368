//! The table of boats. Where the fit-out is not said it is guessed, and the note says so and asks.

use crate::adapters::intake::amounts::number;
use crate::adapters::intake::problems::ImportProblems;
use crate::adapters::intake::row::{Row, metres_from_length};
use crate::adapters::intake::sheet::Sheet;
use crate::adapters::intake::{Imported, Known, remarks};
use crate::domain::boat::{
    Boat, BoatId, Care, CircuitId, CoolingKind, DrainPermission, Fitting, Mark, PersonId, SiteId,
};
use crate::domain::catalogue::{Fitout, GuessedFitout};

const REQUIRED: [&str; 2] = ["boat_id", "site_id"];
const KNOWN: [&str; 29] = [
    "boat_id",
    "tag_no",
    "boat_name",
    "boat_type",
    "loa_m",
    "loa_ft",
    "length",
    "hull_id",
    "engine_desc",
    "engine_count",
    "fuel",
    "cooling_kind",
    "site_id",
    "location_in_site",
    "owner_id",
    "owner_name",
    "owner_email",
    "owner_phone",
    "text_consent",
    "drain_permission",
    "keys_location",
    "freeze_cover",
    "haul_date",
    "planned_launch_date",
    "work_ordered",
    "circuits_fitted",
    "volumes_l",
    "yard_notes",
    "care",
];

/// Reads a table of boats. Names, addresses and keys of owners are not taken: people have their own table.
///
/// # Errors
/// [`ImportProblems`] lists every bad row; nothing is taken then.
pub fn boats(
    bytes: &[u8],
    file_name: &str,
    known: &Known<'_>,
) -> Result<Imported<Boat>, ImportProblems> {
    let sheet = Sheet::read(bytes, file_name, &REQUIRED, &known.layout)?;
    super::import(
        &sheet,
        "boat_id",
        sheet.notes(&KNOWN),
        |row, notes| boat(row, notes, known),
        |boat| boat.id.clone(),
    )
}

fn boat(row: &mut Row<'_>, notes: &mut Vec<String>, known: &Known<'_>) -> Option<Boat> {
    let id = row.required("boat_id").map(BoatId::from);
    // Many a berth list has numbers alone.
    let name = row.text("boat_name").or_else(|| row.text("boat_id")).map(str::to_owned);
    let site = row.required("site_id").map(SiteId::from);
    check_site(row, site.as_ref(), known);
    let owner = row.text("owner_id").map(PersonId::from);
    check_owner(row, owner.as_ref(), known);
    let length_m = row
        .number("loa_m", 0.5, 200.0)
        .or_else(|| {
            row.parse("loa_ft", "a length such as 27.9, 27'6\" or 8.4 m", metres_from_length)
        })
        .or_else(|| row.parse("length", "a length such as 27'6\" or 8.4 m", metres_from_length));
    let engine = row.words("engine_desc");
    let listed = fitted(row, known);
    let kind = row.text("boat_type").and_then(|kind| known.catalogue.fitout(kind));
    let guess = known
        .catalogue
        .guess_fitout(&format!("{} {engine}", row.words("boat_type").replace('_', " ")), length_m);
    let column = cooling_column(row);
    let engines = row.parse("engine_count", "a whole number up to 8", |text| {
        text.parse::<u8>().ok().filter(|count| *count <= 8)
    });
    let id = id?;
    let guess = guess?;
    let (mut circuits, instances) = listed;
    let mut yard_notes = row.words("yard_notes");
    let fuel = row.text("fuel").map_or(guess.fuel.clone(), str::to_owned);
    let diesel = fuel.to_lowercase().contains("diesel");
    let said = column
        .filter(|kind| *kind != CoolingKind::Unknown)
        .or_else(|| known.catalogue.cooling_in_words(&engine, diesel));
    let shown = || known.catalogue.cooling_by_list(&circuits);
    let told = said.or_else(|| column.is_none().then(shown).flatten());
    let guessed = kind.map_or(guess.cooling, |fitout| fitout.cooling);
    let cooling = told.or(column).unwrap_or(guessed);
    let marks = if circuits.is_empty() {
        let marks = guessed_marks(kind, &guess);
        circuits = marks.iter().map(|(id, _)| id.clone()).collect();
        let words = kind.map_or_else(
            || guess.words.clone(),
            |fitout| format!("fit-out taken from the kind: {}", fitout.label),
        );
        let question = question(kind, &guess, told.is_some());
        notes.push(format!("{id}: {words}; please answer: {question}"));
        // It stays with the boat until somebody answers by listing what is fitted.
        let guess = format!("{words}; please answer: {question}");
        yard_notes =
            [yard_notes.as_str(), guess.as_str()].join("; ").trim_start_matches("; ").to_owned();
        marks
    } else {
        if said.is_none() {
            notes.push(format!(
                "{id}: cooling is not said; please answer: raw, an outboard, half closed, fully closed or electric?"
            ));
        }
        Vec::new()
    };
    let hull_id = hull_number(&row.words("hull_id"));
    if let Some(fault) = crate::domain::boat::hull_number_fault(&hull_id) {
        notes.push(format!(
            "{id}: {hull_id} is not laid out as a hull number (33 CFR 181.25): {fault}"
        ));
    }
    for words in [&yard_notes, &row.words("work_ordered")] {
        notes.extend(remarks::noticed(words, known.catalogue).map(|what| format!("{id}: {what}")));
    }
    let boat = Boat {
        id,
        name: name?,
        kind: row.text("boat_type").map_or(guess.kind, str::to_owned),
        cooling,
        fuel,
        engines: engines.unwrap_or(guess.engines),
        site: site?,
        hull_id,
        length_m,
        location: row.words("location_in_site"),
        owner,
        care: row
            .parse("care", "yard, owner or shared", |text| match text {
                "yard" => Some(Care::Yard),
                "owner" => Some(Care::Owner),
                "shared" => Some(Care::Shared),
                _ => None,
            })
            .unwrap_or_default(),
        drain_permission: permission(row),
        keys: row.words("keys_location"),
        fitted: circuits,
        fitting: Fitting { marks, cooling_said: told.is_some() },
        instances,
        volumes_l: volumes(row, known),
        haul_date: row.date("haul_date"),
        planned_launch: row.date("planned_launch_date"),
        work_ordered: row.words("work_ordered"),
        notes: yard_notes,
    };
    Some(boat.completed(known.catalogue))
}

/// How the engine is cooled, by the column of its own.
fn cooling_column(row: &mut Row<'_>) -> Option<CoolingKind> {
    row.parse(
        "cooling_kind",
        "raw, raw_outboard, closed_half (or half), closed_full, electric or unknown",
        |text| match text {
            "raw" => Some(CoolingKind::Raw),
            "raw_outboard" => Some(CoolingKind::RawOutboard),
            "closed_half" | "half" => Some(CoolingKind::ClosedHalf),
            "closed_full" | "full" => Some(CoolingKind::ClosedFull),
            "electric" => Some(CoolingKind::Electric),
            "unknown" => Some(CoolingKind::Unknown),
            _ => None,
        },
    )
}

/// What a boat probably has, each part with its mark: what the text names is stated.
fn guessed_marks(kind: Option<&Fitout>, guess: &GuessedFitout) -> Vec<(CircuitId, Mark)> {
    if let Some(fitout) = kind {
        let always = fitout.always().map(|id| (id, Mark::Always));
        let often = if fitout.kind == "unknown" { Mark::Always } else { Mark::Often };
        return always.chain(fitout.often().map(|id| (id, often))).collect();
    }
    let mark = |id: &CircuitId| match () {
        () if guess.named.contains(id) => Mark::Stated,
        () if guess.often.contains(id) && guess.kind != "unknown" => Mark::Often,
        () => Mark::Always,
    };
    guess.circuits.iter().map(|id| (id.clone(), mark(id))).collect()
}

/// The question that tells most of such a boat; where cooling is known already, what the list of fitted parts would tell.
fn question<'q>(kind: Option<&'q Fitout>, guess: &'q GuessedFitout, cooling_told: bool) -> &'q str {
    let question = kind.map_or(guess.question.as_str(), |fitout| fitout.question.as_str());
    let answered = cooling_told && question.contains("cooled");
    if answered { "which parts are aboard? (the column circuits_fitted)" } else { question }
}

/// Without the country, spaces and dashes, in capitals.
fn hull_number(text: &str) -> String {
    let plain: String = text
        .to_uppercase()
        .chars()
        .filter(|letter| !letter.is_whitespace() && *letter != '-')
        .collect();
    match plain.strip_prefix("US") {
        Some(rest) if rest.len() == 12 => rest.to_owned(),
        _ => plain,
    }
}

fn permission(row: &mut Row<'_>) -> DrainPermission {
    match row.text("drain_permission") {
        Some("n/a" | "N/A" | "na") => DrainPermission::NotApplicable,
        _ => match row.yes_no("drain_permission") {
            Some(true) => DrainPermission::Yes,
            Some(false) => DrainPermission::No,
            None => DrainPermission::Unknown,
        },
    }
}

/// A misspelt owner would never hear of the boat.
fn check_owner(row: &mut Row<'_>, owner: Option<&PersonId>, known: &Known<'_>) {
    if let (Some(owner), Some(people)) = (owner, &known.people)
        && !people.contains(owner)
    {
        let remedy = row.unknown("person", owner.as_str(), people.iter().map(PersonId::as_str));
        row.refuse("owner_id", remedy);
    }
}

fn check_site(row: &mut Row<'_>, site: Option<&SiteId>, known: &Known<'_>) {
    if let (Some(site), Some(sites)) = (site, &known.sites)
        && !sites.contains(site)
    {
        let remedy = row.unknown("place", site.as_str(), sites.iter().map(SiteId::as_str));
        row.refuse("site_id", remedy);
    }
}

/// Circuits and the instances named with them, as `ac_raw#saloon unit`.
fn fitted(row: &mut Row<'_>, known: &Known<'_>) -> (Vec<CircuitId>, Vec<(CircuitId, String)>) {
    let mut circuits: Vec<CircuitId> = Vec::new();
    let mut instances = Vec::new();
    for part in row.text("circuits_fitted").unwrap_or_default().split(';').map(str::trim) {
        let (circuit, instance) = part.split_once('#').unwrap_or((part, ""));
        let id = CircuitId::from(circuit);
        if part.is_empty() {
            continue;
        }
        if known.catalogue.circuit(&id).is_none() {
            let names = known.catalogue.circuits().iter().map(|kind| kind.id.as_str());
            let remedy = row.unknown("circuit", circuit, names);
            row.refuse("circuits_fitted", format!("{circuit}: {remedy}"));
            continue;
        }
        if !instance.trim().is_empty() {
            instances.push((id.clone(), instance.trim().to_lowercase()));
        }
        if !circuits.contains(&id) {
            circuits.push(id);
        }
    }
    (circuits, instances)
}

fn volumes(row: &mut Row<'_>, known: &Known<'_>) -> Vec<(CircuitId, f64)> {
    let mut volumes = Vec::new();
    for part in row.text("volumes_l").unwrap_or_default().split(';').map(str::trim) {
        if part.is_empty() {
            continue;
        }
        let pair =
            part.split_once('=').map(|(id, litres)| (CircuitId::from(id.trim()), number(litres)));
        match pair {
            Some((id, Some(litres))) if known.catalogue.circuit(&id).is_some() && litres > 0.0 => {
                volumes.push((id, litres));
            }
            _ => row.refuse(
                "volumes_l",
                format!("{part}: must be circuit=litres, such as block_raw=16"),
            ),
        }
    }
    volumes
}
