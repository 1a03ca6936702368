//! From the forecast of a grid cell to the air of a yard: the place's own cold on clear calm nights.

use std::sync::LazyLock;

use serde::Deserialize;

use super::{Step, sun};
use crate::domain::physics::{TableError, table_rows};
use crate::domain::yard::Site;

/// Wind in m/s below which cold air pools and above which it is stirred away (common practice of frost protection:
/// pooling fades between about 1.5 and 4 m/s).
const CALM_MS: (f64, f64) = (1.5, 4.0);
/// How much of the long-wave loss full cloud takes away (usual form 1 - 0.8 c, coefficient from memory).
const CLOUD_LOSS: f64 = 0.8;

/// What a clear calm night takes off the forecast by the words of the terrain, K, where nobody has measured it: 0 or below,
/// the coldest word of `config/catalogue/terrain.csv`.
///
/// # Errors
/// [`TableError`] where the table does not read.
pub fn night_offset_of_terrain_k(terrain: &str) -> Result<f64, TableError> {
    let rows = TERRAIN.as_ref().map_err(Clone::clone)?;
    let terrain = terrain.to_lowercase();
    let words: Vec<&str> = terrain.split(|letter: char| !letter.is_alphanumeric()).collect();
    let said = words.iter().enumerate().filter(|(at, _)| {
        let before = words.get(at.saturating_sub(WORDS_BEFORE)..*at).unwrap_or_default();
        !before.iter().any(|word| DENIED.contains(word))
    });
    let offset = |(_, word): (usize, &&str)| rows.iter().find(|row| row.word == *word);
    Ok(said.filter_map(offset).map(|row| row.night_offset_k).fold(0.0, f64::min))
}

/// Words that take back what follows within so many words.
const DENIED: [&str; 6] = ["no", "not", "never", "above", "over", "without"];
const WORDS_BEFORE: usize = 3;

#[derive(Debug, Deserialize)]
struct Terrain {
    word: String,
    night_offset_k: f64,
}

static TERRAIN: LazyLock<Result<Vec<Terrain>, TableError>> = LazyLock::new(|| {
    table_rows("terrain.csv", include_str!("../../../config/catalogue/terrain.csv"))
});

/// How clear and calm an hour is, 0 to 1. What is not known counts as clear and calm: that is the cold side.
#[must_use]
pub fn clear_and_calm(cloud: Option<f64>, wind_ms: Option<f64>) -> f64 {
    let clear = 1.0 - CLOUD_LOSS * cloud.unwrap_or(0.0).clamp(0.0, 1.0);
    let (calm, stirred) = CALM_MS;
    let still = ((stirred - wind_ms.unwrap_or(0.0)) / (stirred - calm)).clamp(0.0, 1.0);
    clear * still
}

/// What the place adds to the forecast of its grid cell in this hour, K: its night offset, as far as the night is clear
/// and calm. A place that is warmer than its cell gets no credit.
#[must_use]
pub fn night_offset_k(site: &Site, step: &Step) -> f64 {
    let at = (site.latitude, site.longitude);
    let other_k = site.other_night_k();
    if other_k >= 0.0 {
        return pooled_cold_k(site.clear_night_k(), at, step);
    }
    if !sun::is_night(step.time, at.0, at.1) {
        return 0.0;
    }
    let clear = clear_and_calm(step.cloud, step.wind_ms);
    clear * site.clear_night_k() + (1.0 - clear) * other_k
}

/// The same for a night offset in K at a latitude and longitude.
#[must_use]
pub fn pooled_cold_k(night_offset_k: f64, (north, east): (f64, f64), step: &Step) -> f64 {
    if night_offset_k >= 0.0 || !sun::is_night(step.time, north, east) {
        return 0.0;
    }
    night_offset_k * clear_and_calm(step.cloud, step.wind_ms)
}

/// The steps of a grid cell as the air of the place.
#[must_use]
pub fn at_the_place(site: &Site, steps: &[Step]) -> Vec<Step> {
    steps
        .iter()
        .map(|step| {
            let offset = night_offset_k(site, step);
            let shift = |t: f64| t + offset;
            Step {
                temperature_c: step.temperature_c.map(shift),
                p10_c: step.p10_c.map(shift),
                p90_c: step.p90_c.map(shift),
                ..*step
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FAO frost handbook (Snyder and de Melo-Abreu 2005): -2 to -5 K more in hollows.
    #[test]
    fn a_hollow_is_cold_before_anybody_has_measured_it() {
        let of = |terrain| night_offset_of_terrain_k(terrain).unwrap();
        assert_eq!(of("inland Hollow, north side"), -3.0);
        assert_eq!(of("valley floor"), -2.0);
        assert_eq!(of("salt-water shore"), 0.0);
        assert_eq!(of("frost hollows, bottom of a bowl"), -3.0);
        for flat in ["", "ridge, no dip", "not in a hollow", "hillside above the valley"] {
            assert_eq!(of(flat), 0.0, "{flat}");
        }
        assert!(
            TERRAIN.as_ref().unwrap().iter().all(|row| (-5.0..0.0).contains(&row.night_offset_k))
        );
    }
}
