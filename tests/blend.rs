//! The blend calculator as it is called from a command line.

use clap::Parser;
use rimeward::cli::blend::{BlendArgs, blend, parse_temperature};
use rimeward::domain::units::TemperatureScale;
use serde_json::Value;

#[derive(Debug, Parser)]
struct Line {
    #[command(flatten)]
    args: BlendArgs,
}

fn run(line: &str) -> (String, Value, u8) {
    let words = std::iter::once("blend").chain(line.split_whitespace());
    blend(&Line::try_parse_from(words).unwrap().args, TemperatureScale::F)
}

fn refused(line: &str) -> String {
    let (text, json, code) = run(line);
    assert_eq!(code, 2, "{line}: {text}");
    assert!(json["error"].is_string());
    text
}

fn close(value: &Value, expected: f64, within: f64) {
    let value = value.as_f64().unwrap();
    assert!((value - expected).abs() <= within, "{value} is not {expected}");
}

#[test]
fn the_shape_is_that_of_the_contract() {
    let (_, json, code) = run("--fluid propylene-glycol --volume 0.30 --at -20");
    assert_eq!(code, 0);
    let names: Vec<&str> = json.as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            "fluid",
            "mass_fraction",
            "volume_fraction",
            "first_ice_c",
            "slush_c",
            "burst_c",
            "ice_mass_fraction_at",
            "spread_k",
            "sources",
            "cautions"
        ]
    );
    // Melinder 2010: 30 vol% is 30.79 % by mass, first ice -13.31 C, one third ice -27.2 C.
    close(&json["mass_fraction"], 0.3079, 1e-4);
    close(&json["first_ice_c"], -13.31, 0.02);
    close(&json["burst_c"], -27.2, 0.1);
    close(&json["ice_mass_fraction_at"]["temperature_c"], -20.0, 0.0);
    close(&json["ice_mass_fraction_at"]["value"], 0.22, 0.005);
    close(&json["spread_k"], 0.5, 0.0);
}

#[test]
fn negative_numbers_and_units_read() {
    let (_, json, _) = run("--fluid propylene-glycol --first-ice -11");
    close(&json["first_ice_c"], -11.0, 1e-3);
    let (_, json, _) = run("--fluid ethylene_glycol --first-ice -34F --at=-40C");
    close(&json["first_ice_c"], -36.67, 0.01);
    assert!(json["ice_mass_fraction_at"]["value"].is_number());
    for (text, celsius) in [("20F", -6.667), ("-12C", -12.0), ("-12", -12.0), ("14 °F", -10.0)] {
        assert!((parse_temperature(text).unwrap().value() - celsius).abs() < 1e-3, "{text}");
    }
    for text in ["", "cold", "12K", "-500", "NaN", "inf"] {
        assert!(parse_temperature(text).is_err(), "{text}");
    }
}

#[test]
fn left_over_water_weakens_the_product() {
    let (text, json, _) = run(
        "--fluid propylene-glycol --volume 60% --litres 8 --left-over 8 --left-over-salinity 30",
    );
    close(&json["volume_fraction"], 0.30, 1e-6);
    close(&json["first_ice_c"], -13.31, 0.02);
    assert!(text.contains("16 L are mixed") && text.contains("salt"), "{text}");
}

#[test]
fn it_says_how_much_stronger_and_which_product() {
    let (text, json, code) =
        run("--fluid propylene-glycol --volume 0.30 --litres 8 --left-over 4 --for -20F");
    assert_eq!(code, 0);
    let need = &json["for"]["no_ice"];
    assert!(need["stronger_by"].as_f64().unwrap() > 0.2, "{json}");
    let ways = need["products"].as_array().unwrap();
    assert!(ways.iter().all(|way| way["product"] != "pg_rtu_50"), "too weak for that: {ways:?}");
    let way = ways.iter().find(|way| way["product"] == "pg_rtu_100").unwrap();
    let (out, has, strong) = (way["exchange_litres"].as_f64().unwrap(), 0.20, 0.50);
    let after = ((12.0 - out) * has + out * strong) / 12.0;
    close(&need["volume_fraction"], after, 0.001);
    assert!(text.contains("-20 F (-29 C)"), "{text}");
    let (text, json, _) = run("--fluid propylene-glycol --volume 0.30 --for 20F");
    close(&json["for"]["no_ice"]["stronger_by"], 0.0, 0.0);
    assert!(text.contains("it holds"), "{text}");
}

#[test]
fn water_sea_and_acid_are_answered_too() {
    let (_, json, _) = run("--fluid fresh-water --at -3");
    close(&json["first_ice_c"], 0.0, 0.0);
    close(&json["ice_mass_fraction_at"]["value"], 1.0, 0.0);
    assert_eq!(json["mass_fraction"], Value::Null);
    let (_, json, _) = run("--fluid sea-water --salinity 35 --at -5");
    close(&json["first_ice_c"], -1.922, 0.001);
    close(&json["ice_mass_fraction_at"]["value"], 0.583, 0.01);
    let (_, json, _) = run("--fluid battery-acid --sg 1.12");
    close(&json["first_ice_c"], -10.3, 0.1);
    assert_eq!(json["burst_c"], Value::Null);
}

