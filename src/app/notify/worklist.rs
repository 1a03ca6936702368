//! The worklist: for a manager as a letter, for a screen as the same words.

use super::composer::Composer;
use super::label::label_of;
use super::scene::Scene;
use crate::app::alerts::blend::too_weak;
use crate::app::assess::{AssessedBoat, Assessment};
use crate::app::context::{AppContext, ServiceError};
use crate::app::notify::chart;
use crate::app::notify::claimed::only_claimed;
use crate::app::planning::{YardPlan, lines, plan_of};
use crate::app::ports::AppStore;
use crate::app::ports::{AlertFilter, OutboxRow};

use crate::domain::alert::worklist;
use crate::domain::alert::{Alert, CloseReason, Flat, Kind};
use crate::domain::boat::{CircuitId, Holds, SiteId};
use crate::domain::message::{
    CannotSay, Context, CrewLines, Email, HeldLine, OverLine, PlaceLine, Worklist, WorklistBoat,
    compose_worklist,
};
use crate::domain::risk::{CircuitRisk, Priority, rank};
use crate::domain::weather::ForecastState;
use crate::domain::yard::{Person, Role, recipients};

/// A returned alert is closed for good a day after its all-clear, and a worklist may come three days after the last.
const TOLD_OVER_BACK: chrono::TimeDelta = chrono::TimeDelta::days(1);
/// Boats with so many circuits of which nothing is known are named under "cannot say".
const MANY_UNKNOWN: usize = 3;

/// What the worklists of one round have in common.
pub struct Shared {
    plan: Option<YardPlan>,
    /// Letters that wait for the yard, by place.
    waiting: Vec<(SiteId, HeldLine)>,
}

impl Shared {
    /// `letters` are those of the same round.
    pub(super) fn of(scene: &Scene<'_>, letters: &[OutboxRow]) -> Self {
        let plan = scene.seen.and_then(|seen| crew_plan(scene.app, seen));
        let waiting = |seen| super::held::waiting(&*scene.app.store, seen, letters, scene.now);
        Self { plan, waiting: scene.seen.map(waiting).unwrap_or_default() }
    }
}

/// The worklist of a manager's places.
pub(super) fn words(scene: &Scene<'_>, person: &Person, shared: &Shared) -> Result<Email, String> {
    let own = |site: &SiteId| recipients::reads_worklist_of(person, site);
    let waiting = shared.waiting.iter().filter(|(site, _)| person.sites.contains(site));
    let held: Vec<HeldLine> = waiting.map(|(_, line)| line.clone()).collect();
    let reader = Reader { person, plan: shared.plan.as_ref(), held: &held, pictures: true };
    worklist_letter(scene.app, scene.composer, scene.seen()?, reader, own)
        .map_err(|error| error.to_string())
}

/// The worklist of all places in the words of the letter, for a screen.
///
/// # Errors
/// The phrase catalogue or the store.
pub fn worklist_text(house: &AppContext, assessment: &Assessment) -> Result<String, ServiceError> {
    let composer = Composer::of(&house.settings, &*house.mailer)?;
    let mut managers = recipients::all(&assessment.yard.people, Role::Manager);
    let Some(first) = assessment.places.values().next() else {
        return Ok(
            "The store holds no place yet: bring in your tables with rimeward import.\n".into()
        );
    };
    let mut reader = managers.next().cloned().unwrap_or_else(|| nobody(first.site.usual_scale()));
    reader.email.get_or_insert_with(|| "nobody@localhost".to_owned());
    let letter = worklist_letter(
        house,
        &composer,
        assessment,
        Reader {
            person: &reader,
            plan: crew_plan(house, assessment).as_ref(),
            held: &[],
            pictures: false,
        },
        |_| true,
    )?;
    Ok(format!("{}\n\n{}", letter.subject, letter.text))
}

/// Whom a worklist is for, and what goes into theirs.
struct Reader<'a> {
    person: &'a Person,
    plan: Option<&'a YardPlan>,
    held: &'a [HeldLine],
    pictures: bool,
}

