//! In spring: from which day on water may be filled in again, place by place, by past seasons.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};

use crate::app::assess::Assessment;
use crate::app::assess::past_seasons::PastArchives;
use crate::app::error::ServiceError;
use crate::domain::boat::SiteId;
use crate::domain::catalogue::Catalogue;
use crate::domain::catalogue::Consequence;
use crate::domain::weather::seasons::{End, day_at};
use crate::domain::yard::{Site, SiteKind};

/// Months, in the north, in which somebody thinks of filling water in: March to June.
const MONTHS: std::ops::RangeInclusive<u32> = 3..=6;

/// The earliest days to fill water at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FillFrom {
    /// The place.
    pub site: SiteId,
    /// For the dear parts: engine, drive, what may sink her.
    pub engine: Option<NaiveDate>,
    /// For every part, the smallest hose too.
    pub all: NaiveDate,
    /// Past winters looked at.
    pub winters: usize,
}

/// Where it is spring and past seasons are known: the first day after which the share of winters with another damaging
/// freeze is within the tolerance. Heated places are left out.
///
/// # Errors
/// A hole in the tables.
pub(crate) fn fill_from(
    archives: PastArchives<'_>,
    (catalogue, tolerance): (&Catalogue, f64),
    seen: &Assessment,
    today: NaiveDate,
) -> Result<Vec<FillFrom>, ServiceError> {
    let mut found = Vec::new();
    for site in seen.yard.sites.values().filter(|site| site.kind != SiteKind::IndoorHeated) {
        if !is_spring(site, today) {
            continue;
        }
        let Some(past) = archives.of(site).unwrap_or(None) else { continue };
        let mut classes: BTreeSet<(&str, bool)> = BTreeSet::new();
        for view in seen.boats.iter().filter(|view| view.state.site == site.id) {
            for circuit in &view.state.circuits {
                let Some(kind) = catalogue.circuit(&circuit.circuit) else { continue };
                let dear = kind.consequence_when(view.state.afloat) == Consequence::Severe;
                classes.insert((kind.thermal_class.as_str(), dear));
            }
        }
        let (mut engine, mut all): (Option<u32>, Option<u32>) = (None, None);
        for (class, dear) in classes.into_iter().filter(|(class, _)| *class != "battery") {
            let days = archives.read.first_and_last(&past, class)?;
            let last = day_at(&days, End::Last, tolerance);
            let Some(from) = last.map(|day| day.saturating_add(1)) else { continue };
            all = all.max(Some(from));
            engine = if dear { engine.max(Some(from)) } else { engine };
        }
        let on = |day: u32| past.half.this_season(today, day);
        if let Some(all) = all.and_then(on) {
            let (site, winters) = (site.id.clone(), past.winters.len());
            found.push(FillFrom { site, engine: engine.and_then(on), all, winters });
        }
    }
    Ok(found)
}

fn is_spring(site: &Site, today: NaiveDate) -> bool {
    MONTHS.contains(&site.hemisphere().month(today.month()))
}
