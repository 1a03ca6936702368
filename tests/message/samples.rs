//! One letter of every kind, composed from real decisions.

use chrono::{DateTime, TimeDelta, Utc};
use rimeward::domain::alert::{Advice, Low, Standing, Target};
use rimeward::domain::boat::{Boat, BoatState, CircuitId, Holds};
use rimeward::domain::message::{
    CannotSay, Context, CrewLines, Email, MessageKey, Phrases, PlaceLine, RolledUp, Sender,
    Worklist, WorklistBoat, compose, compose_rollup, compose_worklist,
};
use rimeward::domain::risk::{CircuitRisk, Consequence, Limit, Priority};
use rimeward::domain::units::TemperatureScale;
use rimeward::domain::weather::ForecastState;
use rimeward::domain::weather::official::Official;
use rimeward::domain::yard::{Person, Role, Site};

use crate::alert::world::{Decision, World, at, people, row, site};

pub fn sender() -> Sender {
    Sender {
        desk: "Larch Hollow freeze desk".into(),
        address: "freeze@larch.example.org".into(),
        replies: true,
        domain: "larch.example.org".into(),
        list_domain: Some("larch.example.org".into()),
        unsubscribe: Some("leave@larch.example.org".into()),
    }
}

pub fn label(circuit: &CircuitId) -> String {
    match circuit.as_str() {
        "block_raw" => "engine block",
        "strainer" => "sea strainer",
        "pot_lines" => "drinking-water lines",
        "closed_loop" => "closed cooling loop",
        other => return other.replace('_', " "),
    }
    .to_owned()
}

/// A boat over its thresholds, `slack` from its latest start.
pub fn cold_rows(start: DateTime<Utc>, now: DateTime<Utc>, priority: Priority) -> Vec<CircuitRisk> {
    let mut rows = vec![
        row("block_raw", Consequence::Severe, 0.68),
        row("strainer", Consequence::Major, 0.82),
        row("pot_lines", Consequence::Minor, 0.2),
    ];
    rows[1].holds = Holds::Unknown;
    for row in &mut rows {
        row.priority = priority;
        row.latest_start = Some(start);
        row.first_danger = Some(start + TimeDelta::hours(6));
        row.slack_s = Some((start - now).num_seconds());
    }
    rows
}

pub struct Sample {
    pub name: String,
    pub letter: Email,
}

/// Composes what was decided for `person`.
pub fn letter(decision: &Decision, person: &str, world: &World, scale: TemperatureScale) -> Email {
    let notification = notification(decision, person);
    let phrases = Phrases::built_in().unwrap();
    let key = MessageKey::new(&[7; 32]);
    let mut person =
        world.situation.people.iter().find(|p| p.id.as_str() == person).unwrap().clone();
    person.units = scale;
    let sender = sender();
    let context = Context {
        phrases: &phrases,
        sender: &sender,
        key: &key,
        person: &person,
        site: &world.situation.site,
        label: &label,
        date: notification.facts.at,
        picture: None,
    };
    let boat = match &world.situation.target {
        Target::Boat { boat, state, .. } => Some((&**boat, &**state)),
        Target::Site { .. } => None,
    };
    compose(notification, boat, &context).unwrap()
}

pub fn notification<'a>(decision: &'a Decision, person: &str) -> &'a Advice {
    decision
        .notifications
        .iter()
        .find(|notification| notification.recipient.as_str() == person)
        .unwrap()
}