fn worklist_letter(
    house: &AppContext,
    composer: &Composer,
    assessment: &Assessment,
    Reader { person, plan, held, pictures }: Reader<'_>,
    own: impl Fn(&SiteId) -> bool,
) -> Result<Email, ServiceError> {
    let places: Vec<PlaceLine<'_>> = assessment
        .places
        .values()
        .filter(|place| own(&place.site.id))
        .map(|place| PlaceLine {
            site: &place.site,
            low: place.low.as_ref(),
            issued_at: place.forecast.as_ref().map(|forecast| forecast.issued_at),
            forecast: place.state,
            service: place.forecast.as_ref().map_or("", |forecast| forecast.service.as_str()),
            measured: place.measured.as_ref(),
            snow: place.snow(assessment.until),
            official: place
                .official()
                .map(|(notice, not_shown)| (notice.clone(), not_shown))
                .collect(),
        })
        .collect();
    let mut listed: Vec<(&AssessedBoat, Vec<CircuitRisk>)> = assessment
        .boats
        .iter()
        .filter(|view| own(&view.state.site))
        .map(|view| {
            let rows = view.rows.iter().filter(|row| rank::is_worth_listing(row));
            let mut rows: Vec<CircuitRisk> = rows.cloned().collect();
            rows.sort_by(rank::order);
            (view, rows)
        })
        .collect();
    listed.sort_by(|(a, first), (b, second)| match (pressing(first), pressing(second)) {
        (Some(one), Some(other)) => rank::order(one, other),
        (one, other) => other.is_some().cmp(&one.is_some()).then(a.boat.id.cmp(&b.boat.id)),
    });
    let boats: Vec<WorklistBoat<'_>> = listed
        .iter()
        .filter_map(|(view, rows)| {
            let site = assessment.places.get(&view.state.site).map(|place| &place.site)?;
            Some(WorklistBoat { boat: &view.boat, state: &view.state, site, rows, remark: "" })
        })
        .collect();
    let head = house.store.log_head()?;
    let over = over_since_the_last(&*house.store, assessment, person)?;
    let label = |circuit: &CircuitId| label_of(&house.catalogue, circuit);
    let home = assessment.places.values().find(|place| own(&place.site.id));
    let Some(home) = home else {
        return Err(ServiceError::NoPlace { person: person.id.clone() });
    };
    // Of whoever is first to be gone to.
    let first = listed.iter().find(|(_, rows)| {
        rows.iter().any(|row| row.priority > Priority::Notice && !row.frozen_now)
    });
    let picture = first
        .filter(|_| pictures)
        .and_then(|(view, _)| chart::of_boat(house, assessment, &view.boat.id, person));
    let context = composer.context((person, &home.site), &label, assessment.instant.at);
    let context = Context { picture: picture.as_ref(), ..context };
    let crew = plan.map(|plan| CrewLines {
        headline: plan.headline.clone(),
        round: lines::round(plan, &own),
        round_work: lines::round_work(plan, &own),
        cart: lines::litres(&plan.cart),
        order: lines::litres(&plan.order),
        outside: lines::outside(plan, &own),
        today: lines::today(plan, &own),
        subject: lines::subject(plan, &own),
    });
    let weak = too_weak(house, assessment, &own);
    let worklist = Worklist {
        at: assessment.instant.at,
        until: assessment.until,
        places: &places,
        boats: &boats,
        cannot_say: &cannot_say((&weak, assessment), &own, &label),
        over: &over,
        held,
        plan: crew.as_ref(),
        log_head: Some(&head),
    };
    compose_worklist(&worklist, &context).map_err(ServiceError::Worklist)
}

