//! What must not count as protected: too little run through, the same doubtful drain entered twice, a reading of another
//! fluid, a battery on charge, a name that nobody has.

use rimeward::domain::boat::{CoolingKind, Evidence};
use rimeward::domain::catalogue::Holds;

use super::build::{at_new_year, boat, event, folded, sterndrive};

/// Two litres through a full block make a weak mixture, whatever the jug says (stirred vessel: one less exp(-in/full)).
#[test]
fn too_little_antifreeze_through_a_full_engine_is_weak() {
    let flush = |litres: f64| {
        let mut entry = event("E1", "2022-10-20T10:00", "blend_flush")
            .on("block_raw;manifold_raw;coolers_raw;drive_water;raw_pump;intake_hose")
            .jug("PG", "-50F")
            .method("run_warm");
        entry.0.thermostat_open = Some("yes".to_owned());
        entry.0.litres_in = Some(litres);
        at_new_year(&sterndrive(), &[entry])
    };
    let (holds, evidence, ice) = flush(2.0).brief("block_raw");
    assert_eq!((holds, evidence), (Holds::Blend, Evidence::Claimed));
    assert!(ice.unwrap() > -3.0, "two litres in a whole engine: {ice:?}");
    // As much as it holds leaves a third of the water, 10 mL less no more: no step in between.
    let (short, full) = (flush(21.99).brief("block_raw"), flush(22.01).brief("block_raw"));
    assert!((short.2.unwrap() - full.2.unwrap()).abs() < 0.1, "{short:?} {full:?}");
    let enough = flush(60.0).brief("block_raw");
    assert!(enough.2.unwrap() < -5.0 && enough.1 == Evidence::Recorded, "{enough:?}");
}

#[test]
fn a_doubtful_drain_stays_in_doubt_when_it_is_entered_again_or_filled_on() {
    let drain = |id: &str, at: &str| {
        event(id, at, "drained").on("block_raw").litres_out(2.0).minutes(15.0).probed()
    };
    let once = [drain("E1", "2022-10-20T10:00")];
    let twice = [drain("E1", "2022-10-20T10:00"), drain("E2", "2022-10-20T11:00")];
    for entries in [&once[..], &twice[..]] {
        let found = at_new_year(&sterndrive(), entries);
        let block = found.one("block_raw");
        assert_eq!(block.evidence, Evidence::Claimed, "{:?}", block.because);
        assert!(block.closed_pocket, "{:?}", block.because);
    }
    let filled = [
        drain("E1", "2022-10-20T10:00"),
        event("E2", "2022-10-20T12:00", "blend_flush")
            .on("block_raw")
            .jug("PG", "-100F")
            .method("filled_after_drain"),
    ];
    let (_, evidence, _) = at_new_year(&sterndrive(), &filled).brief("block_raw");
    assert!(evidence <= Evidence::Claimed, "filled on a drain that was in doubt: {evidence:?}");
}

#[test]
fn an_open_drain_that_nobody_names_drains_nothing() {
    let found = at_new_year(&sterndrive(), &[event("E1", "2022-10-20T10:00", "drain_left_open")]);
    for circuit in ["block_raw", "intake_hose", "raw_pump"] {
        assert_eq!(found.one(circuit).holds, Holds::Unknown, "{circuit}");
    }
}

#[test]
fn a_battery_on_charge_is_no_rested_battery_and_a_rested_one_loses_charge() {
    let volts = |volts: f64, at: &str| {
        let entry = event("E1", "2022-10-20T10:00", "battery_removed").volts(volts);
        folded(&sterndrive(), &[entry], at, at).brief("battery")
    };
    assert_eq!(volts(14.4, "2022-10-21T10:00").0, Holds::Unknown, "charging");
    assert_eq!(volts(28.8, "2022-10-21T10:00").0, Holds::Unknown, "another number of cells");
    let (autumn, spring) = (volts(12.7, "2022-10-21T10:00"), volts(12.7, "2023-03-20T10:00"));
    assert_eq!(autumn.0, Holds::Charged);
    assert!(spring.2.unwrap() > autumn.2.unwrap() + 1.0, "{autumn:?} {spring:?}");
}

