//! The air that a part saw in the past, hour by hour, and which of those hours anybody knows.

use super::place::wind_factor;
use crate::domain::physics::part::ThermalClass;

/// The past air of a part, an hour each, oldest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PastAir {
    /// Its temperature, C; in hours that nobody knows, what is usual.
    pub air_c: Vec<f64>,
    /// The wind that reached the part, m/s; 0 behind hull, wrap or wall.
    pub wind_ms: Vec<f64>,
    /// Does anybody know the hour?
    pub known: Vec<bool>,
    /// Standard deviation of the air in the hours that nobody knows, K.
    pub spread_k: f64,
}

/// One past hour of a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FeltHour {
    /// The air, C.
    pub air_c: f64,
    /// By how much the wind multiplied the heat loss.
    pub stretch: f64,
    /// Does anybody know the hour?
    pub known: bool,
}

impl PastAir {
    /// Steady known air without wind.
    #[must_use]
    pub fn still(air_c: Vec<f64>) -> Self {
        let (wind_ms, known) = (vec![0.0; air_c.len()], vec![true; air_c.len()]);
        Self { air_c, wind_ms, known, spread_k: 0.0 }
    }

    /// The last `hours` of it, as a part of `class` felt them.
    #[must_use]
    pub fn last(&self, hours: usize, class: &ThermalClass) -> Vec<FeltHour> {
        let skip = self.air_c.len().saturating_sub(hours);
        let factor = |wind_ms: f64| if wind_ms > 0.0 { wind_factor(class, wind_ms) } else { 1.0 };
        let felt = self.air_c.iter().zip(&self.wind_ms).zip(&self.known).skip(skip);
        felt.map(|((air_c, wind_ms), known)| FeltHour {
            air_c: *air_c,
            stretch: factor(*wind_ms),
            known: *known,
        })
        .collect()
    }

    /// How many of the last hours are worth looking at for ice: those from the first known one at or below `first_ice_c`, C, on.
    #[must_use]
    pub fn since_frost(&self, first_ice_c: f64) -> usize {
        let frost = |(air_c, known): (&f64, &bool)| *known && *air_c <= first_ice_c;
        let first = self.air_c.iter().zip(&self.known).position(frost);
        first.map_or(0, |first| self.air_c.len() - first)
    }

    /// How many hours ago the last hour that nobody knows ended, among the last `hours`; `None` where all are known.
    #[must_use]
    pub fn known_for(&self, hours: usize) -> Option<usize> {
        self.known.iter().rev().take(hours).position(|known| !known)
    }
}
