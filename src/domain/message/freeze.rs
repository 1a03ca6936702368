//! Words of kind `freeze`.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};

use super::phrases::Table;
use super::voice::{
    Scope, Voice, alert_name, boat_name, key_of, location, object, phone, place_name,
};
use super::words::{
    dated_time, day, list, long_time, one_line, to_five_minutes, work, work_minutes,
};
use super::{Context, Draft, cautions, deeds};
use crate::domain::alert::chance::SpokenChance;
use crate::domain::alert::{Act, Advice, CloseReason, Facts, LastNotified, is_wet};
use crate::domain::boat::{Boat, BoatState, Care, DrainPermission};
use crate::domain::risk::CircuitRisk;
use crate::domain::yard::{Role, Site, SiteKind};

type Words = Vec<(&'static str, Value)>;

/// Parts named in a sentence before "and 3 more".
const PARTS_NAMED: usize = 3;

/// Parts in the list of what the record says; whoever needs all of them asks for the boat.
const PARTS_LISTED: usize = 10;

/// Letters of a word that the yard adds.
const NOTE_LETTERS: usize = 400;

/// How a boat stands in one telling: shared with the manager's lists.
pub(super) struct Stand {
    pub scope: Scope,
    /// Everything over its threshold is frozen already.
    pub frozen: bool,
    /// No time is left to begin.
    pub late: bool,
    /// When the work would be done if begun at the latest start.
    pub done_by: Option<DateTime<Utc>>,
    /// The reader owns the boat; else they are of the yard.
    pub to_owner: bool,
}

impl Stand {
    pub fn of(facts: &Facts, reader: Role) -> Self {
        let active = facts.active();
        let frozen = !active.is_empty() && active.iter().all(|row| row.frozen_now);
        let latest = facts.latest_start.filter(|start| *start > facts.at);
        Self {
            scope: Scope::of(&facts.rows),
            frozen,
            late: !frozen && latest.is_none(),
            done_by: latest.map(|start| done_by(start, facts.minutes)),
            to_owner: reader == Role::Owner,
        }
    }

    fn ask(&self, voice: &Voice<'_>, facts: &Facts, state: &BoatState, short: bool) -> String {
        let lead = deeds::lead(voice.phrases, facts.active(), state);
        let hands_off = lead.is_some_and(|(deed, _)| deed.is_hands_off());
        let key = match (self.late && !self.frozen, lead) {
            // The yard is not told to call itself, nor to begin what it must not.
            (true, _) if self.to_owner => "late",
            (true, _) if !hands_off => "late_yard",
            (_, Some(lead)) => return deeds::subject(voice, lead, self.to_owner, short),
            (_, None) => "late",
        };
        voice.word(Table::Ask, &format!("{key}{}", if short { "_short" } else { "" }))
    }
}

/// When work begun at `start` is done, both as people read them: the start earlier to five minutes, the work rounded up.
pub(super) fn done_by(start: DateTime<Utc>, minutes: f64) -> DateTime<Utc> {
    let seconds = std::time::Duration::from_secs(u64::from(work_minutes(minutes)) * 60);
    to_five_minutes(start) + TimeDelta::from_std(seconds).unwrap_or_default()
}

pub(super) fn draft(
    advice: &Advice,
    boat: &Boat,
    state: &BoatState,
    context: &Context<'_>,
) -> Draft {
    let facts = &advice.facts;
    let voice = Voice::of(context, facts.at);
    let stand = Stand::of(facts, context.person.role);
    let closing = matches!(advice.act, Act::Close { .. });
    let mut words = vec![
        place_words(advice, boat, state, context),
        low_words(&voice, facts),
        voice.basis(&facts.service, facts.issued_at, facts.forecast, context.site),
        told_words(&voice, advice),
    ];
    let heated = context.site.kind == SiteKind::IndoorHeated;
    words
        .push(vec![("answerable", json!(context.sender.replies)), ("heated_place", json!(heated))]);
    if !closing {
        words.push(threat_words(&voice, facts, &stand, state));
        words.push(ask_words(&voice, advice, &stand, state));
        words.push(deed_words(&voice, advice, &stand, (state, context.site, boat)));
    }
    let rules = if closing {
        let mut rules = cautions::for_visit(boat, state, context.site);
        rules.insert("frozen");
        rules
    } else {
        cautions::for_work(boat, state, context.site, facts.active())
    };
    let shorten = Some(("boat", boat_name(&boat.name)));
    Draft { words: object(words), cautions: rules, table: Vec::new(), shorten }
}

fn place_words(advice: &Advice, boat: &Boat, state: &BoatState, context: &Context<'_>) -> Words {
    let care = advice.care.unwrap_or(boat.care);
    let permission = match boat.drain_permission {
        DrainPermission::Yes => "yes",
        DrainPermission::No => "no",
        DrainPermission::NotApplicable | DrainPermission::Unknown => "",
    };
    // The remark on care speaks to the owner; the yard knows.
    let to_owner = context.person.role == Role::Owner;
    let clock = |at: DateTime<Utc>| dated_time(at, context.site.time_zone);
    vec![
        ("boat", json!(boat_name(&boat.name))),
        ("place", json!(place_name(context.site))),
        ("location", json!(location(&boat.location))),
        ("afloat", json!(state.afloat)),
        ("care", json!(if to_owner { key_of(&care) } else { String::new() })),
        ("permission", json!(if to_owner { permission } else { "" })),
        ("yard_hears", json!(advice.yard_hears)),
        ("owner_hears", json!(advice.owner_hears.filter(|_| !to_owner).map(clock))),
        ("yard_note", json!(advice.yard_note.as_ref().map(|note| one_line(note, NOTE_LETTERS)))),
        ("phone", json!(phone(context.site))),
        ("to_owner", json!(to_owner)),
        ("yard", json!(yard(context.site, care))),
        (
            "by_whom",
            json!(if to_owner {
                format!("you or {}", yard(context.site, care))
            } else {
                "the yard or the owner".to_owned()
            }),
        ),
        ("alert", json!(alert_name(&advice.alert))),
        ("number", json!(advice.earlier.len().saturating_add(1))),
    ]
}

/// Whom to call: an owner who stores the boat at home has no yard of their own.
fn yard(site: &Site, care: Care) -> &'static str {
    if site.duty_phone.is_none() && care == Care::Owner { "a boatyard" } else { "the yard" }
}

