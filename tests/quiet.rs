//! The promises of quiet, on the invented winter with nobody acting on anything.

mod winter;
#[path = "bench/quiet/fleet.rs"]
mod fleet;

/// The fleet that `cargo bench --bench quiet` replays: its tables must go on being read as they are meant.
#[test]
fn the_fleet_of_the_benchmark_is_laid_up_as_it_says() {
    let fleet = fleet::draw(60, 2014, 62_682).unwrap();
    assert_eq!(fleet.boats.len(), 60);
    let all = || fleet.boats.iter().flat_map(|(_, log)| log);
    let count = |kind: &str| all().filter(|event| event.kind.as_str() == kind).count();
    assert!(count("drained") == 60 && count("blend_flush") > 0 && count("engine_run") > 0);
    for event in all().filter(|event| event.kind.as_str() == "drained") {
        assert_eq!((event.minutes, event.probed), (Some(15.0), Some(true)), "{event:?}");
    }
    let tested = all().find(|event| event.kind.as_str() == "loop_tested").unwrap();
    assert_eq!((tested.reading_value, tested.scale.as_deref()), (Some(-37.0), Some("EG")));
    assert!(fleet.people.len() == 61 && fleet.sites.len() == 1);
}
