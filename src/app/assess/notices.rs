//! Official notices of cold: shown beside the forecast, never an input of it.

use chrono::{DateTime, TimeDelta, Utc};

use super::seen::AsOf;
use crate::app::error::ServiceError;
use crate::app::ports::{ForecastStore, NoticeState, StateDocuments as _};
use crate::domain::boat::SiteId;
use crate::domain::weather::official::Official;

/// Name under which the store keeps what is known of official notices.
pub(crate) const NOTICES: &str = "nws-notices";
/// Notices that were read longer ago are not shown.
const NOTICES_GOOD_FOR: TimeDelta = TimeDelta::hours(3);

/// The official notices of cold for a place that were known and in force at the instant; none that are older than a few
/// hours, since what has been withdrawn meanwhile is not known.
///
/// # Errors
/// The store's.
pub(crate) fn notices_at(
    store: &dyn ForecastStore,
    site: &SiteId,
    instant: AsOf,
) -> Result<Vec<Official>, ServiceError> {
    let Some(known) = store.fetch_state::<NoticeState>(NOTICES, site)? else {
        return Ok(Vec::new());
    };
    let state = known.document;
    let read = |at: DateTime<Utc>| at <= instant.known_at && instant.at - at <= NOTICES_GOOD_FOR;
    let notices = if state.read_at.is_some_and(read) { state.notices } else { Vec::new() };
    Ok(notices.into_iter().filter(|notice| notice.ends > instant.at).collect())
}
