//! Every circuit of a boat against the coming cold.

pub mod curves;
mod past_ice;
mod settings;

use std::collections::hash_map::Entry;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use thiserror::Error;

use super::ambient::{Ambient, PlaceWeather, Power, Whereabouts};
use super::case::{Outcome, thaw_hour, through_the_ensemble};
pub use super::interrupts::interrupts;
use super::plan::work::WorkTable;
use super::power::PowerLoss;
use super::start::{Content, Memory, PastSpan, StartError};
use super::timing::{latest_start, priority};
use super::{CircuitRisk, IceSoFar, Limit, Priority, reasons};
use crate::domain::boat::{Boat, BoatState, CircuitState, Holds};
use crate::domain::catalogue::{Catalogue, CircuitKind, Consequence};
use crate::domain::physics::part::{PartError, thermal_class};
use crate::domain::physics::{Liquid, TableError};
use crate::domain::yard::SiteKind;
use past_ice::{danger_hour, hours as hours_of, may_flood, unknown_before};
pub use settings::{JudgeSettings, wanted_on};

/// Warmer than this above first ice in every member and at the start: nothing can freeze, nothing is stepped.
const CLEARLY_ABOVE_K: f64 = 0.05;

/// Something in the tables that keeps a circuit from being judged.
#[derive(Debug, Error)]
pub enum JudgeError {
    /// A table lacks a row.
    #[error("cannot judge {circuit}: {source}")]
    Table {
        /// Which circuit.
        circuit: String,
        /// What is missing.
        source: TableError,
    },
    /// A part cannot be computed.
    #[error("cannot judge {circuit}: {source}")]
    Part {
        /// Which circuit.
        circuit: String,
        /// Why.
        source: PartError,
    },
}

impl StartError {
    pub(super) fn of(self, circuit: String) -> JudgeError {
        match self {
            Self::Table(source) => JudgeError::Table { circuit, source },
            Self::Part(source) => JudgeError::Part { circuit, source },
        }
    }
}

type AmbientKey = (Whereabouts, Power);
/// Thermal class, bits of the liquid and of its mass, and the past that counts.
type CaseKey = (AmbientKey, &'static str, [u64; 2], u64, Memory);

/// What became of a case, and the liquid as it was judged: a blend that was slush before counts for less.
#[derive(Debug, Clone)]
struct Judged {
    outcome: Outcome,
    liquid: Liquid,
    separated: bool,
    /// When it thaws, if it is ice now.
    thaws_at: Option<DateTime<Utc>>,
    /// Before that nobody knows how cold it was, and it may have been cold enough.
    unknown_before: Option<DateTime<Utc>>,
    /// How the part stands at the start, in words.
    now: String,
}

/// A part of one class with one content in one kind of air: what many circuits may have in common.
struct Case<'a> {
    circuit: &'a CircuitKind,
    content: Content<'static>,
    air: AmbientKey,
    memory: Memory,
}

impl Case<'_> {
    /// The stubs, elbows and pump head of a tank that is not drained, full of the same.
    fn fittings(&self) -> Result<Option<Self>, JudgeError> {
        let Some(id) = self.content.class.fittings.as_deref() else { return Ok(None) };
        let class = thermal_class(id)
            .map_err(|source| JudgeError::Table { circuit: self.circuit.id.to_string(), source })?;
        let content = Content { class, water: class.water(), ..self.content };
        Ok(Some(Self { content, memory: self.memory.clone(), ..*self }))
    }

    fn key(&self) -> CaseKey {
        let Content { class, water, liquid } = self.content;
        let memory = self.memory.clone();
        (self.air, class.id.as_str(), liquid_bits(&liquid), water.value().to_bits(), memory)
    }
}

/// Whoever can do the same work on many things at once.
pub trait Parallel {
    /// The results in the order of the items; `None` where a hand came to a sudden end.
    fn share<T: Send, R: Send>(
        &self,
        items: Vec<T>,
        work: impl Fn(T) -> R + Sync,
    ) -> Option<Vec<R>>;
}

/// Judges the boats of one place; what two circuits have in common is computed once.
pub struct Judge<'a> {
    weather: &'a PlaceWeather,
    past: PastSpan,
    catalogue: &'a Catalogue,
    settings: JudgeSettings,
    work: Option<&'a WorkTable>,
    ambients: HashMap<AmbientKey, Ambient>,
    cases: HashMap<CaseKey, Arc<Judged>>,
    /// Latest starts by danger and minutes of work (bits): most boats of a place share a few.
    starts: HashMap<(DateTime<Utc>, u64), DateTime<Utc>>,
}