/// A boat that is raised, becomes worse, and ends as `name` says.
pub fn life(end: &str, change: impl Fn(&mut World)) -> Vec<Sample> {
    let mut world = World::boat();
    world.situation.settings.manager_from = Priority::Low;
    world.situation.settings.update_gap_h = 0.0;
    world.situation.settings.last_call_h = 0.0;
    world.situation.settings.off_delay_h = 12.0;
    change(&mut world);
    let mut out = Vec::new();
    let mut keep = |name: &str, decision: &Decision, world: &World| {
        let name = format!("{end}_{name}");
        out.push(Sample {
            letter: letter(decision, "P02", world, TemperatureScale::F),
            name: name.clone(),
        });
        out.push(Sample {
            letter: letter(decision, "P51", world, TemperatureScale::C),
            name: format!("{name}_manager"),
        });
    };
    let now = at(17, 13);
    let start = at(18, 19);
    if let Target::Boat { rows, .. } = &world.situation.target
        && rows.is_empty()
    {
        world.set_rows(cold_rows(start, now, Priority::Medium));
    }
    world.set_low(-6.2, at(19, 11));
    world.round(now - TimeDelta::hours(6));
    let raised = world.round(now);
    keep("raise", &raised, &world);
    if let Target::Boat { rows, .. } = &mut world.situation.target {
        for row in rows {
            row.priority = Priority::High;
            row.chance_limit = (row.chance_limit + 0.25).min(0.97);
            row.latest_start = row.latest_start.map(|start| start - TimeDelta::hours(7));
        }
    }
    world.set_low(-9.6, at(19, 5));
    let update = world.round(now + TimeDelta::hours(5));
    keep("update", &update, &world);
    if end.starts_with("done") {
        for circuit in ["block_raw", "strainer", "pot_lines"] {
            if end == "done_partly" && circuit == "pot_lines" {
                continue;
            }
            world.record(circuit, Holds::Drained, at(18, 14));
        }
        if let Target::Boat { rows, .. } = &mut world.situation.target {
            rows.retain(|row| end == "done_partly" && row.circuit.as_str() == "pot_lines");
            rows.iter_mut().for_each(|row| row.chance_limit = 0.2);
        }
        let closed = world.round(at(18, 15));
        keep("close", &closed, &world);
    } else if end == "passed" {
        let mut rows = cold_rows(at(18, 19), now, Priority::Medium);
        for row in &mut rows {
            (row.frozen_now, row.latest_start, row.chance_limit) = (true, None, 1.0);
        }
        world.set_rows(rows);
        world.round(at(19, 12));
        let closed = world.round(at(20, 13));
        keep("close", &closed, &world);
    } else {
        let mut rows = cold_rows(at(28, 0), now, Priority::Low);
        rows.iter_mut().for_each(|row| row.chance_limit = 0.01);
        world.set_rows(rows);
        for hour in [0, 6, 12, 18] {
            world.set_low(3.0, at(24, 11));
            let decision = world.round(at(21, hour));
            if !decision.notifications.is_empty() {
                keep("close", &decision, &world);
            }
        }
    }
    out
}

/// Only small parts are over their threshold.
pub fn mild(world: &mut World) {
    let mut rows = cold_rows(at(18, 19), at(17, 13), Priority::Low);
    rows.retain(|row| row.consequence != Consequence::Severe);
    world.set_rows(rows);
}

/// The drinking water is named as near its threshold, never over it.
pub fn partly(world: &mut World) {
    let mut rows = cold_rows(at(18, 19), at(17, 13), Priority::Medium);
    rows[2].chance_limit = 0.0;
    rows[2].priority = Priority::Notice;
    let mut near = rows[2].clone();
    near.priority = Priority::Low;
    near.chance_limit = 0.02;
    world.set_rows(vec![rows[0].clone(), rows[1].clone(), near]);
}

pub fn blend(world: &mut World) {
    let mut rows = vec![row("closed_loop", Consequence::Severe, 0.55)];
    rows[0].holds = Holds::Blend;
    rows[0].limit = Limit::Burst;
    rows[0].latest_start = Some(at(18, 19));
    rows[0].first_danger = Some(at(19, 3));
    rows[0].minutes = 90.0;
    world.set_rows(rows);
    if let Target::Boat { boat, state, .. } = &mut world.situation.target {
        boat.fuel = "diesel".into();
        state.covered = true;
        boat.care = rimeward::domain::boat::Care::Owner;
    }
}

pub fn late(world: &mut World) {
    world.set_rows(cold_rows(at(17, 5), at(17, 13), Priority::High));
}

pub fn frozen(world: &mut World) {
    let mut rows = cold_rows(at(17, 5), at(17, 13), Priority::High);
    rows.truncate(1);
    rows[0].frozen_now = true;
    rows[0].latest_start = None;
    world.set_rows(rows);
    if let Target::Boat { state, .. } = &mut world.situation.target {
        state.afloat = true;
    }
}

