//! An entry speaks for what it can have reached, and for nothing else: each of these called something protected that was not.

use rimeward::domain::boat::revise::{Fate, TAKEN_BACK, revise};
use rimeward::domain::boat::{CoolingKind, Evidence, Exposure, Holds, uncleared};
use rimeward::domain::catalogue::Catalogue;
use rimeward::domain::units::{Celsius, Hours};

use super::build::{Entry, at_new_year, boat, event, sterndrive};

const PATH: &str = "block_raw;manifold_raw;intake_hose;raw_pump;coolers_raw;drive_water";

#[test]
fn a_kind_of_entry_shows_nothing_of_parts_that_it_cannot_have_to_do_with() {
    for (kind, method) in [
        ("purge_crank", ""),
        ("gear_oil_changed", "clear"),
        ("blown_out", ""),
        ("separator_drained", ""),
        ("impeller_pulled", ""),
        ("strainer_opened", ""),
        ("plug_out", ""),
        ("tank_emptied", ""),
        ("drive_down", ""),
        ("heater_bypassed_drained", ""),
    ] {
        let log =
            [event("1", "2022-10-25T10:00", kind).on("block_raw;manifold_raw").method(method)];
        let state = at_new_year(&sterndrive(), &log);
        let block = state.one("block_raw");
        assert_eq!(block.holds, Holds::Unknown, "{kind}");
        assert!(block.open_questions.iter().any(|q| q.contains("what was done")), "{kind}");
    }
    let volts = [event("1", "2022-10-25T10:00", "inspected").on("block_raw;battery").volts(12.7)];
    let state = at_new_year(&sterndrive(), &volts);
    assert_eq!(state.one("block_raw").holds, Holds::Unknown);
    assert_eq!(state.one("battery").holds, Holds::Charged);
}

#[test]
fn one_bank_of_a_block_is_half_of_it_until_the_other_is_drained_too() {
    let side = |id: &str, at: &str, point: &str| {
        event(id, at, "drained").on("block_raw").point(point).minutes(15.0).probed()
    };
    let port = side("1", "2022-10-25T10:00", "port block drain");
    let state = at_new_year(&sterndrive(), std::slice::from_ref(&port));
    let block = state.one("block_raw");
    assert_eq!((block.evidence, block.closed_pocket), (Evidence::Claimed, true));
    let both = [port.clone(), side("2", "2022-10-25T10:20", "starboard block drain")];
    let state = at_new_year(&sterndrive(), &both);
    let block = state.one("block_raw");
    assert_eq!((block.evidence, block.closed_pocket), (Evidence::Probed, false));
    let twice = [port, side("2", "2022-10-25T10:20", "port block drain, again")];
    assert!(at_new_year(&sterndrive(), &twice).one("block_raw").closed_pocket);
}

#[test]
fn a_pump_is_not_empty_by_its_plugs() {
    let log = [event("1", "2022-10-25T10:00", "drained").on("raw_pump").minutes(15.0).probed()];
    let state = at_new_year(&sterndrive(), &log);
    let pump = state.one("raw_pump");
    assert_eq!(pump.evidence, Evidence::Recorded);
    assert!(pump.open_questions.iter().any(|q| q.contains("cranked")), "{pump:?}");
}

fn thin_flush() -> Entry {
    let mut flush = event("1", "2022-10-25T10:00", "blend_flush").on(PATH).jug("PG", "-50F");
    flush.0.thermostat_open = Some("yes".to_owned());
    flush.0.litres_in = Some(8.0);
    flush.method("run_warm")
}

#[test]
fn a_reading_that_is_worth_nothing_makes_no_blend_stronger() {
    let before = at_new_year(&sterndrive(), &[thin_flush()]);
    let was = before.one("block_raw").first_ice.unwrap().value();
    assert!(was > -5.0, "{was}");
    let wrong = event("2", "2022-10-25T11:00", "block_sampled").on("block_raw");
    let log = [thin_flush(), wrong.read("PG", -31.0, "EG", "block drain")];
    let after = at_new_year(&sterndrive(), &log);
    let block = after.one("block_raw");
    assert_eq!(block.first_ice.unwrap().value(), was);
    assert!(block.evidence <= before.one("block_raw").evidence);
}

