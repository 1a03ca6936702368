//! Logs that want to look laid up and are not: in none of them may the part stand as protected by more than a claim, and where
//! water is certain it must stand as wet. Each line: what is wrong, the part, the most that may be believed, the entries.

use rimeward::domain::boat::{CoolingKind, Evidence};

use super::build::{Entry, at_new_year, boat, event};

const FITTED: &str = "block_raw;manifold_raw;raw_pump;coolers_raw;intake_hose;drive_water;exhaust_wet;strainer;seacock;\
                      gearcase;heater_core;ac_raw;head;holding;pot_lines;pot_tank;water_heater;shower_sump;bilge;\
                      hull_void;scuppers;battery;fuel_sep;closed_loop";

/// `wet`: not protected; `pocket`: called drained with a full pocket; `claimed`, `recorded`: no better than that.
const LOGS: &[(&str, &str, &str)] = &[
    // Runs that stand only in remarks.
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|engine_oil_changed note=ran 5 min on the muffs to warm it",
    ),
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|fogged note=fogged while running on the hose",
    ),
    ("block_raw", "wet", "drained block_raw min=20 probed|hauled note=came round under own power"),
    ("block_raw", "wet", "drained block_raw min=20 probed|moved_to note=motored to the other dock"),
    ("block_raw", "wet", "drained block_raw min=20 probed|inspected note=sea trial with buyer"),
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|signed_off note=started her after, sounds fine",
    ),
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|fuel_treated note=engine run 10 min to circulate",
    ),
    (
        "manifold_raw",
        "wet",
        "drained manifold_raw min=20 probed|inspected note=owner was out fishing sunday",
    ),
    ("raw_pump", "wet", "purge_crank raw_pump|engine_oil_changed note=warmed up first"),
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|inspected note=test run after, strated at once",
    ),
    ("block_raw", "wet", "drained block_raw min=20 probed|inspected note=took her round the bay"),
    (
        "coolers_raw",
        "wet",
        "drained coolers_raw min=20 probed|inspected note=demo run for a customer",
    ),
    // Runs in the open.
    ("block_raw", "wet", "drained block_raw min=20 probed|engine_run method=hose"),
    ("manifold_raw", "wet", "drained manifold_raw min=20 probed|fuel_treat_run method=hose"),
    ("raw_pump", "wet", "blend_flush raw_pump PG/-100F in=1 method=run_warm|flushed_fresh"),
    ("block_raw", "wet", "drained block_raw min=20 probed|recommissioned"),
    // Half done.
    ("block_raw", "pocket", "drained block_raw min=20 probed note=stbd petcock seized"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=port side only"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=rest on Monday"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=could not get at the rear plug"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=nothing came from stbd"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=drain blocked with rust"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=still dripping when i left"),
    ("block_raw", "pocket", "drained block_raw min=20 probed note=one plug siezed"),
    ("block_raw", "pocket", "drained block_raw min=20 probed point=block port drain"),
    ("block_raw", "pocket", "drained block_raw min=3 probed"),
    ("block_raw", "pocket", "drained block_raw min=20 out=4 probed"),
    ("block_raw", "pocket", "drained block_raw;manifold_raw min=20 out=10.9 probed"),
    (
        "manifold_raw",
        "claimed",
        "drained block_raw;manifold_raw min=20 probed point=block plugs both",
    ),
    ("block_raw", "recorded", "drained block_raw probed"),
    ("block_raw", "claimed", "drained block_raw probed point=block drain"),
    ("block_raw", "recorded", "drained block_raw min=20 probed note=nur Backbord"),
    ("block_raw", "recorded", "drained block_raw min=20 probed note=qwerty the zorf valve"),
    // Not done.
    ("block_raw", "wet", "drained block_raw min=20 note=not done"),
    ("block_raw", "wet", "drained block_raw min=20 note=wrong boat"),
    ("pot_lines", "wet", "house_blend pot_lines PG/-50F in=9 note=owner will do it himself"),
    ("water_heater", "wet", "heater_bypassed_drained water_heater note=left full"),
    (
        "raw_pump",
        "wet",
        "blend_flush raw_pump PG/-100F in=1 method=run_warm note=cancelled by owner",
    ),
    ("block_raw", "wet", "signed_off note=winterized"),
    ("block_raw", "wet", "declined block_raw"),
    // Refilled.
    ("block_raw", "wet", "drained block_raw min=20 probed note=flushed with fresh water after"),
    ("head", "wet", "head_blend head PG/-50F in=4 note=used after"),
    ("pot_lines", "wet", "house_blend pot_lines PG/-50F in=9|potable_refilled"),
    ("water_heater", "wet", "heater_bypassed_drained water_heater note=back in use"),
    ("strainer", "wet", "strainer_opened strainer note=bowl full again"),
    ("pot_lines", "wet", "blown_out pot_lines note=guests used the galley after"),
    // Water or ice that was seen.
    ("gearcase", "wet", "gear_oil_changed gearcase method=creamy"),
    ("gearcase", "wet", "gear_oil_changed gearcase method=clear note=milky"),
    ("gearcase", "wet", "gear_oil_changed gearcase method=looked like porridge"),
    ("gearcase", "claimed", "gear_oil_changed gearcase"),
    ("bilge", "wet", "plug_out bilge|inspected bilge note=water in the bilge"),
    ("scuppers", "wet", "scuppers_cleared scuppers|inspected note=ice in cockpit drains"),
    ("hull_void", "wet", "plug_out hull_void note=hole clogged, water inside"),
    ("block_raw", "pocket", "drained block_raw min=20 probed|ice_found block_raw"),
    ("gearcase", "wet", "gear_oil_changed gearcase note=some water came out first"),
    // Antifreeze that did not get there.
    (
        "block_raw",
        "wet",
        "blend_flush PG/-100F in=20 method=run_cold thermostat=unknown note=pink at the exhaust",
    ),
    ("block_raw", "wet", "blend_flush PG/-100F in=20 method=run_warm thermostat=no"),
    (
        "block_raw",
        "wet",
        "blend_flush PG/-100F in=20 method=run_warm thermostat=yes note=thermostat did not open",
    ),
    ("block_raw", "wet", "blend_flush PG/-100F in=20 method=filled_after_drain"),
    ("block_raw", "wet", "blend_flush PG/-100F method=run_warm"),
    (
        "block_raw",
        "wet",
        "drained block_raw min=20 probed|blend_flush block_raw water/x method=filled_after_drain",
    ),
    ("raw_pump", "claimed", "blend_flush PG/-100F method=run_warm thermostat=yes"),
    ("head", "claimed", "head_blend head PG/-50F in=4 note=pump stuck, only a little went through"),
    ("pot_lines", "claimed", "house_blend pot_lines PG/-50F in=9 point=galley"),
    ("pot_lines", "claimed", "house_blend pot_lines PG/-50F note=pink at all taps"),
    (
        "raw_pump",
        "claimed",
        "blend_flush raw_pump PG/-100F in=1 method=run_warm note=ran out of antifreeze",
    ),
    // Readings that speak for something else.
    ("block_raw", "wet", "block_sampled block_raw PG read=-31"),
    ("block_raw", "wet", "block_sampled block_raw PG read=-31 point=exhaust outlet"),
    ("block_raw", "wet", "block_sampled block_raw PG read=-31 point=muffler drain"),
    ("block_raw", "wet", "block_sampled block_raw PG read=-31 point=block port drain"),
    ("block_raw", "wet", "block_sampled block_raw PG read=-31 point=jug"),
    ("raw_pump", "wet", "outlet_measured raw_pump PG read=-31 point=exhaust"),
    ("raw_pump", "wet", "outlet_measured raw_pump PG read=-31"),
    ("block_raw", "wet", "outlet_measured PG read=-31 point=exhaust"),
    ("pot_lines", "wet", "outlet_measured pot_lines PG read=-12 point=galley"),
    ("block_raw", "wet", "block_sampled block_raw PG read=2 point=both block drains"),
    // Afloat.
    ("seacock", "wet", "seacock_blend seacock PG/-100F in=0.3|launched"),
    ("raw_pump", "claimed", "drained raw_pump min=20 probed|purge_crank raw_pump|launched"),
    ("block_raw", "claimed", "drained block_raw min=20 probed|launched"),
    ("strainer", "wet", "strainer_opened strainer|launched method=towed"),
];

