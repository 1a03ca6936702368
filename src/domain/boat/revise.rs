//! A sheet that comes again: what is new in it, what stands in the log already, what was changed.
//!
//! The log is never edited. A changed row withdraws the entry that it changes by a correction and is entered anew under the
//! next version of its id (`E7`, `E7~2`, ...); both are recorded now, so that what was known before stays what was known.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Utc};

use super::{BoatId, EventId, Evidence, LayupEvent, SiteId};

/// What becomes of one row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Not in the log yet.
    Added,
    /// In the log just so.
    Unchanged,
    /// In the log with other content: these fields.
    Changed(Vec<String>),
    /// Withdrawn in the log by this entry, and only its words were changed in the sheet: it stays withdrawn.
    Withdrawn(EventId),
}

/// What a sheet does to the log.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Revision {
    /// Entries to append, in order.
    pub append: Vec<LayupEvent>,
    /// What becomes of each row, in the order of the sheet.
    pub fates: Vec<(EventId, Fate)>,
    /// Of a sheet that came before, entries about its boats that stand in the log and not in it any more. They stay: a sheet may
    /// be a part of another.
    pub left: Vec<EventId>,
}

/// Free texts that were erased from the log: id of the entry and name of the field.
pub type Erased = BTreeSet<(EventId, String)>;

const VERSION_MARK: char = '~';

/// The version of an entry that stands now, where its sheet was changed since; else the id itself.
#[must_use]
pub fn newest_version(id: &EventId, log: &[LayupEvent]) -> EventId {
    let of_it = log.iter().map(|entry| (split(entry.id.as_str()), &entry.id));
    let newest = of_it.filter(|((base, _), _)| *base == id.as_str()).max_by_key(|((_, n), _)| *n);
    newest.map_or_else(|| id.clone(), |(_, newest)| newest.clone())
}

/// Ends the id of a correction that withdraws a tick which its sheet no longer shows: ticked again it counts again.
pub const TAKEN_BACK: &str = "-taken-back";

/// Fields that say nothing of what was done.
const WORDS_ONLY: [&str; 4] = ["note", "who", "role", "sheet"];

/// Holds the rows of a sheet against the log. When the yard learnt of a row (`recorded_at`) is kept as first stated, and a
/// text that was erased since is not brought back.
#[must_use]
pub fn revise(
    rows: &[LayupEvent],
    log: &[LayupEvent],
    erased: &Erased,
    now: DateTime<Utc>,
) -> Revision {
    let mut newest: HashMap<&str, (usize, &LayupEvent)> = HashMap::new();
    for entry in log {
        let (base, version) = split(entry.id.as_str());
        let known = newest.entry(base).or_insert((version, entry));
        if version >= known.0 {
            *known = (version, entry);
        }
    }
    let corrections = corrections_by_target(log);
    let mut revision = Revision::default();
    let settled = settled(rows, &newest, erased);
    for row in &settled {
        let row = &pointing_at_the_newest(row, &newest);
        let fate = match newest.get(row.id.as_str()) {
            None => {
                revision.append.push(row.clone());
                Fate::Added
            }
            Some((version, entry)) => {
                let own = corrections.get(entry.id.as_str()).map(Vec::as_slice).unwrap_or_default();
                let void = own.iter().find(|correction| correction.withdraws());
                let back = void.is_some_and(|void| void.id.as_str().ends_with(TAKEN_BACK));
                let fields = changed_fields(row, entry, erased);
                let words_only = fields.iter().all(|field| WORDS_ONLY.contains(&field.as_str()));
                match void {
                    None if fields.is_empty() => Fate::Unchanged,
                    // Who withdrew it by hand is not overruled by a remark, nor by the sheet as it was.
                    Some(_) if !back && fields.is_empty() => Fate::Unchanged,
                    Some(void) if !back && words_only => Fate::Withdrawn(void.id.clone()),
                    _ => {
                        let id = EventId::from(format!("{}{VERSION_MARK}{}", row.id, version + 1));
                        if void.is_none() {
                            revision.append.push(withdrawal(entry, &id, now));
                        }
                        let next = LayupEvent { id: id.clone(), recorded_at: now, ..row.clone() };
                        revision.append.push(next);
                        let kept = own.iter().filter(|correction| !correction.withdraws());
                        revision.append.extend(
                            (1..).zip(kept).map(|(n, one)| carried(one, &id, n, &fields, now)),
                        );
                        Fate::Changed(fields)
                    }
                }
            }
        };
        revision.fates.push((row.id.clone(), fate));
    }
    if revision.fates.iter().any(|(_, fate)| matches!(fate, Fate::Unchanged | Fate::Changed(_))) {
        revision.left = left(&settled, &newest, &corrections);
    }
    revision
}

