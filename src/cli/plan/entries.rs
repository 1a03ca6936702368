//! The lines that enter into the log what a row of the plan asks for.

use crate::app::planning::Row;
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::{GroupWork, OpenCircuit};

/// The lines that write the work on a group into the log once it is done; what stands before an empty `=` is filled in. After
/// a complete lay-up the product that was put through is written as well.
pub(super) fn record_lines(row: &Row, group: &GroupWork, scope: Scope) -> Vec<String> {
    let emptied: Vec<&OpenCircuit> =
        group.open.iter().filter(|open| open.is_emptied_first()).collect();
    let mut lines = entry_lines(row, ("drained", "litres_out="), &emptied);
    let work = group
        .entries()
        .into_iter()
        .flat_map(|(entry, open)| entry_lines(row, (&entry.event, &entry.fill), &open));
    lines.extend(work);
    // What its own entry has put product through already is not written twice.
    let is_written =
        |open: &&OpenCircuit| open.entry.as_ref().is_some_and(|entry| entry.event == group.flush);
    let flushed: Vec<&OpenCircuit> =
        group.open.iter().filter(|open| open.flushed && !is_written(open)).collect();
    if scope == Scope::Complete && !group.flush.is_empty() && !flushed.is_empty() {
        lines.extend(entry_lines(row, (&group.flush, FLUSH_FILL), &flushed));
    }
    lines
}

/// One line for each of several engines or units, since an entry that names none counts for none of them in full.
pub(super) fn entry_lines(
    row: &Row,
    (event, fill): (&str, &str),
    open: &[&OpenCircuit],
) -> Vec<String> {
    let mut instances: Vec<Option<&str>> = Vec::new();
    for one in open {
        if !instances.contains(&one.instance.as_deref()) {
            instances.push(one.instance.as_deref());
        }
    }
    let line = |instance: Option<&str>| {
        let own = open.iter().filter(|one| one.instance.as_deref() == instance);
        let mut circuits: Vec<&str> = own.map(|one| one.circuit.as_str()).collect();
        circuits.dedup();
        let which = instance.map_or_else(String::new, |name| format!("instance=\"{name}\" "));
        let line = format!(
            "rimeward record {} {event} circuits=\"{}\" {which}{fill}",
            row.boat.id,
            circuits.join(";"),
        );
        line.trim_end().to_owned()
    };
    instances.into_iter().map(line).collect()
}

/// What is filled in about antifreeze that was put through.
pub(super) const FLUSH_FILL: &str = "fluid= label= litres_in=";
