//! `rimeward season`: from past winters, when the first damaging freeze comes to each kind of part and when the last.

use std::fmt::Write as _;
use std::path::PathBuf;

use serde_json::{Value, json};

use super::{Exit, Refusal, Said, Surroundings};
use crate::domain::physics::Liquid;
use crate::domain::physics::part::thermal_classes;
use crate::domain::weather::seasons::{
    Day, End, FirstAndLast, Winter, calendar, day_at, water_in, winters,
};
use crate::intake::archive::{ARCHIVE_BYTES_MAX, days};

/// Columns of the chart: 1 September to 31 May in stretches of five days.
const CHART_FROM_DAY: u32 = 62;
const CHART_STEP_DAYS: u32 = 5;
const CHART_COLUMNS: u32 = 55;

/// When the first damaging freeze comes and the last, from an archive of past days.
#[derive(Debug, clap::Args)]
pub struct SeasonArgs {
    /// Place, as named in your list or in the archive's `station` column
    pub site: String,
    /// Past days: a GHCN-Daily .dly file, or a table with date, tmin_c and tmax_c; may be gzipped
    #[arg(long, value_name = "FILE")]
    pub archive: PathBuf,
    /// Share of winters that you accept to be surprised in
    #[arg(long, default_value_t = 0.1)]
    pub tolerance: f64,
    /// Use only the last so many winters
    #[arg(long, value_name = "N")]
    pub last: Option<usize>,
}

/// One line of the table.
struct Row {
    id: String,
    what: String,
    winters: Vec<(i32, FirstAndLast)>,
}

/// Prints the table and the chart, or the document.
///
/// # Errors
/// [`Refusal`]: a file that cannot be read, too few winters, a tolerance that is none.
pub fn season(args: &SeasonArgs, _around: &Surroundings<'_>) -> Result<Said, Refusal> {
    if !(0.0..=0.5).contains(&args.tolerance) {
        return Err(Refusal::bad_input("--tolerance is a share from 0 to 0.5, such as 0.1"));
    }
    let name = args.archive.display();
    let size = std::fs::metadata(&args.archive).map(|m| m.len()).unwrap_or(0);
    if size > ARCHIVE_BYTES_MAX {
        return Err(Refusal::bad_input(format!("{name} has {size} bytes, too many")));
    }
    let body = std::fs::read(&args.archive)
        .map_err(|error| Refusal::bad_input(format!("cannot read {name}: {error}")))?;
    let days = days(&body, Some(&args.site))
        .map_err(|error| Refusal::bad_input(format!("{name}: {error}")))?;
    let mut all = winters(&days);
    if let Some(last) = args.last {
        all = all.split_off(all.len().saturating_sub(last));
    }
    if all.len() < 5 {
        return Err(Refusal::bad_input(format!(
            "{name} has {} complete winters for {}; five at least say something",
            all.len(),
            args.site
        )));
    }
    let rows = rows(&all)?;
    Ok(Said {
        text: text(args, &days, &all, &rows),
        json: document(args, &all, &rows),
        exit: Exit::Done,
    })
}

fn rows(all: &[Winter]) -> Result<Vec<Row>, Refusal> {
    let air = |id: &str, threshold_c: f64| Row {
        id: id.into(),
        what: format!("air at or below {threshold_c} C"),
        winters: all.iter().map(|w| (w.year, w.air_below(threshold_c))).collect(),
    };
    // 28 F, the "hard" freeze of the published normals.
    let mut rows = vec![air("air_0", 0.0), air("air_hard", -2.2)];
    let classes = thermal_classes().map_err(|error| Refusal::failed(error.to_string()))?;
    // A battery holds acid; what its cold does hangs on its charge, not on the winter alone.
    for class in classes.iter().filter(|class| class.id != "battery") {
        let Some(part) = water_in(class, &Liquid::FreshWater) else { continue };
        rows.push(Row {
            id: class.id.clone(),
            what: class.what.clone(),
            winters: all.iter().map(|w| (w.year, w.part_frozen(&part))).collect(),
        });
    }
    Ok(rows)
}

