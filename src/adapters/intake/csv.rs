//! CSV files of sites, people, boats and lay-up events. The columns are those of `config/demo`.

mod boats;
mod events;
mod people;
mod readings;
mod sites;
mod import;

use import::import;

pub use boats::boats;
pub(super) use events::KNOWN as EVENT_COLUMNS;
pub use events::events;
pub(super) use events::of_sheet as events_of_sheet;
pub use people::{people, people_laid_out};
pub use readings::readings;
pub use sites::{sites, sites_laid_out};
