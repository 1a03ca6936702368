//! `rimeward place`: a storage place, and what its own thermometer has taught.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::{CliContext, CliError, CommandOutput, Exit, as_json};
use crate::app::assess::bias::Lesson;
use crate::app::ports::KEPT_BYTES;
use crate::domain::boat::SiteId;
use crate::domain::weather::learned::{OwnCold, Sort};
use crate::domain::yard::{Site, SiteKind};
use crate::views::local;
use crate::views::place::{PlaceView, RefusedLine};

/// Refused nights that are named; all of them stand in the JSON.
const REFUSED_NAMED: usize = 10;

/// Arguments of `place`.
#[derive(Debug, clap::Args)]
pub struct PlaceArgs {
    /// Which place
    site: String,
    /// Write the newest refused answer of a weather service to this file, for rimeward inspect
    #[arg(long, value_name = "FILE")]
    refused: Option<PathBuf>,
    /// At this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Only what was known by then
    #[arg(long, value_name = "TIME")]
    known_at: Option<String>,
}

/// Shows a place: where it is, what the list says of its nights, what its readings have taught.
///
/// # Errors
/// [`CliError`]: an unknown place, a time that is none, the store.
pub fn place(args: &PlaceArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let mut yard = house.yard()?;
    let Some(site) = yard.sites.remove(&SiteId::from(args.site.clone())) else {
        let names: Vec<&str> = yard.sites.keys().map(SiteId::as_str).collect();
        return Err(CliError::bad_input(format!(
            "no place is called {}; the yard has {}",
            args.site,
            names.join(", ")
        )));
    };
    let instant = around.instant((args.at.as_deref(), args.known_at.as_deref()), site.time_zone)?;
    let lesson = house.forecasts().lesson_of(&site, instant)?;
    let used = house.settings.forecast.learn;
    let until = house.settings.forecast.learn_until;
    let mut text = about(&site);
    text += &match &lesson.own {
        None if lesson.nights == 0 => format!(
            "No readings of its own thermometer: rimeward record {} reading low=-6.5C, or rimeward import readings FILE (columns site_id, morning, low_c or low_f; or site_id, time, temperature_c for a logger).\n",
            site.id
        ),
        None => format!(
            "{} nights were read, but no usable forecast of the evenings before is kept: nothing to learn from.\n",
            lesson.nights
        ),
        Some(own) => learned(&site, own, &lesson),
    };
    if lesson.own.is_some() && !used {
        text += "Not used: forecast.learn is false.\n";
    }
    if let Some(until) = until {
        text += &format!("Only nights up to {until} teach (forecast.learn_until).\n");
    }
    let refused = house.store.refused(&site.id)?;
    for answer in &refused {
        let at = answer.at.with_timezone(&site.time_zone).format("%a %-d %b %Y %H:%M");
        text += &format!("Refused, and not used: {} {at}: {}.\n", answer.service, answer.why);
    }
    if let Some(file) = &args.refused {
        let Some(newest) = refused.first() else {
            return Err(CliError::bad_input(format!("no answer for {} was refused", site.id)));
        };
        write_new(file, &newest.body)?;
        text += &format!(
            "Written to {}: rimeward inspect --service {} --place {},{} {} reads it again.\n",
            file.display(),
            newest.service,
            site.latitude,
            site.longitude,
            file.display()
        );
        if newest.body.len() >= KEPT_BYTES {
            text += &format!("It was longer: the first {KEPT_BYTES} bytes were kept.\n");
        }
    } else if !refused.is_empty() {
        text += &format!(
            "rimeward place {} --refused FILE writes the newest of them to a file.\n",
            site.id
        );
    }
    let refused = refused.into_iter().map(|answer| RefusedLine {
        service: answer.service,
        at: local(answer.at, site.time_zone),
        why: answer.why,
    });
    let view = PlaceView {
        refused: refused.collect(),
        site: site.id,
        kind: site.kind,
        latitude: site.latitude,
        longitude: site.longitude,
        listed_night_offset_k: site.night_offset_k,
        nights_read: lesson.nights,
        nights_without_forecast: lesson.without_forecast,
        used,
        learn_until: until,
        learned: lesson.own,
    };
    Ok(CommandOutput { text, json: as_json(&view)?, exit: Exit::Done })
}

/// What is there stays as it is.
fn write_new(file: &Path, body: &[u8]) -> Result<(), CliError> {
    let told = |error: std::io::Error| {
        CliError::bad_input(format!("cannot write {}: {error}; name a new file", file.display()))
    };
    let mut new =
        std::fs::OpenOptions::new().write(true).create_new(true).open(file).map_err(told)?;
    new.write_all(body).map_err(told)
}

fn about(site: &Site) -> String {
    let kind = match site.kind {
        SiteKind::Outdoor => "outdoors",
        SiteKind::IndoorUnheated => "indoors, no heat",
        SiteKind::IndoorHeated => "indoors, heated",
        SiteKind::Afloat => "afloat",
    };
    format!(
        "{}: {}, {kind}; {:.3}, {:.3}, {:.0} m; {}\nClear calm nights by the list: {}\n",
        site.id,
        site.name,
        site.latitude,
        site.longitude,
        site.elevation_m,
        site.terrain,
        kelvins(site.night_offset_k.min(0.0))
    )
}

fn kelvins(offset_k: f64) -> String {
    if offset_k > -0.05 {
        "as forecast".to_owned()
    } else {
        format!("{:.1} K ({:.1} F degrees) colder than forecast", -offset_k, -1.8 * offset_k)
    }
}

pub(super) fn learned(site: &Site, own: &OwnCold, lesson: &Lesson) -> String {
    let sort = |name: &str, sort: &Sort| {
        let scatter = sort.scatter_k.map_or_else(String::new, |sd| format!(", scatter {sd:.1} K"));
        format!("  {name:<18} {} ({} nights{scatter})\n", kelvins(sort.offset_k), sort.nights)
    };
    let until = own.until.map_or_else(String::new, |day| format!(", the last on {day}"));
    let mut text = format!(
        "Learned from {} nights{until}, against the forecast of each evening before:\n",
        own.clear.nights + own.other.nights
    );
    text += &sort("clear calm nights", &own.clear);
    text += &sort("other nights", &own.other);
    text += &format!(
        "  spread of the place: {:.1} K (1.3 K where no thermometer stands)\n",
        own.place_sd_k
    );
    if own.in_the_sun {
        text += "  THE THERMOMETER STANDS IN THE SUN or at a warm wall: its days are far over the forecast. It cannot make the place milder; hang it in the shade.\n";
    }
    if lesson.without_forecast > 0 {
        text += &format!(
            "  {} nights have no usable forecast of the evening before and teach nothing\n",
            lesson.without_forecast
        );
    }
    for (morning, why) in own.refused.iter().take(REFUSED_NAMED) {
        text += &format!("  not believed: {morning}: {why}\n");
    }
    let more = own.refused.len().saturating_sub(REFUSED_NAMED);
    if more > 0 {
        text += &format!("  and {more} more; --json has them all\n");
    }
    if site.kind == SiteKind::IndoorHeated {
        text += "  The place is heated: what is learned counts when its power fails.\n";
    }
    text
}