/// Entries without ids of their own about the boats of a sheet, that stand and that the sheet does not have.
fn left(
    rows: &[LayupEvent],
    newest: &HashMap<&str, (usize, &LayupEvent)>,
    corrections: &HashMap<&str, Vec<&LayupEvent>>,
) -> Vec<EventId> {
    let boats: BTreeSet<&Option<BoatId>> = rows.iter().map(|row| &row.boat).collect();
    let ids: BTreeSet<&str> = rows.iter().map(|row| split(row.id.as_str()).0).collect();
    let stands = |entry: &LayupEvent| {
        let own = corrections.get(entry.id.as_str());
        own.is_none_or(|own| own.iter().all(|correction| !correction.withdraws()))
    };
    let mut left: Vec<EventId> = newest
        .iter()
        .filter(|(base, (_, entry))| {
            boats.contains(&entry.boat)
                && !ids.contains(*base)
                && group(entry).is_some()
                && stands(entry)
        })
        .map(|(_, (_, entry))| entry.id.clone())
        .collect();
    left.sort_unstable();
    left
}

/// What several rows of one boat, one moment and one kind have in common, which have no ids of their own.
type Group = (Option<BoatId>, Option<SiteId>, DateTime<Utc>, String);

fn group(event: &LayupEvent) -> Option<Group> {
    let id = split(event.id.as_str()).0;
    let made = id.strip_prefix('S').is_some_and(|hash| {
        let hash = hash.split('x').next().unwrap_or_default();
        hash.len() == MADE_LETTERS && hash.chars().all(|letter| letter.is_ascii_hexdigit())
    });
    let key = || (event.boat.clone(), event.site.clone(), event.happened_at, event.kind.clone());
    made.then(key)
}

/// Letters of an id that was made for a row without one, after its first.
const MADE_LETTERS: usize = 12;

/// The rows, where those without ids of their own are the entries of the log that say the same: rows that were moved, and what
/// is left when one between them is gone. A row that says something new takes an id that none of the others has.
fn settled(
    rows: &[LayupEvent],
    newest: &HashMap<&str, (usize, &LayupEvent)>,
    erased: &Erased,
) -> Vec<LayupEvent> {
    let mut rows = rows.to_vec();
    let mut known: HashMap<Group, Vec<&str>> = HashMap::new();
    for (base, (_, entry)) in newest {
        if let Some(group) = group(entry) {
            known.entry(group).or_default().push(base);
        }
    }
    let mut groups: HashMap<Group, Vec<usize>> = HashMap::new();
    for (place, row) in rows.iter().enumerate() {
        if let Some(group) = group(row) {
            groups.entry(group).or_default().push(place);
        }
    }
    for (group, places) in groups {
        let Some(mut free) = known.remove(&group) else { continue };
        free.sort_unstable();
        if places.len() == 1 && free.len() == 1 {
            continue;
        }
        let mut open: Vec<usize> = Vec::new();
        for place in places {
            let Some(row) = rows.get_mut(place) else { continue };
            let same = free.iter().position(|base| {
                newest
                    .get(base)
                    .is_some_and(|(_, entry)| changed_fields(row, entry, erased).is_empty())
            });
            match same {
                Some(at) => row.id = EventId::from(free.remove(at)),
                None => open.push(place),
            }
        }
        let mut taken: BTreeSet<String> = rows.iter().map(|row| row.id.to_string()).collect();
        for place in open {
            let Some(row) = rows.get_mut(place) else { continue };
            let own = free.iter().position(|base| *base == row.id.as_str());
            if let Some(at) = own {
                free.remove(at);
                continue;
            }
            // Its own id is that of an entry which another row says: it is another row, with an id of its own.
            if newest.contains_key(row.id.as_str()) {
                let id = (2_u32..).map(|number| format!("{}x{number}", row.id));
                let fresh = id
                    .take(rows_most(&taken))
                    .find(|id| !taken.contains(id) && !newest.contains_key(id.as_str()));
                if let Some(fresh) = fresh {
                    taken.insert(fresh.clone());
                    row.id = EventId::from(fresh);
                }
            }
        }
    }
    rows
}