#[test]
fn an_outlet_says_nothing_of_what_a_cold_run_left_as_it_was() {
    let cold = event("1", "2022-10-25T10:00", "blend_flush").on(PATH).jug("PG", "-100F");
    let read = event("2", "2022-10-25T10:10", "outlet_measured").on(PATH);
    let log = [cold.method("run_cold"), read.read("PG", -31.0, "PG", "exhaust")];
    let state = at_new_year(&sterndrive(), &log);
    for part in ["block_raw", "manifold_raw", "intake_hose"] {
        assert_eq!(state.one(part).holds, Holds::Unknown, "{part}");
    }
    assert_eq!(state.one("raw_pump").evidence, Evidence::Measured);
}

#[test]
fn what_is_read_at_the_outlet_days_later_is_the_mufflers() {
    let mut flush = event("1", "2022-10-25T10:00", "blend_flush").on("raw_pump").jug("PG", "-100F");
    flush.0.litres_in = Some(1.5);
    let read = event("2", "2022-11-03T10:00", "outlet_measured").on("raw_pump;coolers_raw");
    let log = [flush.method("run_warm"), read.read("PG", -31.0, "PG", "exhaust")];
    assert_eq!(at_new_year(&sterndrive(), &log).one("raw_pump").evidence, Evidence::Recorded);
}

#[test]
fn a_run_mixes_the_loop_of_the_engine_that_ran() {
    let twin = boat(CoolingKind::ClosedFull, 2, "closed_loop;gen_loop;gen_raw;raw_pump");
    let log = [
        event("1", "2022-10-20T10:00", "loop_corrected").on("closed_loop;gen_loop"),
        event("2", "2022-10-21T10:00", "engine_run").instance("port engine").minutes(20.0),
        event("3", "2022-10-22T10:00", "loop_tested")
            .on("closed_loop;gen_loop")
            .read("EG", -37.0, "EG", "all"),
    ];
    let state = at_new_year(&twin, &log);
    let of = |circuit: &str, instance: Option<&str>| {
        state
            .0
            .circuits
            .iter()
            .find(|c| c.circuit.as_str() == circuit && c.instance.as_deref() == instance)
            .unwrap_or_else(|| panic!("{circuit} {instance:?}: {:?}", state.0.circuits))
    };
    assert_eq!(of("closed_loop", Some("port engine")).holds, Holds::Coolant);
    assert_eq!(of("closed_loop", Some("starboard engine")).holds, Holds::Unknown);
    assert_eq!(of("gen_loop", None).holds, Holds::Unknown);
}

#[test]
fn a_loop_read_on_the_scale_of_another_fluid_than_is_usual_is_no_measurement() {
    let closed = boat(CoolingKind::ClosedFull, 1, "closed_loop");
    let mut read = event("1", "2022-10-22T10:00", "loop_tested")
        .on("closed_loop")
        .read("", -37.0, "PG", "cap");
    read.0.fluid = None;
    let state = at_new_year(&closed, &[read]);
    assert!(state.one("closed_loop").evidence < Evidence::Measured);
}

#[test]
fn of_two_sheets_the_weaker_stands_whichever_comes_first() {
    let dose = |id: &str, label: &str, sheet: &str| {
        event(id, "2022-10-25T10:00", "head_blend").on("head").jug("PG", label).sheet(sheet)
    };
    let fitted = boat(CoolingKind::Raw, 1, "head;battery");
    for (first, second) in [("-50F", "-100F"), ("-100F", "-50F")] {
        let state = at_new_year(&fitted, &[dose("1", first, "A"), dose("2", second, "B")]);
        let weak = at_new_year(&fitted, &[dose("1", "-50F", "A")]);
        assert_eq!(state.one("head").first_ice, weak.one("head").first_ice, "{first} {second}");
    }
}