/// Month and day; a dash where that share of winters never comes to it.
fn on(day: Option<u32>) -> String {
    day.and_then(calendar).map_or_else(|| "-".into(), |date| date.format("%-d %b").to_string())
}

/// The last day on which the chance that it has frozen already stays within the tolerance, and the first day in spring
/// after which it stays within it again.
fn bounds(row: &Row, tolerance: f64) -> (Option<u32>, Option<u32>) {
    let first = day_at(&row.winters, End::First, tolerance).and_then(|day| day.checked_sub(1));
    let last = day_at(&row.winters, End::Last, tolerance).and_then(|day| day.checked_add(1));
    (first, last)
}

fn text(args: &SeasonArgs, days: &[Day], all: &[Winter], rows: &[Row]) -> String {
    let mut out = String::new();
    let (from, to) = (all.first().map_or(0, |w| w.year), all.last().map_or(0, |w| w.year + 1));
    let _ = writeln!(
        out,
        "{}: {} winters from {from} to {to}, {} days\nFull of fresh water, outdoors, in still air; nothing done.\n",
        args.site,
        all.len(),
        days.len()
    );
    let _ = writeln!(
        out,
        "{:<20} {:>7}  {:>20}  {:>20}  {:>10}  {:>10}",
        "", "winters", "first: 10 50 90 %", "last: 10 50 90 %", "drain by", "fill from"
    );
    for row in rows {
        let reached = row.winters.iter().filter(|(_, found)| found.is_some()).count();
        let three =
            |end| [0.1, 0.5, 0.9].map(|share| on(day_at(&row.winters, end, share))).join("/");
        let (safe, fill) = bounds(row, args.tolerance);
        let _ = writeln!(
            out,
            "{:<20} {reached:>7}  {:>20}  {:>20}  {:>10}  {:>10}",
            row.id,
            three(End::First),
            three(End::Last),
            on(safe),
            on(fill)
        );
    }
    let percent = args.tolerance * 100.0;
    let _ = writeln!(
        out,
        "\nDrain by, fill from: in {percent:.0} % of winters it froze by then, or still froze after.\n\
         Share of winters in which it has frozen (. under 10 %, - under 50 %, + under 90 %, # more), Sep to May:\n"
    );
    for row in rows {
        let _ = writeln!(out, "{:<20} {}", row.id, chart(row));
    }
    let _ = writeln!(out, "{:<20} {}", "", months());
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
                .filter(|(year, found)| {
                    let start = chrono::NaiveDate::from_ymd_opt(*year, 7, 1);
                    let date =
                        start.and_then(|s| s.checked_add_days(chrono::Days::new(u64::from(day))));
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

fn months() -> String {
    "Sep   Oct   Nov   Dec   Jan   Feb   Mar   Apr   May".into()
}

fn document(args: &SeasonArgs, all: &[Winter], rows: &[Row]) -> Value {
    let date = |day: Option<u32>| day.and_then(calendar).map(|d| d.format("%m-%d").to_string());
    let row = |row: &Row| {
        let three =
            |end| [0.1, 0.5, 0.9].map(|share| date(day_at(&row.winters, end, share))).to_vec();
        let (safe, fill) = bounds(row, args.tolerance);
        json!({
            "kind": row.id, "what": row.what,
            "winters_reached": row.winters.iter().filter(|(_, f)| f.is_some()).count(),
            "first_10_50_90": three(End::First), "last_10_50_90": three(End::Last),
            "last_safe_day": date(safe), "earliest_fill": date(fill),
        })
    };
    json!({
        "site": args.site, "winters": all.len(), "tolerance": args.tolerance,
        "rows": rows.iter().map(row).collect::<Vec<_>>(),
    })
}