impl<'a> Judge<'a> {
    /// For one place and one forecast.
    #[must_use]
    pub fn new(
        weather: &'a PlaceWeather,
        catalogue: &'a Catalogue,
        settings: JudgeSettings,
    ) -> Self {
        let (ambients, cases, starts) = (HashMap::new(), HashMap::new(), HashMap::new());
        let past = PastSpan::of(weather);
        Self { weather, past, catalogue, settings, work: None, ambients, cases, starts }
    }

    /// With the yard's own minutes of work by kind of boat; else each circuit takes what it takes alone.
    #[must_use]
    pub const fn with_work(mut self, work: &'a WorkTable) -> Self {
        self.work = Some(work);
        self
    }

    /// Number of distinct cases computed so far.
    #[must_use]
    pub fn distinct_cases(&self) -> usize {
        self.cases.len()
    }

    /// As [`Judge::boat`], for an owner who wants to hear of severe harm from the chance `wish` on.
    ///
    /// # Errors
    /// As [`Judge::boat`].
    pub fn boat_for(
        &mut self,
        (boat, state): (&Boat, &BoatState),
        wish: Option<f64>,
    ) -> Result<Vec<CircuitRisk>, JudgeError> {
        let usual = self.settings.on;
        let [_, _, severe] = &mut self.settings.on;
        *severe = wish.map_or(*severe, |wish| wanted_on(wish, *severe));
        let rows = self.boat(boat, state);
        self.settings.on = usual;
        rows
    }

    /// As [`Judge::boat_for`], for the next `hours` instead of the usual horizon.
    ///
    /// # Errors
    /// As [`Judge::boat`].
    pub fn boat_within(
        &mut self,
        boat: (&Boat, &BoatState),
        wish: Option<f64>,
        hours: usize,
    ) -> Result<Vec<CircuitRisk>, JudgeError> {
        let usual = std::mem::replace(&mut self.settings.horizon_h, hours);
        let rows = self.boat_for(boat, wish);
        self.settings.horizon_h = usual;
        rows
    }

    /// One row for each circuit of the boat that can freeze, in the order of the catalogue.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row: nothing is judged by halves.
    pub fn boat(&mut self, boat: &Boat, state: &BoatState) -> Result<Vec<CircuitRisk>, JudgeError> {
        let mut rows = Vec::with_capacity(state.circuits.len());
        let minutes = self.work.map(|work| work.emergency_by_circuit(boat, state, self.catalogue));
        for (circuit, case) in self.cases_of(state, Power::AsLogged)? {
            let judged = self.judged(&case)?;
            let own = minutes.as_ref().and_then(|minutes| {
                let at = state.circuits.iter().position(|other| std::ptr::eq(other, circuit))?;
                minutes.get(at).copied()
            });
            let own = own.unwrap_or(case.circuit.drain_minutes);
            let mut row = self.row((boat, state, circuit), case.circuit, &judged, own);
            if let Some(fittings) = case.fittings()? {
                let outcome = &self.judged(&fittings)?.outcome;
                row.why.extend(self.fittings_first(&judged.outcome, outcome));
            }
            rows.push(row);
        }
        Ok(rows)
    }

    /// How long each circuit of the boat that may ask a person to act would stay without ice if the power of its heated
    /// place failed now; empty where nothing hangs on power, or where the heat is not on.
    ///
    /// # Errors
    /// [`JudgeError`] where a table lacks a row.
    pub fn if_power_fails(&mut self, state: &BoatState) -> Result<Vec<PowerLoss>, JudgeError> {
        let mut losses = Vec::new();
        for (circuit, case) in self.cases_of(state, Power::FailsNow)? {
            let judged = self.judged(&case)?;
            let consequence = case.circuit.consequence_when(state.afloat);
            losses.push(PowerLoss::of(circuit, consequence, &judged.outcome));
        }
        Ok(losses)
    }

