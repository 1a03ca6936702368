//! Past days from the public archive into a file beside the configuration, where its use is allowed.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike as _, NaiveDate, TimeDelta, Utc};

use super::super::{CliError, runtime};
use crate::adapters::weather::Place;
use crate::adapters::weather::open_meteo::ARCHIVE;
use crate::app::settings::ForecastSettings;
use crate::daemon::clients::archive_client;
use crate::domain::weather::seasons::Day;
use crate::domain::yard::Site;

/// The archive's last days are made up to so long later.
const NOT_BEFORE: TimeDelta = TimeDelta::days(7);
/// The archive's first year.
const FIRST_YEAR: i32 = 1940;

/// Asks for the last `years` years of a place and keeps them in `file`, which must not be there yet.
///
/// # Errors
/// [`CliError`]: use that is not allowed, a file that stands there, the service's refusal; nothing is written then.
pub fn fetch(
    forecast: &ForecastSettings,
    site: &Site,
    (years, file): (i32, &Path),
    now: DateTime<Utc>,
) -> Result<(), CliError> {
    if !forecast.open_meteo.is_allowed() {
        return Err(CliError::bad_input(
            "the archive is Open-Meteo's, whose free tier is for non-commercial use only: set \
             forecast.open_meteo.use = \"noncommercial\" if that is so, or forecast.open_meteo.key_file for a paid plan; \
             or bring a file of your own with --archive FILE (a GHCN-Daily .dly file, or date,tmin_c,tmax_c)",
        ));
    }
    if file.exists() {
        return Err(CliError::bad_input(format!(
            "{} is there already and is left as it is: move it away, or name another with --archive FILE",
            file.display()
        )));
    }
    let place = Place::new(site.latitude, site.longitude);
    let place = place.map_err(|error| CliError::bad_input(error.to_string()))?;
    let to = (now - NOT_BEFORE).date_naive();
    let from = NaiveDate::from_ymd_opt((to.year() - years).max(FIRST_YEAR), 7, 1);
    let from = from.ok_or_else(|| CliError::bad_input("--years: too far back"))?;
    let client = archive_client(forecast)?;
    let asked = client.past_days((place, site.elevation_m), (from, to), now);
    let days = runtime()?.block_on(asked).map_err(CliError::failed)?;
    write(file, &days)
        .map_err(|error| CliError::failed(format!("writing {}: {error}", file.display())))
}

/// Where the days of a place are kept unless a file is named: beside the configuration.
pub fn usual_file(config: &Path, site: &str) -> PathBuf {
    let plain: String =
        site.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' }).collect();
    config.with_file_name(format!("{plain}-days.csv"))
}

/// The file as the configuration would name it: paths there are meant from its own folder.
pub fn as_configured(config: &Path, file: &Path) -> String {
    let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    let (config, file) = (whole(config), whole(file));
    let near = config.parent().and_then(|folder| file.strip_prefix(folder).ok());
    near.unwrap_or(&file).display().to_string()
}

/// Whole or not at all: first beside its name, then there.
fn write(file: &Path, days: &[Day]) -> Result<(), Box<dyn std::error::Error>> {
    let mut part = file.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let mut table = csv::Writer::from_path(&part)?;
    table.write_record(["date", "tmin_c", "tmax_c", "source"])?;
    for day in days {
        let (low, high) = (format!("{:.1}", day.low_c), format!("{:.1}", day.high_c));
        table.write_record([day.date.to_string().as_str(), &low, &high, ARCHIVE])?;
    }
    table.into_inner().map_err(|error| error.to_string())?.sync_all()?;
    std::fs::rename(&part, file)?;
    Ok(())
}
