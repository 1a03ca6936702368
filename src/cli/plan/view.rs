//! The crew plan as its read model.

use super::entries::record_lines;
use super::text;
use crate::app::planning::lines::permission;
use crate::app::planning::{RoundCrew, Row, WhatIf, YardPlan};
use crate::domain::risk::plan::boat::Scope;
use crate::domain::risk::plan::group::GroupWork;
use crate::domain::risk::plan::tail::Tail;
use crate::domain::risk::plan::tonight::Round;
use crate::views::plan::{
    AtLeast, CannotSayLine, DamagedLine, DayLine, FillLine, FrozenLine, FrozenPart, GroupRow,
    MustStartLine, OutsideLine, OwnerLine, PlanRow, PlanView, ProductLine, StopLine, TailLine,
    TonightLine, WhatIfLine,
};
use crate::views::{local, tidy};

/// The plan as one document.
pub(super) fn plan_view(plan: &YardPlan, what_if: &WhatIf) -> PlanView {
    let zone = plan.crew.zone;
    let hours = |minutes: u32| tidy(f64::from(minutes) / 60.0);
    let days = plan.days.iter().map(|day| DayLine { date: day.date, crew_h: hours(day.minutes) });
    PlanView {
        at: local(plan.at, zone),
        headline: plan.headline.clone(),
        what_if: WhatIfLine {
            crew_hours: what_if.crew_hours,
            without: what_if.without.clone(),
            colder_k: what_if.colder_k,
            tolerance: what_if.tolerance,
        },
        fill_from: fill_lines(plan),
        sources: plan.sources(),
        places_without_past_seasons: plan.without_past,
        forecast_until: plan.forecast_until.map(|at| local(at, zone)),
        days: days.collect(),
        must_start: must_start(plan),
        rows: plan.rows.iter().map(|row| plan_row(plan, row)).collect(),
        owners: plan.owners.iter().map(|row| plan_row(plan, row)).collect(),
        done: plan.done.iter().map(|boat| boat.id.clone()).collect(),
        frozen: frozen_lines(plan),
        outside: outside_lines(plan),
        cannot_say: plan
            .cannot_say
            .iter()
            .map(|(site, boats)| CannotSayLine { site: site.clone(), boats: *boats })
            .collect(),
        expected_loss: tidy(plan.loss),
        expected_loss_with_dated_drains: tidy((plan.loss - plan.drains_spare).max(0.0)),
        loss_unit: if plan.equal { "boats" } else { "money" },
        bound: tidy(plan.ranked.divided.bound),
        gap: plan.gap().map(tidy),
        kept_from_yesterday: plan.ranked.kept.is_some(),
        hour_today_saves: tidy(plan.ranked.divided.hour_value),
        waiting: plan.waiting.iter().map(|loss| tidy(*loss)).collect(),
        damaged: DamagedLine {
            by_plan: tail_line(&plan.tail.0),
            nothing_done: tail_line(&plan.tail.1),
        },
        tonight: plan.tonight.as_ref().map(|round| tonight(plan, round)),
        owners_tonight: plan.owners_tonight().map(owner_line).collect(),
        order_l: plan.order.clone(),
    }
}

fn fill_lines(plan: &YardPlan) -> Vec<FillLine> {
    let lines = plan.fill_from.iter().map(|from| FillLine {
        site: from.site.clone(),
        tolerance: plan.fill_tolerance,
        engine: from.engine,
        all: from.all,
        winters: from.winters,
    });
    lines.collect()
}

fn must_start(plan: &YardPlan) -> MustStartLine {
    let hours = |minutes: u32| tidy(f64::from(minutes) / 60.0);
    let must = &plan.must;
    MustStartLine {
        latest_start: must.latest_start.and_then(|day| plan.date(day)),
        binding: must.binding.iter().filter_map(|day| plan.date(*day)).collect(),
        short_h: hours(must.short_minutes),
        due_h: hours(must.due_minutes),
        needed_h_per_working_day: hours(must.need_minutes),
        late_at_least: plan.late,
        bound_by_skill: plan.bound_by.clone(),
        first_due: plan.first_due.and_then(|day| plan.date(day)),
        away: plan.away.clone(),
    }
}

fn frozen_lines(plan: &YardPlan) -> Vec<FrozenLine> {
    let zone = plan.crew.zone;
    let lines = plan.frozen.iter().map(|one| FrozenLine {
        boat: one.boat.id.clone(),
        site: one.at.0.clone(),
        location: one.at.1.clone(),
        circuits: one
            .circuits
            .iter()
            .map(|part| FrozenPart {
                label: part.label.clone(),
                still_runs: part.runs,
                thaws: part.thaws.map(|at| at.with_timezone(&zone).date_naive()),
                thaws_at: part.thaws.map(|at| local(at, zone)),
            })
            .collect(),
    });
    lines.collect()
}

