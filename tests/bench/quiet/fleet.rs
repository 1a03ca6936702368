//! A fleet drawn from the fit-outs: most laid up well, some with a forgotten circuit, a thin blend, late, or undone.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use rimeward::adapters::intake::{Known, csv};
use rimeward::domain::boat::LayupEvent;
use rimeward::domain::catalogue::Catalogue;

use rimeward::sim::replay::play::Fleet;

const SITES: &str = "site_id,site_name,kind,latitude,longitude,elevation_m,terrain,water_kind,heat_setpoint_c,power_needed,night_offset_c,time_zone,soak_hours,soak_outside_c,water_temperature_c,travel_minutes,duty_phone,notes
LOT,Replay lot,outdoor,44.2,-69.1,10,inland,none,,no,0.0,Etc/GMT+5,,,,10,207-555-0150,
";
const EVENT_HEAD: &str = "event_id,recorded_at,happened_at,time_precision,boat_id,site_id,event,circuits,point,fluid,label,method,minutes,probed,who,role,evidence,reading_value,reading_unit,scale\n";

/// Draws `count` boats for the winter that begins in `year`.
pub fn draw(count: usize, year: i32, seed: u64) -> Result<Fleet, String> {
    let catalogue = Catalogue::built_in().map_err(|error| error.to_string())?;
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut below = move |n: usize| {
        usize::try_from(rng.next_u64() % u64::try_from(n.max(1)).unwrap_or(1)).unwrap_or(0)
    };
    let mut people = String::from(
        "person_id,name,role,email,phone,text_consent,consent_date,sites,quiet_from,quiet_to,escalation_order,tell_at_chance,units\nM,Manager,manager,m@example.org,,no,,LOT,21:00,05:30,1,,F\n",
    );
    let mut boats = String::from(
        "boat_id,boat_name,boat_type,loa_m,hull_id,engine_count,fuel,cooling_kind,site_id,location_in_site,owner_id,drain_permission,circuits_fitted,care\n",
    );
    let mut events = String::from(EVENT_HEAD);
    for number in 0..count {
        let fitouts = catalogue.fitouts();
        let Some(fitout) = fitouts.get(below(fitouts.len())) else { continue };
        let mut fitted: Vec<String> = fitout.always().map(|id| id.to_string()).collect();
        fitted.extend(fitout.often().filter(|_| below(2) == 0).map(|id| id.to_string()));
        let (boat, owner) = (format!("R{number:03}"), format!("O{number:03}"));
        let _ = writeln!(
            people,
            "{owner},Owner {number},owner,o{number}@example.org,,no,,,21:00,07:00,,,F"
        );
        let cooling = serde_json::to_value(fitout.cooling).ok();
        let cooling = cooling.as_ref().and_then(|c| c.as_str()).unwrap_or("raw");
        let _ = writeln!(
            boats,
            "{boat},Replay {number},{},7.0,,1,{},{cooling},LOT,row {number},{owner},yes,{},owner",
            fitout.kind,
            fitout.fuel,
            fitted.join(";")
        );
        let story = below(100);
        // 60 of 100 laid up well by early October to early November, 15 forgot one or two, 10 thin blend, 10 late, 5 undone.
        let day = if (75..85).contains(&story) { 51 + below(20) } else { 1 + below(35) };
        if (60..75).contains(&story) {
            for _ in 0..=below(2) {
                let gone = below(fitted.len());
                if gone < fitted.len() {
                    fitted.remove(gone);
                }
            }
        }
        lay_up(&mut events, &catalogue, &boat, &fitted, (year, day), (85..95).contains(&story));
        if story >= 95 {
            event(
                &mut events,
                &boat,
                "engine_run",
                "",
                (year, 45),
                ",,,hose,,,O,owner,recorded,,,",
            );
        }
    }
    let sites = csv::sites(SITES.as_bytes(), "sites").map_err(|e| e.to_string())?.rows;
    let people = csv::people(people.as_bytes(), "people").map_err(|e| e.to_string())?.rows;
    let known = Known::catalogue(&catalogue).with_sites(&sites);
    let boats = csv::boats(boats.as_bytes(), "boats", &known).map_err(|e| e.to_string())?.rows;
    let known = known.with_boats(&boats);
    let log = csv::events(events.as_bytes(), "events", &known).map_err(|e| e.to_string())?.rows;
    let own = |boat: &rimeward::domain::boat::Boat| -> Vec<LayupEvent> {
        log.iter().filter(|event| event.boat.as_ref() == Some(&boat.id)).cloned().collect()
    };
    let boats = boats.iter().map(|boat| (boat.clone(), own(boat))).collect();
    let sites: BTreeMap<_, _> = sites.into_iter().map(|site| (site.id.clone(), site)).collect();
    Ok(Fleet { sites, people, boats })
}

/// The whole lay-up in a day: everything drained and probed, the loop tested, oil changed, battery ashore; or, instead of
/// draining, antifreeze over what was left inside.
fn lay_up(
    out: &mut String,
    catalogue: &Catalogue,
    boat: &str,
    fitted: &[String],
    when: (i32, usize),
    blend: bool,
) {
    let raw = |name: &&String| {
        let id = rimeward::domain::boat::CircuitId::from(name.as_str());
        let group = catalogue.group(&"ENGINE_RAW".into());
        group.zip(catalogue.place_of(&id)).is_some_and(|(group, place)| group.contains(place))
    };
    let apart = ["closed_loop", "gen_loop", "engine_coil", "hydronic", "gearcase", "battery"];
    let wet: Vec<&str> = fitted
        .iter()
        .filter(|name| !(apart.contains(&name.as_str()) || blend && raw(name)))
        .map(String::as_str)
        .collect();
    event(out, boat, "drained", &wet.join(";"), when, ",,,,15,yes,Yard,technician,probed,,,");
    if blend {
        event(
            out,
            boat,
            "blend_flush",
            "",
            when,
            ",PG,-50F,run_warm,,,Yard,technician,recorded,,,",
        );
    }
    for name in fitted {
        match name.as_str() {
            loops @ ("closed_loop" | "gen_loop" | "engine_coil" | "hydronic") => {
                event(
                    out,
                    boat,
                    "loop_tested",
                    loops,
                    when,
                    ",EG,,,,,Yard,technician,measured,-37,C,EG",
                );
            }
            "gearcase" => {
                event(
                    out,
                    boat,
                    "gear_oil_changed",
                    name,
                    when,
                    ",,,clear,,,Yard,technician,recorded,,,",
                );
            }
            "battery" => {
                event(
                    out,
                    boat,
                    "battery_removed",
                    name,
                    when,
                    ",,,,,,Yard,technician,recorded,,,",
                );
            }
            _ => {}
        }
    }
}

/// Day 1 is 1 October.
fn event(out: &mut String, boat: &str, kind: &str, circuits: &str, when: (i32, usize), rest: &str) {
    let number = out.lines().count();
    let date = chrono::NaiveDate::from_ymd_opt(when.0, 10, 1).unwrap_or_default()
        + chrono::Days::new(u64::try_from(when.1).unwrap_or(1) - 1);
    let _ = writeln!(
        out,
        "X{number:05},{date}T17:30:00-05:00,{date}T10:00:00-05:00,minute,{boat},,{kind},{circuits},{rest}"
    );
}