/// More numbers than this need not be tried for one that is free.
fn rows_most(taken: &BTreeSet<String>) -> usize {
    taken.len() + 2
}

/// The corrections that stand, by the entry that each corrects.
fn corrections_by_target(log: &[LayupEvent]) -> HashMap<&str, Vec<&LayupEvent>> {
    let all = || log.iter().filter(|event| event.kind == "correction");
    let undone: BTreeSet<&str> = all()
        .filter(|event| event.withdraws())
        .filter_map(|event| event.corrects.as_ref().map(EventId::as_str))
        .collect();
    let mut by_target: HashMap<&str, Vec<&LayupEvent>> = HashMap::new();
    for event in all().filter(|event| !undone.contains(event.id.as_str())) {
        if let Some(target) = &event.corrects {
            by_target.entry(target.as_str()).or_default().push(event);
        }
    }
    by_target
}

/// A correction of a row that has been changed since bears on the version that stands now.
fn pointing_at_the_newest(
    row: &LayupEvent,
    newest: &HashMap<&str, (usize, &LayupEvent)>,
) -> LayupEvent {
    let mut row = row.clone();
    if let Some((_, entry)) = row.corrects.as_ref().and_then(|id| newest.get(id.as_str())) {
        if row.id.as_str().ends_with(TAKEN_BACK) {
            row.id = EventId::from(format!("{}{TAKEN_BACK}", entry.id));
        }
        row.corrects = Some(entry.id.clone());
    }
    row
}

/// A correction of one version for the next: what the sheet itself says anew is the sheet's.
fn carried(
    correction: &LayupEvent,
    next: &EventId,
    number: usize,
    changed: &[String],
    now: DateTime<Utc>,
) -> LayupEvent {
    let mut carried = LayupEvent {
        id: EventId::from(format!("{next}-carries-{number}")),
        corrects: Some(next.clone()),
        recorded_at: now,
        ..correction.clone()
    };
    carried.leave_blank(changed);
    carried
}

/// The id of the row, and which version of it.
fn split(id: &str) -> (&str, usize) {
    id.rsplit_once(VERSION_MARK)
        .and_then(|(base, version)| Some((base, version.parse().ok()?)))
        .unwrap_or((id, 1))
}

/// The fields in which a row says something else than its entry.
fn changed_fields(row: &LayupEvent, entry: &LayupEvent, erased: &Erased) -> Vec<String> {
    let alike = LayupEvent { id: entry.id.clone(), recorded_at: entry.recorded_at, ..row.clone() };
    if alike == *entry {
        return Vec::new();
    }
    let (Ok(serde_json::Value::Object(new)), Ok(serde_json::Value::Object(old))) =
        (serde_json::to_value(&alike), serde_json::to_value(entry))
    else {
        return vec!["content".to_owned()];
    };
    let is_erased = |field: &str| erased.contains(&(entry.id.clone(), field.to_owned()));
    new.into_iter()
        .filter(|(field, value)| old.get(field) != Some(value) && !is_erased(field))
        .map(|(field, _)| field)
        .collect()
}

/// The correction that withdraws an entry, so that its next version can stand for it.
fn withdrawal(entry: &LayupEvent, next: &EventId, now: DateTime<Utc>) -> LayupEvent {
    let id = EventId::from(format!("{next}-withdraws"));
    let happened = entry.happened_at.fixed_offset();
    LayupEvent {
        happened_offset_s: entry.happened_offset_s,
        precision: entry.precision,
        recorded_at: now,
        boat: entry.boat.clone(),
        site: entry.site.clone(),
        corrects: Some(entry.id.clone()),
        method: Some("void".to_owned()),
        sheet: entry.sheet.clone(),
        note: Some(format!("the row was changed in the sheet; {next} stands for it")),
        ..LayupEvent::blank(id, "correction".to_owned(), happened, Evidence::None)
    }
}