fn outside_lines(plan: &YardPlan) -> Vec<OutsideLine> {
    let lines = plan.outside.iter().map(|one| OutsideLine {
        boat: one.boat.id.clone(),
        site: one.at.0.clone(),
        location: one.at.1.clone(),
        group: one.group.group.clone(),
        skill: one.skill.clone(),
        minutes: one.group.minutes.complete,
        last_day: one.group.last_day.and_then(|day| plan.date(day)),
    });
    lines.collect()
}

fn tonight(plan: &YardPlan, round: &Round) -> TonightLine {
    let zone = plan.crew.zone;
    let boat = |row: usize| plan.rows.get(row).map(|row| row.boat.id.clone());
    let stops = round.stops.iter().map(|stop| StopLine {
        boat: boat(stop.job),
        done_after_s: stop.done_after_min * 60,
        done_at: local(plan.done_at(stop), zone),
        late: stop.late,
        before_work_begins: stop.early,
        after_hours: stop.after_hours,
    });
    TonightLine {
        stops: stops.collect(),
        left_over: round.left_over.iter().map(|row| boat(*row)).collect(),
        work_s: round.work_min() * 60,
        begins: local(plan.begins.0, zone),
        people: plan.begins.1,
        people_before_work_begins: plan.early_people.flatten(),
        hands: match plan.hands {
            RoundCrew::OnRoster => "on_roster",
            RoundCrew::DayOver => "day_over",
            RoundCrew::Nobody => "nobody",
        },
        short_s: round.short_min * 60,
        fits_in_two_parties: round.parties.clone(),
        carry_l: plan.cart.clone(),
    }
}

fn owner_line(row: &Row) -> OwnerLine {
    OwnerLine {
        boat: row.boat.id.clone(),
        site: row.place(),
        location: row.location().to_owned(),
        minutes: row.urgent.map(|scope| row.work.minutes(scope)),
    }
}

fn tail_line(tail: &Tail) -> TailLine {
    let chances = tail.chances.iter();
    let chances =
        chances.map(|(least, chance)| AtLeast { at_least: *least, chance: tidy(*chance) });
    TailLine { mean: tidy(tail.mean), chances: chances.collect(), members: tail.members }
}

fn plan_row(plan: &YardPlan, row: &Row) -> PlanRow {
    let date = |day: Option<usize>| day.and_then(|day| plan.date(day));
    PlanRow {
        boat: row.boat.id.clone(),
        visit: row.visit,
        site: row.place(),
        location: row.location().to_owned(),
        still_afloat: row.elsewhere,
        late: row.is_late(),
        care: row.boat.care,
        minutes: row.minutes,
        crew_minutes: row.crew_minutes,
        last_day: date(row.due),
        due_after_tonight: date(row.due_now()),
        drained_tonight: row.in_round,
        drain_by: date(row.dated().map(|(day, _)| day)),
        not_before: row.not_before.and_then(|(day, _)| plan.date(day)),
        latest_start: date(row.latest_start),
        begun_on: date(row.begun_on),
        done_on: date(row.done_on),
        haul_not_on_record: row.assumed_ashore,
        saves_per_hour: tidy(row.saves_per_hour),
        permission: permission(row),
        key: row.boat.key_code(),
        put_off_for: row.put_off_for.clone(),
        owner_tolerates: row.work.asked_for,
        why: text::reason(plan, row),
        groups: row.work.groups.iter().map(|group| group_row(plan, row, group)).collect(),
    }
}

fn group_row(plan: &YardPlan, row: &Row, group: &GroupWork) -> GroupRow {
    GroupRow {
        group: group.group.clone(),
        circuits: group.open.iter().map(|open| open.circuit.clone()).collect(),
        last_day: group.last_day.and_then(|day| plan.date(day)),
        over_already: group.over_already,
        frozen: group.solid,
        barred_for: group.barred.clone(),
        thaws_at: group.thaws_at.map(|at| local(at, plan.crew.zone)),
        refreezes_first: group.refreezes_first,
        watched_tonight: group.watched,
        chance_tonight: tidy(group.chance.get(1).copied().unwrap_or(0.0)),
        chance_by_end: tidy(group.chance.last().copied().unwrap_or(0.0)),
        minutes: group.minutes.complete,
        emergency_minutes: group.minutes.emergency,
        product: group.product.as_ref().map(|(name, _)| name.clone()),
        too_weak: group.weak.clone(),
        litres: group.product.as_ref().map(|(_, litres)| *litres),
        besides: group
            .besides
            .iter()
            .map(|(name, litres)| ProductLine { product: name.clone(), litres: *litres })
            .collect(),
        record: record_lines(row, group, Scope::Complete),
    }
}