#[test]
fn past_the_data_there_is_no_number_but_a_word() {
    let (text, json, _) = run("--fluid propylene-glycol --volume 0.5 --at -60");
    assert_eq!(json["burst_c"], Value::Null);
    assert_eq!(json["ice_mass_fraction_at"], Value::Null);
    assert!(text.contains("data end") && text.contains("data have ended"), "{text}");
    let (text, _, _) = run("--fluid ethylene-glycol --mass 0.9");
    assert!(text.contains("stronger is not colder") && text.contains("poison"), "{text}");
}

#[test]
fn bad_input_is_refused_with_what_would_be_right() {
    for (line, word) in [
        ("--fluid syrup --volume 0.3", "propylene-glycol"),
        ("--fluid propylene-glycol", "--volume"),
        ("--fluid propylene-glycol --first-ice 4", "0 C (plain water)"),
        ("--fluid propylene-glycol --first-ice -70", "-50.0 C"),
        ("--fluid propylene-glycol --volume 0.3 --litres -1 --left-over 2", "--litres"),
        ("--fluid propylene-glycol --volume 0.3 --litres 0 --left-over 0", "0 L"),
        ("--fluid propylene-glycol --volume 0.3 --litres 1 --left-over NaN", "--left-over"),
        ("--fluid propylene-glycol --volume 0.3 --for -80", "-50.0 C"),
        ("--fluid ethylene-glycol --mass 0.95 --for -30", "dilute"),
        ("--fluid propylene-glycol --volume 0.3 --salinity 30", "--salinity"),
        ("--fluid sea-water", "--salinity"),
        ("--fluid sea-water --salinity 60", "0 to 42"),
        ("--fluid battery-acid --sg 0.9", "1 to 1.4"),
        ("--fluid fresh-water --volume 0.3", "--volume"),
    ] {
        let text = refused(line);
        assert!(text.contains(word), "{line}: {text}");
    }
    for line in
        ["--volume 0.3 --mass 0.3", "--volume 1.3", "--volume -0.1", "--volume NaN", "--at x"]
    {
        let words = ["blend", "--fluid", "propylene-glycol"].into_iter();
        assert!(Line::try_parse_from(words.chain(line.split_whitespace())).is_err(), "{line}");
    }
}

#[test]
fn a_second_flush_strengthens_and_a_tank_that_goes_round_weakens() {
    let volume = |line: &str| run(line).1["volume_fraction"].as_f64().unwrap();
    let base = "--fluid propylene-glycol --volume 30% --litres 10 --left-over 3";
    // p a / (a + r) = 0.30 10/13; once more: 0.2308 3/13 + 0.2308.
    assert!((volume(base) - 0.2308).abs() < 2e-4);
    assert!((volume(&format!("{base} --flushes 2")) - 0.2840).abs() < 2e-4);
    // Eight boats leave 3 L each in 100 L: 0.30 (100/103)^8 = 0.2368, then diluted as before.
    assert!((volume(&format!("{base} --tank 100 --boats 8")) - 0.1822).abs() < 2e-4);
    assert!(refused("--fluid fresh-water --flushes 2 --litres 1 --left-over 1").contains("means"));
}

#[test]
fn a_battery_loses_a_little_over_the_winter_and_all_to_a_forgotten_load() {
    let ice = |line: &str| run(line).1["first_ice_c"].as_f64().unwrap();
    let full = ice("--fluid battery-acid --charge 100%");
    let spring = ice("--fluid battery-acid --charge 100% --days 150");
    assert!(full < -55.0 && spring > full + 5.0 && spring < -40.0, "{full} {spring}");
    let drained = ice("--fluid battery-acid --volts 12.66 --days 60 --load-ma 50 --amp-hours 80");
    assert!(drained > -12.0, "{drained}");
    assert!(refused("--fluid battery-acid --days 3").contains("--charge"));
    assert!(refused("--fluid battery-acid --sg 1.2 --days -3").contains("0 to 3650"));
    assert!(refused("--fluid propylene-glycol --volume 30% --days 3").contains("means nothing"));
}

/// The label class of 25 to 35 % (Practical Sailor 2014), on water that is known to a factor of two: Melinder 2010 by hand.
#[test]
fn a_label_is_a_range_and_so_is_the_answer() {
    let (text, json, code) =
        run("--fluid propylene-glycol --label -50F --litres 8 --left-over 1 --left-over-most 4");
    assert_eq!(code, 0, "{text}");
    // 0.25 x 8 / 12 and 0.35 x 8 / 9; first ice -5.8 and -14.0 C.
    close(&json["range"]["weakest"]["volume_fraction"], 0.16667, 1e-4);
    close(&json["range"]["strongest"]["volume_fraction"], 0.31111, 1e-4);
    close(&json["range"]["weakest"]["first_ice_c"], -5.8, 0.2);
    close(&json["range"]["strongest"]["first_ice_c"], -14.0, 0.2);
    assert_eq!(json["first_ice_c"], json["range"]["weakest"]["first_ice_c"], "the weakest counts");
    // Neat, stronger is not colder (GM bulletin T 86-30): the stronger end counts.
    let (_, neat, _) = run("--fluid ethylene-glycol --label concentrate");
    assert_eq!(neat["first_ice_c"], neat["range"]["strongest"]["first_ice_c"]);
    close(&json["worst_pocket"]["first_ice_c"], 0.0, 0.0);
    assert!(text.contains("plain water where the flow did not reach"), "{text}");
    let (text, json, _) =
        run("--fluid propylene-glycol --volume 30% --litres 8 --left-over 2 --reached 100%");
    assert_eq!(json["worst_pocket"]["first_ice_c"], json["first_ice_c"], "{text}");
}

