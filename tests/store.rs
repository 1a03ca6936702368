//! The store on real files.

mod forecasts;
mod log;
mod open;
mod outbox;
mod round;
mod yard;

use rimeward::domain::boat::{Evidence, LayupEvent, Precision};
use rimeward::store::OutboxRow;

use crate::support::at;

/// A plain event about a boat.
pub fn event(id: &str, boat: &str) -> LayupEvent {
    LayupEvent {
        id: id.into(),
        happened_at: at("2022-11-05T14:00:00Z"),
        happened_offset_s: -14_400,
        precision: Precision::Minute,
        recorded_at: at("2022-11-05T15:00:00Z"),
        boat: Some(boat.into()),
        site: None,
        kind: "drained".to_owned(),
        circuits: vec!["block_raw".into()],
        instance: None,
        point: Some("port engine".to_owned()),
        fluid: None,
        label: None,
        method: None,
        thermostat_open: None,
        litres_in: None,
        litres_out: Some(7.1 / 3.0),
        reading_value: None,
        reading_unit: None,
        scale: None,
        minutes: None,
        percent: None,
        volts: None,
        probed: Some(true),
        who: Some("J. Pepperpot".to_owned()),
        role: Some("technician".to_owned()),
        evidence: Evidence::Probed,
        sheet: None,
        corrects: None,
        note: Some("rust came out with it".to_owned()),
    }
}

/// Salts that repeat from run to run.
pub fn salts() -> impl FnMut() -> [u8; 16] {
    let mut next = 0_u8;
    move || {
        next = next.wrapping_add(1);
        [next; 16]
    }
}

/// A letter of revision `revision` of an alert to one person, due at noon, of use for a day.
pub fn letter(alert: &str, revision: u32, recipient: &str) -> OutboxRow {
    OutboxRow {
        alert: alert.to_owned(),
        revision,
        recipient: recipient.into(),
        channel: "smtp".to_owned(),
        step: 0,
        kind: "freeze".to_owned(),
        closing: false,
        urgent: false,
        thread: alert.to_owned(),
        message_id: format!("{alert}.{revision}.{recipient}@rimeward.example"),
        address: format!("{}@example.org", recipient.to_lowercase()),
        return_path: format!("bounce+{alert}.{revision}@rimeward.example"),
        subject: "Second Biscuit: drain the block before dark".to_owned(),
        bytes: format!("Subject: revision {revision}\r\n\r\nWords.\r\n").into_bytes(),
        queued_at: at("2023-02-02T12:00:00Z"),
        due_at: at("2023-02-02T12:00:00Z"),
        expires_at: at("2023-02-03T12:00:00Z"),
    }
}
