//! `rimeward season`: from past winters, when the first damaging freeze comes to each kind of part and when the last.

mod fetch;

use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::Arc;

use chrono::Datelike as _;
use serde_json::{Value, json};

use super::{CliContext, CliError, CommandOutput, Exit};
use crate::adapters::intake::archive::DayFiles;
use crate::app::assess::AsOf;
use crate::app::assess::past_seasons::{PastSeasons, WINTERS_LEAST};
use crate::app::context::YardBook;
use crate::app::ports::Registry;
use crate::domain::boat::SiteId;
use crate::domain::physics::Liquid;
use crate::domain::physics::part::thermal_classes;
use crate::domain::season::Hemisphere;
use crate::domain::weather::credit::credits;
use crate::domain::weather::seasons::{End, Froze, PastWinter, day_at, frozen_by, water_in};
use crate::domain::yard::Site;

/// Columns of the chart: 1 September to 31 May (in the southern half 4 March to 3 December) in stretches of five days.
const CHART_FROM_DAY: u32 = 62;
const CHART_STEP_DAYS: u32 = 5;
const CHART_COLUMNS: u32 = 55;
/// Weeks ahead for which the chance of the first freeze is said.
const WEEKS_AHEAD: [u32; 3] = [1, 2, 4];
/// 31 January, counted from 1 July (in the southern half 2 August): later nobody waits for a first freeze.
const LAST_DAY_OF_AUTUMN: u32 = 214;

/// When the first damaging freeze comes and the last, from an archive of past days.
#[derive(Debug, clap::Args)]
pub struct SeasonArgs {
    /// Place, as named in your list or in the archive's `station` column
    pub site: String,
    /// Past days: a GHCN-Daily .dly file, or a table with date, tmin_c and tmax_c; may be gzipped (default: the file that
    /// season.archives names for the place)
    #[arg(long, value_name = "FILE")]
    pub archive: Option<PathBuf>,
    /// Share of winters that you accept to be surprised in (default: season.tolerance)
    #[arg(long)]
    pub tolerance: Option<f64>,
    /// The day to look from: what has not frozen by then has not frozen this season (default: today)
    #[arg(long, value_name = "TIME")]
    pub at: Option<String>,
    /// Ask Open-Meteo's archive for the place's past days, where forecast.open_meteo allows it, and keep them in a new file
    /// beside the configuration, or in the one that --archive names
    #[arg(long)]
    pub fetch: bool,
    /// Years that are asked for
    #[arg(long, value_name = "N", default_value_t = 30, value_parser = clap::value_parser!(i32).range(6..=85), requires = "fetch")]
    pub years: i32,
    /// Use only the last so many winters
    #[arg(long, value_name = "N")]
    pub last: Option<usize>,
}

/// One line of the table.
struct Row {
    id: String,
    what: String,
    winters: Vec<Froze>,
}

/// What the table is made for.
struct Question<'a> {
    site: &'a str,
    tolerance: f64,
    /// Day of the season from which is looked, counted from 1 July.
    today: u32,
    past: &'a PastSeasons,
    winters: &'a [PastWinter],
}