fn low_words(voice: &Voice<'_>, facts: &Facts) -> Words {
    let low = facts.low.as_ref();
    let both = low.map(|low| voice.temperature(low.median_c));
    // After a dash, a minus sign is hard to see.
    let spoken = both.as_ref().map(|both| match both.strip_prefix('-') {
        Some(_) => format!("low {both}"),
        None => both.clone(),
    });
    vec![
        ("low", json!(spoken.unwrap_or_else(|| "low not known".to_owned()))),
        ("low_both", json!(both)),
        ("low_range", json!(low.map(|low| voice.low_range(low)))),
        ("low_time", json!(low.map(|low| voice.time(low.time)))),
        ("until", json!(voice.time(facts.until))),
    ]
}

fn threat_words(voice: &Voice<'_>, facts: &Facts, stand: &Stand, state: &BoatState) -> Words {
    let lead = facts.lead();
    let chance = SpokenChance::of(lead.map_or(0.0, |row| row.chance_limit));
    let liquid =
        lead.map_or_else(String::new, |row| voice.word(Table::Liquid, &key_of(&row.holds)));
    vec![
        ("scope", json!(stand.scope.key())),
        ("frozen", json!(stand.frozen)),
        ("late", json!(stand.late)),
        ("unknown_before", json!(unknown_before(voice, facts))),
        ("once_ashore", json!(once_ashore(voice, facts, state))),
        ("thaws_at", json!(thaws_at(voice, facts))),
        ("may_be_frozen", json!(facts.active().iter().any(|row| row.ice.may_be))),
        ("chance", json!(chance.number())),
        ("chance_word", json!(voice.word(Table::Chance, chance.class.key()))),
        ("chance_frequency", json!(chance.frequency())),
        ("lead_liquid", json!(liquid)),
        ("lead_part", json!(lead.map(|row| voice.part(&row.circuit, row.instance.as_deref())))),
        ("lead_event", json!(lead.map(|row| voice.event(row.limit)))),
        ("parts", json!(voice.parts(facts.active(), PARTS_NAMED))),
        ("breaks", json!(voice.breaks(facts.active(), PARTS_NAMED))),
        (
            "wet",
            Value::Array(
                facts
                    .rows
                    .iter()
                    .enumerate()
                    .take(PARTS_LISTED)
                    .map(|(place, row)| wet(voice, row, state, place >= facts.active().len()))
                    .collect(),
            ),
        ),
    ]
}

