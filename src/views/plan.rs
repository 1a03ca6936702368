//! The crew plan: which boats first, by which day to begin, what falls short, tonight's round.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;

use crate::domain::boat::{BoatId, Care, CircuitId, SiteId};

/// The plan as one document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanView {
    /// The instant that it was made for.
    pub at: String,
    /// Its first line.
    pub headline: String,
    /// How it differs from what the configuration and the forecast say.
    pub what_if: WhatIfLine,
    /// From which day water may be filled in again, by place.
    pub fill_from: Vec<FillLine>,
    /// Whose forecasts it rests on.
    pub sources: String,
    /// Places without past seasons.
    pub places_without_past_seasons: usize,
    /// How far the forecast reaches.
    pub forecast_until: Option<String>,
    /// Days and their crew hours.
    pub days: Vec<DayLine>,
    /// By when work has to begin.
    pub must_start: MustStartLine,
    /// Boats in the order of the plan.
    pub rows: Vec<PlanRow>,
    /// Boats that their owners see to.
    pub owners: Vec<PlanRow>,
    /// Boats that need nothing.
    pub done: Vec<BoatId>,
    /// Boats with parts past their limit.
    pub frozen: Vec<FrozenLine>,
    /// Work that is nobody's of the crew.
    pub outside: Vec<OutsideLine>,
    /// Places where nobody can say.
    pub cannot_say: Vec<CannotSayLine>,
    /// Expected loss of the list.
    pub expected_loss: f64,
    /// The same with the emergency drains that have a day of their own.
    pub expected_loss_with_dated_drains: f64,
    /// `boats` or `money`.
    pub loss_unit: &'static str,
    /// No list can lose less.
    pub bound: f64,
    /// How far the list is from that, as a share.
    pub gap: Option<f64>,
    /// Yesterday's order was kept.
    pub kept_from_yesterday: bool,
    /// What one more hour today would save.
    pub hour_today_saves: f64,
    /// What the best list would lose if nothing were done before each of the next days.
    pub waiting: Vec<f64>,
    /// Damaged boats.
    pub damaged: DamagedLine,
    /// Emergency drains of this evening.
    pub tonight: Option<TonightLine>,
    /// What owners have to do tonight.
    pub owners_tonight: Vec<OwnerLine>,
    /// Litres to order, by product.
    pub order_l: BTreeMap<String, f64>,
}

/// What was changed for trial.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIfLine {
    /// Crew hours of a day.
    pub crew_hours: Option<f64>,
    /// People who are away.
    pub without: Vec<String>,
    /// Colder by so many kelvins.
    pub colder_k: f64,
    /// Chance tolerated.
    pub tolerance: Option<f64>,
}

/// From when water may be filled in again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FillLine {
    /// Where.
    pub site: SiteId,
    /// Chance of another damaging freeze up to which it may be.
    pub tolerance: f64,
    /// For the engine.
    pub engine: Option<NaiveDate>,
    /// For everything.
    pub all: NaiveDate,
    /// Past winters looked at.
    pub winters: usize,
}

/// A day and its crew hours.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DayLine {
    /// Which.
    pub date: NaiveDate,
    /// Hours.
    pub crew_h: f64,
}

/// By when work has to begin.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MustStartLine {
    /// The last day on which it is enough to begin.
    pub latest_start: Option<NaiveDate>,
    /// The days that decide it.
    pub binding: Vec<NaiveDate>,
    /// Hours that fall short.
    pub short_h: f64,
    /// Hours of work that is due.
    pub due_h: f64,
    /// Hours needed on each working day.
    pub needed_h_per_working_day: f64,
    /// Boats that are late whatever the order.
    pub late_at_least: usize,
    /// A skill that is short.
    pub bound_by_skill: Option<String>,
    /// The first day on which something is due.
    pub first_due: Option<NaiveDate>,
    /// Who is away.
    pub away: Vec<String>,
}

/// One visit to one boat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanRow {
    /// The boat.
    pub boat: BoatId,
    /// Which visit to her.
    pub visit: usize,
    /// Where.
    pub site: SiteId,
    /// Where there.
    pub location: String,
    /// Not yet hauled.
    pub still_afloat: bool,
    /// Done after its day.
    pub late: bool,
    /// Who looks after her.
    pub care: Care,
    /// Minutes of work.
    pub minutes: u32,
    /// Minutes of the crew, ways included.
    pub crew_minutes: u32,
    /// The last day.
    pub last_day: Option<NaiveDate>,
    /// The last day of what tonight leaves.
    pub due_after_tonight: Option<NaiveDate>,
    /// Tonight's round drains her.
    pub drained_tonight: bool,
    /// An emergency drain with a day of its own.
    pub drain_by: Option<NaiveDate>,
    /// Not before.
    pub not_before: Option<NaiveDate>,
    /// The last day on which work on her may begin.
    pub latest_start: Option<NaiveDate>,
    /// When it begins by the plan.
    pub begun_on: Option<NaiveDate>,
    /// When it ends.
    pub done_on: Option<NaiveDate>,
    /// She counts as ashore without an entry that says so.
    pub haul_not_on_record: bool,
    /// What an hour on her saves.
    pub saves_per_hour: f64,
    /// May the yard do it?
    pub permission: &'static str,
    /// The code of her key.
    pub key: Option<String>,
    /// What her work is put off for.
    pub put_off_for: Option<String>,
    /// The chance that her owner asked to be told at.
    pub owner_tolerates: Option<f64>,
    /// Why she stands where she stands, in words.
    pub why: String,
    /// The work.
    pub groups: Vec<GroupRow>,
}

