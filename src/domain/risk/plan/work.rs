//! Minutes of work by kind of boat and group of circuits, and what a freeze costs: tables of `config/catalogue`.
//!
//! The minutes are common practice of the trade, marked as such in the table; what is already done is taken off in
//! proportion to the minutes that the circuits of a group take to drain.

use serde::Deserialize;

use crate::domain::boat::{Boat, BoatState, CircuitState};
use crate::domain::catalogue::{
    Catalogue, CatalogueError, CircuitId, CircuitKind, Consequence, DeedBoat, Deeds, Holds, table,
};
use crate::domain::risk::interrupts::interrupts;

const WORK: &str = "work.csv";
const GROUPS: &str = "work_groups.csv";
const ENTRIES: &str = "work_entries.csv";
/// The row of what is tested and never drained.
const TESTED: &str = "test_loop";
const LOSSES: &str = "losses.csv";
/// Whatever is left to do on a group takes this long at least, minutes: ladder, hatch and sheet.
const LEAST_MIN: f64 = 5.0;

/// Circuits that are laid up in one go.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct WorkGroup {
    /// Its id, such as `engine`.
    pub group: String,
    /// What people call it.
    pub label: String,
    circuits: String,
    /// What a complete lay-up takes along; empty where nothing.
    pub product: String,
    /// What is taken where that has turned out too weak.
    pub stronger: String,
    dosed: String,
    /// The entry of the log for the product that is put through after draining; empty where nothing is.
    pub flush: String,
    flushed: String,
    /// Where this comes from.
    pub source: String,
}

/// What is done about a circuit and how the log is told.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct WorkEntry {
    key: String,
    /// What is done, in a word or two: `drain`, `test`.
    pub verb: String,
    /// The entry of the log.
    pub event: String,
    /// What is to be filled in, as `litres_out= probed=`.
    pub fill: String,
    /// What it takes where that is not the product of its group: winter mix, coolant.
    #[serde(default)]
    pub product: String,
}

/// The entry of the log for a test that puts nothing in and lets nothing out.
const TEST: &str = "loop_tested";

impl WorkEntry {
    /// Is it only looked at, so that it is no safer than before until the result is known?
    #[must_use]
    pub fn only_tests(&self) -> bool {
        self.event == TEST
    }

    /// Does it put product in?
    #[must_use]
    pub fn puts_product(&self) -> bool {
        self.fill.contains("fluid=")
    }
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
struct WorkRow {
    kind: String,
    group: String,
    complete_min: f64,
    engine_more_min: f64,
    emergency_min: f64,
    engine_more_emergency_min: f64,
}

#[derive(Deserialize)]
struct LossRow {
    consequence: Consequence,
    loss: f64,
}

/// Minutes of a group of one boat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Minutes {
    /// The complete lay-up.
    pub complete: u32,
    /// The emergency drain.
    pub emergency: u32,
}

/// The tables of work.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkTable {
    groups: Vec<WorkGroup>,
    /// For each circuit of the catalogue its group.
    group_of: Vec<Option<usize>>,
    rows: Vec<WorkRow>,
    entries: Vec<WorkEntry>,
    losses: Vec<(Consequence, f64)>,
    deeds: Deeds,
}

impl WorkTable {
    /// The tables compiled into the program, checked against `catalogue`.
    ///
    /// # Errors
    /// [`CatalogueError`] names table and line.
    pub fn built_in(catalogue: &Catalogue) -> Result<Self, CatalogueError> {
        let groups: Vec<WorkGroup> = table::rows::<WorkGroup>(
            GROUPS,
            include_str!("../../../../config/catalogue/work_groups.csv"),
        )?
        .into_iter()
        .map(|(_, row)| row)
        .collect();
        let mut group_of = vec![None; catalogue.circuits().len()];
        for (place, group) in groups.iter().enumerate() {
            for id in table::list(&group.circuits) {
                let problem = || CatalogueError::Row {
                    table: GROUPS,
                    line: 0,
                    what: format!("{}: no circuit or group {id}", group.group),
                };
                let set = catalogue.group(&CircuitId::from(id)).ok_or_else(problem)?;
                for (circuit, slot) in (0_u8..).zip(&mut group_of) {
                    if set.contains(circuit) && slot.is_none() {
                        *slot = Some(place);
                    }
                }
            }
        }
        let mut rows = Vec::new();
        for (line, row) in
            table::rows::<WorkRow>(WORK, include_str!("../../../../config/catalogue/work.csv"))?
        {
            let known = groups.iter().any(|group| group.group == row.group)
                && (row.kind == "any" || catalogue.fitout(&row.kind).is_some());
            if !known || row.emergency_min > row.complete_min {
                let what = format!(
                    "{} {}: no such kind or group, or an emergency drain longer than the lay-up",
                    row.kind, row.group
                );
                return Err(CatalogueError::Row { table: WORK, line, what });
            }
            rows.push(row);
        }
        let losses = table::rows::<LossRow>(
            LOSSES,
            include_str!("../../../../config/catalogue/losses.csv"),
        )?
        .into_iter()
        .map(|(_, row)| (row.consequence, row.loss))
        .collect();
        let entries = table::rows::<WorkEntry>(
            ENTRIES,
            include_str!("../../../../config/catalogue/work_entries.csv"),
        )?
        .into_iter()
        .map(|(_, row)| row)
        .collect();
        let deeds = Deeds::built_in()?;
        let tables = Self { groups, group_of, rows, entries, losses, deeds };
        tables.check(catalogue)
    }

