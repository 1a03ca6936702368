//! `decide(input, now) -> actions`: the one door to every kind of alert. Pure: the same input and `now` give the same actions, so
//! that a round repeated after a stop changes nothing.

mod of_aging;
mod of_blend;
mod of_deadline;
mod of_heat;
mod of_opening;
mod of_undeliverable;
mod of_worklist;

use chrono::{DateTime, Utc};

use super::action::Action;
use super::situation::{Situation, Target};
use super::{aging, blend, blind, deadline, freeze, heat, opening, unreachable, worklist};

/// What a decision looks at, by kind; nothing else is looked at.
#[derive(Debug, Clone, Copy)]
pub enum DecisionInput<'a> {
    /// Cold against what is wet aboard of one boat (kind `freeze`), or a place that cannot be seen (kind `blind`).
    Outlook(&'a Situation),
    /// The heat of a heated place.
    Heat(&'a heat::HeatedPlace<'a>),
    /// One boat in autumn.
    Deadline(&'a deadline::Autumn<'a>),
    /// One boat with antifreeze in her.
    Blend(&'a blend::Filled<'a>),
    /// One reader at the beginning of a season.
    Opening(&'a opening::Opening<'a>),
    /// One reader of forecasts that grow old.
    Aging(&'a aging::Aging<'a>),
    /// One person, and what did not reach them.
    Undeliverable(&'a unreachable::Reach<'a>),
    /// The readers of the worklist, when its time has come.
    Worklist(&'a worklist::WorklistDue<'a>),
}

/// What follows.
#[must_use]
pub fn decide(input: DecisionInput<'_>, now: DateTime<Utc>) -> Vec<Action> {
    match input {
        DecisionInput::Outlook(situation) => match &situation.target {
            Target::Boat { boat, state, rows } => {
                freeze::decide(situation, (boat, state), rows, now)
            }
            Target::Site { standing } => blind::decide(situation, standing, now),
        },
        DecisionInput::Heat(place) => of_heat::actions(place, now),
        DecisionInput::Deadline(autumn) => of_deadline::actions(autumn, now),
        DecisionInput::Blend(filled) => of_blend::actions(filled, now),
        DecisionInput::Opening(opening) => of_opening::actions(opening, now),
        DecisionInput::Aging(aging) => of_aging::actions(aging),
        DecisionInput::Undeliverable(reach) => of_undeliverable::actions(reach, now),
        DecisionInput::Worklist(due) => of_worklist::actions(due, now),
    }
}
