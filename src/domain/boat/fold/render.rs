//! The end of the fold: slots become circuit states, notes become words.

use chrono::{DateTime, Utc};

use super::folding::Folding;
use super::liquids::Liquids;
use super::log::Entry;
use super::slot::{Note, Say, Slot};
use crate::domain::boat::{BoatState, CircuitState, Holds, LayupEvent, Mark};
use crate::domain::catalogue::{Confinement, Reason, Reasons};

/// The state of the boat after the last entry.
pub(super) fn state(
    folding: &Folding<'_>,
    entries: &[Entry<'_>],
    at: DateTime<Utc>,
    known_at: DateTime<Utc>,
) -> BoatState {
    let whereabouts = &folding.whereabouts;
    let words = Words { entries, reasons: folding.catalogue.reasons() };
    let mitigations = whereabouts.mitigations(entries);
    let mut liquids = Liquids::default();
    let test_before_running = folding
        .slots
        .iter()
        .filter_map(|slot| {
            let entry = entries.get(slot.test_first?)?;
            let told = words.event(&entry.event, &entry.kind.because, slot.holds);
            Some(format!("{}: {told} ({})", slot.name(), entry.event.id))
        })
        .collect();
    let mut open_questions = Vec::new();
    let limits = folding.catalogue.limits();
    for mitigation in
        mitigations.iter().filter(|mitigation| mitigation.on && mitigation.kind == "heat")
    {
        if older_than(mitigation.since, at, limits.heat_ask_days) {
            let ask = folding.catalogue.reasons().words(Reason::HeatStillOn);
            open_questions.push(format!("{ask} ({})", mitigation.event));
        }
    }
    let fitting_questions = folding.fitting.questions(folding.boat, folding.catalogue);
    open_questions.extend(fitting_questions.iter().cloned());
    if folding.haul_is_assumed && !whereabouts.afloat {
        open_questions.push(folding.catalogue.reasons().words(Reason::HaulNotEntered).to_owned());
    }
    let unaired: Vec<_> = folding.order.unaired(entries, at).collect();
    let unaired = unaired.iter().map(|(number, reason)| (number, reason, ""));
    let asked =
        folding.order.asked.iter().map(|(number, reason, about)| (number, reason, about.as_str()));
    for (number, reason, about) in asked.chain(unaired) {
        if let Some(entry) = entries.get(*number) {
            let colon = if about.is_empty() { "" } else { ": " };
            let ask = folding.catalogue.reasons().words(*reason);
            open_questions.push(format!("{about}{colon}{ask} ({})", entry.event.id));
        }
    }
    for number in &folding.order.unanswered {
        if let Some(entry) = entries.get(*number) {
            let asked = entry.event.note.as_deref().unwrap_or(entry.kind.label.as_str());
            let words = folding.catalogue.reasons().words(Reason::Unanswered);
            open_questions.push(format!("{words}: {asked} ({})", entry.event.id));
        }
    }
    BoatState {
        boat: folding.boat.id.clone(),
        at,
        known_at,
        site: whereabouts.site.clone(),
        afloat: whereabouts.afloat,
        ashore_from: folding.haul_at.filter(|haul| whereabouts.afloat && *haul > at),
        earlier: whereabouts.earlier_than(at),
        assumed_ashore: folding.haul_is_assumed && !whereabouts.afloat,
        covered: whereabouts.covered,
        cooling: folding.fitting.cooling,
        cooling_open: folding.fitting.is_open(folding.boat),
        fitting_questions,
        circuits: folding
            .slots
            .iter()
            .map(|slot| circuit(folding, slot, &words, &mut liquids, at))
            .collect(),
        mitigations,
        test_before_running,
        open_questions,
    }
}

fn older_than(since: DateTime<Utc>, at: DateTime<Utc>, days: f64) -> bool {
    const HOURS_PER_DAY: f64 = 24.0;
    let hours = i32::try_from((at - since).num_hours()).map_or(f64::MAX, f64::from);
    hours > days * HOURS_PER_DAY
}

fn circuit(
    folding: &Folding<'_>,
    slot: &Slot<'_>,
    words: &Words<'_>,
    liquids: &mut Liquids,
    at: DateTime<Utc>,
) -> CircuitState {
    let limits = folding.catalogue.limits();
    let frozen = liquids.of(slot, limits, at);
    let full = folding.volume_l(slot);
    let mut because: Vec<String> =
        slot.notes.iter().map(|note| words.note(note, slot.holds)).collect();
    if slot.notes.is_empty() {
        let chemical = slot.kind.confinement == Confinement::Chemical;
        let reason = if chemical { Reason::NoVolts } else { Reason::NoEntry };
        let reason = if slot.mark == Mark::Added { Reason::NotOnList } else { reason };
        let reason = if slot.holds == Holds::Absent { Reason::NotAboard } else { reason };
        because.push(words.reasons.words(reason).to_owned());
        let hauled = folding.whereabouts.hauled.filter(|_| slot.kind.holds_raw_water());
        because
            .extend(hauled.map(|entry| {
                words.note(&Note { entry: Some(entry), say: Say::Event }, slot.holds)
            }));
    }
    let mut open_questions: Vec<String> =
        slot.questions.iter().map(|note| words.note(note, slot.holds)).collect();
    if slot.holds == Holds::Blend
        && slot.read_at.is_some_and(|read| older_than(read, at, limits.reading_old_days))
    {
        open_questions.push(words.reasons.words(Reason::OldReading).to_owned());
    }
    CircuitState {
        circuit: slot.kind.id.clone(),
        instance: slot.instance.as_deref().map(str::to_owned),
        holds: slot.holds,
        fitted: slot.mark,
        brimful: slot.brimful,
        liquid: frozen.liquid,
        litres: match slot.holds {
            Holds::Dry | Holds::Absent => 0.0,
            Holds::Drained if !slot.closed_pocket => slot.kind.residue_l.min(full),
            _ => full,
        },
        closed_pocket: slot.closed_pocket,
        first_ice: frozen.first_ice,
        slush: frozen.slush,
        burst: frozen.burst,
        read_at: slot.read_at,
        separated: false,
        evidence: slot.evidence,
        since: slot.since,
        because,
        undone_by: slot
            .undone_by
            .and_then(|entry| words.entries.get(entry))
            .map(|entry| entry.event.id.clone()),
        open_questions,
    }
}

impl Slot<'_> {
    /// What people call it, with the instance where there are several.
    fn name(&self) -> String {
        match &self.instance {
            Some(instance) => format!("{}, {instance} ({})", self.kind.label, self.kind.id),
            None => format!("{} ({})", self.kind.label, self.kind.id),
        }
    }
}

