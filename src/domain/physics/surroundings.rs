//! The air that a part sees: the forecast's air, changed by a sky, an enclosure, wind and water.

mod enclosure;
mod exposure;
mod film;
mod sky;

pub use enclosure::{HeatedShed, enclosure_step, shed_time_constant, temperature_afloat};
pub use exposure::{Exposure, exposure, exposures};
pub use film::film_in_wind;
pub use sky::{clear_sky_offset, sky_temperature};
