//! The life of an alert as one table: every move that may ever be made. States after ANSI/ISA-18.2-2016, message types
//! after CAP 1.2. Printed into the documentation; a move that no row allows is a defect that the tests look for.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

/// The flat name of an alert's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Flat {
    /// Nothing raised.
    #[serde(rename = "NORM")]
    Normal,
    /// Raised, nobody has answered.
    #[serde(rename = "UNACK")]
    Unacknowledged,
    /// Raised, somebody has answered.
    #[serde(rename = "ACK")]
    Acknowledged,
    /// The condition went away before anybody answered.
    #[serde(rename = "RTN")]
    Returned,
    /// Put aside by a person until a time.
    #[serde(rename = "SHLV")]
    Shelved,
    /// Kept back by a written rule.
    #[serde(rename = "DSUP")]
    SuppressedByDesign,
    /// Taken out by an authorised person.
    #[serde(rename = "OOS")]
    OutOfService,
    /// Over for good.
    #[serde(rename = "CLOSED")]
    Closed,
}

impl Flat {
    /// The name in documents and on the board.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Normal => "NORM",
            Self::Unacknowledged => "UNACK",
            Self::Acknowledged => "ACK",
            Self::Returned => "RTN",
            Self::Shelved => "SHLV",
            Self::SuppressedByDesign => "DSUP",
            Self::OutOfService => "OOS",
            Self::Closed => "CLOSED",
        }
    }
}

/// One row: from which states, on what, to which states, and what people hear.
#[derive(Debug, Clone, Copy)]
pub struct TransitionRow {
    /// Number of the row.
    pub number: u8,
    /// States that it leaves.
    pub from: &'static [Flat],
    /// What happens.
    pub event: &'static str,
    /// Under which condition.
    pub guard: &'static str,
    /// States that it may lead to; empty: the state is kept.
    pub to: &'static [Flat],
    /// What is said (CAP 1.2 message type first).
    pub message: &'static str,
    /// Does this version make the move?
    pub in_force: bool,
}

use Flat::{
    Acknowledged as ACK, Closed as CLOSED, Normal as NORM, OutOfService as OOS, Returned as RTN,
    Shelved as SHLV, SuppressedByDesign as DSUP, Unacknowledged as UNACK,
};

macro_rules! row {
    ($n:literal, $from:expr, $event:literal, $guard:literal, $to:expr, $message:literal, $force:literal) => {
        TransitionRow {
            number: $n,
            from: &$from,
            event: $event,
            guard: $guard,
            to: &$to,
            message: $message,
            in_force: $force,
        }
    };
}

