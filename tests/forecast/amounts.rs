//! Amounts of rain and snow, hour by hour, out of each service's own way of stating them.

use rimeward::adapters::sqlite::{Options, Store};
use rimeward::adapters::weather::Context;
use rimeward::adapters::weather::met_norway::parse_met_norway;
use rimeward::adapters::weather::mosmix::parse_mosmix;
use rimeward::adapters::weather::nws::parse_gridpoint;
use rimeward::adapters::weather::open_meteo::{FORECAST, parse_open_meteo};
use rimeward::app::ports::*;
use rimeward::domain::weather::{Forecast, Step};
use serde_json::{Value, json};

use crate::support::{TempDir, at};

fn hour<'a>(forecast: &'a Forecast, time: &str) -> &'a Step {
    forecast.steps.iter().find(|step| step.time == at(time)).unwrap()
}

fn near(found: Option<f64>, expect: f64) -> bool {
    found.is_some_and(|found| (found - expect).abs() < 1e-9)
}

fn grid() -> Forecast {
    let mut document: Value = serde_json::from_str(super::own::GRIDPOINT).unwrap();
    document["properties"]["quantitativePrecipitation"] = json!({"uom": "wmoUnit:mm", "values": [
        {"validTime": "2022-11-15T00:00:00+00:00/PT6H", "value": 12.0},
        {"validTime": "2022-11-15T06:00:00+00:00/PT6H", "value": null},
        {"validTime": "2022-11-15T12:00:00+00:00/PT1H", "value": -9999}]});
    document["properties"]["snowfallAmount"] = json!({"uom": "wmoUnit:mm", "values": [
        {"validTime": "2022-11-15T00:00:00+00:00/PT6H", "value": 60.0}]});
    parse_gridpoint(document.to_string().as_bytes(), &Context::default()).unwrap()
}

#[test]
fn an_interval_of_the_us_grid_is_spread_over_its_hours() {
    let forecast = grid();
    let inside = hour(&forecast, "2022-11-15T03:00:00Z");
    assert!(near(inside.precipitation_mm, 2.0) && near(inside.snow_cm, 1.0), "{inside:?}");
    for nothing in ["2022-11-14T23:00:00Z", "2022-11-15T07:00:00Z", "2022-11-15T12:00:00Z"] {
        assert_eq!(hour(&forecast, nothing).precipitation_mm, None, "{nothing}");
    }
}

#[test]
fn met_norway_states_the_hours_ahead_and_spreads_what_it_states_for_six() {
    let mut document: Value =
        serde_json::from_str(include_str!("../payloads/met_norway/complete_own.json")).unwrap();
    document["properties"]["meta"]["units"]["precipitation_amount"] = json!("mm");
    let series = document["properties"]["timeseries"].as_array_mut().unwrap();
    series[0]["data"]["next_1_hours"]["details"]["precipitation_amount"] = json!(0.8);
    for entry in series.iter_mut().filter(|e| e["time"] == "2023-01-16T12:00:00Z") {
        entry["data"]["next_6_hours"]["details"]["precipitation_amount"] = json!(3.0);
    }
    let read = parse_met_norway(document.to_string().as_bytes(), &Context::default()).unwrap();
    assert!(near(hour(&read, "2023-01-12T06:00:00Z").precipitation_mm, 0.8));
    assert!(near(hour(&read, "2023-01-12T07:00:00Z").precipitation_mm, 0.0));
    assert!(near(hour(&read, "2023-01-16T15:00:00Z").precipitation_mm, 0.5));
}

#[test]
fn open_meteo_and_mosmix_state_the_hour_before_the_stamp() {
    let mut document: Value =
        serde_json::from_str(include_str!("../payloads/open_meteo/forecast_own.json")).unwrap();
    let hours = document["hourly"]["time"].as_array().unwrap().len();
    let only = |at: usize, value: f64| -> Vec<Value> {
        (0..hours).map(|h| if h == at { json!(value) } else { json!(0.0) }).collect()
    };
    document["hourly"]["precipitation"] = json!(only(2, 0.1));
    document["hourly"]["snowfall"] = json!(only(2, 0.7));
    document["hourly_units"]["precipitation"] = json!("inch");
    document["hourly_units"]["snowfall"] = json!("cm");
    let read =
        parse_open_meteo(FORECAST, document.to_string().as_bytes(), &Context::default()).unwrap();
    let fell = hour(&read, "2023-01-12T07:00:00Z");
    assert!(near(fell.precipitation_mm, 2.54) && near(fell.snow_cm, 0.7), "{fell:?}");
    assert!(near(hour(&read, "2023-01-12T08:00:00Z").precipitation_mm, 0.0));

    // Latin letters beyond ASCII stand in it as single bytes; none of them matters here.
    let text = String::from_utf8_lossy(include_bytes!("../payloads/mosmix/stations_own.kml"));
    let steps = text.matches("<dwd:TimeStep>").count();
    let values: Vec<&str> = (0..steps).map(|h| if h == 2 { "1.50" } else { "-" }).collect();
    let element = |name: &str| {
        format!(
            "<dwd:Forecast dwd:elementName=\"{name}\"><dwd:value>{}</dwd:value></dwd:Forecast>",
            values.join(" ")
        )
    };
    let more =
        format!("{}{}<dwd:Forecast dwd:elementName=\"TTT\">", element("RR1c"), element("RRS1c"));
    let text = text.replacen("<dwd:Forecast dwd:elementName=\"TTT\">", &more, 1);
    let read = parse_mosmix(text.as_bytes(), &Context::default()).unwrap();
    let fell = hour(&read, "2023-01-12T07:00:00Z");
    assert!(near(fell.precipitation_mm, 1.5) && near(fell.snow_cm, 1.5), "{fell:?}");
    assert_eq!(hour(&read, "2023-01-12T08:00:00Z").precipitation_mm, None);
}

#[test]
fn amounts_are_kept_with_the_forecast() {
    let folder = TempDir::new("amounts");
    let store = Store::open(&folder.path().join("own.sqlite"), Options::default()).unwrap();
    let forecast = grid();
    let now = at("2022-11-14T20:00:00Z");
    store.put_forecast(&"QUAY".into(), &forecast, now).unwrap();
    let kept = store.latest_forecast(&"QUAY".into(), None, now).unwrap().unwrap();
    assert_eq!(kept.forecast.steps, forecast.steps);
}