/// One group of work on one boat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupRow {
    /// Which.
    pub group: String,
    /// The circuits that are open.
    pub circuits: Vec<CircuitId>,
    /// The last day.
    pub last_day: Option<NaiveDate>,
    /// Too late already.
    pub over_already: bool,
    /// Frozen.
    pub frozen: bool,
    /// What keeps it from being done.
    pub barred_for: Option<String>,
    /// When it thaws.
    pub thaws_at: Option<String>,
    /// It freezes again before it can be done.
    pub refreezes_first: bool,
    /// Watched tonight.
    pub watched_tonight: bool,
    /// Chance of harm tonight.
    pub chance_tonight: f64,
    /// Chance of harm by the end of the plan.
    pub chance_by_end: f64,
    /// Minutes for all of it.
    pub minutes: u32,
    /// Minutes for an emergency drain.
    pub emergency_minutes: u32,
    /// What is put through.
    pub product: Option<String>,
    /// Products that would be too weak here.
    pub too_weak: Vec<String>,
    /// Litres of it.
    pub litres: Option<f64>,
    /// Other products.
    pub besides: Vec<ProductLine>,
    /// Commands that record it.
    pub record: Vec<String>,
}

/// A product and its litres.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProductLine {
    /// Which.
    pub product: String,
    /// Litres.
    pub litres: f64,
}

/// A boat with parts past their limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FrozenLine {
    /// Which.
    pub boat: BoatId,
    /// Where.
    pub site: SiteId,
    /// Where there.
    pub location: String,
    /// The parts.
    pub circuits: Vec<FrozenPart>,
}

/// A part past its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FrozenPart {
    /// What it is called.
    pub label: String,
    /// Some of it still runs out.
    pub still_runs: bool,
    /// The day on which it thaws.
    pub thaws: Option<NaiveDate>,
    /// When.
    pub thaws_at: Option<String>,
}

/// Work for somebody else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OutsideLine {
    /// The boat.
    pub boat: BoatId,
    /// Where.
    pub site: SiteId,
    /// Where there.
    pub location: String,
    /// Which work.
    pub group: String,
    /// What it takes.
    pub skill: String,
    /// Minutes.
    pub minutes: u32,
    /// The last day.
    pub last_day: Option<NaiveDate>,
}

/// A place where nobody can say.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CannotSayLine {
    /// Which.
    pub site: SiteId,
    /// Boats there.
    pub boats: usize,
}

/// Damaged boats, by the plan and with nothing done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DamagedLine {
    /// By the plan.
    pub by_plan: TailLine,
    /// With nothing done.
    pub nothing_done: TailLine,
}

/// A number of damaged boats over the members of the forecast.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TailLine {
    /// Mean.
    pub mean: f64,
    /// Chances of so many or more.
    pub chances: Vec<AtLeast>,
    /// Members.
    pub members: usize,
}

/// The chance of so many or more.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtLeast {
    /// So many.
    pub at_least: usize,
    /// The chance.
    pub chance: f64,
}

/// Tonight's round.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TonightLine {
    /// Its stops, in order.
    pub stops: Vec<StopLine>,
    /// Boats that it does not reach.
    pub left_over: Vec<Option<BoatId>>,
    /// Seconds of work.
    pub work_s: u32,
    /// When it begins.
    pub begins: String,
    /// How many people.
    pub people: u32,
    /// How many would be in time everywhere if they were called in before work begins.
    pub people_before_work_begins: Option<u32>,
    /// Whose hours it takes: `on_roster`, `day_over`, `nobody`.
    pub hands: &'static str,
    /// Seconds that fall short.
    pub short_s: u32,
    /// Places for each of two parties, where two would do.
    pub fits_in_two_parties: Option<(Vec<SiteId>, Vec<SiteId>)>,
    /// Litres to carry, by product.
    pub carry_l: BTreeMap<String, f64>,
}

/// One stop of the round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StopLine {
    /// The boat.
    pub boat: Option<BoatId>,
    /// Seconds of work until it is done.
    pub done_after_s: u32,
    /// When it is done.
    pub done_at: String,
    /// After its danger.
    pub late: bool,
    /// Before work begins.
    pub before_work_begins: bool,
    /// After hours.
    pub after_hours: bool,
}

/// What an owner has to do tonight.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OwnerLine {
    /// The boat.
    pub boat: BoatId,
    /// Where.
    pub site: SiteId,
    /// Where there.
    pub location: String,
    /// Minutes.
    pub minutes: Option<u32>,
}