    fn check(self, catalogue: &Catalogue) -> Result<Self, CatalogueError> {
        let lone =
            self.group_of.iter().zip(catalogue.circuits()).find(|(group, _)| group.is_none());
        if let Some((_, kind)) = lone {
            let what = format!("{} is in no group", kind.id);
            return Err(CatalogueError::Row { table: GROUPS, line: 0, what });
        }
        for kind in catalogue.circuits() {
            if self.entry("", kind).is_none() {
                let what = format!("{}: no entry", kind.id);
                return Err(CatalogueError::Row { table: ENTRIES, line: 0, what });
            }
        }
        for entry in &self.entries {
            let of_a_kind = entry.key.split_once(':').is_none_or(|(fitout, circuit)| {
                catalogue.fitout(fitout).is_some()
                    && catalogue.circuit(&CircuitId::from(circuit)).is_some()
            });
            if !of_a_kind || catalogue.event(&entry.event).is_none() {
                let what = format!("{}: no such kind, circuit or entry of the log", entry.key);
                return Err(CatalogueError::Row { table: ENTRIES, line: 0, what });
            }
        }
        for group in &self.groups {
            let known = group.flush.is_empty() || catalogue.event(&group.flush).is_some();
            let reaches = table::list(&group.flushed)
                .all(|id| catalogue.group(&CircuitId::from(id)).is_some());
            if !known || !reaches {
                let what =
                    format!("{}: no such entry of the log, or no such circuits", group.group);
                return Err(CatalogueError::Row { table: GROUPS, line: 0, what });
            }
            if self.row("any", &group.group).is_none() {
                let what = format!("no row any for {}", group.group);
                return Err(CatalogueError::Row { table: WORK, line: 0, what });
            }
        }
        Ok(self)
    }

    /// The groups, in the order in which they are worked.
    #[must_use]
    pub fn groups(&self) -> &[WorkGroup] {
        &self.groups
    }

    /// The place of a circuit's group among [`WorkTable::groups`].
    #[must_use]
    pub fn group_of(&self, circuit: &CircuitId, catalogue: &Catalogue) -> Option<usize> {
        let place = catalogue.place_of(circuit)?;
        *self.group_of.get(usize::from(place))?
    }

    /// What a freeze of that harm costs, in the yard's own money.
    #[must_use]
    pub fn loss(&self, consequence: Consequence) -> f64 {
        self.losses.iter().find(|(known, _)| *known == consequence).map_or(0.0, |(_, loss)| *loss)
    }

    /// What is done about a circuit on a boat of the kind `fitout`: by its row for that kind, else its own, else its action.
    #[must_use]
    pub fn entry(&self, fitout: &str, kind: &CircuitKind) -> Option<&WorkEntry> {
        let with = |key: &str| self.entries.iter().find(|entry| entry.key == key);
        with(&format!("{fitout}:{}", kind.id))
            .or_else(|| with(kind.id.as_str()))
            .or_else(|| with(&kind.action))
    }

    /// The same for a part as it stands: coolant is tested and never drained, and what lets the sea in is not opened afloat.
    #[must_use]
    pub fn entry_on(
        &self,
        fitout: &str,
        kind: &CircuitKind,
        holds: Holds,
        boat: DeedBoat,
    ) -> Option<WorkEntry> {
        let usual = self.entry(fitout, kind)?;
        let deed = self.deeds.of(&kind.id, holds, boat, false);
        if deed.is_hands_off() {
            return Some(WorkEntry { verb: deed.list_words.clone(), ..usual.clone() });
        }
        let tested = self.entries.iter().find(|entry| entry.key == TESTED);
        Some(tested.filter(|_| holds == Holds::Coolant).unwrap_or(usual).clone())
    }

    /// Does the product of a complete lay-up go through this circuit of a group?
    #[must_use]
    pub fn is_flushed(&self, group: usize, circuit: &CircuitId, catalogue: &Catalogue) -> bool {
        let Some(group) = self.groups.get(group) else { return false };
        let place = catalogue.place_of(circuit);
        table::list(&group.flushed).any(|id| {
            let set = catalogue.group(&CircuitId::from(id));
            set.zip(place).is_some_and(|(set, place)| set.contains(place))
        })
    }

    /// Does this circuit take product in an emergency drain too?
    #[must_use]
    pub fn is_dosed(&self, group: usize, circuit: &CircuitId) -> bool {
        let group = self.groups.get(group);
        group.is_some_and(|group| table::list(&group.dosed).any(|id| id == circuit.as_str()))
    }

