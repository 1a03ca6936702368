//! Cloud and wind by day, the same at all places of the yard.

use chrono::NaiveDate;

use crate::sim::demo::noise::Noise;
use crate::sim::demo::winter::tables::Tables;

/// Below this cloud cover a night is clear.
const CLEAR: f64 = 0.25;
/// Below this wind a night is calm, in m/s.
const CALM_MS: f64 = 2.0;
/// How much a day's sky has of the day before.
const CLOUD_STEP: f64 = 0.35;
const WIND_STEP: f64 = 0.2;
/// Cloud around the half, as mean and spread before it is cut to 0..1.
const CLOUD_MEAN: f64 = 0.55;
const CLOUD_SPREAD: f64 = 0.40;
/// Wind at night, in m/s, as mean and spread before it is cut; by day it is stronger.
const WIND_MEAN_MS: f64 = 2.6;
const WIND_SPREAD_MS: f64 = 1.5;
const WIND_LEAST_MS: f64 = 0.5;
const WIND_MOST_MS: f64 = 9.0;
const WIND_BY_DAY_MORE_MS: f64 = 2.0;

/// One day's sky; its night is the one that ends in it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SkyDay {
    pub cloud_night: f64,
    pub cloud_day: f64,
    pub wind_night_ms: f64,
    pub wind_day_ms: f64,
}

impl SkyDay {
    /// Does cold air pool in this night?
    pub fn is_clear_calm(&self) -> bool {
        self.cloud_night < CLEAR && self.wind_night_ms < CALM_MS
    }
}

pub(crate) struct Sky(pub Vec<SkyDay>);

impl Sky {
    pub fn make(tables: &Tables, first: NaiveDate, count: usize, seed: u64) -> Self {
        let night = Noise::new(seed, 1).series(count, CLOUD_STEP);
        let change = Noise::new(seed, 2).series(count, 0.0);
        let wind = Noise::new(seed, 3).series(count, WIND_STEP);
        let cloud = |z: f64| (CLOUD_MEAN + CLOUD_SPREAD * z).clamp(0.0, 1.0);
        let filled = night.iter().zip(&change).zip(&wind).map(|((night, change), wind)| {
            let wind_night_ms =
                (WIND_MEAN_MS + WIND_SPREAD_MS * wind).clamp(WIND_LEAST_MS, WIND_MOST_MS);
            SkyDay {
                cloud_night: cloud(*night),
                cloud_day: cloud(0.7 * night + 0.7 * change),
                wind_night_ms,
                wind_day_ms: wind_night_ms + WIND_BY_DAY_MORE_MS,
            }
        });
        let mut days: Vec<SkyDay> = filled.collect();
        for named in &tables.days {
            let at = usize::try_from((named.date - first).num_days()).ok();
            if let Some(day) = at.and_then(|a| days.get_mut(a)) {
                *day = SkyDay {
                    cloud_night: named.cloud_night,
                    cloud_day: named.cloud_day,
                    wind_night_ms: named.wind_night_ms,
                    wind_day_ms: named.wind_day_ms,
                };
            }
        }
        Self(days)
    }
}