/// Since when the cold around what is in danger is known, where before that nobody knows and it matters.
fn unknown_before(voice: &Voice<'_>, facts: &Facts) -> Option<String> {
    let rows = facts.active().iter().filter(|row| !row.frozen_now);
    let before = rows.filter_map(|row| row.ice.unknown_before).max()?;
    let zone = voice.zone;
    let today =
        before.with_timezone(&zone).date_naive() == facts.at.with_timezone(&zone).date_naive();
    let clock = before.with_timezone(&zone).format("%H:%M");
    Some(if today { format!("{clock} today") } else { voice.time(before) })
}

/// The day of a planned haul, where the danger begins only after it: in the water nothing freezes.
fn once_ashore(voice: &Voice<'_>, facts: &Facts, state: &BoatState) -> Option<String> {
    let haul = state.ashore_from?;
    facts.first_danger.filter(|danger| *danger >= haul)?;
    Some(day(haul, voice.zone))
}

/// When what is frozen thaws, where that lets water in.
fn thaws_at(voice: &Voice<'_>, facts: &Facts) -> Option<String> {
    let floods = facts.active().iter().filter(|row| row.frozen_now && row.ice.floods);
    let at = floods.filter_map(|row| row.ice.thaws_at).min();
    at.map(|at| voice.time(at))
}

/// One circuit of the list of what the record says. The reasons of the row stay with the alert; the letter names state
/// and evidence.
fn wet(voice: &Voice<'_>, row: &CircuitRisk, state: &BoatState, near: bool) -> Value {
    let since = state
        .circuits
        .iter()
        .find(|now| now.circuit == row.circuit && now.instance == row.instance)
        .and_then(|now| now.since);
    json!({
        "part": voice.part(&row.circuit, row.instance.as_deref()),
        "holds": voice.word(Table::Holds, &key_of(&row.holds)),
        "evidence": voice.evidence(row.holds, row.evidence),
        "since": since.map(|since| format!("since {}", voice.time(since))),
        "near": near,
        "frozen": row.frozen_now,
        "thawed": row.ice.thawed,
        "may_be": row.ice.may_be,
        "chance": SpokenChance::of(row.chance_limit).number(),
    })
}

/// What is asked for: only what is over its threshold, each part by its own deed.
fn deed_words(
    voice: &Voice<'_>,
    advice: &Advice,
    stand: &Stand,
    (state, site, boat): (&BoatState, &Site, &Boat),
) -> Words {
    let (rows, phrases) = (advice.facts.active(), voice.phrases);
    let yard = yard(site, advice.care.unwrap_or(boat.care));
    let requests = deeds::requests(voice, rows, state, (stand.to_owner, yard));
    let owners = stand.to_owner && deeds::is_an_owners(phrases, rows, state);
    vec![
        ("deeds", json!(requests)),
        ("owners_deed", json!(owners)),
        ("look", json!(deeds::look(phrases, rows, state))),
    ]
}