#[test]
fn a_reading_of_another_fluid_measures_nothing() {
    let entries = [
        event("E1", "2022-10-20T09:00", "drained")
            .on("block_raw")
            .litres_out(13.0)
            .minutes(15.0)
            .probed(),
        event("E2", "2022-10-20T10:00", "blend_flush")
            .on("block_raw")
            .jug("EG", "-34F")
            .method("filled_after_drain"),
        event("E3", "2022-10-20T11:00", "block_sampled").on("block_raw").read(
            "PG",
            -40.0,
            "PG",
            "block stbd drain",
        ),
    ];
    let (_, evidence, ice) = at_new_year(&sterndrive(), &entries).brief("block_raw");
    assert!(evidence < Evidence::Measured, "{evidence:?}");
    assert!(ice.is_none_or(|ice| ice > -39.0), "{ice:?}");
}

#[test]
fn a_run_of_an_engine_that_nobody_has_may_have_been_any() {
    let twin = boat(CoolingKind::Raw, 2, "block_raw#port engine;block_raw#starboard engine");
    let drain = |id: &str, which: &str| {
        event(id, "2022-10-20T10:00", "drained")
            .on("block_raw")
            .instance(which)
            .minutes(15.0)
            .probed()
    };
    let after = |run: &str| {
        at_new_year(
            &twin,
            &[
                drain("E1", "port engine"),
                drain("E2", "starboard engine"),
                event("E3", "2022-10-22T10:00", "engine_run").instance(run),
            ],
        )
    };
    let known = after("starboard engine");
    assert_eq!(known.instance("block_raw", "port engine").holds, Holds::Drained, "not run");
    assert_ne!(known.instance("block_raw", "starboard engine").holds, Holds::Drained);
    let misspelt = after("startboard engine");
    assert_eq!(misspelt.all("block_raw").len(), 2, "no third engine");
    for state in misspelt.all("block_raw") {
        assert_ne!(state.holds, Holds::Drained, "{:?}: {:?}", state.instance, state.because);
    }
}

/// Two antifreezes without a drain between are a mixture: no instrument reads it, and it is no stronger than the weaker of
/// the two (a mixture of both glycols cannot be read on either scale: scope of ASTM D3321, from memory).
#[test]
fn one_antifreeze_on_top_of_another_is_no_measurement_until_it_is_drained() {
    let pink = event("E1", "2022-10-20T10:00", "blend_flush")
        .on("raw_pump")
        .jug("PG", "-50F")
        .method("run_warm");
    let green = event("E2", "2022-10-21T10:00", "blend_flush")
        .on("raw_pump")
        .jug("EG", "50/50")
        .method("run_warm");
    let read = event("E3", "2022-10-21T10:10", "outlet_measured")
        .on("raw_pump")
        .read("EG", -30.0, "EG", "exhaust");
    let last =
        |entries: &[super::build::Entry]| at_new_year(&sterndrive(), entries).brief("raw_pump");
    let (_, evidence, alone) = last(&[green.clone(), read.clone()]);
    assert_eq!((evidence, alone), (Evidence::Measured, Some(-30.0)));
    let (holds, evidence, mixed) = last(&[pink.clone(), green.clone(), read.clone()]);
    assert_eq!(holds, Holds::Blend);
    assert!(evidence <= Evidence::Recorded, "{evidence:?}");
    assert!(mixed.unwrap() > -12.0, "no stronger than the weaker jug: {mixed:?}");
    // The same again on top of a mixture is a mixture still.
    let again = event("E2b", "2022-10-21T10:05", "blend_flush")
        .on("raw_pump")
        .jug("EG", "50/50")
        .method("run_warm");
    let (_, evidence, _) = last(&[pink.clone(), green.clone(), again, read.clone()]);
    assert!(evidence <= Evidence::Recorded, "{evidence:?}");
    let drained =
        event("E1b", "2022-10-20T12:00", "drained").on("raw_pump").litres_out(0.5).probed();
    let (_, evidence, _) = last(&[pink, drained, green, read]);
    assert_eq!(evidence, Evidence::Measured, "drained between");
}
