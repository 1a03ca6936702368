//! The awkward entries of real yards.

use rimeward::domain::boat::{CoolingKind, Evidence, Holds};

use super::build::{at_new_year, boat, event, folded, sterndrive};

#[test]
fn drains_open_too_short_a_time_count_as_claimed_with_a_pocket() {
    let check = |point: &str, minutes: f64, doubtful: bool| {
        let log = [event("1", "2022-10-10T10:00", "drained")
            .on("block_raw")
            .probed()
            .point(point)
            .minutes(minutes)];
        let state = at_new_year(&sterndrive(), &log);
        let block = state.one("block_raw");
        let want = if doubtful { Evidence::Claimed } else { Evidence::Probed };
        assert_eq!((block.evidence, block.closed_pocket), (want, doubtful), "{point} {minutes}");
    };
    check("block P+S; manifolds P+S", 4.0, true);
    check("block P+S; manifolds P+S", 5.0, false);
    check("block drain", 11.0, true);
    check("block drain", 12.0, false);
}

#[test]
fn litres_out_are_held_against_the_fitted_volume() {
    let check = |litres: f64, evidence, pocket| {
        let drain =
            event("1", "2022-10-10T10:00", "drained").on("block_raw").probed().minutes(15.0);
        let mut v8 = sterndrive();
        v8.volumes_l = vec![("block_raw".into(), 16.0)];
        let state = at_new_year(&v8, &[drain.litres_out(litres)]);
        let block = state.one("block_raw");
        assert_eq!((block.evidence, block.closed_pocket), (evidence, pocket), "{litres} L");
        assert_eq!(block.litres, if pocket { 16.0 } else { 0.6 });
    };
    check(15.0, Evidence::Probed, false);
    check(4.0, Evidence::Claimed, true);
    check(60.0, Evidence::Claimed, false);
}

#[test]
fn heat_a_signature_and_a_cover_change_no_circuit() {
    let log = [
        event("1", "2022-10-10T10:00", "heat_on"),
        event("2", "2022-10-10T10:00", "signed_off").graded(Evidence::Measured),
        event("3", "2022-10-10T10:00", "cover_on"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    assert!(state.0.circuits.iter().all(|circuit| circuit.holds == Holds::Unknown));
    assert!(state.0.covered);
    assert!(state.0.mitigations[0].on);
}

#[test]
fn of_two_sheets_on_one_day_the_less_protected_stands() {
    let clear = event("1", "2022-10-10T10:00", "gear_oil_changed").method("clear").sheet("A").day();
    let milky = event("2", "2022-10-10T12:00", "gear_oil_changed").method("milky").sheet("B").day();
    for log in [[clear.clone(), milky.clone()], [milky.clone(), clear.clone()]] {
        let state = at_new_year(&sterndrive(), &log);
        assert_eq!(state.one("gearcase").holds, Holds::LubeWet);
    }
    // The other way round in the log's own order: the sheet with the better news comes second.
    let later = event("3", "2022-10-10T13:00", "gear_oil_changed").method("clear").sheet("C").day();
    let state = at_new_year(&sterndrive(), &[milky, later]);
    assert_eq!(state.one("gearcase").holds, Holds::LubeWet);
    assert!(state.one("gearcase").open_questions.iter().any(|ask| ask.contains("two sheets")));
}

#[test]
fn a_top_up_of_july_told_in_october_weakens_the_loop_from_july_on() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "closed_loop");
    let test = event("1", "2022-06-10T10:00", "loop_tested").read("EG", -36.0, "EG", "");
    let topped = event("2", "2022-07-16T12:00", "topped_up_water").known("2022-10-14T09:00");
    let log = [test, topped];
    let then = folded(&cruiser, &log, "2022-09-01T12:00", "2022-09-01T12:00");
    assert_eq!(then.brief("closed_loop").2, Some(-36.0), "as then known");
    let now = folded(&cruiser, &log, "2022-09-01T12:00", "2022-10-15T12:00");
    assert_eq!(now.brief("closed_loop").2, None, "as now known");
}

#[test]
fn house_blend_without_the_heater_out_of_the_way_is_claimed_at_most() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "pot_lines;water_heater");
    let mut blend = event("2", "2022-10-10T12:00", "house_blend").on("pot_lines").jug("PG", "-50F");
    blend.0.litres_in = Some(10.0);
    let bypassed = event("1", "2022-10-10T11:00", "heater_bypassed_drained");
    assert_eq!(
        at_new_year(&cruiser, std::slice::from_ref(&blend)).brief("pot_lines").1,
        Evidence::Claimed
    );
    assert_eq!(at_new_year(&cruiser, &[bypassed, blend]).brief("pot_lines").1, Evidence::Recorded);
}