    /// Computes what these boats will need, shared among `hands`; what fails here is told when the boat is judged.
    pub fn prepare<'s>(
        &mut self,
        states: impl Iterator<Item = &'s BoatState>,
        hands: &impl Parallel,
    ) {
        let mut open: HashMap<CaseKey, Case<'a>> = HashMap::new();
        for state in states {
            for power in [Power::AsLogged, Power::FailsNow] {
                let cases = self.cases_of(state, power).unwrap_or_default();
                open.extend(cases.into_iter().map(|(_, case)| (case.key(), case)));
            }
        }
        let weather = self.weather;
        let airs: HashSet<AmbientKey> = open.values().map(|case| case.air).collect();
        let airs = hands.share(airs.into_iter().collect(), |air: AmbientKey| {
            Some((air, Ambient::of(air.0, weather, air.1).ok()?))
        });
        self.ambients.extend(airs.into_iter().flatten().flatten());
        let ambients = &self.ambients;
        let cases = hands.share(open.into_iter().collect(), |(key, case): (CaseKey, Case<'a>)| {
            let ambient = ambients.get(&case.air)?;
            Some((key, Arc::new(judge_case(&case, ambient, weather).ok()?)))
        });
        self.cases.extend(cases.into_iter().flatten().flatten());
    }

    /// The circuits of a boat that can freeze, each with its case; if the power fails, those that hang on it.
    fn cases_of<'s>(
        &self,
        state: &'s BoatState,
        power: Power,
    ) -> Result<Vec<(&'s CircuitState, Case<'a>)>, JudgeError> {
        let heated = self.weather.site.kind == SiteKind::IndoorHeated && self.weather.heat.on();
        let catalogue = self.catalogue;
        let mut cases = Vec::with_capacity(state.circuits.len());
        for circuit in &state.circuits {
            let (Some(kind), Some(liquid)) = (catalogue.circuit(&circuit.circuit), circuit.liquid)
            else {
                continue;
            };
            let asked = match power {
                Power::AsLogged => true,
                Power::FailsNow => {
                    heated && !state.afloat && interrupts(circuit, kind, state.afloat)
                }
            };
            if asked && circuit.holds != Holds::Absent {
                let air = (Whereabouts::of(kind, state), power);
                cases.push((circuit, self.case_of(circuit, (kind, liquid), state, air)?));
            }
        }
        Ok(cases)
    }

    fn case_of(
        &self,
        circuit: &CircuitState,
        (kind, liquid): (&'a CircuitKind, Liquid),
        state: &BoatState,
        air: AmbientKey,
    ) -> Result<Case<'a>, JudgeError> {
        let (content, memory) = Content::of(circuit, (kind, liquid), state, self.past)
            .map_err(|source| JudgeError::Table { circuit: kind.id.to_string(), source })?;
        Ok(Case { circuit: kind, content, air, memory })
    }

    fn judged(&mut self, case: &Case<'a>) -> Result<Arc<Judged>, JudgeError> {
        let circuit = || case.circuit.id.to_string();
        match self.cases.entry(case.key()) {
            Entry::Occupied(known) => Ok(Arc::clone(known.get())),
            Entry::Vacant(place) => {
                let ambient = match self.ambients.entry(case.air) {
                    Entry::Occupied(known) => known.into_mut(),
                    Entry::Vacant(place) => {
                        let ambient = Ambient::of(case.air.0, self.weather, case.air.1)
                            .map_err(|source| JudgeError::Table { circuit: circuit(), source })?;
                        place.insert(ambient)
                    }
                };
                let judged = judge_case(case, ambient, self.weather)?;
                Ok(Arc::clone(place.insert(Arc::new(judged))))
            }
        }
    }

    /// A sentence where the fittings of a tank pass first ice long before the tank does.
    fn fittings_first(&self, tank: &Outcome, fittings: &Outcome) -> Option<String> {
        let hours = self.settings.horizon_h;
        let on = self.settings.threshold(Consequence::Minor);
        let first = fittings.first_hour(Limit::FirstIce, on, hours)?;
        let later = tank.first_hour(Limit::FirstIce, on, hours).is_none_or(|hour| hour > first);
        let last = hours.saturating_sub(1);
        later.then(|| {
            reasons::fittings_first(
                self.weather.at + TimeDelta::hours(i64::try_from(first).unwrap_or(0)),
                fittings.chance_by(Limit::FirstIce, last),
                &self.weather.site,
            )
        })
    }

    fn row(
        &mut self,
        (boat, state, circuit): (&Boat, &BoatState, &CircuitState),
        kind: &CircuitKind,
        judged: &Judged,
        drain_minutes: f64,
    ) -> CircuitRisk {
        let (liquid, outcome) = (&judged.liquid, &judged.outcome);
        let consequence = kind.consequence_when(state.afloat);
        let interrupts = interrupts(circuit, kind, state.afloat);
        let limit = Limit::of(circuit.holds, liquid);
        let hours = self.settings.horizon_h;
        let chance = |limit| outcome.chance_by(limit, hours.saturating_sub(1));
        let threshold = self.settings.threshold(consequence);
        let frozen_now = outcome.past(limit);
        let at = self.weather.at;
        let floods = may_flood(kind, state.afloat) && interrupts;
        let ice = IceSoFar { floods, ..judged.ice_so_far(limit, threshold) };
        let first_danger = if frozen_now {
            Some(at)
        } else {
            danger_hour(outcome, limit, threshold, hours).map(|hour| at + hours_of(hour))
        };
        // Once it has frozen there is nothing to drain: it is looked at and tested, not hurried.
        let minutes = if frozen_now { 0.0 } else { drain_minutes };
        let site = &self.weather.site;
        let latest = first_danger.filter(|_| !frozen_now).map(|danger| {
            *self.starts.entry((danger, minutes.to_bits())).or_insert_with(|| {
                let hours = self.settings.working_hours;
                latest_start(danger, minutes, site.travel_minutes, site, hours)
            })
        });
        let slack = latest.map(|latest| latest - at);
        let priority = match slack {
            _ if !interrupts => Priority::Notice,
            Some(slack) => priority(consequence, slack),
            // Frozen already: nothing to hurry for, but nobody may start the engine or fill the water.
            None if frozen_now => priority_when_frozen(consequence),
            None => Priority::Notice,
        };
        let action = self.catalogue.action(&kind.action).unwrap_or(&kind.action).to_owned();
        CircuitRisk {
            boat: boat.id.clone(),
            site: state.site.clone(),
            circuit: circuit.circuit.clone(),
            instance: circuit.instance.clone(),
            holds: circuit.holds,
            since: circuit.since,
            evidence: circuit.evidence,
            consequence,
            limit,
            limit_at_c: liquid.temperature_at_ice_share(limit.ice_share()).map(Into::into),
            chance_first_ice: chance(Limit::FirstIce),
            chance_slush: chance(Limit::Slush),
            chance_burst: chance(Limit::Burst),
            chance_limit: chance(limit),
            frozen_now,
            ice,
            separated: judged.separated,
            first_danger,
            latest_start: latest,
            slack_s: slack.map(|slack| slack.num_seconds()),
            priority,
            action,
            minutes,
            why: reasons::why(circuit, liquid, judged.separated, &judged.now, site),
        }
    }
}

