//! The liquids against two published libraries, run in Python: CoolProp (Melinder 2010) and gsw (TEOS-10).
//!
//! Where Python or one of them is missing the test says so and ends; with `RIMEWARD_PEERS=required` it fails instead.
//! `RIMEWARD_PYTHON` names the interpreter.

use std::collections::BTreeMap;
use std::process::Command;

use rimeward::domain::physics::{Solute, sea};

fn peer_values() -> Option<String> {
    let python = std::env::var_os("RIMEWARD_PYTHON").unwrap_or_else(|| "python3".into());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/peers/liquids.py");
    let reason = match Command::new(&python).arg(script).output() {
        Ok(output) if output.status.success() => {
            return Some(String::from_utf8(output.stdout).unwrap());
        }
        Ok(output) => {
            let talk = String::from_utf8_lossy(&output.stderr).into_owned();
            talk.lines().last().unwrap_or_default().to_owned()
        }
        Err(error) => error.to_string(),
    };
    let required = std::env::var_os("RIMEWARD_PEERS").is_some_and(|value| value == "required");
    assert!(!required, "the peers could not be run: {reason}");
    println!("not compared with CoolProp and gsw, which could not be run: {reason}");
    None
}

#[test]
fn the_liquids_are_those_of_coolprop_and_gsw() {
    let Some(values) = peer_values() else { return };
    let mut largest: BTreeMap<String, (f64, f64)> = BTreeMap::new();
    let mut compared = 0;
    for line in values.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let (name, x, theirs): (&str, f64, f64) =
            (words[0], words[1].parse().unwrap(), words[2].parse().unwrap());
        let (apart, allowed) = match name {
            "sea-water" => (sea::first_ice_c(x) - theirs, 0.004),
            // Ice share at salinity 35.
            "brine" if x > -1.93 => continue,
            "brine" => (35.0 / theirs - 35.0 / sea::brine_salinity_at_c(x).unwrap(), 0.005),
            _ => {
                let solute = Solute::parse(name).unwrap();
                let apart = solute.first_ice_c(x) - theirs;
                // The service pins plain water to 0 C; of ethylene glycol it follows the warmer ASHRAE table.
                let own_table = solute == Solute::EthyleneGlycol;
                (apart, if own_table { solute.spread_k(x) } else { 0.05 })
            }
        };
        assert!(apart.abs() <= allowed, "{name} {x}: apart by {apart}, allowed {allowed}");
        let worst = largest.entry(name.to_owned()).or_default();
        if apart.abs() > worst.0.abs() {
            *worst = (apart, x);
        }
        compared += 1;
    }
    for (name, (apart, x)) in &largest {
        println!("{name}: largest difference {apart:+.4} at {x}");
    }
    assert!(compared > 600, "only {compared} values came back");
}