/// Prints the table and the chart, or the document.
///
/// # Errors
/// [`CliError`]: a file that cannot be read, too few winters, a tolerance that is none.
pub fn season(args: &SeasonArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let bad = |error: &dyn std::error::Error| CliError::bad_input(error.to_string());
    // What is wrong with the question is said before anything is fetched and kept.
    if args.tolerance.is_some_and(|share| !(0.0..=0.5).contains(&share)) {
        return Err(CliError::bad_input("--tolerance is a share from 0 to 0.5, such as 0.1"));
    }
    around.time_or_now(args.at.as_deref(), chrono_tz::Tz::UTC)?;
    let fetched = if args.fetch { Some(fetched(args, around)?) } else { None };
    let file = fetched.as_ref().or(args.archive.as_ref());
    // A file alone does for a place that no yard knows, and where there is no configuration; with a broken one the place's own
    // cold would be left out in silence.
    let alone = args.archive.is_some() && !around.config_path().exists();
    let house = if alone { None } else { Some(around.house()?) };
    let site = match house.as_ref().map(|house| known_site(&*house.store, &args.site)) {
        Some(Err(refusal)) if file.is_none() => return Err(refusal),
        found => found.and_then(Result::ok),
    };
    let zone = site.as_ref().map_or(chrono_tz::Tz::UTC, |site| site.time_zone);
    let at = around.time_or_now(args.at.as_deref(), zone)?;
    // A place of the yard has its own cold and tolerance.
    let known = match house.as_ref().zip(site) {
        Some((house, site)) => {
            Some((house, house.forecasts().bias_corrected(&house.lessons, site, AsOf::now(at))?))
        }
        None => None,
    };
    let usual = known.as_ref().map(|(house, _)| house.settings.season.tolerance);
    let tolerance = args.tolerance.or(usual).unwrap_or(0.1);
    let past = match (file, &known) {
        (None, Some((house, site))) => {
            house.past_archives().of(site).map_err(|error| bad(&error))?
        }
        (None, None) => None,
        (Some(file), known) => {
            let offset_k = known.as_ref().map_or(0.0, |(_, site)| site.clear_night_k());
            Some(Arc::new(
                PastSeasons::read(&DayFiles, (file, &args.site), offset_k)
                    .map_err(|error| bad(&error))?,
            ))
        }
    };
    let past = past.ok_or_else(|| {
        CliError::bad_input(format!(
            "no archive of past days is named for {}: give one with --archive FILE, or in the configuration under [season.archives], or let --fetch ask a public archive",
            args.site
        ))
    })?;
    let last = args.last.unwrap_or(past.winters.len());
    let all = past.winters.get(past.winters.len().saturating_sub(last)..).unwrap_or(&[]);
    if all.len() < WINTERS_LEAST {
        return Err(CliError::bad_input(format!(
            "{} winters are too few: {WINTERS_LEAST} at least say something",
            all.len()
        )));
    }
    let today = past.half.day_of(at.with_timezone(&zone).date_naive());
    let asked = Question { site: &args.site, tolerance, today, past: &past, winters: all };
    let rows = rows(all)?;
    let mut text = text(&asked, &rows);
    if house.is_some() && known.is_none() {
        let _ = writeln!(
            text,
            "\n{} is no place of this yard: its own cold, clock and tolerance are not in it.",
            args.site
        );
    }
    if let Some(file) = &fetched {
        let named = fetch::as_configured(&around.config_path(), file);
        let _ = writeln!(
            text,
            "\nKept in {}. For nudges and plans to use it, write under [season.archives]:\n{:?} = {named:?}",
            file.display(),
            args.site,
        );
    }
    let mut json = document(&asked, &rows);
    if let (Some(fields), Some(file)) = (json.as_object_mut(), &fetched) {
        fields.insert("kept".into(), json!(file));
    }
    Ok(CommandOutput { text, json, exit: Exit::Done })
}

/// The file that now holds the place's past days.
fn fetched(args: &SeasonArgs, around: &CliContext<'_>) -> Result<PathBuf, CliError> {
    let house = around.house()?;
    let site = known_site(&*house.store, &args.site)?;
    let usual = || fetch::usual_file(&around.config_path(), &args.site);
    let file = args.archive.clone().unwrap_or_else(usual);
    fetch::fetch(&house.settings.forecast, &site, (args.years, &file), around.now)?;
    Ok(file)
}

/// A place of the yard by its id.
fn known_site(store: &dyn Registry, id: &str) -> Result<Site, CliError> {
    let yard = YardBook::read(store)?;
    yard.sites.get(&SiteId::from(id.to_owned())).cloned().ok_or_else(|| {
        let names: Vec<&str> = yard.sites.keys().map(SiteId::as_str).collect();
        CliError::bad_input(format!("no place is called {id}; the yard has {}", names.join(", ")))
    })
}

