//! An invented boat, place and people, and a loop that hands decisions back as the next situation.

use chrono::{DateTime, NaiveTime, TimeDelta, TimeZone, Utc};
use rimeward::domain::alert::{
    Advice, Alert, AlertSettings, DecisionInput, Low, Situation, Target, Transition, decide, table,
};
use rimeward::domain::boat::{
    Boat, BoatState, Care, CircuitId, CircuitState, CoolingKind, DrainPermission, Evidence, Holds,
};
use rimeward::domain::risk::{CircuitRisk, Consequence, Limit, Priority};
use rimeward::domain::units::{Celsius, TemperatureScale};
use rimeward::domain::weather::ForecastState;
use rimeward::domain::yard::{Person, Role, Site, SiteKind};

pub fn at(day: u32, hour: u32) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2022, 11, 1, 0, 0, 0).unwrap()
        + TimeDelta::days(i64::from(day) - 1)
        + TimeDelta::hours(i64::from(hour))
}

pub fn site() -> Site {
    Site {
        id: "UPPER".into(),
        name: "Larch Hollow upper lot".into(),
        kind: SiteKind::Outdoor,
        latitude: 44.29,
        longitude: -69.25,
        elevation_m: 85.0,
        terrain: "inland hollow".into(),
        water_kind: "none".into(),
        heat_setpoint: None,
        power_needed: false,
        night_offset_k: -3.0,
        time_zone: chrono_tz::America::New_York,
        soak_hours: None,
        soak_outside: None,
        water_temperature_c: Vec::new(),
        travel_minutes: 25.0,
        duty_phone: Some("207-555-0150".into()),
        notes: String::new(),
        own_nights: None,
    }
}

pub fn person(id: &str, role: Role, name: &str) -> Person {
    let clock = |hour| NaiveTime::from_hms_opt(hour, 0, 0);
    Person {
        id: id.into(),
        name: name.into(),
        role,
        email: Some(format!("{}@example.org", id.to_lowercase())),
        phone: None,
        text_consent: false,
        consent_date: None,
        sites: match role {
            Role::Owner => Vec::new(),
            _ => vec!["UPPER".into()],
        },
        quiet_from: if role == Role::Operator { None } else { clock(21) },
        quiet_to: if role == Role::Operator { None } else { clock(7) },
        escalation_order: None,
        tell_at_chance: None,
        units: TemperatureScale::F,
        charts: false,
    }
}

pub fn people() -> Vec<Person> {
    vec![
        person("P02", Role::Owner, "Tess Drawbridge"),
        person("P51", Role::Manager, "Perry Clothesline"),
        person("P54", Role::Operator, "Sandy Inkstand"),
    ]
}

pub fn boat(id: &str, name: &str) -> Boat {
    Boat {
        id: id.into(),
        name: name.into(),
        kind: "petrol_sterndrive".into(),
        cooling: CoolingKind::Raw,
        fuel: "petrol".into(),
        engines: 1,
        site: "UPPER".into(),
        hull_id: String::new(),
        length_m: None,
        instances: Vec::new(),
        location: "U-3".into(),
        owner: Some("P02".into()),
        care: Care::Yard,
        drain_permission: DrainPermission::Yes,
        keys: String::new(),
        fitted: ["block_raw", "strainer", "pot_lines"].map(CircuitId::from).to_vec(),
        fitting: Default::default(),
        volumes_l: Vec::new(),
        haul_date: None,
        planned_launch: None,
        work_ordered: "engine".into(),
        notes: String::new(),
    }
}

pub fn circuit(name: &str, holds: Holds, since: DateTime<Utc>) -> CircuitState {
    CircuitState {
        circuit: name.into(),
        instance: None,
        holds,
        fitted: Default::default(),
        brimful: false,
        liquid: None,
        litres: 3.0,
        closed_pocket: false,
        read_at: None,
        separated: false,
        first_ice: Some(Celsius::FREEZING),
        slush: None,
        burst: None,
        evidence: Evidence::Recorded,
        since: Some(since),
        because: Vec::new(),
        undone_by: None,
        open_questions: Vec::new(),
    }
}

pub fn row(circuit: &str, consequence: Consequence, chance: f64) -> CircuitRisk {
    CircuitRisk {
        boat: "B02".into(),
        site: "UPPER".into(),
        circuit: circuit.into(),
        instance: None,
        holds: Holds::Fresh,
        since: None,
        evidence: Evidence::Recorded,
        consequence,
        limit: Limit::FirstIce,
        limit_at_c: Some(0.0),
        chance_first_ice: chance,
        chance_slush: chance,
        chance_burst: chance,
        chance_limit: chance,
        frozen_now: false,
        ice: Default::default(),
        separated: false,
        first_danger: None,
        latest_start: None,
        slack_s: None,
        priority: Priority::Medium,
        action: "drain".into(),
        minutes: 20.0,
        why: Vec::new(),
    }
}

/// What was decided, with the advice taken out of its notifications.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decision {
    pub alerts: Vec<Alert>,
    pub transitions: Vec<Transition>,
    pub notifications: Vec<Advice>,
}