    /// Minutes for a group: `open` and `all` are the drain minutes of what is still to do and of what is fitted.
    #[must_use]
    pub fn minutes(&self, kind: &str, group: &str, engines: u8, open: f64, all: f64) -> Minutes {
        let Some(row) = self.row(kind, group).filter(|_| open > 0.0) else {
            return Minutes { complete: 0, emergency: 0 };
        };
        let more = f64::from(engines.saturating_sub(1));
        let share = if all > 0.0 { (open / all).clamp(0.0, 1.0) } else { 1.0 };
        let part = |one: f64, each_more: f64| {
            let whole = one + more * each_more;
            whole_minutes((whole * share).max(LEAST_MIN.min(whole)))
        };
        Minutes {
            complete: part(row.complete_min, row.engine_more_min),
            emergency: part(row.emergency_min, row.engine_more_emergency_min),
        }
    }

    /// Minutes of the emergency drain of each circuit of a boat, in the order of the state: those that the plan has for the
    /// open work of its group, shared out by what the circuits take alone, five at least for each. So the worklist and the
    /// plan speak of the same minutes.
    #[must_use]
    pub fn emergency_by_circuit(
        &self,
        boat: &Boat,
        state: &BoatState,
        catalogue: &Catalogue,
    ) -> Vec<f64> {
        let alone = |circuit: &CircuitState| {
            let kind = catalogue.circuit(&circuit.circuit)?;
            let group = self.group_of(&circuit.circuit, catalogue)?;
            let open = interrupts(circuit, kind, state.afloat);
            (circuit.holds != Holds::Absent).then_some((group, kind.drain_minutes, open))
        };
        // For each group what is open and what is fitted.
        let mut sums = vec![(0.0, 0.0); self.groups.len()];
        for (group, minutes, is_open) in state.circuits.iter().filter_map(alone) {
            if let Some((open, all)) = sums.get_mut(group) {
                *all += minutes;
                *open += if is_open { minutes } else { 0.0 };
            }
        }
        let share = |circuit: &CircuitState| {
            let (group, minutes, is_open) = alone(circuit)?;
            let (open, all) = *sums.get(group)?;
            // What asks for nothing now is worth what it would take beside the open ones.
            let open = if is_open { open } else { open + minutes };
            let group = self.groups.get(group)?;
            let whole = self.minutes(&boat.kind, &group.group, boat.engines, open, all).emergency;
            (open > 0.0).then(|| (f64::from(whole) * minutes / open).max(LEAST_MIN))
        };
        state.circuits.iter().map(|circuit| share(circuit).unwrap_or(0.0)).collect()
    }

    fn row(&self, kind: &str, group: &str) -> Option<&WorkRow> {
        let of =
            |wanted: &str| self.rows.iter().find(|row| row.kind == wanted && row.group == group);
        of(kind).or_else(|| of("any"))
    }
}

/// Litres of product that a circuit takes: its passages full, a tank only what stays in it after draining.
#[must_use]
pub fn product_litres(kind: &CircuitKind, volume_l: f64) -> f64 {
    use crate::domain::catalogue::Confinement;
    if kind.is_closed_loop() {
        return 0.0;
    }
    match kind.confinement {
        Confinement::Open | Confinement::Chemical | Confinement::Structure => kind.residue_l,
        _ => volume_l.max(kind.residue_l),
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of work, clamped to a month"
)]
fn whole_minutes(minutes: f64) -> u32 {
    minutes.ceil().clamp(0.0, 43_200.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_work_tables_fit_the_catalogue_and_what_is_done_is_taken_off() {
        let catalogue = Catalogue::built_in().unwrap();
        let work = WorkTable::built_in(&catalogue).unwrap();
        let all = work.minutes("petrol_sterndrive", "engine", 1, 60.0, 60.0);
        assert_eq!(all, Minutes { complete: 120, emergency: 25 });
        let half = work.minutes("petrol_sterndrive", "engine", 1, 30.0, 60.0);
        assert_eq!(half, Minutes { complete: 60, emergency: 13 });
        let twin = work.minutes("petrol_sterndrive", "engine", 2, 60.0, 60.0);
        assert_eq!(twin.complete, 180);
        let done = work.minutes("petrol_sterndrive", "engine", 1, 0.0, 60.0);
        assert_eq!(done.complete, 0);
        assert_eq!(work.minutes("unknown", "house", 1, 9.0, 9.0).complete, 50);
    }

    #[test]
    fn the_configuration_knows_the_groups() {
        let work = WorkTable::built_in(&Catalogue::built_in().unwrap()).unwrap();
        let groups: Vec<&str> = work.groups().iter().map(|group| group.group.as_str()).collect();
        assert_eq!(groups, crate::app::settings::crew::GROUPS);
    }

    #[test]
    fn a_saildrive_is_not_told_to_be_lowered() {
        let catalogue = Catalogue::built_in().unwrap();
        let work = WorkTable::built_in(&catalogue).unwrap();
        let leg = catalogue.circuit(&CircuitId::from("drive_water")).unwrap();
        let verb = |fitout| work.entry(fitout, leg).unwrap().verb.as_str();
        assert_eq!(verb("petrol_sterndrive"), "lower");
        assert_eq!(verb("sail_saildrive"), "draw antifreeze through");
    }
}