#[test]
fn nothing_that_is_wet_looks_laid_up() {
    let boat = boat(CoolingKind::Raw, 1, FITTED);
    let mut wrong = Vec::new();
    for (part, most, log) in LOGS {
        let log: Vec<Entry> = log.split('|').zip(10..).map(|(text, day)| read(text, day)).collect();
        let state = at_new_year(&boat, &log);
        let shown = state.one(part);
        let protected = shown.holds.is_protected();
        let right = match *most {
            "wet" => !protected,
            "pocket" => !protected || shown.closed_pocket && shown.evidence <= Evidence::Claimed,
            "claimed" => !protected || shown.evidence <= Evidence::Claimed,
            "recorded" => !protected || shown.evidence <= Evidence::Recorded,
            other => panic!("{other}"),
        };
        let asks = !shown.open_questions.is_empty() || !state.0.open_questions.is_empty();
        // What somebody may have meant otherwise is asked; what is certain need not be.
        if !right || (most != &"wet" && !asks) {
            wrong.push(format!(
                "{part} at most {most}: {log:?}\n  {shown:?}",
                log = log.iter().map(|e| &e.0.kind).collect::<Vec<_>>()
            ));
        }
    }
    assert!(LOGS.len() >= 60);
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), LOGS.len(), wrong.join("\n"));
}

