//! The thermal classes of `config/catalogue/thermal_classes.csv`.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::domain::physics::constants::{
    HEAT_OF_FUSION_J_KG, ICE_CP_J_KGK, SECONDS_PER_HOUR, WATER_CP_J_KGK,
};
use crate::domain::physics::surroundings::film_in_wind;
use crate::domain::physics::table::{TableError, rows};
use crate::domain::units::{
    Hours, JoulesPerKelvin, KelvinDelta, Kilograms, MetresPerSecond, WattsPerKelvin,
};

/// A kind of part, lumped: one temperature, one heat capacity, one conductance to its surroundings.
///
/// The figures are engineering estimates; a time constant is good to a factor 1.5 to 2.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermalClass {
    /// Its name in the catalogue.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// Liquid in it, kg.
    pub water_kg: f64,
    /// Heat capacity of everything solid, J/K.
    pub solid_j_k: f64,
    /// Conductance to the air around it in still air, W/K, enclosure included.
    pub ua_w_k: f64,
    /// Outer area, m2.
    pub area_m2: f64,
    /// Conductance of an enclosure in series, W/K, where there is one.
    pub enclosure_ua_w_k: Option<f64>,
    /// What the wind sees of it, m.
    pub diameter_m: f64,
    /// The class that its stubs and elbows behave like, where they freeze long before what is in it.
    pub fittings: Option<String>,
    /// Time constant while liquid, hours.
    pub tau_h: f64,
    /// Time constant once frozen through, hours.
    pub tau_frozen_h: f64,
    /// Where the figures come from.
    pub source: String,
}

impl ThermalClass {
    /// Liquid in it.
    #[must_use]
    pub fn water(&self) -> Kilograms {
        Kilograms::clamped(self.water_kg)
    }

    /// Heat capacity of everything solid.
    #[must_use]
    pub fn solid(&self) -> JoulesPerKelvin {
        JoulesPerKelvin::clamped(self.solid_j_k)
    }

    /// Conductance to the air around it in still air.
    #[must_use]
    pub fn ua(&self) -> WattsPerKelvin {
        WattsPerKelvin::clamped(self.ua_w_k)
    }

    /// Conductance when wind reaches the part, never below that of still air. For parts outdoors and not wrapped.
    #[must_use]
    pub fn ua_in_wind(&self, wind: MetresPerSecond) -> WattsPerKelvin {
        let bare = film_in_wind(self.diameter_m, wind) * self.area_m2;
        WattsPerKelvin::clamped(in_series(bare, self.enclosure_ua_w_k).max(self.ua_w_k))
    }

    /// Hours at 0 C until the share `share` is ice, in air that stays `below_freezing` under 0 C.
    #[must_use]
    pub fn plateau(&self, share: f64, below_freezing: KelvinDelta) -> Option<Hours> {
        let watts = self.ua_w_k * below_freezing.value();
        let joules = self.water_kg * HEAT_OF_FUSION_J_KG * share;
        (watts > 0.0).then(|| Hours::clamped(joules / watts / SECONDS_PER_HOUR))
    }
}

/// Every class, in the order of the catalogue.
///
/// # Errors
/// [`TableError`] names the row that cannot be used.
pub fn thermal_classes() -> Result<&'static [ThermalClass], TableError> {
    CLASSES.as_ref().map(Vec::as_slice).map_err(Clone::clone)
}

/// The class by that id.
///
/// # Errors
/// [`TableError::NoRow`] lists the ids that there are.
pub fn thermal_class(id: &str) -> Result<&'static ThermalClass, TableError> {
    let classes = thermal_classes()?;
    classes.iter().find(|class| class.id == id).ok_or_else(|| TableError::NoRow {
        table: TABLE,
        row: id.to_owned(),
        known: classes.iter().map(|class| class.id.as_str()).collect::<Vec<_>>().join(" "),
    })
}

const TABLE: &str = "thermal_classes.csv";

static CLASSES: LazyLock<Result<Vec<ThermalClass>, TableError>> = LazyLock::new(|| {
    rows(TABLE, include_str!("../../../../config/catalogue/thermal_classes.csv"))?
        .into_iter()
        .map(class_of)
        .collect()
});

