//! The end of the fold: slots become circuit states, notes become words.

use chrono::{DateTime, Utc};

use super::Folding;
use super::log::Entry;
use super::slot::{Note, Say, Slot};
use crate::domain::boat::{BoatState, CircuitState, Holds, LayupEvent};
use crate::domain::catalogue::{Confinement, Reason, Reasons};
use crate::domain::physics::{Liquid, Solute};
use crate::domain::units::{Celsius, MassFraction, Salinity, SpecificGravity};

/// Ice share of slush, by the contract.
const SLUSH_SHARE: f64 = 0.15;
/// Ice share at which parts are likely to break, by the contract.
const BURST_SHARE: f64 = 1.0 / 3.0;

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
    for (number, circuit) in &folding.not_fitted {
        if let Some(entry) = entries.get(*number) {
            let ask = folding.catalogue.reasons().words(Reason::NotFitted);
            open_questions.push(format!("{circuit}: {ask} ({})", entry.event.id));
        }
    }
    BoatState {
        boat: folding.boat.id.clone(),
        at,
        known_at,
        site: whereabouts.site.clone(),
        afloat: whereabouts.afloat,
        covered: whereabouts.covered,
        circuits: folding.slots.iter().map(|slot| circuit(folding, slot, &words, at)).collect(),
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
    at: DateTime<Utc>,
) -> CircuitState {
    let limits = folding.catalogue.limits();
    let liquid = liquid(folding, slot);
    let first_ice = match slot.holds {
        Holds::Unknown | Holds::Dry | Holds::Absent | Holds::LubeClean => None,
        Holds::Blend | Holds::Coolant => slot.first_ice_c.map(Celsius::clamped),
        _ => liquid.map(|liquid| liquid.first_ice()),
    };
    let at_share =
        |share| first_ice.and(liquid).and_then(|liquid| liquid.temperature_at_ice_share(share));
    let full = folding.volume_l(slot);
    let mut because: Vec<String> =
        slot.notes.iter().map(|note| words.note(note, slot.holds)).collect();
    if slot.notes.is_empty() {
        because.push(words.reasons.words(Reason::NoEntry).to_owned());
        let hauled = folding.whereabouts.hauled.filter(|_| slot.kind.holds_raw_water());
        because
            .extend(hauled.map(|entry| {
                words.note(&Note { entry: Some(entry), say: Say::Event }, slot.holds)
            }));
    }
    let mut open_questions: Vec<String> =
        slot.questions.iter().map(|note| words.note(note, slot.holds)).collect();
    if slot.holds.is_protected()
        && slot.read_at.is_some_and(|read| older_than(read, at, limits.reading_old_days))
    {
        open_questions.push(words.reasons.words(Reason::OldReading).to_owned());
    }
    CircuitState {
        circuit: slot.kind.id.clone(),
        instance: slot.instance.as_deref().map(str::to_owned),
        holds: slot.holds,
        liquid,
        litres: match slot.holds {
            Holds::Dry | Holds::Absent => 0.0,
            Holds::Drained if !slot.closed_pocket => slot.kind.residue_l.min(full),
            _ => full,
        },
        closed_pocket: slot.closed_pocket,
        first_ice,
        slush: at_share(SLUSH_SHARE),
        burst: at_share(BURST_SHARE),
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

/// What the physics is to freeze; fresh water where nothing better is known.
fn liquid(folding: &Folding<'_>, slot: &Slot<'_>) -> Option<Liquid> {
    let limits = folding.catalogue.limits();
    match slot.holds {
        Holds::Dry | Holds::Absent | Holds::LubeClean => None,
        Holds::Fresh | Holds::Drained | Holds::LubeWet => Some(Liquid::FreshWater),
        Holds::Sea => Some(Liquid::SeaWater { salinity: Salinity::clamped(limits.sea_salinity) }),
        Holds::Charged => Some(Liquid::BatteryAcid {
            specific_gravity: SpecificGravity::clamped(
                slot.specific_gravity.unwrap_or(limits.battery_flat_sg),
            ),
        }),
        Holds::Unknown if slot.kind.confinement == Confinement::Chemical => {
            Some(Liquid::BatteryAcid {
                specific_gravity: SpecificGravity::clamped(limits.battery_flat_sg),
            })
        }
        Holds::Unknown => Some(Liquid::FreshWater),
        Holds::Blend => Some(mix(slot.first_ice_c, slot.solute, Solute::PropyleneGlycol)),
        Holds::Coolant => Some(mix(slot.first_ice_c, slot.solute, Solute::EthyleneGlycol)),
    }
}

fn mix(first_ice_c: Option<f64>, solute: Option<Solute>, usual: Solute) -> Liquid {
    let Some(first_ice_c) = first_ice_c else { return Liquid::FreshWater };
    let solute = solute.unwrap_or(usual);
    Liquid::blend_from_first_ice(solute, Celsius::clamped(first_ice_c)).unwrap_or(
        // Colder than the data go: the strongest that they know.
        Liquid::Blend { solute, mass_fraction: MassFraction::clamped(STRONGEST_KNOWN) },
    )
}

/// The end of the curves of first ice, by mass (see the physics of liquids).
const STRONGEST_KNOWN: f64 = 0.60;

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
                self.event(&entry.event, &entry.kind.because, holds)
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
            Some(entry) => format!("{words} ({})", entry.event.id),
            None => words,
        }
    }

    /// The words of an entry with its own figures in.
    fn event(&self, event: &LayupEvent, template: &str, holds: Holds) -> String {
        if !template.contains('{') {
            return template.to_owned();
        }
        let or_empty = |text: &Option<String>| text.clone().unwrap_or_default();
        let led = |lead: &str, text: Option<String>| {
            text.map_or_else(String::new, |text| format!("{lead}{text}"))
        };
        let water = event.method.clone().unwrap_or_else(|| holds.as_str().to_owned());
        let label = [or_empty(&event.fluid), or_empty(&event.label)].join(" ");
        let reading = event.reading_value.map_or_else(
            || "no number".to_owned(),
            |value| format!("{} {}", number(value), or_empty(&event.reading_unit)),
        );
        template
            .replace("{water}", &water)
            .replace("{label}", label.trim())
            .replace("{reading}", reading.trim())
            .replace("{scale}", &led(", scale ", event.scale.clone()))
            .replace("{point}", event.point.as_deref().unwrap_or("no point stated"))
            .replace("{points}", &led(" at ", event.point.clone()))
            .replace(
                "{method}",
                &led(", ", event.method.as_deref().map(|text| text.replace('_', " "))),
            )
            .replace("{minutes}", &led(", open min ", event.minutes.map(number)))
            .replace("{litres}", &led(", litres out ", event.litres_out.map(number)))
            .replace("{volts}", &led(", volts ", event.volts.map(number)))
    }
}

/// A number without a needless decimal.
fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    format!("{rounded}")
}
