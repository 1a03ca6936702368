//! The store on real files.

mod filled;
mod forecasts;
mod log;
mod open;
mod outbox;
mod round;
mod yard;

use rimeward::app::ports::OutboxRow;
use rimeward::domain::boat::{Evidence, LayupEvent};

use crate::support::at;

/// A plain event about a boat.
pub fn event(id: &str, boat: &str) -> LayupEvent {
    let happened = chrono::DateTime::parse_from_rfc3339("2022-11-05T10:00:00-04:00").unwrap();
    LayupEvent {
        recorded_at: at("2022-11-05T15:00:00Z"),
        boat: Some(boat.into()),
        circuits: vec!["block_raw".into()],
        point: Some("port engine".to_owned()),
        litres_out: Some(7.1 / 3.0),
        probed: Some(true),
        who: Some("J. Pepperpot".to_owned()),
        role: Some("technician".to_owned()),
        note: Some("rust came out with it".to_owned()),
        ..LayupEvent::blank(id.into(), "drained".to_owned(), happened, Evidence::Probed)
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
        held: None,
    }
}
