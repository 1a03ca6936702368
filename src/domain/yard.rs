//! Places, the people who answer for boats, and who of them hears of what.

mod person;
pub mod recipients;
mod site;

pub use person::{Person, Role, is_mail_address};
pub use site::{OwnNights, Site, SiteKind};