fn rows(all: &[PastWinter]) -> Result<Vec<Row>, CliError> {
    let air = |id: &str, threshold_c: f64| Row {
        id: id.into(),
        what: format!("air at or below {threshold_c} C"),
        winters: all.iter().map(|w| (w.start, w.air_below(threshold_c))).collect(),
    };
    // 28 F, the "hard" freeze of the published normals.
    let mut rows = vec![air("air_0", 0.0), air("air_hard", -2.2)];
    let classes = thermal_classes().map_err(|error| CliError::failed(error.to_string()))?;
    // A battery holds acid; what its cold does hangs on its charge, not on the winter alone.
    for class in classes.iter().filter(|class| class.id != "battery") {
        let Some(part) = water_in(class, &Liquid::FreshWater) else { continue };
        rows.push(Row {
            id: class.id.clone(),
            what: class.what.clone(),
            winters: all.iter().map(|w| (w.start, w.part_frozen(&part))).collect(),
        });
    }
    Ok(rows)
}

/// Month and day; a dash where that share of winters never comes to it.
fn on(half: Hemisphere, day: Option<u32>) -> String {
    day.and_then(|day| half.calendar(day))
        .map_or_else(|| "-".into(), |date| date.format("%-d %b").to_string())
}

/// The last day on which the chance that it has frozen already stays within the tolerance, and the first day in spring
/// after which it stays within it again.
fn bounds(row: &Row, tolerance: f64) -> (Option<u32>, Option<u32>) {
    let first = day_at(&row.winters, End::First, tolerance).and_then(|day| day.checked_sub(1));
    let last = day_at(&row.winters, End::Last, tolerance).and_then(|day| day.checked_add(1));
    (first, last)
}

fn text(asked: &Question<'_>, rows: &[Row]) -> String {
    let mut out = String::new();
    let all = asked.winters;
    let half = asked.past.half;
    let from = all.first().map_or(0, |w| w.start.year());
    let to = all.last().and_then(|w| w.days.last()).map_or(0, |day| day.date.year());
    let _ = writeln!(
        out,
        "{}: {} winters from {from} to {to}, {} days{}\nFull of fresh water, outdoors, in still air; nothing done.\n",
        asked.site,
        all.len(),
        asked.past.days,
        match asked.past.night_offset_k {
            k if k < 0.0 => format!(", lows {} K colder for this place", -k),
            _ => String::new(),
        }
    );
    for credit in credits(asked.past.source.as_deref()) {
        let _ = writeln!(out, "{credit}.\n");
    }
    let _ = writeln!(
        out,
        "{:<20} {:>7}  {:>20}  {:>20}  {:>10}  {:>10}",
        "", "winters", "first: 10 50 90 %", "last: 10 50 90 %", "drain by", "fill from"
    );
    for row in rows {
        let reached = row.winters.iter().filter(|(_, found)| found.is_some()).count();
        let three =
            |end| [0.1, 0.5, 0.9].map(|share| on(half, day_at(&row.winters, end, share))).join("/");
        let (safe, fill) = bounds(row, asked.tolerance);
        let _ = writeln!(
            out,
            "{:<20} {reached:>7}  {:>20}  {:>20}  {:>10}  {:>10}",
            row.id,
            three(End::First),
            three(End::Last),
            on(half, safe),
            on(half, fill)
        );
    }
    let percent = asked.tolerance * 100.0;
    let _ = writeln!(
        out,
        "\nDrain by, fill from: in {percent:.0} % of winters it froze by then, or still froze after.\n"
    );
    out += &soon(asked, rows);
    let _ = writeln!(
        out,
        "Share of winters in which it has frozen (. under 10 %, - under 50 %, + under 90 %, # more), {}:\n",
        months(half, " to ", &[9, 5])
    );
    for row in rows {
        let _ = writeln!(out, "{:<20} {}", row.id, chart(row));
    }
    let _ = writeln!(out, "{:<20} {}", "", months(half, "   ", &[9, 10, 11, 12, 1, 2, 3, 4, 5]));
    out
}