/// A jug's half and half is half concentrate, of which about a tenth is not glycol: ASHRAE 2001 by mass.
#[test]
fn half_concentrate_is_not_half_glycol() {
    let (_, json, _) = run("--fluid ethylene-glycol --concentrate 50%");
    close(&json["volume_fraction"], 0.45, 1e-9);
    close(&json["first_ice_c"], -30.8, 0.3);
    let (text, json, _) = run("--fluid ethylene-glycol --volume 50%");
    close(&json["first_ice_c"], -37.7, 0.3);
    assert!(text.contains("give --concentrate"), "{text}");
}

/// A laboratory's share of the finished mix is more than that of its parts, since the mix shrinks: by densities at 20 C.
#[test]
fn a_share_of_the_finished_mix_is_told_from_one_of_its_parts() {
    let (_, json, _) = run("--fluid propylene-glycol --finished 50.1%");
    close(&json["mass_fraction"], 0.50, 5e-4);
    let (_, json, _) = run("--fluid ethylene-glycol --finished 47.8%");
    close(&json["mass_fraction"], 0.50, 5e-4);
    assert!(refused("--fluid methanol --finished 40%").contains("glycols only"));
    assert!(refused("--fluid fresh-water --finished 40%").contains("means nothing"));
}

/// What holds in the mixed part says nothing of water that the flow did not reach; and no band is made up where no points are.
#[test]
fn nothing_is_claimed_of_pockets_and_past_the_points() {
    let line = "--fluid propylene-glycol --volume 0.6 --litres 10 --left-over 1 --for -10C";
    let (text, json, _) = run(line);
    assert!(
        text.contains("prove every outlet") && json["for"]["pockets_of_water"] == true,
        "{text}"
    );
    let (text, json, _) = run(&format!("{line} --reached 100%"));
    assert!(!text.contains("prove every outlet") && json["for"]["pockets_of_water"] == false);
    let (text, _, _) = run("--fluid propylene-glycol --label -200F");
    assert!(text.contains("is not known") && !text.contains("give or take"), "{text}");
    let (text, json, _) = run("--fluid propylene-glycol --volume 0");
    assert!(!text.contains("give or take"), "{text}");
    close(&json["spread_k"], 0.0, 0.0);
    // 79 % by mass at the strong end: past the end of the curve.
    let (text, _, _) = run(
        "--fluid ethylene-glycol --label concentrate --litres 5 --left-over 1 --left-over-most 5",
    );
    assert!(text.contains("published figures end there"), "{text}");
    assert!(
        refused("--fluid propylene-glycol --volume 0.3 --scale ethylene-glycol")
            .contains("--scale")
    );
}

/// ASTM D3321: a refractometer tells the strength of one known glycol on its own scale and of nothing else.
#[test]
fn what_no_instrument_reads_is_no_answer() {
    for (line, said) in [
        ("--fluid ethanol --first-ice -10", "cannot be read with a refractometer"),
        ("--fluid glycerol --first-ice -10", "cannot be read with a refractometer"),
        ("--fluid propylene-glycol --first-ice -10 --scale ethylene-glycol", "on its own scale"),
        ("--fluid propylene-glycol --first-ice -10 --scale pink", "pink"),
        ("--fluid propylene-glycol --label -70F", "known: -50F, -60F, -100F, concentrate, -200F"),
        ("--fluid glycerol --label -50F", "known: none"),
        ("--fluid sea-water --salinity 30 --label -50F", "--label means nothing"),
        (
            "--fluid propylene-glycol --label -50F --litres 8 --left-over 4 --left-over-most 1",
            "must not be less",
        ),
    ] {
        let text = refused(line);
        assert!(text.contains(said), "{line}: {text}");
    }
}

/// To hold to a temperature counts the band of the curve: 0.5 K for propylene glycol to 36 % by mass.
#[test]
fn a_remedy_has_the_band_of_the_curve_in_hand() {
    let (text, json, _) = run("--fluid propylene-glycol --volume 10% --for -13.3C");
    close(&json["for"]["spread_k"], 0.5, 0.0);
    let needed = json["for"]["no_ice"]["volume_fraction"].as_f64().unwrap();
    let (_, made, _) = run(&format!("--fluid propylene-glycol --volume {needed}"));
    close(&made["first_ice_c"], -13.8, 0.02);
    assert!(text.contains("in hand for the band of the curve"), "{text}");
}