/// What ended since the last worklist, of the alerts that this reader had been told of: their closing message.
fn over_since_the_last(
    store: &dyn AppStore,
    assessment: &Assessment,
    person: &Person,
) -> Result<Vec<OverLine>, ServiceError> {
    let Some(last) = store.last_run(worklist::RUN)? else { return Ok(Vec::new()) };
    let filter =
        AlertFilter { kind: Some(Kind::Freeze.as_str().to_owned()), ..AlertFilter::default() };
    let mut over = Vec::new();
    for record in store.alert_records(&filter)? {
        if record.closed_at.is_some_and(|at| at < last - TOLD_OVER_BACK) {
            continue;
        }
        let Ok(alert) = serde_json::from_value::<Alert>(record.document) else { continue };
        let told = alert.told.get(&person.id).filter(|ledger| !ledger.awaits_closing);
        let Some(ended) = told.and_then(|ledger| ledger.sent.last()).map(|sent| sent.at) else {
            continue;
        };
        let boat = assessment.boats.iter().find(|view| Some(&view.boat.id) == alert.subject.boat());
        let (true, Some(view)) = (ended >= last && ended < assessment.instant.at, boat) else {
            continue;
        };
        let place = assessment.places.get(&alert.site).map(|place| place.site.name.clone());
        let reason = alert.closed.as_ref().map(|end| &end.reason);
        over.push(OverLine {
            boat: view.boat.name.clone(),
            place: place.unwrap_or_else(|| alert.site.to_string()),
            done: matches!(reason, Some(CloseReason::Done)),
            dropped: matches!(alert.flat(), Flat::SuppressedByDesign | Flat::OutOfService),
            cancelled: matches!(reason, Some(CloseReason::Cancelled { .. })),
            passed: alert.known.iter().any(|known| known.person == person.id && known.frozen),
        });
    }
    Ok(over)
}

/// The crew plan. A worklist goes out without it rather than not at all.
fn crew_plan(house: &AppContext, assessment: &Assessment) -> Option<YardPlan> {
    plan_of(house, assessment)
        .inspect_err(|error| tracing::warn!(%error, "worklist goes out without the crew plan"))
        .ok()
}

/// The first row that asks for something.
fn pressing(rows: &[CircuitRisk]) -> Option<&CircuitRisk> {
    rows.iter().find(|row| row.priority > Priority::Notice)
}

/// What cannot be judged: places without a forecast, boats of which hardly anything is on record.
fn cannot_say(
    (weak, assessment): (&[String], &Assessment),
    own: &impl Fn(&SiteId) -> bool,
    label: &impl Fn(&CircuitId) -> String,
) -> Vec<CannotSay> {
    let mut found = Vec::new();
    for place in assessment.places.values().filter(|place| own(&place.site.id)) {
        if place.state == ForecastState::Blind {
            found.push(CannotSay {
                what: place.site.name.clone(),
                why: "no usable forecast; check the official one".to_owned(),
            });
        }
    }
    let unknown: Vec<(usize, &str)> = assessment
        .boats
        .iter()
        .filter(|view| own(&view.state.site))
        .map(|view| {
            let circuits = view.state.circuits.iter();
            (circuits.filter(|c| c.holds == Holds::Unknown).count(), view.boat.name.as_str())
        })
        .filter(|(count, _)| *count >= MANY_UNKNOWN)
        .collect();
    if !unknown.is_empty() {
        let named: Vec<String> =
            unknown.iter().map(|(count, name)| format!("{} {count}", name.trim())).collect();
        found.push(CannotSay {
            what: "circuits with nothing on record, judged as full of water".to_owned(),
            why: named.join(", "),
        });
    }
    if !weak.is_empty() {
        found.push(CannotSay {
            what: "antifreeze too weak for a winter here: test it and renew it".to_owned(),
            why: weak.join("; "),
        });
    }
    let claimed = only_claimed(assessment, own, label);
    if !claimed.is_empty() {
        found.push(CannotSay {
            what: "only said to be done, and cold is coming: ask who did it, or look".to_owned(),
            why: claimed.join("; "),
        });
    }
    found
}

fn nobody(units: crate::domain::units::TemperatureScale) -> Person {
    Person {
        id: "nobody".into(),
        name: "the yard".to_owned(),
        role: Role::Manager,
        email: None,
        phone: None,
        text_consent: false,
        consent_date: None,
        sites: Vec::new(),
        quiet_from: None,
        quiet_to: None,
        escalation_order: None,
        tell_at_chance: None,
        charts: false,
        units,
    }
}
