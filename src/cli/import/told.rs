//! Answers that come in a column of the table of boats: of a boat that is known already they go into the log, so that what
//! was known before stays as it was known.

use chrono::{DateTime, Utc};

use crate::app::context::YardBook;
use crate::domain::boat::fold::answered_cooling;
use crate::domain::boat::{Boat, CoolingKind, LayupEvent};
use crate::domain::catalogue::Catalogue;

/// Who answers.
const BY_TABLE: &str = "table of boats";
/// The columns that say how an engine is cooled.
const COLUMNS: [&str; 2] = ["cooling_kind", "engine_desc"];

/// How each boat of a table is said to be cooled, before what is stored is put into it.
pub(super) fn said(rows: &[Boat], columns: &[String]) -> Vec<Option<CoolingKind>> {
    let tells = columns.iter().any(|column| COLUMNS.contains(&column.as_str()));
    rows.iter().map(|boat| (tells && boat.fitting.cooling_said).then_some(boat.cooling)).collect()
}

/// What is known already.
pub(super) struct Told<'a> {
    pub(super) stored: &'a [Boat],
    pub(super) log: &'a [LayupEvent],
    pub(super) yard: &'a YardBook,
    pub(super) now: DateTime<Utc>,
}

impl Told<'_> {
    /// The entries that a table makes. The rows of boats that are known keep what they have said of the cooling.
    pub(super) fn answers(
        &self,
        rows: &mut [Boat],
        said: &[Option<CoolingKind>],
        catalogue: &Catalogue,
    ) -> Vec<LayupEvent> {
        let mut answers = Vec::new();
        for (boat, said) in rows.iter_mut().zip(said) {
            let Some(before) = self.stored.iter().find(|old| old.id == boat.id) else { continue };
            if let Some(cooling) = said.filter(|said| self.is_news(before, *said, catalogue)) {
                let now = self.now.with_timezone(&self.yard.zone(&before.site)).fixed_offset();
                answers.push(LayupEvent::cooling_answer(&boat.id, cooling, BY_TABLE, now));
            }
            boat.cooling = before.cooling;
            boat.fitting.cooling_said = before.fitting.cooling_said;
            *boat = boat.clone().completed(catalogue);
        }
        answers
    }

    /// A table that says again what it has said before does not speak against an answer that was given since.
    fn is_news(&self, before: &Boat, said: CoolingKind, catalogue: &Catalogue) -> bool {
        let known = before.cooling_is_known().then_some(before.cooling);
        let by_table: Vec<&LayupEvent> =
            self.log.iter().filter(|event| event.who.as_deref() == Some(BY_TABLE)).collect();
        let last = answered_cooling(before, &by_table, self.now, catalogue).or(known);
        let stands = answered_cooling(before, self.log, self.now, catalogue).or(known);
        last != Some(said) && stands != Some(said)
    }
}

/// What a table has answered, for whoever brings it in.
pub(super) fn in_words(event: &LayupEvent) -> String {
    let boat = event.boat.as_ref().map_or("", |boat| boat.as_str());
    let words = event.method.as_deref().unwrap_or_default();
    format!("{boat}: {words}, kept in the log as an answer that holds from now on ({})", event.id)
}