/// From today on: chance that the first damaging freeze comes within one, two and four weeks, where it has not yet; only in
/// the half of the year in which first freezes come.
fn soon(asked: &Question<'_>, rows: &[Row]) -> String {
    let mut out = String::new();
    for row in rows {
        let chances: Vec<Option<f64>> = WEEKS_AHEAD
            .iter()
            .map(|weeks| frozen_by(&row.winters, asked.today + 7 * weeks, Some(asked.today)))
            .collect();
        let [Some(one), Some(two), Some(four)] = chances[..] else { continue };
        if asked.today > LAST_DAY_OF_AUTUMN || four <= 0.0 {
            continue;
        }
        let percent = |chance: f64| format!("{:.0} %", 100.0 * chance);
        let _ = writeln!(
            out,
            "{:<20} within one week {:>5}, two {:>5}, four {:>5}",
            row.id,
            percent(one),
            percent(two),
            percent(four)
        );
    }
    if !out.is_empty() {
        out = format!(
            "From {}, where it has not frozen yet this season, the first damaging freeze comes:\n{out}\n",
            on(asked.past.half, Some(asked.today))
        );
    }
    out
}

/// Share of winters in which the day lies between the first freeze and the last.
fn chart(row: &Row) -> String {
    let n = row.winters.len().max(1);
    (0..CHART_COLUMNS)
        .map(|column| {
            let day = CHART_FROM_DAY + column * CHART_STEP_DAYS;
            let inside = row
                .winters
                .iter()
                .filter(|(start, found)| {
                    let date = start.checked_add_days(chrono::Days::new(u64::from(day)));
                    matches!((found, date), (Some((a, b)), Some(d)) if *a <= d && d <= *b)
                })
                .count();
            match inside * 10 {
                0 => ' ',
                tenths if tenths < n => '.',
                tenths if tenths < 5 * n => '-',
                tenths if tenths < 9 * n => '+',
                _ => '#',
            }
        })
        .collect()
}

/// The names of the months that are those of the north, here.
fn months(half: Hemisphere, between: &str, northern: &[u32]) -> String {
    let name = |month: &u32| {
        let first = chrono::NaiveDate::from_ymd_opt(2022, half.month(*month), 1);
        first.map_or_else(String::new, |day| day.format("%b").to_string())
    };
    northern.iter().map(name).collect::<Vec<_>>().join(between)
}

fn document(asked: &Question<'_>, rows: &[Row]) -> Value {
    let half = asked.past.half;
    let date = |day: Option<u32>| {
        day.and_then(|day| half.calendar(day)).map(|d| d.format("%m-%d").to_string())
    };
    let row = |row: &Row| {
        let three =
            |end| [0.1, 0.5, 0.9].map(|share| date(day_at(&row.winters, end, share))).to_vec();
        let (safe, fill) = bounds(row, asked.tolerance);
        json!({
            "kind": row.id, "what": row.what,
            "winters_reached": row.winters.iter().filter(|(_, f)| f.is_some()).count(),
            "first_10_50_90": three(End::First), "last_10_50_90": three(End::Last),
            "last_safe_day": date(safe), "earliest_fill": date(fill),
            "first_by": by_date(half, row, None),
            "first_by_from_today": by_date(half, row, Some(asked.today)),
        })
    };
    json!({
        "site": asked.site, "winters": asked.winters.len(), "tolerance": asked.tolerance,
        "from": date(Some(asked.today)),
        "credit": credits(asked.past.source.as_deref()),
        "rows": rows.iter().map(row).collect::<Vec<_>>(),
    })
}

/// Chance that the first damaging freeze has come by each date of autumn, a week apart; from `after` on, where it has not
/// come by then.
fn by_date(half: Hemisphere, row: &Row, after: Option<u32>) -> Vec<Value> {
    let first = after.unwrap_or(CHART_FROM_DAY);
    (first..=LAST_DAY_OF_AUTUMN)
        .step_by(7)
        .filter_map(|day| {
            let chance = frozen_by(&row.winters, day, after)?;
            let date = half.calendar(day)?.format("%m-%d").to_string();
            Some(json!({ "date": date, "chance": chance }))
        })
        .collect()
}
