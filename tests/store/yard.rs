//! Places, people, boats.

use rimeward::adapters::sqlite::Store;
use rimeward::app::ports::*;
use rimeward::domain::boat::{Boat, Care, CoolingKind, DrainPermission};
use rimeward::domain::units::TemperatureScale;
use rimeward::domain::yard::{Person, Role, Site, SiteKind};

fn boat(id: &str) -> Boat {
    Boat {
        id: id.into(),
        name: "Paper Kite".to_owned(),
        kind: "outboard_runabout".to_owned(),
        cooling: CoolingKind::RawOutboard,
        fuel: "petrol".to_owned(),
        engines: 1,
        site: "QUAY".into(),
        hull_id: String::new(),
        length_m: None,
        instances: Vec::new(),
        location: "Row A".to_owned(),
        owner: Some("P01".into()),
        care: Care::Owner,
        drain_permission: DrainPermission::NotApplicable,
        keys: String::new(),
        fitted: vec!["ob_cool".into()],
        fitting: Default::default(),
        volumes_l: vec![("ob_cool".into(), 2.0)],
        haul_date: None,
        planned_launch: None,
        work_ordered: String::new(),
        notes: "DIY".to_owned(),
    }
}

fn site() -> Site {
    Site {
        id: "QUAY".into(),
        name: "Shore rows".to_owned(),
        kind: SiteKind::Outdoor,
        latitude: 44.19,
        longitude: -69.07,
        elevation_m: 4.0,
        terrain: "shore".to_owned(),
        water_kind: "sea".to_owned(),
        heat_setpoint: None,
        power_needed: false,
        night_offset_k: 0.0,
        time_zone: chrono_tz::America::New_York,
        soak_hours: None,
        soak_outside: None,
        water_temperature_c: Vec::new(),
        travel_minutes: 0.0,
        duty_phone: None,
        notes: String::new(),
        own_nights: None,
    }
}

fn person() -> Person {
    Person {
        id: "P01".into(),
        name: "Zoë Ångström".to_owned(),
        role: Role::Owner,
        email: Some("zoe@example.org".to_owned()),
        phone: None,
        text_consent: false,
        consent_date: None,
        sites: Vec::new(),
        quiet_from: chrono::NaiveTime::from_hms_opt(21, 0, 0),
        quiet_to: chrono::NaiveTime::from_hms_opt(7, 0, 0),
        escalation_order: None,
        tell_at_chance: Some(0.1),
        units: TemperatureScale::F,
        charts: false,
    }
}

#[test]
fn putting_the_yard_counts_what_it_changed() {
    let store = Store::open_in_memory().unwrap();
    let counts = store.put_yard(&[site()], &[person()], &[boat("B02"), boat("B01")]).unwrap();
    assert_eq!(counts, YardCounts { added: 4, changed: 0, unchanged: 0 });
    let mut moved = boat("B01");
    moved.site = "UPPER".into();
    let counts = store.put_yard(&[site()], &[person()], &[moved.clone(), boat("B02")]).unwrap();
    assert_eq!(counts, YardCounts { added: 0, changed: 1, unchanged: 3 });
    assert_eq!(store.boats().unwrap(), [moved.clone(), boat("B02")]);
    assert_eq!(store.boat(&"B01".into()).unwrap(), Some(moved));
    assert_eq!(store.boat(&"B77".into()).unwrap(), None);
    assert_eq!(store.sites().unwrap(), [site()]);
    assert_eq!(store.people().unwrap(), [person()]);
}