impl Judged {
    fn ice_so_far(&self, limit: Limit, threshold: f64) -> IceSoFar {
        let frozen = self.outcome.past(limit);
        IceSoFar {
            may_be: !frozen && self.outcome.passed_before(limit) >= threshold,
            thawed: frozen && self.outcome.is_thawed(),
            thaws_at: self.thaws_at.filter(|_| frozen),
            floods: false,
            unknown_before: self.unknown_before,
        }
    }
}

/// Ice at the start from the past hours, then every member through the coming ones.
fn judge_case(
    case: &Case<'_>,
    ambient: &Ambient,
    weather: &PlaceWeather,
) -> Result<Judged, JudgeError> {
    let content = case.content;
    let circuit = || case.circuit.id.to_string();
    let (start, ambient) = content
        .at_the_start(&case.memory, case.air, ambient, weather)
        .map_err(|source| source.of(circuit()))?;
    let first_ice_c = start.liquid.first_ice().value();
    let clear_c = first_ice_c + CLEARLY_ABOVE_K;
    let warm = ambient.coldest_c > clear_c && start.coldest_ever_c() > clear_c;
    let winds = ambient.wind_factors(content.class, weather);
    let outcome = if warm {
        let now_c = start.model.temperature(start.middle_j());
        Outcome::nothing_freezes(now_c, ambient.coming.hours())
    } else {
        through_the_ensemble(&start, &ambient.coming, winds.as_deref())
    };
    let thaws = thaw_hour(&start, &ambient.coming, winds.as_deref()).map(hours_of);
    let unknown_before = unknown_before(&start, first_ice_c, weather);
    Ok(Judged {
        now: reasons::now(&outcome, unknown_before, &weather.site),
        outcome,
        liquid: start.liquid,
        separated: start.separated,
        thaws_at: thaws.map(|span| weather.at + span),
        unknown_before,
    })
}

const fn priority_when_frozen(consequence: Consequence) -> Priority {
    match consequence {
        Consequence::Minor => Priority::Low,
        Consequence::Major | Consequence::Severe => Priority::Medium,
    }
}

/// A liquid as a key: the same bits for the same liquid.
#[must_use]
pub fn liquid_bits(liquid: &Liquid) -> [u64; 2] {
    match *liquid {
        Liquid::FreshWater => [0, 0],
        Liquid::SeaWater { salinity } => [1, salinity.value().to_bits()],
        Liquid::Blend { solute, mass_fraction } => {
            [10 + solute as u64, mass_fraction.value().to_bits()]
        }
        Liquid::BatteryAcid { specific_gravity } => [2, specific_gravity.value().to_bits()],
    }
}