#[derive(Debug, Deserialize)]
struct Row {
    id: String,
    what: String,
    water_kg: f64,
    solid_kg: f64,
    solid_cp_j_kgk: f64,
    area_m2: f64,
    h_w_m2k: f64,
    enclosure_ua_w_k: Option<f64>,
    diameter_m: f64,
    fittings: Option<String>,
    source: String,
}

fn in_series(ua_w_k: f64, enclosure_ua_w_k: Option<f64>) -> f64 {
    enclosure_ua_w_k.map_or(ua_w_k, |enclosure| 1.0 / (1.0 / ua_w_k + 1.0 / enclosure))
}

fn class_of(row: Row) -> Result<ThermalClass, TableError> {
    let figures = [row.water_kg, row.solid_kg, row.solid_cp_j_kgk, row.area_m2, row.h_w_m2k]
        .into_iter()
        .chain([row.diameter_m, row.enclosure_ua_w_k.unwrap_or(1.0)]);
    for figure in figures {
        if !(figure.is_finite() && figure > 0.0) {
            return Err(TableError::Value {
                table: TABLE,
                row: row.id,
                reason: format!("{figure} must be a number above 0"),
            });
        }
    }
    let solid_j_k = row.solid_kg * row.solid_cp_j_kgk;
    let ua_w_k = in_series(row.area_m2 * row.h_w_m2k, row.enclosure_ua_w_k);
    let hours = |cp: f64| (row.water_kg * cp + solid_j_k) / ua_w_k / SECONDS_PER_HOUR;
    Ok(ThermalClass {
        tau_h: hours(WATER_CP_J_KGK),
        tau_frozen_h: hours(ICE_CP_J_KGK),
        id: row.id,
        what: row.what,
        water_kg: row.water_kg,
        solid_j_k,
        ua_w_k,
        area_m2: row.area_m2,
        enclosure_ua_w_k: row.enclosure_ua_w_k,
        diameter_m: row.diameter_m,
        fittings: row.fittings,
        source: row.source,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_constants_come_out_of_masses_and_areas() {
        // Hours, from the same masses, areas and films worked by hand.
        for (id, tau_h) in [
            ("hose_25mm", 0.77),
            ("strainer", 1.97),
            ("block_open_bay", 2.94),
            ("block_closed_bay", 5.88),
            ("block_drained", 4.71),
            ("water_heater", 45.4),
            ("small_pump", 1.92),
            ("aircon", 0.85),
        ] {
            let class = thermal_class(id).unwrap();
            assert!((class.tau_h / tau_h - 1.0).abs() < 0.01, "{id}: {}", class.tau_h);
        }
        assert_eq!(thermal_classes().unwrap().len(), 20);
        for fittings in thermal_classes().unwrap().iter().filter_map(|c| c.fittings.as_deref()) {
            assert!(thermal_class(fittings).unwrap().tau_h < 1.0, "{fittings}");
        }
    }

    #[test]
    fn an_unknown_class_is_refused_with_those_that_there_are() {
        assert!(thermal_class("anchor").unwrap_err().to_string().contains("hose_25mm"));
    }

    #[test]
    fn wind_speeds_a_hose_up_about_fourfold_and_a_closed_bay_hardly() {
        let wind = MetresPerSecond::new(3.0).unwrap();
        let hose = thermal_class("hose_25mm").unwrap();
        let ratio = hose.ua_in_wind(wind).value() / hose.ua_w_k;
        assert!((3.0..4.5).contains(&ratio), "{ratio}");
        let block = thermal_class("block_closed_bay").unwrap();
        assert!(block.ua_in_wind(wind).value() / block.ua_w_k < 1.5);
    }

    #[test]
    fn a_block_in_a_closed_bay_takes_hours_to_one_third() {
        let block = thermal_class("block_closed_bay").unwrap();
        let hours = block.plateau(1.0 / 3.0, KelvinDelta::new(10.0).unwrap()).unwrap();
        assert!((hours.value() - 3.7).abs() < 0.05);
    }
}