impl Decision {
    pub fn of(situation: &Situation, now: DateTime<Utc>) -> Self {
        let actions = decide(DecisionInput::Outlook(situation), now);
        let all: rimeward::domain::alert::Decision = actions.into_iter().collect();
        let notifications =
            all.notifications.iter().flat_map(|one| one.advice()).cloned().collect();
        Self { alerts: all.alerts, transitions: all.transitions, notifications }
    }
}

/// One boat (or one place) with its alerts, and everything that was decided.
pub struct World {
    pub situation: Situation,
    pub alerts: Vec<Alert>,
    pub transitions: Vec<Transition>,
    pub notifications: Vec<Advice>,
}

impl World {
    pub fn boat() -> Self {
        let boat = boat("B02", "Second Biscuit");
        let state = BoatState {
            boat: boat.id.clone(),
            at: at(1, 0),
            known_at: at(1, 0),
            site: "UPPER".into(),
            afloat: false,
            ashore_from: None,
            assumed_ashore: false,
            earlier: Vec::new(),
            covered: false,
            cooling: CoolingKind::Raw,
            cooling_open: false,
            fitting_questions: Vec::new(),
            open_questions: Vec::new(),
            circuits: vec![
                circuit("block_raw", Holds::Fresh, at(1, 0) - TimeDelta::days(90)),
                circuit("strainer", Holds::Fresh, at(1, 0) - TimeDelta::days(90)),
                circuit("pot_lines", Holds::Fresh, at(1, 0) - TimeDelta::days(90)),
            ],
            mitigations: Vec::new(),
            test_before_running: Vec::new(),
        };
        Self::new(Target::Boat { boat: Box::new(boat), state: Box::new(state), rows: Vec::new() })
    }

    pub fn new(target: Target) -> Self {
        let situation = Situation {
            heated: false,
            target,
            site: site(),
            forecast: ForecastState::Fresh,
            service: "nws-gridpoint".into(),
            issued_at: Some(at(1, 0)),
            looked_back_h: 960.0,
            until: at(4, 0),
            low: None,
            open: None,
            known: Vec::new(),
            worklist: None,
            episodes_closed: 0,
            people: people(),
            recent: Vec::new(),
            working_hours: rimeward::domain::risk::timing::WorkingHours::default(),
            settings: AlertSettings::default(),
        };
        Self { situation, alerts: Vec::new(), transitions: Vec::new(), notifications: Vec::new() }
    }

    pub fn set_low(&mut self, median_c: f64, time: DateTime<Utc>) {
        self.situation.low =
            Some(Low { time, median_c, p10_c: median_c - 2.5, p90_c: median_c + 2.5 });
    }

    pub fn set_rows(&mut self, new: Vec<CircuitRisk>) {
        if let Target::Boat { rows, .. } = &mut self.situation.target {
            *rows = new;
        }
    }

    pub fn record(&mut self, name: &str, holds: Holds, since: DateTime<Utc>) {
        if let Target::Boat { state, .. } = &mut self.situation.target {
            for now in &mut state.circuits {
                if now.circuit.as_str() == name {
                    (now.holds, now.since) = (holds, Some(since));
                }
            }
        }
    }

    /// One round: decide on an issue of the same hour, check the decision, keep it as the store would.
    pub fn round(&mut self, now: DateTime<Utc>) -> Decision {
        if self.situation.forecast != ForecastState::Blind {
            self.situation.issued_at = Some(now);
        }
        self.situation.until = now + TimeDelta::hours(72);
        let decision = Decision::of(&self.situation, now);
        assert_eq!(decision, Decision::of(&self.situation, now), "a replay must decide the same");
        for step in &decision.transitions {
            let row = table::row(step.row).expect("a row of the table");
            assert!(row.in_force && row.allows(step.from, step.to), "{step:?} breaks the table");
        }
        for alert in &decision.alerts {
            // Kept as text, as the store keeps it: everything the next decision needs is in the document.
            let text = serde_json::to_string(alert).unwrap();
            let kept: Alert = serde_json::from_str(&text).unwrap();
            self.alerts.retain(|old| old.id != alert.id);
            self.alerts.push(kept);
        }
        self.refresh();
        self.transitions.extend(decision.transitions.iter().cloned());
        self.notifications.extend(decision.notifications.iter().cloned());
        decision
    }

    /// What the store would hand in next time.
    pub fn refresh(&mut self) {
        self.situation.open = self.alerts.iter().find(|alert| alert.closed.is_none()).cloned();
        let closed = self.alerts.iter().filter(|alert| alert.closed.is_some());
        let last = closed.max_by_key(|alert| alert.closed.as_ref().map(|closing| closing.at));
        self.situation.known = last.map(|alert| alert.known.clone()).unwrap_or_default();
        self.situation.episodes_closed =
            u32::try_from(self.alerts.iter().filter(|alert| alert.closed.is_some()).count())
                .unwrap();
    }
}
