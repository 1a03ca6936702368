//! The state of the fold between two entries, and how it begins.

use chrono::{DateTime, NaiveTime, Utc};
use chrono_tz::Tz;

use super::asked::Order;
use super::fitting::Fitting;
use super::log::Entry;
use super::season::Season;
use super::slot::{self, Slot};
use super::whereabouts::Whereabouts;
use crate::domain::boat::{Boat, Places, Precision};
use crate::domain::catalogue::{Catalogue, PlaceEffect};
use crate::domain::local_time;
use crate::domain::season::Hemisphere;

/// The state of the fold between two entries.
pub(super) struct Folding<'a> {
    pub(super) boat: &'a Boat,
    /// What is aboard by list and answers, and how the engine is cooled.
    pub(super) fitting: Fitting,
    pub(super) catalogue: &'a Catalogue,
    pub(super) slots: Vec<Slot<'a>>,
    pub(super) whereabouts: Whereabouts<'a>,
    /// When by the plan it is hauled.
    pub(super) haul_at: Option<DateTime<Utc>>,
    /// Its haul was planned for before now, this season, and no entry says where it is.
    pub(super) haul_is_assumed: bool,
    pub(super) season: Season,
    pub(super) order: Order,
    /// Litres that drains have let out, and when.
    pub(super) drawn: Vec<(f64, DateTime<Utc>)>,
    /// Of each entry, its fluid, label and sheet.
    pub(super) sheets: Vec<[Option<String>; 3]>,
    /// Of each entry, whether its hour is known.
    pub(super) hours_known: Vec<bool>,
}

/// A boat whose haul is only planned counts as ashore from then on, on the day of the plan, by the clock of the place: lifts
/// work in the forenoon, and whoever hears then that she stands in the cold with water in her has the afternoon.
pub(super) const HAULED_BY: NaiveTime = match NaiveTime::from_hms_opt(12, 0, 0) {
    Some(noon) => noon,
    None => NaiveTime::MIN,
};

/// For so long a planned haul that nobody has entered says that she is ashore: till the summer after it.
const COUNTS_FOR_DAYS: i64 = 240;

/// So long after a planned haul that nobody has entered it is asked about; later it has long been seen.
pub(super) const ASSUMED_DAYS: i64 = 30;

impl<'a> Folding<'a> {
    pub(super) fn start(
        (boat, fitting): (&'a Boat, Fitting),
        places: &(impl Places + ?Sized),
        entries: &[Entry<'_>],
        at: DateTime<Utc>,
        catalogue: &'a Catalogue,
    ) -> Self {
        let facts = places.place(&boat.site);
        let zone = facts.map_or(Tz::UTC, |facts| facts.time_zone);
        let first_move =
            entries.iter().filter(|entry| entry.event.boat.is_some()).find_map(|entry| {
                entry
                    .kind
                    .place
                    .filter(|place| matches!(place, PlaceEffect::Ashore | PlaceEffect::Afloat))
            });
        let local = at.with_timezone(&zone).naive_local();
        let haul_to_come = boat.haul_date.is_some_and(|haul| local < haul.and_time(HAULED_BY));
        let before_haul = match first_move {
            Some(place) => place == PlaceEffect::Ashore,
            None => haul_to_come,
        };
        let haul_at = boat.haul_date.map(|haul| local_time::first(zone, haul.and_time(HAULED_BY)));
        let since_haul = boat.haul_date.map(|haul| (local.date() - haul).num_days());
        let launched = boat.planned_launch.is_some_and(|launch| {
            boat.haul_date.is_some_and(|haul| launch > haul) && launch <= local.date()
        });
        // Whatever the list says of a berth: a haul that was planned for before now counts as made, till she is due in the water again.
        let hauled_by_plan = first_move.is_none()
            && !haul_to_come
            && !launched
            && since_haul.is_some_and(|days| (0..COUNTS_FOR_DAYS).contains(&days));
        let first = entries.first().map_or(at, |entry| entry.event.happened_at);
        Self {
            boat,
            fitting,
            catalogue,
            slots: slot::slots(boat, &fitting, catalogue),
            whereabouts: Whereabouts::start(boat, places, (before_haul, hauled_by_plan))
                .afloat_until(haul_at.filter(|haul| first_move.is_none() && *haul <= at)),
            haul_at,
            haul_is_assumed: first_move.is_none()
                && !haul_to_come
                && boat.haul_date.is_some_and(|haul| {
                    (0..ASSUMED_DAYS).contains(&(local.date() - haul).num_days())
                }),
            season: Season::start(
                first,
                zone,
                facts.map_or(Hemisphere::Northern, |facts| facts.hemisphere),
                catalogue.limits(),
            ),
            order: Order::default(),
            drawn: Vec::new(),
            sheets: entries.iter().map(|entry| entry.event.of_the_jug()).collect(),
            hours_known: entries
                .iter()
                .map(|entry| entry.event.precision == Precision::Minute)
                .collect(),
        }
    }
}
