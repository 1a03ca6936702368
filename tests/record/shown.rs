//! What `rimeward boat` shows: the JSON of the contract and the people's text.

use chrono::{DateTime, Utc};
use rimeward::cli::boat::render_text;
use rimeward::domain::boat::fold;
use rimeward::views::boat::BoatView;

use super::demo::yard;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[test]
fn the_json_has_the_fields_of_the_contract() {
    let yard = yard();
    let boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B11").unwrap();
    let then = at("2022-11-18T17:00:00-05:00");
    let state = fold(boat, &yard.sites, &yard.events, then, then, &yard.catalogue);
    let site = yard.sites.iter().find(|site| site.id == state.site).unwrap();
    let json = serde_json::to_value(BoatView::of(&state, site.time_zone)).unwrap();
    assert_eq!(json["boat"], "B11");
    assert_eq!(json["at"], "2022-11-18T17:00:00-05:00");
    let circuits = json["circuits"].as_array().unwrap();
    let exhaust = circuits.iter().find(|circuit| circuit["circuit"] == "exhaust_wet").unwrap();
    assert_eq!(exhaust["holds"], "blend");
    assert_eq!(exhaust["evidence"], "measured");
    assert_eq!(exhaust["first_ice_c"], -11.0);
    assert!(exhaust["slush_c"].as_f64().unwrap() < -11.0);
    assert_eq!(exhaust["since"], "2022-10-15T11:30:00-04:00");
    assert!(exhaust["undone_by"].is_null());
    for circuit in circuits {
        for field in [
            "circuit",
            "instance",
            "holds",
            "first_ice_c",
            "slush_c",
            "burst_c",
            "evidence",
            "since",
            "because",
            "undone_by",
            "open_questions",
        ] {
            assert!(circuit.get(field).is_some(), "{field}");
        }
        assert!(!circuit["because"].as_array().unwrap().is_empty(), "{circuit}");
    }
}

#[test]
fn the_text_says_what_holds_why_and_on_whose_word() {
    let yard = yard();
    let boat = yard.boats.iter().find(|boat| boat.id.as_str() == "B02").unwrap();
    let then = at("2022-11-21T08:00:00-05:00");
    let state = fold(boat, &yard.sites, &yard.events, then, then, &yard.catalogue);
    let site = yard.sites.iter().find(|site| site.id == state.site).unwrap();
    let text = render_text(&state, boat, site, &yard.catalogue);
    println!("{text}");
    for words in [
        "Second Biscuit (B02), Quillback Upper Lot (fictional): ashore",
        "engine block (block_raw), ",
        "raw-water pump (raw_pump): fresh water, since 12 Nov 2022 10:10 EST; evidence: claimed",
        "undone by E118",
        "first ice at 32 F (0 C)",
        "Record says; not verified by us.",
    ] {
        assert!(text.contains(words), "{words} is not in:\n{text}");
    }
    for word in ["safe", "certified", "guarantee", "!"] {
        assert!(!text.to_lowercase().contains(word), "{word}");
    }
}
