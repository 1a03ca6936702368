//! What `--json` prints has the shape that `tests/schema/views.json` pins (JSON Schema, draft 2020-12).

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use super::round::Yard;
use super::{code, json as printed, rimeward, text};

/// Everything of a document that does not fit the named definition.
fn faults(definition: &str, document: &Value) -> Vec<String> {
    let mut schema: Value = serde_json::from_str(include_str!("../schema/views.json")).unwrap();
    schema["$ref"] = json!(format!("#/$defs/{definition}"));
    let schema = jsonschema::draft202012::new(&schema).unwrap();
    let errors = schema.iter_errors(document);
    errors.map(|error| format!("{definition}{}: {error}", error.instance_path())).collect()
}

#[test]
fn what_programs_read_has_the_shape_that_is_pinned() {
    let morning = "2022-11-13T09:10:00-05:00";
    let yard = Yard::open(morning);
    yard.import_everything();
    let round = yard.round(morning, &["--json"]);
    assert_eq!(code(&round), 0, "{}", text(&round));
    let alert = {
        let list = rimeward(Some(&yard.config()), &["alerts", "list", "--json"]);
        printed(&list)["alerts"][0]["id"].as_str().unwrap().to_owned()
    };
    let at = ["--at", morning, "--json"];
    for (definition, command) in [
        ("WorklistView", vec!["worklist"]),
        ("PlanView", vec!["plan"]),
        ("BoatView", vec!["boat", "B02"]),
        ("BoatView", vec!["boat", "B11"]),
        ("PlaceView", vec!["place", "UPPER"]),
        ("AlertsView", vec!["alerts", "list"]),
        ("AlertView", vec!["alerts", "show", &alert]),
        ("ReasonsView", vec!["alerts", "explain", &alert]),
        ("HeldView", vec!["alerts", "held", "--at", morning]),
        ("HealthView", vec!["self-test"]),
    ] {
        let timed = !matches!(command[0], "alerts" | "self-test");
        let tail = if timed { &at[..] } else { &at[2..] };
        let words: Vec<&str> = command.iter().chain(tail).copied().collect();
        let output = rimeward(Some(&yard.config()), &words);
        // What is found wrong is no wrong shape: a self-test that finds something ends with 1.
        let fine = code(&output) == 0 || command[0] == "self-test";
        assert!(fine, "{words:?}: {}", text(&output));
        assert_eq!(faults(definition, &printed(&output)), [""; 0], "{words:?}");
    }
}

#[test]
fn another_shape_is_found_out() {
    let row = json!({ "site": "UPPER", "tolerance": 0.1, "engine": null, "all": "2023-05-10", "winters": 20 });
    assert_eq!(faults("FillLine", &row), [""; 0]);
    let mut wrong = row.clone();
    wrong["winters"] = json!("20");
    assert_eq!(faults("FillLine", &wrong).len(), 1);
    let mut lacking = row;
    lacking.as_object_mut().unwrap().remove("engine");
    assert_eq!(faults("FillLine", &lacking).len(), 1);
}

#[test]
fn every_read_model_is_pinned_field_by_field_in_its_order() {
    let schema: Value = serde_json::from_str(include_str!("../schema/views.json")).unwrap();
    let pinned = schema["$defs"].as_object().unwrap();
    let mut models = Vec::new();
    for file in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/views")).unwrap() {
        let text = fs::read_to_string(file.unwrap().path()).unwrap();
        for item in syn::parse_file(&text).unwrap().items {
            let syn::Item::Struct(model) = item else { continue };
            let name = model.ident.to_string();
            let fields = model.fields.iter().map(|field| field.ident.as_ref().unwrap());
            let fields: Vec<String> = fields.map(ToString::to_string).collect();
            let definition = pinned.get(&name).unwrap_or_else(|| panic!("{name} is not pinned"));
            assert_eq!(definition["required"], json!(fields), "{name}");
            let properties = definition["properties"].as_object().unwrap();
            assert!(properties.keys().eq(&fields), "{name}");
            assert_eq!(definition["additionalProperties"], false, "{name}");
            models.push(name);
        }
    }
    models.sort();
    assert!(pinned.keys().eq(&models), "pinned, and no model: {pinned:?} {models:?}");
}
