//! What the air of a day of the year usually is at a place: what stands for past hours of which nobody knows anything.
//!
//! It is no measurement and never counts as one: whoever uses it must draw its spread and must not say that something froze in it.

use std::sync::{Arc, LazyLock};

use chrono::{DateTime, Datelike, Utc};
use serde::Deserialize;

use super::seasons::DailyNormals;
use crate::domain::physics::{TableError, table_rows};
use crate::domain::season::Hemisphere;
use crate::domain::yard::Site;

const DAYS_A_MONTH: f64 = 365.25 / 12.0;
/// Where the table of latitudes does not read: cold enough to take no part for warmer than it was, C and K.
const WITHOUT_TABLE: (f64, f64) = (0.0, 6.0);

/// The usual air of a place, by an archive of its own where there is one, else by its latitude.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct UsualAir {
    normals: Option<Arc<DailyNormals>>,
}

#[derive(Debug, Deserialize)]
struct Latitude {
    latitude: f64,
    jan: f64,
    feb: f64,
    mar: f64,
    apr: f64,
    may: f64,
    jun: f64,
    jul: f64,
    aug: f64,
    sep: f64,
    oct: f64,
    nov: f64,
    dec: f64,
    sd: f64,
}

static TABLE: LazyLock<Result<Vec<Latitude>, TableError>> = LazyLock::new(|| {
    table_rows("usual_air.csv", include_str!("../../../config/catalogue/usual_air.csv"))
});

impl UsualAir {
    /// By the days of an archive.
    #[must_use]
    pub const fn of_archive(normals: Arc<DailyNormals>) -> Self {
        Self { normals: Some(normals) }
    }

    /// Mean of the day, C, and standard deviation of a single day about it, K.
    #[must_use]
    pub fn on(&self, site: &Site, at: DateTime<Utc>) -> (f64, f64) {
        let (mean_c, sd_k) = by_latitude(site, at).unwrap_or(WITHOUT_TABLE);
        let date = at.with_timezone(&site.time_zone).date_naive();
        let own = self.normals.as_ref().and_then(|normals| normals.on(date));
        (own.unwrap_or(mean_c), sd_k)
    }
}

fn by_latitude(site: &Site, at: DateTime<Utc>) -> Option<(f64, f64)> {
    let rows = TABLE.as_ref().ok()?;
    let north = site.latitude.abs();
    let above = rows.iter().find(|row| row.latitude >= north).or(rows.last())?;
    let below = rows.iter().rev().find(|row| row.latitude <= north).or(rows.first())?;
    let apart = above.latitude - below.latitude;
    let share = if apart > 0.0 { (north - below.latitude) / apart } else { 0.0 };
    let mix = |low: f64, high: f64| low + share * (high - low);
    let half = site.hemisphere();
    Some((mix(below.on(half, at), above.on(half, at)), mix(below.sd, above.sd)))
}

impl Latitude {
    /// The mean of a day, C: a straight line between the middles of two months.
    fn on(&self, half: Hemisphere, at: DateTime<Utc>) -> f64 {
        let months = [
            self.jan, self.feb, self.mar, self.apr, self.may, self.jun, self.jul, self.aug,
            self.sep, self.oct, self.nov, self.dec,
        ];
        let day = half.northern_day(f64::from(at.ordinal()));
        let middles = (day / DAYS_A_MONTH - 0.5).rem_euclid(12.0);
        let from = months.iter().cycle().skip(whole(middles));
        let mut two = from.take(2).copied();
        let (before, after) = (two.next().unwrap_or(0.0), two.next().unwrap_or(0.0));
        before + middles.fract() * (after - before)
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a month, 0 to 11")]
const fn whole(months: f64) -> usize {
    months as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_of_a_month_is_its_own_row_and_a_half_year_on_the_other_half_has_it() {
        let rows = TABLE.as_ref().unwrap();
        let row = rows.iter().find(|row| row.latitude == 45.0).unwrap();
        let on = |half, day: &str| row.on(half, format!("{day}T12:00:00Z").parse().unwrap());
        assert!((on(Hemisphere::Northern, "2022-01-15") + 6.0).abs() < 0.2);
        assert!((on(Hemisphere::Northern, "2022-07-16") - 22.0).abs() < 0.2);
        assert!((on(Hemisphere::Southern, "2022-07-16") + 6.0).abs() < 0.3);
        let turn = on(Hemisphere::Northern, "2022-12-31");
        assert!((-5.0..-4.0).contains(&turn), "{turn}");
        assert!(
            rows.windows(2)
                .all(|two| two[0].jan >= two[1].jan && two[0].latitude < two[1].latitude)
        );
    }
}