struct Words<'a> {
    entries: &'a [Entry<'a>],
    reasons: &'a Reasons,
}

impl Words<'_> {
    fn note(&self, note: &Note, holds: Holds) -> String {
        let entry = note.entry.and_then(|entry| self.entries.get(entry));
        let words = match &note.say {
            Say::Event => entry.map_or_else(String::new, |entry| {
                let mut told = self.event(&entry.event, &entry.kind.because, holds);
                let remark = entry.event.note.as_deref().map(str::trim);
                if let Some(remark) = remark.filter(|remark| !remark.is_empty()) {
                    told.push_str(", remark: ");
                    // Braces stand for figures in templates and for nothing in remarks.
                    told.push_str(&remark.replace(['{', '}'], ""));
                }
                told
            }),
            Say::Rule(reason) => self.reasons.words(*reason).to_owned(),
            Say::Figures(reason, stated, limit) => self
                .reasons
                .words(*reason)
                .replace("{litres}", &number(*stated))
                .replace("{limit}", &number(*limit)),
            Say::Named(reason, name) => self.reasons.words(*reason).replace("{instance}", name),
            Say::About(reason, other) => {
                let other = self.entries.get(*other).map_or_else(String::new, |entry| {
                    format!("{} ({})", entry.kind.label, entry.event.id)
                });
                return self.reasons.words(*reason).replace("{undone}", &other);
            }
        };
        match entry {
            Some(entry) => {
                let mut words = words;
                words.push_str(" (");
                words.push_str(entry.event.id.as_str());
                words.push(')');
                words
            }
            None => words,
        }
    }

    /// The words of an entry with its own figures in.
    fn event(&self, event: &LayupEvent, template: &str, holds: Holds) -> String {
        if !template.contains('{') {
            return template.to_owned();
        }
        let mut told = String::with_capacity(template.len() + 40);
        let mut rest = template;
        while let Some((before, after)) = rest.split_once('{') {
            let (name, after) = after.split_once('}').unwrap_or((after, ""));
            told.push_str(before);
            fill_in(&mut told, event, name, holds);
            rest = after;
        }
        told.push_str(rest);
        told
    }
}

/// Writes the figure of an entry that a template asks for by `name`.
fn fill_in(told: &mut String, event: &LayupEvent, name: &str, holds: Holds) {
    let mut led = |lead: &str, text: Option<&str>| {
        if let Some(text) = text {
            told.push_str(lead);
            told.push_str(text);
        }
    };
    match name {
        "water" => led("", Some(event.method.as_deref().unwrap_or(holds.as_str()))),
        "label" if event.fluid.is_none() && event.label.is_none() => {
            led("", Some("a product that is not named"));
        }
        "label" => {
            led("", event.fluid.as_deref());
            led(if event.fluid.is_some() { " " } else { "" }, event.label.as_deref());
        }
        "reading" => match event.reading_value {
            Some(value) => {
                led("", Some(&number(value)));
                led(" ", event.reading_unit.as_deref());
            }
            None => led("", Some("no number")),
        },
        "scale" => led(", scale ", event.scale.as_deref()),
        "point" => led("", Some(event.point.as_deref().unwrap_or("no point stated"))),
        "points" => led(" at ", event.point.as_deref()),
        "method" => {
            led(", ", event.method.as_deref().map(|text| text.replace('_', " ")).as_deref())
        }
        "minutes" => led(
            ", ",
            event.minutes.map(|minutes| format!("open {} min", number(minutes))).as_deref(),
        ),
        "litres" => {
            led(", ", event.litres_out.map(|litres| format!("{} L out", number(litres))).as_deref())
        }
        "volts" => led(" at ", event.volts.map(|volts| format!("{} V", number(volts))).as_deref()),
        _ => {}
    }
}

/// A number without a needless decimal.
fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    format!("{rounded}")
}
