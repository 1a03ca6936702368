//! Words of kind `blind`.

use serde_json::{Value, json};

use super::freeze::{done_by, told_parts};
use super::voice::{Voice, alert_name, boat_name, key_of, object, phone, place_name};
use super::words::{day, list};
use super::{Context, Draft};
use crate::domain::alert::chance::SpokenChance;
use crate::domain::alert::{Advice, Standing};

pub(super) fn draft(advice: &Advice, context: &Context<'_>) -> Draft {
    let facts = &advice.facts;
    let voice = Voice::of(context, facts.at);
    let mut days: Vec<String> =
        advice.earlier.iter().map(|sent| day(sent.at, voice.zone)).collect();
    days.dedup();
    let words = vec![
        voice.basis(&facts.service, facts.issued_at, facts.forecast, context.site),
        vec![
            ("place", json!(place_name(context.site))),
            ("phone", json!(phone(context.site))),
            (
                "yard",
                json!(if context.site.duty_phone.is_some() { "the yard" } else { "a boatyard" }),
            ),
            ("reader", json!(key_of(&context.person.role))),
            ("alert", json!(alert_name(&advice.alert))),
            ("number", json!(advice.earlier.len().saturating_add(1))),
            ("messages", json!(list(&days, days.len()))),
            (
                "standing",
                Value::Array(advice.standing.iter().map(|s| advice_line(&voice, s)).collect()),
            ),
        ],
    ];
    let shorten = Some(("place", place_name(context.site)));
    Draft {
        words: object(words),
        cautions: std::collections::BTreeSet::from(["always"]),
        table: Vec::new(),
        shorten,
    }
}

fn advice_line(voice: &Voice<'_>, standing: &Standing) -> Value {
    let told = &standing.told;
    let by = told
        .latest_start
        .filter(|start| *start > voice.now)
        .map(|start| voice.time(done_by(start, told.minutes)));
    json!({
        "boat": boat_name(&standing.boat_name),
        "done_by": by,
        "told_at": voice.time(told.at),
        "low": told.low_c.map(|low| voice.temperature(low)),
        "chance": SpokenChance::of(told.chance).number(),
        "parts": told_parts(voice, told),
    })
}
