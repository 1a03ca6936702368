//! `/alerts/active?point=`: official notices of cold. What is superseded, cancelled, over or a test is dropped; the hazard
//! ends at `ends`, while `expires` is only when the message does. The names changed in October 2024: phenomena are matched
//! first (VTEC, NWS Directive 10-1703, from memory), then event codes, then words, so that a new cold name is shown too.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::Deserialize;
use serde_json::Value;

use super::{read_json, read_stamp};
use crate::adapters::weather::PayloadError;
use crate::domain::weather::official::Official;

/// Notices that are looked at, and those that are kept.
const LOOKED_AT: usize = 500;
const KEPT: usize = 10;
/// Longest name that is shown.
const NAME_LETTERS: usize = 60;
/// VTEC phenomena of cold: freeze, frost, hard freeze, extreme cold, wind chill, cold weather.
const PHENOMENA: [&str; 6] = ["FZ", "FR", "HZ", "EC", "WC", "CW"];
/// VTEC actions after which a notice is no longer in force.
const OVER: [&str; 3] = ["UPG", "CAN", "EXP"];
const CODES: [&str; 6] = ["FZW", "FZA", "FRY", "ECW", "ECA", "CWY"];
const WORDS: [&str; 4] = ["freeze", "frost", "cold", "chill"];

#[derive(Deserialize)]
struct Document {
    features: Option<Vec<Feature>>,
}

#[derive(Deserialize)]
struct Feature {
    #[serde(default)]
    properties: Value,
}

/// The cold notices in force at `now`, by their onset.
///
/// # Errors
/// [`PayloadError`]: an error document, no JSON.
pub fn parse_notices(body: &[u8], now: DateTime<Utc>) -> Result<Vec<Official>, PayloadError> {
    let document: Document = read_json(body)?;
    let features = document.features.unwrap_or_default();
    let all = || features.iter().take(LOOKED_AT).map(|feature| &feature.properties);
    // An update names what it takes the place of.
    let replaced: BTreeSet<&str> = all()
        .filter_map(|properties| properties["references"].as_array())
        .flatten()
        .filter_map(|reference| reference["identifier"].as_str())
        .collect();
    let mut found: Vec<Official> = all()
        .filter(|properties| properties["id"].as_str().is_none_or(|id| !replaced.contains(id)))
        .filter_map(|properties| read(properties, now))
        .collect();
    found.sort_by(|a, b| (a.onset, a.ends, &a.event).cmp(&(b.onset, b.ends, &b.event)));
    found.dedup();
    found.truncate(KEPT);
    Ok(found)
}

fn read(properties: &Value, now: DateTime<Utc>) -> Option<Official> {
    let text = |name: &str| properties[name].as_str();
    if text("status") != Some("Actual") || text("urgency") == Some("Past") {
        return None;
    }
    let event = text("event")?;
    let vtec = properties.pointer("/parameters/VTEC/0").and_then(Value::as_str);
    let code = properties.pointer("/eventCode/NationalWeatherService/0").and_then(Value::as_str);
    if !is_cold(vtec, code, event) {
        return None;
    }
    if vtec.and_then(|code| code.split('.').nth(1)).is_some_and(|action| OVER.contains(&action)) {
        return None;
    }
    let stamp = |name: &str| text(name).and_then(read_stamp);
    let ends = stamp("ends").or_else(|| stamp("expires"))?;
    let onset = stamp("onset").or_else(|| stamp("effective"))?;
    (ends > now && ends > onset).then(|| Official {
        event: event.chars().take(NAME_LETTERS).collect(),
        office: text("senderName").unwrap_or_default().chars().take(NAME_LETTERS).collect(),
        onset,
        ends,
    })
}

fn is_cold(vtec: Option<&str>, code: Option<&str>, event: &str) -> bool {
    // `/O.NEW.KTAE.FZ.W.0001.251216T0600Z-251216T1400Z/`
    let phenomenon = vtec.and_then(|code| code.split('.').nth(3));
    if let Some(phenomenon) = phenomenon {
        return PHENOMENA.contains(&phenomenon);
    }
    let named = || {
        let event = event.to_lowercase();
        event.split(|c: char| !c.is_alphabetic()).any(|word| WORDS.contains(&word))
    };
    code.is_some_and(|code| CODES.contains(&code)) || named()
}