#[test]
fn a_holding_tank_dosed_without_emptying_is_claimed_at_most() {
    let cruiser = boat(CoolingKind::ClosedFull, 1, "holding");
    let dosed = event("2", "2022-10-10T12:00", "holding_dosed").jug("PG", "-50F");
    let emptied = event("1", "2022-10-10T11:00", "tank_emptied").on("holding");
    assert_eq!(
        at_new_year(&cruiser, std::slice::from_ref(&dosed)).brief("holding").1,
        Evidence::Claimed
    );
    assert_eq!(at_new_year(&cruiser, &[emptied, dosed]).brief("holding").1, Evidence::Recorded);
}

#[test]
fn power_takes_heat_and_chargers_with_it_until_it_comes_back() {
    let cruiser = sterndrive();
    let place = |id, time, kind| {
        let mut entry = event(id, time, kind).at("YARD");
        entry.0.boat = None;
        entry
    };
    let log = [
        place("1", "2022-11-01T10:00", "heat_on"),
        event("2", "2022-11-02T10:00", "charger_on"),
        place("3", "2022-12-23T11:00", "power_lost"),
        place("4", "2022-12-26T15:00", "power_restored"),
    ];
    let on = |at| {
        let state = folded(&cruiser, &log, at, "2023-12-31T12:00");
        state.0.mitigations.iter().map(|mitigation| mitigation.on).collect::<Vec<_>>()
    };
    assert_eq!(on("2022-12-23T10:00"), [true, true]);
    assert_eq!(on("2022-12-24T10:00"), [false, false]);
    assert_eq!(on("2022-12-27T10:00"), [true, true]);
}

#[test]
fn an_entry_names_a_part_that_the_list_does_not_have() {
    let log = [event("7", "2022-10-10T12:00", "drained").on("gen_raw")];
    let state = at_new_year(&sterndrive(), &log);
    assert!(state.0.open_questions[0].contains("gen_raw"), "{:?}", state.0.open_questions);
}