/// Every move, by number.
pub const TRANSITIONS: [TransitionRow; 25] = [
    row!(
        1,
        [NORM],
        "raise",
        "over the limit through the on-delay",
        [UNACK],
        "Alert: first revision",
        true
    ),
    row!(
        2,
        [NORM],
        "raise",
        "a suppression rule holds: ours does only where nothing is over its limit",
        [DSUP],
        "nothing",
        false
    ),
    row!(
        3,
        [NORM],
        "raise",
        "the manager's roll-up is under way",
        [UNACK],
        "Alert to the owner; the manager reads it in the roll-up",
        true
    ),
    row!(
        4,
        [UNACK],
        "acknowledge",
        "by somebody responsible",
        [ACK],
        "nothing to that person",
        true
    ),
    row!(
        5,
        [UNACK],
        "escalation falls due",
        "still unanswered",
        [UNACK],
        "the same revision to the next contact",
        true
    ),
    row!(
        6,
        [UNACK, ACK],
        "worse",
        "than the reader was last told",
        [UNACK],
        "Update; the answer no longer counts",
        true
    ),
    row!(
        7,
        [UNACK, ACK],
        "milder",
        "still over the limit",
        [UNACK, ACK],
        "nothing, or one Update where what to do has changed",
        true
    ),
    row!(
        8,
        [ACK],
        "the plan lapses",
        "not done an hour after the planned time",
        [UNACK],
        "Update: still open, at most every 12 h",
        true
    ),
    row!(
        9,
        [UNACK],
        "return",
        "the off-delay is over",
        [RTN],
        "Update, all-clear to everybody told",
        true
    ),
    row!(
        10,
        [ACK],
        "return",
        "the off-delay is over",
        [CLOSED],
        "Update, all-clear to everybody told",
        true
    ),
    row!(11, [RTN], "acknowledge, or a day", "", [CLOSED], "nothing", true),
    row!(12, [RTN], "raise again", "within a day", [UNACK], "Update under the same id", true),
    row!(
        13,
        [UNACK, ACK, RTN, SHLV, DSUP],
        "done",
        "the record says so",
        [CLOSED],
        "Update, all-clear at once to whoever was told and not yet released",
        true
    ),
    row!(
        14,
        [UNACK, ACK],
        "shelve",
        "inside the limits, with end and reason",
        [SHLV],
        "nothing; listed",
        true
    ),
    row!(15, [SHLV], "the shelf time ends", "", [UNACK, CLOSED], "Update, or all-clear", true),
    row!(
        16,
        [SHLV],
        "worse",
        "than the reader was last told",
        [UNACK],
        "Update; off the shelf",
        true
    ),
    row!(
        17,
        [UNACK, ACK, SHLV],
        "a suppression rule begins to hold",
        "and it is not done",
        [DSUP],
        "Update to everybody told: why it is no longer followed",
        true
    ),
    row!(
        18,
        [DSUP],
        "the suppression rule ends",
        "",
        [UNACK, CLOSED, NORM],
        "Alert or Update, or nothing",
        true
    ),
    row!(
        19,
        [NORM, UNACK, ACK, RTN, SHLV, DSUP],
        "taken out of service",
        "authorised, with a review date",
        [OOS],
        "Update to everybody told: not followed",
        true
    ),
    row!(
        20,
        [OOS],
        "back in service",
        "by hand, or on the day of the review",
        [NORM],
        "judged anew by row 1",
        true
    ),
    row!(
        21,
        [UNACK, ACK],
        "superseded",
        "another alert takes over",
        [CLOSED],
        "carried by the new alert, which says more",
        true
    ),
    row!(
        22,
        [UNACK, ACK, RTN, SHLV, DSUP],
        "cancel",
        "issued in error",
        [CLOSED],
        "Cancel with the reason",
        true
    ),
    row!(
        23,
        [UNACK, ACK, RTN, SHLV, DSUP],
        "its time is over",
        "and the input is unknown",
        [],
        "nothing: `blind` speaks; never closed without a word",
        true
    ),
    row!(
        24,
        [NORM, UNACK, ACK, RTN, SHLV, DSUP, OOS],
        "the input becomes unknown, or known again",
        "",
        [],
        "nothing: no clear and no ease while unknown",
        true
    ),
    row!(
        25,
        [UNACK, ACK],
        "the event is over by 6 h",
        "and the input is known",
        [RTN, CLOSED],
        "as rows 9 and 10",
        true
    ),
];

impl TransitionRow {
    /// Does the row allow this move?
    #[must_use]
    pub fn allows(&self, from: Flat, to: Flat) -> bool {
        self.from.contains(&from)
            && if self.to.is_empty() { from == to } else { self.to.contains(&to) }
    }
}

/// The row of that number.
#[must_use]
pub fn row(number: u8) -> Option<&'static TransitionRow> {
    TRANSITIONS.iter().find(|row| row.number == number)
}

/// The table as Markdown, for the documentation.
#[must_use]
pub fn as_markdown() -> String {
    let names = |states: &[Flat]| {
        if states.is_empty() {
            "kept".to_owned()
        } else {
            states.iter().map(|state| state.as_str()).collect::<Vec<_>>().join(", ")
        }
    };
    let mut out = String::from(
        "| # | from | event | if | to | what people hear | in force |\n|---|---|---|---|---|---|---|\n",
    );
    for row in &TRANSITIONS {
        let TransitionRow { number, event, guard, message, .. } = row;
        let (from, to) = (names(row.from), names(row.to));
        let force = if row.in_force { "yes" } else { "not yet" };
        // Writing to a string cannot fail.
        let _ =
            writeln!(out, "| {number} | {from} | {event} | {guard} | {to} | {message} | {force} |");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rows_are_numbered_from_1_to_25_and_none_leaves_closed() {
        for (index, row) in TRANSITIONS.iter().enumerate() {
            assert_eq!(usize::from(row.number), index + 1);
            assert!(!row.from.contains(&Flat::Closed), "row {} reopens a closed alert", row.number);
        }
        assert_eq!(as_markdown().lines().count(), 27);
    }
}