/// At home, without a yard.
pub fn home(world: &mut World) {
    world.set_rows(cold_rows(at(18, 19), at(17, 13), Priority::Medium));
    world.situation.site.duty_phone = None;
    world.situation.site.name = "Owner driveway".into();
    world.situation.people.truncate(1);
    if let Target::Boat { boat, .. } = &mut world.situation.target {
        boat.care = rimeward::domain::boat::Care::Owner;
        boat.drain_permission = rimeward::domain::boat::DrainPermission::NotApplicable;
    }
}

/// The first letter of a life that begins as `change` leaves it.
pub fn first(name: &str, change: impl Fn(&mut World)) -> Sample {
    let mut world = World::boat();
    change(&mut world);
    world.set_low(-6.2, at(19, 11));
    world.round(at(17, 7));
    let mut decision = world.round(at(17, 13));
    if decision.notifications.is_empty() {
        let mut again = World::boat();
        change(&mut again);
        again.set_low(-6.2, at(19, 11));
        decision = again.round(at(17, 13));
        world = again;
    }
    Sample { name: name.into(), letter: letter(&decision, "P02", &world, TemperatureScale::F) }
}

pub fn blind() -> Vec<Sample> {
    let mut boat = World::boat();
    boat.set_rows(cold_rows(at(18, 19), at(17, 13), Priority::High));
    boat.set_low(-6.2, at(19, 11));
    boat.round(at(17, 7));
    boat.round(at(17, 13));
    let told = boat.alerts[0].told.iter().map(|(person, ledger)| Standing {
        person: person.clone(),
        boat: "B02".into(),
        boat_name: "Second Biscuit".into(),
        told: ledger.last.clone(),
    });
    let mut world = World::new(Target::Site { standing: told.collect() });
    world.situation.forecast = ForecastState::Blind;
    let raised = world.round(at(18, 14));
    let mut out = Vec::new();
    for (person, name) in [("P02", "owner"), ("P51", "manager"), ("P54", "operator")] {
        out.push(Sample {
            name: format!("blind_raise_{name}"),
            letter: letter(&raised, person, &world, TemperatureScale::F),
        });
    }
    world.situation.forecast = ForecastState::Fresh;
    let closed = world.round(at(18, 20));
    out.push(Sample {
        name: "blind_close".into(),
        letter: letter(&closed, "P02", &world, TemperatureScale::F),
    });
    out
}

/// Boats of an invented yard with a telling for the manager each.
pub struct Fleet {
    pub people: Vec<Person>,
    pub boats: Vec<(Boat, BoatState, Site, Vec<Advice>)>,
}

pub fn fleet(count: u32) -> Fleet {
    let names = ["Second Biscuit", "Tin Whistle", "Corduroy", "Harbor Mouse", "Applecart"];
    let mut boats = Vec::new();
    for index in 0..count {
        let mut world = World::boat();
        let now = at(17, 13);
        let hours = i64::from(index % 7);
        world.set_rows(cold_rows(at(18, 12) + TimeDelta::hours(hours), now, Priority::Medium));
        world.set_low(-6.2 - f64::from(index % 2), at(19, 11));
        if index % 2 == 1 {
            world.situation.site.id = "QUAY".into();
            world.situation.site.name = "Larch Cove shore rows".into();
        }
        let id = format!("B{index:03}");
        if let Target::Boat { boat, rows, state } = &mut world.situation.target {
            boat.id = id.as_str().into();
            boat.name = names[usize::try_from(index).unwrap() % names.len()].into();
            boat.location = format!("U-{index}");
            boat.owner = Some(format!("O{index:03}").as_str().into());
            state.boat = boat.id.clone();
            state.site = world.situation.site.id.clone();
            rows.iter_mut().for_each(|row| row.boat = boat.id.clone());
        }
        let owner = format!("O{index:03}");
        world.situation.people[0].id = owner.as_str().into();
        world.situation.people[1].sites = vec!["UPPER".into(), "QUAY".into()];
        world.round(now - TimeDelta::hours(6));
        let decision = world.round(now);
        if let Target::Boat { boat, state, .. } = world.situation.target {
            boats.push((*boat, *state, world.situation.site, decision.notifications));
        }
    }
    Fleet { people: people(), boats }
}

impl Fleet {
    pub fn rollup(&self, phrases: &Phrases) -> Email {
        let items: Vec<RolledUp<'_>> = self
            .boats
            .iter()
            .flat_map(|(boat, state, site, notifications)| {
                notifications.iter().filter(|notification| notification.rollup.is_some()).map(
                    move |notification| RolledUp {
                        advice: notification,
                        boat: Some((boat, state)),
                        site,
                    },
                )
            })
            .collect();
        self.with_context(phrases, |context| compose_rollup(&items, context).unwrap())
    }