#[test]
fn a_withdrawal_that_was_withdrawn_does_not_act_whenever_it_was_written() {
    let void = |id: &str, of: &str| {
        event(id, "2022-11-20T10:00", "correction").corrects(of).method("void")
    };
    let log = [
        event("S2-1", "2022-10-20T10:00", "drained").on("block_raw").probed().minutes(15.0),
        event("S2-2", "2022-10-21T10:00", "engine_run").method("hose"),
        void("S2-3", "S2-2"),
        void("S1-9", "S2-3"),
    ];
    assert_eq!(at_new_year(&sterndrive(), &log).one("block_raw").holds, Holds::Fresh);
}

#[test]
fn what_was_done_in_the_water_is_asked_about_at_the_lift() {
    let log = [
        event("1", "2022-10-01T10:00", "launched"),
        event("2", "2022-10-25T10:00", "blend_flush")
            .on("raw_pump")
            .jug("PG", "-100F")
            .method("run_warm"),
        event("3", "2022-10-26T10:00", "hauled"),
    ];
    let state = at_new_year(&sterndrive(), &log);
    let pump = state.one("raw_pump");
    assert!(pump.open_questions.iter().any(|q| q.contains("on the way to the lift")), "{pump:?}");
}

#[test]
fn a_look_clears_the_one_that_was_looked_at_and_a_withdrawn_look_none() {
    let catalogue = Catalogue::built_in().unwrap();
    let time = |text: &str| chrono::DateTime::parse_from_rfc3339(text).unwrap().to_utc();
    let spell = |instance: &str| Exposure {
        boat: "B".into(),
        circuit: "ac_raw".into(),
        instance: Some(instance.to_owned()),
        from: time("2022-11-21T04:00:00-05:00"),
        to: time("2022-11-21T09:00:00-05:00"),
        coldest: Celsius::clamped(-7.0),
        below: Hours::clamped(5.0),
        measured: false,
    };
    let spells = [spell("saloon unit"), spell("other units")];
    let at = time("2022-12-31T12:00:00-05:00");
    let left = |events: &[_]| uncleared(&spells, events, at, at, &catalogue).len();
    let look = event("1", "2022-12-03T10:00", "inspected").on("ac_raw").instance("saloon unit").0;
    let void = event("2", "2022-12-04T10:00", "correction").corrects("1").method("void").0;
    assert_eq!(left(std::slice::from_ref(&look)), 1);
    assert_eq!(left(&[look, void]), 2);
}

#[test]
fn a_sheet_that_comes_again_does_not_overrule_who_withdrew_its_row() {
    let now = chrono::DateTime::parse_from_rfc3339("2022-12-01T12:00:00Z").unwrap().to_utc();
    let row = event("W1", "2022-10-25T10:00", "blend_flush").on(PATH).jug("PG", "-100F");
    let void = event("C1", "2022-11-01T10:00", "correction").corrects("W1").method("void").0;
    let log = [row.0.clone(), void];
    let mut remark = row.0.clone();
    remark.note = Some("another remark".to_owned());
    let revision = revise(&[remark], &log, &Default::default(), now);
    assert!(revision.append.is_empty(), "{:?}", revision.append);
    assert_eq!(revision.fates[0].1, Fate::Withdrawn("C1".into()));
    let other = row.clone().on("raw_pump").0;
    assert_eq!(revise(&[other], &log, &Default::default(), now).append.len(), 1, "said anew");
    // A correction of a field goes along to the next version.
    let short = event("C2", "2022-11-01T10:00", "correction").corrects("W1").minutes(2.0).0;
    let mut remark = row.0.clone();
    remark.note = Some("another remark".to_owned());
    let revision = revise(&[remark], &[row.0.clone(), short], &Default::default(), now);
    let last = revision.append.last().unwrap();
    assert_eq!((last.minutes, last.corrects.as_ref().unwrap().as_str()), (Some(2.0), "W1~2"));
    // A tick that was taken back and is made again counts again.
    let back = event(&format!("W1{TAKEN_BACK}"), "2022-11-01T10:00", "correction");
    let log = [row.0.clone(), back.corrects("W1").method("void").0];
    let revision = revise(&[row.0], &log, &Default::default(), now);
    assert_eq!(revision.append.len(), 1);
    assert_eq!(revision.append[0].id.as_str(), "W1~2");
}
