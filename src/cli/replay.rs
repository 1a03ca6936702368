//! `rimeward replay`: the cold of a past winter over the record as it stands. What would people have been told, and was it in
//! time?

mod text;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::boat::look_up;
use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::intake::archive::ARCHIVE_BYTES_MAX;
use crate::adapters::intake::hours::hours;
use crate::app::settings::season::SeasonSettings;
use crate::domain::boat::{PersonId, SiteId};
use crate::sim::replay::play::Fleet;
use crate::sim::replay::score::Message;
use crate::sim::replay::winter::{
    PastAir, Replayed, fleet, replay, whole_winters, winter_of_record,
};

/// Winters that `--last` may ask for: each takes some seconds.
const WINTERS_MAX: usize = 40;

/// What a past winter would have done to the boats as the record has them, and what people would have been told.
///
/// Forecasts are drawn from the error model around what was observed; nobody acts on anything. Letters of every kind count; the
/// daily worklist is left out of the list.
#[derive(Debug, clap::Args)]
pub struct ReplayArgs {
    /// What was observed: a table with time and temperature_c (and station or site_id), or an archive of days as for season
    /// (default: the files that season.archives names)
    file: Option<PathBuf>,
    /// Only this place
    #[arg(long, value_name = "SITE")]
    site: Option<String>,
    /// The station in the file, where it has several and they are not called like the places
    #[arg(long, value_name = "NAME")]
    station: Option<String>,
    /// The winter that began in this year (default: the record's own where it was observed, else the newest whole one)
    #[arg(long, value_name = "YEAR", conflicts_with = "last")]
    winter: Option<i32>,
    /// The newest so many whole winters, one line for each
    #[arg(long, value_name = "N")]
    last: Option<usize>,
    /// Only this boat
    #[arg(long, value_name = "BOAT")]
    boat: Option<String>,
    /// Another seed draws other forecasts
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// Plays and scores.
///
/// # Errors
/// [`CliError`]: an unknown place or boat, a file without the winter, the store.
pub fn run(args: &ReplayArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let yard = house.yard()?;
    let only = args.boat.as_deref().map(|boat| look_up(boat, &yard)).transpose()?;
    let fleet = fleet(&house, only.map(|boat| &boat.id))?;
    if fleet.boats.is_empty() {
        return Err(CliError::bad_input(
            "there is no boat to play with; bring in your tables first: rimeward import sites FILE, then people, boats and events",
        ));
    }
    let (past, without) = weather(args, &house.settings.season, &fleet)?;
    let today = around.now.with_timezone(&house.settings.yard.time_zone).date_naive();
    let record = winter_of_record(&fleet, today);
    let mut rows = Vec::new();
    for weather in winters(args, &fleet, &past, record)? {
        let row = replay(&house, &fleet, &past, (weather, record), args.seed);
        rows.push(row.map_err(|error| CliError::bad_input(error.to_string()))?);
    }
    let listed = |row: &Replayed| {
        let own = row.played.messages.iter().filter(|message| message.kind != "worklist");
        own.cloned().collect()
    };
    let told: Vec<Message> = match rows.as_slice() {
        [one] => listed(one),
        _ => Vec::new(),
    };
    let text = text::text(&rows, (&fleet, &without), &told, args.seed);
    let json = json!({
        "seed": args.seed,
        "places_without_weather": without,
        "winters": rows.iter().map(|row| document(row, &fleet)).collect::<Vec<_>>(),
        "messages": told.iter().map(|message| json!({
            "at": message.at, "person": message.person, "priority": message.priority,
            "kind": message.kind, "closing": message.closing, "subject": message.subject,
        })).collect::<Vec<_>>(),
    });
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The weather of each place, and the places that have none.
fn weather(
    args: &ReplayArgs,
    settings: &SeasonSettings,
    fleet: &Fleet,
) -> Result<(PastAir, Vec<SiteId>), CliError> {
    let only = args.site.as_ref().map(|site| SiteId::from(site.clone()));
    if let Some(site) = only.as_ref().filter(|site| !fleet.sites.contains_key(*site)) {
        let names: Vec<&str> = fleet.sites.keys().map(SiteId::as_str).collect();
        return Err(CliError::bad_input(format!(
            "no place is called {site}; the yard has {}",
            names.join(", ")
        )));
    }
    let (mut past, mut without, mut whys) = (PastAir::new(), Vec::new(), BTreeSet::new());
    let mut bodies: BTreeMap<PathBuf, Vec<u8>> = BTreeMap::new();
    for (id, site) in fleet.sites.iter().filter(|(id, _)| only.as_ref().is_none_or(|o| o == *id)) {
        let archive = settings.archive_of(id.as_str()).map(Path::to_path_buf);
        let Some(file) = args.file.clone().or(archive) else {
            whys.insert(
                "name a file with what was observed, or set season.archives for it".to_owned(),
            );
            without.push(id.clone());
            continue;
        };
        if !bodies.contains_key(&file) {
            bodies.insert(file.clone(), read(&file)?);
        }
        let body = bodies.get(&file).map_or(&[][..], Vec::as_slice);
        let station = args.station.as_deref().unwrap_or_else(|| id.as_str());
        match hours(body, station, site.time_zone) {
            Ok(hours) => {
                past.insert(id.clone(), hours);
            }
            Err(error) => {
                whys.insert(format!("{}: {error}", file.display()));
                without.push(id.clone());
            }
        }
    }
    if past.is_empty() {
        let names: Vec<&str> = without.iter().map(SiteId::as_str).collect();
        let whys: Vec<String> = whys.into_iter().collect();
        return Err(CliError::bad_input(format!(
            "no past weather for {}: {}",
            names.join(", "),
            whys.join("; ")
        )));
    }
    Ok((past, without))
}

fn read(file: &Path) -> Result<Vec<u8>, CliError> {
    let refuse = |why: String| CliError::bad_input(format!("{}: {why}", file.display()));
    let size = std::fs::metadata(file).map_err(|error| refuse(error.to_string()))?.len();
    if size > ARCHIVE_BYTES_MAX {
        return Err(refuse(format!("has more than {ARCHIVE_BYTES_MAX} bytes")));
    }
    std::fs::read(file).map_err(|error| refuse(error.to_string()))
}

/// The winters to play, by the year in which each began.
fn winters(
    args: &ReplayArgs,
    fleet: &Fleet,
    past: &PastAir,
    record: i32,
) -> Result<Vec<i32>, CliError> {
    if let Some(year) = args.winter {
        return Ok(vec![year]);
    }
    let mut whole: Option<BTreeSet<i32>> = None;
    for (id, hours) in past {
        let Some(site) = fleet.sites.get(id) else { continue };
        let own: BTreeSet<i32> = whole_winters(hours, site.hemisphere()).into_iter().collect();
        whole = Some(whole.map_or_else(|| own.clone(), |all| &all & &own));
    }
    let whole: Vec<i32> = whole.unwrap_or_default().into_iter().collect();
    let newest = match args.last {
        Some(count) if count == 0 || count > WINTERS_MAX => {
            return Err(CliError::bad_input(format!("--last takes 1 to {WINTERS_MAX} winters")));
        }
        Some(count) => whole.iter().rev().take(count).rev().copied().collect(),
        None if whole.contains(&record) => vec![record],
        None => whole.last().map_or_else(|| vec![record], |last| vec![*last]),
    };
    if newest.is_empty() {
        return Err(CliError::bad_input(
            "no winter is whole from autumn to spring at all places; name one with --winter YEAR, and what there is of it is played",
        ));
    }
    Ok(newest)
}

fn document(row: &Replayed, fleet: &Fleet) -> Value {
    let played = &row.played;
    let counts: BTreeMap<&PersonId, usize> =
        fleet.people.iter().map(|person| (&person.id, played.count(&person.id).0)).collect();
    let [day_before, later, never] = played.froze;
    let early = played.leads_h.iter().filter(|lead| **lead >= 48.0).count();
    json!({
        "weather_winter": row.weather, "record_winter": row.record,
        "from": row.span.0, "until": row.span.1, "coldest_c": row.coldest_c,
        "messages": counts,
        "severe_froze": { "told_a_day_before": day_before, "told_later": later, "never_told": never },
        "froze": played.frozen.iter().map(|frozen| json!({
            "boat": frozen.boat, "circuit": frozen.circuit, "at": frozen.at, "told": frozen.told,
        })).collect::<Vec<_>>(),
        "episodes": played.episodes, "false_alarms": played.false_alarms,
        "upper_priority_episodes": played.leads_h.len(), "first_word_48_h_before": early,
        "fleeting": played.fleeting, "rounds": played.rounds,
    })
}