#[test]
fn what_an_event_undid_is_told() {
    let log = [
        event("9", "2022-10-10T10:00", "drained").on("block_raw").probed().minutes(15.0),
        event("10", "2022-10-12T10:00", "engine_run").method("hose"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    let because = state.one("block_raw").because.join("; ");
    assert!(because.contains("(10)") && because.contains("drained (9)"), "{because}");
}

#[test]
fn the_order_of_work_is_asked_about_where_it_does_harm() {
    let check = |log: &[super::build::Entry], words: &str| {
        let asked = at_new_year(&sterndrive(), log).0.open_questions;
        assert!(asked.iter().any(|ask| ask.contains(words)), "{words}: {asked:?}");
    };
    let afloat = event("1", "2022-10-01T10:00", "launched").at("BERTH");
    check(
        &[afloat.clone(), event("2", "2022-10-02T10:00", "strainer_opened")],
        "the strainer was opened afloat",
    );
    check(
        &[afloat, event("2", "2022-10-02T10:00", "battery_removed").volts(12.7)],
        "bilge pump needs the battery",
    );
    check(
        &[
            event("1", "2022-10-01T10:00", "fogged"),
            event("2", "2022-10-02T10:00", "engine_run").method("hose"),
        ],
        "after it was fogged",
    );
    let mut closed = sterndrive();
    closed.fitted.push("closed_loop".into());
    closed.cooling = CoolingKind::ClosedHalf;
    closed.fitted.retain(|id| id.as_str() != "block_raw");
    let drained = event("1", "2022-10-01T10:00", "drained").on("closed_loop");
    let asked = at_new_year(&closed, &[drained]).0.open_questions;
    assert!(asked.iter().any(|ask| ask.contains("not drained for lay-up")), "{asked:?}");
}

/// 33 CFR 183.610 asks for a blower, and for a label that says four minutes and to look for vapour before a start.
#[test]
fn a_start_or_a_heater_where_petrol_vapour_gathers_is_asked_about() {
    let asked = |log: &[super::build::Entry], day: &str| {
        let at = format!("2022-10-{day}T12:00");
        folded(&sterndrive(), log, &at, "2023-12-31T12:00").0.open_questions.join("; ")
    };
    let run = event("1", "2022-10-10T10:00", "engine_run").method("hose");
    assert!(asked(std::slice::from_ref(&run), "11").contains("blower run 4 minutes"));
    assert!(!asked(std::slice::from_ref(&run), "20").contains("blower"), "long over");
    let aired = event("2", "2022-10-11T10:00", "engine_run").method("hose, blower 4 min");
    assert!(!asked(&[run.clone(), aired], "12").contains("blower"));
    let heater = event("3", "2022-10-11T11:00", "heat_on");
    let asks = |log: &[super::build::Entry]| asked(log, "30").contains("a heater or a charger");
    assert!(asks(std::slice::from_ref(&heater)), "as long as it is on");
    assert!(!asks(&[heater.clone(), event("4", "2022-10-12T11:00", "heat_off")]));
    assert!(!asks(&[
        heater.clone(),
        event("4", "2022-10-12T11:00", "question_answered").method("aired, made for it")
    ]));
    let mut diesel = sterndrive();
    diesel.fuel = "diesel".to_owned();
    let of_diesel = folded(&diesel, &[run, heater], "2022-10-12T12:00", "2023-12-31T12:00");
    assert!(of_diesel.0.open_questions.is_empty());
}

#[test]
fn an_emptied_water_heater_is_asked_for_its_breaker() {
    let mut boat = sterndrive();
    boat.fitted.push("water_heater".into());
    let emptied = event("1", "2022-10-10T10:00", "heater_bypassed_drained");
    let asked = |log: &[super::build::Entry]| {
        at_new_year(&boat, log).one("water_heater").open_questions.join("; ")
    };
    assert!(asked(std::slice::from_ref(&emptied)).contains("breaker off"));
    assert!(!asked(&[emptied.method("breaker off and taped")]).contains("breaker"));
}

#[test]
fn exposure_survives_repair_until_somebody_looks() {
    use rimeward::domain::boat::{Exposure, Spells, uncleared};
    use rimeward::domain::catalogue::Catalogue;
    use rimeward::domain::units::{Celsius, Hours, TemperatureScale};

    let catalogue = Catalogue::built_in().unwrap();
    let time = |text: &str| text.parse().unwrap();
    let wet = Exposure {
        boat: "B".into(),
        circuit: "block_raw".into(),
        instance: None,
        from: time("2022-11-21T04:00:00-05:00"),
        to: time("2022-11-21T09:00:00-05:00"),
        coldest: Celsius::clamped(-7.0),
        below: Hours::clamped(5.0),
        measured: false,
    };
    let drained =
        event("1", "2022-12-01T10:00", "drained").on("block_raw").probed().minutes(15.0).0;
    let elsewhere = event("2", "2022-12-02T10:00", "inspected").on("battery").0;
    let looked = event("3", "2022-12-03T10:00", "inspected").on("ENGINE_RAW").0;
    let at = time("2022-12-31T12:00:00-05:00");
    let left =
        |events: &[_]| uncleared(std::slice::from_ref(&wet), events, at, at, &catalogue).len();
    assert_eq!(left(&[drained.clone(), elsewhere.clone()]), 1);
    assert_eq!(left(&[drained, elsewhere, looked]), 0);
    // Of a spell that went on, nobody knew yet how cold it would be.
    let early = Spells::of(&wet, wet.from + chrono::TimeDelta::hours(2));
    let words = early.words(&catalogue, TemperatureScale::F, chrono_tz::America::New_York);
    assert!(words.contains("for 2 h from") && !words.contains("coldest"), "{words}");
    // Old gear oil without water: there was nothing in it to freeze. Gear oil belongs before the first frost.
    let oil = Exposure { circuit: "gearcase".into(), ..wet.clone() };
    let still = |entry: super::build::Entry| {
        uncleared(std::slice::from_ref(&oil), &[entry.0], at, at, &catalogue).len()
    };
    let changed = event("4", "2022-12-02T10:00", "gear_oil_changed");
    assert_eq!(still(changed.clone()), 1, "nobody says what it looked like");
    assert_eq!(still(changed.clone().method("milky")), 1);
    assert_eq!(still(changed.clone().method("clear").graded(Evidence::Claimed)), 1);
    assert_eq!(still(changed.method("clear")), 0);
    assert_eq!(
        Spells::of(&wet, wet.to).words(
            &catalogue,
            TemperatureScale::F,
            chrono_tz::America::New_York
        ),
        "engine block: past its limit for 5 h from 21 Nov 2022 04:00, coldest air 19 F (-7 C) (forecast, not measured)"
    );
}

#[test]
fn a_question_to_all_owners_of_a_place_stays_open_until_this_one_answers() {
    let mut asked = event("1", "2022-11-18T09:00", "question_asked").at("YARD");
    asked.0.boat = None;
    asked.0.note = Some("run since lay-up?".to_owned());
    let answered = event("2", "2022-11-20T19:00", "question_answered").method("no");
    let open = |log: &[super::build::Entry]| at_new_year(&sterndrive(), log).0.open_questions;
    let questions = open(std::slice::from_ref(&asked));
    assert_eq!(questions, ["asked and not answered yet: run since lay-up? (1)"]);
    assert!(open(&[asked, answered]).is_empty());
}
