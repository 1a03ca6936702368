//! The numbers of the trade that the fold uses, by name, each with its source in the table.

use serde::Deserialize;

use super::CatalogueError;
use super::table::rows;

const TABLE: &str = "limits.csv";

#[derive(Deserialize)]
struct Row {
    name: String,
    value: f64,
    #[serde(rename = "unit")]
    _unit: String,
    source: String,
}

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {
        /// Numbers of the trade; each field is a row of `limits.csv`.
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub struct TradeLimits {
            $($(#[$doc])* pub $name: f64,)+
        }

        /// Reads the table of limits; a missing name is an error.
        pub(crate) fn parse(text: &str) -> Result<TradeLimits, CatalogueError> {
            let rows = rows::<Row>(TABLE, text)?;
            let find = |name: &'static str| {
                rows.iter()
                    .find(|(_, row)| row.name == name && !row.source.is_empty())
                    .map(|(_, row)| row.value)
                    .ok_or_else(|| CatalogueError::Row {
                        table: TABLE,
                        line: 0,
                        what: format!("{name} is missing or has no source"),
                    })
            };
            Ok(TradeLimits { $($name: find(stringify!($name))?,)+ })
        }
    };
}

limits!(
    /// Minutes that drains must stand open.
    drain_open_min,
    /// Minutes for a drain at a single point.
    single_drain_open_min,
    /// Share of the fitted volume below which not all came out.
    litres_low_share,
    /// Share of the fitted volume above which the figure cannot be right.
    litres_high_share,
    /// Cells of a battery.
    battery_cells,
    /// Volts at three quarters of charge.
    battery_volts_wanted,
    /// Volts below which a cell is dead.
    battery_volts_min,
    /// Specific gravity of a flat battery.
    battery_flat_sg,
    /// Days after which a reading counts as old.
    reading_old_days,
    /// Days after which to ask whether heat is still on.
    heat_ask_days,
    /// Share of what fits into a drained part below which a fill does not count as one.
    fill_low_share,
    /// Share of what fits above which litres that were put in cannot be right.
    fill_high_share,
    /// Litres that are never too many, however small the part.
    fill_high_l,
    /// Share of what fits into drained parts that a fill without litres counts for.
    usual_fill_share,
    /// Share of what stands on an engine's raw path that a run-through without litres counts for.
    usual_flush_share,
    /// The same for other parts.
    usual_pour_share,
    /// Litres that a run through the engine without litres counts for at most.
    usual_flush_l,
    /// The same of what is put in elsewhere.
    usual_pour_l,
    /// Minutes after a fill or a run within which an outlet reading speaks for more than the muffler.
    outlet_read_within_min,
    /// First ice of sea water in C.
    sea_first_ice_c,
    /// Practical salinity of sea water.
    sea_salinity,
    /// Month from which a run is the first of spring, northern half.
    spring_from_month,
    /// Month on whose first day last year's sheet ends, northern half.
    season_ends_month,
    /// How full, percent, a tank is entered that counts as filled to its vent.
    tank_full_percent,
);