    pub fn with_context(&self, phrases: &Phrases, write: impl Fn(&Context<'_>) -> Email) -> Email {
        let (key, sender, site) = (MessageKey::new(&[7; 32]), sender(), site());
        let manager = self.people.iter().find(|person| person.role == Role::Manager).unwrap();
        write(&Context {
            phrases,
            sender: &sender,
            key: &key,
            person: manager,
            site: &site,
            label: &label,
            date: at(17, 13),
            picture: None,
        })
    }

    pub fn worklist(&self, phrases: &Phrases) -> Email {
        let low = Low { time: at(19, 11), median_c: -6.2, p10_c: -8.4, p90_c: -3.1 };
        let rows = cold_rows(at(18, 19), at(17, 11), Priority::Medium);
        let upper = site();
        let mut dock = site();
        dock.name = "Larch Wharf".into();
        let boats: Vec<WorklistBoat<'_>> = self
            .boats
            .iter()
            .map(|(boat, state, site, _)| WorklistBoat {
                boat,
                state,
                site,
                rows: &rows,
                remark: "owner told Wed 08:00",
            })
            .collect();
        let notice = Official {
            event: "Extreme Cold Warning".into(),
            office: "an office of the service".into(),
            onset: at(18, 5),
            ends: at(18, 14),
        };
        let places = [
            PlaceLine {
                site: &upper,
                low: Some(&low),
                issued_at: Some(at(16, 22)),
                forecast: ForecastState::Degraded,
                service: "nws-gridpoint+met-norway",
                measured: None,
                snow: Some((12.2, at(18, 12))),
                official: vec![(notice, true)],
            },
            PlaceLine {
                site: &dock,
                low: None,
                issued_at: None,
                forecast: ForecastState::Blind,
                service: "",
                measured: None,
                snow: Some((3.0, at(18, 12))),
                official: Vec::new(),
            },
        ];
        let cannot_say = [CannotSay {
            what: "Larch Wharf, 2 boats".into(),
            why: "no usable forecast since Wed 16 Nov 07:00".into(),
        }];
        let crew = CrewLines {
            subject: "drain 2 boats today, 35 min".to_owned(),
            headline: "Start by Fri 18 Nov at the latest: 24 h 30 min of complete lay-ups are bound by Sat 19 Nov (31 h open on 12 boats in all).".into(),
            round: vec![
                "08:20 QUAY Row B-2: B04 Second Biscuit, 20 min (ask the owner first): drain engine block".into(),
            ],
            round_work: "1 boat, 20 min".into(),
            cart: "3.0 L propylene glycol -50F".into(),
            order: "12.0 L propylene glycol -100F".into(),
            outside: vec!["refrigeration: QUAY Row B-4: B05 Marzipan, air conditioner, 15 min".into()],
            today: vec!["QUAY Row B-4: B05 Marzipan, 1 h 20 min".into()],
        };
        let worklist = Worklist {
            at: at(17, 11),
            until: at(20, 11),
            places: &places,
            boats: &boats,
            cannot_say: &cannot_say,
            over: &[],
            held: &[],
            plan: Some(&crew),
            log_head: Some("f3a9c1d2e4b5a697"),
        };
        self.with_context(phrases, |context| compose_worklist(&worklist, context).unwrap())
    }
}

/// One of every kind.
pub fn all() -> Vec<Sample> {
    let mut out = life("returned", |_| {});
    out.extend(life("done", |_| {}));
    out.extend(life("done_partly", partly));
    out.extend(life("passed", |_| {}));
    for (name, change) in [
        ("mild_raise", mild as fn(&mut World)),
        ("blend_raise", blend),
        ("late_raise", late),
        ("frozen_raise", frozen),
        ("home_raise", home),
    ] {
        out.push(first(name, change));
    }
    out.extend(blind());
    let phrases = Phrases::built_in().unwrap();
    let fleet = fleet(7);
    out.push(Sample { name: "rollup".into(), letter: fleet.rollup(&phrases) });
    out.push(Sample { name: "worklist".into(), letter: fleet.worklist(&phrases) });
    out
}