/// `drained block_raw min=20 probed note=the rest of the line`.
fn read(text: &str, day: u32) -> Entry {
    let (text, note) =
        text.split_once(" note=").map_or((text, None), |(text, note)| (text, Some(note)));
    let (text, point) =
        text.split_once(" point=").map_or((text, None), |(text, point)| (text, Some(point)));
    let (text, method) = match text.split_once(" method=") {
        // A thermostat may stand after it.
        Some((text, rest)) => match rest.split_once(" thermostat=") {
            Some((method, open)) => (format!("{text} thermostat={open}"), Some(method)),
            None => (text.to_owned(), Some(rest)),
        },
        None => (text.to_owned(), None),
    };
    let mut words = text.split_whitespace();
    let mut entry =
        event(&format!("E{day}"), &format!("2022-10-{day}T10:00"), words.next().unwrap());
    for word in words {
        let number = |text: &str| text.parse::<f64>().ok();
        entry = match word.split_once('=') {
            Some(("min", value)) => entry.minutes(value.parse().unwrap()),
            Some(("out", value)) => entry.litres_out(value.parse().unwrap()),
            Some(("in", value)) => {
                entry.0.litres_in = number(value);
                entry
            }
            Some(("read", value)) => entry.read("PG", value.parse().unwrap(), "PG", ""),
            Some(("thermostat", value)) => {
                entry.0.thermostat_open = Some(value.to_owned());
                entry
            }
            Some(other) => panic!("{other:?}"),
            None if word == "probed" => entry.probed(),
            None if word == "PG" => entry,
            None => match word.split_once('/') {
                Some((fluid, label)) => entry.jug(fluid, label),
                None => entry.on(word),
            },
        };
    }
    entry.0.point = point.map(str::to_owned);
    entry.0.method = method.map(str::to_owned);
    entry.0.note = note.map(str::to_owned);
    entry
}
