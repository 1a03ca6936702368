//! Boats and entries for one rule at a time.

use chrono::{DateTime, FixedOffset, Utc};
use rimeward::domain::boat::{
    Boat, BoatState, Care, CircuitState, CoolingKind, DrainPermission, Evidence, LayupEvent,
    PlaceFacts, Places, Precision, SiteId, fold,
};
use rimeward::domain::catalogue::{Catalogue, Holds};
use rimeward::domain::season::Hemisphere;

/// An entry of boat `B` in autumn 2022, local time of the US east coast.
pub fn event(id: &str, happened: &str, kind: &str) -> Entry {
    let blank = LayupEvent::blank(id.into(), kind.to_owned(), when(happened), Evidence::Recorded);
    Entry(LayupEvent { boat: Some("B".into()), ..blank })
}

fn when(text: &str) -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339(&format!("{text}:00-05:00")).unwrap()
}

/// An entry that is still being filled in.
#[derive(Clone)]
pub struct Entry(pub LayupEvent);

impl Entry {
    pub fn on(mut self, circuits: &str) -> Self {
        self.0.circuits = circuits.split(';').map(Into::into).collect();
        self
    }
    pub fn known(mut self, recorded: &str) -> Self {
        self.0.recorded_at = when(recorded).with_timezone(&Utc);
        self
    }
    pub fn day(mut self) -> Self {
        self.0.precision = Precision::Day;
        self
    }
    pub fn at(mut self, site: &str) -> Self {
        self.0.site = Some(site.into());
        self
    }
    pub fn graded(mut self, evidence: Evidence) -> Self {
        self.0.evidence = evidence;
        self
    }
    pub fn method(mut self, method: &str) -> Self {
        self.0.method = Some(method.to_owned());
        self
    }
    pub fn point(mut self, point: &str) -> Self {
        self.0.point = Some(point.to_owned());
        self
    }
    pub fn instance(mut self, instance: &str) -> Self {
        self.0.instance = Some(instance.to_owned());
        self
    }
    pub fn sheet(mut self, sheet: &str) -> Self {
        self.0.sheet = Some(sheet.to_owned());
        self
    }
    pub fn corrects(mut self, id: &str) -> Self {
        self.0.corrects = Some(id.into());
        self
    }
    pub fn minutes(mut self, minutes: f64) -> Self {
        self.0.minutes = Some(minutes);
        self
    }
    pub fn volts(mut self, volts: f64) -> Self {
        self.0.volts = Some(volts);
        self
    }
    pub fn litres_out(mut self, litres: f64) -> Self {
        self.0.litres_out = Some(litres);
        self
    }
    pub fn probed(mut self) -> Self {
        self.0.probed = Some(true);
        self.graded(Evidence::Probed)
    }
    /// Antifreeze by fluid and label.
    pub fn jug(mut self, fluid: &str, label: &str) -> Self {
        self.0.fluid = Some(fluid.to_owned());
        self.0.label = Some(label.to_owned());
        self
    }
    /// A reading in C on a scale, at a point, graded measured.
    pub fn read(mut self, fluid: &str, value_c: f64, scale: &str, point: &str) -> Self {
        self.0.fluid = Some(fluid.to_owned());
        self.0.reading_value = Some(value_c);
        self.0.reading_unit = Some("C".to_owned());
        self.0.scale = (!scale.is_empty()).then(|| scale.to_owned());
        self.0.point = (!point.is_empty()).then(|| point.to_owned());
        self.graded(Evidence::Measured)
    }
}

/// A boat `B` at the place `YARD`, with these circuits.
pub fn boat(cooling: CoolingKind, engines: u8, fitted: &str) -> Boat {
    let mut instances = Vec::new();
    let mut circuits = Vec::new();
    for part in fitted.split(';') {
        let (circuit, instance) = part.split_once('#').unwrap_or((part, ""));
        if !circuits.contains(&circuit.into()) {
            circuits.push(circuit.into());
        }
        if !instance.is_empty() {
            instances.push((circuit.into(), instance.to_owned()));
        }
    }
    Boat {
        id: "B".into(),
        name: "Test Case".to_owned(),
        kind: "petrol_sterndrive".to_owned(),
        cooling,
        fuel: "petrol".to_owned(),
        engines,
        site: "YARD".into(),
        hull_id: String::new(),
        length_m: None,
        location: String::new(),
        owner: None,
        care: Care::Yard,
        drain_permission: DrainPermission::Yes,
        keys: String::new(),
        fitted: circuits,
        fitting: Default::default(),
        instances,
        volumes_l: Vec::new(),
        haul_date: None,
        planned_launch: None,
        work_ordered: String::new(),
        notes: String::new(),
    }
}

/// A raw-cooled V8 with a sterndrive, a seacock and a battery.
pub fn sterndrive() -> Boat {
    boat(
        CoolingKind::Raw,
        1,
        "block_raw;manifold_raw;intake_hose;raw_pump;coolers_raw;drive_water;seacock;gearcase;bilge;\
         scuppers;hull_void;battery;heater_core",
    )
}

/// The places of the tests: a yard by the sea, a yard in the south, a berth.
pub struct World;

impl Places for World {
    fn place(&self, site: &SiteId) -> Option<PlaceFacts> {
        Some(PlaceFacts {
            water: Holds::Sea,
            afloat: site.as_str() == "BERTH",
            hemisphere: Hemisphere::of_latitude(if site.as_str() == "SOUTH" {
                -42.9
            } else {
                43.7
            }),
            time_zone: chrono_tz::America::New_York,
        })
    }
}

/// What the log leaves, at a time and as known at another.
pub struct Folded(pub BoatState);

pub fn folded(boat: &Boat, entries: &[Entry], at: &str, known_at: &str) -> Folded {
    let catalogue = Catalogue::built_in().unwrap();
    let events: Vec<LayupEvent> = entries.iter().map(|entry| entry.0.clone()).collect();
    let time = |text| when(text).with_timezone(&Utc);
    Folded(fold(boat, &World, &events, time(at), time(known_at), &catalogue))
}

/// As [`folded`], at the end of the year with everything known.
pub fn at_new_year(boat: &Boat, entries: &[Entry]) -> Folded {
    folded(boat, entries, "2022-12-31T12:00", "2023-12-31T12:00")
}

impl Folded {
    pub fn all(&self, circuit: &str) -> Vec<&CircuitState> {
        self.0.circuits.iter().filter(|state| state.circuit.as_str() == circuit).collect()
    }

    pub fn one(&self, circuit: &str) -> &CircuitState {
        let all = self.all(circuit);
        assert_eq!(all.len(), 1, "{circuit}");
        all[0]
    }

    pub fn instance(&self, circuit: &str, instance: &str) -> &CircuitState {
        self.all(circuit)
            .into_iter()
            .find(|state| state.instance.as_deref() == Some(instance))
            .unwrap_or_else(|| panic!("{circuit} has no {instance}: {:?}", self.all(circuit)))
    }

    /// What it holds, on what evidence, and its first ice.
    pub fn brief(&self, circuit: &str) -> (Holds, Evidence, Option<f64>) {
        brief(self.one(circuit))
    }
}

pub fn brief(state: &CircuitState) -> (Holds, Evidence, Option<f64>) {
    (state.holds, state.evidence, state.first_ice.map(f64::from))
}
