//! The parts of the page: entries, circuits, readings, alerts, each as a small document of finished words.

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use crate::app::context::YardBook;
use crate::app::ports::{AlertRecord, Entry, OutboxState, Posted, TransitionRow};
use crate::cli::boat::{grade, holds_to, in_words, name};
use crate::domain::boat::{Boat, BoatState, CircuitState, LayupEvent, Precision};
use crate::domain::catalogue::Catalogue;
use crate::domain::message::words::fuel;
use crate::domain::units::{Celsius, in_both_scales};
use crate::domain::weather::credit;
use crate::domain::yard::Site;

/// What is needed to put things into words.
pub(super) struct Book<'a> {
    pub(super) yard: &'a YardBook,
    pub(super) site: &'a Site,
    pub(super) catalogue: &'a Catalogue,
}

impl Book<'_> {
    fn time(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.site.time_zone).format("%-d %b %Y %H:%M").to_string()
    }

    /// A person by id, with the name beside it.
    fn person(&self, id: &str) -> String {
        let known = self.yard.people.values().find(|person| person.id.as_str() == id);
        known.map_or_else(|| id.to_owned(), |person| format!("{} ({id})", person.name))
    }

    pub(super) fn facts(
        &self,
        boat: &Boat,
        state: &BoatState,
        (from, at): (DateTime<Utc>, DateTime<Utc>),
    ) -> Vec<String> {
        let lies = if state.afloat { "afloat" } else { "ashore" };
        let mut facts = vec![
            format!("{}, {lies}", self.site.name),
            format!(
                "Kind: {}; engines: {}; fuel: {}",
                boat.kind.replace('_', " "),
                boat.engines,
                fuel(&boat.fuel)
            ),
        ];
        if !boat.hull_id.is_empty() {
            facts.push(format!("Hull number: {}", boat.hull_id));
        }
        if let Some(owner) = &boat.owner {
            facts.push(format!("Owner: {}", self.person(owner.as_str())));
        }
        facts.push(format!(
            "From {} to {}, as known then; times of {}",
            self.time(from),
            self.time(at),
            self.site.time_zone
        ));
        facts
    }

    /// One line of the timeline.
    pub(super) fn entry(&self, entry: &Entry) -> Value {
        let event = &entry.event;
        let label =
            self.catalogue.event(&event.kind).map_or(event.kind.as_str(), |k| k.label.as_str());
        let happened = match event.precision {
            Precision::Minute => self.time(event.happened_at),
            Precision::Day => {
                let local = event.happened_at.with_timezone(&self.site.time_zone);
                format!("{}, hour not known", local.format("%-d %b %Y"))
            }
        };
        let what = match &event.corrects {
            Some(corrected) => format!("{label} of {corrected}"),
            None => label.to_owned(),
        };
        json!({
            "id": event.id,
            "happened": happened,
            "recorded": self.time(event.recorded_at),
            "entered": self.time(entry.entered_at),
            "what": what,
            "details": self.details(event),
        })
    }

    /// What the entry says, as said; blanks left out.
    fn details(&self, event: &LayupEvent) -> String {
        let figure = |value: Option<f64>, unit: &str| value.map(|value| format!("{value} {unit}"));
        let circuits: Vec<&str> = event
            .circuits
            .iter()
            .map(|id| self.catalogue.circuit(id).map_or(id.as_str(), |kind| kind.label.as_str()))
            .collect();
        let who = event.who.as_deref().map(|who| format!("by {}", self.person(who)));
        let said = [
            (!circuits.is_empty()).then(|| circuits.join(", ")),
            event.instance.clone(),
            event.point.as_ref().map(|point| format!("at {point}")),
            event.method.clone(),
            reading(event),
            event.fluid.clone(),
            event.label.clone(),
            figure(event.litres_in, "L in"),
            figure(event.litres_out, "L out"),
            figure(event.minutes, "min"),
            figure(event.volts, "V"),
            figure(event.percent, "%"),
            event.probed.map(|probed| if probed { "probed" } else { "not probed" }.to_owned()),
            who,
            event.sheet.as_ref().map(|sheet| format!("sheet {sheet}")),
            Some(grade(event.evidence).to_owned()).filter(|grade| grade != "none"),
            event.note.as_ref().map(|note| format!("\"{note}\"")),
        ];
        said.into_iter().flatten().collect::<Vec<_>>().join("; ")
    }

    pub(super) fn circuit(&self, circuit: &CircuitState) -> Value {
        json!({
            "name": name(circuit, self.catalogue),
            "holds": in_words(circuit),
            "evidence": grade(circuit.evidence),
            "since": circuit.since.map(|at| self.time(at)).unwrap_or_default(),
            "limit": holds_to(circuit, self.site).unwrap_or_default(),
            "undone_by": circuit.undone_by,
            "because": circuit.because.join("; "),
            "open_questions": circuit.open_questions.join("; "),
        })
    }

    /// A reading with its scale and point; `None` for an entry without one.
    pub(super) fn reading(&self, event: &LayupEvent) -> Option<Value> {
        let value = reading(event).or_else(|| event.volts.map(|volts| format!("{volts} V")))?;
        let at = event.point.as_deref().unwrap_or("point not stated").to_owned();
        let label = self.catalogue.event(&event.kind).map_or("", |kind| kind.label.as_str());
        let by = event.who.as_deref().map(|who| self.person(who)).unwrap_or_default();
        let when = self.time(event.happened_at);
        Some(json!({
            "when": when,
            "what": label,
            "point": at,
            "value": value,
            "by": by,
            "id": event.id,
            "line": format!("{when}: {label}, {at}: {value} [{}]", event.id),
        }))
    }

    /// One alert: each time that somebody was told, with the forecast as it stood then.
    pub(super) fn alert(
        &self,
        alert: &AlertRecord,
        transitions: &[TransitionRow],
        letters: &[Posted],
        at: DateTime<Utc>,
    ) -> Value {
        let closed = match alert.closed_at.filter(|closed| *closed <= at) {
            Some(closed) => format!("closed {}", self.time(closed)),
            None => "open".to_owned(),
        };
        let mut told: Vec<Value> = Vec::new();
        for letter in letters.iter().filter(|letter| letter.row.queued_at <= at) {
            let on = transitions.iter().rev().find(|row| row.revision == letter.row.revision);
            let forecast = on.map(|row| self.forecast(&row.decided_on)).unwrap_or_default();
            let became = match (letter.state, letter.done_at) {
                (OutboxState::Sent, Some(done)) => {
                    format!("accepted by the mail server {}", self.time(done))
                }
                (state, _) => state.as_str().to_owned(),
            };
            let (who, when) =
                (self.person(letter.row.recipient.as_str()), self.time(letter.row.queued_at));
            told.push(json!({
                "when": when,
                "who": who,
                "subject": letter.row.subject,
                "became": became,
                "forecast": forecast,
                "line": format!("{when} to {who}: {}; {became}; {forecast}", letter.row.subject),
            }));
        }
        json!({
            "id": alert.id,
            "line": format!("{}, raised {}, {closed}", alert.id, self.time(alert.raised_at)),
            "told": told,
        })
    }

    /// The forecast that a decision was made on, from its own record: computed nowhere anew.
    fn forecast(&self, decided_on: &Value) -> String {
        let facts = &decided_on["facts"];
        let when = |value: &Value| {
            let at: Option<DateTime<Utc>> = value.as_str().and_then(|text| text.parse().ok());
            at.map(|at| self.time(at))
        };
        let degrees = |value: &Value| {
            let celsius = Celsius::clamped(value.as_f64()?);
            Some(in_both_scales(celsius, self.site.usual_scale()))
        };
        let null = Value::Null;
        let issue = decided_on.pointer("/transition/issue").unwrap_or(&null);
        if !issue.is_null() && *issue != facts["issued_at"] {
            // The figures kept are those of an earlier telling; only the issue is this decision's own.
            return when(issue).map(|at| format!("forecast issued {at}")).unwrap_or_default();
        }
        let low = &facts["low"];
        let parts = [
            facts["service"].as_str().map(|service| {
                let credits = credit::credits([service]).join("; ");
                let name = credit::names([service]);
                if credits.is_empty() {
                    format!("forecast of {name}")
                } else {
                    format!("forecast of {name} ({credits})")
                }
            }),
            when(&facts["issued_at"]).map(|at| format!("issued {at}")),
            degrees(&low["median_c"]).map(|low| format!("low {low}")),
            degrees(&low["p10_c"])
                .zip(degrees(&low["p90_c"]))
                .map(|(p10, p90)| format!("8 in 10 between {p10} and {p90}")),
            when(&low["time"]).map(|at| format!("about {at}")),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

fn reading(event: &LayupEvent) -> Option<String> {
    let value = event.reading_value?;
    let unit = event.reading_unit.as_deref().unwrap_or("(unit not stated)");
    let scale =
        event.scale.as_deref().map_or("scale not stated".to_owned(), |s| format!("{s} scale"));
    Some(format!("{value} {unit}, {scale}"))
}