fn ask_words(voice: &Voice<'_>, advice: &Advice, stand: &Stand, state: &BoatState) -> Words {
    let (facts, zone) = (&advice.facts, voice.zone);
    let first = facts.latest_start.or(facts.first_danger).unwrap_or(facts.at);
    // "Tonight" always with its date, by when the letter leaves: quiet hours may hold it till morning.
    let read = advice.not_before.unwrap_or(facts.at);
    let tonight = (first - read < TimeDelta::hours(24)).then(|| day(read, zone));
    vec![
        ("ask", json!(stand.ask(voice, facts, state, false))),
        ("ask_short", json!(stand.ask(voice, facts, state, true))),
        ("by", json!(by(voice, stand))),
        ("done_by_long", json!(stand.done_by.map(|by| long_time(by, zone)))),
        ("onset", json!(facts.first_danger.map(|onset| voice.time(onset)))),
        ("latest_start", json!(facts.latest_start.map(|start| voice.time(to_five_minutes(start))))),
        ("work", json!(work(facts.minutes))),
        ("tonight", json!(tonight)),
    ]
}

fn by(voice: &Voice<'_>, stand: &Stand) -> String {
    match stand.done_by {
        Some(by) if !stand.frozen && !stand.late => format!(" by {}", voice.soon(by)),
        _ => String::new(),
    }
}

/// What this reader was told before, and what has changed since.
fn told_words(voice: &Voice<'_>, advice: &Advice) -> Words {
    let told = advice.previous.as_ref();
    let changed: Vec<String> = match &advice.act {
        Act::Update { worse } if worse.is_empty() => vec![voice.word(Table::Change, "none")],
        Act::Update { worse } => worse.iter().map(|worse| voice.change(worse)).collect(),
        _ => Vec::new(),
    };
    let passed = matches!(&advice.act, Act::Close { reason: CloseReason::Passed, .. });
    let records = match &advice.act {
        Act::Close { records, .. } => records
            .iter()
            .filter(|line| {
                let frozen = advice.facts.active().iter().any(|row| {
                    row.frozen_now && crate::domain::alert::System::of(row) == line.system
                });
                // Of what has frozen only that: what is sound is neither to be tested nor let go of.
                frozen || !passed && told.is_none_or(|told| told.systems.contains(&line.system))
            })
            .map(|line| voice.record(line))
            .collect(),
        _ => Vec::new(),
    };
    let still_wet: Vec<String> = match &advice.act {
        Act::Close { records, .. } => records
            .iter()
            .filter(|line| is_wet(line.holds))
            .filter(|line| told.is_some_and(|told| told.systems.contains(&line.system)))
            .map(|line| voice.system(&line.system))
            .collect(),
        _ => Vec::new(),
    };
    let dropped = match &advice.act {
        Act::Close { reason: CloseReason::NotFollowed { why, until }, .. } => Some((why, *until)),
        Act::Close { reason: CloseReason::Cancelled { why }, .. } => Some((why, None)),
        _ => None,
    };
    let came = told.and_then(|told| told.first_danger).is_none_or(|at| at <= voice.now);
    let ended = voice.word(Table::Ended, if came { "over" } else { "unexpected" });
    let mut days: Vec<String> =
        advice.earlier.iter().map(|sent| day(sent.at, voice.zone)).collect();
    days.dedup();
    vec![
        ("ended", json!(ended)),
        ("not_why", json!(dropped.map(|(why, _)| one_line(why, NOTE_LETTERS)))),
        ("not_until", json!(dropped.and_then(|(_, until)| until).map(|at| day(at, voice.zone)))),
        ("still_wet", json!(list(&still_wet, still_wet.len()))),
        ("changed", json!(changed)),
        ("records", Value::Array(records)),
        ("messages", json!(list(&days, days.len()))),
        ("told_at", json!(told.map(|told| voice.time(told.at)))),
        ("told_low", json!(told.and_then(|told| told.low_c).map(|low| voice.temperature(low)))),
        ("told_chance", json!(told.map(|told| SpokenChance::of(told.chance).number()))),
        ("told_parts", json!(told.map(|told| told_parts(voice, told)))),
        (
            "told_onset",
            json!(told.and_then(|told| told.first_danger).map(|at| day(at, voice.zone))),
        ),
    ]
}

/// The system that a chance was told for, which is the first of the list.
pub(super) fn told_parts(voice: &Voice<'_>, told: &LastNotified) -> String {
    told.systems.first().map_or_else(|| "the boat".to_owned(), |system| voice.system(system))
}
