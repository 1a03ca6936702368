//! The storage exposures of `config/catalogue/exposures.csv`.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::domain::physics::table::{TableError, rows};

/// What a part sees of the weather where it stands.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Exposure {
    /// Its name in the catalogue.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// Time constant of the enclosure, hours; 0 in the open.
    pub tau_env_h: f64,
    /// The shortest that it may be.
    pub tau_env_low_h: f64,
    /// The longest that it may be.
    pub tau_env_high_h: f64,
    /// Share of a part's surroundings that is sky, 0 to 1.
    pub sky_view: f64,
    /// Convection for the sky balance, W/(m2 K).
    pub h_convection_w_m2k: f64,
    /// Whether wind reaches the part.
    #[serde(deserialize_with = "yes_or_no", rename = "wind")]
    pub wind_reaches: bool,
    /// Added to the air on clear calm nights, K, besides the sky balance.
    pub clear_night_offset_k: f64,
    /// Wind from which a night no longer counts as calm, m/s.
    pub calm_below_ms: f64,
    /// Added to the air always, K.
    pub offset_k: f64,
    /// Weight of the water when afloat, W/K.
    pub water_ua_w_k: f64,
    /// Weight of the air, W/K.
    pub air_ua_w_k: f64,
    /// Where the figures come from.
    pub source: String,
}

/// Every exposure, in the order of the catalogue.
///
/// # Errors
/// [`TableError`] names the row that cannot be used.
pub fn exposures() -> Result<&'static [Exposure], TableError> {
    EXPOSURES.as_ref().map(Vec::as_slice).map_err(Clone::clone)
}

/// The exposure by that id.
///
/// # Errors
/// [`TableError::NoRow`] lists the ids that there are.
pub fn exposure(id: &str) -> Result<&'static Exposure, TableError> {
    let exposures = exposures()?;
    exposures.iter().find(|exposure| exposure.id == id).ok_or_else(|| TableError::NoRow {
        table: TABLE,
        row: id.to_owned(),
        known: exposures.iter().map(|row| row.id.as_str()).collect::<Vec<_>>().join(" "),
    })
}

const TABLE: &str = "exposures.csv";

static EXPOSURES: LazyLock<Result<Vec<Exposure>, TableError>> = LazyLock::new(|| {
    let exposures: Vec<Exposure> =
        rows(TABLE, include_str!("../../../../config/catalogue/exposures.csv"))?;
    for row in &exposures {
        let shares = (0.0..=1.0).contains(&row.sky_view)
            && row.tau_env_low_h >= 0.0
            && row.tau_env_low_h <= row.tau_env_h
            && row.tau_env_h <= row.tau_env_high_h
            && row.h_convection_w_m2k > 0.0
            && row.calm_below_ms > 0.0
            && row.water_ua_w_k >= 0.0
            && row.air_ua_w_k > 0.0;
        if !shares {
            return Err(TableError::Value {
                table: TABLE,
                row: row.id.clone(),
                reason: "sky_view must be 0 to 1, the times in order, conductances above 0"
                    .to_owned(),
            });
        }
    }
    Ok(exposures)
});

fn yes_or_no<'de, D: serde::Deserializer<'de>>(input: D) -> Result<bool, D::Error> {
    match u8::deserialize(input)? {
        0 => Ok(false),
        1 => Ok(true),
        other => Err(serde::de::Error::custom(format!("{other} is neither 0 nor 1"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_reads_and_the_open_is_open() {
        let open = exposure("open_part").unwrap();
        assert!(open.wind_reaches && open.tau_env_h == 0.0 && open.sky_view > 0.0);
        assert!(!exposure("shed_unheated").unwrap().wind_reaches);
        assert!(exposure("moon").unwrap_err().to_string().contains("shed_unheated"));
    }
}
